"""Where a boundary may be cut into runs, and how well one line or cubic fits each run.

Every candidate is fitted with free ends, all of them at once. Samples within a step or so of a cut count little, since
a pixel grid rounds corners off there: a corner is later found where its two runs meet, not where the samples are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from maskgen.geometry.cubics import Flags, Floats, Places, cross, dot, unit
from maskgen.geometry.samples import Samples

Indices = NDArray[np.int_]

ROUNDED_END, ROUNDED_NEXT = 0.3, 0.06
"""How far (steps) a pixel grid may pull the sample at a corner, and the one beside it, off the true outline."""
BINS = 16
"""Samples of a run are averaged into this many bins; a bin's bow is allowed for by its curvature."""
WAYS = np.array([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 17, 20, 24, 29, 35, 42, 50, 60, 72, 86, 103, 124, 149])
"""Lengths of cubic candidates, in grid cuts."""
MOST_WAY = 250
"""No run is longer than this many grid cuts; keeps very long boundaries affordable."""
MOST_TURN = np.radians(150.0)
"""A cubic turns no further."""
HANDLE_MEAN, HANDLE_SPREAD = 0.345, 0.12
"""Handles of cubics that follow arcs, as shares of the run's length (1/3 when straight, 0.352 for a quarter circle),
and how far others usually are from that: keeps noise from making wild handles."""


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """What a fit says about its run's end: offset from the sample there, direction, and their information matrix.

    Attributes
    ----------
    offset : (m,)
        Distance of the curve from the sample at the cut, positive on the side +i times the direction.
    angle : (m,)
        Direction of travel, radians.
    info : (m, 3)
        Inverse covariance of (offset, angle): offset-offset, offset-angle, angle-angle.
    """

    offset: Floats
    angle: Floats
    info: Floats

    def take(self, chosen: Indices | Flags) -> Ends:
        """Give some of them."""
        return Ends(self.offset[chosen], self.angle[chosen], self.info[chosen])


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Runs from cut to cut with their best line or cubic.

    Attributes
    ----------
    first, last : (m,)
        Sample at start and end; when closed, `last` may exceed the number of samples.
    straight : (m,)
    misfit : (m,)
        Chi-square beyond what noise explains.
    control : (m, 4)
        Control points; of a line, its ends and thirds.
    start, end : Ends
    """

    first: Indices
    last: Indices
    straight: Flags
    misfit: Floats
    control: Places
    start: Ends
    end: Ends

    def take(self, chosen: Indices | Flags) -> Candidates:
        """Give some of them."""
        return Candidates(
            self.first[chosen],
            self.last[chosen],
            self.straight[chosen],
            self.misfit[chosen],
            self.control[chosen],
            self.start.take(chosen),
            self.end.take(chosen),
        )


def joined(parts: list[Candidates]) -> Candidates:
    """Put lists of candidates together."""

    def ends(chosen: list[Ends]) -> Ends:
        return Ends(*(np.concatenate([getattr(e, name) for e in chosen]) for name in ("offset", "angle", "info")))

    def column(name: str) -> NDArray[Any]:
        return np.concatenate([getattr(part, name) for part in parts])

    return Candidates(
        column("first"),
        column("last"),
        column("straight"),
        column("misfit"),
        column("control"),
        ends([part.start for part in parts]),
        ends([part.end for part in parts]),
    )


# --- cuts -----------------------------------------------------------------------------------------------------------

EVERY_SAMPLE = 48
"""Boundaries up to this many samples may be cut anywhere."""
CUT_EVERY, CUT_TURN = 11.0, np.radians(24.0)
"""A cut is offered at least every so many steps, or every so much turn."""
SHARP = np.radians(14.0)
"""Places that turn more than this over two or three steps are offered as cuts whatever the grid."""


def cuts(samples: Samples, forced: Indices) -> Indices:
    """Choose sample indices where runs may begin and end, ascending; the ends of an open boundary among them."""
    count = len(samples.places)
    if count <= EVERY_SAMPLE:
        return np.arange(count)
    sigma = float(np.median(samples.sigma))
    reach = int(np.clip(round(2 + 9 * sigma), 2, 5))
    turn, noise = _turns(samples, reach)
    size = np.abs(turn)
    bend = np.maximum(size - 2 * noise, 0.0) / reach
    grow = np.diff(samples.arc)[: count if samples.closed else count - 1] / CUT_EVERY
    grow = grow + bend[: len(grow)] / CUT_TURN
    steady = np.floor(np.append(0.0, np.cumsum(grow)))
    regular = np.flatnonzero(np.diff(steady) > 0)
    sharp = _peaks(size, max(SHARP, 2.5 * noise), samples.closed)
    if reach > 2:
        near, near_noise = _turns(samples, 2)
        sharp = np.union1d(sharp, _peaks(np.abs(near), max(2 * SHARP, 3.5 * near_noise), samples.closed))
    fixed = np.union1d(sharp, forced)
    if not samples.closed:
        fixed = np.union1d(fixed, [0, count - 1])
    if len(fixed):
        gap = np.abs(regular[:, None] - fixed[None])
        gap = np.minimum(gap, count - gap) if samples.closed else gap
        regular = regular[gap.min(axis=1) > 2]
    chosen = np.union1d(fixed, regular)
    return np.asarray(chosen if len(chosen) > 3 else np.union1d(chosen, np.arange(4) * count // 4), dtype=np.int_)


def _turns(samples: Samples, reach: int) -> tuple[Floats, float]:
    """Turn between the chords to the samples `reach` before and after; its deviation from noise alone."""
    index = np.arange(len(samples.places))
    ahead, behind = index + reach, index - reach
    if not samples.closed:
        ahead, behind = np.minimum(ahead, index[-1]), np.maximum(behind, 0)
    turn = np.angle((samples.take(ahead) - samples.places) * np.conj(samples.places - samples.take(behind)))
    noise = float(np.median(samples.sigma)) * np.sqrt(6.0) / reach
    if not samples.closed:
        turn[0] = turn[-1] = 0.0
    return turn, noise


def _peaks(size: Floats, least: float, closed: bool) -> Indices:
    before, after = np.roll(size, 1), np.roll(size, -1)
    if not closed:
        before[0] = after[-1] = 0.0
    return np.flatnonzero((size >= before) & (size > after) & (size > least))


# --- runs -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, eq=False)
class _Bins:
    """Averages along runs: (m, k) place, weight, arc position from the start, extent."""

    places: Places
    weights: Floats
    along: Floats
    extent: Floats
    length: Floats


class _Sums:
    """Running sums over the samples (two laps when closed) for averages over any stretch."""

    def __init__(self, samples: Samples) -> None:
        laps = 2 if samples.closed else 1
        count = len(samples.places)
        index = np.arange(laps * count)
        self.origin = samples.places.mean()
        self.places = samples.take(index) - self.origin
        self.variance = np.tile(samples.sigma**2, laps)
        self.arc = samples.arc_at(index)
        weights = 1.0 / self.variance
        moments = [weights, weights * self.places.real, weights * self.places.imag, weights * self.arc]
        moments += [
            weights * self.places.real**2,
            weights * self.places.imag**2,
            weights * self.places.real * self.places.imag,
        ]
        self.sums = np.zeros((len(index) + 1, len(moments)))
        np.cumsum(np.stack(moments, axis=1), axis=0, out=self.sums[1:])

    def bins(self, first: Indices, last: Indices) -> _Bins:
        inner = np.maximum(last - first - 3, 0)
        edges = first[:, None] + 2 + np.rint(np.linspace(0, 1, BINS - 3) * inner[:, None]).astype(int)
        edges = np.minimum(edges, last[:, None])
        sums = np.diff(self.sums[edges], axis=1)
        single = np.stack([first, first + 1, last - 1, last], axis=1)
        weight = 1.0 / (self.variance[single] + np.array([ROUNDED_END, ROUNDED_NEXT, ROUNDED_NEXT, ROUNDED_END]) ** 2)
        short = last - first
        weight[short == 1, 1:3] = 0.0
        weight[short == 2, 2] = 0.0
        weights = np.concatenate([weight[:, :2], sums[..., 0], weight[:, 2:]], axis=1)
        safe = np.maximum(sums[..., 0], 1e-300)
        middle = (sums[..., 1] + 1j * sums[..., 2]) / safe
        ends = self.places[single]
        places = np.concatenate([ends[:, :2], middle, ends[:, 2:]], axis=1)
        arc = np.concatenate([self.arc[single[:, :2]], sums[..., 3] / safe, self.arc[single[:, 2:]]], axis=1)
        begin = self.arc[first][:, None]
        length = self.arc[last] - self.arc[first]
        extent = np.zeros(weights.shape)
        extent[:, 2:-2] = np.diff(edges, axis=1) * (length / np.maximum(short, 1))[:, None]
        along = np.where(weights > 0, arc - begin, 0.0)
        return _Bins(np.where(weights > 0, places, places[:, :1]), weights, along, extent, length)

    def straightness(self, first: Indices, last: Indices) -> Floats:
        """Chi-square of the best line through the samples strictly inside each run, about."""
        w, x, y, _, xx, yy, xy = (self.sums[last] - self.sums[first + 1]).T
        safe = np.maximum(w, 1e-300)
        a, b, c = xx - x * x / safe, yy - y * y / safe, xy - x * y / safe
        return np.asarray(0.5 * (a + b - np.sqrt((a - b) ** 2 + 4 * c * c)))


def candidates(samples: Samples, grid: Indices, *, most_cost: float) -> Candidates:
    """Fit every run worth considering between cuts `grid`; runs whose misfit exceeds `most_cost` are left out."""
    sums = _Sums(samples)
    first, last, neighbour = _pairs(samples, grid)
    rough = sums.straightness(first, last) - (last - first - 3)
    noise = np.sqrt(2.0 * np.maximum(last - first, 1))
    maybe_straight = neighbour | (rough < most_cost + 3 * noise)
    lines = _fit_lines(sums, first[maybe_straight], last[maybe_straight])
    good = np.full(len(first), np.inf)
    good[maybe_straight] = lines.misfit
    cubic = _curved(samples, grid, first, last) & (good > 4.0) & (last - first >= 4)
    curves = _fit_cubics(sums, first[cubic], last[cubic])
    keep_lines = (lines.misfit < most_cost) | neighbour[maybe_straight]
    found = joined([lines.take(keep_lines), curves.take(curves.misfit < most_cost)])
    found.control[...] += sums.origin
    return found


def _pairs(samples: Samples, grid: Indices) -> tuple[Indices, Indices, Flags]:
    """All pairs of cuts less than a lap apart."""
    count = len(grid)
    if samples.closed:
        around = np.concatenate([grid, grid + len(samples.places)])
        ways = min(count, MOST_WAY) - 1
        start, way = np.repeat(np.arange(count), ways), np.tile(np.arange(ways) + 1, count)
        return grid[start], around[start + way], way == 1
    begin, finish = np.triu_indices(count, 1)
    near = finish - begin < MOST_WAY
    start, stop = begin[near], finish[near]
    return grid[start], grid[stop], stop == start + 1


def _curved(samples: Samples, grid: Indices, first: Indices, last: Indices) -> Flags:
    """Which runs are worth trying as cubics: on the ladder of lengths, and not turning too far."""
    count = len(samples.places)
    rank = np.zeros(2 * count + 1, dtype=int)
    rank[grid] = np.arange(len(grid))
    if samples.closed:
        rank[grid + count] = np.arange(len(grid)) + len(grid)
    way = rank[last] - rank[first]
    # Turn between cuts from chord to chord; noise in short chords is kept out by the cuts' own spacing.
    around = np.concatenate([grid, grid + count, grid[:2] + 2 * count]) if samples.closed else grid
    chord = np.diff(samples.take(around))
    turn = np.append(0.0, np.abs(np.angle(chord[1:] * np.conj(chord[:-1]))))
    upto = np.cumsum(turn)
    inside = upto[rank[last] - 1] - upto[rank[first]]
    return np.asarray(np.isin(way, WAYS) & (inside < MOST_TURN))


def _fit_lines(sums: _Sums, first: Indices, last: Indices) -> Candidates:
    bins = sums.bins(first, last)
    weight = bins.weights
    total = weight.sum(axis=1)
    centre = (weight * bins.places).sum(axis=1) / total
    offset = bins.places - centre[:, None]
    # The doubled angle of the main axis, turned to run along.
    axis = np.sqrt((weight * offset**2).sum(axis=1))
    chord = sums.places[last] - sums.places[first]
    axis = unit(np.where(np.abs(axis) > 1e-12, axis, chord))
    axis = np.where(dot(axis, chord) < 0, -axis, axis)
    square = cross(axis[:, None], offset)
    chi = (weight * square**2).sum(axis=1)
    along = dot(axis[:, None], offset)
    spread = np.maximum((weight * along**2).sum(axis=1), 1e-12)
    begin = dot(axis, sums.places[first] - centre)
    finish = dot(axis, sums.places[last] - centre)
    p0, p3 = centre + begin * axis, centre + finish * axis
    control = np.stack([p0, p0 + (p3 - p0) / 3, p3 - (p3 - p0) / 3, p3], axis=1)
    used = (weight > 0).sum(axis=1)

    def ends(at: Floats, place: Places, sample: Places) -> Ends:
        # Covariance of (centre offset, angle) is diagonal: 1/total, 1/spread; moved along by `at`.
        info = np.stack([total, -at * total, spread + at * at * total], axis=1)
        return Ends(dot(place - sample, 1j * axis), np.angle(axis), info)

    return Candidates(
        first,
        last,
        np.ones(len(first), dtype=bool),
        chi - np.maximum(used - 4, 0),
        control,
        ends(begin, p0, sums.places[first]),
        ends(finish, p3, sums.places[last]),
    )


def _fit_cubics(sums: _Sums, first: Indices, last: Indices, rounds: int = 4) -> Candidates:
    bins = sums.bins(first, last)
    t = bins.along / np.maximum(bins.length[:, None], 1e-9)
    control = _first_guess(bins, t)
    x, axes = _framed(control)
    mean, spread = HANDLE_MEAN * bins.length, HANDLE_SPREAD * bins.length
    anchors = control[:, ::3].copy()
    hessian = np.empty((len(first), 6, 6))
    for _ in range(rounds):
        t, normal, distance = _bin_feet(bins, control, t)
        s = 1 - t
        b1, b2 = 3 * t * s * s, 3 * t * t * s
        b01, b23 = s * s * s + b1, t * t * t + b2
        jacobian = np.empty((*t.shape, 6))
        for k, (basis, way) in enumerate(((b01, 1), (b1, 0), (b1, 1), (b23, 3), (-b2, 2), (-b2, 3))):
            jacobian[:, :, k] = basis * dot(normal, axes[:, way, None])
        weighted = np.swapaxes(jacobian * bins.weights[..., None], 1, 2)
        hessian = weighted @ jacobian
        gradient = (weighted @ distance[..., None])[..., 0]
        for k in (1, 4):
            hessian[:, k, k] += spread**-2.0
            gradient[:, k] += (mean - x[:, k]) / spread**2
        hessian[:, range(6), range(6)] += 1e-6 * bins.weights.sum(axis=1)[:, None] + 1e-9
        limit = 0.4 * bins.length[:, None]
        x = x + np.clip(np.linalg.solve(hessian, gradient[..., None])[..., 0], -limit, limit)
        x[:, [1, 4]] = np.maximum(x[:, [1, 4]], 0.03 * bins.length[:, None])
        control = _unframed(anchors, axes, x)
    t, normal, distance = _bin_feet(bins, control, t)
    chi = (bins.weights * distance**2).sum(axis=1)
    chi += ((x[:, [1, 4]] - mean[:, None]) ** 2 / spread[:, None] ** 2).sum(axis=1)
    used = (bins.weights > 0).sum(axis=1)
    misfit = chi - np.maximum(used - 8, 0)
    misfit[~_sound(control, bins.length)] = np.inf
    return Candidates(
        first,
        last,
        np.zeros(len(first), dtype=bool),
        misfit,
        control,
        *_cubic_ends(control, hessian, x, sums.places[first], sums.places[last]),
    )


def _first_guess(bins: _Bins, t: Floats) -> Places:
    """Least squares of the control points at fixed parameters, leaning to straight where samples are few."""
    s = 1 - t
    basis = np.stack([s**3, 3 * s * s * t, 3 * s * t * t, t**3], axis=-1)
    weighted = np.swapaxes(basis * bins.weights[..., None], 1, 2)
    normal = weighted @ basis
    third = np.array([1.0, -3.0, 3.0, -1.0])
    second = np.array([[1.0, -2.0, 1.0, 0.0], [0.0, 1.0, -2.0, 1.0]])
    lean = 1e-4 * np.outer(third, third) + 1e-6 * second.T @ second + 1e-9 * np.eye(4)
    normal = normal + bins.weights.sum(axis=1)[:, None, None] * lean
    right = weighted @ np.stack([bins.places.real, bins.places.imag], axis=-1)
    solved = np.linalg.solve(normal, right)
    return np.asarray(solved[..., 0] + 1j * solved[..., 1])


def _framed(control: Places) -> tuple[Floats, Places]:
    """Unknowns (start offset, handle, handle's swing, end offset, handle, swing) and axes (T0, N0, T1, N1)."""
    chord = unit(control[:, 3] - control[:, 0])
    start, end = control[:, 1] - control[:, 0], control[:, 3] - control[:, 2]
    t0 = unit(np.where(dot(start, chord) > 0.02 * np.abs(control[:, 3] - control[:, 0]), start, chord))
    t1 = unit(np.where(dot(end, chord) > 0.02 * np.abs(control[:, 3] - control[:, 0]), end, chord))
    x = np.zeros((len(control), 6))
    x[:, 1], x[:, 2], x[:, 4], x[:, 5] = dot(start, t0), dot(start, 1j * t0), dot(end, t1), dot(end, 1j * t1)
    return x, np.stack([t0, 1j * t0, t1, 1j * t1], axis=1)


def _unframed(anchors: Places, axes: Places, x: Floats) -> Places:
    start = anchors[:, 0] + x[:, 0] * axes[:, 1]
    end = anchors[:, 1] + x[:, 3] * axes[:, 3]
    first = start + x[:, 1] * axes[:, 0] + x[:, 2] * axes[:, 1]
    second = end - x[:, 4] * axes[:, 2] - x[:, 5] * axes[:, 3]
    return np.stack([start, first, second, end], axis=1)


def _bin_feet(bins: _Bins, control: Places, t: Floats) -> tuple[Floats, Places, Floats]:
    """Step to the foot points; normals and distances there, a bin's average lying inside its arc by k h^2 / 24."""
    p0, p1, p2, p3 = (control[:, k, None] for k in range(4))
    b, c, d = 3 * (p1 - p0), 3 * (p2 - 2 * p1 + p0), p3 - p0 + 3 * (p1 - p2)
    first, second = (3 * d * t + 2 * c) * t + b, 6 * d * t + 2 * c
    offset = bins.places - (((d * t + c) * t + b) * t + p0)
    slope = dot(first, first) + 1e-12
    step = dot(offset, first) / np.maximum(slope - dot(offset, second), 0.3 * slope)
    moved = np.clip(t + np.clip(step, -0.15, 0.15), -0.05, 1.05)
    step = moved - t
    tangent = first + step * second
    normal = 1j * unit(tangent)
    bow = cross(first, second) / slope**1.5 * bins.extent**2 / 24
    return moved, normal, dot(offset - step * (first + 0.5 * step * second), normal) - bow


def _sound(control: Places, length: Floats) -> Flags:
    """No loops or hooks: handles run along, do not pass each other, and turn less than a half circle in all."""
    start, middle, end = (control[:, k + 1] - control[:, k] for k in range(3))
    sound = (np.abs(start) < 0.9 * length) & (np.abs(end) < 0.9 * length)
    bend = np.abs(np.angle(middle * np.conj(start))) + np.abs(np.angle(end * np.conj(middle)))
    return np.asarray(sound & (bend < np.radians(178.0)) & np.isfinite(bend))


def _cubic_ends(control: Places, hessian: Floats, x: Floats, first: Places, last: Places) -> tuple[Ends, Ends]:
    covariance = np.linalg.inv(hessian)
    found = []
    for k, (a, b, sample) in enumerate(((0, 1, first), (2, 3, last))):
        way = unit(control[:, b] - control[:, a])
        place = control[:, 3 * k]
        handle = np.maximum(np.abs(control[:, b] - control[:, a]), 1e-6)
        e, swing = 3 * k, 3 * k + 2
        c00, c01 = covariance[:, e, e], covariance[:, e, swing] / handle
        c11 = covariance[:, swing, swing] / handle**2
        det = np.maximum(c00 * c11 - c01**2, 1e-300)
        info = np.stack([c11 / det, -c01 / det, c00 / det], axis=1)
        found.append(Ends(dot(place - sample, 1j * way), np.angle(way), info))
    return found[0], found[1]
