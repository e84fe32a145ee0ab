"""Drawings not made for the code under test: letters of the font that comes with the tool, and plain stars."""

import math
from importlib.resources import files

import numpy as np
import pytest
from fontTools.pens.basePen import BasePen
from fontTools.ttLib import TTFont

from maskgen.geometry.rings import pieces_from_rings
from maskgen.model.paths import (
    Area,
    Cubic,
    Line,
    Partition,
    Piece,
    Region,
    Ring,
    affine,
    polygon_ring,
    rectangle,
)


class RingPen(BasePen):
    """Collects a glyph's contours as rings, y down, in font units."""

    def __init__(self, glyphs, shift):
        super().__init__(glyphs)
        self.shift, self.rings, self.segments, self.here = shift, [], [], None

    def _at(self, p):
        return (float(p[0] + self.shift), float(-p[1]))

    def _moveTo(self, p):
        self.segments, self.here, self.start = [], self._at(p), self._at(p)

    def _lineTo(self, p):
        end = self._at(p)
        if end != self.here:
            self.segments.append(Line(self.here, end))
            self.here = end

    def _curveToOne(self, a, b, c):
        self.segments.append(Cubic(self.here, self._at(a), self._at(b), self._at(c)))
        self.here = self._at(c)

    def _closePath(self):
        if self.here != self.start:
            self.segments.append(Line(self.here, self.start))
        self.rings.append(Ring(tuple(self.segments)))


@pytest.fixture(scope="session")
def letters():
    """Give pieces of a text set in Fjalla One with capitals `height` high, left at 0, baseline at `height`."""
    font = TTFont(str(files("fontpkg_fjalla_one") / "files" / "FjallaOne-Regular.ttf"))
    glyphs, names, cap = font.getGlyphSet(), font.getBestCmap(), font["OS/2"].sCapHeight

    def make(text, height):
        pieces, x = [], 0.0
        for letter in text:
            glyph = glyphs[names[ord(letter)]]
            pen = RingPen(glyphs, x)
            glyph.draw(pen)
            scaled = [ring.mapped(affine(height / cap, (0.0, height))) for ring in pen.rings]
            # In this font outer contours turn clockwise as seen; with y down that is positive.
            pieces += pieces_from_rings(scaled).pieces
            x += glyph.width
        return Area(tuple(pieces))

    return make


def star_ring(centre, radius, inner, points=5, turn=-math.pi / 2):
    angle = turn + np.arange(2 * points) * math.pi / points
    away = np.where(np.arange(2 * points) % 2 == 0, radius, inner)
    return polygon_ring(np.stack([centre[0] + away * np.cos(angle), centre[1] + away * np.sin(angle)], axis=1))


@pytest.fixture(scope="session")
def star():
    return star_ring


def canvas(area, width, height, rest="clear"):
    """Put an area of disjoint pieces on a canvas; the rest, counters included, is the other region."""
    box = rectangle(0.0, 0.0, width, height)
    around = Piece(box.outer, tuple(piece.outer.reversed() for piece in area.pieces))
    inside = tuple(Piece(hole.reversed()) for piece in area.pieces for hole in piece.holes)
    return Partition(
        width,
        height,
        (Region("c1", "word", "#112233", area), Region("c2", rest, rest, Area((around, *inside)))),
    )


@pytest.fixture(scope="session")
def on_canvas():
    return canvas
