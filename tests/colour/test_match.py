"""Colours to recipes: known recipes found again, limits kept, nothing near enough missed."""

import itertools

import pytest
from coloraide import Color

from maskgen.colour.match import bench_minutes, match_recipes
from maskgen.colour.mix import ColourModel
from maskgen.formats.shelf import sample_shelf
from maskgen.model.dyeing import Dye, MeasuredMix, Recipe, Shelf, Swatch

SMALL = Shelf(
    "#c9cccf",
    18.0,
    (
        Dye("lemon", (Swatch(1.0, "#cac8a3"), Swatch(15.0, "#cdb60f"))),
        Dye("rose", (Swatch(1.0, "#c49db5"), Swatch(12.0, "#a93674")), full_minutes=12.0),
        Dye("sea blue", (Swatch(1.0, "#98a7c0"), Swatch(4.3, "#4d6ca1"), Swatch(15.0, "#18397f"))),
    ),
    (MeasuredMix(Recipe.of({"lemon": 5.0, "sea blue": 2.0}), "#6e8a3c"),),
)
MODEL = ColourModel(SMALL)


def delta_e(first, second):
    return Color(first).delta_e(Color(second), method="2000", space="lab-d65")


@pytest.mark.parametrize(
    "doses",
    [
        {},
        {"lemon": 3.0},
        {"sea blue": 4.3},
        {"rose": 12.0},
        {"lemon": 2.0, "rose": 2.5},
        {"lemon": 5.0, "sea blue": 2.0},
        {"lemon": 2.0, "rose": 1.5, "sea blue": 3.0},
    ],
)
def test_the_colour_of_a_recipe_is_reached_exactly(doses):
    recipe = Recipe.of(doses)
    matches = match_recipes(MODEL, MODEL.predict(recipe).colour, tolerance_delta_e=1.0)
    assert recipe in matches.recipes
    assert matches.nearest.delta_e == pytest.approx(0.0, abs=0.05)
    assert len(matches.nearest.recipe.doses) <= len(doses)


@pytest.mark.parametrize("target", ["#7a5560", "#6e8a3c", "#30406a", "#c9b080", "#101010", "#ff00ff"])
def test_nothing_near_enough_is_missed_and_nothing_else_counts(target):
    tolerance = 4.0
    times = {d.name: bench_minutes(d.full_minutes, [s.minutes for s in d.swatch]) for d in SMALL.dyes}
    times["lemon"] = bench_minutes(15.0, [5.0])
    recipes = [
        Recipe.of(dict(zip(dyes, minutes, strict=True)))
        for size in range(4)
        for dyes in itertools.combinations(times, size)
        for minutes in itertools.product(*(times[d][::2] for d in dyes))
    ]
    matches = match_recipes(MODEL, target, tolerance_delta_e=tolerance)
    found = {m.recipe: m for m in matches.within}
    for recipe in recipes:
        away = delta_e(MODEL.predict(recipe).colour, target)
        assert (recipe in found) == (away <= tolerance) or abs(away - tolerance) < 1e-3
        assert away >= matches.nearest.delta_e - 0.1
    for match in matches.within:
        assert match.delta_e == pytest.approx(delta_e(match.colour, target), abs=1e-3)
        assert MODEL.predict(match.recipe).colour == match.colour
        assert len(match.recipe.doses) <= 3
        assert all(1.0 <= m <= SMALL.dye(d).full_minutes for d, m in match.recipe.doses)


def test_out_of_reach_gives_the_nearest():
    matches = match_recipes(MODEL, "#00ff00", tolerance_delta_e=3.0)
    assert matches.within == ()
    assert matches.recipes == (matches.nearest.recipe,)
    assert matches.nearest.delta_e > 3.0


def test_fewer_dyes_where_the_difference_is_as_good():
    target = MODEL.predict(Recipe.of({"sea blue": 4.3})).colour
    assert match_recipes(MODEL, target, tolerance_delta_e=3.0).nearest.recipe == Recipe.of({"sea blue": 4.3})


def test_recipes_the_job_has_anyway_are_candidates():
    pinned = Recipe.of({"sea blue": 7.77})
    target = MODEL.predict(pinned).colour
    assert pinned not in match_recipes(MODEL, target, tolerance_delta_e=2.0).recipes
    with_job = match_recipes(MODEL, target, tolerance_delta_e=2.0, also=[pinned])
    assert pinned in with_job.recipes
    assert any(r.minutes("sea blue") == 7.77 and r.minutes("lemon") for r in
               match_recipes(MODEL, MODEL.predict(pinned.plus("lemon", 2.0)).colour, tolerance_delta_e=2.0,
                             also=[pinned]).recipes)  # fmt: skip


def test_bench_minutes_stay_between_one_and_full():
    assert bench_minutes(4.0) == (1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0)
    assert bench_minutes(15.0)[-3:] == (13.0, 14.0, 15.0)
    assert bench_minutes(7.25, [0.5, 6.3, 9.0]) == (1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 6.3, 7.0, 7.25)
    assert bench_minutes(0.5) == (0.5,)


def test_a_shelf_of_many_dyes_stays_bounded():
    shelf = sample_shelf()
    more = tuple(
        Dye(f"{d.name} {i}", d.swatch, d.strips, d.temperature_c, 60.0) for d in shelf.dyes[:7] for i in (1, 2)
    )
    model = ColourModel(Shelf(shelf.bare, 18.0, more))
    assert match_recipes(model, "#802020", tolerance_delta_e=2.0).nearest.delta_e < 3.0
