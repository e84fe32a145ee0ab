"""The part after every step, as the papers draw it: which colour each region has, and which film is on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from maskgen.colour.mix import ColourModel
from maskgen.model.dyeing import DyeBath, Seal, Step, Strip
from maskgen.model.result import JobResult
from maskgen.plan.replay import replay


@dataclass(frozen=True, slots=True)
class Stage:
    """One step and the part after it; `colours` by region id, `clock_from` the minutes this dye already had."""

    step: Step
    colours: dict[str, str]
    masks_on: tuple[str, ...]
    open_regions: tuple[str, ...]
    sealed: bool
    clock_from: float = 0.0


def first_stage(result: JobResult) -> Stage:
    """Give the part before the first step: rinsed, unsealed, bare."""
    keys = [region.key for region in result.plan.regions]
    return Stage(Seal(), dict.fromkeys(keys, result.shelf.bare), (), tuple(keys), sealed=False)


def walk_stages(result: JobResult) -> tuple[Stage, ...]:
    """Play the plan through; a film that is on at the seal comes off with it."""
    keys = [region.key for region in result.plan.regions]
    steps = result.plan.sequence.steps
    model = ColourModel(result.shelf)
    lasting = [dye.name for dye in result.shelf.dyes if not dye.strips]
    stages = []
    in_dye: dict[str, float] = {}
    for step, moment in zip(steps, replay(steps, keys, lasting=lasting), strict=True):
        sealed = isinstance(step, Seal)
        on = dict.fromkeys(mask for mask in moment.mask.values() if mask is not None)
        held = {dye: minutes for key in moment.open for dye, minutes in moment.recipe[key].doses}
        stages.append(
            Stage(
                step,
                {key: model.predict(moment.recipe[key]).colour for key in keys},
                () if sealed else tuple(sorted(on, key=lambda mask: int(mask[1:]))),
                moment.open,
                sealed,
                in_dye.get(step.dye, 0.0) if isinstance(step, DyeBath) else 0.0,
            )
        )
        in_dye = held
    return tuple(stages)


def baths_of(key: str, stages: Sequence[Stage]) -> list[Step]:
    """Give the baths a region goes through with no film on it, the seal too: what its coupon goes through."""
    found: list[Step] = []
    is_open = True
    for stage in stages:
        if isinstance(stage.step, Seal) or (is_open and isinstance(stage.step, DyeBath | Strip)):
            found.append(stage.step)
        is_open = key in stage.open_regions
    return found
