"""What every job ends with, whatever its regions come from: masks, simulated baths, what is wrong with the vinyl."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from maskgen.check.lands import mask_findings
from maskgen.model.dyeing import Plan, Recipe
from maskgen.model.finding import Finding
from maskgen.model.job import Carrier, Job
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition
from maskgen.model.result import Simulation
from maskgen.plan.masks import grow_masks
from maskgen.plan.simulate import simulate
from maskgen.shape.bridges import bridge_mask

Progress = Callable[[str], None]

SAME_PLACE_MM = 0.5
"""Findings of one kind on one mask this close are about the same place: half a millimetre is one opening's width."""


@dataclass(frozen=True, slots=True)
class Finished:
    """Masks in the order they go on, the part they give, and the findings of growth and vinyl.

    `bath` is what further simulations of the same job take.
    """

    masks: tuple[Mask, ...]
    simulation: Simulation
    findings: tuple[Finding, ...]
    bath: dict[str, Any]


def finish_masks(
    regions: Partition,
    plan: Plan,
    job: Job,
    *,
    colour_of: Callable[[Recipe], str],
    progress: Progress = lambda step: None,
) -> Finished:
    """Grow the masks, bridge them for a stencil, simulate the baths and judge the vinyl."""
    assert job.part is not None
    progress("growing the masks")
    masks, growth = grow_masks(regions, plan, part=job.part, resist=job.resist, holes=job.hole)
    if job.resist.carrier is Carrier.STENCIL:
        masks = tuple(bridge_mask(mask, job.resist) for mask in masks)
    progress("simulating the baths")
    bath: dict[str, Any] = {"part": job.part, "resist": job.resist, "holes": job.hole, "colour_of": colour_of}
    simulation = simulate(regions, plan, masks, **bath)
    lands = told_once(mask_findings(masks, resist=job.resist, part=job.part), growth)
    return Finished(masks, simulation, (*growth, *lands), bath)


def told_once(findings: Sequence[Finding], told: Sequence[Finding]) -> tuple[Finding, ...]:
    """Leave out what has been told of the same place of the same mask already."""

    def known(finding: Finding) -> bool:
        return any(
            finding.at_mm is not None
            and other.at_mm is not None
            and (finding.code, finding.mask) == (other.code, other.mask)
            and math.dist(finding.at_mm, other.at_mm) <= SAME_PLACE_MM
            for other in told
        )

    return tuple(finding for finding in findings if not known(finding))
