"""Rows of which nothing, or not the name, would be on the part: refused with words the customer understands."""

import json
from pathlib import Path

import fontpkg
import pytest

from maskgen.formats.jobfile import read_job
from maskgen.formats.plan_json import write_plan
from maskgen.formats.shelf import read_shelf
from maskgen.model.names import NameRow, RowStatus
from maskgen.pipeline.name_job import Template
from maskgen.pipeline.names import NameMaker

SHELF = Path(__file__).parents[2] / "samples" / "shelf.toml"
JOB = """
[part]
{part}
[text]
font = "Archivo Black"
height_mm = 12.0
box_mm = [70.0, 24.0]
colour = "silver"
{text}
[[colour]]
source = "#c9cccf"
name = "silver"
bare = true
[[colour]]
source = "#1b3f94"
name = "sky"
dye = "sea blue"
[[colour]]
source = "#b78d43"
name = "iron"
recipe = [ {{ dye = "iron gold", minutes = 3.0 }}, {{ dye = "lemon", minutes = 2.0 }} ]
[ground]
{ground}
{more}
"""
PLATE = "width_mm = 80.0\nheight_mm = 40.0"
BLUE, IRON = 'colour = "sky"', 'recipe = [ { dye = "iron gold", minutes = 3.0 }, { dye = "rust red", minutes = 3.0 } ]'
HOLE = "[[hole]]\nat_mm = [40.0, 20.0]\ndiameter_mm = 20.0"
DROP = '[resist]\nislands = "drop"\nmin_piece_mm2 = 60.0'


def maker_of(ground=BLUE, more="", text="", part=PLATE):
    data = JOB.format(part=part, ground=ground, more=more, text=text).encode()
    shelf = read_shelf(SHELF.read_bytes(), name="shelf")
    return NameMaker(Template(read_job(data, name="job"), shelf, fontpkg.path("Archivo Black").read_bytes()))


def made_of(maker, *rows):
    maker.prepare(rows)
    return [maker.make(row) for row in rows]


@pytest.mark.parametrize(
    ("setting", "row", "words"),
    [
        ({"more": HOLE}, NameRow(1, "I"), "no film would be left"),
        ({"more": DROP}, NameRow(1, "I"), "1 letter would be left out"),  # 3.2 x 12 mm = 38 mm2
        ({}, NameRow(1, "LEO", colour="sky"), "all of the letters would not be seen"),
        ({"ground": "bare = true"}, NameRow(1, "LEO"), "all of the letters would not be seen"),
        ({}, NameRow(1, "LEO", colour="indigo"), "no colour is named `indigo`; known: iron, silver, sky"),
        ({"text": "at_mm = [200.0, 3.0]"}, NameRow(1, "LEO"), "beside the part's face of 80 x 40 mm"),
        ({"text": "at_mm = [200.0, 3.0]"}, NameRow(1, "LEO", colour="sky"), "would not be seen"),
        ({"text": "at_mm = [-20.0, 3.0]"}, NameRow(1, "LEONORA"), "run "),
        ({"ground": IRON}, NameRow(1, "LEO", colour="iron"), "stand in each other's way"),
        ({}, NameRow(1, "LEO", fault="the quantity is 'x', not a whole number"), "not a whole number"),
    ],
)
def test_refused_in_words_without_keys_of_the_job_file(setting, row, words):
    (made,) = made_of(maker_of(**setting), row)
    assert made.status is RowStatus.REFUSED
    assert words in made.reason
    assert not made.reason.startswith(("[", "job", "artwork"))
    assert made.drawn is None


def test_one_row_without_a_dye_order_stops_no_other():
    lio, tal, oil = made_of(
        maker_of(ground=IRON), NameRow(1, "LIO"), NameRow(2, "TAL", colour="iron"), NameRow(3, "OIL")
    )
    assert tal.status is RowStatus.REFUSED
    assert lio.drawn is not None
    assert oil.drawn is not None


def test_what_is_dropped_of_a_letter_is_told():
    """Counters of Archivo Black at 12 mm are under 60 mm2, its O is over (7 mm wide strokes: from memory)."""
    o, h = made_of(maker_of(more=DROP), NameRow(1, "O"), NameRow(2, "H"))
    assert o.status is RowStatus.WARNED
    assert "1 small opening of letters filled" in o.reason
    assert "filled" not in h.reason


def test_the_dye_order_does_not_hang_on_the_row_it_is_found_with():
    names = ("I", "MMMMMM", "ORLA BABBAGE", "%")
    plans = {
        json.dumps(json.loads(write_plan(made.plan))["steps"])
        for name in names
        for made in made_of(maker_of(), NameRow(1, name))
        if made.plan is not None
    }
    assert len(plans) == 1


def test_letters_in_a_colour_of_their_own_are_judged_for_contrast():
    maker = maker_of(ground='recipe = [ { dye = "sea blue", minutes = 3.8 } ]')
    rows = [NameRow(1, "LIO"), NameRow(2, "LIO", colour="sky")]
    made = made_of(maker, *rows)
    assert all(row.drawn is not None for row in made)
    assert [f.code.value for f in maker.of_all(rows)] == ["low-contrast"]
    assert not maker.of_all(rows[:1])
