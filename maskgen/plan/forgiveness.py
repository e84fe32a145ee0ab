"""How forgiving a job is: the baths simulated again and again with every mask put on a little off its place.

A mask placed by hand lies anywhere within `placement_mm` of its place: uniformly in a disc of that radius, moved
without turning. Outlines are flattened to `COARSE_MM`, which changes no seam worth seeing.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import shapely

from maskgen.model.dyeing import Plan, Recipe
from maskgen.model.job import Hole, Part, Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition, Point
from maskgen.model.result import Forgiveness
from maskgen.plan.bathed import Bathed, bathe, set_up
from maskgen.plan.growth import dilate, offset
from maskgen.plan.simulate import compare_edges, draw, wrong_area

SEAM_MM = 0.1
"""A line of a wrong colour narrower than this is not seen at arm's length: 0.1 mm at 350 mm is one minute of arc, the
resolving power of an eye of normal acuity (from memory)."""
COARSE_MM = 0.02
"""Chord error of the outlines in the trials: a fifth of a visible seam."""
SPACING = 0.005
"""Spacing of edge samples in the trials as a share of the face's size: a thousand and more to a part."""
TRIALS, FEWEST_TRIALS = 25, 5
WORK = 120_000
"""Runs of outline times masks bathed in all trials together; a busier job gets fewer trials, not a longer wait."""
SEED = 20


def forgive(
    regions: Partition,
    plan: Plan,
    masks: Sequence[Mask],
    *,
    part: Part,
    resist: Resist,
    holes: Sequence[Hole] = (),
    trials: int | None = None,
    seed: int = SEED,
    colour_of: Callable[[Recipe], str] | None = None,
) -> Forgiveness:
    """Repeat the simulation with displaced masks, `TRIALS` times or, where outlines are many, less often.

    Returns
    -------
    Forgiveness
        `seamless_share` of the trials show no seam: no place wider than `SEAM_MM` has a recipe that is not wanted
        within the displacement of there (an edge that has only moved is no seam). Wrong areas in mm2 over the face;
        edge errors are each trial's 95th percentile. `worst` is the trial with the largest wrong area, drawn.

    Raises
    ------
    ValueError
        For less than one trial.
    """
    if trials is None:
        trials = affordable(sum(len(ring.segments) for r in regions.regions for ring in r.area.rings) * len(masks))
    if trials < 1:
        raise ValueError("at least one trial is needed")
    bench = set_up(regions, plan, part=part, resist=resist, holes=holes, tolerance_mm=COARSE_MM)
    generator = np.random.default_rng(seed)
    spacing_mm = SPACING * math.sqrt(regions.width * regions.height)
    wrong, edge, seams = np.empty(trials), np.empty(trials), np.empty(trials, dtype=np.bool_)
    worst: Bathed | None = None
    for trial in range(trials):
        bathed = bathe(bench, bench.lay(masks, displacements(generator, len(masks), resist.placement_mm)))
        wrong[trial] = wrong_area(bathed)
        edge[trial] = compare_edges(bathed, bathed.got, bench, spacing_mm=spacing_mm)[0].figures()[1]
        seams[trial] = shows_seam(bathed, resist.placement_mm)
        if worst is None or wrong[trial] > wrong[:trial].max():
            worst = bathed
    assert worst is not None
    return Forgiveness(
        trials,
        resist.placement_mm,
        float(1.0 - seams.mean()),
        float(np.median(wrong)),
        float(wrong.max()),
        float(np.median(edge)),
        float(edge.max()),
        draw(worst, worst.shown(), regions, plan, colour_of),
    )


def affordable(work: int) -> int:
    """Say how many trials a job of so many runs of outline times masks gets."""
    return min(TRIALS, max(FEWEST_TRIALS, WORK // max(work, 1)))


def displacements(generator: np.random.Generator, count: int, radius_mm: float) -> list[Point]:
    """Draw places evenly spread over a disc."""
    away = radius_mm * np.sqrt(generator.random(count))
    angle = 2 * math.pi * generator.random(count)
    return [(float(x), float(y)) for x, y in zip(away * np.cos(angle), away * np.sin(angle), strict=True)]


def shows_seam(bathed: Bathed, placement_mm: float) -> bool:
    """Whether anywhere a line wider than `SEAM_MM` has a recipe that belongs nowhere within a displacement of it."""
    for recipe in np.unique(bathed.got[bathed.wrong]):
        stray = shapely.coverage_union_all(bathed.shapes[bathed.wrong & (bathed.got == recipe)])
        wide = offset(stray, -SEAM_MM / 2)
        if wide.is_empty:
            continue
        home = shapely.coverage_union_all(bathed.shapes[bathed.aim == recipe])
        if not wide.difference(dilate(home, placement_mm + SEAM_MM)).is_empty:
            return True
    return False
