"""Arcs joined through junctions into strands: an edge that runs on where a third boundary ends on it stays one curve.

At a junction two of the arcs may continue each other smoothly (the outline of a stroke, on which the border between two
fills ends). Such a pair is fitted as one run, so that the edge is as straight or as smooth as it was drawn; the
junction is then a place on the strand, and the third arc ends there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from maskgen.trace.cracks import CrackGraph, Side
from maskgen.trace.evidence import Evidence

Floats = NDArray[np.float64]

THROUGH_DEGREES = 28.0
"""Largest turn at which two arcs count as one edge running on; sharper turns are corners of the drawing."""
NEAR_PX, FAR_PX = 1.3, 7.0
"""The part of an arc, by distance from its junction, from which its course there is taken: closer in, three colours
share the pixels."""
BEND_PRIOR = 0.05
"""Expected curvature per px: keeps the extrapolation of a few noisy points nearly straight."""
STRAY_PX = 1.5
"""A junction stays this close to the lattice point where its labels meet."""


@dataclass(frozen=True, slots=True, eq=False)
class Approach:
    """Course of an arc near its end: place and unit direction (away from the junction), and the spread of the fit."""

    side: Side
    origin: Floats
    outward: Floats
    bend: float
    sure: bool


@dataclass(slots=True, eq=False)
class Strand:
    """Arc sides in walking order; `closed` when the last runs on into the first. Ends are junction numbers or -1."""

    sides: list[Side] = field(default_factory=list)
    closed: bool = False


def side_evidence(evidence: Sequence[Evidence | None], side: Side) -> tuple[Floats, Floats]:
    """Points and sigmas of an arc as a side walks it."""
    found = evidence[side.arc]
    assert found is not None
    if side.forward:
        return found.points, found.sigma
    return found.points[::-1], found.sigma[::-1]


def leaving_sides(graph: CrackGraph) -> list[list[Side]]:
    """For each junction, the sides that start there."""
    leaving: list[list[Side]] = [[] for _ in graph.junctions]
    for number, arc in enumerate(graph.arcs):
        if not arc.closed:
            leaving[arc.start].append(Side(number, True))
            leaving[arc.end].append(Side(number, False))
    return leaving


def approach(side: Side, points: Floats, sigma: Floats, junction: Floats, far_end: Floats) -> Approach:
    """Fit the course of an arc where it leaves a junction."""
    apart = np.hypot(*(points - junction).T)
    beyond = np.flatnonzero(apart > FAR_PX)
    near = np.arange(len(points)) < (beyond[0] if len(beyond) else len(points))
    use = near & (apart > NEAR_PX)
    if use.sum() < 2:
        target = points[use][0] if use.any() else far_end
        course = target - junction
        length = float(np.hypot(*course))
        outward = course / length if length > 0 else np.array([1.0, 0.0])
        return Approach(side, junction.astype(np.float64), outward, 0.0, False)
    chosen, weight = points[use], 1.0 / np.maximum(sigma[use], 0.02)
    axis = chosen[-1] - chosen[0] if use.sum() > 2 else chosen.mean(axis=0) - junction
    axis = axis / max(float(np.hypot(*axis)), 1e-9)
    square = np.array([-axis[1], axis[0]])
    u, v = (chosen - junction) @ axis, (chosen - junction) @ square
    rows = np.stack([np.ones_like(u), u, u * u], axis=1) * weight[:, None]
    prior = np.array([[0.0, 0.0, 1.0 / (BEND_PRIOR / 2)]])
    solved = np.linalg.lstsq(np.vstack([rows, prior]), np.append(v * weight, 0.0), rcond=None)[0]
    outward = axis + solved[1] * square
    outward = outward / np.hypot(*outward)
    return Approach(side, junction + solved[0] * square, outward, 2.0 * float(solved[2]), True)


def pair_through(approaches: Sequence[Approach]) -> list[tuple[Side, Side]]:
    """Pairs of arcs at a junction that run on into each other, straightest first."""
    turns = []
    for i, a in enumerate(approaches):
        for b in approaches[i + 1 :]:
            if a.side.arc == b.side.arc:
                continue
            turn = float(np.degrees(np.arccos(np.clip(-(a.outward @ b.outward), -1.0, 1.0))))
            across = abs(float(a.outward[0] * (b.origin - a.origin)[1] - a.outward[1] * (b.origin - a.origin)[0]))
            limit = THROUGH_DEGREES if a.sure and b.sure else 0.5 * THROUGH_DEGREES
            if turn < limit and across < 1.0:
                turns.append((turn, a.side, b.side))
    taken: set[Side] = set()
    pairs = []
    for _, first, second in sorted(turns, key=lambda t: (t[0], t[1].arc, t[2].arc)):
        if first not in taken and second not in taken:
            pairs.append((first, second))
            taken |= {first, second}
    return pairs


def meeting_point(approaches: Sequence[Approach], junction: Floats) -> Floats:
    """Place nearest to all the courses, kept near the lattice point."""
    normal = np.zeros((2, 2))
    right = np.zeros(2)
    for a in approaches:
        square = np.array([-a.outward[1], a.outward[0]])
        weight = 1.0 if a.sure else 0.05
        normal += weight * np.outer(square, square)
        right += weight * square * float(square @ (a.origin - junction))
    place = np.linalg.solve(normal + 0.02 * np.eye(2), right)
    stray = float(np.hypot(*place))
    if stray > STRAY_PX:
        place *= STRAY_PX / stray
    return np.asarray(junction + place)


def join(graph: CrackGraph, pairs: Sequence[tuple[Side, Side]]) -> list[Strand]:
    """Chain the arcs into strands along the pairs; arcs on the canvas edge are left out."""
    follow: dict[Side, Side] = {}
    for first, second in pairs:  # both leave the junction; arriving is the reverse of leaving
        follow[Side(first.arc, not first.forward)] = second
        follow[Side(second.arc, not second.forward)] = first
    before = {after: side for side, after in follow.items()}
    strands = []
    seen: set[int] = set()
    for number, arc in enumerate(graph.arcs):
        if arc.on_border or number in seen:
            continue
        first = Side(number, True)
        if arc.closed:
            strands.append(Strand([first], True))
            seen.add(number)
            continue
        side, closed = first, False
        while side in before:
            side = before[side]
            if side == first:
                closed = True
                break
        chain = [side]
        while (after := follow.get(chain[-1])) is not None and after != chain[0]:
            chain.append(after)
        strands.append(Strand(chain, closed))
        seen |= {s.arc for s in chain}
    return strands
