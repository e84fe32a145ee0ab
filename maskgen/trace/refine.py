"""All curves moved together until the picture they would make is the picture given.

Analysis by synthesis: the exact area coverage of the current curves is painted and compared with the pixels along the
boundaries. Where a boundary moves by d along its outward normal, a pixel changes by d times the length of boundary in
it times the difference of the two colours; chained with the movement of control points this gives the Jacobian of a
Gauss-Newton step over every node, tangent and handle at once. So a corner's place and a cubic's shape come from all
pixels near them, two edges that share pixels are told apart, and three colours at a junction are weighed together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csc_matrix, diags
from scipy.sparse.linalg import splu
from scipy.stats import norm

from maskgen.model.artwork import FlatPicture
from maskgen.trace.cracks import CrackGraph
from maskgen.trace.curves import Course, Cut
from maskgen.trace.evidence import palette_colours, premultiplied
from maskgen.trace.freedom import Freedom
from maskgen.trace.synthesis import bernstein, chords, paint

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CHORD_PX = 0.002
"""Chord error of the painted curves: its bias stays under a tenth of the error aimed at."""
SAMPLE_PX = 0.5
"""Longest chord: two samples of the boundary in a pixel are enough for the Jacobian."""
ASIDE_PX = 0.1
"""Samples are taken this far to either side in turn, so that an edge along a pixel's side sees both its pixels."""
BOX_BLUR_PX = 12.0**-0.5
"""Standard deviation of exact area coverage itself, which the estimate of the edge blur includes."""
LEAST_BLUR_PX = 0.15
"""Blur beyond area coverage that is worth reckoning with."""
LEAST_NOISE = 0.0025
"""Standard deviation of a pixel, of 0 to 1: rounding to 8 bits and the renderer's own geometry."""
TIE_PX = 0.01
"""How closely a boundary that ends on another is kept to it while both move."""
OUTLIER = 4.0
"""Residuals past this many deviations weigh less and less (Cauchy)."""
STRICTNESS = (0.95, 0.9, 0.8, 0.5, 0.5)
"""Share of the pixels taken to be explained already, round by round: what is far off at first is not given up."""

LARGE_PX2 = 1_000_000
"""In pictures of more pixels the first fit is close already, in pixels' terms: the last rounds are enough."""


@dataclass(frozen=True, slots=True, eq=False)
class Misfit:
    """Squared difference between the picture some courses make and the one given; standard deviation of a pixel."""

    square: Floats
    noise: float

    def near(self, spots: Floats, reach: float) -> list[float]:
        """Sum within `reach` px of each spot, in rows and in columns."""
        found = []
        for x, y in spots:
            rows = slice(max(int(y - reach), 0), int(y + reach) + 1)
            columns = slice(max(int(x - reach), 0), int(x + reach) + 1)
            found.append(float(self.square[rows, columns].sum()))
        return found


def refine(
    flat: FlatPicture, graph: CrackGraph, courses: Sequence[Course], places: Floats
) -> tuple[list[Course], Floats]:
    """Give the courses and junction places moved to explain the picture best; segments and joints stay as they are."""
    if not courses:
        return list(courses), places
    rounds = STRICTNESS if graph.width * graph.height < LARGE_PX2 else STRICTNESS[-3:]
    moved, places, _ = settled(flat, graph, courses, places, rounds)
    return moved, places


def settled(
    flat: FlatPicture, graph: CrackGraph, courses: Sequence[Course], places: Floats, rounds: Sequence[float]
) -> tuple[list[Course], Floats, Misfit]:
    """Refine in rounds, each taking such a share of the pixels to be explained already; give the misfit left as well.

    Parameters
    ----------
    courses
        One at least.
    rounds
        None to look only; the last of `STRICTNESS` where the courses are nearly right already.
    """
    model = _Model(flat, graph, courses, places)
    state = model.look(model.freedom.values)
    for strictness in rounds:
        noise = model.noise(state, strictness)
        step = model.step(state, noise)
        before = model.cost(state, noise)
        for shorter in (1.0, 0.4, 0.1):
            tried = model.look(model.freedom.bounded(state.values + shorter * step))
            after = model.cost(tried, noise)
            if after < before:
                break
        else:
            continue
        state = tried
    moved, places = model.courses_of(state)
    square = np.sum(state.residual**2, axis=2)
    return moved, places, Misfit(square, model.noise(state, STRICTNESS[-1]))


