"""Outlines to shapely polygons and back.

Neighbouring regions flatten their common boundary to the same points, so their polygons meet exactly.
"""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.model.paths import Area, Piece, Points, Ring, flatten, polygon_ring

FLATTEN_MM = 0.001
"""Chord error when curves become polygons: a tenth of the finest tolerance promised anywhere."""


def to_polygon(piece: Piece, *, tolerance: float = FLATTEN_MM) -> Polygon:
    """Give the piece as a polygon; curves become chords within `tolerance`."""
    return Polygon(flatten(piece.outer, tolerance), [flatten(h, tolerance) for h in piece.holes])


def to_multipolygon(area: Area, *, tolerance: float = FLATTEN_MM) -> MultiPolygon:
    """Give the area as a multipolygon; invalid input (touching or crossing rings) is repaired by even-odd."""
    merged = MultiPolygon([to_polygon(piece, tolerance=tolerance) for piece in area.pieces])
    return merged if merged.is_valid else polygonal(shapely.make_valid(merged))


def polygonal(geometry: BaseGeometry) -> MultiPolygon:
    """Keep the polygons of any geometry, dropping the lines and points boolean operations leave behind."""
    parts = shapely.get_parts(shapely.get_parts(geometry))
    return MultiPolygon([p for p in parts if isinstance(p, Polygon) and not p.is_empty])


def from_polygons(geometry: BaseGeometry) -> Area:
    """Give polygons back as an area of straight runs, outer rings positive, holes negative."""
    pieces = []
    for polygon in polygonal(geometry).geoms:
        outer = _ring(np.asarray(polygon.exterior.coords), positive=True)
        pieces.append(Piece(outer, tuple(_ring(np.asarray(h.coords), positive=False) for h in polygon.interiors)))
    return Area(tuple(pieces))


def _ring(closed: Points, *, positive: bool) -> Ring:
    corners = closed[:-1, :2]
    x, y = corners.T
    doubled = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    return polygon_ring(corners if (doubled > 0) == positive else corners[::-1])
