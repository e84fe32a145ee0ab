"""Largest discs between the walls of a shape.

From points all along the outline a disc that touches there is shrunk until nothing reaches into it any more; it then
touches a second place of the outline, and the two radii tell the angle at which the walls close: what is missing from
180 degrees between the radii. Discs are shrunk against the straight edges themselves, so that they are exact along the
chords. All lengths in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry.base import BaseGeometry

from maskgen.model.paths import Points
from maskgen.shape.nearest_wall import NearestWall

CORNER_DEGREES = 35.0
"""Walls that close at this angle or more are a corner."""

TOLERANCE_MM = 0.002
"""Less than this under the limit is not under it: twice the error of the chords."""

FINENESS = 16
"""Points tried per length of the limit, before the narrowest is narrowed down."""

MOST_STEPS = 60
"""A disc settles in some six steps; the cap only keeps rounding from going round in circles."""

FAN_DEGREES = 5.0
"""Step of the directions tried at a corner that points into the material."""

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True, eq=False)
class Starts:
    """Places discs start from: point, direction into the material, edge, length of wall it stands for, order along."""

    point: Points
    inward: Points
    edge: Indices
    share: Floats

    def taken(self, index: Indices) -> Starts:
        """Give some of them."""
        return Starts(self.point[index], self.inward[index], self.edge[index], self.share[index])


@dataclass(frozen=True, slots=True, eq=False)
class Discs:
    """Largest discs below the limit: where from, centre, radius, the second touch, whether the walls are a strip's."""

    starts: Starts
    number: Indices
    centre: Points
    radius: Floats
    touch: Points
    strip: NDArray[np.bool_]

    def taken(self, index: Indices) -> Discs:
        """Give some of them."""
        return Discs(
            self.starts.taken(index),
            self.number[index],
            self.centre[index],
            self.radius[index],
            self.touch[index],
            self.strip[index],
        )


@dataclass(frozen=True, slots=True, eq=False)
class Walls:
    """Straight edges with the material to their left (as seen with y up), ring by ring.

    `inward` is the direction into the material, `turn` (radians) how far the outline turns at an edge's end, positive
    at a convex corner; `following` and `before` the edges along the ring.
    """

    start: Points
    end: Points
    length: Floats
    inward: Points
    turn: Floats
    following: Indices
    before: Indices
    finder: NearestWall

    @classmethod
    def of(cls, material: BaseGeometry, openings: bool) -> Walls:
        """Take the outlines of polygons, seen from inside the material or (`openings`) from outside it."""
        rings, _ = shapely.get_rings(shapely.orient_polygons(shapely.get_parts(material)), return_index=True)
        rings = shapely.reverse(rings) if openings else rings
        points, ring = shapely.get_coordinates(rings, return_index=True)
        joined = ring[1:] == ring[:-1]
        start, end, ring = points[:-1][joined], points[1:][joined], ring[:-1][joined]
        following = np.arange(1, len(start) + 1)
        last = np.flatnonzero(np.r_[ring[1:] != ring[:-1], True])
        following[last] = np.r_[0, last[:-1] + 1]
        before = np.empty_like(following)
        before[following] = np.arange(len(following))
        length = np.maximum(np.hypot(*(end - start).T), 1e-300)
        along = (end - start) / length[:, None]
        onward = along[following]
        turn = np.arctan2(along[:, 0] * onward[:, 1] - along[:, 1] * onward[:, 0], np.sum(along * onward, axis=1))
        inward = np.stack([-along[:, 1], along[:, 0]], axis=1)
        finder = NearestWall.of(start, end, before)
        return cls(start, end, length, inward, turn, following, before, finder)

    def starts(self, step: float) -> Starts:
        """Spread points along every edge, its middle too, and directions over every corner that points inwards."""
        count = np.maximum(1, np.ceil(self.length / step)).astype(np.int64) // 2 * 2 + 1
        # Of edges far shorter than the step one stands for its neighbours.
        walked = np.cumsum(self.length)
        stretch = np.floor(walked / (step / 4))
        spared = (self.length < step / 4) & (np.diff(stretch, prepend=-1.0) == 0)
        count[spared] = 0
        covered = np.diff(walked[~spared], prepend=0.0)
        covered = np.minimum(covered, self.length[~spared] + step / 4)
        part = np.zeros(len(count))
        part[~spared] = covered / count[~spared]
        fan = np.where(self.turn < 0, np.floor(-self.turn / np.radians(FAN_DEGREES)), 0.0).astype(np.int64)
        total = count + fan
        edge = np.repeat(np.arange(len(count)), total)
        k = np.arange(len(edge)) - np.repeat(np.cumsum(total) - total, total)
        on_edge = k < count[edge]
        t = np.where(on_edge, (k + 0.5) / np.maximum(count[edge], 1), 1.0)
        angle = np.where(on_edge, 0.0, self.turn[edge] * (k - count[edge] + 1) / (fan[edge] + 1))
        point = self.start[edge] + t[:, None] * (self.end - self.start)[edge]
        share = np.where(on_edge, part[edge], 0.0)
        return Starts(point, turned(self.inward[edge], angle), edge, share)

    def corners_near(self, edges: Indices, reach: float) -> list[tuple[int, int]]:
        """Give the convex corners that edges run into within `reach`: the edge that does, and the one after."""
        corner = np.radians(CORNER_DEGREES)
        members, found = set(edges.tolist()), set()
        for first in members:
            for onwards in (True, False):
                edge, walked, bent = first, 0.0, 0.0
                while walked < reach and abs(bent) < corner:
                    bent = float(self.turn[edge] if onwards else self.turn[self.before[edge]])
                    if bent >= corner:
                        found.add((edge, int(self.following[edge]) if onwards else edge))
                        break
                    edge = int(self.following[edge] if onwards else self.before[edge])
                    if edge in members:
                        break
                    walked += float(self.length[edge])
        return sorted(found)

    def nearest(self, points: Points) -> tuple[Points, Floats, Indices]:
        """Give the nearest point of the walls, its distance and its edge."""
        return self.finder.find(points)

    def shrink(self, starts: Starts, limit_mm: float, near: Nearby) -> Discs:
        """Shrink discs of the limit's size; those nothing reaches into are not among the result."""
        radius = np.full(len(starts.edge), (limit_mm - TOLERANCE_MM) / 2)
        touch = np.full((len(radius), 2), np.nan)
        active = near.shrink(starts, radius, touch)
        for _ in range(MOST_STEPS):
            if not len(active):
                break
            found, distance, _ = self.nearest(starts.point[active] + starts.inward[active] * radius[active, None])
            active = _tighten(starts, radius, touch, active, found, distance < radius[active] - 1e-10)
        number = np.flatnonzero(~np.isnan(touch[:, 0]))
        taken = starts.taken(number)
        centre = taken.point + taken.inward * radius[number, None]
        discs = Discs(taken, number, centre, radius[number], touch[number], np.zeros(len(number), bool))
        return self._judged(discs, limit_mm)

    def _judged(self, discs: Discs, limit_mm: float) -> Discs:
        """Tell strips from corners."""
        least = np.cos(np.radians(CORNER_DEGREES))
        to_start, to_touch = discs.starts.point - discs.centre, discs.touch - discs.centre
        opposite = -np.sum(to_start * to_touch, axis=1) > least * discs.radius**2
        # In a stub as long as it is wide discs touch the end before the other wall, but for one; take it as that one.
        doubtful = np.flatnonzero(~opposite)
        radius, touch = discs.radius.copy(), discs.touch.copy()
        if len(doubtful):
            near, distance, edge = self.nearest((discs.centre - to_start)[doubtful])
            facing = -np.sum(self.inward[edge] * discs.starts.inward[doubtful], axis=1) > least
            across = np.hypot(*(near - discs.starts.point[doubtful]).T)
            facing &= (distance < limit_mm / FINENESS) & (across < limit_mm - TOLERANCE_MM)
            radius[doubtful[facing]] = across[facing] / 2
            touch[doubtful[facing]] = near[facing]
            opposite[doubtful[facing]] = True
        return Discs(discs.starts, discs.number, discs.centre, radius, touch, opposite)


