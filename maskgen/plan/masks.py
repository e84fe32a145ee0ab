"""Masks: every region's vinyl, grown for the creep it has to bear and lapped onto the masks that lie there already.

Towards a neighbour finished later a mask is grown across the common boundary by the creep of one strip times the
strips that edge sees; the bleach eats exactly the growth. Towards a neighbour already masked it runs `lap_mm` onto
that mask's vinyl, and the earlier mask draws the edge. Frame of the face, millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import MultiPolygon, Point
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.exact import fit_area_exact
from maskgen.geometry.polygons import polygonal
from maskgen.model.dyeing import Plan
from maskgen.model.finding import Finding
from maskgen.model.job import Hole, Part, Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition
from maskgen.plan.exposure import Schedule, Stay, may_lap, schedule
from maskgen.plan.growth import dilate, offset, spread_bands, tidy
from maskgen.plan.laps import fill_holes, lap_onto
from maskgen.plan.openings import eaten_through, hold_open
from maskgen.plan.surface import Surface, lay_out

FIT_MM = 0.003
"""How far a fitted outline may leave the exact one; with the flattening it stays well within 0.01 mm."""
HOLE_CLEARANCE_MM = 0.01
"""Vinyl ends this far outside a hole, so that neither fitting nor rounding brings it over the hole."""
SPLINTER_MM2 = 1e-4
"""Less of a region than this is rounding."""


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
    laying = _Laying(timetable, surface, resist, _drilled(holes, surface))
    names = {region.key: region.name for region in regions.regions} | {r.key: r.name for r in plan.regions}
    laid: dict[str, BaseGeometry] = {}
    masks: list[Mask] = []
    findings: list[Finding] = []
    for stay in timetable.stays:
        vinyl, found = laying.lay(stay, laid)
        cut = polygonal(surface.fold(vinyl, resist.lap_mm))
        laid[stay.mask] = surface.spread(cut)
        name = " and ".join(names.get(key, key) for key in stay.regions)
        masks.append(Mask(stay.mask, name, stay.regions, fit_area_exact(cut, tolerance=FIT_MM)))
        findings += found
    return tuple(masks), tuple(findings)


def _margin(timetable: Schedule, regions: Partition, resist: Resist) -> float:
    """Give how much of the next turn of a tube has to be seen: a lap and the most growth, and whole small pieces."""
    growth = resist.creep_mm * len(timetable.strips)
    return min(regions.width / 2, 2 * (resist.lap_mm + growth) + resist.placement_mm + 5.0)


def _drilled(holes: Sequence[Hole], surface: Surface) -> BaseGeometry:
    discs = [dilate(Point(hole.at_mm), hole.diameter_mm / 2 + HOLE_CLEARANCE_MM) for hole in holes]
    return surface.spread(shapely.union_all(discs)) if discs else MultiPolygon()


@dataclass(frozen=True, slots=True)
class _Laying:
    """What is the same for every mask of a job."""

    timetable: Schedule
    surface: Surface
    resist: Resist
    drilled: BaseGeometry

    def lay(self, stay: Stay, laid: Mapping[str, BaseGeometry]) -> tuple[BaseGeometry, tuple[Finding, ...]]:
        """Give one mask's vinyl over the whole window, and what its growth runs into."""
        surface, resist = self.surface, self.resist
        core = shapely.union_all([surface.regions[key] for key in stay.regions if key in surface.regions])
        neighbours = self._neighbours(stay)
        growth = max((distance for distance, _ in neighbours), default=0.0)
        beneath = self.timetable.beneath(stay)
        firm = shapely.union_all([laid[other.mask] for other in beneath if may_lap(stay, other)])
        leaving = shapely.union_all([laid[other.mask] for other in beneath if not may_lap(stay, other)])
        lying = shapely.union_all([firm, leaving])
        bands = spread_bands(core, neighbours)
        held = hold_open(
            core,
            bands,
            lying,
            face=surface.face,
            window=surface.window,
            mask=stay.mask,
            growth_mm=growth,
            min_gap_mm=resist.min_gap_mm,
        )
        own = tidy(shapely.union_all([core, held.bands]).difference(lying))
        left_open = tidy(surface.window.difference(shapely.union_all([lying, own])))
        tail = 2 * resist.creep_mm * len(self.timetable.strips)
        outside = dilate(surface.window.envelope, resist.lap_mm).difference(surface.window)
        lap = lap_onto(firm, own, resist.lap_mm, left_open=left_open, outside=outside, tail_mm=tail)
        vinyl = fill_holes(shapely.union_all([own, lap]), firm, resist.min_gap_mm)
        vinyl = tidy(vinyl.difference(shapely.union_all([leaving, self.drilled])))
        vinyl = _holding(vinyl, core.difference(lying))
        ashore = resist.creep_mm * sum(stay.lies_at(strip) for strip in self.timetable.strips)
        if held.bands is bands and self.drilled.is_empty and leaving.is_empty and resist.overhang_mm >= ashore:
            return vinyl, held.findings  # grown in full, no land can be eaten through
        fronts = [(depth, shape.difference(lying)) for depth, shape in neighbours] + [(growth, self.drilled)]
        beyond = offset(surface.window, ashore, join_style="mitre").difference(surface.window)
        rim = (ashore, beyond) if resist.overhang_mm < ashore else (0.0, MultiPolygon())
        eaten = eaten_through(vinyl, core.intersection(surface.face), fronts, rim=rim, mask=stay.mask)
        return vinyl, (*held.findings, *eaten)

    def _neighbours(self, stay: Stay) -> list[tuple[float, BaseGeometry]]:
        """Give every other region with the growth towards it."""
        return [
            (self.resist.creep_mm * self.timetable.exposures(stay, key), shape)
            for key, shape in self.surface.regions.items()
            if key not in stay.regions
        ]


def _holding(vinyl: BaseGeometry, core: BaseGeometry) -> BaseGeometry:
    """Leave off pieces that hold nothing of the region itself: growth and laps cut off by a hole."""
    return shapely.union_all(
        [piece for piece in polygonal(vinyl).geoms if piece.intersection(core).area > SPLINTER_MM2]
    )
