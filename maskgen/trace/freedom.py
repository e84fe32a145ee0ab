"""What may move when curves are refined: nodes, tangents, handle lengths; and how control points follow.

Every segment is a cubic here (a line has its control points at thirds). A node moves in both directions, on the canvas
edge only along it. Where two segments meet smoothly their handles share one direction; where one of them is a line,
the cubic's handle follows it; at a corner handles are free.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix

from maskgen.model.paths import Cubic, Line, Point, Segment
from maskgen.trace.assemble import Curve

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SMOOTH_DEGREES = 6.0
"""Handles that turn less than this at a joint share their direction."""
LEAST_HANDLE_PX = 0.05
"""Handles shorter than this have no direction of their own."""
NODE_PRIOR_PX, TURN_PRIOR, LENGTH_PRIOR = 0.5, 0.15, 0.3
"""How far parameters are expected to move: nodes (px), directions (radians), handles (share of their length)."""

MOST_PRIORS = 3.0
"""Nothing moves further than this many times its expectation: a run without evidence could go anywhere."""


@dataclass(frozen=True, slots=True, eq=False)
class _Handles:
    """Handles of one kind: rows of segment, end (0 or 1), and the parameters they depend on."""

    segment: Ints
    end: Ints
    first: Ints
    second: Ints
    sign: Floats


class Freedom:
    """The parameters of a set of chains of segments, as one vector.

    Attributes
    ----------
    values : (p,)
        The parameters: node coordinates first.
    prior : (p,)
        Expected movement of each (standard deviation).
    nodes : (s, 2)
        Node numbers of the start and end of every segment.
    """

    def __init__(self, chains: Sequence[Curve], ends: Sequence[tuple[int, int]], size: Point) -> None:
        self.chains = [len(chain) for chain in chains]
        segments = [s for chain in chains for s in chain]
        self.straight = np.array([isinstance(s, Line) for s in segments])
        control = np.array([_control(s) for s in segments], dtype=np.float64).reshape(-1, 4, 2)
        places, self.nodes, joints = _number_nodes(chains, ends)
        self.node_count = len(places)
        self._values: list[float] = [float(v) for place in places for v in place]
        self._prior: list[float] = [NODE_PRIOR_PX] * len(self._values)
        limits = np.array(size)
        on_edge = (np.abs(places) < 1e-9) | (np.abs(places - limits) < 1e-9)
        self.fixed = on_edge.ravel()
        self._free: list[tuple[int, int, int, int, float]] = []
        self._shared: list[tuple[int, int, int, int, float]] = []
        self._along: list[tuple[int, int, int, int, float]] = []
        handled: set[tuple[int, int]] = set()
        for before, after in joints:
            self._join(control, before, after, handled)
        for number in np.flatnonzero(~self.straight).tolist():
            for end in (0, 1):
                if (number, end) not in handled:
                    self._add_free(control, number, end)
        self.values = np.array(self._values)
        self.prior = np.array(self._prior)
        self.fixed = np.concatenate([self.fixed, np.zeros(len(self.values) - len(self.fixed), dtype=bool)])
        self.free, self.shared, self.along = (_handles(rows) for rows in (self._free, self._shared, self._along))

    def _join(self, control: Floats, before: int, after: int, handled: set[tuple[int, int]]) -> None:
        into, out = control[before, 3] - control[before, 2], control[after, 1] - control[after, 0]
        a, b = float(np.hypot(*into)), float(np.hypot(*out))
        if min(a, b) < LEAST_HANDLE_PX or (self.straight[before] and self.straight[after]):
            return
        turn = abs(float(np.arctan2(into[0] * out[1] - into[1] * out[0], into @ out)))
        if turn > np.radians(SMOOTH_DEGREES):
            return
        if self.straight[before]:
            length = self._add(b, LENGTH_PRIOR * b)
            self._along.append((after, 0, length, before, 1.0))
            handled.add((after, 0))
        elif self.straight[after]:
            length = self._add(a, LENGTH_PRIOR * a)
            self._along.append((before, 1, length, after, -1.0))
            handled.add((before, 1))
        else:
            course = into / a * b + out / b * a
            angle = self._add(float(np.arctan2(course[1], course[0])), TURN_PRIOR)
            first, second = self._add(a, LENGTH_PRIOR * a), self._add(b, LENGTH_PRIOR * b)
            self._shared += [(before, 1, angle, first, -1.0), (after, 0, angle, second, 1.0)]
            handled |= {(before, 1), (after, 0)}

    def _add(self, value: float, prior: float) -> int:
        self._values.append(value)
        self._prior.append(max(prior, 1e-3))
        return len(self._values) - 1

    def _add_free(self, control: Floats, number: int, end: int) -> None:
        handle = control[number, 1] - control[number, 0] if end == 0 else control[number, 2] - control[number, 3]
        spread = max(LENGTH_PRIOR * float(np.hypot(*handle)), 0.1)
        x = self._add(float(handle[0]), spread)
        self._add(float(handle[1]), spread)
        self._free.append((number, end, x, x + 1, 1.0))

    def bounded(self, values: Floats) -> Floats:
        """Parameters kept within `MOST_PRIORS` of their start, lengths of handles above zero."""
        reach = MOST_PRIORS * self.prior
        return np.asarray(values.clip(self.values - reach, self.values + reach))

    def control(self, values: Floats) -> Floats:
        """Control points (s, 4, 2) for given parameters."""
        place = values[: 2 * self.node_count].reshape(-1, 2)
        start, end = place[self.nodes[:, 0]], place[self.nodes[:, 1]]
        control = np.stack([start, (2 * start + end) / 3, (start + 2 * end) / 3, end], axis=1)
        for handles, vector in (
            (self.free, np.stack([values[self.free.first], values[self.free.second]], axis=1)),
            (self.shared, self._shared_vectors(values)),
            (self.along, self._along_vectors(values, place)[0]),
        ):
            inner, outer = 1 + handles.end, 3 * handles.end
            control[handles.segment, inner] = control[handles.segment, outer] + vector
        return control

    def _shared_vectors(self, values: Floats) -> Floats:
        angle, length = values[self.shared.first], values[self.shared.second] * self.shared.sign
        return np.stack([length * np.cos(angle), length * np.sin(angle)], axis=1)

    def _along_vectors(self, values: Floats, place: Floats) -> tuple[Floats, Floats, Floats]:
        line = self.nodes[self.along.second]
        course = place[line[:, 1]] - place[line[:, 0]]
        length = np.maximum(np.hypot(course[:, 0], course[:, 1]), 1e-9)
        unit = course / length[:, None]
        return (values[self.along.first] * self.along.sign)[:, None] * unit, unit, length

    def slope(self, values: Floats) -> csr_matrix:
        """Derivatives of all control coordinates (segment, point, axis in row order) by the parameters."""
        place = values[: 2 * self.node_count].reshape(-1, 2)
        rows: list[NDArray[np.int64]] = []
        columns: list[NDArray[np.int64]] = []
        entries: list[Floats] = []

        def put(segment: Ints, point: Ints, axis: int, column: Ints, value: Floats) -> None:
            rows.append(segment * 8 + point * 2 + axis)
            columns.append(column)
            entries.append(np.broadcast_to(value, column.shape).astype(np.float64))

        number = np.arange(len(self.nodes))
        thirds = self.straight
        for axis in (0, 1):
            first, last = 2 * self.nodes[:, 0] + axis, 2 * self.nodes[:, 1] + axis
            one = np.ones(len(number))
            put(number, 0 * number, axis, first, one)
            put(number, 0 * number + 3, axis, last, one)
            put(number, 0 * number + 1, axis, first, np.where(thirds, 2 / 3, 1.0))
            put(number, 0 * number + 2, axis, last, np.where(thirds, 2 / 3, 1.0))
            put(number[thirds], 0 * number[thirds] + 1, axis, last[thirds], np.full(thirds.sum(), 1 / 3))
            put(number[thirds], 0 * number[thirds] + 2, axis, first[thirds], np.full(thirds.sum(), 1 / 3))
            put(self.free.segment, 1 + self.free.end, axis, (self.free.first, self.free.second)[axis], self.free.sign)
            angle = values[self.shared.first]
            length = values[self.shared.second] * self.shared.sign
            turn = (-np.sin(angle), np.cos(angle))[axis] * length
            stretch = (np.cos(angle), np.sin(angle))[axis] * self.shared.sign
            put(self.shared.segment, 1 + self.shared.end, axis, self.shared.first, turn)
            put(self.shared.segment, 1 + self.shared.end, axis, self.shared.second, stretch)
            _, unit, reach = self._along_vectors(values, place)
            inner = 1 + self.along.end
            put(self.along.segment, inner, axis, self.along.first, unit[:, axis] * self.along.sign)
            line = self.nodes[self.along.second]
            lever = values[self.along.first] * self.along.sign / reach
            for other in (0, 1):
                turned = lever * (float(axis == other) - unit[:, axis] * unit[:, other])
                put(self.along.segment, inner, axis, 2 * line[:, 1] + other, turned)
                put(self.along.segment, inner, axis, 2 * line[:, 0] + other, -turned)
        shape = (8 * len(self.nodes), len(values))
        made = coo_matrix((np.concatenate(entries), (np.concatenate(rows), np.concatenate(columns))), shape=shape)
        return made.tocsr()

    def curves(self, values: Floats) -> list[Curve]:
        """Give the chains back as lines and cubics."""
        control = self.control(values)
        made, number = [], 0
        for count in self.chains:
            chain: list[Segment] = []
            for p, straight in zip(
                control[number : number + count], self.straight[number : number + count], strict=True
            ):
                a, b, c, d = ((float(x), float(y)) for x, y in p)
                chain.append(Line(a, d) if straight else Cubic(a, b, c, d))
            made.append(tuple(chain))
            number += count
        return made


def _control(segment: Segment) -> tuple[Point, Point, Point, Point]:
    if isinstance(segment, Cubic):
        return segment.start, segment.control1, segment.control2, segment.end
    (x0, y0), (x1, y1) = segment.start, segment.end
    return (x0, y0), ((2 * x0 + x1) / 3, (2 * y0 + y1) / 3), ((x0 + 2 * x1) / 3, (y0 + 2 * y1) / 3), (x1, y1)


def _handles(rows: list[tuple[int, int, int, int, float]]) -> _Handles:
    table = np.array(rows, dtype=np.float64).reshape(-1, 5)
    segment, end, first, second = (table[:, k].astype(np.int64) for k in range(4))
    return _Handles(segment, end, first, second, table[:, 4])


def _number_nodes(
    chains: Sequence[Curve], ends: Sequence[tuple[int, int]]
) -> tuple[Floats, Ints, list[tuple[int, int]]]:
    """Give node places, node numbers of every segment, and the pairs of segments that follow each other.

    Ends are junction numbers, -1 for a closed chain: chains that end at one junction share its node.
    """
    places: list[Point] = []
    nodes: list[tuple[int, int]] = []
    joints: list[tuple[int, int]] = []
    shared: dict[int, int] = {}

    def node(place: Point) -> int:
        places.append(place)
        return len(places) - 1

    def end_node(junction: int, place: Point) -> int:
        if junction not in shared:
            shared[junction] = node(place)
        return shared[junction]

    for chain, (start, end) in zip(chains, ends, strict=True):
        first = len(nodes)
        here = opening = node(chain[0].start) if start < 0 else end_node(start, chain[0].start)
        for k, segment in enumerate(chain):
            if k < len(chain) - 1:
                there = node(segment.end)
                joints.append((first + k, first + k + 1))
            else:
                there = opening if end < 0 else end_node(end, segment.end)
            nodes.append((here, there))
            here = there
        if start < 0 and len(chain) > 1:
            joints.append((first + len(chain) - 1, first))
    return np.array(places, dtype=np.float64).reshape(-1, 2), np.array(nodes, dtype=np.int64).reshape(-1, 2), joints
