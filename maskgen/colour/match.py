"""Colours to recipes: what of the shelf comes nearest, and everything that comes near enough.

Recipes have at most three dyes; times run from one minute to each dye's full time in steps a person at a bench can
keep (`bench_minutes`), together with every time that was measured or is asked for by name.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from maskgen.colour.mix import ROUGH_DELTA_E, ColourModel, Predictions
from maskgen.colour.spaces import Floats, ciede2000, hex_to_lab
from maskgen.model.dyeing import MINUTES_TOLERANCE, Recipe

MOST_DYES = 3
LEAST_MINUTES = 1.0
BENCH_STEPS = ((5.0, 0.5), (15.0, 1.0), (30.0, 2.5), (120.0, 10.0))
"""Up to this time, in steps of so much (minutes): shades move fast at first and slowly later."""
MOST_RECIPES = 300_000
"""Mixtures of three dyes looked at; a shelf with more gets coarser steps in them, ends and times named excepted."""
LARGEST_S_L = 1.748
"""S_L of CIEDE2000 is largest at mean lightness 0 and 100, so a difference is at least |dL| / this."""
SAMPLE = 17
"""Every so many recipes are enough for a first bound on the nearest."""
AS_GOOD_DIGITS = 1
"""Differences equal to this many decimals are equally good, and the recipe with fewer dyes is taken."""


@dataclass(frozen=True, slots=True)
class Match:
    """A recipe, its colour, how far that is from the colour asked for (CIEDE2000), and whether it was measured."""

    recipe: Recipe
    colour: str
    delta_e: float
    measured: bool


@dataclass(frozen=True, slots=True)
class Matches:
    """What the shelf can do for one colour: the nearest recipe, and all within the tolerance, nearest first."""

    target: str
    nearest: Match
    within: tuple[Match, ...]

    @property
    def recipes(self) -> tuple[Recipe, ...]:
        """The recipes that count as this colour, nearest first; where none does, the nearest."""
        return tuple(match.recipe for match in self.within) or (self.nearest.recipe,)


def bench_minutes(full_minutes: float, extra: Iterable[float] = ()) -> tuple[float, ...]:
    """List the times a recipe may have in one dye, rising; extra ones count from one minute to the full time."""
    least = min(LEAST_MINUTES, full_minutes)
    steps = {least, full_minutes}
    start = LEAST_MINUTES
    for end, step in BENCH_STEPS:
        steps |= {float(t) for t in np.arange(start, min(end, full_minutes) + 1e-9, step)}
        start = end
    steps |= {float(t) for t in extra if least - MINUTES_TOLERANCE <= t <= full_minutes + MINUTES_TOLERANCE}
    return tuple(sorted(steps))


def match_recipes(model: ColourModel, target: str, *, tolerance_delta_e: float, also: Iterable[Recipe] = ()) -> Matches:
    """Find the recipes for one colour.

    Parameters
    ----------
    tolerance_delta_e
        CIEDE2000 within which a recipe counts as this colour.
    also
        Recipes the job has anyway: they are candidates too, and so are their times in other mixtures, because a bath
        or a mask that is shared costs nothing.
    """
    return _reach(model, tuple(also)).match(target, tolerance_delta_e=tolerance_delta_e)


@lru_cache(maxsize=4)
def _reach(model: ColourModel, also: tuple[Recipe, ...]) -> Reach:
    return Reach.of(model, also=also)


@dataclass(frozen=True, slots=True, eq=False)
class _Family:
    """All recipes of the same dyes: every combination of the times in `levels`, and their rough CIELAB."""

    dyes: tuple[str, ...]
    levels: tuple[Floats, ...]
    rough_lab: NDArray[np.float32]

    def minutes(self, rows: NDArray[np.intp]) -> Floats:
        """Give the times of some recipes, (rows, dyes)."""
        if not self.dyes:
            return np.zeros((len(rows), 0))
        places = np.unravel_index(rows, [len(steps) for steps in self.levels])
        return np.stack([steps[p] for steps, p in zip(self.levels, places, strict=True)], axis=1)


@dataclass(frozen=True, slots=True, eq=False)
class Reach:
    """Everything the shelf can reach, computed once."""

    model: ColourModel
    families: tuple[_Family, ...]
    known: tuple[Recipe, ...]

    @classmethod
    def of(cls, model: ColourModel, *, also: Iterable[Recipe] = ()) -> Reach:
        """Compute the colours of every recipe; `also` as in `match_recipes`."""
        known = [*model.measured_recipes(), *also]
        extra: dict[str, set[float]] = {dye.name: set() for dye in model.shelf.dyes}
        for recipe in known:
            for dye, minutes in recipe.doses:
                extra[dye].add(minutes)
        levels = {d.name: bench_minutes(d.full_minutes, extra[d.name]) for d in model.shelf.dyes}
        coarse = _thinned(levels, extra)
        families = []
        for size in range(MOST_DYES + 1):
            for dyes in combinations(sorted(levels), size):
                steps = [(coarse if size == MOST_DYES else levels)[dye] for dye in dyes]
                rough = model.rough_labs(dyes, steps)
                families.append(_Family(dyes, tuple(np.array(s) for s in steps), rough))
        allowed = tuple(dict.fromkeys(r for r in known if _allowed(r, levels)))
        return cls(model, tuple(families), allowed)

    def match(self, target: str, *, tolerance_delta_e: float) -> Matches:
        """Find the nearest recipe and all within the tolerance.

        Raises
        ------
        InputError
            When the target is not `#rrggbb`.
        """
        lab = hex_to_lab(target)
        sample = min(float(ciede2000(f.rough_lab[::SAMPLE], lab).min()) for f in self.families)
        bound = max(tolerance_delta_e, sample + ROUGH_DELTA_E) + ROUGH_DELTA_E
        looked = []
        for family in self.families:
            rows = np.flatnonzero(np.abs(family.rough_lab[:, 0] - lab[0]) <= bound * LARGEST_S_L)
            looked.append((family, rows, ciede2000(family.rough_lab[rows], lab)))
        least = min(float(rough.min(initial=np.inf)) for _, _, rough in looked)
        bound = max(tolerance_delta_e, least + ROUGH_DELTA_E) + ROUGH_DELTA_E
        found = _matches(self.model.predict_many(self.known), self.known, lab)
        for family, rows, rough in looked:
            near = family.minutes(rows[rough <= bound])
            if len(near):
                recipes = [_recipe(family.dyes, row) for row in near.tolist()]
                found += _matches(self.model.predict_doses(family.dyes, near), recipes, lab)
        once = sorted({match.recipe: match for match in found}.values(), key=_rank)
        return Matches(target, once[0], tuple(m for m in once if m.delta_e <= tolerance_delta_e))


def _rank(match: Match) -> tuple[float, int, float, tuple[tuple[str, float], ...]]:
    return round(match.delta_e, AS_GOOD_DIGITS), len(match.recipe.doses), match.delta_e, match.recipe.doses


def _recipe(dyes: tuple[str, ...], minutes: Sequence[float]) -> Recipe:
    return Recipe(tuple(zip(dyes, minutes, strict=True)))


def _matches(predicted: Predictions, recipes: Sequence[Recipe], lab: Floats) -> list[Match]:
    delta_e = ciede2000(predicted.lab, lab).tolist()
    rows = zip(recipes, predicted.colours, delta_e, predicted.measured.tolist(), strict=True)
    return [Match(*row) for row in rows]


def _allowed(recipe: Recipe, levels: Mapping[str, tuple[float, ...]]) -> bool:
    return len(recipe.doses) <= MOST_DYES and all(m in levels[dye] for dye, m in recipe.doses)


def _thinned(
    levels: Mapping[str, tuple[float, ...]], keep: Mapping[str, set[float]]
) -> Mapping[str, tuple[float, ...]]:
    """Drop every second step, as often as needed, but neither ends nor times named."""
    thin = dict(levels)
    while sum(len(thin[a]) * len(thin[b]) * len(thin[c]) for a, b, c in combinations(thin, 3)) > MOST_RECIPES:
        fewer = {
            d: tuple(t for i, t in enumerate(steps) if i % 2 == 0 or i == len(steps) - 1 or t in keep[d])
            for d, steps in thin.items()
        }
        if fewer == thin:
            break
        thin = fewer
    return thin
