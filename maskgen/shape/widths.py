"""Local widths: where material, or an opening in it, is narrower than a limit.

The width at a place is the diameter of the largest disc that fits there between two walls (Blum's medial axis). Walls
that close at `CORNER_DEGREES` or more are a corner or a tip, not a strip or a neck.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.paths import Area, Point, Points
from maskgen.shape.discs import (
    CORNER_DEGREES,
    FAN_DEGREES,
    FINENESS,
    TOLERANCE_MM,
    Discs,
    Floats,
    Indices,
    Nearby,
    Starts,
    Walls,
    turned,
)

EVEN_MM = 0.002
"""Radii this close are the same."""

TRIES = 17
"""Points tried about the narrowest one, three times over, each time more closely."""

MOST_REFINED = 2000
"""With more narrow places than these none is worth a closer look; widths are then within a sixteenth of the limit."""


@dataclass(frozen=True, slots=True)
class NarrowPlace:
    """One strip or neck: the middle of its narrowest spot, the width and the two walls there, how far it goes on.

    `quartiles_mm` are the widths a quarter, half and three quarters of it are under, `length_mm` the length of wall too
    near the other, one side of it, and 0 where two points face each other. `centres` are points along its middle.
    """

    at: Point
    width_mm: float
    walls: tuple[Point, Point]
    quartiles_mm: tuple[float, float, float]
    length_mm: float
    centres: tuple[Point, ...]


def narrow_places(
    shape: Area | MultiPolygon | Polygon, limit_mm: float, *, openings: bool = False, window: BaseGeometry | None = None
) -> tuple[NarrowPlace, ...]:
    """Find every strip and neck narrower than a limit, each once, sorted by place (top to bottom, left to right).

    Parameters
    ----------
    shape
        The material, mm.
    limit_mm
        Widths from here on are wide enough.
    openings
        Look at the openings in the material and the gaps between its pieces instead.
    window
        Places whose narrowest spot lies outside it are left out.

    Returns
    -------
    tuple of NarrowPlace
        What hangs together and is narrower than the limit is one place; a corner alone is none.
    """
    material = to_multipolygon(shape) if isinstance(shape, Area) else shape
    if material.is_empty or limit_mm <= TOLERANCE_MM:
        return ()
    walls = Walls.of(material, openings)
    starts = walls.starts(limit_mm / FINENESS)
    near = Nearby.of(starts)
    discs = walls.shrink(starts, limit_mm, near)
    groups = _groups(discs, limit_mm)
    members = [np.flatnonzero((groups == g) & discs.strip) for g in np.unique(groups[discs.strip])]
    places = _places(walls, near, discs, members, limit_mm)
    if window is not None and places:
        seen = shapely.intersects_xy(window, [p.at[0] for p in places], [p.at[1] for p in places])
        places = [place for place, kept in zip(places, seen, strict=True) if kept]
    return tuple(sorted(places, key=lambda p: (round(p.at[1], 3), p.at[0])))


def _groups(discs: Discs, limit_mm: float) -> Indices:
    """Number what hangs together: discs that overlap, discs next to one another along a wall, discs that face."""
    count = len(discs.number)
    if not count:
        return np.zeros(0, dtype=np.int64)
    step = 1.5 * limit_mm / FINENESS
    # Discs next to one another along a wall are linked below; of each short run of them one looks for others.
    run = np.floor(np.cumsum(discs.starts.share) / (step / 4))
    lookout = np.flatnonzero((np.diff(run, prepend=-1.0) != 0) | (discs.starts.share == 0))
    close = lookout[cKDTree(discs.centre[lookout]).query_pairs(step, output_type="ndarray")]
    apart = np.hypot(*(discs.centre[close[:, 0]] - discs.centre[close[:, 1]]).T)
    close = close[apart < discs.radius[close].sum(axis=1)]
    next_to = np.flatnonzero(np.diff(discs.number) == 1)
    beside = np.hypot(*(discs.starts.point[next_to + 1] - discs.starts.point[next_to]).T) < step
    next_to = next_to[beside]
    distance, other = cKDTree(discs.starts.point).query(discs.touch, distance_upper_bound=step)
    met = np.flatnonzero(np.isfinite(distance))
    first = np.concatenate([close[:, 0], next_to, met])
    second = np.concatenate([close[:, 1], next_to + 1, other[met]])
    links = coo_array((np.ones(len(first), dtype=np.int8), (first, second)), shape=(count, count))
    number: Indices = connected_components(links, directed=False)[1].astype(np.int64)
    return number


def _places(walls: Walls, near: Nearby, discs: Discs, groups: Sequence[Indices], limit_mm: float) -> list[NarrowPlace]:
    """Give the narrowest spot of every group of discs between a strip's walls."""
    if not groups:
        return []
    least = np.array([strip[np.argmin(discs.radius[strip])] for strip in groups], dtype=np.int64)
    if len(groups) <= MOST_REFINED:
        finer = _narrowed(walls, near, discs, least, limit_mm)
    else:
        finer = discs.starts.point[least], discs.touch[least], discs.radius[least]
    places = []
    for strip, point, touch, radius in zip(groups, *finer, strict=True):
        centres = discs.centre[strip]
        # Along an even strip everything is narrowest: take the middle of it, unless it narrows down in between.
        even = np.flatnonzero(discs.radius[strip] < discs.radius[strip].min() + EVEN_MM)
        best = strip[even[np.argmin(np.hypot(*(centres[even] - centres[even].mean(axis=0)).T))]]
        spot = discs.starts.point[best], discs.touch[best], float(discs.radius[best])
        if radius < spot[2] - EVEN_MM / 4:
            spot = point, touch, float(radius)
        for corner, foot in _ends(walls, discs, strip, limit_mm):
            if (width := float(np.hypot(*(foot - corner)))) < 2 * spot[2] - EVEN_MM:
                spot = corner, foot, width / 2
        places.append(_place(discs.taken(strip), *spot))
    return places


