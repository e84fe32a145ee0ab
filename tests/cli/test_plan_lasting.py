"""Matched colours and a dye that bleach does not take out: a dye more on the shelf never makes a job impossible."""

import json

import pytest

SHELF = """
[oxide]
bare = "#c9cccf"
thickness_um = 18.0
{dyes}
"""
DYE = """
[[dye]]
name = "{0}"
strips = {1}
temperature_c = 60.0
full_minutes = 10.0
swatch = [ {{ minutes = 1.0, colour = "{2}" }}, {{ minutes = 10.0, colour = "{3}" }} ]
"""
STRIPPING = [("gold", "true", "#e3c777", "#c98a1b"), ("blue", "true", "#8fb0d0", "#1b3f94")]
MINERAL = ("mineral", "false", "#d9cf90", "#a88a30")


@pytest.fixture
def planned(maskgen, tmp_path):
    def plan(dyes, entries):
        (tmp_path / "shelf.toml").write_text(SHELF.format(dyes="".join(DYE.format(*dye) for dye in dyes)))
        (tmp_path / "job.toml").write_text('shelf = "shelf.toml"\n' + "".join(f"[[colour]]\n{e}\n" for e in entries))
        return maskgen("plan", tmp_path / "job.toml", "--json")

    return plan


def test_matched_colours_give_way_to_one_another(planned):
    wanted = ['source = "#5a8759"', 'source = "#4c6b61"', 'source = "#b3a04a"', 'source = "#93a255"']
    assert planned(STRIPPING, wanted).status == 0
    ended = planned([*STRIPPING, MINERAL], wanted)
    assert ended.status == 0, ended.err
    plan = json.loads(ended.out)
    # From the plan's own rule: after oxide has held mineral, nothing is stripped any more.
    steps = plan["steps"]
    first = next((i for i, s in enumerate(steps) if s.get("dye") == "mineral"), len(steps))
    assert not any(step["op"] == "strip" for step in steps[first:])
    assert len(plan["regions"]) == 4


def test_pinned_colours_do_not_give_way(planned):
    recipe = 'recipe = [{{ dye = "mineral", minutes = {} }}, {{ dye = "blue", minutes = {} }}]'
    pinned = [
        'source = "#a08030"\nname = "ochre"\n' + recipe.format(5.0, 1.0),
        'source = "#a0a030"\nname = "moss"\n' + recipe.format(4.0, 3.0),
    ]
    ended = planned([*STRIPPING, MINERAL], pinned)
    assert ended.status == 2
    assert "ochre" in ended.err
    assert "moss" in ended.err
