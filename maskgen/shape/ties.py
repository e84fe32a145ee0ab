"""Ties that hold pieces together: where they cost the least, straight, square to what they cross, clear of corners.

Candidates start all along the walls of either side, square to them; each is scored by its length, and by what speaks
against its place. All lengths in mm.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPoint, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.model.paths import Line, Point, Points
from maskgen.shape.widths import narrow_places

CORNER_TURN = np.radians(25.0)
"""A wall that turns more than this within an eighth of the tie's width has a corner there."""

LARGE = 6.0
"""From this many tie widths on a piece gets two ties: on one it would swing."""

ROOT_MM = 0.02
"""How far a tie reaches into what it joins, so that they are one beyond doubt; nothing of it is seen."""

FEW = 12
"""So many of the best ways are looked at in full."""

SLIT_PRICE = 20.0
"""Millimetres of tie that a slit as wide as the tie, a millimetre long, is as bad as."""

STEPS_PER_WIDTH = 8
Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Tie:
    """A rectangle that joins two pieces: its middle line from root to root, and its width."""

    start: Point
    end: Point
    width_mm: float

    @property
    def outline(self) -> Polygon:
        """The rectangle."""
        (ax, ay), (bx, by) = self.start, self.end
        length = float(np.hypot(bx - ax, by - ay))
        sx, sy = -(by - ay) / length * self.width_mm / 2, (bx - ax) / length * self.width_mm / 2
        return Polygon([(ax + sx, ay + sy), (bx + sx, by + sy), (bx - sx, by - sy), (ax - sx, ay - sy)])

    @property
    def sides(self) -> tuple[Line, ...]:
        """Its four sides."""
        corners = [(float(x), float(y)) for x, y in self.outline.exterior.coords]
        return tuple(Line(a, b) for a, b in pairwise(corners))


def tie_together(
    pieces: Sequence[Polygon],
    *,
    needs: Callable[[Sequence[int]], bool],
    width_mm: float,
    min_land_mm: float,
    avoid: Sequence[BaseGeometry] = (),
) -> tuple[Tie, ...]:
    """Find ties until no group of pieces is left that needs one, or nothing is left to tie it to.

    Parameters
    ----------
    pieces
        What may be tied to one another.
    needs
        Whether pieces (by index) tied into one group still need a hold; the smallest such group is tied first.
    width_mm
        Width of a tie.
    min_land_mm
        Ties keep off places of the pieces narrower than this where they can.
    avoid
        No tie comes near these.
    """
    scene = _Scene.of(pieces, width_mm, min_land_mm, avoid)
    groups: list[list[int]] = [[k] for k in range(len(pieces))]
    ties: list[Tie] = []
    stuck: list[list[int]] = []
    while open_groups := [g for g in groups if g not in stuck and needs(g)]:
        group = min(open_groups, key=lambda g: (sum(pieces[k].area for k in g), g))
        found = scene.ties_for(group)
        if not found:
            stuck.append(group)
            continue
        ties.extend(tie for tie, _ in found)
        reached = {piece for _, piece in found}
        joined = [g for g in groups if g is group or reached & set(g)]
        groups = [g for g in groups if g not in joined] + [sorted(k for g in joined for k in g)]
    return tuple(ties)


