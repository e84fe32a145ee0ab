"""Which recipe each colour gets, where several count as the colour: the choice that needs fewest runs.

Each item (a colour, or colours with the same choice) has candidate recipes with a difference each. Least are, in this
order: runs, masks, baths, the sum of the differences; colours that get the same recipe share a mask. The search is
exact over all candidates:

- The recipes of a run only grow, so all lie below its last one and use no other dyes. For every set of dyes that some
  candidate has, its times span a lattice, and a run is a path from bare that never goes back along an axis.
- Over that lattice, `after[S][p]` is the least cost of having served the items S with the last of them masked at p.
  Serving one item more costs a mask, or none where it gets the recipe just masked; on the way to a mask every axis
  that grows costs one bath. Moving on is one running minimum per axis, so a step is a few array operations.
- The least cost of every set of items as one run then goes into a division of all items into runs, where only the last
  run may hold a dye that does not strip.

Costs are whole numbers with one place value per aim, so that sums compare in the order of the aims.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from maskgen.errors import MaskgenError
from maskgen.model.dyeing import Recipe
from maskgen.model.job import Permission
from maskgen.plan.order_rules import Rules

MOST_ITEMS = 12
"""Sets of items are gone through one by one: 4096 of them, half a million divisions."""
_DIFFERENCE = 10_000
"""Steps per unit of colour difference."""
_BATH = 10**8
_MASK = 10**12
_RUN = 10**15
_NEVER = 4 * 10**18

Costs = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Choice:
    """The recipe of each item; `together` says which pairs could share a run with whatever recipes."""

    recipes: tuple[Recipe, ...]
    together: frozenset[tuple[int, int]]


class NoChoice(MaskgenError):
    """No choice of recipes has an order: lasting dyes stand in each other's way."""


@dataclass(frozen=True, slots=True)
class _Candidate:
    item: int
    recipe: Recipe
    cost: int


