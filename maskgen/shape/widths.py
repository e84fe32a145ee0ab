"""Local widths: where material, or an opening in it, is narrower than a limit.

The width at a place is the diameter of the largest disc that fits there between two walls (Blum's medial axis). From
points all along the outline a disc that touches there is shrunk until nothing reaches into it any more; it then touches
a second place of the outline, and the two radii tell the angle at which the walls close: the angle between the walls is
what is missing from 180 degrees between the radii. Walls that close at `CORNER_DEGREES` or more are a corner or a tip,
not a strip or a neck. Discs are shrunk against the straight edges themselves, so the widths are exact along the chords.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.paths import Area, Point, Points

CORNER_DEGREES = 35.0
"""Walls that close at this angle or more are a corner."""

TOLERANCE_MM = 0.002
"""Less than this under the limit is not under it: twice the error of the chords."""

FINENESS = 16
"""Points tried per length of the limit, before the narrowest is narrowed down."""

EVEN_MM = 0.002
"""Radii this close are the same."""

MOST_STEPS = 60
"""A disc settles in some six steps; the cap only keeps rounding from going round in circles."""

FAN_DEGREES = 5.0
"""Step of the directions tried at a corner that points into the material."""

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class NarrowPlace:
    """One strip or neck: the middle of its narrowest spot, the width and the two walls there, how far it goes on.

    `length_mm` is the length of wall that is too near the other, one side of it; 0 where two points face each other.
    `centres` are points along its middle.
    """

    at: Point
    width_mm: float
    walls: tuple[Point, Point]
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
    walls = _Walls.of(material, openings)
    starts = walls.starts(limit_mm / FINENESS)
    discs = walls.shrink(starts, limit_mm)
    groups = _groups(discs, limit_mm)
    places = [_place(walls, discs, np.flatnonzero(groups == g), limit_mm) for g in np.unique(groups[discs.strip])]
    if window is not None and places:
        seen = shapely.intersects_xy(window, [p.at[0] for p in places], [p.at[1] for p in places])
        places = [place for place, kept in zip(places, seen, strict=True) if kept]
    return tuple(sorted(places, key=lambda p: (round(p.at[1], 3), p.at[0])))


@dataclass(frozen=True, slots=True, eq=False)
class _Starts:
    """Places discs start from: point, direction into the material, edge, length of wall it stands for, order along."""

    point: Points
    inward: Points
    edge: Indices
    share: Floats

    def taken(self, index: Indices) -> _Starts:
        return _Starts(self.point[index], self.inward[index], self.edge[index], self.share[index])


@dataclass(frozen=True, slots=True, eq=False)
class _Discs:
    """Largest discs below the limit: where from, centre, radius, the second touch, whether the walls are a strip's."""

    starts: _Starts
    number: Indices
    centre: Points
    radius: Floats
    touch: Points
    strip: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class _Walls:
    """Straight edges with the material to their left (as seen with y up), ring by ring."""

    start: Points
    end: Points
    following: Indices
    tree: shapely.STRtree

    @classmethod
    def of(cls, material: BaseGeometry, openings: bool) -> _Walls:
        rings, _ = shapely.get_rings(shapely.orient_polygons(shapely.get_parts(material)), return_index=True)
        rings = shapely.reverse(rings) if openings else rings
        points, ring = shapely.get_coordinates(rings, return_index=True)
        joined = ring[1:] == ring[:-1]
        start, end, ring = points[:-1][joined], points[1:][joined], ring[:-1][joined]
        following = np.arange(1, len(start) + 1)
        last = np.flatnonzero(np.r_[ring[1:] != ring[:-1], True])
        following[last] = np.r_[0, last[:-1] + 1]
        return cls(start, end, following, shapely.STRtree(shapely.linestrings(np.stack([start, end], axis=1))))

    def inward(self) -> Points:
        along: Points = self.end - self.start
        along = along / np.maximum(np.hypot(*along.T), 1e-300)[:, None]
        return np.stack([-along[:, 1], along[:, 0]], axis=1)

    def starts(self, step: float) -> _Starts:
        """Spread points along every edge, its middle too, and directions over every corner that points inwards."""
        inward = self.inward()
        length = np.hypot(*(self.end - self.start).T)
        count = np.maximum(1, np.ceil(length / step)).astype(np.int64) // 2 * 2 + 1
        turned = inward[self.following]
        turn = np.arctan2(inward[:, 0] * turned[:, 1] - inward[:, 1] * turned[:, 0], np.sum(inward * turned, axis=1))
        fan = np.where(turn < 0, np.floor(-turn / np.radians(FAN_DEGREES)), 0.0).astype(np.int64)
        total = count + fan
        edge = np.repeat(np.arange(len(length)), total)
        k = np.arange(len(edge)) - np.repeat(np.cumsum(total) - total, total)
        on_edge = k < count[edge]
        t = np.where(on_edge, (k + 0.5) / count[edge], 1.0)
        angle = np.where(on_edge, 0.0, turn[edge] * (k - count[edge] + 1) / (fan[edge] + 1))
        point = self.start[edge] + t[:, None] * (self.end - self.start)[edge]
        share = np.where(on_edge, (length / count)[edge], 0.0)
        return _Starts(point, _turned(inward[edge], angle), edge, share)

    def corners_near(self, edges: Indices, reach: float) -> list[tuple[int, int]]:
        """Give the convex corners that edges run into within `reach`: the edge that does, and the one after."""
        inward, length = self.inward(), np.hypot(*(self.end - self.start).T)
        before = np.empty_like(self.following)
        before[self.following] = np.arange(len(self.following))
        turned = inward[self.following]
        turn = np.degrees(
            np.arctan2(inward[:, 0] * turned[:, 1] - inward[:, 1] * turned[:, 0], np.sum(inward * turned, axis=1))
        )
        members, found = set(edges.tolist()), set()
        for first in members:
            for onwards in (True, False):
                edge, walked, bent = first, 0.0, 0.0
                while walked < reach and abs(bent) < CORNER_DEGREES:
                    bent = turn[edge] if onwards else turn[before[edge]]
                    if bent >= CORNER_DEGREES:
                        found.add((edge, int(self.following[edge]) if onwards else edge))
                        break
                    edge = int(self.following[edge] if onwards else before[edge])
                    if edge in members:
                        break
                    walked += float(length[edge])
        return sorted(found)

    def nearest(self, points: Points) -> tuple[Points, Floats, Indices]:
        """Give the nearest point of the walls, its distance and its edge."""
        edge = self.tree.query_nearest(shapely.points(points), all_matches=False)[1]
        near = self.onto(points, edge)
        return near, np.hypot(*(near - points).T), edge

    def onto(self, points: Points, edge: Indices) -> Points:
        start: Points = self.start[edge]
        along: Points = (self.end - self.start)[edge]
        square = np.maximum(np.sum(along * along, axis=1), 1e-300)
        t = np.clip(np.sum((points - start) * along, axis=1) / square, 0.0, 1.0)
        onto: Points = start + t[:, None] * along
        return onto

    def shrink(self, starts: _Starts, limit_mm: float) -> _Discs:
        """Shrink discs of the limit's size; those nothing reaches into are not among the result."""
        count = len(starts.edge)
        radius = np.full(count, (limit_mm - TOLERANCE_MM) / 2)
        touch = np.full((count, 2), np.nan)
        active = np.arange(count)
        for _ in range(MOST_STEPS):
            if not len(active):
                break
            p, n = starts.point[active], starts.inward[active]
            near, distance, _ = self.nearest(p + n * radius[active, None])
            reach = near - p
            depth = np.sum(reach * n, axis=1)
            inside = (distance < radius[active] - 1e-10) & (depth > 1e-12)
            active, reach, depth, near = active[inside], reach[inside], depth[inside], near[inside]
            # The disc that touches at p and passes through the point that reached in.
            radius[active] = np.sum(reach * reach, axis=1) / (2 * depth)
            touch[active] = near
        number = np.flatnonzero(~np.isnan(touch[:, 0]))
        found = starts.taken(number)
        centre = found.point + found.inward * radius[number, None]
        return self._judged(
            _Discs(found, number, centre, radius[number], touch[number], np.zeros(len(number), bool)), limit_mm
        )

    def _judged(self, discs: _Discs, limit_mm: float) -> _Discs:
        """Tell strips from corners."""
        least = np.cos(np.radians(CORNER_DEGREES))
        to_start, to_touch = discs.starts.point - discs.centre, discs.touch - discs.centre
        opposite = -np.sum(to_start * to_touch, axis=1) > least * discs.radius**2
        # In a stub as long as it is wide discs touch the end before the other wall, but for one; take it as that one.
        doubtful = np.flatnonzero(~opposite)
        radius, touch = discs.radius.copy(), discs.touch.copy()
        if len(doubtful):
            near, distance, edge = self.nearest((discs.centre - to_start)[doubtful])
            inward = self.inward()
            facing = -np.sum(inward[edge] * discs.starts.inward[doubtful], axis=1) > least
            across = np.hypot(*(near - discs.starts.point[doubtful]).T)
            facing &= (distance < limit_mm / FINENESS) & (across < limit_mm - TOLERANCE_MM)
            radius[doubtful[facing]] = across[facing] / 2
            touch[doubtful[facing]] = near[facing]
            opposite[doubtful[facing]] = True
        return _Discs(discs.starts, discs.number, discs.centre, radius, touch, opposite)


