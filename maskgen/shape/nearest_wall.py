"""The nearest of many straight edges to each of many points, exactly.

Points along the edges, corners among them, are looked up first: whatever edge has none of them among the nearest few is
proven farther off, since no place on it is farther than half the spacing from one. What stays open is asked of a tree
of the edges themselves, which gives the same answer more slowly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from maskgen.model.paths import Points

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]

PER_EDGE, AT_LEAST = 4, 2000
"""Points for each edge on average, and for all of them together."""
FEWEST, MORE = 3, 8
"""Nearest points looked at: enough for most, and for most of the rest."""


@dataclass(frozen=True, slots=True, eq=False)
class NearestWall:
    """Edges (n, 2) to (n, 2); of the points `edge` is the edge each lies on, `other` the one before at a corner."""

    start: Points
    along: Points
    points: cKDTree
    edge: Indices
    other: Indices
    half_spacing: float
    edges: shapely.STRtree

    @classmethod
    def of(cls, start: Points, end: Points, before: Indices) -> NearestWall:
        """Take edges, each with the number of the one that ends where it starts."""
        along = end - start
        length = np.hypot(*along.T)
        spacing = float(length.sum()) / max(PER_EDGE * len(length), AT_LEAST)
        count = np.maximum(1, np.ceil(length / max(spacing, 1e-12))).astype(np.int64)
        edge = np.repeat(np.arange(len(count)), count)
        place = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
        points = start[edge] + (place / count[edge])[:, None] * along[edge]
        other = np.where(place == 0, before[edge], edge)
        tree = shapely.STRtree(shapely.linestrings(np.stack([start, end], axis=1)))
        return cls(start, along, cKDTree(points), edge, other, spacing / 2, tree)

    def find(self, places: Points) -> tuple[Points, Floats, Indices]:
        """Give the nearest place on an edge, its distance and the number of the edge."""
        near, distance, edge = np.empty(places.shape), np.empty(len(places)), np.empty(len(places), dtype=np.int64)
        left = np.arange(len(places))
        for count in (FEWEST, MORE):
            if not len(left) or count > len(self.edge):
                break
            away, which = self.points.query(places[left], k=count)
            tried = np.concatenate([self.edge[which], self.other[which]], axis=1)
            found = self.onto(places[left][:, None], tried)
            apart = np.hypot(*np.moveaxis(found - places[left][:, None], -1, 0))
            best = apart.argmin(axis=1)
            row = np.arange(len(left))
            proven = away[:, -1] ** 2 - self.half_spacing**2 >= apart[row, best] ** 2
            done, row, best = left[proven], row[proven], best[proven]
            near[done], distance[done], edge[done] = found[row, best], apart[row, best], tried[row, best]
            left = left[~proven]
        if len(left):
            edge[left] = self.edges.query_nearest(shapely.points(places[left]), all_matches=False)[1]
            near[left] = self.onto(places[left], edge[left])
            distance[left] = np.hypot(*(near[left] - places[left]).T)
        return near, distance, edge

    def onto(self, places: Points, edge: Indices) -> Points:
        """Give the nearest place of one edge to each place, whatever the shape of the arrays before the last axis."""
        start, along = self.start[edge], self.along[edge]
        square = np.maximum(np.sum(along * along, axis=-1), 1e-300)
        t = np.clip(np.sum((places - start) * along, axis=-1) / square, 0.0, 1.0)
        onto: Points = start + t[..., None] * along
        return onto
