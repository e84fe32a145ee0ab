"""Plans with lifting, as steps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Recipe, Seal, Step, Strip
from maskgen.model.dyeing import Sequence as Steps
from maskgen.plan.lift_bounds import Bounds
from maskgen.plan.lift_doses import DoseOptions, dose_options
from maskgen.plan.lift_search import MOST_GROUPS, Stage, search
from maskgen.plan.order_chains import fewest_runs
from maskgen.plan.order_rules import Rules
from maskgen.plan.order_steps import baths_between


@dataclass(frozen=True, slots=True)
class LiftPlans:
    """Plans none of which beats another, least strips first, then masks, baths, lifts; whether these are all."""

    plans: tuple[Steps, ...]
    proven: bool


def plans_with_lifting(
    groups: Sequence[tuple[Recipe, tuple[str, ...]]], rules: Rules, dye_order: Sequence[str]
) -> LiftPlans:
    """Find the plans for different recipes, each with the keys of its regions."""
    if len(groups) > MOST_GROUPS:
        return LiftPlans((_run_after_run(groups, rules, dye_order),), proven=False)
    recipes = [recipe for recipe, _ in groups]
    options = dose_options(recipes, rules)
    front = search(len(groups), options)
    keys = [regions for _, regions in groups]
    return LiftPlans(tuple(_steps(stage, options, keys, dye_order) for _, _, stage in front.plans), front.proven)


def _steps(
    start: Stage, options: Sequence[DoseOptions], keys: Sequence[tuple[str, ...]], dye_order: Sequence[str]
) -> Steps:
    path = [start]
    while path[-1].later is not None:
        path.append(path[-1].later)
    baths = _baths_by_stage(path, options, len(keys), dye_order)
    steps: list[Step] = []
    on: dict[int, str] = {}
    masks = 0
    for place, stage in enumerate(path):
        steps += baths[place]
        if stage.later is None:
            break
        put_on = [block for block in stage.later.blocks if block not in stage.blocks]
        taken_off = [block for block in stage.blocks if block not in stage.later.blocks]
        if put_on:
            masks += 1
            on[put_on[0]] = f"M{masks}"
            steps.append(ApplyMask(f"M{masks}", _regions(put_on[0], keys)))
        elif taken_off:
            steps.append(Lift(tuple(sorted((on.pop(block) for block in taken_off), key=lambda m: int(m[1:])))))
        else:
            steps.append(Strip())
    return Steps((*steps, Seal()))


def _regions(block: int, keys: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
    return tuple(key for group, regions in enumerate(keys) if block >> group & 1 for key in regions)


def _baths_by_stage(
    path: Sequence[Stage], options: Sequence[DoseOptions], groups: int, dye_order: Sequence[str]
) -> list[list[DyeBath]]:
    """Choose the fewest baths the columns of this path allow, and put each where its column first lies open."""
    numbers = Bounds(options)
    everything = (1 << groups) - 1
    seen = [numbers.seen(everything - sum(stage.blocks), stage.alive) for stage in path]
    baths: list[list[DyeBath]] = [[] for _ in path]
    for programme in options:
        ways = []
        for count, columns, minutes in zip(programme.baths, programme.columns, programme.minutes, strict=True):
            bits = [1 << numbers.number[column, programme.lasting] for column in columns]
            places = [next((i for i, s in enumerate(seen) if s & bit), None) for bit in bits]
            if None not in places:
                ways.append((count, columns, minutes, places))
        _, _, minutes, places = min(ways)
        for place, doses in zip(places, minutes, strict=True):
            assert place is not None
            baths[place] += [DyeBath(dye, time) for dye, time in doses]
    return [sorted(here, key=lambda bath: dye_order.index(bath.dye)) for here in baths]


def _run_after_run(groups: Sequence[tuple[Recipe, tuple[str, ...]]], rules: Rules, dye_order: Sequence[str]) -> Steps:
    """Dye run after run without a strip: all later runs wait under a mask each, which comes off when they are due."""
    recipes = [recipe for recipe, _ in groups]
    runs = fewest_runs(recipes, Rules(rules.overdye), [0.0] * len(groups)).runs
    steps: list[Step] = []
    waiting = []
    for number, run in enumerate(runs[1:], start=1):
        waiting.append(f"M{number}")
        steps.append(ApplyMask(f"M{number}", tuple(key for i in run for key in groups[i][1])))
    masks = len(waiting)
    for number, run in enumerate(runs):
        if number > 0:
            steps.append(Lift((waiting[number - 1],)))
        reached = Recipe()
        for place, group in enumerate(run):
            steps += baths_between(reached, recipes[group], dye_order)
            reached = recipes[group]
            if number < len(runs) - 1 or place < len(run) - 1:
                masks += 1
                steps.append(ApplyMask(f"M{masks}", groups[group][1]))
    return Steps((*steps, Seal()))
