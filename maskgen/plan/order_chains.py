"""The fewest runs for fixed recipes, with proof.

Recipes under `Rules.may_precede` are a partial order, and a run is a chain of it. The fewest chains that cover it come
from a maximum matching of each recipe with its successor (Fulkerson 1956), and equal the largest antichain (Dilworth
1950), which Koenig's theorem reads off the same matching: recipes no two of which can share a run. Every recipe but
the last needs one mask, so masks are given; among maximum matchings the one that saves most baths is taken (baths of
a run add up over its neighbouring recipes, so this is one assignment problem), and this for every recipe that could
come last, because the one that costs most by hand should be the one that needs no mask.

All recipes with a lasting dye stand in the last run, in one chain. Whatever comes after one of them holds its dye too,
so in any cover they are the ends of chains and can be joined into one end: the least number of runs does not change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from maskgen.errors import MaskgenError
from maskgen.model.dyeing import Recipe
from maskgen.plan.order_rules import Rules, added_baths


@dataclass(frozen=True, slots=True)
class Runs:
    """Indices of the recipes, run by run in the order of the bench; the very last needs no mask."""

    runs: tuple[tuple[int, ...], ...]
    antichain: tuple[int, ...]


class LastingConflict(MaskgenError):
    """Two recipes with lasting dyes that cannot share the last run; `pair` are their indices."""

    def __init__(self, first: int, second: int) -> None:
        super().__init__(f"recipes {first} and {second} both last and cannot share a run")
        self.pair = (first, second)


def fewest_runs(recipes: Sequence[Recipe], rules: Rules, hand_work: Sequence[float]) -> Runs:
    """Cover the recipes with the fewest runs, then the fewest baths, then the least hand work.

    Parameters
    ----------
    recipes
        All different.
    hand_work
        What masking each costs. Equal plans: the recipe later in this list comes last.

    Raises
    ------
    LastingConflict
        When no order exists.
    """
    order = precedence(recipes, rules)
    allowed = order.copy()
    last_ones = _lasting_in_order(recipes, rules)
    for first, then in pairwise(last_ones):
        allowed[first, :] = allowed[:, then] = False
        allowed[first, then] = True
    saved = _saved_baths(recipes, allowed)
    covers = {end: _best_matching(allowed, saved, end) for end in last_ones[-1:] or range(len(recipes))}
    end = max(covers, key=lambda e: _worth(covers[e], saved, e, hand_work))
    return Runs(_ordered_runs(covers[end], end, hand_work), _antichain(order, covers[end]))


def precedence(recipes: Sequence[Recipe], rules: Rules) -> NDArray[np.bool_]:
    """Give the strict order as a matrix: row may come before column in one run."""
    size = len(recipes)
    table = np.zeros((size, size), dtype=bool)
    for i, first in enumerate(recipes):
        for j, then in enumerate(recipes):
            table[i, j] = i != j and rules.may_precede(first, then)
    return table


def _saved_baths(recipes: Sequence[Recipe], allowed: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Count the baths a recipe saves by following another, against starting anew from bare."""
    saved = np.zeros(allowed.shape, dtype=np.int64)
    for i, j in np.argwhere(allowed):
        saved[i, j] = len(recipes[j].doses) - added_baths(recipes[i], recipes[j])
    return saved


def _lasting_in_order(recipes: Sequence[Recipe], rules: Rules) -> list[int]:
    last_ones = [i for i, r in enumerate(recipes) if rules.lasts(r)]
    for i in last_ones:
        for j in last_ones:
            if not rules.may_precede(recipes[i], recipes[j]) and not rules.may_precede(recipes[j], recipes[i]):
                raise LastingConflict(i, j)
    return sorted(last_ones, key=lambda i: sum(m for _, m in recipes[i].doses))


def _best_matching(allowed: NDArray[np.bool_], saved: NDArray[np.int64], end: int) -> dict[int, int]:
    """Match as many recipes as possible with a successor, then save most baths; `end` has no successor."""
    one_more = int(saved.sum()) + 1
    worth = np.where(allowed, one_more + saved, 0)
    worth[end, :] = 0
    rows, columns = linear_sum_assignment(worth, maximize=True)
    return {int(i): int(j) for i, j in zip(rows, columns, strict=True) if worth[i, j] > 0}


def _worth(
    match: dict[int, int], saved: NDArray[np.int64], end: int, hand_work: Sequence[float]
) -> tuple[int, int, float, int]:
    return len(match), int(sum(saved[i, j] for i, j in match.items())), hand_work[end], end


def _ordered_runs(match: dict[int, int], end: int, hand_work: Sequence[float]) -> tuple[tuple[int, ...], ...]:
    """Follow the successors; the run of `end` last, before it the runs that cost most by hand.

    An early mask sees more strips, so what is fine and laborious goes on late.
    """
    runs = []
    for start in range(len(hand_work)):
        if start not in match.values():
            run = [start]
            while run[-1] in match:
                run.append(match[run[-1]])
            runs.append(tuple(run))
    return tuple(sorted(runs, key=lambda run: (run[-1] == end, sum(hand_work[i] for i in run), run)))


def _antichain(order: NDArray[np.bool_], match: dict[int, int]) -> tuple[int, ...]:
    """Read the largest antichain off a maximum matching (Koenig): in no way covered by a least vertex cover."""
    before = {then: first for first, then in match.items()}
    left = {i for i in range(len(order)) if i not in match}
    right: set[int] = set()
    waiting = sorted(left)
    while waiting:
        for then in np.flatnonzero(order[waiting.pop()]).tolist():
            if then not in right:
                right.add(then)
                if then in before and before[then] not in left:
                    left.add(before[then])
                    waiting.append(before[then])
    return tuple(sorted(left - right))
