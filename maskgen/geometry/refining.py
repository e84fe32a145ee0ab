"""All runs of a boundary together: least squares over its whole chain, then corners where the runs meet.

Unknowns are, per smooth joint, its place and direction (shared by both runs), per cubic its two handle lengths. A
straight run ties the directions of the joints at its ends to itself. Runs beside a corner have ends of their own; the
corner is where the two curves, carried on, cross. Gauss-Newton on the distances square to the curves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from maskgen.geometry.cubic_runs import HANDLE_MEAN, HANDLE_SPREAD
from maskgen.geometry.cubics import Flags, Floats, Places, dot, unit
from maskgen.geometry.meeting import crossing, trimmed
from maskgen.geometry.runs import ARC, CUBIC, LINE, ROUNDED_END, Indices
from maskgen.geometry.samples import Samples
from maskgen.geometry.selection import Chain

ROUNDED_REACH = 1.6
"""Samples nearer than this (steps) to a corner are trusted less, down to nothing at the corner."""
SLIDE_SPREAD = 2.0
"""How far (steps) a smooth joint may usually slide along the boundary from where it was chosen."""
ROUND_SPREAD = 0.02
"""How far handles of a run taken for an arc stray from those of a circle, as a share of its length."""
OUTLIER = 3.0
"""Residuals beyond this many deviations pull with constant strength (Huber)."""
ROUNDS = 10
SETTLED = 1e-3
"""Improving stops when the cost falls by less than this share."""
LEAST_CROSSED = np.radians(35.0)
"""Runs that do not cross near their cut and turn less there are joined smoothly."""


@dataclass(slots=True, eq=False)
class _State:
    """Nodes (place, direction, slide so far) and runs (nodes at both ends, handles)."""

    place: Places
    angle: Floats
    slide: Floats
    pinned: Flags
    sliding: Flags
    start: Indices
    end: Indices
    handles: Floats
    straight: Flags
    round: Flags
    bounds: Floats

    def copy(self) -> _State:
        return _State(*(getattr(self, name).copy() for name in self.__slots__))

    def control(self) -> Places:
        """Control points of every run, (m, 4)."""
        p, q = self.place[self.start], self.place[self.end]
        a, b = self.handles.T
        first = p + a * np.exp(1j * self.angle[self.start])
        second = q - b * np.exp(1j * self.angle[self.end])
        third = (q - p) / 3
        return np.stack(
            [p, np.where(self.straight, p + third, first), np.where(self.straight, q - third, second), q], axis=1
        )

    def straighten(self) -> None:
        """Give both nodes of every straight run its direction."""
        way = np.angle(self.place[self.end] - self.place[self.start])[self.straight]
        self.angle[self.start[self.straight]] = way
        self.angle[self.end[self.straight]] = way


def refine(samples: Samples, chain: Chain) -> tuple[Places, Flags, Flags]:
    """Fit the whole chain.

    Returns
    -------
    control : (m, 4)
        Control points of the runs in order, each starting exactly where the one before ends.
    straight : (m,)
    corner_before : (m,)
    """
    state, misses = _fitted(samples, chain, pins=[])
    if misses:
        # Directions that differ little and do not cross near the cut are no corner after all.
        blunt = [k for k in misses if abs(_turn(state, k)) < LEAST_CROSSED]
        if blunt:
            chain = _softened(chain, blunt)
        state, _ = _fitted(samples, chain, pins=[k for k in misses if k not in blunt])
    return _met(state, chain.corner_before), state.straight, chain.corner_before


def _turn(state: _State, k: int) -> float:
    """Turn of direction from the run before to run k."""
    return float(np.angle(np.exp(1j * (state.angle[state.start[k]] - state.angle[state.end[k - 1]]))))


def _softened(chain: Chain, joints: list[int]) -> Chain:
    """Make corners smooth; the arcs beside them may become any cubic."""
    corner, kind = chain.corner_before.copy(), chain.runs.kind.copy()
    corner[joints] = False
    beside = np.array([*joints, *(k - 1 for k in joints)])
    kind[beside] = np.where(kind[beside] == ARC, CUBIC, kind[beside])
    return Chain(replace(chain.runs, kind=kind), corner)


def _fitted(samples: Samples, chain: Chain, pins: list[int]) -> tuple[_State, list[int]]:
    """Fit the chain, corners before the runs `pins` held to their samples; also tell which corners do not cross."""
    state = _initial(samples, chain)
    for k in pins:
        for node in (state.end[k - 1], state.start[k]):
            state.place[node] = samples.take(chain.runs.first[[k]])[0]
            state.pinned[node] = True
    state.straighten()
    arc, places, variance = _laid_out(samples, chain)
    variance = variance + _rounding(arc, state, chain, samples.closed)
    state = _settled(state, arc, places, variance)
    control = state.control()
    corners = [int(k) for k in np.flatnonzero(chain.corner_before) if k not in pins]
    return state, [k for k in corners if crossing(control[k - 1], control[k]) is None]


def _settled(state: _State, arc: Floats, places: Places, variance: Floats) -> _State:
    """Improve the state until it settles, or for a few rounds."""
    best, least = state, np.inf
    t = np.full(len(places), -1.0)
    damping = 1e-6
    for _ in range(ROUNDS):
        cost, t, step = _step(state, arc, places, variance, t, damping)
        if cost < least:
            done = cost > least * (1 - SETTLED)
            best, least, damping = state, cost, damping / 4
            if done:
                break
        else:
            damping = max(damping, 1e-4) * 30
            t = np.full(len(places), -1.0)
            _, t, step = _step(best, arc, places, variance, t, damping)
        state = _moved(best, step)
    return best


def _initial(samples: Samples, chain: Chain) -> _State:
    runs = chain.runs
    count = len(runs.first)
    # A smooth joint has one node; at a corner and at open ends each run has its own.
    start, end = np.zeros(count, dtype=int), np.zeros(count, dtype=int)
    place: list[complex] = []
    angle: list[float] = []
    pinned: list[bool] = []
    sliding: list[bool] = []

    def node(at: complex, way: float, *, fixed: bool, slides: bool) -> int:
        place.append(at)
        angle.append(way)
        pinned.append(fixed)
        sliding.append(slides)
        return len(place) - 1

    for k in range(count):
        shared = not chain.corner_before[k] and (samples.closed or k > 0)
        before = k - 1
        if not shared:
            fixed = not samples.closed and k == 0
            at = samples.places[0] if fixed else runs.control[k, 0]
            start[k] = node(at, runs.start.angle[k], fixed=fixed, slides=False)
            if samples.closed or k > 0:
                end[before] = node(runs.control[before, 3], runs.end.angle[before], fixed=False, slides=False)
            continue
        i0, i1 = runs.end.info[before], runs.start.info[k]
        turn = float(np.angle(np.exp(1j * (runs.start.angle[k] - runs.end.angle[before]))))
        share = i1[2] / (i0[2] + i1[2])
        if LINE in (runs.kind[before], runs.kind[k]):
            share = float(runs.kind[k] == LINE)
        pull = i1[0] / (i0[0] + i1[0])
        at = (1 - pull) * runs.control[before, 3] + pull * runs.control[k, 0]
        start[k] = end[before] = node(at, runs.end.angle[before] + share * turn, fixed=False, slides=True)
    if not samples.closed:
        end[-1] = node(samples.places[-1], runs.end.angle[-1], fixed=True, slides=False)
    handles = np.abs(np.stack([runs.control[:, 1] - runs.control[:, 0], runs.control[:, 3] - runs.control[:, 2]], 1))
    first = samples.arc_at(runs.first)
    last = samples.arc_at(runs.last)
    offset = first[0]
    bounds = np.append(first + np.where(first < offset, samples.length, 0.0), 0.0)
    bounds[-1] = bounds[0] + samples.length if samples.closed else last[-1]
    state = _State(
        np.array(place),
        np.array(angle),
        np.zeros(len(place)),
        np.array(pinned),
        np.array(sliding),
        start,
        end,
        handles,
        runs.kind == LINE,
        runs.kind == ARC,
        bounds,
    )
    state.straighten()
    return state


def _laid_out(samples: Samples, chain: Chain) -> tuple[Floats, Places, Floats]:
    """Samples in the order of the chain, from its first run's start: arc position, place, variance."""
    count = len(samples.places)
    index = np.arange(count) + (int(chain.runs.first[0]) if samples.closed else 0)
    return samples.arc_at(index), samples.take(index), np.take(samples.sigma, index, mode="wrap") ** 2


