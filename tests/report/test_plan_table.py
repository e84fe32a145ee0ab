"""The plan as a person reads it in the terminal."""

from io import StringIO

from rich.console import Console

from maskgen.colour.mix import ColourModel
from maskgen.formats.shelf import sample_shelf
from maskgen.model.dyeing import Recipe, WantedColour
from maskgen.model.job import Finish, Permission
from maskgen.plan.order import plan_order
from maskgen.report.plan_table import plan_table

SHELF = sample_shelf()
COLOURS = {
    "star": {"lemon": 5.0},
    "hill": {"lemon": 5.0, "sea blue": 2.0},
    "sky": {"sea blue": 4.0},
}


def shown(finish):
    wanted = [WantedColour(f"r{i}", n, "#808080", (Recipe.of(r),)) for i, (n, r) in enumerate(COLOURS.items())]
    console = Console(width=140, record=True, file=StringIO())
    console.print(plan_table(plan_order(wanted, SHELF, ColourModel(SHELF), finish=finish), SHELF))
    return console.export_text()


def rows(text):
    return [line.split() for line in text.splitlines() if line.strip()[:1].isdigit()]


def test_each_step_says_what_to_do_what_is_covered_and_the_colour_of_the_open_metal():
    text = shown(Finish())
    table = rows(text)
    assert table[0][:5] == ["1", "dye", "lemon", "60", "5"]
    assert table[1][:5] == ["2", "mask", "M1", "over", "star"]
    assert table[3][-4:] == ["star,", "hill", "██", "#6e8a3c"]  # the coupon of this mixture on the sample shelf
    assert table[4][:3] == ["5", "strip", "bleach"]
    assert table[4][-1] == SHELF.bare
    assert table[5][-1] == "#4d6ca1"  # the swatch at 4 minutes
    assert table[6][:4] == ["7", "peel", "and", "seal"]


def test_the_proof_is_one_sentence_with_the_colours_named():
    text = " ".join(shown(Finish()).split())
    assert "No order has fewer than 1 strip: hill and sky cannot come out of one run" in text


def test_lifting_shows_the_other_plans():
    text = shown(Finish(lift=Permission.ALLOW))
    assert "take off M1" in text
    assert "Plan 2: 1 strip, 2 masks, 3 dye baths" in text
