"""A short way through many stops with the knife up, from a given home; the end is free.

A stop is entered at one point and left at another (a piece with holes begins at a hole and ends at its outline).
Nearest neighbour first, then runs of stops reversed (2-opt) and moved (Or-opt) while that shortens the way; candidate
moves join near neighbours only, and in every sweep the best moves that do not touch each other are made together.
Sources: Croes 1958 (2-opt), Or 1976. No chance is in it: same stops, same way.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from maskgen.model.paths import Point, Points

NEIGHBOURS = 10
LONGEST_MOVED = 3
SWEEPS = 200
LEAST_GAIN_MM = 1e-6

Order = NDArray[np.intp]
Floats = NDArray[np.float64]


def short_route(entry: Points, leave: Points, *, home: Point) -> Order:
    """Give the order in which to visit stops entered at `entry` and left at `leave`, (n, 2) each."""
    if len(entry) < 2:
        return np.arange(len(entry))
    order = _nearest_next(entry, leave, home)
    return _improved(order, entry, leave, home)


def route_length(entry: Points, leave: Points, *, home: Point) -> float:
    """Length of the way through stops in the order given, from home."""
    if not len(entry):
        return 0.0
    return float(np.hypot(*(entry - np.vstack([[home], leave[:-1]])).T).sum())


def best_choice(candidates: list[Points], *, home: Point) -> list[int]:
    """Choose one point of each stop so that the way through them in their order is shortest (dynamic programme)."""
    here, cost = np.array([home]), np.zeros(1)
    came: list[Order] = []
    for points in candidates:
        reach = cost[:, None] + np.hypot(*(points[None, :, :] - here[:, None, :]).transpose(2, 0, 1))
        came.append(np.argmin(reach, axis=0))
        here, cost = points, reach.min(axis=0)
    chosen = [int(np.argmin(cost))]
    for back in reversed(came[1:]):
        chosen.append(int(back[chosen[-1]]))
    return chosen[::-1] if candidates else []


def _nearest_next(entry: Points, leave: Points, home: Point) -> Order:
    """Go to the nearest stop not yet visited; looks among near neighbours first, then among all that are left."""
    count = len(entry)
    near = np.atleast_2d(KDTree(entry).query(leave, k=min(count, NEIGHBOURS + 1))[1])
    left = np.ones(count, dtype=bool)
    order = np.empty(count, dtype=np.intp)
    at, tried = np.asarray(home), np.empty(0, dtype=np.intp)
    for step in range(count):
        open_ones = tried[left[tried]]
        if not len(open_ones):
            open_ones = np.flatnonzero(left)
        nearest = open_ones[np.argmin(np.hypot(*(entry[open_ones] - at).T))]
        order[step], left[nearest] = nearest, False
        at, tried = leave[nearest], near[nearest]
    return order


def _improved(order: Order, entry: Points, leave: Points, home: Point) -> Order:
    count = len(order)
    middle = (entry + leave) / 2
    near = np.atleast_2d(KDTree(middle).query(middle, k=min(count, NEIGHBOURS + 1))[1])
    for _ in range(SWEEPS):
        moves = _reversals(order, entry, leave, home, near) + _shifts(order, entry, leave, home, near)
        changed = _apply(order, moves)
        if changed is None:
            break
        order = changed
    return order


Move = tuple[float, int, int, int, bool]
"""Gain, first and last position touched, how far the touched run is rolled, and whether the moved part is reversed."""


def _reversals(order: Order, entry: Points, leave: Points, home: Point, near: Order) -> list[Move]:
    """Reversing positions i..j, where afterwards the stop at i - 1 is followed by a near neighbour."""
    count = len(order)
    walk = _Walk(order, entry, leave, home)
    a, b = np.repeat(np.arange(count), near.shape[1] - 1), walk.position[near[order][:, 1:]].ravel()
    # joined afterwards: either (a, b) with b = j, a = i - 1; or (i, j + 1) with a = i, b = j + 1
    # or, as the end is free and home may be left for any stop, a whole head or tail is reversed
    all_of_them, low, high = np.arange(count), np.minimum(a, b), np.maximum(a, b)
    i = np.concatenate([low + 1, low, np.zeros(count, dtype=np.intp), all_of_them])
    j = np.concatenate([high, high - 1, all_of_them, np.full(count, count - 1)])
    i, j = i[i < j], j[i < j]
    before = walk.step(i - 1, i) + walk.forward(i, j) + walk.step(j, j + 1)
    after = walk.step(i - 1, j) + walk.backward(i, j) + walk.step(i, j + 1)
    return _worth(before - after, i, j, np.zeros_like(i), True)


def _shifts(order: Order, entry: Points, leave: Points, home: Point, near: Order) -> list[Move]:
    """Moving up to three stops to stand beside a near neighbour, either way round."""
    count = len(order)
    walk = _Walk(order, entry, leave, home)
    at, beside = np.repeat(np.arange(count), near.shape[1] - 1), walk.position[near[order][:, 1:]].ravel()
    moves: list[Move] = []
    for size in range(1, min(LONGEST_MOVED, count - 1) + 1):
        for first in (at, at - size + 1):  # the stop with the near neighbour leads or ends the moved run
            last = first + size - 1
            for gap in (beside, beside - 1):  # goes between `gap` and `gap + 1`
                fits = (first >= 0) & (last < count) & (gap >= -1) & (gap < count) & ((gap < first - 1) | (gap > last))
                f, e, g = first[fits], last[fits], gap[fits]
                closed = walk.step(f - 1, f) + walk.step(e, e + 1) + walk.step(g, g + 1)
                healed = walk.step(f - 1, e + 1)
                forward = walk.step(g, f) + walk.step(e, g + 1)
                turned = walk.step(g, e) + walk.step(f, g + 1) + walk.backward(f, e) - walk.forward(f, e)
                low, high = np.minimum(f, g + 1), np.maximum(e, g)
                roll = np.where(g > e, -size, size)
                moves += _worth(closed - healed - forward, low, high, roll, False)
                if size > 1:
                    moves += _worth(closed - healed - turned, low, high, roll, True)
    return moves


class _Walk:
    """Distances along an order; position -1 is home, position n is nowhere (costs nothing)."""

    def __init__(self, order: Order, entry: Points, leave: Points, home: Point) -> None:
        self.count = len(order)
        self.entry = entry[order]
        self.leave = np.vstack([leave[order], [home]])  # -1 is home
        self.position = np.empty_like(order)
        self.position[order] = np.arange(self.count)
        ahead = np.hypot(*(self.entry[1:] - self.leave[: self.count - 1]).T)
        back = np.hypot(*(self.entry[:-1] - self.leave[1 : self.count]).T)
        self._ahead = np.concatenate([[0.0], np.cumsum(ahead)])
        self._back = np.concatenate([[0.0], np.cumsum(back)])

    def step(self, a: Order, b: Order) -> Floats:
        """Distance from leaving `a` to entering `b`."""
        inside = np.minimum(b, self.count - 1)
        return np.where(b < self.count, np.hypot(*(self.entry[inside] - self.leave[a]).T), 0.0)

    def forward(self, i: Order, j: Order) -> Floats:
        """Way within positions i..j as they stand."""
        return np.asarray(self._ahead[j] - self._ahead[i])

    def backward(self, i: Order, j: Order) -> Floats:
        """Way within positions i..j visited the other way round."""
        return np.asarray(self._back[j] - self._back[i])


def _worth(gain: Floats, low: Order, high: Order, roll: Order, turned: bool) -> list[Move]:
    keep = np.flatnonzero(gain > LEAST_GAIN_MM)
    return [(float(gain[k]), int(low[k]), int(high[k]), int(roll[k]), turned) for k in keep]


def _apply(order: Order, moves: list[Move]) -> Order | None:
    """Make the best moves that do not touch each other; None when there are none."""
    if not moves:
        return None
    result, touched = order.copy(), np.zeros(len(order) + 2, dtype=bool)
    for _, low, high, roll, turned in sorted(moves, key=lambda m: (-m[0], m[1], m[2], m[3], m[4])):
        if touched[low : high + 3].any():  # the stops before and after take part as well
            continue
        touched[low : high + 3] = True
        result[low : high + 1] = _rearranged(order[low : high + 1], roll, turned)
    return result


def _rearranged(run: Order, roll: int, turned: bool) -> Order:
    if roll == 0:
        return run[::-1]
    cut = -roll if roll < 0 else len(run) - roll
    moved, rest = (run[:cut], run[cut:]) if roll < 0 else (run[cut:], run[:cut])
    moved = moved[::-1] if turned else moved
    return np.concatenate([rest, moved] if roll < 0 else [moved, rest])
