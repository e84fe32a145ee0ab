"""Numbers in drawings: fixed point, no exponent, no trailing zeros, never "-0".

Positions are rounded as they stand, one by one; nothing is differenced afterwards, so that rings close exactly and
neighbours that share a boundary print the same digits.
"""

from __future__ import annotations

import math

from maskgen.model.paths import Point

DECIMALS = 4
"""A tenth of a micrometre: a hundredth of the finest tolerance promised anywhere."""


def fixed(value: float) -> str:
    """Print a number with at most `DECIMALS` decimals.

    Raises
    ------
    ValueError
        For a number that is not finite: no drawing may hold one.
    """
    if not math.isfinite(value):
        raise ValueError(f"a drawing cannot hold {value}")
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def fixed_point(point: Point) -> str:
    """Print a position as `x y`."""
    return f"{fixed(point[0])} {fixed(point[1])}"
