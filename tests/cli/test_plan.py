"""`maskgen plan`: the dye order from a job file and a shelf, without artwork."""

import json

import pytest

SHELF = """
[oxide]
bare = "#c9cccf"
thickness_um = 18.0

[[dye]]
name = "lemon"
swatch = [ { minutes = 1.0, colour = "#d6cc86" }, { minutes = 5.0, colour = "#e3c530" } ]
full_minutes = 12.0

[[dye]]
name = "sea blue"
swatch = [ { minutes = 1.0, colour = "#8aa0bf" }, { minutes = 4.0, colour = "#2b4a8f" } ]
full_minutes = 12.0

[[dye]]
name = "iron gold"
strips = false
swatch = [ { minutes = 10.0, colour = "#b78d43" } ]
full_minutes = 10.0

[[mix]]
dyes = [ { dye = "lemon", minutes = 5.0 }, { dye = "sea blue", minutes = 2.0 } ]
colour = "#2e7d4f"
"""

STAR = '[[colour]]\nsource = "#e8c81e"\nname = "star"\nrecipe = [ { dye = "lemon", minutes = 5.0 } ]\n'
HILL = (
    '[[colour]]\nsource = "#2f7d4b"\nname = "hill"\n'
    'recipe = [ { dye = "lemon", minutes = 5.0 }, { dye = "sea blue", minutes = 2.0 } ]\n'
)
SKY = '[[colour]]\nsource = "#1b3f94"\nname = "sky"\nrecipe = [ { dye = "sea blue", minutes = 4.0 } ]\n'
GOLD = '[[colour]]\nsource = "#b78d43"\nname = "{}"\nrecipe = [ {{ dye = "iron gold", minutes = {} }}{} ]\n'


@pytest.fixture
def job(tmp_path):
    (tmp_path / "shelf.toml").write_text(SHELF)

    def write(*entries, rest=""):
        path = tmp_path / "job.toml"
        path.write_text('shelf = "shelf.toml"\n' + "".join(entries) + rest)
        return path

    return write


def test_the_worked_example_of_three_colours(maskgen, job):
    """Green is lemon, then blue on top; blue alone needs a strip: one strip, two masks, three baths by hand."""
    ended = maskgen("plan", job(STAR, HILL, SKY), "--json")
    assert ended.status == 0
    assert ended.err == ""
    plan = json.loads(ended.out)
    assert (plan["strips"], plan["masks"], plan["baths"], plan["lifts"]) == (1, 2, 3, 0)
    assert plan["optimal"] is True
    assert plan["lower_bound"] == 1
    assert plan["why"] == ["r2", "r3"]
    assert plan["alternatives"] == []
    assert [region["id"] for region in plan["regions"]] == ["r1", "r2", "r3"]
    assert plan["steps"][-1] == {"op": "seal"}
    assert [step["op"] for step in plan["steps"]].count("strip") == 1


@pytest.mark.parametrize("order", [(STAR, HILL, SKY), (SKY, HILL, STAR), (HILL, SKY, STAR)])
def test_the_order_of_colours_changes_nothing(maskgen, job, order):
    plan = json.loads(maskgen("plan", job(*order), "--json").out)
    assert (plan["strips"], plan["masks"], plan["baths"]) == (1, 2, 3)


def test_a_stated_ground_is_a_region_and_an_unstated_one_is_not(maskgen, job):
    without = json.loads(maskgen("plan", job(STAR), "--json").out)
    stated = json.loads(maskgen("plan", job(STAR, rest="[ground]\nbare = true\n"), "--json").out)
    part_of = json.loads(maskgen("plan", job(STAR, rest='[ground]\ncolour = "star"\n'), "--json").out)
    assert [region["name"] for region in without["regions"]] == ["star"]
    assert [region["name"] for region in stated["regions"]] == ["star", "ground"]
    assert stated["regions"][1]["recipe"] == []
    assert [region["name"] for region in part_of["regions"]] == ["star"]


def test_a_dye_alone_means_its_full_time(maskgen, job):
    entry = '[[colour]]\nsource = "#1b3f94"\ndye = "sea blue"\n'
    plan = json.loads(maskgen("plan", job(entry), "--json").out)
    assert plan["regions"][0]["recipe"] == [{"dye": "sea blue", "minutes": 12.0}]


def test_colours_that_stand_in_each_others_way_are_named(maskgen, job):
    """Two lasting golds, each with another dye, cannot both come last."""
    first = GOLD.format("crest", 5.0, ', { dye = "lemon", minutes = 5.0 }')
    second = GOLD.format("motto", 10.0, ', { dye = "sea blue", minutes = 2.0 }')
    ended = maskgen("plan", job(first, second))
    assert ended.status == 2
    assert ended.out == ""
    assert ended.err.count("\n") == 1
    assert "crest" in ended.err
    assert "motto" in ended.err


def test_the_table_says_every_step_in_words(maskgen, job):
    ended = maskgen("plan", job(STAR, HILL, SKY))
    assert ended.status == 0
    words = " ".join(ended.out.split())
    for word in ("lemon", "sea blue", "strip", "mask M1", "mask M2", "seal", "1 strip", "hill and sky"):
        assert word in words


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        ('[[colour]]\nsource = "#1b3f94"\ndye = "see blue"\n', ["see blue", "sea blue"]),
        ("", ["neither artwork nor colours"]),
        ('[[colour]]\nsource = "#1b3f94"\ndye = "lemon"\nbare = true\n', ["only one"]),
        ("[colour]\n", ["colour"]),
    ],
)
def test_what_cannot_be_planned_is_one_line(maskgen, job, entry, words):
    ended = maskgen("plan", job(entry))
    assert (ended.status, ended.out, ended.err.count("\n")) == (2, "", 1)
    for word in words:
        assert word in ended.err
