"""A short way through many stops with the knife up, from a given home; the end is free, or a given goal.

A stop is entered at one point and left at another (a piece with holes begins at a hole and ends at its outline).
Some stops may be taken the other way round; they are when a run of stops is reversed.
Nearest neighbour first, then runs of stops reversed (2-opt) and moved (Or-opt) while that shortens the way; candidate
moves join near neighbours only, and in every sweep the best moves that do not touch each other are made together.
Sources: Croes 1958 (2-opt), Or 1976. No chance is in it: same stops, same way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from maskgen.model.paths import Point, Points

NEIGHBOURS = 8
LONGEST_MOVED = 3
SWEEPS = 200
LEAST_GAIN_MM = 1e-6

Order = NDArray[np.intp]
Flags = NDArray[np.bool_]
Floats = NDArray[np.float64]
Ends: TypeAlias = tuple[Point, Point | None]
"""Home, and the goal if there is one."""


@dataclass(frozen=True, slots=True, eq=False)
class Stops:
    """Where every stop is entered and left, (n, 2) each, and the same where it is taken the other way round.

    A stop that has one way only gives that twice.
    """

    entry: Points
    leave: Points
    entry_back: Points
    leave_back: Points

    @classmethod
    def one_way(cls, entry: Points, leave: Points) -> Stops:
        """Make stops that are always taken the same way."""
        return cls(entry, leave, entry, leave)


def short_route(stops: Stops, *, home: Point, goal: Point | None = None) -> tuple[Order, Flags]:
    """Give the order in which to visit stops from home, and (by stop) whether to take it the other way round.

    The end is free, unless there is a goal to go on to.
    """
    count = len(stops.entry)
    back = np.zeros(count, dtype=bool)
    if count == 0:
        return np.arange(0), back
    return _improved(_nearest_next(stops, home), back, stops, (home, goal))


def route_length(entry: Points, leave: Points, *, home: Point) -> float:
    """Length of the way through stops in the order given, from home."""
    if not len(entry):
        return 0.0
    return float(np.hypot(*(entry - np.vstack([[home], leave[:-1]])).T).sum())


def best_choice(offers: Sequence[Points], *, home: Point) -> list[int]:
    """Choose one of the points (k, 2) each stop offers, in the order given, so that the way is shortest.

    Exact, by dynamic programming.
    """
    here, cost = np.array([home]), np.zeros(1)
    came: list[Order] = []
    for points in offers:
        reach = cost[:, None] + np.hypot(*(points[None, :, :] - here[:, None, :]).transpose(2, 0, 1))
        came.append(np.argmin(reach, axis=0))
        here, cost = points, reach.min(axis=0)
    chosen = [int(np.argmin(cost))]
    for back in reversed(came[1:]):
        chosen.append(int(back[chosen[-1]]))
    return chosen[::-1] if came else []


def _nearest_next(stops: Stops, home: Point) -> Order:
    """Go to the nearest stop not yet visited; looks among near neighbours first, then among all that are left."""
    count = len(stops.entry)
    near = _near(stops.entry, stops.leave)
    left = np.ones(count, dtype=bool)
    order = np.empty(count, dtype=np.intp)
    at, tried = np.asarray(home), np.empty(0, dtype=np.intp)
    for step in range(count):
        open_ones = tried[left[tried]]
        if not len(open_ones):
            open_ones = np.flatnonzero(left)
        nearest = open_ones[np.argmin(np.hypot(*(stops.entry[open_ones] - at).T))]
        order[step], left[nearest] = nearest, False
        at, tried = stops.leave[nearest], near[nearest]
    return order


def _near(points: Points, of: Points) -> Order:
    return np.asarray(KDTree(points).query(of, k=range(1, min(len(points), NEIGHBOURS + 1) + 1))[1], dtype=np.intp)


def _improved(order: Order, back: Flags, stops: Stops, ends: Ends) -> tuple[Order, Flags]:
    """Make moves until none shortens the way; after the first sweep only about stops whose neighbours have changed."""
    middle = (stops.entry + stops.leave) / 2
    near = _near(middle, middle)
    active = np.ones(len(order), dtype=bool)
    for _ in range(SWEEPS):
        walk = _Walk(order, back, stops, ends)
        looked_at = order[active[order]]
        at, beside = np.repeat(walk.position[looked_at], near.shape[1]), walk.position[near[looked_at]].ravel()
        at, beside = at[at != beside], beside[at != beside]
        moves = _reversals(walk, at, beside) + _shifts(walk, at, beside)
        if not moves and active.all():
            break
        changed, back = _applied(order, back, moves)
        active = np.any(_beside(order) != _beside(changed), axis=1) if moves else np.ones(len(order), dtype=bool)
        order = changed
    return order, back


def _beside(order: Order) -> Order:
    """Give for every stop the two it stands between, the lesser first; -1 at the ends."""
    padded = np.concatenate([[-1], order, [-1]])
    pairs = np.empty((len(order), 2), dtype=np.intp)
    pairs[order] = np.sort(np.column_stack([padded[:-2], padded[2:]]), axis=1)
    return pairs


class _Walk:
    """Distances along an order; position -1 is home, position n the goal, or nowhere (costs nothing)."""

    def __init__(self, order: Order, back: Flags, stops: Stops, ends: Ends) -> None:
        home, self.goal = ends
        self.count = len(order)
        self.position = np.empty_like(order)
        self.position[order] = np.arange(self.count)
        turned = back[order][:, None]
        self.entry = np.where(turned, stops.entry_back[order], stops.entry[order])
        self.leave = np.vstack([np.where(turned, stops.leave_back[order], stops.leave[order]), [home]])  # -1 is home
        self.entry_flipped = np.where(turned, stops.entry[order], stops.entry_back[order])
        self.leave_flipped = np.where(turned, stops.leave[order], stops.leave_back[order])
        self._ahead = _summed(self.leave[: self.count - 1], self.entry[1:])
        self._back = _summed(self.leave_flipped[1:], self.entry_flipped[:-1])

    def step(self, a: Order, b: Order) -> Floats:
        """Distance from leaving `a` to entering `b`."""
        return self._to(self.leave[a], b)

    def into_flipped(self, a: Order, b: Order) -> Floats:
        """Distance from leaving `a` to entering `b` taken the other way round."""
        return np.asarray(np.hypot(*(self.entry_flipped[b] - self.leave[a]).T))

    def from_flipped(self, a: Order, b: Order) -> Floats:
        """Distance from leaving `a` taken the other way round to entering `b`."""
        return self._to(self.leave_flipped[a], b)

    def forward(self, i: Order, j: Order) -> Floats:
        """Way within positions i..j as they stand."""
        return np.asarray(self._ahead[j] - self._ahead[i])

    def backward(self, i: Order, j: Order) -> Floats:
        """Way within positions i..j visited in reverse, each the other way round."""
        return np.asarray(self._back[j] - self._back[i])

    def _to(self, points: Points, b: Order) -> Floats:
        inside = np.hypot(*(self.entry[np.minimum(b, self.count - 1)] - points).T)
        beyond = 0.0 if self.goal is None else np.hypot(*(np.asarray(self.goal) - points).T)
        return np.where(b < self.count, inside, beyond)


def _summed(leave: Points, entry: Points) -> Floats:
    return np.concatenate([[0.0], np.cumsum(np.hypot(*(entry - leave).T))])


Move = tuple[float, int, int, int, bool]
"""Gain, first and last position touched, how far the touched run is rolled, and whether the moved part is reversed."""


def _reversals(walk: _Walk, at: Order, beside: Order) -> list[Move]:
    """Reverse positions i..j, so that near neighbours `at` and `beside` stand together, or from home, or to the end."""
    every, low, high = np.arange(walk.count), np.minimum(at, beside), np.maximum(at, beside)
    i = np.concatenate([low + 1, low, np.zeros(walk.count, dtype=np.intp), every, every])
    j = np.concatenate([high, high - 1, every, np.full(walk.count, walk.count - 1), every])
    i, j = i[i <= j], j[i <= j]
    before = walk.step(i - 1, i) + walk.forward(i, j) + walk.step(j, j + 1)
    after = walk.into_flipped(i - 1, j) + walk.backward(i, j) + walk.from_flipped(i, j + 1)
    return _worth(before - after, i, j, np.zeros_like(i), True)


def _shifts(walk: _Walk, at: Order, beside: Order) -> list[Move]:
    """Move up to three stops to stand beside a near neighbour, either way round."""
    size = np.arange(1, min(LONGEST_MOVED, walk.count - 1) + 1)[:, None, None, None]
    # the stop with the near neighbour leads or ends the moved run, which goes between `gap` and `gap + 1`
    first = at - np.stack([np.zeros_like(size), size - 1], axis=1)[:, :, 0]
    gap = beside - np.arange(2)[:, None]
    first, gap, size = (a.ravel() for a in np.broadcast_arrays(first, gap, size))
    fits = (first >= 0) & (first + size <= walk.count) & ((gap < first - 1) | (gap >= first + size))
    f, g, e = first[fits], gap[fits], (first + size - 1)[fits]
    now = walk.step(f - 1, f) + walk.forward(f, e) + walk.step(e, e + 1) + walk.step(g, g + 1)
    healed = walk.step(f - 1, e + 1)
    ahead = walk.step(g, f) + walk.forward(f, e) + walk.step(e, g + 1)
    back = walk.into_flipped(g, e) + walk.backward(f, e) + walk.from_flipped(f, g + 1)
    low, high = np.minimum(f, g + 1), np.maximum(e, g)
    roll = np.where(g > e, f - e - 1, e - f + 1)
    return _worth(now - healed - ahead, low, high, roll, False) + _worth(now - healed - back, low, high, roll, True)


def _worth(gain: Floats, low: Order, high: Order, roll: Order, turned: bool) -> list[Move]:
    keep = np.flatnonzero(gain > LEAST_GAIN_MM)
    return [(float(gain[k]), int(low[k]), int(high[k]), int(roll[k]), turned) for k in keep]


def _applied(order: Order, back: Flags, moves: list[Move]) -> tuple[Order, Flags]:
    """Make the best moves that do not touch each other."""
    order, back, touched = order.copy(), back.copy(), np.zeros(len(order) + 2, dtype=bool)
    for _, low, high, roll, turned in sorted(moves, key=lambda m: (-m[0], *m[1:])):
        if touched[low : high + 3].any():  # the stops before and after take part as well
            continue
        touched[low : high + 3] = True
        run = order[low : high + 1].copy()
        cut = abs(roll) or len(run)
        moved, rest = (run[-cut:], run[:-cut]) if roll > 0 else (run[:cut], run[cut:])
        if turned:
            back[moved] = ~back[moved]
            moved = moved[::-1]
        order[low : high + 1] = np.concatenate([rest, moved] if roll < 0 else [moved, rest])
    return order, back
