"""A mask too large for the sheet, cut in parts that lap."""

from __future__ import annotations

import math

import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import from_polygons, polygonal, to_multipolygon
from maskgen.model.paths import Area, bounds


def tiles(area: Area, *, width_mm: float, height_mm: float, lap_mm: float) -> tuple[Area, ...]:
    """Give the parts of an area, each within the size, neighbours lapping; together they cover it.

    What would be no more than a sliver of a piece that the neighbour holds whole is left to the neighbour.
    """
    left, top, right, bottom = bounds(area)
    columns, rows = _spans(left, right, width_mm, lap_mm), _spans(top, bottom, height_mm, lap_mm)
    boxes = [shapely.box(x0, y0, x1, y1) for y0, y1 in rows for x0, x1 in columns]
    whole = to_multipolygon(area)
    parts: list[list[Polygon]] = []
    for number, tile in enumerate(boxes):
        fragments = polygonal(shapely.intersection(whole, tile)).geoms
        others = [(n, other) for n, other in enumerate(boxes) if n != number]
        parts.append([f for f in fragments if not _held_elsewhere(f, number, tile, others, whole)])
    return tuple(from_polygons(polygonal(shapely.union_all(part))) for part in parts if part)


def _held_elsewhere(
    fragment: Polygon, number: int, tile: BaseGeometry, others: list[tuple[int, BaseGeometry]], whole: BaseGeometry
) -> bool:
    """Whether another tile has all of this fragment, and it is cut off here or comes second."""
    cut_off = fragment.boundary.intersection(tile.boundary).length > 0 and not _whole_piece(fragment, whole)
    return any(other.covers(fragment) and (cut_off or n < number) for n, other in others)


def _whole_piece(fragment: Polygon, whole: BaseGeometry) -> bool:
    return any(abs(piece.area - fragment.area) < 1e-9 and piece.equals(fragment) for piece in shapely.get_parts(whole))


def _spans(start: float, end: float, most: float, lap: float) -> list[tuple[float, float]]:
    """Divide a length into equal stretches of at most `most` that lap."""
    count = 1 if end - start <= most else math.ceil((end - start - lap) / (most - lap))
    size = (end - start + (count - 1) * lap) / count
    return [(start + k * (size - lap), start + k * (size - lap) + size) for k in range(count)]