def _turned(direction: Points, angle: Floats) -> Points:
    c, s = np.cos(angle), np.sin(angle)
    x, y = direction.T
    return np.stack([c * x - s * y, s * x + c * y], axis=1)


def _groups(discs: _Discs, limit_mm: float) -> Indices:
    """Number what hangs together: discs that overlap, discs next to one another along a wall, discs that face."""
    count = len(discs.number)
    if not count:
        return np.zeros(0, dtype=np.int64)
    step = 1.5 * limit_mm / FINENESS
    close = cKDTree(discs.centre).query_pairs(step, output_type="ndarray")
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


def _place(walls: _Walls, discs: _Discs, members: Indices, limit_mm: float) -> NarrowPlace:
    strip = members[discs.strip[members]]
    centres = discs.centre[strip]
    # Along an even strip everything is narrowest: take the middle of it.
    narrowest = np.flatnonzero(discs.radius[strip] < discs.radius[strip].min() + EVEN_MM)
    middle = centres[narrowest].mean(axis=0)
    best = int(strip[narrowest[np.argmin(np.hypot(*(centres[narrowest] - middle).T))]])
    point, touch, radius = discs.starts.point[best], discs.touch[best], float(discs.radius[best])
    least = int(strip[np.argmin(discs.radius[strip])])
    reach, start = limit_mm / FINENESS, discs.starts.point[least]
    for _ in range(3):
        tried = walls.shrink(_around(walls, discs.starts, least, start, reach), limit_mm)
        reach /= 8
        found = np.flatnonzero(tried.strip)
        if not len(found):
            break
        k = found[np.argmin(tried.radius[found])]
        start = tried.starts.point[k]
        if tried.radius[k] < radius - EVEN_MM / 4:
            point, touch, radius = start, tried.touch[k], float(tried.radius[k])
    for corner, foot in _ends(walls, discs, strip, limit_mm):
        if (width := float(np.hypot(*(foot - corner)))) < 2 * radius - EVEN_MM:
            point, touch, radius = corner, foot, width / 2
    at = (point + touch) / 2
    return NarrowPlace(
        at=(float(at[0]), float(at[1])),
        width_mm=2 * radius,
        walls=((float(point[0]), float(point[1])), (float(touch[0]), float(touch[1]))),
        length_mm=float(discs.starts.share[strip].sum()) / 2,
        centres=tuple((float(x), float(y)) for x, y in centres),
    )


