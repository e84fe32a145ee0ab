"""Masks: every region's vinyl, grown for the creep it has to bear and lapped onto the masks that lie there already.

Towards a neighbour finished later a mask is grown across the common boundary by the creep of one strip times the
strips that edge sees; the bleach eats exactly the growth. Towards a neighbour already masked it runs `lap_mm` onto
that mask's vinyl, and the earlier mask draws the edge. Frame of the face, millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import shapely
from shapely.geometry import MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.exact import fit_area_exact
from maskgen.model.dyeing import Plan
from maskgen.model.finding import Finding
from maskgen.model.job import Hole, Part, Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition
from maskgen.plan.exposure import Schedule, Stay, may_lap, schedule
from maskgen.plan.growth import dilate, spread_bands, tidy
from maskgen.plan.laps import fill_holes, lap_onto
from maskgen.plan.surface import Surface, lay_out

FIT_MM = 0.003
"""How far a fitted outline may leave the exact one; with the flattening it stays well within 0.01 mm."""
HOLE_CLEARANCE_MM = 0.01
"""Vinyl ends this far outside a hole, so that neither fitting nor rounding brings it over the hole."""


def grow_masks(
    regions: Partition, plan: Plan, *, part: Part, resist: Resist, holes: Sequence[Hole] = ()
) -> tuple[tuple[Mask, ...], tuple[Finding, ...]]:
    """Give the masks of a plan in the order they go on, and where growth and the least widths cannot both hold.

    Parameters
    ----------
    regions
        The colours on the developed face, mm, covering it once; keys as in the plan.
    plan
        Its steps say which mask covers which regions, and when; regions without area are passed over.
    part, resist, holes
        The face and its edges, what vinyl and bleach do, and the holes no vinyl may cover.

    Raises
    ------
    InputError
        When the steps put a mask on twice or lift one that is not on.
    """
    timetable = schedule(plan.sequence.steps)
    surface = lay_out(regions, part, overhang_mm=resist.overhang_mm, margin_mm=_margin(timetable, regions, resist))
    drilled = _drilled(holes, surface)
    laid: dict[str, BaseGeometry] = {}
    masks = []
    names = {region.key: region.name for region in regions.regions} | {r.key: r.name for r in plan.regions}
    for stay in timetable.stays:
        vinyl = _vinyl(stay, timetable, surface, laid, resist, drilled)
        cut = tidy(surface.fold(vinyl, resist.lap_mm))
        laid[stay.mask] = surface.spread(cut)
        name = " and ".join(names.get(key, key) for key in stay.regions)
        masks.append(Mask(stay.mask, name, stay.regions, fit_area_exact(cut, tolerance=FIT_MM)))
    return tuple(masks), ()


def _margin(timetable: Schedule, regions: Partition, resist: Resist) -> float:
    """Give how much of the next turn of a tube has to be seen: a lap and the most growth, and whole small pieces."""
    growth = resist.creep_mm * len(timetable.strips)
    return min(regions.width / 2, 2 * (resist.lap_mm + growth) + resist.placement_mm + 5.0)


def _drilled(holes: Sequence[Hole], surface: Surface) -> BaseGeometry:
    discs = [dilate(Point(hole.at_mm), hole.diameter_mm / 2 + HOLE_CLEARANCE_MM) for hole in holes]
    return surface.spread(shapely.union_all(discs)) if discs else MultiPolygon()


def _vinyl(
    stay: Stay,
    timetable: Schedule,
    surface: Surface,
    laid: Mapping[str, BaseGeometry],
    resist: Resist,
    drilled: BaseGeometry,
) -> BaseGeometry:
    """Give one mask's vinyl over the whole window."""
    core = shapely.union_all([surface.regions[key] for key in stay.regions if key in surface.regions])
    neighbours = [
        (resist.creep_mm * timetable.exposures(stay, key), shape)
        for key, shape in surface.regions.items()
        if key not in stay.regions
    ]
    beneath = timetable.beneath(stay)
    firm = shapely.union_all([laid[other.mask] for other in beneath if may_lap(stay, other)])
    leaving = shapely.union_all([laid[other.mask] for other in beneath if not may_lap(stay, other)])
    own = shapely.union_all([core, spread_bands(core, neighbours)])
    own = tidy(own.difference(shapely.union_all([firm, leaving])))
    left_open = tidy(surface.window.difference(shapely.union_all([firm, leaving, own])))
    lap = lap_onto(
        firm,
        own,
        resist.lap_mm,
        left_open=left_open,
        tail_mm=2 * resist.creep_mm * len(timetable.strips),
    )
    vinyl = fill_holes(shapely.union_all([own, lap]), firm, resist.min_gap_mm)
    return vinyl.difference(shapely.union_all([leaving, drilled]))
