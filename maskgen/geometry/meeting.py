"""Where two curves that end beside each other cross when carried on: the corner between them."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from maskgen.geometry.cubics import Places

CORNER_REACH, REACH_BASE, REACH_SHARE = 3.0, 0.7, 0.35
"""A crossing of two runs further than this (steps) from where they were cut is not believed; nor, beside a short
run, one further than the base and this share of the run's length: its direction is not known well enough."""

Meeting: TypeAlias = tuple[float, float, complex]
"""Parameters on the curve before and the curve after, and the place."""


def crossing(before: Places, after: Places) -> Meeting | None:
    """Parameters on both curves and the place where they cross, near the end of one and the start of the other."""
    t, u = 1.0, 0.0
    for _ in range(8):
        a, da = _place(before, t)
        b, db = _place(after, u)
        determinant = -da.real * db.imag + da.imag * db.real
        if abs(determinant) <= 0.05 * abs(da) * abs(db):
            return None
        gap = b - a
        dt = (-gap.real * db.imag + gap.imag * db.real) / determinant
        du = (da.real * gap.imag - da.imag * gap.real) / determinant
        t, u = t + float(np.clip(dt, -0.3, 0.3)), u + float(np.clip(du, -0.3, 0.3))
    a, _ = _place(before, t)
    b, _ = _place(after, u)
    reach = max(abs(a - before[3]), abs(b - after[0]))
    short = min(abs(before[3] - before[0]), abs(after[3] - after[0]))
    if abs(a - b) > 1e-3 or reach > min(CORNER_REACH, REACH_BASE + REACH_SHARE * short) or t < 0.4 or u > 0.6:
        return None
    return t, u, (a + b) / 2


def _place(control: Places, t: float) -> tuple[complex, complex]:
    p0, p1, p2, p3 = (complex(p) for p in control)
    b, c, d = 3 * (p1 - p0), 3 * (p2 - 2 * p1 + p0), p3 - p0 + 3 * (p1 - p2)
    return ((d * t + c) * t + b) * t + p0, (3 * d * t + 2 * c) * t + b


def trimmed(control: Places, t0: float, t1: float) -> Places:
    """Give the same curve from parameter t0 to t1 (either may lie outside 0 to 1) as a cubic of its own."""
    place0, slope0 = _place(control, t0)
    place1, slope1 = _place(control, t1)
    third = (t1 - t0) / 3
    return np.array([place0, place0 + third * slope0, place1 - third * slope1, place1])
