"""The best circular arc through each of many runs."""

from __future__ import annotations

import numpy as np

from maskgen.geometry.cubics import Floats, Places, cross, dot, unit
from maskgen.geometry.runs import ARC, Candidates, Ends, Indices, Sums

MOST_SWEEP = np.radians(125.0)
"""An arc turning further is not within 2e-3 of its radius as one cubic."""
FLATTEST = 20.0
"""Arcs of a radius beyond this many run lengths are lines."""


def fit_arcs(sums: Sums, first: Indices, last: Indices, *, rounds: int = 3) -> Candidates:
    """Circle through each run: algebraic first, then Gauss-Newton on the true distances."""
    bins = sums.bins(first, last)
    weight, total = bins.weights, bins.weights.sum(axis=1)
    centre = (weight * bins.places).sum(axis=1) / total
    scale = np.maximum(bins.length, 1e-9)
    local = (bins.places - centre[:, None]) / scale[:, None]
    rows = np.stack([2 * local.real, 2 * local.imag, np.ones(local.shape)], axis=-1)
    solved = _solve(rows, np.abs(local) ** 2, weight)
    middle = solved[:, 0] + 1j * solved[:, 1]
    radius = np.sqrt(np.maximum(solved[:, 2] + np.abs(middle) ** 2, 1e-12))
    for _ in range(rounds):
        away = local - middle[:, None]
        reach = np.maximum(np.abs(away), 1e-9)
        # A bin's average lies inside its arc by h^2 / (24 r).
        bow = (bins.extent / scale[:, None]) ** 2 / 24 / radius[:, None]
        rows = np.stack([away.real / reach, away.imag / reach, np.ones(local.shape)], axis=-1)
        step = _solve(rows, reach + bow - radius[:, None], weight)
        limit = 0.5 * radius[:, None]
        step = np.clip(step, -limit, limit)
        middle, radius = middle + step[:, 0] + 1j * step[:, 1], np.maximum(radius + step[:, 2], 1e-3)
    away = local - middle[:, None]
    bow = (bins.extent / scale[:, None]) ** 2 / 24 / radius[:, None]
    chi = (weight * ((np.abs(away) + bow - radius[:, None]) * scale[:, None]) ** 2).sum(axis=1)
    return _described(sums, first, last, centre + middle * scale, radius * scale, chi, bins.along, weight)


def _solve(rows: Floats, right: Floats, weight: Floats) -> Floats:
    weighted = np.swapaxes(rows * weight[..., None], 1, 2)
    normal = weighted @ rows
    normal[:, range(3), range(3)] += 1e-9 * weight.sum(axis=1)[:, None]
    return np.asarray(np.linalg.solve(normal, weighted @ right[..., None])[..., 0])


def _described(
    sums: Sums,
    first: Indices,
    last: Indices,
    middle: Places,
    radius: Floats,
    chi: Floats,
    along: Floats,
    weight: Floats,
) -> Candidates:
    begin, finish = sums.places[first], sums.places[last]
    inner = sums.places[(first + last) // 2]
    out0, out1 = unit(begin - middle), unit(finish - middle)
    side = np.where(cross(inner - begin, finish - begin) > 0, 1.0, -1.0)
    sweep = np.angle(out1 * np.conj(out0))
    sweep = np.where(sweep * side < 0, sweep + side * 2 * np.pi, sweep)
    p0, p3 = middle + radius * out0, middle + radius * out1
    t0, t1 = 1j * side * out0, 1j * side * out1
    handle = 4 / 3 * np.tan(np.abs(sweep) / 4) * radius
    control = np.stack([p0, p0 + handle * t0, p3 - handle * t1, p3], axis=1)
    used = (weight > 0).sum(axis=1)
    misfit = np.maximum(chi - np.maximum(used - 5, 0), 0.0)
    length = np.abs(sweep) * radius
    walked = np.abs(finish - begin) + 1e-9
    bad = (np.abs(sweep) > MOST_SWEEP) | (radius > FLATTEST * walked) | (length > 1.6 * walked)
    misfit[bad | ~np.isfinite(misfit)] = np.inf
    # Offset and direction along the run, to first order a + b s + c s^2 / 2 about its middle.
    whole = np.maximum(length, 1e-6)
    half = whole / 2
    s = along - half[:, None]
    rows = np.stack([np.ones(s.shape), s, s * s / 2], axis=-1)
    normal = np.swapaxes(rows * weight[..., None], 1, 2) @ rows
    normal[:, range(3), range(3)] += 1e-9 * weight.sum(axis=1)[:, None]
    covariance = np.linalg.inv(normal)

    def ends(at: Floats, place: Places, sample: Places, way: Places) -> Ends:
        one, none = np.ones(len(at)), np.zeros(len(at))
        look = np.stack([np.stack([one, at, at * at / 2], axis=-1), np.stack([none, one, at], axis=-1)], axis=1)
        spread = look @ covariance @ np.swapaxes(look, 1, 2)
        a, b, c = spread[:, 0, 0], spread[:, 0, 1], spread[:, 1, 1]
        det = np.maximum(a * c - b * b, 1e-300)
        info = np.stack([c / det, -b / det, a / det], axis=1)
        return Ends(dot(place - sample, 1j * way), np.angle(way), side / radius, info)

    return Candidates(
        first,
        last,
        np.full(len(first), ARC, dtype=np.int8),
        misfit,
        control,
        ends(-half, p0, begin, t0),
        ends(half, p3, finish, t1),
    )
