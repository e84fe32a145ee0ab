"""Values of SVG attributes: lengths, transforms, colours, windows.

Sources: SVG 2 chapters 7 (viewBox, preserveAspectRatio, transform) and 13 (paint), CSS Values 4 (units).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np
from tinycss2 import color4

from maskgen.model.drawing import IDENTITY, Matrix, Window, combine
from maskgen.units import MM_PER_CSS_PX, MM_PER_CSS_UNIT

NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?"
_LENGTH = re.compile(rf"\s*({NUMBER})\s*([A-Za-z%]*)\s*$")
_NUMBERS = re.compile(NUMBER)
_TRANSFORM = re.compile(r"\s*([A-Za-z]+)\s*\(([^)]*)\)\s*,?")
_ARGUMENT = re.compile(rf"({NUMBER})(deg|grad|rad|turn|[a-z%]*)")
_URL = re.compile(r"""url\(\s*["']?([^"')]*)["']?\s*\)\s*(.*)$""", re.IGNORECASE | re.DOTALL)
_DEGREES = {"": 1.0, "deg": 1.0, "grad": 0.9, "rad": 180.0 / math.pi, "turn": 360.0}

LARGEST = 1e12
"""Numbers of a transform beyond this are no transform."""
EM_PX = 16.0
"""Size of letters where nothing states it (CSS: medium, common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Length:
    """A number and its unit in lower case, empty where none is written."""

    value: float
    unit: str

    @property
    def millimetres(self) -> float | None:
        """Physical length; None for per cent and units of letters."""
        unit = self.unit or "px"
        return self.value * MM_PER_CSS_UNIT[unit] if unit in MM_PER_CSS_UNIT else None

    def pixels(self, *, whole: float, em: float = EM_PX) -> float | None:
        """Length in user units; `whole` is what per cent are of. None for an unknown unit."""
        if self.unit == "%":
            return self.value * whole / 100.0
        if self.unit in ("em", "rem"):
            return self.value * em
        if self.unit in ("ex", "ch"):
            return self.value * em / 2
        physical = self.millimetres
        return None if physical is None else (self.value if self.unit in ("", "px") else physical / MM_PER_CSS_PX)


def read_length(text: str | None) -> Length | None:
    """Read a length; None where there is none or it is not one."""
    match = _LENGTH.match(text or "")
    if match is None or not math.isfinite(float(match.group(1))):
        return None
    return Length(float(match.group(1)), match.group(2).lower())


def read_fraction(text: str | None, default: float = 1.0) -> float:
    """Read a number or a percentage, held within 0 to 1."""
    length = read_length(text)
    if length is None:
        return default
    return min(1.0, max(0.0, length.value / 100.0 if length.unit == "%" else length.value))


def read_numbers(text: str) -> list[float] | None:
    """Read a list of numbers; None when anything else is in it, or one is not finite."""
    if re.sub(r"[\s,]", "", _NUMBERS.sub("", text)):
        return None
    values = [float(v) for v in _NUMBERS.findall(text)]
    return values if all(map(math.isfinite, values)) else None


def read_window(text: str | None) -> Window | None:
    """Read a viewBox; None where there is none, or one of no size."""
    values = read_numbers(text or "")
    if values is None or len(values) != 4 or values[2] <= 0 or values[3] <= 0:
        return None
    return Window(*values)


def read_transform(text: str | None) -> Matrix | None:
    """Read a list of transforms; None when it cannot be read."""
    matrix = IDENTITY
    position = 0
    text = (text or "").strip()
    if text == "none":
        return matrix
    while position < len(text):
        match = _TRANSFORM.match(text, position)
        step = _one_transform(match.group(1), match.group(2)) if match else None
        if match is None or step is None:
            return None
        matrix = combine(matrix, step)
        position = match.end()
    return matrix


def _one_transform(name: str, inside: str) -> Matrix | None:
    if re.sub(r"[\s,]", "", _ARGUMENT.sub("", inside)):
        return None
    found = _ARGUMENT.findall(inside)
    v = [float(number) * (_DEGREES.get(unit, 1.0)) for number, unit in found]
    if not all(abs(value) <= LARGEST for value in v) or any(unit not in _DEGREES and unit != "px" for _, unit in found):
        return None
    n = len(v)
    match name:
        case "matrix" if n == 6:
            return np.array([[v[0], v[2], v[4]], [v[1], v[3], v[5]]])
        case "translate" if n in (1, 2):
            return np.array([[1.0, 0.0, v[0]], [0.0, 1.0, v[1] if n == 2 else 0.0]])
        case "translateX" if n == 1:
            return np.array([[1.0, 0.0, v[0]], [0.0, 1.0, 0.0]])
        case "translateY" if n == 1:
            return np.array([[1.0, 0.0, 0.0], [0.0, 1.0, v[0]]])
        case "scale" if n in (1, 2):
            return np.array([[v[0], 0.0, 0.0], [0.0, v[-1], 0.0]])
        case "scaleX" if n == 1:
            return np.array([[v[0], 0.0, 0.0], [0.0, 1.0, 0.0]])
        case "scaleY" if n == 1:
            return np.array([[1.0, 0.0, 0.0], [0.0, v[0], 0.0]])
        case "rotate" if n in (1, 3):
            return about(rotation(v[0]), (v[1], v[2])) if n == 3 else rotation(v[0])
        case "skewX" if n == 1:
            return np.array([[1.0, math.tan(math.radians(v[0])), 0.0], [0.0, 1.0, 0.0]])
        case "skewY" if n == 1:
            return np.array([[1.0, 0.0, 0.0], [math.tan(math.radians(v[0])), 1.0, 0.0]])
    return None


def rotation(degrees: float) -> Matrix:
    """Give a turn about the origin; quarter turns are exact."""
    quarter = {0.0: (1.0, 0.0), 90.0: (0.0, 1.0), 180.0: (-1.0, 0.0), 270.0: (0.0, -1.0)}
    angle = math.radians(degrees)
    cos, sin = quarter.get(degrees % 360.0, (math.cos(angle), math.sin(angle)))
    return np.array([[cos, -sin, 0.0], [sin, cos, 0.0]])


def about(matrix: Matrix, point: tuple[float, float]) -> Matrix:
    """Do a map about another point than the origin."""
    return combine(combine(shift(*point), matrix), shift(-point[0], -point[1]))


def shift(x: float, y: float) -> Matrix:
    """Give a displacement."""
    return np.array([[1.0, 0.0, x], [0.0, 1.0, y]])


def fit_window(window: Window, width: float, height: float, aspect: str | None) -> Matrix:
    """Give the map from a viewBox into a viewport of a size at the origin, as `preserveAspectRatio` says."""
    sx, sy = width / window.width, height / window.height
    words = (aspect or "").split()
    align = words[0] if words else "xMidYMid"
    if align == "defer":
        align = words[1] if len(words) > 1 else "xMidYMid"
    if align != "none":
        sx = sy = max(sx, sy) if "slice" in words else min(sx, sy)
    share = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    left = share.get(align[1:4], 0.0 if align == "none" else 0.5) * (width - sx * window.width)
    top = share.get(align[5:8], 0.0 if align == "none" else 0.5) * (height - sy * window.height)
    return np.array([[sx, 0.0, left - sx * window.left], [0.0, sy, top - sy * window.top]])


@dataclass(frozen=True, slots=True)
class Colour:
    """A colour, `#rrggbb`, and its opacity."""

    hexadecimal: str
    opacity: float


def read_colour(text: str | None) -> Colour | None:
    """Read a CSS colour; None when it is none (currentColor among them)."""
    try:
        parsed = color4.parse_color((text or "").strip())
        if parsed is None or parsed == "currentcolor":
            return None
        r, g, b = (min(255, max(0, round(255 * float(v or 0.0)))) for v in parsed.to("srgb").coordinates)
    except (ValueError, TypeError, NotImplementedError, ArithmeticError):
        return None
    return Colour(f"#{r:02x}{g:02x}{b:02x}", min(1.0, max(0.0, float(parsed.alpha))))


def read_reference(text: str | None) -> tuple[str, str] | None:
    """Split `url(#key) rest` into key and rest; the key is empty for what lies outside the file."""
    match = _URL.match((text or "").strip())
    if match is None:
        return None
    target = match.group(1).strip()
    return (target[1:] if target.startswith("#") else "", match.group(2).strip())
