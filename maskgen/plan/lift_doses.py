"""How few baths give the doses wanted, when it is known which groups of colours lie open together at some time.

A bath in one dye gives the same minutes to every group that is open. So the doses wanted of a dye are a sum of
`column x minutes`, where a column is a set of groups open together (as bits) and minutes are above 0. The fewest baths
are the fewest columns. A smallest set of columns is linearly independent, so all candidates can be listed: sets of at
most as many columns as groups have the dye, whose equations have a solution above 0.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from maskgen.model.dyeing import MINUTES_TOLERANCE, Recipe
from maskgen.model.job import Permission
from maskgen.plan.order_rules import Rules


@dataclass(frozen=True, slots=True, eq=False)
class DoseOptions:
    """The ways to give one programme of dye: each a set of columns with the baths in each column.

    `lasting` says that no oxide may lie open meanwhile that is stripped later. `baths` per column is 1, or the number
    of dyes of a mixture that is dyed in one go.
    """

    lasting: bool
    columns: tuple[tuple[int, ...], ...]
    minutes: tuple[tuple[tuple[tuple[str, float], ...], ...], ...]
    baths: tuple[int, ...]


def dose_options(recipes: Sequence[Recipe], rules: Rules) -> tuple[DoseOptions, ...]:
    """List, for every dye (and with overdye `never` for every mixture), the ways to give what is wanted of it."""
    options = []
    alone: set[int] = set()
    if rules.overdye is Permission.NEVER:
        alone = {group for group, recipe in enumerate(recipes) if len(recipe.doses) > 1}
        for group in sorted(alone):
            doses = recipes[group].doses
            options.append(DoseOptions(rules.lasts(recipes[group]), ((1 << group,),), ((doses,),), (len(doses),)))
    for dye in sorted({dye for recipe in recipes for dye, _ in recipe.doses}):
        wanted = {g: r.minutes(dye) for g, r in enumerate(recipes) if g not in alone and r.minutes(dye) > 0.0}
        if wanted:
            options.append(_one_dye(dye, wanted, dye in rules.lasting))
    return tuple(options)


def _one_dye(dye: str, wanted: dict[int, float], lasting: bool) -> DoseOptions:
    groups = sorted(wanted)
    doses = np.array([wanted[g] for g in groups])
    patterns = np.array([[c >> row & 1 for row in range(len(groups))] for c in range(1, 1 << len(groups))], dtype=float)
    bits = [sum(1 << g for row, g in enumerate(groups) if c >> row & 1) for c in range(1, 1 << len(groups))]
    columns: list[tuple[int, ...]] = []
    minutes: list[tuple[tuple[tuple[str, float], ...], ...]] = []
    for size in range(1, len(groups) + 1):
        sets = np.array(list(combinations(range(len(bits)), size)))
        chosen, times = _solved(patterns, doses, sets)
        for some, spent in zip(chosen.tolist(), times.tolist(), strict=True):
            columns.append(tuple(bits[c] for c in some))
            minutes.append(tuple(((dye, round(t, 9)),) for t in spent))
    return DoseOptions(lasting, tuple(columns), tuple(minutes), tuple(len(c) for c in columns))


def _solved(
    patterns: NDArray[np.float64], doses: NDArray[np.float64], sets: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Keep the independent sets of columns whose equations have a solution above 0, with that solution."""
    matrix = patterns[sets].transpose(0, 2, 1)
    square = matrix.transpose(0, 2, 1) @ matrix
    independent = np.linalg.det(square) > 0.5  # whole numbers, so 0 or at least 1
    sets, matrix, square = sets[independent], matrix[independent], square[independent]
    times = np.linalg.solve(square, (matrix.transpose(0, 2, 1) @ doses)[:, :, None])[:, :, 0]
    missed = np.abs((matrix @ times[:, :, None])[:, :, 0] - doses).max(axis=1)
    good = (times > MINUTES_TOLERANCE).all(axis=1) & (missed < MINUTES_TOLERANCE / 2)
    return sets[good], times[good]