def _rounding(arc: Floats, state: _State, chain: Chain, closed: bool) -> Floats:
    """Extra variance of samples near corners and near open ends."""
    at = state.bounds[:-1][chain.corner_before]
    if closed:
        length = state.bounds[-1] - state.bounds[0]
        at = np.concatenate([at, at + length, at - length])
    else:
        at = np.concatenate([at, state.bounds[[0, -1]]])
    if len(at) == 0:
        return np.zeros(len(arc))
    near = np.abs(arc[:, None] - at).min(axis=1)
    return np.asarray((1.2 * ROUNDED_END * np.maximum(1 - near / ROUNDED_REACH, 0.0)) ** 2)


def _step(
    state: _State, arc: Floats, places: Places, variance: Floats, t: Floats, damping: float
) -> tuple[float, Floats, Floats]:
    """Cost of the state, foot parameters, and the change of all unknowns that would improve it."""
    runs = len(state.start)
    bounds = state.bounds.copy()
    bounds[:-1] += np.where(state.sliding[state.start], state.slide[state.start], 0.0)
    run = np.clip(np.searchsorted(bounds, arc, side="right") - 1, 0, runs - 1)
    control = state.control()
    guess = (arc - bounds[run]) / np.maximum(bounds[run + 1] - bounds[run], 1e-9)
    t = np.where(np.abs(t - guess) > 0.3, guess, t)
    c = control[run]
    t, normal, distance = _feet(places, c, t)
    size = np.abs(distance) / np.sqrt(variance)
    weight = 1 / variance * np.minimum(1.0, OUTLIER / np.maximum(size, 1e-9))
    cost = float(np.where(size < OUTLIER, size**2, 2 * OUTLIER * size - OUTLIER**2).sum())

    nodes = len(state.place)
    total = 3 * nodes + 2 * runs
    rows = _jacobian(state, run, t, normal)
    columns = np.stack(
        [
            *(3 * state.start + k for k in range(3)),
            3 * nodes + 2 * np.arange(runs),
            3 * nodes + 2 * np.arange(runs) + 1,
            *(3 * state.end + k for k in range(3)),
        ],
        axis=1,
    )
    hessian = np.zeros((total, total))
    gradient = np.zeros(total)
    weighted = rows * weight[:, None]
    blocks = weighted[:, :, None] * rows[:, None, :]
    pulls = weighted * distance[:, None]
    # Samples come in the order of the runs, so that sums over a run are sums over a stretch.
    edges = np.searchsorted(run, np.arange(runs))
    filled = np.diff(np.append(edges, len(run))) > 0
    sums = np.add.reduceat(blocks, edges[filled], axis=0)
    pull_sums = np.add.reduceat(pulls, edges[filled], axis=0)
    where = columns[filled]
    np.add.at(hessian, (where[:, :, None], where[:, None, :]), sums)
    np.add.at(gradient, where, pull_sums)
    cost += _add_priors(state, hessian, gradient, bounds)
    step = _solve(state, hessian, gradient, damping)
    return cost, t, step


