"""Which points lie inside closed loops, by winding number: any crossings, any fill rule, all points at once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from maskgen.model.drawing import FillRule
from maskgen.model.paths import Points

MOST_PAIRS = 4_000_000
"""Pairs of an edge and a point looked at together; bounds the memory."""


def closed_edges(loops: list[Points]) -> NDArray[np.float64]:
    """Give the edges of loops of corners (the first not repeated at the end) as (n, 2, 2)."""
    edges = [np.stack([loop, np.roll(loop, -1, axis=0)], axis=1) for loop in loops if len(loop) > 1]
    return np.concatenate(edges) if edges else np.zeros((0, 2, 2))


def windings(points: Points, edges: NDArray[np.float64]) -> NDArray[np.int64]:
    """Give the winding number of the edges about every point (points on an edge fall to either side)."""
    total = np.zeros(len(points), dtype=np.int64)
    edges = edges[edges[:, 0, 1] != edges[:, 1, 1]]
    if not len(edges) or not len(points):
        return total
    order = np.argsort(points[:, 1], kind="stable")
    x, y = points[order].T
    low, high = edges[:, :, 1].min(axis=1), edges[:, :, 1].max(axis=1)
    first, last = np.searchsorted(y, low, side="left"), np.searchsorted(y, high, side="left")
    counts = last - first
    ends = np.cumsum(counts)
    begin = 0
    while begin < len(edges):
        base = ends[begin - 1] if begin else 0
        stop = max(begin + 1, int(np.searchsorted(ends, base + MOST_PAIRS, side="right")))
        some = counts[begin:stop]
        edge = np.repeat(np.arange(begin, stop), some)
        point = np.arange(len(edge)) - np.repeat(np.cumsum(some) - some, some) + first[edge]
        (ax, ay), (bx, by) = edges[edge, 0].T, edges[edge, 1].T
        side = (bx - ax) * (y[point] - ay) - (x[point] - ax) * (by - ay)
        upward = by > ay
        turn = np.where(upward & (side > 0), 1, 0) - np.where(~upward & (side < 0), 1, 0)
        total += np.bincount(point, weights=turn, minlength=len(points)).astype(np.int64)
        begin = stop
    result = np.empty_like(total)
    result[order] = total
    return result


def inside(points: Points, edges: NDArray[np.float64], rule: FillRule) -> NDArray[np.bool_]:
    """Tell which points a fill covers."""
    number = windings(points, edges)
    covered: NDArray[np.bool_] = (number % 2 != 0) if rule is FillRule.EVENODD else (number != 0)
    return covered