def choose_recipes(candidates: Sequence[Sequence[tuple[Recipe, float]]], rules: Rules) -> Choice:
    """Choose one recipe per item (at most `MOST_ITEMS`), exactly.

    Parameters
    ----------
    candidates
        Per item the recipes that count, each with its colour difference.

    Raises
    ------
    NoChoice
        When no choice has an order.
    """
    by_dyes: dict[tuple[str, ...], list[_Candidate]] = {}
    for item, recipes in enumerate(candidates):
        for recipe, delta_e in recipes:
            dyes = tuple(dye for dye, _ in recipe.doses)
            by_dyes.setdefault(dyes, []).append(_Candidate(item, recipe, round(delta_e * _DIFFERENCE)))
    plain: dict[int, tuple[int, tuple[str, ...]]] = {}
    lasting: dict[int, tuple[int, tuple[str, ...]]] = {}
    for dyes in sorted(by_dyes):
        costs = _run_costs(_lattice(dyes, by_dyes), rules)
        for table in (lasting,) if rules.lasting & set(dyes) else (plain, lasting):
            for served, cost in costs.items():
                if cost < table.get(served, (_NEVER, ()))[0]:
                    table[served] = (cost, dyes)
    division = _divide(len(candidates), plain, lasting)
    chosen: dict[int, Recipe] = {}
    for served, dyes in division:
        chosen |= _trace_run(_lattice(dyes, by_dyes, only=served), rules)
    pairs = combinations(range(len(candidates)), 2)
    return Choice(
        tuple(chosen[item] for item in range(len(candidates))),
        frozenset((a, b) for a, b in pairs if 1 << a | 1 << b in lasting),
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Lattice:
    """All times of a set of dyes that its candidates use, bare first; `cost[i]` is what item `items[i]` costs where."""

    dyes: tuple[str, ...]
    levels: tuple[tuple[float, ...], ...]
    items: tuple[int, ...]
    cost: tuple[Costs, ...]

    @property
    def shape(self) -> tuple[int, ...]:
        return tuple(len(steps) for steps in self.levels)

    def recipe(self, place: int) -> Recipe:
        index = np.unravel_index(place, self.shape) if self.dyes else ()
        return Recipe.of({d: s[int(i)] for d, s, i in zip(self.dyes, self.levels, index, strict=True)})


def _lattice(dyes: tuple[str, ...], by_dyes: dict[tuple[str, ...], list[_Candidate]], *, only: int = -1) -> _Lattice:
    """Collect the candidates that use some of these dyes and no others; `only` is a set of items as bits."""
    inside = [
        c
        for size in range(len(dyes) + 1)
        for part in combinations(dyes, size)
        for c in by_dyes.get(part, ())
        if only >> c.item & 1
    ]
    times = [sorted({0.0} | {c.recipe.minutes(dye) for c in inside}) for dye in dyes]
    rank = [{t: i for i, t in enumerate(steps)} for steps in times]
    shape = tuple(len(steps) for steps in times)
    items = tuple(sorted({c.item for c in inside}))
    cost = {item: np.full(shape, _NEVER, dtype=np.int64) for item in items}
    for c in inside:
        doses = dict(c.recipe.doses)
        place = tuple(r[doses.get(dye, 0.0)] for dye, r in zip(dyes, rank, strict=True))
        cost[c.item][place] = min(c.cost, cost[c.item][place])
    return _Lattice(dyes, tuple(tuple(t) for t in times), items, tuple(cost[i] for i in items))


def _run_costs(lattice: _Lattice, rules: Rules) -> dict[int, int]:
    """Give the least cost of every set of items (as bits) that one run within these dyes can serve."""
    costs: dict[int, int] = {}
    layer: dict[int, tuple[Costs, Costs]] = {0: (_nowhere(lattice), _moved_from_bare(lattice))}
    while layer:
        following: dict[int, Costs] = {}
        for served, (after, moved) in layer.items():
            ready = np.minimum(after, moved + _MASK)
            for place in range(len(lattice.items)):
                if not served >> place & 1:
                    both = served | 1 << place
                    added = np.minimum(ready + lattice.cost[place], _NEVER)
                    following[both] = np.minimum(added, following[both]) if both in following else added
        layer = {}
        for served, after in following.items():
            least = int(after.min())
            if least < _NEVER:
                costs[sum(1 << lattice.items[i] for i in range(len(lattice.items)) if served >> i & 1)] = least
                layer[served] = (after, _moved(after, rules))
    return costs


def _nowhere(lattice: _Lattice) -> Costs:
    return np.full(lattice.shape, _NEVER, dtype=np.int64)


def _moved_from_bare(lattice: _Lattice) -> Costs:
    start = _nowhere(lattice)
    start[(0,) * len(lattice.shape)] = 0
    return _grown(start)


def _moved(after: Costs, rules: Rules) -> Costs:
    """Let open oxide grow on: along any axes, one bath each; in the order `never` only from bare or in a single dye."""
    if rules.overdye is Permission.NEVER and after.ndim > 1:
        bare_only = np.full_like(after, _NEVER)
        bare_only[(0,) * after.ndim] = after[(0,) * after.ndim]
        return _grown(bare_only)
    return _grown(after)


def _grown(costs: Costs) -> Costs:
    for axis in range(costs.ndim):
        costs = np.minimum(costs, np.minimum.accumulate(costs, axis=axis) + _BATH)
    return np.minimum(costs, _NEVER)


def _divide(
    number: int, plain: dict[int, tuple[int, tuple[str, ...]]], lasting: dict[int, tuple[int, tuple[str, ...]]]
) -> list[tuple[int, tuple[str, ...]]]:
    """Divide all items into runs at least cost; the last may hold lasting dyes."""
    everything = (1 << number) - 1
    best: dict[int, tuple[int, int]] = {0: (0, 0)}
    by_lowest: list[list[tuple[int, int]]] = [[] for _ in range(number)]
    for served, (cost, _) in plain.items():
        by_lowest[(served & -served).bit_length() - 1].append((served, cost + _RUN))
    for wanted in range(1, everything + 1):
        options = [
            (best[wanted ^ run][0] + cost, run)
            for run, cost in by_lowest[(wanted & -wanted).bit_length() - 1]
            if run & wanted == run and wanted ^ run in best
        ]
        if options:
            best[wanted] = min(options)
    ends = [
        (best[everything ^ run][0] + cost + _RUN, run) for run, (cost, _) in lasting.items() if everything ^ run in best
    ]
    if not ends:
        raise NoChoice("no choice of recipes has an order")
    _, last = min(ends)
    runs = [(last, lasting[last][1])]
    left = everything ^ last
    while left:
        run = best[left][1]
        runs.append((run, plain[run][1]))
        left ^= run
    return runs


def _trace_run(lattice: _Lattice, rules: Rules) -> dict[int, Recipe]:
    """Find the recipes of the cheapest run that serves all items of this lattice."""
    size = len(lattice.items)
    after = {0: _nowhere(lattice)}
    moved = {0: _moved_from_bare(lattice)}
    for served in range(1, 1 << size):
        costs = _nowhere(lattice)
        for place in range(size):
            if served >> place & 1:
                rest = served ^ 1 << place
                costs = np.minimum(costs, np.minimum(after[rest], moved[rest] + _MASK) + lattice.cost[place])
        after[served] = np.minimum(costs, _NEVER)
        moved[served] = _moved(after[served], rules)
    chosen: dict[int, Recipe] = {}
    served = (1 << size) - 1
    here = int(after[served].argmin())
    while served:
        cost = after[served].flat[here]
        for place in range(size):
            rest = served ^ 1 << place
            own = lattice.cost[place].flat[here]
            if served >> place & 1 and cost == min(after[rest].flat[here], moved[rest].flat[here] + _MASK) + own:
                break
        chosen[lattice.items[place]] = lattice.recipe(here)
        if rest and after[rest].flat[here] > moved[rest].flat[here] + _MASK:
            here = _came_from(after[rest], moved[rest], here, rules)
        served = rest
    return chosen


def _came_from(after: Costs, moved: Costs, here: int, rules: Rules) -> int:
    """Find a place from which the open oxide grew to `here` at the cost noted there."""
    target = np.unravel_index(here, after.shape) if after.ndim else ()
    if rules.overdye is Permission.NEVER and after.ndim > 1:
        return 0
    grown = np.zeros(after.shape, dtype=np.int64)
    before = np.ones(after.shape, dtype=bool)
    for axis, end in enumerate(target):
        index = np.arange(after.shape[axis]).reshape([-1 if a == axis else 1 for a in range(after.ndim)])
        grown = grown + (index != end)
        before = before & (index <= end)
    return int((before & (after + grown * _BATH == moved.flat[here])).argmax())
