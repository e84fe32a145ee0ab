"""Whether a closed boundary is a circle as far as its noise can tell."""

from __future__ import annotations

import numpy as np

from maskgen.geometry.cubics import Floats, Places
from maskgen.geometry.samples import Samples

LEAST_SAMPLES = 6
"""Fewer samples lie on some circle too easily."""
DOUBT = 2.0
"""Chi-square may exceed its mean by this many of its own deviations."""
LEAST_COVER = np.radians(100.0)
"""Samples further apart than this, seen from the centre, do not make a circle."""
QUARTER_HANDLE = 4 / 3 * np.tan(np.pi / 8)


def circle_of(samples: Samples) -> Places | None:
    """Give the circle as four cubics, (4, 4) control points, or None where the samples say otherwise."""
    places, count = samples.places, len(samples.places)
    if not samples.closed or count < LEAST_SAMPLES:
        return None
    weight = 1 / samples.sigma**2
    centre = complex(np.average(places, weights=weight))
    local = places - centre
    rows = np.stack([2 * local.real, 2 * local.imag, np.ones(count)], axis=1)
    a, b, c = _least_squares(rows, np.abs(local) ** 2, weight)
    middle, radius = complex(a, b), float(np.sqrt(max(c + a * a + b * b, 0.0)))
    for _ in range(4):
        away = local - middle
        reach = np.maximum(np.abs(away), 1e-9)
        rows = np.stack([away.real / reach, away.imag / reach, np.ones(count)], axis=1)
        a, b, c = _least_squares(rows, reach - radius, weight)
        middle, radius = middle + complex(a, b), radius + float(c)
    away = local - middle
    chi = float((weight * (np.abs(away) - radius) ** 2).sum())
    if chi > count - 3 + DOUBT * np.sqrt(2 * count):
        return None
    gaps = np.diff(np.sort(np.angle(away)), append=0.0)
    gaps[-1] = 2 * np.pi - gaps[:-1].sum()
    turns = np.angle(np.roll(away, -1) * np.conj(away)).sum() / (2 * np.pi)
    if gaps.max() > LEAST_COVER or abs(abs(turns) - 1) > 1e-6:
        return None
    quarter = 1j if turns > 0 else -1j
    out = radius * quarter ** np.arange(5)
    start, end = out[:-1], out[1:]
    control = np.stack([start, start * (1 + quarter * QUARTER_HANDLE), end * (1 - quarter * QUARTER_HANDLE), end], 1)
    return np.asarray(control + middle + centre)


def _least_squares(rows: Floats, right: Floats, weight: Floats) -> Floats:
    scaled = rows.T * weight
    return np.asarray(np.linalg.solve(scaled @ rows + 1e-12 * np.eye(3), scaled @ right))
