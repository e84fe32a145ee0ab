"""The baths simulated on the masks as cut, and how far what comes out is from what was wanted: frame of the face."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely

from maskgen.geometry.polygons import from_polygons
from maskgen.model.dyeing import Plan, Recipe, Strip
from maskgen.model.job import Hole, Part, Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition, Point, Region
from maskgen.model.result import RegionError, Simulation
from maskgen.plan.bathed import Bathed, Bench, Flags, Indices, bathe, set_up
from maskgen.plan.edges import SAMPLE_MM, Deviations, Outline

RIM_MM = 0.05
"""Vinyl ends 0.01 mm outside a hole; the rest allows for chords."""
STRAY_COLOUR = "#ff00ff"
"""Colour of a recipe nobody asked for, where nobody says how it looks."""


def simulate(
    regions: Partition,
    plan: Plan,
    masks: Sequence[Mask],
    *,
    part: Part,
    resist: Resist,
    holes: Sequence[Hole] = (),
    displacements: Sequence[Point] | None = None,
    colour_of: Callable[[Recipe], str] | None = None,
) -> Simulation:
    """Put the masks through the plan's steps and compare the finished face with the regions.

    Parameters
    ----------
    regions
        The colours wanted on the developed face, mm; keys as in the plan, which says the recipe each should have.
    masks
        The vinyl as cut, found by number; its outlines alone count, not how they were made.
    displacements
        How far off each mask is put on, in the order of `masks`, mm.
    colour_of
        Tells how a recipe looks that no region has; without it such places are shown in magenta.

    Returns
    -------
    Simulation
        `predicted` covers the face once, a region for every recipe found, those of no region named by their doses.
        Wrong areas count everything, hairs too; edge errors are measured along the edges of every recipe's area, from
        the wanted to the predicted ones and back. Holes have no oxide: nothing in them is wrong.

    Raises
    ------
    InputError
        When the steps put a mask on twice or lift one that is not on.
    """
    bench = set_up(regions, plan, part=part, resist=resist, holes=holes)
    bathed = bathe(bench, bench.lay(masks, displacements))
    shown = bathed.shown()
    deviations, shares = compare_edges(bathed, shown, bench)
    mean, at_95, largest = deviations.figures()
    wrong = wrong_area(bathed)
    errors = tuple(
        RegionError(key, wrong_area(bathed, index), *shares[index].figures()) for index, key in enumerate(bench.keys)
    )
    face = float(bathed.areas[bathed.on_face].sum())
    predicted = draw(bathed, shown, regions, plan, colour_of)
    return Simulation(predicted, wrong, wrong / face if face else 0.0, mean, at_95, largest, errors)


def wrong_area(bathed: Bathed, region: int | None = None) -> float:
    """Give the area, mm2, that ended with another recipe than wanted: of one region by its index, or of the face."""
    chosen = bathed.wrong if region is None else bathed.wrong & (bathed.wanted == region)
    return float(bathed.areas[chosen].sum())


def compare_edges(
    bathed: Bathed, shown: Indices, bench: Bench, *, spacing_mm: float = SAMPLE_MM
) -> tuple[Deviations, list[Deviations]]:
    """Measure between the wanted and the reached edges of every recipe: all together, and region by region.

    Patches apart from the places a recipe is wanted at are wrong area, not edges.
    """
    rim = bench.surface.window.boundary
    ends = Outline.along([rim, *(hole.boundary for hole in bench.drilled if not hole.is_empty)])
    pooled: list[Deviations] = []
    shares = [Deviations.pooled([]) for _ in bench.keys]
    for recipe in np.unique(bathed.aim):
        aimed, reached = bathed.aim == recipe, shown == recipe
        wanted = Outline.of(shapely.coverage_union_all(bathed.shapes[aimed]), rim)
        if np.array_equal(aimed, reached):
            deviations = Deviations.none(wanted, spacing_mm=spacing_mm)
        else:
            patches = shapely.get_parts(shapely.coverage_union_all(bathed.shapes[reached]))
            places = shapely.point_on_surface(bathed.shapes[aimed & reached])
            settled = np.unique(shapely.STRtree(patches).query(places, predicate="within")[1])
            found = Outline.of(shapely.multipolygons(patches[settled]), rim)
            radius = float(np.sqrt(bathed.areas[aimed].sum() / np.pi))
            deviations = Deviations.between(wanted, found, ends=ends, missing_mm=radius, spacing_mm=spacing_mm)
        deviations = deviations.where(_once(deviations, bench))
        pooled.append(deviations)
        owners = np.unique(bathed.wanted[aimed])
        for owner, share in zip(owners, _shared_out(deviations, owners, bench), strict=True):
            shares[owner] = share
    return Deviations.pooled(pooled), shares


def _once(deviations: Deviations, bench: Bench) -> Flags:
    """Leave out what a tube's margins show a second time, and holes with the rims bleach eats: those are wrong area."""
    x, y = deviations.points.T
    once = np.ones(len(x), dtype=np.bool_)
    if bench.surface.round_mm is not None:
        once &= (x >= 0) & (x < bench.surface.round_mm)
    rim_mm = RIM_MM + bench.creep_mm * sum(isinstance(step, Strip) for step in bench.steps)
    for hole in bench.drilled:
        once &= ~shapely.contains_xy(hole.buffer(rim_mm), x, y)
    return once


def _shared_out(deviations: Deviations, owners: Indices, bench: Bench) -> list[Deviations]:
    """Give each region of one recipe the deviations nearest to it."""
    if len(owners) == 1:
        return [deviations]
    points = shapely.points(deviations.points)
    away = np.array([shapely.distance(points, bench.surface.regions[bench.keys[k]]) for k in owners])
    nearest = away.argmin(axis=0)
    return [deviations.where(nearest == place) for place in range(len(owners))]


def draw(
    bathed: Bathed, shown: Indices, regions: Partition, plan: Plan, colour_of: Callable[[Recipe], str] | None
) -> Partition:
    """Draw the face as it comes out: each region where its recipe is found, then the recipes of no region."""
    shown = np.where(bathed.on_face, shown, -1)
    looks = {region.key: region.predicted for region in plan.regions}
    aim_of = dict(zip(bathed.wanted.tolist(), bathed.aim.tolist(), strict=True))
    right = shown == bathed.aim
    drawn: list[Region] = []
    taken: set[int] = set()
    for index, region in enumerate(regions.regions):
        if index not in aim_of:
            continue
        chosen = (bathed.wanted == index) & right
        if aim_of[index] not in taken:  # where it strayed to it is drawn with the first region it belongs to
            chosen |= (shown == aim_of[index]) & ~right
            taken.add(aim_of[index])
        if chosen.any():
            drawn.append(_region(region.key, region.name, looks[region.key], bathed, chosen))
    for recipe in sorted(set(np.unique(shown).tolist()) - taken - {-1}):
        doses = bathed.recipes[recipe]
        name = " + ".join(f"{dye} {minutes:g} min" for dye, minutes in doses.doses) or "bare"
        colour = colour_of(doses) if colour_of else STRAY_COLOUR
        drawn.append(_region(f"stray-{len(drawn) + 1}", name, colour, bathed, shown == recipe))
    return Partition(regions.width, regions.height, tuple(drawn))


def _region(key: str, name: str, colour: str, bathed: Bathed, chosen: Flags) -> Region:
    return Region(key, name, colour, from_polygons(shapely.coverage_union_all(bathed.shapes[chosen])))