def _place(discs: Discs, point: Points, touch: Points, radius: float) -> NarrowPlace:
    at = (point + touch) / 2
    length = float(discs.starts.share.sum())
    order = np.argsort(discs.radius)
    reached = np.searchsorted(np.cumsum(discs.starts.share[order]), np.array([0.25, 0.5, 0.75]) * length)
    low, middle, high = (2 * float(r) for r in discs.radius[order[np.minimum(reached, len(order) - 1)]])
    return NarrowPlace(
        at=(float(at[0]), float(at[1])),
        width_mm=2 * radius,
        walls=((float(point[0]), float(point[1])), (float(touch[0]), float(touch[1]))),
        quartiles_mm=(low, middle, high),
        length_mm=length / 2,
        centres=tuple((float(x), float(y)) for x, y in discs.centre),
    )


def _narrowed(
    walls: Walls, near: Nearby, discs: Discs, least: Indices, limit_mm: float
) -> tuple[Points, Points, Floats]:
    """Try more finely about the least disc of every group; give where the disc starts, its touch, its radius."""
    point, touch, radius = discs.starts.point[least], discs.touch[least].copy(), discs.radius[least].copy()
    reach = limit_mm / FINENESS
    for _ in range(3):
        starts = _around(walls, discs.starts, least, point, reach)
        tried = walls.shrink(starts, limit_mm, near)
        reach /= TRIES / 2
        found = np.flatnonzero(tried.strip)
        group = tried.number[found] // TRIES
        order = np.lexsort((tried.radius[found], group))
        group, first = np.unique(group[order], return_index=True)
        best = found[order][first]
        finer = tried.radius[best] < radius[group]
        group, best = group[finer], best[finer]
        point[group], touch[group], radius[group] = tried.starts.point[best], tried.touch[best], tried.radius[best]
    return point, touch, radius


def _ends(walls: Walls, discs: Discs, strip: Indices, limit_mm: float) -> list[tuple[Points, Points]]:
    """Give the corners a strip's walls end in, each with the nearest point of the wall across.

    No disc gets into the end of a strip that is cut off; where its walls converge, that end is narrower than any disc.
    """
    edges = np.unique(discs.starts.edge[strip])
    across = np.unique(walls.nearest(discs.touch[strip])[2])
    ends = []
    for wall, vertex in walls.corners_near(edges, limit_mm):
        corner = walls.start[vertex]
        facing = across[walls.inward[across] @ walls.inward[wall] < -np.cos(np.radians(CORNER_DEGREES))]
        facing = facing[np.any(walls.start[facing] != corner, axis=1) & np.any(walls.end[facing] != corner, axis=1)]
        feet = walls.finder.onto(np.repeat(corner[None], len(facing), axis=0), facing)
        # Across the material, not across the opening on the other side of either wall.
        reach = feet - corner
        within = (reach @ walls.inward[wall] > 0) & (np.sum(reach * walls.inward[facing], axis=1) < 0)
        if within.any():
            ends.append((corner, feet[within][np.argmin(np.hypot(*reach[within].T))]))
    return ends


def _around(walls: Walls, starts: Starts, index: Indices, point: Points, reach: float) -> Starts:
    """Spread `TRIES` starts about each of some: along its edge, or over the directions at its corner."""
    spread = np.linspace(-1.0, 1.0, TRIES)
    edge, which = np.repeat(starts.edge[index], TRIES), np.repeat(np.arange(len(index)), TRIES)
    k = np.tile(spread, len(index))
    along, length = (walls.end - walls.start)[edge], walls.length[edge]
    at_corner = starts.share[index][which] == 0.0
    t = np.sum((point[which] - walls.start[edge]) * along, axis=1) / length**2 + k * reach / length
    on_edge = walls.start[edge] + np.clip(t, 1e-6, 1 - 1e-6)[:, None] * along
    inward = starts.inward[index][which]
    fanned = turned(inward, k * np.radians(FAN_DEGREES))
    return Starts(
        np.where(at_corner[:, None], point[which], on_edge),
        np.where(at_corner[:, None], fanned, inward),
        edge,
        starts.share[index][which],
    )
