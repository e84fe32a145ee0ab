"""Colour spaces and differences on arrays whose last axis holds the three channels.

sRGB and its white are D65 throughout (no adaptation anywhere). sRGB: IEC 61966-2-1 in the exact rational form of W3C
CSS Color 4. CIELAB: CIE 15. Oklab: Ottosson 2020, matrices as in CSS Color 4. CIEDE2000: Sharma, Wu and Dalal, Color
Research and Application 30 (2005) 21-30. Contrast: WCAG 2, "contrast ratio" and "relative luminance".
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from maskgen.errors import InputError

Floats: TypeAlias = NDArray[np.float64]

RGB_TO_XYZ: Floats = np.array(
    [
        [506752 / 1228815, 87881 / 245763, 12673 / 70218],
        [87098 / 409605, 175762 / 245763, 12673 / 175545],
        [7918 / 409605, 87881 / 737289, 1001167 / 1053270],
    ]
)
XYZ_TO_RGB: Floats = np.asarray(np.linalg.inv(RGB_TO_XYZ), dtype=np.float64)
WHITE: Floats = np.array([0.3127 / 0.3290, 1.0, (1.0 - 0.3127 - 0.3290) / 0.3290])
"""XYZ of D65 from its chromaticity x 0.3127, y 0.3290."""

_LAB_EPSILON = 216 / 24389
_LAB_KAPPA = 24389 / 27

_XYZ_TO_LMS: Floats = np.array(
    [
        [0.8190224379967030, 0.3619062600528904, -0.1288737815209879],
        [0.0329836539323885, 0.9292868615863434, 0.0361446663506424],
        [0.0481771893596242, 0.2642395317527308, 0.6335478284694309],
    ]
)
_LMS_TO_OKLAB: Floats = np.array(
    [
        [0.2104542683093140, 0.7936177747023054, -0.0040720430116193],
        [1.9779985324311684, -2.4285922420485799, 0.4505937096174110],
        [0.0259040424655478, 0.7827717124575296, -0.8086757549230774],
    ]
)
_RGB_TO_LMS: Floats = _XYZ_TO_LMS @ RGB_TO_XYZ


def hex_to_srgb(colour: str) -> Floats:
    """Read `#rrggbb` (either case) as three numbers from 0 to 1.

    Raises
    ------
    InputError
        When it is not of that form.
    """
    digits = colour.removeprefix("#")
    if len(colour) != 7 or len(digits) != 6 or any(c not in "0123456789abcdefABCDEF" for c in digits):
        raise InputError(f"{colour!r} is not a colour", mend="write it as #rrggbb, for example #1b3f94")
    return np.array([int(digits[i : i + 2], 16) for i in (0, 2, 4)]) / 255.0


def hexes_to_srgb(colours: Sequence[str]) -> Floats:
    """Read many `#rrggbb` as an array (n, 3)."""
    return np.array([hex_to_srgb(c) for c in colours], dtype=np.float64).reshape(-1, 3)


def srgb_to_hex(srgb: ArrayLike) -> str:
    """Write three numbers as `#rrggbb`, clipped to 0..1 and rounded to 8 bit."""
    r, g, b = (int(v) for v in np.rint(np.clip(np.asarray(srgb, dtype=np.float64), 0.0, 1.0) * 255.0))
    return f"#{r:02x}{g:02x}{b:02x}"


def srgb_to_linear(srgb: ArrayLike) -> Floats:
    """Undo the transfer curve; negative values are mirrored."""
    v = np.asarray(srgb, dtype=np.float64)
    size = np.abs(v)
    curve = np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    return np.asarray(np.sign(v) * curve)


def linear_to_srgb(linear: ArrayLike) -> Floats:
    """Apply the transfer curve; negative values are mirrored, nothing is clipped."""
    v = np.asarray(linear, dtype=np.float64)
    size = np.abs(v)
    curve = np.where(size <= 0.0031308, 12.92 * size, 1.055 * size ** (1 / 2.4) - 0.055)
    return np.asarray(np.sign(v) * curve)


def linear_to_xyz(linear: ArrayLike) -> Floats:
    """Linear light to XYZ, Y of white = 1."""
    return np.asarray(np.asarray(linear, dtype=np.float64) @ RGB_TO_XYZ.T)


def xyz_to_lab(xyz: ArrayLike) -> Floats:
    """XYZ (Y of white = 1) to CIELAB under D65."""
    t = np.asarray(xyz, dtype=np.float64) / WHITE
    f = np.where(t > _LAB_EPSILON, np.cbrt(t), (_LAB_KAPPA * t + 16.0) / 116.0)
    fx, fy, fz = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)], axis=-1)


def srgb_to_lab(srgb: ArrayLike) -> Floats:
    """Turn sRGB 0..1 into CIELAB under D65."""
    return xyz_to_lab(linear_to_xyz(srgb_to_linear(srgb)))


def srgb_to_oklab(srgb: ArrayLike) -> Floats:
    """Turn sRGB 0..1 into Oklab (L 0..1)."""
    return np.asarray(np.cbrt(srgb_to_linear(srgb) @ _RGB_TO_LMS.T) @ _LMS_TO_OKLAB.T)


def hex_to_lab(colour: str) -> Floats:
    """Read `#rrggbb` as CIELAB under D65."""
    return srgb_to_lab(hex_to_srgb(colour))


def ciede2000(first: ArrayLike, second: ArrayLike) -> Floats:
    """Colour difference of CIELAB colours, kL = kC = kH = 1; the two arrays broadcast against each other.

    Just noticeable is about 1; equation numbers are those of Sharma, Wu and Dalal 2005.
    """
    one, two = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    l1, a1, b1 = one[..., 0], one[..., 1], one[..., 2]
    l2, a2, b2 = two[..., 0], two[..., 1], two[..., 2]
    chroma_7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2.0) ** 7
    g = 0.5 * (1.0 - np.sqrt(chroma_7 / (chroma_7 + 25.0**7)))  # (4)
    a1, a2 = (1.0 + g) * a1, (1.0 + g) * a2
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = np.degrees(np.arctan2(b1, a1)) % 360.0, np.degrees(np.arctan2(b2, a2)) % 360.0  # (7)
    grey = c1 * c2 == 0.0
    turn = h2 - h1
    dh = np.where(np.abs(turn) <= 180.0, turn, turn - 360.0 * np.sign(turn))
    dh = np.where(grey, 0.0, dh)  # (10)
    d_hue = 2.0 * np.sqrt(c1 * c2) * np.sin(np.radians(dh) / 2.0)  # (11)
    l_mean, c_mean, total = (l1 + l2) / 2.0, (c1 + c2) / 2.0, h1 + h2
    far = np.where(total < 360.0, total + 360.0, total - 360.0)
    h_mean = np.where(grey, total, np.where(np.abs(turn) <= 180.0, total, far) / 2.0)  # (14)
    t = (
        1.0
        - 0.17 * np.cos(np.radians(h_mean - 30.0))
        + 0.24 * np.cos(np.radians(2.0 * h_mean))
        + 0.32 * np.cos(np.radians(3.0 * h_mean + 6.0))
        - 0.20 * np.cos(np.radians(4.0 * h_mean - 63.0))
    )  # (15)
    mid = (l_mean - 50.0) ** 2
    s_l = 1.0 + 0.015 * mid / np.sqrt(20.0 + mid)  # (18)
    s_c = 1.0 + 0.045 * c_mean
    s_h = 1.0 + 0.015 * c_mean * t
    rotation = np.radians(60.0 * np.exp(-(((h_mean - 275.0) / 25.0) ** 2)))  # (16)
    r_t = -np.sin(rotation) * 2.0 * np.sqrt(c_mean**7 / (c_mean**7 + 25.0**7))  # (17), (21)
    lightness, chroma, hue = (l2 - l1) / s_l, (c2 - c1) / s_c, d_hue / s_h
    return np.asarray(np.sqrt(lightness**2 + chroma**2 + hue**2 + r_t * chroma * hue))  # (22)


def difference(first: str, second: str) -> float:
    """CIEDE2000 between two `#rrggbb`."""
    return float(ciede2000(hex_to_lab(first), hex_to_lab(second)))


def contrast_ratio(first: str, second: str) -> float:
    """WCAG contrast of two `#rrggbb`, from 1 (alike) to 21 (black on white)."""
    y1, y2 = (float(srgb_to_linear(hex_to_srgb(c)) @ [0.2126, 0.7152, 0.0722]) for c in (first, second))
    return (max(y1, y2) + 0.05) / (min(y1, y2) + 0.05)
