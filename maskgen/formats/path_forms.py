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
_PLACE = f"%.{DECIMALS}f"


@dataclass(frozen=True, slots=True, eq=False)
class PathForm:
    """Path data with absolute positions: `words` with a place for every number, the positions (n, 2) in mm.

    `box` holds them: left, top, right, bottom of the outline or, by a trifle, more.
    """

    words: str
    points: NDArray[np.float64]
    box: tuple[float, float, float, float]

    @classmethod
    def parse(cls, data: str) -> PathForm:
        """Take path data of M, L, C and Z, at least one run of it, apart."""
        points = np.array(_NUMBER.findall(data), dtype=np.float64).reshape(-1, 2)
        (left, top), (right, bottom) = points.min(axis=0).tolist(), points.max(axis=0).tolist()
        return cls(_NUMBER.sub(_PLACE, data), points, (left, top, right, bottom))

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


def _hundredths(point: Point) -> tuple[int, int]:
    return round(point[0] * 100), round(point[1] * 100)


def _step(here: tuple[int, int], there: tuple[int, int]) -> str:
    return f"{(there[0] - here[0]) / 100:g} {(there[1] - here[1]) / 100:g}"


def read_forms(data: bytes) -> list[PathForm]:
    """Give the paths of a drawing this project wrote, in its order."""
    return [PathForm.parse(found) for found in _PATH.findall(data.decode())]
