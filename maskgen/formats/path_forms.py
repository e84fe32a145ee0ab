"""Path data written over and over at other places: the positions apart from the words between them."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.formats.numbers import DECIMALS
from maskgen.formats.svg_write import path_data
from maskgen.model.paths import Cubic, Point, Ring

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_PATH = re.compile(r' d="([^"]*)"')
_COMMAND = re.compile(r"[MLC]")
_PLACE = f"%.{DECIMALS}f"


@dataclass(frozen=True, slots=True, eq=False)
class PathForm:
    """Path data with absolute positions: `words` with a place for every number, the positions (n, 2) in mm.

    `box` is left, top, right, bottom of the outline itself, which bends short of the control points of its curves.
    """

    words: str
    points: NDArray[np.float64]
    box: tuple[float, float, float, float]

    @classmethod
    def parse(cls, data: str) -> PathForm:
        """Take path data of M, L, C and Z, at least one run of it, apart."""
        points = np.array(_NUMBER.findall(data), dtype=np.float64).reshape(-1, 2)
        return cls(_NUMBER.sub(_PLACE, data), points, _extent(data, points))

    @classmethod
    def of(cls, rings: Iterable[Ring]) -> PathForm:
        """Take the data of rings apart."""
        return cls.parse(path_data(rings))

    def at(self, shift: Point = (0.0, 0.0), *, turned: bool = False, decimals: int = DECIMALS) -> str:
        """Give the path data moved by `shift`, after a quarter turn of (x, y) to (-y, x) when `turned`."""
        points = self.points[:, ::-1] * (-1.0, 1.0) if turned else self.points
        words = self.words if decimals == DECIMALS else self.words.replace(_PLACE, f"%.{decimals}f")
        # + 0.0 clears a minus on zero
        return words % tuple((np.round(points + shift, decimals) + 0.0).ravel().tolist())

    @property
    def first(self) -> Point:
        """The position the path begins at."""
        x, y = self.points[0].tolist()
        return x, y


@dataclass(frozen=True, slots=True)
class Sketch:
    """Rings as short path data for small pictures: where they begin, and the rest in steps from there."""

    start: Point
    steps: str

    @classmethod
    def of(cls, rings: Iterable[Ring]) -> Sketch:
        """Write rings in whole hundredths of a millimetre, every position from the one before it."""
        words: list[str] = []
        start = begun = (0, 0)
        for ring in rings:
            first = _hundredths(ring.segments[0].start)
            if words:
                words.append(f"m{_step(begun, first)}")
            else:
                start = first
            begun = here = first
            for segment in ring.segments:
                end = _hundredths(segment.end)
                if isinstance(segment, Cubic):
                    controls = (_hundredths(segment.control1), _hundredths(segment.control2))
                    words.append("c" + " ".join(_step(here, point) for point in (*controls, end)))
                elif end != here:
                    words.append(f"l{_step(here, end)}")
                here = end
            words.append("z")
        return cls((start[0] / 100, start[1] / 100), "".join(words))

    def moved(self, shift: Point) -> Sketch:
        """Give the same steps from another start, in whole hundredths."""
        x, y = (round(here + by, 2) + 0.0 for here, by in zip(self.start, shift, strict=True))
        return Sketch((x, y), self.steps)

    @property
    def data(self) -> str:
        """The path data."""
        return f"M{self.start[0]:.2f} {self.start[1]:.2f}{self.steps}" if self.steps else ""


def _extent(data: str, points: NDArray[np.float64]) -> tuple[float, float, float, float]:
    """Give the box of an outline: of its nodes, and of what bulges past them."""
    counts = np.array([3 if command == "C" else 1 for command in _COMMAND.findall(data)])
    nodes = np.cumsum(counts) - 1
    low, high = points[nodes].min(axis=0), points[nodes].max(axis=0)
    ends = nodes[counts == 3]
    curves = points[ends[:, None] + np.arange(-3, 1)]
    # A curve whose control points lie within the box of the nodes cannot leave it.
    outside = ((curves < low) | (curves > high)).any(axis=(1, 2))
    if outside.any():
        bulge = _at_turns(curves[outside])
        low, high = np.fmin(low, np.fmin.reduce(bulge)), np.fmax(high, np.fmax.reduce(bulge))
    (left, top), (right, bottom) = low.tolist(), high.tolist()
    return left, top, right, bottom


def _at_turns(curves: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give x and y of cubics (n, 4, 2) where each turns back, two for every curve; NaN where it does not."""
    p0, p1, p2, p3 = np.moveaxis(curves, 1, 0)
    a, b, c = p3 - p0 + 3 * (p1 - p2), 2 * (p0 - 2 * p1 + p2), p1 - p0
    with np.errstate(divide="ignore", invalid="ignore"):
        # Zeros of a t^2 + b t + c by the form that loses no digits where a is small.
        q = -0.5 * (b + np.copysign(np.sqrt(b * b - 4 * a * c), b))
        t = np.concatenate([q / a, c / q])
    t[~((t > 0) & (t < 1))] = np.nan
    p0, p1, p2, p3 = (np.concatenate([p, p]) for p in (p0, p1, p2, p3))
    s = 1 - t
    places: NDArray[np.float64] = s**3 * p0 + 3 * s * s * t * p1 + 3 * s * t * t * p2 + t**3 * p3
    return places


def _hundredths(point: Point) -> tuple[int, int]:
    return round(point[0] * 100), round(point[1] * 100)


def _step(here: tuple[int, int], there: tuple[int, int]) -> str:
    return f"{(there[0] - here[0]) / 100:g} {(there[1] - here[1]) / 100:g}"


def read_forms(data: bytes) -> list[PathForm]:
    """Give the paths of a drawing this project wrote, in its order."""
    return [PathForm.parse(found) for found in _PATH.findall(data.decode())]