@dataclass(slots=True, eq=False)
class _State:
    """Curves at given parameters, and how far the picture they make is from the one given."""

    values: Floats
    control: Floats
    cuts: Floats  # parameter of every cut, as segment number + t
    residual: Floats  # (height, width, c)
    cells: Ints  # pixels near boundaries


class _Model:
    def __init__(self, flat: FlatPicture, graph: CrackGraph, courses: Sequence[Course], places: Floats) -> None:
        self.graph, self.given, self.places = graph, courses, places
        self.size = (float(graph.width), float(graph.height))
        colours = palette_colours(flat.palette)
        basis = _span(colours)
        self.colours = colours @ basis
        self.seen = premultiplied(flat.picture.pixels).astype(np.float64) @ basis
        self.blur = float(np.sqrt(max(0.0, flat.edge_blur_px**2 - BOX_BLUR_PX**2)))
        self.freedom = Freedom([c.curve for c in courses], [(c.start, c.end) for c in courses], self.size)
        self.junction_node = {
            j: int(node)
            for c, (first, last) in zip(courses, _spans(courses), strict=True)
            if c.start >= 0
            for j, node in ((c.start, self.freedom.nodes[first, 0]), (c.end, self.freedom.nodes[last - 1, 1]))
        }
        self._index_cuts()
        self.edge_ends, self.edge_jump = self._canvas_edge()

    def _index_cuts(self) -> None:
        """Number the cuts, and say which arc lies between which."""
        cuts: list[float] = []
        junctions: list[int] = []
        low: list[int] = []
        high: list[int] = []
        starts: list[float] = []
        colour_in: list[int] = []
        colour_out: list[int] = []
        self.bounds: list[tuple[int, int]] = []
        for course, (first, last) in zip(self.given, _spans(self.given), strict=True):
            inner = course.cuts[:-1] if course.strand.closed else course.cuts
            self.bounds.append((len(cuts), len(cuts) + len(inner)))
            marks = [float(first), *(first + c.segment + c.t for c in inner)]
            for side, mark in zip(course.strand.sides, marks, strict=True):
                arc = self.graph.arcs[side.arc]
                inside, outside = (arc.inside, arc.outside) if side.forward else (arc.outside, arc.inside)
                starts.append(mark)
                colour_in.append(inside)
                colour_out.append(outside)
            for cut in inner:
                cuts.append(first + cut.segment + cut.t)
                junctions.append(cut.junction)
                low.append(first)
                high.append(last)
        self.cuts = np.array(cuts, dtype=np.float64)
        self.cut_junction = np.array(junctions, dtype=np.int64)
        self.cut_low, self.cut_high = np.array(low, dtype=np.int64), np.array(high, dtype=np.int64)
        starts_array = np.array(starts)
        self.is_cut = ~np.isin(np.arange(len(starts)), _first_of(self.given))
        self.arc_start = starts_array
        self.jump = self.colours[np.array(colour_out)] - self.colours[np.array(colour_in)]

    def _canvas_edge(self) -> tuple[list[tuple[int, int]], Floats]:
        """Junctions at the ends of the arcs along the canvas edge, and the jump of colour at each."""
        ends, jump = [], []
        nothing = np.zeros(self.colours.shape[1])
        for arc in self.graph.arcs:
            if arc.on_border:
                ends.append((arc.start, arc.end))
                inside = self.colours[arc.inside] if arc.inside >= 0 else nothing
                jump.append((self.colours[arc.outside] if arc.outside >= 0 else nothing) - inside)
        return ends, np.array(jump)

    def look(self, values: Floats) -> _State:
        """Paint the curves and compare."""
        control = self.freedom.control(values)
        place = values[: 2 * self.freedom.node_count].reshape(-1, 2)
        at = self._slide(control, place) if len(self.cuts) else self.cuts
        _, _, _, tail, head, jump = self._chords(control, at)
        junctions = self.places.copy()
        for junction, node in self.junction_node.items():
            junctions[junction] = place[node]
        edge = junctions[np.array(self.edge_ends)]
        made = paint(
            np.vstack([tail, edge[:, 0]]),
            np.vstack([head, edge[:, 1]]),
            np.vstack([jump, self.edge_jump]),
            width=self.graph.width,
            height=self.graph.height,
        )
        if self.blur > LEAST_BLUR_PX:
            blurred = cv2.GaussianBlur(made, (0, 0), self.blur, borderType=cv2.BORDER_REPLICATE)
            made = np.asarray(blurred, dtype=np.float64).reshape(made.shape)
        residual = self.seen - made
        middle = 0.5 * (tail + head)
        cells, _ = _numbered(self._cells(middle), self.graph.width * self.graph.height)
        return _State(values, control, at, residual, cells)

    def noise(self, state: _State, strictness: float) -> float:
        """Standard deviation of a pixel, from the residuals of the better explained ones."""
        misfit = np.abs(state.residual.reshape(-1, state.residual.shape[2])[state.cells])
        usual = float(np.quantile(misfit, strictness)) if misfit.size else 0.0
        return max(LEAST_NOISE, usual / float(norm.ppf(0.5 + 0.5 * strictness)))

    def _chords(self, control: Floats, cuts: Floats) -> tuple[Ints, Floats, Floats, Floats, Floats, Floats]:
        segment, start, end = chords(control, CHORD_PX, SAMPLE_PX, cuts)
        tail = np.einsum("nk,nkd->nd", bernstein(start), control[segment])
        head = np.einsum("nk,nkd->nd", bernstein(end), control[segment])
        starts = self.arc_start.copy()
        starts[self.is_cut] = cuts
        which = np.searchsorted(starts, segment + 0.5 * (start + end), side="right") - 1
        return segment, start, end, tail, head, self.jump[which]

    def _cells(self, places: Floats) -> Ints:
        column = np.floor(places[:, 0]).astype(np.int64).clip(0, self.graph.width - 1)
        row = np.floor(places[:, 1]).astype(np.int64).clip(0, self.graph.height - 1)
        return np.asarray(row * self.graph.width + column)

    def _slide(self, control: Floats, place: Floats) -> Floats:
        """Let every cut be the place on its strand nearest to its junction."""
        cuts = self.cuts.copy()
        target = np.array([
            place[self.junction_node[j]] if j in self.junction_node else self.places[j]
            for j in self.cut_junction.tolist()
        ])  # fmt: skip
        reach = np.linspace(-0.25, 0.25, 41)
        for _ in range(2):
            tries = (cuts[:, None] + reach).clip(self.cut_low[:, None], self.cut_high[:, None] - 1e-9)
            number = np.floor(tries).astype(np.int64)
            weights = bernstein((tries - number).ravel()).reshape(*tries.shape, 4)
            spots = np.einsum("mnk,mnkd->mnd", weights, control[number])
            apart = np.hypot(*(spots - target[:, None]).transpose(2, 0, 1))
            cuts = tries[np.arange(len(cuts)), np.argmin(apart, axis=1)]
            reach = reach / 20.0
        for first, last in self.bounds:  # cuts of one strand stay in order
            cuts[first:last] = np.maximum.accumulate(cuts[first:last])
        return cuts

    def cost(self, state: _State, noise: float) -> float:
        """Misfit of the picture and movement from the start, in squared deviations."""
        misfit = state.residual.reshape(-1, state.residual.shape[2])[state.cells] / noise
        square = np.sum(misfit**2, axis=1)
        moved = (state.values - self.freedom.values) / self.freedom.prior
        total = OUTLIER**2 * float(np.log1p(square / OUTLIER**2).sum()) + float(moved @ moved)
        gap, _ = self._ties(state)
        return total + float(np.sum((gap / TIE_PX) ** 2))

    def step(self, state: _State, noise: float) -> Floats:
        """One Gauss-Newton step."""
        segment, start, end, tail, head, jump = self._chords(state.control, state.cuts)
        middle, course = 0.5 * (tail + head), head - tail
        length = np.maximum(np.hypot(course[:, 0], course[:, 1]), 1e-12)
        aside = np.where(np.arange(len(segment)) % 2 == 0, ASIDE_PX, -ASIDE_PX)
        normal = np.stack([course[:, 1], -course[:, 0]], axis=1) / length[:, None]
        cell = self._cells(middle + aside[:, None] * normal)
        weights = bernstein(0.5 * (start + end))
        channels = jump.shape[1]
        # a boundary moving outwards (left as seen) by d changes its pixel by d x length x (inside - outside)
        lever = np.stack([-course[:, 1], course[:, 0]], axis=1)
        values = np.einsum("nc,nk,nd->nckd", jump, weights, lever)
        row = cell[:, None] * channels + np.arange(channels)
        column = np.broadcast_to((segment[:, None] * 8 + np.arange(8))[:, None], (len(segment), channels, 8)).ravel()
        pixels = self.graph.width * self.graph.height
        used, number = _numbered(row.ravel(), pixels * channels)
        packed = np.repeat(number, 8)
        shape = (len(used), 8 * len(state.control))
        pull = coo_matrix((values.ravel(), (packed, column)), shape=shape).tocsr()
        if self.blur > LEAST_BLUR_PX:
            spread, used = _spreading(used, channels, self.graph.width, pixels, self.blur)
            pull = spread @ pull
        residual = state.residual.reshape(-1)[used]
        square = np.zeros(pixels)
        np.add.at(square, used // channels, (residual / noise) ** 2)
        weight = 1.0 / (1.0 + square[used // channels] / OUTLIER**2) / noise**2
        slope = self.freedom.slope(state.values)
        jacobian = (pull @ slope).tocsr()
        gap, tie = self._ties(state)
        moved = state.values - self.freedom.values
        normal_matrix = jacobian.T @ diags(weight) @ jacobian + diags(1.0 / self.freedom.prior**2)
        right = jacobian.T @ (weight * residual) - moved / self.freedom.prior**2
        if len(gap):
            tied = (tie[0] @ slope - tie[1]).tocsr()
            normal_matrix = normal_matrix + tied.T @ tied / TIE_PX**2
            right = right - tied.T @ gap.ravel() / TIE_PX**2
        keep = np.flatnonzero(~self.freedom.fixed)
        solved = splu(csc_matrix(normal_matrix.tocsr()[keep][:, keep])).solve(right[keep])
        step = np.zeros(len(state.values))
        step[keep] = solved
        return step

    def _ties(self, state: _State) -> tuple[Floats, tuple[csc_matrix, csc_matrix]]:
        """Gap between every cut and the node that should lie on it, square to the strand, and its two slopes."""
        tied = [k for k, j in enumerate(self.cut_junction.tolist()) if j in self.junction_node]
        if not tied:
            return np.zeros(0), (csc_matrix((0, 0)), csc_matrix((0, 0)))
        at = state.cuts[tied]
        number = np.floor(at).astype(np.int64)
        t = at - number
        weights = bernstein(t)
        control = state.control[number]
        spot = np.einsum("nk,nkd->nd", weights, control)
        steps = np.diff(control, axis=1)
        s = 1 - t
        course = np.einsum("nk,nkd->nd", np.stack([s * s, 2 * s * t, t * t], axis=1), steps)
        course /= np.maximum(np.hypot(course[:, 0], course[:, 1]), 1e-9)[:, None]
        square = np.stack([-course[:, 1], course[:, 0]], axis=1)
        node = np.array([self.junction_node[int(self.cut_junction[k])] for k in tied])
        place = state.values[: 2 * self.freedom.node_count].reshape(-1, 2)[node]
        gap = np.sum(square * (spot - place), axis=1)
        rows = np.repeat(np.arange(len(tied)), 8)
        columns = (number[:, None] * 8 + np.arange(8)).ravel()
        values = np.einsum("nk,nd->nkd", weights, square).ravel()
        on_strand = csc_matrix((values, (rows, columns)), shape=(len(tied), 8 * len(state.control)))
        at_node = csc_matrix(
            (square.ravel(), (np.repeat(np.arange(len(tied)), 2), (2 * node[:, None] + np.arange(2)).ravel())),
            shape=(len(tied), len(state.values)),
        )
        return gap, (on_strand, at_node)

    def courses_of(self, state: _State) -> tuple[list[Course], Floats]:
        """Give the courses at a state."""
        places = self.places.copy()
        place = state.values[: 2 * self.freedom.node_count].reshape(-1, 2)
        for junction, node in self.junction_node.items():
            places[junction] = place[node]
        made = []
        curves = self.freedom.curves(state.values)
        for course, curve, (first, last), (low, _) in zip(
            self.given, curves, self.bounds, _spans(self.given), strict=True
        ):
            cuts = []
            for k in range(first, last):
                number = int(np.floor(state.cuts[k]))
                t = float(state.cuts[k] - number)
                cuts.append(Cut(int(self.cut_junction[k]), number - low, t))
                spot = bernstein(np.array([t]))[0] @ state.control[number]
                places[self.cut_junction[k]] = spot
            if course.strand.closed and course.cuts:
                cuts.append(Cut(course.cuts[-1].junction, len(curve) - 1, 1.0))
                places[course.cuts[-1].junction] = np.array(curve[-1].end)
            made.append(Course(course.strand, curve, cuts, course.start, course.end))
        return made, places


def _spans(courses: Sequence[Course]) -> list[tuple[int, int]]:
    return list(pairwise(np.cumsum([0, *(len(c.curve) for c in courses)]).tolist()))


def _first_of(courses: Sequence[Course]) -> Ints:
    sides = [len(c.strand.sides) for c in courses]
    return np.asarray(np.cumsum([0, *sides[:-1]]), dtype=np.int64)


def _span(colours: Floats) -> Floats:
    """Orthonormal axes (4, k) of the differences between colours."""
    _, size, axes = np.linalg.svd(colours - colours[0], full_matrices=False)
    return np.asarray(axes[size > 0.02].T) if np.any(size > 0.02) else np.asarray(axes[:1].T)


def _numbered(places: Ints, size: int) -> tuple[Ints, Ints]:
    """Give the different numbers below `size` among places, in order, and for each place the rank of its own."""
    there = np.zeros(size, dtype=bool)
    there[places] = True
    rank = np.cumsum(there) - 1
    return np.flatnonzero(there), rank[places]


def _spreading(used: Ints, channels: int, width: int, pixels: int, blur: float) -> tuple[csc_matrix, Ints]:
    """Blur as a matrix from the entries `used` (pixel x channels + channel) to those it reaches, and the latter."""
    reach = 1 if blur < 0.5 else 2
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / blur) ** 2)
    kernel /= kernel.sum()
    targets, sources, weights = [], [], []
    source = np.arange(len(used))
    for i, down in enumerate(range(-reach, reach + 1)):
        for j, across in enumerate(range(-reach, reach + 1)):
            target = used + (down * width + across) * channels
            fine = (target >= 0) & (target < pixels * channels)
            targets.append(target[fine])
            sources.append(source[fine])
            weights.append(np.full(int(fine.sum()), kernel[i] * kernel[j]))
    reached, packed = np.unique(np.concatenate(targets), return_inverse=True)
    spread = csc_matrix(
        (np.concatenate(weights), (packed, np.concatenate(sources))), shape=(len(reached), len(used))
    )  # fmt: skip
    return spread, reached
