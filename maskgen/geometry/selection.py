"""Which runs to take: the cheapest chain of lines and cubics, joints smooth or sharp.

Minimum description length by dynamic programming. A run costs its misfit (chi-square beyond noise) and a price per
freedom of its shape; a smooth joint costs what it takes to bring both ends to one place and direction, and gives back
the two freedoms it ties; a corner ties nothing. Whether a joint is a corner thus follows from the same account.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from maskgen.geometry.cubics import Flags, Floats
from maskgen.geometry.prices import FREEDOMS, freedom_price
from maskgen.geometry.runs import LINE, Candidates, Ends, Indices
from maskgen.geometry.samples import Samples

TIED_FREEDOMS = 1.0
"""Numbers a smooth joint saves: place and direction, less some for where along the boundary it lies."""
SHORT_LINE = 4
"""Straight runs over fewer sample intervals end in corners."""
ASIDE = 0.35
"""How far (steps) a joint usually lies beside the sample it is cut at."""
CORNER_REACH = 1.2
"""A corner lies about within this many steps of the sample it is cut at."""
LEAST_CORNER, LEAST_BEND = np.radians(18.0), np.radians(4.0)
"""Directions that differ less are not given a corner (a bend between two straight runs): it could not be placed."""
BLUNT_FREEDOMS, NOISY_BLUNT_FREEDOMS = 1.5, 4.0
"""A corner costs this more the blunter it is, up from a right angle: two blunt corners are mostly one rounded one;
where the places are noisy, mostly noise."""
NOISY_SIGMA = 0.04
"""Usual deviation of places, in steps, from which they are noisy."""
SMOOTH_TURN = np.radians(40.0)
"""Directions that differ more are never made smooth."""


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """The chosen runs in order, and whether the joint before each is a corner (the first's, when open, is not)."""

    runs: Candidates
    corner_before: Flags


def select(samples: Samples, found: Candidates, *, allowed: Flags | None = None) -> Chain:
    """Choose the cheapest chain.

    Parameters
    ----------
    samples, found
        The boundary and the runs fitted to it.
    allowed
        For every sample whether it may (and then must) be a corner; None where corners are to be found.
    """
    price = freedom_price(len(samples.places))
    if samples.closed:
        return _closed(samples, found, _Joints(samples, found, price, allowed), price)
    joints = _Joints(samples, found, price, allowed)
    cost = _own_costs(found, price)
    best, back = _forward(joints, cost, np.flatnonzero(found.first == 0), len(samples.places) - 1)
    final = np.flatnonzero(found.last == len(samples.places) - 1)
    order = [int(final[np.argmin(best[final])])]
    while back[order[-1]] >= 0:
        order.append(int(back[order[-1]]))
    return _chain(found, joints, order[::-1], False)


def _own_costs(found: Candidates, price: float) -> Floats:
    return np.asarray(found.misfit + price * FREEDOMS[found.kind])


class _Joints:
    """Cost of every pair of runs that meet, flat arrays grouped by the second run's start."""

    def __init__(self, samples: Samples, found: Candidates, price: float, allowed: Flags | None) -> None:
        count = len(samples.places)
        stop = found.last % count if samples.closed else found.last
        by_start = np.argsort(found.first, kind="stable")
        by_stop = np.argsort(stop, kind="stable")
        nodes = np.intersect1d(found.first, stop)
        self.count = count
        self.incoming: dict[int, Indices] = {}
        self.outgoing: dict[int, Indices] = {}
        self.cost: dict[int, Floats] = {}
        self.corner: dict[int, Flags] = {}
        left, right, sizes = [], [], []
        for node in nodes:
            a, b = np.searchsorted(stop[by_stop], [node, node + 1])
            c, d = np.searchsorted(found.first[by_start], [node, node + 1])
            ins, outs = by_stop[a:b], by_start[c:d]
            self.incoming[int(node)], self.outgoing[int(node)] = ins, outs
            left.append(np.repeat(ins, len(outs)))
            right.append(np.tile(outs, len(ins)))
            sizes.append(len(ins) * len(outs))
        if not sizes:
            return
        before, after = np.concatenate(left), np.concatenate(right)
        cost, corner = joint_costs(
            found.end.take(before),
            found.start.take(after),
            _stiff(found, before) | _stiff(found, after),
            (found.kind[before] == LINE) & (found.kind[after] == LINE),
            price,
            None if allowed is None else allowed[found.first[after]],
            blunt=NOISY_BLUNT_FREEDOMS if float(np.median(samples.sigma)) > NOISY_SIGMA else BLUNT_FREEDOMS,
        )
        edges = np.concatenate([[0], np.cumsum(sizes)])
        for node, a, b in zip(nodes, edges[:-1], edges[1:], strict=True):
            shape = (len(self.incoming[int(node)]), len(self.outgoing[int(node)]))
            self.cost[int(node)] = cost[a:b].reshape(shape)
            self.corner[int(node)] = corner[a:b].reshape(shape)

    def is_corner(self, before: int, after: int, node: int) -> bool:
        """Whether the joint of two runs at a sample is a corner."""
        i = np.searchsorted(self.incoming[node], before)
        j = np.searchsorted(self.outgoing[node], after)
        return bool(self.corner[node][i, j])


def _stiff(found: Candidates, runs: Indices) -> Flags:
    """Straight runs too short to have a direction of their own take no smooth joint: they would be hinges."""
    return np.asarray((found.kind[runs] == LINE) & (found.last[runs] - found.first[runs] < SHORT_LINE))


def joint_costs(
    before: Ends,
    after: Ends,
    stiff: Flags,
    both_straight: Flags,
    price: float,
    allowed: Flags | None,
    *,
    blunt: float = BLUNT_FREEDOMS,
) -> tuple[Floats, Flags]:
    """Cheaper of smooth and corner for ends that meet, and which it is; no smooth joint where `stiff`."""
    turn = np.angle(np.exp(1j * (after.angle - before.angle)))
    smooth = _tie(before, after, turn) - TIED_FREEDOMS * price
    smooth[stiff | both_straight | (np.abs(turn) > SMOOTH_TURN)] = np.inf
    # How far from the sample the two ends' tangents cross.
    sine = np.maximum(np.abs(np.sin(turn)), 1e-6)
    away = before.offset**2 + after.offset**2 - 2 * before.offset * after.offset * np.cos(turn)
    away = np.sqrt(np.maximum(away, 0.0)) / sine
    corner = np.minimum((away / CORNER_REACH) ** 2, 1e6)
    corner += blunt * price * np.maximum(1 - np.abs(turn) / (np.pi / 2), 0.0)
    corner[np.abs(turn) < np.where(both_straight, LEAST_BEND, LEAST_CORNER)] = np.inf
    # Nearly turning back on itself: the tangents' crossing says little, but ends must lie close.
    if allowed is not None:
        smooth[allowed] = np.inf
        corner[~allowed] = np.inf
    # Two straight runs that hardly differ: no good joint, but the chain must not break.
    none = ~np.isfinite(np.minimum(smooth, corner))
    corner[none] = 1e4
    sharp = corner < smooth
    return np.where(sharp, corner, smooth), sharp


def _tie(before: Ends, after: Ends, turn: Floats) -> Floats:
    """Chi-square it costs to give both ends one offset and one angle: the difference under both covariances."""
    d0, d1 = after.offset - before.offset, turn

    def inverse(info: Floats) -> tuple[Floats, Floats, Floats]:
        a, b, c = info.T
        det = np.maximum(a * c - b * b, 1e-300)
        return c / det, -b / det, a / det

    a0, b0, c0 = inverse(before.info)
    a1, b1, c1 = inverse(after.info)
    # The joint itself may lie up to half a step beside the sample: the direction changes by the difference in bend.
    change = np.abs(after.bend - before.bend)
    a, b, c = a0 + a1 + (ASIDE**2 / 2 * change) ** 2, b0 + b1, c0 + c1 + (ASIDE * change) ** 2
    det = np.maximum(a * c - b * b, 1e-300)
    return np.asarray((c * d0 * d0 - 2 * b * d0 * d1 + a * d1 * d1) / det)


def _forward(joints: _Joints, cost: Floats, initial: Indices, stop: int) -> tuple[Floats, Indices]:
    """Cheapest chain ending with each run, on an open boundary."""
    best = np.full(len(cost), np.inf)
    back = np.full(len(cost), -1, dtype=int)
    best[initial] = cost[initial]
    for node in sorted(joints.cost):
        if 0 < node < stop:
            ins, outs = joints.incoming[node], joints.outgoing[node]
            total = best[ins][:, None] + joints.cost[node]
            choice = np.argmin(total, axis=0)
            best[outs] = cost[outs] + total[choice, np.arange(len(outs))]
            back[outs] = ins[choice]
    return best, back


def _chain(found: Candidates, joints: _Joints, order: list[int], closed: bool) -> Chain:
    corner = np.zeros(len(order), dtype=bool)
    for k in range(0 if closed else 1, len(order)):
        corner[k] = joints.is_corner(order[k - 1], order[k], int(found.first[order[k]]))
    return Chain(found.take(np.array(order)), corner)


def _closed(samples: Samples, found: Candidates, joints: _Joints, price: float) -> Chain:
    """Go round twice from anywhere; a joint used in the middle is a good place to cut for the real lap."""
    count = len(samples.places)
    cost = _own_costs(found, price)
    laps = _Laps(joints, found, cost, count)
    nodes = sorted(joints.cost)
    positions = [node + lap * count for lap in (0, 1) for node in nodes]
    positions.append(nodes[0] + 2 * count)
    laps.run(positions, None)
    used = laps.follow(positions[-1])
    middle = [k for k in range(1, len(used)) if count // 2 <= used[k][0] < 3 * count // 2]
    if not middle:
        return _chain(found, joints, [used[-1][1]], True)
    # Prefer a corner for the cut: nothing is tied across it.
    cut = next((k for k in middle if joints.is_corner(used[k - 1][1], used[k][1], used[k][0] % count)), middle[0])
    node = used[cut][0] % count
    around = [n + lap * count for lap in (0, 1) for n in nodes]
    laps.run([p for p in around if node <= p < node + count], used[cut - 1][1])
    return _chain(found, joints, [run for _, run in laps.follow(node + count)], True)


class _Laps:
    """Cheapest chains on a closed boundary unrolled over laps: a run has a number and the lap it starts in."""

    def __init__(self, joints: _Joints, found: Candidates, cost: Floats, count: int) -> None:
        self.joints, self.found, self.cost, self.count = joints, found, cost, count
        self.wraps = (found.last >= count).astype(int)

    def run(self, positions: list[int], before: int | None) -> None:
        """Fill the table over unrolled positions; the first run follows `before`, where that is known."""
        self.best = np.full((3, len(self.cost)), np.inf)
        self.back = np.full((3, len(self.cost)), -1, dtype=int)
        for position in positions:
            lap, node = divmod(position, self.count)
            ins, outs, table = self.joints.incoming[node], self.joints.outgoing[node], self.joints.cost[node]
            if position == positions[0]:
                self.best[lap, outs] = self.cost[outs]
                if before is not None:
                    self.best[lap, outs] += table[int(np.searchsorted(ins, before))]
                continue
            total = self._arriving(ins, lap)[:, None] + table
            choice = np.argmin(total, axis=0)
            self.best[lap, outs] = self.cost[outs] + total[choice, np.arange(len(outs))]
            self.back[lap, outs] = ins[choice]

    def _arriving(self, ins: Indices, lap: int) -> Floats:
        begun = lap - self.wraps[ins]
        return np.where(begun >= 0, self.best[begun, ins], np.inf)

    def follow(self, position: int) -> list[tuple[int, int]]:
        """Runs of the cheapest chain that ends at `position`, each with the position it starts at."""
        lap, node = divmod(position, self.count)
        ins = self.joints.incoming[node]
        run = int(ins[np.argmin(self._arriving(ins, lap))])
        chain = []
        while run >= 0:
            lap -= int(self.wraps[run])
            chain.append((int(self.found.first[run]) + lap * self.count, run))
            run = int(self.back[lap, run]) if np.isfinite(self.best[lap, run]) else -1
        return chain[::-1]