def _feet(places: Places, control: Places, t: Floats) -> tuple[Floats, Places, Floats]:
    p0, p1, p2, p3 = control.T
    b, c, d = 3 * (p1 - p0), 3 * (p2 - 2 * p1 + p0), p3 - p0 + 3 * (p1 - p2)
    for _ in range(2):
        first, second = (3 * d * t + 2 * c) * t + b, 6 * d * t + 2 * c
        offset = places - (((d * t + c) * t + b) * t + p0)
        slope = dot(first, first) + 1e-12
        move = dot(offset, first) / np.maximum(slope - dot(offset, second), 0.3 * slope)
        t = np.clip(t + np.clip(move, -0.2, 0.2), -0.1, 1.1)
    first = (3 * d * t + 2 * c) * t + b
    normal = 1j * unit(first)
    return t, normal, dot(places - (((d * t + c) * t + b) * t + p0), normal)


def _jacobian(state: _State, run: Indices, t: Floats, normal: Places) -> Floats:
    """Change of the curve square to itself per unknown: (offset, slide, turn) at the start, handles, same at end."""
    s = 1 - t
    b1, b2 = 3 * t * s * s, 3 * t * t * s
    b01, b23 = s * s * s + b1, t * t * t + b2
    p, q = state.start[run], state.end[run]
    straight = state.straight[run]
    b01, b23 = np.where(straight, s, b01), np.where(straight, t, b23)
    along_p, along_q = np.exp(1j * state.angle[p]), np.exp(1j * state.angle[q])
    p_along, p_square = dot(normal, along_p), dot(normal, 1j * along_p)
    q_along, q_square = dot(normal, along_q), dot(normal, 1j * along_q)
    a, b = state.handles[run].T
    curved = ~straight
    return np.stack(
        [
            b01 * p_square,
            b01 * p_along * curved,
            b1 * a * p_square * curved,
            b1 * p_along * curved,
            -b2 * q_along * curved,
            b23 * q_square,
            b23 * q_along * curved,
            -b2 * b * q_square * curved,
        ],
        axis=1,
    )


