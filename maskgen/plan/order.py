"""The dye order with its proof: from wanted colours to the plan."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from itertools import combinations

from maskgen.colour.mix import ColourModel
from maskgen.colour.spaces import ciede2000, difference, hex_to_lab
from maskgen.errors import NoPlanError
from maskgen.model.dyeing import Plan, PlannedRegion, Recipe, Shelf, WantedColour
from maskgen.model.dyeing import Sequence as Steps
from maskgen.model.job import Finish, Permission
from maskgen.plan.advice import advice
from maskgen.plan.lift_plans import plans_with_lifting
from maskgen.plan.lift_search import MOST_GROUPS
from maskgen.plan.order_chains import LastingConflict, fewest_runs
from maskgen.plan.order_choice import MOST_ITEMS, NoChoice, choose_recipes
from maskgen.plan.order_rules import Rules
from maskgen.plan.order_steps import steps_of_runs

RECIPE_DIGITS = 6
"""Times are settled to a millionth of a minute: closer ones are the same time (`MINUTES_TOLERANCE`)."""


def plan_order(wanted: Sequence[WantedColour], shelf: Shelf, model: ColourModel, *, finish: Finish) -> Plan:
    """Find the order of baths, masks and strips, least in strips, then masks, then baths.

    Parameters
    ----------
    wanted
        The regions, each with every recipe that counts as its colour. Their order decides nothing but ties.

    Raises
    ------
    NoPlanError
        When no order exists; the message names the colours that stand in each other's way.
    """
    rules = Rules.of(shelf, finish.overdye)
    wanted = [replace(w, recipes=tuple(_settled(r) for r in w.recipes)) for w in wanted]
    if finish.lift is Permission.ALLOW:
        return _plan_with_lifting(wanted, shelf, model, rules)
    chosen = _choose(wanted, model, rules)
    sequence, antichain = _arrange(wanted, chosen.recipes, shelf, rules)
    why, whatever = _strongest_proof(antichain, chosen.together, range(len(wanted)))
    regions = _planned(wanted, chosen.recipes, model)
    notes = advice(regions, sequence.steps, shelf)
    if not chosen.proven:
        notes = (_TOO_MANY, *notes)
        return Plan(regions, sequence, optimal=False, lower_bound=0, why=(wanted[why[0]].key,), notes=notes)
    if not whatever:
        notes = (_OTHER_CHOICES, *notes)
    keys = tuple(wanted[i].key for i in why)
    return Plan(regions, sequence, optimal=True, lower_bound=sequence.strips, why=keys, notes=notes)


_TOO_MANY = (
    f"More than {MOST_ITEMS} different colours: matched ones took their nearest recipe, and another choice may need "
    "fewer strips."
)
_OTHER_CHOICES = (
    "The proof names colours by the recipes chosen; every other choice within the tolerance was searched through, and "
    "none needs fewer strips."
)
_CHOSEN_BEFORE = (
    "Recipes were chosen as without lifting; with other recipes within the tolerance there may be better plans."
)
_MANY_RECIPES = (
    f"More than {MOST_GROUPS} different recipes, or recipes too entangled: these plans are good ones, not proven the "
    "best."
)


def _plan_with_lifting(wanted: Sequence[WantedColour], shelf: Shelf, model: ColourModel, rules: Rules) -> Plan:
    """Find every plan that no other beats; where that is too much, some good ones."""
    # Lifting lets a lasting dye stand anywhere, so it stands in nobody's way when recipes are chosen.
    chosen = _choose(wanted, model, Rules(rules.overdye))
    regions = _planned(wanted, chosen.recipes, model)
    groups: dict[Recipe, tuple[str, ...]] = {}
    for region in regions:
        groups[region.recipe] = (*groups.get(region.recipe, ()), region.key)
    found = plans_with_lifting(sorted(groups.items(), key=lambda g: g[0].doses), rules, [d.name for d in shelf.dyes])
    plans = list(found.plans)
    if not found.proven:
        with suppress(NoPlanError):
            plans.append(_arrange(wanted, chosen.recipes, shelf, rules)[0])
        plans = _unbeaten(plans)
    free = any(len(w.recipes) > 1 for w in wanted)
    notes = advice(regions, plans[0].steps, shelf)
    if free:
        notes = (_CHOSEN_BEFORE, *notes)
    if not found.proven:
        notes = (_MANY_RECIPES, *notes)
    return Plan(
        regions,
        plans[0],
        optimal=found.proven and not free,
        lower_bound=plans[0].strips if found.proven else 0,
        alternatives=tuple(plans),
        notes=notes,
    )


def _unbeaten(plans: Sequence[Steps]) -> list[Steps]:
    """Keep one plan for every cost that no other is within, the least first."""
    by_cost = {(p.strips, p.masks, p.baths, p.lifts): p for p in plans}
    return [
        by_cost[cost]
        for cost in sorted(by_cost)
        if not any(other != cost and all(a <= b for a, b in zip(other, cost, strict=True)) for other in by_cost)
    ]


@dataclass(frozen=True, slots=True)
class _Chosen:
    """The recipe of every wanted colour; pairs that can share a run with some choice of recipes; whether proven."""

    recipes: tuple[Recipe, ...]
    together: frozenset[tuple[int, int]]
    proven: bool = True


def _settled(recipe: Recipe) -> Recipe:
    return Recipe.of({dye: round(minutes, RECIPE_DIGITS) for dye, minutes in recipe.doses})


def _choose(wanted: Sequence[WantedColour], model: ColourModel, rules: Rules) -> _Chosen:
    choices = list(dict.fromkeys(w.recipes for w in wanted))
    item = [choices.index(w.recipes) for w in wanted]
    if all(len(choice) == 1 for choice in choices) or len(choices) > MOST_ITEMS:
        recipes = tuple(w.recipes[0] for w in wanted)
        return _Chosen(recipes, frozenset(), proven=all(len(choice) == 1 for choice in choices))
    candidates = []
    for index, choice in enumerate(choices):
        target = hex_to_lab(wanted[item.index(index)].source)
        delta_e = ciede2000(model.predict_many(choice).lab, target).tolist() if len(choice) > 1 else [0.0]
        candidates.append(list(zip(choice, delta_e, strict=True)))
    try:
        choice_made = choose_recipes(candidates, rules)
    except NoChoice as problem:
        raise _no_plan([i for i, w in enumerate(wanted) if all(rules.lasts(r) for r in w.recipes)], wanted) from problem
    pairs = combinations(range(len(wanted)), 2)
    together = frozenset(
        (a, b)
        for a, b in pairs
        if item[a] == item[b] or (min(item[a], item[b]), max(item[a], item[b])) in choice_made.together
    )
    return _Chosen(tuple(choice_made.recipes[i] for i in item), together)


def _arrange(
    wanted: Sequence[WantedColour], recipes: Sequence[Recipe], shelf: Shelf, rules: Rules
) -> tuple[Steps, tuple[int, ...]]:
    """Put chosen recipes in order; also one wanted colour for each of as many recipes as runs, none sharing a run."""
    groups: dict[Recipe, list[int]] = {}
    for index, recipe in enumerate(recipes):
        groups.setdefault(recipe, []).append(index)
    different = list(groups)
    try:
        found = fewest_runs(different, rules, [sum(wanted[i].hand_work for i in groups[r]) for r in different])
    except LastingConflict as conflict:
        raise _no_plan([groups[different[i]][0] for i in conflict.pair], wanted) from conflict
    keys = {recipe: tuple(wanted[i].key for i in members) for recipe, members in groups.items()}
    runs = [[(different[i], keys[different[i]]) for i in run] for run in found.runs]
    sequence = steps_of_runs(runs, [dye.name for dye in shelf.dyes])
    return sequence, tuple(groups[different[i]][0] for i in found.antichain)


def _strongest_proof(
    antichain: tuple[int, ...], together: frozenset[tuple[int, int]], indices: Sequence[int]
) -> tuple[tuple[int, ...], bool]:
    """Prefer colours no two of which can share a run with whatever recipes; say whether there are so many."""
    for some in (antichain, *combinations(indices, len(antichain))):
        if not any(pair in together for pair in combinations(sorted(some), 2)):
            return tuple(sorted(some)), True
    return antichain, False


def _planned(
    wanted: Sequence[WantedColour], recipes: Sequence[Recipe], model: ColourModel
) -> tuple[PlannedRegion, ...]:
    predicted = model.predict_many(recipes)
    return tuple(
        PlannedRegion(w.key, w.name, w.source, recipe, colour, difference(w.source, colour), measured)
        for w, recipe, colour, measured in zip(
            wanted, recipes, predicted.colours, predicted.measured.tolist(), strict=True
        )
    )


def _no_plan(indices: Sequence[int], wanted: Sequence[WantedColour]) -> NoPlanError:
    names = " and ".join(f"`{wanted[i].name}`" for i in indices)
    return NoPlanError(
        f"{names} stand in each other's way: their dyes do not strip, so both would have to come in the last run, and "
        "neither can be masked on the way to the other",
        mend='allow lifting (lift = "allow"), or make one of them of dyes that strip',
    )