@dataclass(frozen=True, slots=True, eq=False)
class Nearby:
    """Points of the walls for a quick first look, which spares most discs the exact one and the rest most steps."""

    point: Points
    spacing: Floats
    tree: cKDTree

    @classmethod
    def of(cls, starts: Starts) -> Nearby:
        """Take the places discs start from: they lie all along the walls."""
        return cls(starts.point, starts.share, cKDTree(starts.point))

    def shrink(self, starts: Starts, radius: Floats, touch: Points) -> Indices:
        """Shrink discs, in place, as far as the points tell, and give those that edges may yet shrink."""
        full = float(radius[0]) if len(radius) else 0.0
        nearest = list(range(1, min(4, len(self.point)) + 1))
        away, which = self.tree.query(starts.point + starts.inward * radius[:, None], k=nearest)
        others = np.hypot(*np.moveaxis(self.point[which] - starts.point[:, None], -1, 0)) > 1e-9
        # A wall that runs through the disc has a point within half its spacing of where it is nearest.
        doubtful = np.any(others & (away**2 < full**2 + (0.6 * self.spacing[which]) ** 2), axis=1)
        doubtful |= np.any(others & (away < full), axis=1)
        active = np.flatnonzero(doubtful)
        for _ in range(MOST_STEPS):
            if not len(active):
                break
            away, which = self.tree.query(starts.point[active] + starts.inward[active] * radius[active, None])
            active = _tighten(starts, radius, touch, active, self.point[which], away < radius[active] - 1e-7)
        return np.flatnonzero(doubtful)


def _tighten(
    starts: Starts, radius: Floats, touch: Points, active: Indices, found: Points, inside: NDArray[np.bool_]
) -> Indices:
    """Make discs, in place, just small enough to pass through what was found inside; give those that were."""
    reach = found - starts.point[active]
    depth = np.sum(reach * starts.inward[active], axis=1)
    inside = inside & (depth > 1e-12)
    active = active[inside]
    radius[active] = np.sum(reach[inside] ** 2, axis=1) / (2 * depth[inside])
    touch[active] = found[inside]
    return active


def turned(direction: Points, angle: Floats) -> Points:
    """Turn directions by angles (radians)."""
    c, s = np.cos(angle), np.sin(angle)
    x, y = direction.T
    return np.stack([c * x - s * y, s * x + c * y], axis=1)
