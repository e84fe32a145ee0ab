"""Outlines whose truth is known without the code under test: letters of a font, circles, stars, rounded plates."""

from __future__ import annotations

from pathlib import Path

import fontpkg_fjalla_one
import numpy as np
import pytest
import shapely
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont

FONT = next((Path(fontpkg_fjalla_one.__file__).parent / "files").glob("*.ttf"))


def quadratic(start, control, end, count):
    t = np.linspace(0, 1, count + 1)[1:, None]
    return (1 - t) ** 2 * np.array(start) + 2 * t * (1 - t) * np.array(control) + t**2 * np.array(end)


class Letters:
    """Outlines of the font as dense polygons, y up as in the font, scaled so that an em is `size`."""

    def __init__(self):
        self.font = TTFont(FONT)
        self.glyphs = self.font.getGlyphSet()
        self.names = self.font.getBestCmap()

    def contours(self, letter, size, *, count=24):
        """One (dense polygon, nodes of the drawing) per contour; curves in `count` chords."""
        pen = DecomposingRecordingPen(self.glyphs)
        self.glyphs[self.names[ord(letter)]].draw(pen)
        scale = size / self.font["head"].unitsPerEm
        found = []
        for operator, points in pen.value:
            if operator == "moveTo":
                dense, nodes = [np.array([points[0]], float)], [points[0]]
            elif operator == "lineTo":
                dense.append(np.array([points[0]], float))
                nodes.append(points[0])
            elif operator == "qCurveTo":
                for k, control in enumerate(points[:-1]):
                    last = k == len(points) - 2
                    end = points[-1] if last else tuple((np.array(control) + points[k + 1]) / 2)
                    dense.append(quadratic(nodes[-1], control, end, count))
                    nodes.append(end)
            else:
                outline = np.vstack(dense) * scale
                if np.allclose(outline[0], outline[-1]):
                    outline, nodes = outline[:-1], nodes[:-1]
                found.append((outline, np.array(nodes, float) * scale))
        return found

    def shape(self, letter, size, **options):
        """The letter as a shapely geometry with holes."""
        whole = shapely.Polygon()
        for outline, _ in self.contours(letter, size, **options):
            whole = whole.symmetric_difference(shapely.Polygon(outline))
        return whole


@pytest.fixture(scope="session")
def letters():
    return Letters()


def spaced(outline, spacing=1.0, shift=0.3):
    """Places along a closed polygon at even spacing, and the unit normals there."""
    ring = shapely.LinearRing(outline)
    count = max(4, round(ring.length / spacing))
    at = (np.arange(count) + shift) * ring.length / count
    places = shapely.get_coordinates(ring.interpolate(at))
    ahead = shapely.get_coordinates(ring.interpolate((at + 0.05) % ring.length))
    behind = shapely.get_coordinates(ring.interpolate((at - 0.05) % ring.length))
    along = ahead - behind
    along /= np.hypot(*along.T)[:, None]
    return places, np.column_stack([-along[:, 1], along[:, 0]])


def noisy(outline, sigma, seed=0, **options):
    """Samples of a polygon with independent noise square to it."""
    places, normals = spaced(outline, **options)
    return places + normals * np.random.default_rng(seed).normal(0, sigma, (len(places), 1))


def apart(a, b):
    """Largest distance of boundary a from boundary b and back, by a dense discrete measure of another library."""
    first, second = (shapely.segmentize(shapely.LinearRing(p), shapely.LinearRing(p).length / 4000) for p in (a, b))
    return max(
        shapely.distance(shapely.points(shapely.get_coordinates(first)), second).max(),
        shapely.distance(shapely.points(shapely.get_coordinates(second)), first).max(),
    )


@pytest.fixture(scope="session")
def tools():
    class Tools:
        pass

    Tools.noisy, Tools.spaced, Tools.apart = staticmethod(noisy), staticmethod(spaced), staticmethod(apart)
    return Tools
