"""Does the drawing lie on its page, fit the sheet and the part, and say how large it is?"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from maskgen.check.lines import CutLine
from maskgen.check.settings import CheckSettings
from maskgen.model.drawing import Drawing, Source
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.paths import Point
from maskgen.units import MM_PER_INCH

OUTSIDE_MM = 0.01
OVERRUN_MM = 0.5
"""A mask may run past the face by the overhang and this."""
MOST_TOLD = 30
SAME_SCALE = 0.004

SCALES = (
    (MM_PER_INCH, "inches read as millimetres, or the other way round"),
    (10.0, "centimetres and millimetres mixed up (10 times)"),
    (96.0 / MM_PER_INCH, "pixels of 1/96 in taken for millimetres (25.4/96)"),
    (72.0 / MM_PER_INCH, "points of 1/72 in taken for millimetres (25.4/72)"),
    (96.0 / 72.0, "72 and 96 units to the inch mixed up"),
    (96.0 / 90.0, "90 and 96 units to the inch mixed up"),
    (1.016, "1000 instead of 1016 plotter units to the inch"),
)
"""Ratios that mistakes of unit leave behind. Arithmetic of the units: 1 in = 25.4 mm = 96 px = 72 pt = 1016 plu."""


@dataclass(frozen=True, slots=True)
class Extent:
    """The box around all cut lines, mm."""

    left: float
    top: float
    right: float
    bottom: float

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        return self.right - self.left, self.bottom - self.top

    @property
    def centre(self) -> Point:
        """The middle."""
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2


def extent_of(lines: Sequence[CutLine]) -> Extent | None:
    """Give the box around lines; None around none."""
    if not lines:
        return None
    points = np.vstack([line.points for line in lines])
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return Extent(float(left), float(top), float(right), float(bottom))


def named_scale(ratio: float) -> str | None:
    """Give the mistake that leaves this ratio of sizes behind; None for a ratio of no known one."""
    for factor, name in SCALES:
        if abs(math.log(ratio / factor)) < SAME_SCALE or abs(math.log(ratio * factor)) < SAME_SCALE:
            return name
    return None


def sheet_findings(drawing: Drawing, lines: Sequence[CutLine], settings: CheckSettings) -> Iterator[Finding]:
    """Find what lies off the page, below zero, or is larger than the sheet."""
    told = 0
    for line in lines:
        out = _outside(drawing, line)
        if out is not None and told < MOST_TOLD:
            told += 1
            at, distance, where = out
            yield Finding(
                Code.OFF_SHEET, Severity.ERROR, f"{distance:.2f} mm {where} ({line.place})",
                "move it onto the page, or enlarge the page", at, value=distance, limit=0.0,
            )  # fmt: skip
    extent = extent_of(lines)
    if extent is None:
        return
    width, height = extent.size
    if settings.sheet_mm is None:
        limit = settings.resist.sheet_width_mm
        if min(width, height) > limit:
            yield _too_large(extent, min(width, height), limit, f"{limit:g} mm wide film")
    else:
        a, b = settings.sheet_mm
        if not ((width <= a and height <= b) or (width <= b and height <= a)):
            over = max(min(width / a, width / b), min(height / a, height / b))
            yield _too_large(extent, max(width, height), max(a, b), f"sheet of {a:g} x {b:g} mm ({over:.2f} times)")


def _too_large(extent: Extent, value: float, limit: float, what: str) -> Finding:
    width, height = extent.size
    return Finding(
        Code.OFF_SHEET, Severity.ERROR, f"{width:.1f} x {height:.1f} mm does not fit the {what} either way round",
        "check the scale, or cut it in parts", extent.centre, value=value, limit=limit,
    )  # fmt: skip


def _outside(drawing: Drawing, line: CutLine) -> tuple[Point, float, str] | None:
    points = line.points
    if drawing.source is Source.SVG and drawing.page is not None:
        page = drawing.page
        over = np.stack(
            [page.left - points[:, 0], points[:, 0] - page.left - page.width,
             page.top - points[:, 1], points[:, 1] - page.top - page.height]
        )  # fmt: skip
        where = "outside the page"
    elif drawing.source is Source.HPGL:
        over = np.stack([-points[:, 0], points[:, 1]])
        where = "below zero"
    else:
        return None
    furthest = over.max(axis=0)
    k = int(furthest.argmax())
    if furthest[k] <= OUTSIDE_MM:
        return None
    return (float(points[k, 0]), float(points[k, 1])), float(furthest[k]), where


def scale_findings(drawing: Drawing, lines: Sequence[CutLine], settings: CheckSettings) -> Iterator[Finding]:
    """Find missing units, and sizes the part does not allow."""
    extent = extent_of(lines)
    size = f"{extent.size[0]:.2f} x {extent.size[1]:.2f} mm" if extent else "nothing"
    if drawing.units == "none":
        how = {Source.SVG: "one unit was taken as 1/96 in", Source.DXF: "one unit was taken as 1 mm"}
        yield Finding(
            Code.SCALE_DOUBT, Severity.WARNING,
            f"the file states no unit: {how.get(drawing.source, 'a unit was assumed')}, which makes it {size}",
            "measure it, or export it with units", None,
        )  # fmt: skip
    if settings.part is None or extent is None:
        return
    face = settings.part.face_mm
    room = 2 * (settings.resist.overhang_mm + OVERRUN_MM)
    width, height = extent.size
    if not _fits((width, height), (face[0] + room, face[1] + room)):
        ratio = max(width / face[0], height / face[1])
        name = _mistake([(width, height)], face)
        yield Finding(
            Code.SCALE_DOUBT, Severity.WARNING,
            f"{size} does not fit the part of {face[0]:.2f} x {face[1]:.2f} mm{f': {name}?' if name else ''}",
            "check the scale", extent.centre, value=ratio, limit=1.0,
        )  # fmt: skip
        return
    page = drawing.page
    sizes = [(page.width, page.height)] if page is not None else []
    name = _mistake(sizes, face) or _mistake([(width, height)], face)
    if name is not None:
        yield Finding(
            Code.SCALE_DOUBT, Severity.WARNING,
            f"{size} is the part of {face[0]:.2f} x {face[1]:.2f} mm in another scale: {name}?",
            "check the scale", extent.centre, value=width / face[0], limit=1.0,
        )  # fmt: skip


def _fits(size: tuple[float, float], room: tuple[float, float]) -> bool:
    (w, h), (a, b) = size, room
    return (w <= a and h <= b) or (w <= b and h <= a)


def _mistake(sizes: list[tuple[float, float]], face: tuple[float, float]) -> str | None:
    """Name the mistake that makes a size out of the face's, the same both ways."""
    for width, height in sizes:
        if width <= 0 or height <= 0:
            continue
        for a, b in (face, face[::-1]):
            across, down = width / a, height / b
            if abs(math.log(across / down)) < SAME_SCALE and abs(math.log(across)) > 10 * SAME_SCALE:
                name = named_scale(across)
                if name is not None:
                    return name
    return None
