"""Runs to steps: what is done at the bench, one after the other."""

from __future__ import annotations

from collections.abc import Sequence

from maskgen.model.dyeing import ApplyMask, DyeBath, Recipe, Seal, Step, Strip
from maskgen.model.dyeing import Sequence as Steps


def steps_of_runs(runs: Sequence[Sequence[tuple[Recipe, tuple[str, ...]]]], dye_order: Sequence[str]) -> Steps:
    """Write out runs of recipes with the regions that get them; the very last recipe is left without a mask.

    Dyes needed for one recipe follow each other in the order of the shelf.
    """
    steps: list[Step] = []
    masks = 0
    for number, run in enumerate(runs):
        if number > 0:
            steps.append(Strip())
        reached = Recipe()
        for place, (recipe, regions) in enumerate(run):
            steps += baths_between(reached, recipe, dye_order)
            reached = recipe
            if number < len(runs) - 1 or place < len(run) - 1:
                masks += 1
                steps.append(ApplyMask(f"M{masks}", regions))
    return Steps((*steps, Seal()))


def baths_between(first: Recipe, then: Recipe, dye_order: Sequence[str]) -> list[DyeBath]:
    """List the baths that turn one recipe into a later one."""
    grown = [dye for dye in dye_order if then.minutes(dye) > first.minutes(dye)]
    return [DyeBath(dye, round(then.minutes(dye) - first.minutes(dye), 9)) for dye in grown]
