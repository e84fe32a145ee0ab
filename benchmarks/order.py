"""The dye order: time to a proven answer, beside trying every order of the same colours."""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable
from itertools import pairwise, permutations
from typing import Any, TypeVar

from maskgen.colour.match import match_recipes
from maskgen.colour.mix import ColourModel
from maskgen.formats.shelf import sample_shelf
from maskgen.model.dyeing import Plan, Recipe, WantedColour
from maskgen.model.job import Finish, Permission
from maskgen.plan.order import plan_order

SHELF = sample_shelf()
MODEL = ColourModel(SHELF)
DYES = ("lemon", "rose", "sea blue", "black")
ROUNDS = 5

Result = TypeVar("Result")


def recipes(number: int, *, seed: int, dyes: int = 3, each: int = 3) -> list[Recipe]:
    """Make different recipes of up to `each` of the first `dyes` dyes."""
    rng = random.Random(seed)
    found: set[Recipe] = set()
    while len(found) < number:
        chosen = rng.sample(DYES[:dyes], rng.randint(0, each))
        found.add(Recipe.of({d: rng.choice((1.0, 2.0, 3.5, 5.0, 8.0, 12.0)) for d in chosen}))
    return sorted(found, key=lambda r: r.doses)


def wanted(found: list[Recipe]) -> list[WantedColour]:
    return [WantedColour(f"r{i}", f"colour {i}", "#808080", (r,)) for i, r in enumerate(found)]


def every_order(found: list[Recipe]) -> int:
    """Reference: go through all orders, start a new run where a colour cannot follow; give the fewest strips."""
    return min(sum(not a.within(b) for a, b in pairwise(order)) for order in permutations(found))


def timed(call: Callable[..., Result], *arguments: Any) -> tuple[Result, float]:
    start = time.perf_counter()
    result = call(*arguments)
    return result, time.perf_counter() - start


def planned(job: list[WantedColour], finish: Finish) -> Plan:
    return plan_order(job, SHELF, MODEL, finish=finish)


def run() -> None:
    run_pinned()
    run_matched()
    run_lifted("lifting, pinned recipes of up to two of three dyes", 3, 2, range(2, 6))
    run_lifted("lifting, shades of a single dye", 1, 1, range(2, 6))
    run_lifted("lifting, any of three dyes in every recipe", 3, 3, range(2, 5))


def run_pinned() -> None:
    print("pinned recipes, no lifting (reference: every order tried, up to 8 colours)")
    print(f"{'colours':>8} {'strips':>7} {'median s':>9} {'worst s':>8} {'reference s':>12} {'times faster':>13}")
    for number in range(4, 13):
        jobs = [wanted(recipes(number, seed=seed)) for seed in range(ROUNDS)]
        plans, taken = zip(*(timed(planned, job, Finish()) for job in jobs), strict=True)
        assert all(plan.optimal and len(plan.why) == plan.lower_bound + 1 for plan in plans)
        most = max(plan.sequence.strips for plan in plans)
        row = f"{number:>8} {most:>7} {statistics.median(taken):>9.4f} {max(taken):>8.4f}"
        if number <= 8:
            least, reference = timed(every_order, [w.recipes[0] for w in jobs[0]])
            assert least == plans[0].sequence.strips
            row += f" {reference:>12.4f} {reference / taken[0]:>13.1f}"
        print(row)


def run_matched() -> None:
    print("matched colours on the sample shelf, every recipe within 3.0")
    _, reach = timed(match, "#808080")
    print(f"  what the shelf can reach, computed once: {reach:.2f} s")
    rng = random.Random(7)
    for number in (2, 4, 6, 8):
        targets = ["#" + "".join(f"{rng.randrange(40, 180):02x}" for _ in range(3)) for _ in range(number)]
        colours, matched = timed(lambda names: [match(name) for name in names], targets)
        plan, ordered = timed(planned, colours, Finish())
        print(
            f"  {number} colours, {sum(len(c.recipes) for c in colours)} recipes: matched {matched:.2f} s, planned "
            f"{ordered:.2f} s, strips {plan.sequence.strips}, proven {plan.optimal}"
        )


def match(target: str) -> WantedColour:
    return WantedColour(target, target, target, match_recipes(MODEL, target, tolerance_delta_e=3.0).recipes)


def run_lifted(title: str, dyes: int, each: int, numbers: range) -> None:
    print(title)
    print(f"{'colours':>8} {'plans':>6} {'median s':>9} {'worst s':>8} {'proven':>7}")
    for number in numbers:
        jobs = [wanted(recipes(number, seed=seed, dyes=dyes, each=each)) for seed in range(ROUNDS)]
        plans, taken = zip(*(timed(planned, job, Finish(lift=Permission.ALLOW)) for job in jobs), strict=True)
        most = max(len(plan.alternatives) for plan in plans)
        proven = f"{sum(plan.optimal for plan in plans)}/{len(plans)}"
        print(f"{number:>8} {most:>6} {statistics.median(taken):>9.3f} {max(taken):>8.3f} {proven:>7}")
