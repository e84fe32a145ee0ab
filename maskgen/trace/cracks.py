"""Label map to crack graph: the boundaries between labels, each once, and the faces they close.

Pixels are unit squares, pixel (0, 0) covering [0, 1] x [0, 1], y down. A crack is a unit edge between two pixels of
different label, or between a pixel and the outside of the canvas. An arc is a chain of cracks between two junctions
(where three or more labels meet, and the canvas corners), or a closed chain. Walked along its points, an arc has
its `inside` label on the right hand as seen (y down), `outside` on the left; a ring walked with a face inside has
positive signed area when it is the face's outer boundary.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from skimage.measure import label as label_components

OFF_CANVAS = -1
"""The label of what lies outside the canvas."""

Labels = NDArray[np.int16]
Ints = NDArray[np.int64]

DiagonalChoice = Callable[[Ints, Ints], NDArray[np.bool_]]
"""Given rows and columns of lattice points whose four pixels form a diagonal: does the north-west pixel join the
south-east one (True), or the north-east the south-west (False)."""


@dataclass(frozen=True, slots=True, eq=False)
class Arc:
    """One boundary: `points` is (n + 1, 2) lattice points (x, y), the first repeated at the end of a closed arc.

    `start` and `end` are junction numbers, -1 for a closed arc.
    """

    points: Ints
    inside: int
    outside: int
    start: int
    end: int

    @property
    def closed(self) -> bool:
        """Whether the arc meets no junction."""
        return self.start < 0

    @property
    def on_border(self) -> bool:
        """Whether the arc runs along the edge of the canvas."""
        return self.inside == OFF_CANVAS or self.outside == OFF_CANVAS


@dataclass(frozen=True, slots=True)
class Side:
    """One arc as a ring walks it."""

    arc: int
    forward: bool


@dataclass(frozen=True, slots=True)
class Face:
    """One connected piece of a label: rings of arc sides, the outer boundary first."""

    label: int
    rings: tuple[tuple[Side, ...], ...]


@dataclass(frozen=True, slots=True, eq=False)
class CrackGraph:
    """All boundaries of a label map. `junctions` is (k, 2) lattice points (x, y)."""

    width: int
    height: int
    arcs: tuple[Arc, ...]
    junctions: Ints
    faces: tuple[Face, ...]


def commoner_gives_way(labels: Labels) -> DiagonalChoice:
    """Choose so that the rarer label stays connected over a diagonal; ties go to the higher label."""
    count = np.bincount(labels.ravel())

    def choose(rows: Ints, columns: Ints) -> NDArray[np.bool_]:
        falling, rising = labels[rows - 1, columns - 1], labels[rows - 1, columns]
        rarer = count[falling] < count[rising]
        tied = (count[falling] == count[rising]) & (falling > rising)
        return np.asarray(rarer | tied)

    return choose


def crack_graph(labels: NDArray[np.integer], *, joins_falling: DiagonalChoice | None = None) -> CrackGraph:
    """Trace every boundary of a label map.

    Parameters
    ----------
    labels
        (height, width) labels, 0 or more.
    joins_falling
        How diagonals of two equal pixels are decided; by default the rarer label stays connected.

    Returns
    -------
    CrackGraph
        Each crack lies in exactly one arc; each pixel in exactly one face.
    """
    numbers: Labels = np.ascontiguousarray(labels, dtype=np.int16)
    half = _HalfEdges(numbers)
    joined = half.link(joins_falling or commoner_gives_way(numbers), numbers.shape[1])
    arcs, first_half = _walk(half)
    faces = _faces(arcs, first_half, half, _components(numbers, joined))
    height, width = numbers.shape
    return CrackGraph(width, height, tuple(arcs), half.junctions, faces)


class _HalfEdges:
    """The cracks as directed half edges: 2 e runs east or south along crack e, 2 e + 1 runs back."""

    def __init__(self, labels: Labels) -> None:
        height, width = labels.shape
        padded = np.full((height + 2, width + 2), OFF_CANVAS, dtype=np.int16)
        padded[1:-1, 1:-1] = labels
        self.padded = padded
        across = padded[1:, 1:-1] != padded[:-1, 1:-1]  # (h + 1, w): crack from (x, y) to (x + 1, y)
        down = padded[1:-1, 1:] != padded[1:-1, :-1]  # (h, w + 1): crack from (x, y) to (x, y + 1)
        ay, ax = np.nonzero(across)
        dy, dx = np.nonzero(down)
        self.count = len(ay) + len(dy)
        self.x = np.concatenate([ax, dx])
        self.y = np.concatenate([ay, dy])
        self.vertical = np.arange(self.count) >= len(ay)
        # forward: inside lies south of a crack running east, west of one running south
        self.inside = np.concatenate([padded[ay + 1, ax + 1], padded[dy + 1, dx]])
        self.outside = np.concatenate([padded[ay, ax + 1], padded[dy + 1, dx + 1]])
        self.east = np.full((height + 1, width + 2), -1, dtype=np.int32)  # [y, x + 1]: crack leaving (x, y) to the east
        self.south = np.full((height + 2, width + 1), -1, dtype=np.int32)  # [y + 1, x]: crack leaving (x, y) south
        self.east[ay, ax + 1] = np.arange(len(ay))
        self.south[dy + 1, dx] = np.arange(len(ay), self.count)
        self.junctions = np.zeros((0, 2), dtype=np.int64)
        self.next = np.full(2 * self.count, -1, dtype=np.int64)
        self.face_next = np.full(2 * self.count, -1, dtype=np.int64)
        self.head_junction = np.full(2 * self.count, -1, dtype=np.int64)

    def link(self, joins_falling: DiagonalChoice, width: int) -> Ints:
        """Fill `next`, `face_next` and `junctions`; give (m, 2) flat pixel numbers joined over a diagonal."""
        height = self.padded.shape[0] - 2
        present = (self.east[:, 1:] >= 0) | (self.east[:, :-1] >= 0) | (self.south[1:] >= 0) | (self.south[:-1] >= 0)
        y, x = np.nonzero(present)
        # sides clockwise as seen: east, south, west, north
        edge = np.stack([self.east[y, x + 1], self.south[y + 1, x], self.east[y, x], self.south[y, x]]).astype(np.int64)
        there = edge >= 0
        leaving = np.where(there, 2 * edge + np.array([[0], [0], [1], [1]]), -1)
        entering = np.where(there, leaving ^ 1, -1)
        degree = there.sum(axis=0)
        nw, ne = self.padded[y, x], self.padded[y, x + 1]
        sw, se = self.padded[y + 1, x], self.padded[y + 1, x + 1]
        falling, rising = nw == se, ne == sw
        full = degree == 4
        both = full & falling & rising
        join_falling = full & falling & ~rising
        join_rising = full & rising & ~falling
        chosen = np.zeros(len(x), dtype=bool)
        if both.any():
            chosen[both] = joins_falling(y[both], x[both])
        join_falling |= both & chosen
        join_rising |= both & ~chosen
        corner = ((x == 0) | (x == width)) & ((y == 0) | (y == height))
        junction = corner | (degree == 3) | (full & ~join_falling & ~join_rising)
        number = np.cumsum(junction) - 1
        self.junctions = np.stack([x[junction], y[junction]], axis=1)
        for side in range(4):
            follow = np.full(len(x), -1, dtype=np.int64)
            for turn in (3, 2, 1):  # the last to write is the sharpest turn towards the inside
                other = leaving[(side - turn) % 4]
                follow = np.where(other >= 0, other, follow)
            follow = np.where(join_falling, leaving[(3, 2, 1, 0)[side]], follow)
            follow = np.where(join_rising, leaving[(1, 0, 3, 2)[side]], follow)
            use = there[side]
            half = entering[side][use]
            self.face_next[half] = follow[use]
            self.next[half] = np.where(junction[use], -1, follow[use])
            self.head_junction[half] = np.where(junction[use], number[use], -1)
        pairs = [
            np.stack([(y - 1) * width + x - 1, y * width + x], axis=1)[join_falling],
            np.stack([(y - 1) * width + x, y * width + x - 1], axis=1)[join_rising],
        ]
        return np.concatenate(pairs)

    def tails(self, halves: Ints) -> Ints:
        """Give the lattice points (n, 2) at which half edges start."""
        edge, back = halves >> 1, (halves & 1).astype(bool)
        vertical = self.vertical[edge]
        return np.stack([self.x[edge] + (back & ~vertical), self.y[edge] + (back & vertical)], axis=1)


def _walk(half: _HalfEdges) -> tuple[list[Arc], list[int]]:
    """Give the arcs, and the first half edge of each."""
    follow = half.next.tolist()
    seen = bytearray(half.count)
    chains: list[list[int]] = []
    leaving = half.face_next[half.head_junction >= 0]
    starts = sorted(set(leaving.tolist()))
    for start in (*starts, *range(0, 2 * half.count, 2)):
        if seen[start >> 1]:
            continue
        chain = [start]
        seen[start >> 1] = 1
        step = follow[start]
        while step >= 0 and step != start:
            chain.append(step)
            seen[step >> 1] = 1
            step = follow[step]
        chains.append(chain)
    arcs = [_arc(half, np.array(chain, dtype=np.int64)) for chain in chains]
    return arcs, [chain[0] for chain in chains]


def _arc(half: _HalfEdges, chain: Ints) -> Arc:
    first, last = int(chain[0]), int(chain[-1])
    edge, back = first >> 1, first & 1
    inside, outside = int(half.inside[edge]), int(half.outside[edge])
    if back:
        inside, outside = outside, inside
    start, end = int(half.head_junction[first ^ 1]), int(half.head_junction[last])
    points = np.concatenate([half.tails(chain), half.tails(chain[-1:] ^ 1)])
    return Arc(points, inside, outside, start, end)


def _components(labels: Labels, joined: Ints) -> Ints:
    """Number the connected pieces, (height, width); pixels joined over a diagonal are one piece."""
    found = label_components(labels, background=-1, connectivity=1)  # type: ignore[no-untyped-call]
    pieces: Ints = found.astype(np.int64) - 1
    if not len(joined):
        return pieces
    flat = pieces.ravel()
    count = int(flat.max()) + 1
    links = coo_matrix((np.ones(len(joined)), (flat[joined[:, 0]], flat[joined[:, 1]])), shape=(count, count))
    _, merged = connected_components(links, directed=False)
    renumbered: Ints = np.asarray(merged, dtype=np.int64)[pieces]
    return renumbered


def _faces(arcs: list[Arc], first_half: list[int], half: _HalfEdges, components: Ints) -> tuple[Face, ...]:
    side_of: dict[int, Side] = {}  # by the half edge a side starts with
    ends: dict[Side, int] = {}  # the half edge a side ends with
    for number, (arc, first) in enumerate(zip(arcs, first_half, strict=True)):
        last = _last_half(half, arc)
        forward, backward = Side(number, True), Side(number, False)
        side_of[first], side_of[last ^ 1] = forward, backward
        ends[forward], ends[backward] = last, first ^ 1
    rings: dict[int, list[tuple[float, tuple[Side, ...]]]] = {}
    seen: set[Side] = set()
    for first_side in side_of.values():
        arc = arcs[first_side.arc]
        label = arc.inside if first_side.forward else arc.outside
        if first_side in seen or label == OFF_CANVAS:
            continue
        ring = []
        side = first_side
        while side not in seen:
            seen.add(side)
            ring.append(side)
            if not arcs[side.arc].closed:
                side = side_of[int(half.face_next[ends[side]])]
        piece = components[_pixel_inside(arc, first_side.forward)]
        rings.setdefault(int(piece), []).append((_lattice_area(arcs, ring), tuple(ring)))
    faces = []
    for piece in sorted(rings):
        ordered = sorted(rings[piece], key=lambda item: -item[0])
        lead = ordered[0][1][0]
        label = arcs[lead.arc].inside if lead.forward else arcs[lead.arc].outside
        faces.append(Face(label, tuple(ring for _, ring in ordered)))
    return tuple(faces)


def _last_half(half: _HalfEdges, arc: Arc) -> int:
    (x0, y0), (x1, y1) = arc.points[-2].tolist(), arc.points[-1].tolist()
    if y0 == y1:
        return 2 * int(half.east[y0, min(x0, x1) + 1]) + int(x1 < x0)
    return 2 * int(half.south[min(y0, y1) + 1, x0]) + int(y1 < y0)


def _pixel_inside(arc: Arc, forward: bool) -> tuple[int, int]:
    """Row and column of the pixel on the right hand of a side's first crack (walked from the arc's start)."""
    (x0, y0), (x1, y1) = arc.points[0].tolist(), arc.points[1].tolist()
    if not forward:
        (x0, y0), (x1, y1) = (x1, y1), (x0, y0)
    if y0 == y1:
        return (y0, x0) if x1 > x0 else (y0 - 1, x1)
    return (y0, x0 - 1) if y1 > y0 else (y1, x0)


def _lattice_area(arcs: list[Arc], ring: list[Side]) -> float:
    total = 0.0
    for side in ring:
        x, y = arcs[side.arc].points.T
        area = 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
        total += area if side.forward else -area
    return total