def _ends(walls: _Walls, discs: _Discs, strip: Indices, limit_mm: float) -> list[tuple[Points, Points]]:
    """Give the corners a strip's walls end in, each with the nearest point of the wall across.

    No disc gets into the end of a strip that is cut off; where its walls converge, that end is narrower than any disc.
    """
    edges = np.unique(discs.starts.edge[strip])
    across = np.unique(walls.nearest(discs.touch[strip])[2])
    ends = []
    inward = walls.inward()
    for wall, vertex in walls.corners_near(edges, limit_mm):
        corner = walls.start[vertex]
        facing = across[inward[across] @ inward[wall] < -np.cos(np.radians(CORNER_DEGREES))]
        facing = facing[np.any(walls.start[facing] != corner, axis=1) & np.any(walls.end[facing] != corner, axis=1)]
        if len(facing):
            feet = walls.onto(np.repeat(corner[None], len(facing), axis=0), facing)
            ends.append((corner, feet[np.argmin(np.hypot(*(feet - corner).T))]))
    return ends


def _around(walls: _Walls, starts: _Starts, index: int, point: Points, reach: float) -> _Starts:
    """Spread starts more finely about the narrowest one: along its edge, or over the directions at its corner."""
    edge = int(starts.edge[index])
    along = walls.end[edge] - walls.start[edge]
    length = float(np.hypot(*along))
    k = np.linspace(-1.0, 1.0, 17)
    if starts.share[index] == 0.0:
        turned = _turned(np.repeat(starts.inward[index][None], len(k), axis=0), k * np.radians(FAN_DEGREES))
        return _Starts(np.repeat(point[None], len(k), axis=0), turned, np.full(len(k), edge), np.zeros(len(k)))
    t = float(np.dot(point - walls.start[edge], along)) / length**2 + k * reach / length
    t = np.clip(t, 1e-6, 1 - 1e-6)
    inward = np.repeat(starts.inward[index][None], len(t), axis=0)
    return _Starts(walls.start[edge] + t[:, None] * along, inward, np.full(len(t), edge), np.ones(len(t)))
