"""The best cubic through each of many runs, ends and end directions free."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from maskgen.geometry.cubics import Flags, Floats, Places, cross, dot, unit
from maskgen.geometry.runs import CUBIC, Bins, Candidates, Ends, Indices, Sums

HANDLE_MEAN, HANDLE_SPREAD = 0.345, 0.12
"""Handles of cubics that follow arcs, as shares of the run's length (1/3 when straight, 0.352 for a quarter circle),
and how far others usually are from that: keeps noise from making wild handles."""


PROMISE, PROMISE_SPARE = 3.0, 60.0
"""After the first round a run goes on if its misfit is within this factor, and this much more, of the limit."""


def fit_cubics(sums: Sums, first: Indices, last: Indices, most: Floats) -> Candidates:
    """Gauss-Newton on distances square to the curve, six unknowns each; runs that stay above `most` are left out."""
    fit = _begun(first, last, sums.bins(first, last), most)
    fit.improve()
    fit = fit.take(fit.misfit() < PROMISE * np.maximum(fit.most, 0.0) + PROMISE_SPARE)
    fit.improve()
    fit.improve()
    misfit = fit.misfit()
    misfit[~_sound(fit.control, fit.bins.length)] = np.inf
    good = misfit < fit.most
    fit, misfit = fit.take(good), misfit[good]
    return Candidates(
        fit.first,
        fit.last,
        np.full(len(fit.first), CUBIC, dtype=np.int8),
        misfit,
        fit.control,
        *_cubic_ends(fit.control, fit.hessian(), sums.places[fit.first], sums.places[fit.last]),
    )


@dataclass(slots=True, eq=False)
class _Fit:
    """Cubics under way: unknowns `x` are (start offset, handle, its swing, end offset, handle, its swing)."""

    first: Indices
    last: Indices
    bins: Bins
    most: Floats
    t: Floats
    normal: Places
    distance: Floats
    x: Floats
    axes: Places
    anchors: Places
    control: Places

    def take(self, chosen: Flags) -> _Fit:
        """Go on with some of them."""
        rest = (getattr(self, name)[chosen] for name in self.__slots__[3:])
        return _Fit(self.first[chosen], self.last[chosen], self.bins.take(chosen), *rest)

    def improve(self) -> None:
        """Take one Gauss-Newton step."""
        bins = self.bins
        mean, spread = _handles(bins.length)
        jacobian = self._jacobian()
        weighted = np.swapaxes(jacobian * bins.weights[..., None], 1, 2)
        hessian = weighted @ jacobian
        gradient = (weighted @ self.distance[..., None])[..., 0]
        for k in (1, 4):
            hessian[:, k, k] += spread**-2.0
            gradient[:, k] += (mean - self.x[:, k]) / spread**2
        hessian[:, range(6), range(6)] += 1e-6 * bins.weights.sum(axis=1)[:, None] + 1e-9
        limit = 0.4 * bins.length[:, None]
        x = self.x + np.clip(np.linalg.solve(hessian, gradient[..., None])[..., 0], -limit, limit)
        x[:, [1, 4]] = np.maximum(x[:, [1, 4]], 0.03 * bins.length[:, None])
        self.x = x
        self.control = _unframed(self.anchors, self.axes, x)
        self.t, self.normal, self.distance = _bin_feet(bins, self.control, self.t)

    def _jacobian(self) -> Floats:
        t, s = self.t, 1 - self.t
        b1, b2 = 3 * t * s * s, 3 * t * t * s
        b01, b23 = s * s * s + b1, t * t * t + b2
        along0, square0, along1, square1 = (dot(self.normal, self.axes[:, k, None]) for k in range(4))
        return np.stack([b01 * square0, b1 * along0, b1 * square0, b23 * square1, -b2 * along1, -b2 * square1], axis=-1)

    def hessian(self) -> Floats:
        """Information about the unknowns where they now are."""
        jacobian = self._jacobian()
        hessian = np.swapaxes(jacobian * self.bins.weights[..., None], 1, 2) @ jacobian
        _, spread = _handles(self.bins.length)
        for k in (1, 4):
            hessian[:, k, k] += spread**-2.0
        hessian[:, range(6), range(6)] += 1e-9 * self.bins.weights.sum(axis=1)[:, None] + 1e-9
        return np.asarray(hessian)

    def misfit(self) -> Floats:
        """Chi-square beyond what noise explains, handles far from usual included."""
        mean, spread = _handles(self.bins.length)
        chi = (self.bins.weights * self.distance**2).sum(axis=1)
        chi += (((self.x[:, [1, 4]] - mean[:, None]) / spread[:, None]) ** 2).sum(axis=1)
        return np.asarray(np.maximum(chi - np.maximum((self.bins.weights > 0).sum(axis=1) - 8, 0), 0.0))


def _handles(length: Floats) -> tuple[Floats, Floats]:
    return HANDLE_MEAN * length, HANDLE_SPREAD * np.maximum(length, 0.1)


def _begun(first: Indices, last: Indices, bins: Bins, most: Floats) -> _Fit:
    t = bins.along / np.maximum(bins.length[:, None], 1e-9)
    control = _first_guess(bins, t)
    x, axes = _framed(control)
    t, normal, distance = _bin_feet(bins, control, t)
    return _Fit(first, last, bins, most, t, normal, distance, x, axes, control[:, ::3].copy(), control)


def _first_guess(bins: Bins, t: Floats) -> Places:
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


def _bin_feet(bins: Bins, control: Places, t: Floats) -> tuple[Floats, Places, Floats]:
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


def _cubic_ends(control: Places, hessian: Floats, first: Places, last: Places) -> tuple[Ends, Ends]:
    covariance = np.linalg.inv(hessian)
    found = []
    for k, (a, b, c, sample) in enumerate(((0, 1, 2, first), (2, 3, 1, last))):
        way = unit(control[:, b] - control[:, a])
        place = control[:, 3 * k]
        handle = np.maximum(np.abs(control[:, b] - control[:, a]), 1e-6)
        e, swing = 3 * k, 3 * k + 2
        c00, c01 = covariance[:, e, e], covariance[:, e, swing] / handle
        c11 = covariance[:, swing, swing] / handle**2
        det = np.maximum(c00 * c11 - c01**2, 1e-300)
        info = np.stack([c11 / det, -c01 / det, c00 / det], axis=1)
        # At the start (2/3) of the inner leg's distance from the tangent over the handle squared; mirrored at the end.
        far = cross(way, control[:, c] - place)
        bend = np.clip(2 / 3 * far / handle**2, -1.0, 1.0)
        found.append(Ends(dot(place - sample, 1j * way), np.angle(way), bend, info))
    return found[0], found[1]