@dataclass(frozen=True, slots=True, eq=False)
class _Ways:
    """Straight ways from the walls of a group to walls across: their ends, and the piece across."""

    start: Points
    end: Points
    piece: Indices

    @property
    def length(self) -> Floats:
        return np.asarray(np.hypot(*(self.end - self.start).T), dtype=np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """The outlines of all pieces: edges, points along them with the direction outwards, and what to avoid."""

    pieces: Sequence[Polygon]
    width: float
    start: Points
    end: Points
    owner: Indices
    tree: shapely.STRtree
    wall: Points
    outward: Points
    wall_owner: Indices
    corners: BaseGeometry
    thin: BaseGeometry
    avoid: BaseGeometry

    @classmethod
    def of(cls, pieces: Sequence[Polygon], width: float, min_land: float, avoid: Sequence[BaseGeometry]) -> _Scene:
        rings, owner_of_ring = shapely.get_rings(shapely.orient_polygons(np.array(pieces)), return_index=True)
        points, ring = shapely.get_coordinates(rings, return_index=True)
        joined = ring[1:] == ring[:-1]
        start, end = points[:-1][joined], points[1:][joined]
        owner = owner_of_ring[ring[:-1][joined]]
        wall, outward, edge = _along(start, end, width / STEPS_PER_WIDTH)
        thin = [at for place in narrow_places(MultiPolygon(list(pieces)), min_land) for at in place.centres]
        return cls(
            pieces=pieces,
            width=width,
            start=start,
            end=end,
            owner=owner,
            tree=shapely.STRtree(shapely.linestrings(np.stack([start, end], axis=1))),
            wall=wall,
            outward=outward,
            wall_owner=owner[edge],
            corners=MultiPoint([at for r in rings for at in _corners(r, width / 4)]),
            thin=MultiPoint(thin),
            avoid=shapely.union_all(list(avoid)).buffer(width),
        )

    def ties_for(self, group: Sequence[int]) -> list[tuple[Tie, int]]:
        """Find the best tie of a group to the other pieces, or two for a large one, with the piece each reaches."""
        inside = np.isin(np.arange(len(self.pieces)), group)
        if inside.all():
            return []
        island = MultiPolygon([self.pieces[k] for k in group])
        rest = MultiPolygon([self.pieces[k] for k in np.flatnonzero(~inside).tolist()])
        shortest = shapely.get_coordinates(shapely.shortest_line(island, rest))
        near = float(np.hypot(*(shortest[1] - shortest[0])))
        left, top, right, bottom = island.bounds
        size = max(right - left, bottom - top)
        large = size >= LARGE * self.width
        reach = 2.0 * near + 4.0 * self.width + (0.5 * size if large else 0.0)
        ways = self._ways(inside, shapely.box(*island.bounds).buffer(reach), shortest, reach)
        if not self.avoid.is_empty:
            lines = shapely.linestrings(np.stack([ways.start, ways.end], axis=1))
            clear = ~shapely.intersects(lines, self.avoid)
            ways = _Ways(ways.start[clear], ways.end[clear], ways.piece[clear])
        if not len(ways.start):
            return []
        score = self._scores(ways, inside)
        chosen = [self._best(ways, score, island)]
        if large:
            # The second stands well apart from the first, best of all across from it.
            away = np.hypot(*(ways.start - ways.start[chosen[0]]).T)
            fit = (away > size / 2) & (score < 1.5 * score[chosen[0]] + 2.0 * self.width)
            if fit.any():
                chosen.append(self._best(ways, np.where(fit, score - self.width * away / size, np.inf), island))
        return [(self._rooted(ways, k, island), int(ways.piece[k])) for k in chosen]

    def _best(self, ways: _Ways, score: Floats, island: BaseGeometry) -> int:
        """Choose among the best few, somewhat apart, the one that costs least with the slits it would leave."""
        taken: list[int] = []
        for k in np.argsort(score, kind="stable").tolist():
            if len(taken) == FEW or (taken and score[k] > score[taken[0]] + 3.0 * self.width):
                break
            if all(np.hypot(*(ways.start[k] - ways.start[j])) > self.width / 2 for j in taken):
                taken.append(k)
        costs = [score[k] + self._slits(self._rooted(ways, k, island)) for k in taken]
        return taken[int(np.argmin(costs))]

    def _slits(self, tie: Tie) -> float:
        """Give the cost of openings under half a tie's width that a tie makes: their area, as a longer way."""
        around = tie.outline.buffer(2 * self.width).envelope
        near = [p for p in self.pieces if shapely.intersects(p, around)]
        before = shapely.intersection(shapely.union_all(near), around)
        after, half = shapely.union(before, tie.outline), self.width / 4

        def closed(shape: BaseGeometry) -> float:
            return float(shape.buffer(half).buffer(-half).difference(shape).area)

        return SLIT_PRICE * max(0.0, closed(after) - closed(before)) / self.width

    def _ways(self, inside: NDArray[np.bool_], near: Polygon, shortest: Points, reach: float) -> _Ways:
        """Go straight out of the walls of either side until the other is met."""
        here = np.flatnonzero(shapely.contains_xy(near, self.wall[:, 0], self.wall[:, 1]))
        mine = inside[self.wall_owner[here]]
        out, back = here[mine], here[~mine]
        hit, across, piece = self._first_met(self.wall[out], self.outward[out], ~inside, reach)
        back_hit, back_across, _ = self._first_met(self.wall[back], self.outward[back], inside, reach)
        nearest = np.flatnonzero(~inside)
        away = shapely.distance(np.array(self.pieces)[nearest], shapely.Point(shortest[1]))
        start = np.vstack([self.wall[out][hit], back_across, shortest[:1]])
        end = np.vstack([across, self.wall[back][back_hit], shortest[1:]])
        pieces = np.concatenate([piece, self.wall_owner[back][back_hit], nearest[[np.argmin(away)]]])
        kept = np.hypot(*(end - start).T) > 1e-9
        return _Ways(start[kept], end[kept], pieces[kept])

    def _first_met(
        self, origin: Points, direction: Points, wanted: NDArray[np.bool_], reach: float
    ) -> tuple[Indices, Points, Indices]:
        """Give the rays that meet a wanted piece, where they first do, and the piece."""
        origin = origin + 1e-6 * direction
        rays = shapely.linestrings(np.stack([origin, origin + reach * direction], axis=1))
        ray, edge = self.tree.query(rays, predicate="intersects")
        ray, edge = ray[wanted[self.owner[edge]]], edge[wanted[self.owner[edge]]]
        along = self.end[edge] - self.start[edge]
        to_start = self.start[edge] - origin[ray]
        turn = direction[ray, 0] * along[:, 1] - direction[ray, 1] * along[:, 0]
        clean = np.abs(turn) > 1e-12
        ray, edge, along, to_start, turn = ray[clean], edge[clean], along[clean], to_start[clean], turn[clean]
        distance = (to_start[:, 0] * along[:, 1] - to_start[:, 1] * along[:, 0]) / turn
        order = np.lexsort((distance, ray))
        met, first = np.unique(ray[order], return_index=True)
        distance, edge = distance[order][first], edge[order][first]
        return met, origin[met] + distance[:, None] * direction[met], self.owner[edge]

    def _scores(self, ways: _Ways, inside: NDArray[np.bool_]) -> Floats:
        """Give what each way costs, in mm of tie; slanting walls, corners and thin places count as a longer way."""
        width, length = self.width, ways.length
        along = (ways.end - ways.start) / length[:, None]
        aside = np.stack([-along[:, 1], along[:, 0]], axis=1) * width / 2
        middle = (ways.start + ways.end) / 2
        reach = float(length.max()) / 2 + width
        sides = np.zeros((len(length), 4))
        for column, (side, wanted, way) in enumerate(
            [(s, wanted, way) for wanted, way in ((inside, -along), (~inside, along)) for s in (-1.0, 1.0)]
        ):
            met, at, _ = self._first_met(middle + side * aside, way, wanted, reach)
            sides[:, column] = length / 2 + width
            sides[met, column] = np.hypot(*(at - (middle + side * aside)[met]).T)
        uneven = np.abs(sides[:, 0] - sides[:, 1]) + np.abs(sides[:, 2] - sides[:, 3])
        score: Floats = np.maximum(length, sides.sum(axis=1) / 2) + uneven
        lines = shapely.linestrings(np.stack([ways.start, ways.end], axis=1))
        if not self.corners.is_empty:
            # On the tie's own edge a corner leaves a sliver; from one width on it does not matter.
            score = score + 4.0 * width * np.clip(1.25 - shapely.distance(lines, self.corners) / width, 0.0, 1.25)
        if not self.thin.is_empty:
            score = score + 0.5 * width * np.clip(1.0 - shapely.distance(lines, self.thin) / width, 0.0, 1.0)
        return score

    def _rooted(self, ways: _Ways, index: int, island: BaseGeometry) -> Tie:
        """Root a way in both its walls, deep enough for its whole width."""
        start, end = ways.start[index], ways.end[index]
        along = (end - start) / ways.length[index]
        a = start - along * _depth(start, -along, island, self.width)
        b = end + along * _depth(end, along, self.pieces[ways.piece[index]], self.width)
        return Tie((float(a[0]), float(a[1])), (float(b[0]), float(b[1])), self.width)


def _along(start: Points, end: Points, step: float) -> tuple[Points, Points, Indices]:
    """Give points along edges that have their shape on the left (seen with y up), directions out of it, the edge."""
    along = end - start
    length = np.hypot(*along.T)
    count = np.maximum(1, np.ceil(length / step)).astype(np.int64)
    edge = np.repeat(np.arange(len(length)), count)
    k = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    place = start[edge] + ((k + 0.5) / count[edge])[:, None] * along[edge]
    normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / np.maximum(length, 1e-300)[:, None]
    return place, normal[edge], edge


def _corners(ring: BaseGeometry, within: float) -> list[Point]:
    """Give the places where an outline turns sharply within a short way, in one vertex or a small round."""
    count = max(8, int(np.ceil(2 * ring.length / within)))
    places = shapely.get_coordinates(shapely.line_interpolate_point(ring, np.arange(count) / count, normalized=True))
    ahead = np.roll(places, -1, axis=0) - places
    behind = places - np.roll(places, 1, axis=0)
    turn = np.arctan2(behind[:, 0] * ahead[:, 1] - behind[:, 1] * ahead[:, 0], np.sum(behind * ahead, axis=1))
    return [(float(x), float(y)) for x, y in places[np.abs(turn) > CORNER_TURN]]


def _depth(root: Points, inward: Points, shape: BaseGeometry, width: float) -> float:
    """Tell how far a tie has to go on so that both its sides end inside; as far as it can in something narrower."""
    aside = np.array([-inward[1], inward[0]]) * width / 2
    entries = []
    for side in (-1.0, 1.0):
        origin = root + side * aside - inward * width / 2
        path = shapely.LineString([origin, origin + 2.0 * width * inward]).intersection(shape)
        if not path.is_empty:
            entries.append(float(shapely.distance(shapely.Point(origin), path)) - width / 2)
    if len(entries) == 2:
        return max(0.0, *entries) + ROOT_MM
    through = shapely.LineString([root, root + width / 2 * inward]).intersection(shape).length
    return float(max(through, ROOT_MM))
