"""Least squares of many cubics at once: the engine under every fit.

All candidates of a search are solved together as arrays over (candidate, sample), so that trying many ends for a
curve costs little more than trying one. Distances are measured square to the curve (Gauss-Newton on foot points),
not at fixed parameters, which is what lets a quarter circle come out as one cubic within 3e-4 of its radius.

Inside, places are complex numbers x + iy: half the array calls, and a turn is a multiplication.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.model.paths import Cubic, Points

Floats = NDArray[np.float64]
Places = NDArray[np.complex128]
Flags = NDArray[np.bool_]

LEAST_HANDLE, MOST_HANDLE = 0.02, 1.0
"""Handles stay between these shares of the run's length: shorter ones make cusps, longer ones loops."""
DAMPING = 1e-7
"""Levenberg damping per sample; keeps a straight run, whose handles have no say, from being singular."""


def to_places(points: Points) -> Places:
    """Points (..., 2) as complex numbers (...)."""
    return np.asarray(points[..., 0] + 1j * points[..., 1], dtype=np.complex128)


def dot(a: Places, b: Places) -> Floats:
    """Scalar product of vectors written as complex numbers."""
    return np.asarray(a.real * b.real + a.imag * b.imag)


def cross(a: Places, b: Places) -> Floats:
    """Signed area spanned by vectors written as complex numbers."""
    return np.asarray(a.real * b.imag - a.imag * b.real)


def unit(vectors: Places) -> Places:
    """Scale vectors to length one; a zero vector stays zero."""
    return np.asarray(vectors / np.maximum(np.abs(vectors), 1e-300))


def to_cubic(control: Places) -> Cubic:
    """Four control points as a segment."""
    start, first, second, end = ((float(p.real), float(p.imag)) for p in control)
    return Cubic(start, first, second, end)


@dataclass(frozen=True, slots=True, eq=False)
class Spans:
    """Runs of samples to be replaced by one cubic each, (m, n); first and last sample are the cubic's ends.

    Attributes
    ----------
    places, weights : (m, n)
        Samples of every run and their weights; weight 0 leaves one out.
    start_tangents, end_tangents : (m,)
        Unit tangents, both pointing along the run.
    start_free, end_free : (m,)
        Whether the tangent at that end may turn (beside a corner).
    """

    places: Places
    weights: Floats
    start_tangents: Places
    end_tangents: Places
    start_free: Flags
    end_free: Flags


def bezier(control: Places, t: Floats) -> Places:
    """Places on cubics (m, 4) at parameters (m, n)."""
    a, b, c, d = _powers(control)
    return np.asarray(((d * t + c) * t + b) * t + a)


def _powers(control: Places) -> tuple[Places, Places, Places, Places]:
    p0, p1, p2, p3 = (control[:, k, None] for k in range(4))
    return p0, 3 * (p1 - p0), 3 * (p2 - 2 * p1 + p0), p3 - p0 + 3 * (p1 - p2)


def _frame(control: Places, t: Floats) -> tuple[Places, Places, Places]:
    """Place, first and second derivative."""
    a, b, c, d = _powers(control)
    return ((d * t + c) * t + b) * t + a, (3 * d * t + 2 * c) * t + b, 6 * d * t + 2 * c


def fit_spans(spans: Spans, *, rounds: int = 6) -> tuple[Places, Floats]:
    """Fit one cubic to each span.

    Returns
    -------
    control : (m, 4)
        Control points.
    distances : (m, n)
        Distance of every sample from its cubic, positive on the side +i times the tangent.
    """
    places = spans.places
    steps = np.abs(np.diff(places, axis=1))
    t = np.zeros(places.shape)
    np.cumsum(steps, axis=1, out=t[:, 1:])
    length = t[:, -1].copy()
    t /= np.maximum(length[:, None], 1e-300)
    axes = np.stack(
        [spans.start_tangents, 1j * spans.start_tangents, -spans.end_tangents, 1j * spans.end_tangents], axis=1
    )
    free = np.ones((len(places), 4))
    free[:, 1], free[:, 3] = spans.start_free, spans.end_free
    x = np.zeros((len(places), 4))
    x[:, 0] = x[:, 2] = length / 3
    for _ in range(rounds):
        t, normal, distance = _feet(places, _control(places, axes, x), t)
        x = _improve(distance, normal, t, axes, x, spans.weights, free, length)
    control = _control(places, axes, x)
    for _ in range(2):
        t, _, distance = _feet(places, control, t)
    return control, distance


def _control(places: Places, axes: Places, x: Floats) -> Places:
    moves = x * axes
    start, end = places[:, 0], places[:, -1]
    return np.stack([start, start + moves[:, 0] + moves[:, 1], end + moves[:, 2] + moves[:, 3], end], axis=1)


def _feet(places: Places, control: Places, t: Floats) -> tuple[Floats, Places, Floats]:
    """One Newton step to the foot points; unit normals and signed distances there (to second order)."""
    place, first, second = _frame(control, t)
    offset = places - place
    slope = dot(first, first)
    step = dot(offset, first) / np.maximum(slope - dot(offset, second), 0.3 * slope + 1e-300)
    moved = np.clip(t + np.clip(step, -0.1, 0.1), 0.0, 1.0)
    step = moved - t
    place = place + step * (first + 0.5 * step * second)
    normal = 1j * unit(first + step * second)
    return moved, normal, dot(places - place, normal)


def _improve(
    distance: Floats, normal: Places, t: Floats, axes: Places, x: Floats, weights: Floats, free: Floats, length: Floats
) -> Floats:
    s = 1 - t
    near_start, near_end = 3 * t * s * s, 3 * t * t * s
    jacobian = np.empty((*t.shape, 4))
    for k, near in enumerate((near_start, near_start, near_end, near_end)):
        jacobian[:, :, k] = near * dot(normal, axes[:, k, None])
    weighted = np.swapaxes(jacobian * weights[..., None], 1, 2)
    hessian = weighted @ jacobian
    gradient = weighted @ distance[..., None]
    total = weights.sum(axis=1)[:, None]
    hessian[:, range(4), range(4)] += total * (DAMPING + 1e9 * (1 - free)) + 1e-300
    limit = 0.3 * length[:, None]
    moved = x + np.clip(np.linalg.solve(hessian, gradient)[..., 0] * free, -limit, limit)
    moved[:, ::2] = np.clip(moved[:, ::2], LEAST_HANDLE * length[:, None], MOST_HANDLE * length[:, None])
    return np.asarray(moved)


def distance_to_polyline(places: Places, line: Places) -> Floats:
    """Distance of each place (n,) from an open polyline (m,)."""
    start, step = line[:-1], np.diff(line)
    offset = places[:, None] - start
    along = np.clip(dot(offset, step) / np.maximum(dot(step, step), 1e-300), 0.0, 1.0)
    return np.asarray(np.abs(offset - along * step).min(axis=1))
