"""A font: its shaping and the outlines of its glyphs, scaled so that its capitals are `CAPITAL` high."""

from __future__ import annotations

import io
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import uharfbuzz as hb
from shapely.affinity import translate

from maskgen.geometry.polygons import to_multipolygon
from maskgen.geometry.unite import unite
from maskgen.model.paths import Area, Cubic, Line, Point, Ring, Segment, affine, bounds

Box = tuple[float, float, float, float]

CAPITAL = 10.0
"""Height of the capitals in which glyphs are kept: mm of large lettering, so that tolerances mean something."""

JOINED_SCRIPTS = frozenset({"Arab", "Syrc", "Mong", "Nkoo", "Mand", "Adlm", "Rohg"})
"""Scripts whose letters join: a gap between them would tear words apart (CSS Text Level 3, 8.2.1, cursive scripts)."""


@dataclass(frozen=True, slots=True)
class PlacedGlyph:
    """A glyph on its line: its number, where its origin lies (y down), the first character of its cluster."""

    glyph: int
    at: Point
    cluster: int


@dataclass(frozen=True, slots=True)
class Shaped:
    """A line after shaping, left to right as seen, and how far it advances."""

    glyphs: tuple[PlacedGlyph, ...]
    advance: float


@dataclass(frozen=True, slots=True)
class Run:
    """Characters of one script and direction; `start` counts from the beginning of the line."""

    start: int
    text: str
    script: str
    right_to_left: bool


class Font:
    """A font read from its bytes; the same bytes give the same outlines."""

    def __init__(self, data: bytes) -> None:
        face = hb.Face(hb.Blob(data))
        self._font: Any = hb.Font(face)
        units = _capital_units(self._font, data)
        self.scale = CAPITAL / units
        self._outline = lru_cache(maxsize=4096)(self._unite_glyph)
        self._extent = lru_cache(maxsize=4096)(self._measure)
        self._shape = lru_cache(maxsize=4096)(lambda glyph: to_multipolygon(self.outline(glyph)))
        self._apart = lru_cache(maxsize=65536)(self._measure_apart)

    def missing(self, text: str) -> str | None:
        """Give the first character the font has no glyph for; blanks and marks without a shape need none."""
        for character in unicodedata.normalize("NFC", text):
            if self._lacks(character) and any(self._lacks(c) for c in unicodedata.normalize("NFD", character)):
                return character
        return None

    def _lacks(self, character: str) -> bool:
        if character.isspace() or unicodedata.category(character) == "Cf" or 0xFE00 <= ord(character) <= 0xFE0F:
            return False
        return not self._font.get_nominal_glyph(ord(character))

    def shape(self, run: Run, *, gap: float = 0.0) -> Shaped:
        """Shape one run; `gap` is added after every cluster, without ligatures then."""
        buffer = hb.Buffer()
        buffer.add_str(run.text)
        buffer.direction = "rtl" if run.right_to_left else "ltr"
        buffer.script = run.script
        buffer.cluster_level = hb.BufferClusterLevel.MONOTONE_GRAPHEMES
        spread = gap != 0.0 and run.script not in JOINED_SCRIPTS
        # CSS Text Level 3, 8.2: no optional ligatures where letters are spaced.
        hb.shape(self._font, buffer, {"liga": not spread, "clig": not spread} if spread else {})
        glyphs: list[PlacedGlyph] = []
        x = 0.0
        previous: int | None = None
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            if spread and previous is not None and info.cluster != previous:
                x += gap
            previous = info.cluster
            at = (x + position.x_offset * self.scale, -position.y_offset * self.scale)
            glyphs.append(PlacedGlyph(info.codepoint, at, run.start + info.cluster))
            x += position.x_advance * self.scale
        return Shaped(tuple(glyphs), x)

    def outline(self, glyph: int) -> Area:
        """Give the outline of a glyph about its origin, overlaps within it united, y down."""
        return self._outline(glyph)

    def extent(self, glyph: int) -> Box | None:
        """Give left, top, right, bottom of a glyph about its origin; None where nothing is seen of it."""
        return self._extent(glyph)

    def apart(self, one: int, other: int, at: Point) -> float:
        """Give the distance between the outlines of two glyphs, the other's origin at `at` from the one's."""
        return self._apart(one, other, (round(at[0], 6), round(at[1], 6)))

    def _measure(self, glyph: int) -> Box | None:
        area = self.outline(glyph)
        return bounds(area) if area.pieces else None

    def _measure_apart(self, one: int, other: int, at: Point) -> float:
        return float(self._shape(one).distance(translate(self._shape(other), *at)))

    def _unite_glyph(self, glyph: int) -> Area:
        return unite(self.rings(glyph))

    def rings(self, glyph: int) -> tuple[Ring, ...]:
        """Give the contours of a glyph as the font draws them, quadratic curves as the same cubics."""
        pen = _Pen(self.scale)
        self._font.draw_glyph_with_pen(glyph, pen)
        return tuple(pen.rings)


def placed(area: Area, at: Point) -> Area:
    """Give an outline at its place on the line."""
    return area.mapped(affine(1.0, at))


def _capital_units(font: Any, data: bytes) -> float:
    """Measure a flat capital; a font without one says how high its capitals are, or they are 0.7 of its em."""
    glyph = font.get_nominal_glyph(ord("H"))
    if glyph:
        extents = font.get_glyph_extents(glyph)
        if extents is not None and extents.y_bearing > 0:
            return float(extents.y_bearing)
    from fontTools.ttLib import TTFont

    table = TTFont(io.BytesIO(data), lazy=True, fontNumber=0)
    stated = getattr(table["OS/2"], "sCapHeight", 0) if "OS/2" in table else 0
    return float(stated if stated and stated > 0 else 0.7 * table["head"].unitsPerEm)


class _Pen:
    """Collects contours, scaled, y turned down."""

    def __init__(self, scale: float) -> None:
        self.scale = scale
        self.rings: list[Ring] = []
        self._segments: list[Segment] = []
        self._start: Point = (0.0, 0.0)
        self._here: Point = (0.0, 0.0)

    def _at(self, point: tuple[float, float]) -> Point:
        return point[0] * self.scale, -point[1] * self.scale

    def moveTo(self, point: tuple[float, float]) -> None:
        """Begin a contour."""
        self.closePath()
        self._start = self._here = self._at(point)

    def lineTo(self, point: tuple[float, float]) -> None:
        """Draw a straight run."""
        end = self._at(point)
        if end != self._here:
            self._segments.append(Line(self._here, end))
        self._here = end

    def curveTo(self, *points: tuple[float, float]) -> None:
        """Draw a cubic."""
        first, second, end = (self._at(p) for p in points)
        self._segments.append(Cubic(self._here, first, second, end))
        self._here = end

    def qCurveTo(self, *points: tuple[float, float]) -> None:
        """Draw a quadratic as the cubic it is (control points at two thirds of the way)."""
        control, end = (self._at(p) for p in points)
        start = self._here
        first = (start[0] + 2 * (control[0] - start[0]) / 3, start[1] + 2 * (control[1] - start[1]) / 3)
        second = (end[0] + 2 * (control[0] - end[0]) / 3, end[1] + 2 * (control[1] - end[1]) / 3)
        self._segments.append(Cubic(start, first, second, end))
        self._here = end

    def closePath(self) -> None:
        """Close the contour."""
        if self._segments and self._here != self._start:
            self._segments.append(Line(self._here, self._start))
        if self._segments:
            self.rings.append(Ring(tuple(self._segments)))
        self._segments = []
        self._here = self._start

    def endPath(self) -> None:
        """Close a contour the font left open."""
        self.closePath()