def _add_priors(state: _State, hessian: Floats, gradient: Floats, bounds: Floats) -> float:
    nodes = len(state.place)
    slide = 3 * np.arange(nodes) + 1
    hessian[slide, slide] += SLIDE_SPREAD**-2.0
    gradient[slide] -= state.slide / SLIDE_SPREAD**2
    length = np.diff(bounds)
    chord = np.abs(state.place[state.end] - state.place[state.start])
    sweep = np.clip(np.abs(np.angle(np.exp(1j * (state.angle[state.end] - state.angle[state.start])))), 1e-3, 2.5)
    circular = 2 / 3 * np.tan(sweep / 4) / np.sin(sweep / 2) * chord
    mean = np.where(state.round, circular, HANDLE_MEAN * length)
    spread = np.where(state.round, ROUND_SPREAD, HANDLE_SPREAD) * np.maximum(length, 0.1)
    cost = 0.0
    for k in range(2):
        index = 3 * nodes + 2 * np.arange(len(length)) + k
        off = np.where(state.straight, 0.0, mean - state.handles[:, k])
        hessian[index, index] += spread**-2.0
        gradient[index] += off / spread**2
        cost += float((off**2 / spread**2).sum())
    return cost + float((state.slide**2).sum()) / SLIDE_SPREAD**2


def _solve(state: _State, hessian: Floats, gradient: Floats, damping: float) -> Floats:
    """Solve with the ties of straight runs put in: their ends turn as their offsets tell."""
    total = len(gradient)
    tie = np.eye(total)
    for k in np.flatnonzero(state.straight):
        p, q = state.start[k], state.end[k]
        length = max(float(abs(state.place[q] - state.place[p])), 1e-6)
        for node in (p, q):
            row = 3 * node + 2
            tie[row] = 0.0
            tie[row, 3 * q], tie[row, 3 * p] = 1 / length, -1 / length
    free = np.ones(total, dtype=bool)
    nodes = np.arange(len(state.place))
    free[3 * nodes[state.pinned]] = False
    free[3 * nodes[~state.sliding] + 1] = False
    on_line = np.zeros(len(nodes), dtype=bool)
    on_line[state.start[state.straight]] = on_line[state.end[state.straight]] = True
    free[3 * nodes[on_line] + 2] = False
    free[3 * len(nodes) + 2 * np.flatnonzero(state.straight)] = False
    free[3 * len(nodes) + 2 * np.flatnonzero(state.straight) + 1] = False
    tie = tie[:, free]
    reduced = tie.T @ hessian @ tie
    diagonal = np.einsum("ii->i", reduced)
    diagonal += damping * diagonal + 1e-9
    return np.asarray(tie @ np.linalg.solve(reduced, tie.T @ gradient))


def _moved(state: _State, step: Floats) -> _State:
    new = state.copy()
    nodes = len(state.place)
    change = step[: 3 * nodes].reshape(nodes, 3)
    offset, slide, turn = change.T
    slide = np.clip(slide, -1.0, 1.0)
    along = np.exp(1j * state.angle)
    new.place = state.place + along * (slide + 1j * np.clip(offset, -2.0, 2.0))
    new.slide = state.slide + slide
    new.angle = state.angle + np.clip(turn, -0.5, 0.5)
    length = np.abs(state.place[state.end] - state.place[state.start])[:, None]
    new.handles = state.handles + np.clip(step[3 * nodes :].reshape(-1, 2), -0.3 * length, 0.3 * length)
    new.handles = np.maximum(new.handles, 0.03 * length)
    new.straighten()
    return new


def _met(state: _State, corner_before: Flags) -> Places:
    """Bring the runs beside every corner to their common point."""
    control = state.control()
    trims = np.tile([0.0, 1.0], (len(control), 1))
    points: dict[int, complex] = {}
    for k in map(int, np.flatnonzero(corner_before)):
        found = crossing(control[k - 1], control[k])
        point = complex(control[k - 1, 3] + control[k, 0]) / 2
        trims[k - 1, 1], trims[k, 0], points[k] = (1.0, 0.0, point) if found is None else found
    control = np.array([trimmed(c, *t) for c, t in zip(control, trims, strict=True)])
    for k, point in points.items():
        for run, end, inner in ((k - 1, 3, 2), (k, 0, 1)):
            control[run, inner] += point - control[run, end]
            control[run, end] = point
    straight = state.straight
    third = (control[straight, 3] - control[straight, 0]) / 3
    control[straight, 1] = control[straight, 0] + third
    control[straight, 2] = control[straight, 3] - third
    return control
