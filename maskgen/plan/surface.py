"""The developed face as a mask meets it: going on past the edges by the overhang, and round a tube's seam.

Plates and discs are extended outwards, every region square to the edge it reaches, so that growth and laps go on there
as on the face. A tube's face is laid out with a margin of the next turn at both sides of the seam. Millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import MultiPolygon, box
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import FLATTEN_MM, polygonal, to_multipolygon
from maskgen.model.job import Part, Shape
from maskgen.model.paths import Partition, Points

EDGE_MM = 1e-4
"""A corner this near a straight edge of the face lies on it: far above rounding, far below the flattening."""
RIM_MM = 3e-3
"""The same for the rim of a disc, whose chords and cubics leave the circle by a little."""


@dataclass(frozen=True, slots=True)
class Surface:
    """Where everything lies: `face` once, `window` with all that surrounds it, `regions` over the whole window."""

    face: MultiPolygon
    window: BaseGeometry
    regions: Mapping[str, MultiPolygon]
    round_mm: float | None = None

    def spread(self, vinyl: BaseGeometry) -> BaseGeometry:
        """Give everything of some vinyl that lies between the sides of the window, from whichever turn of a tube."""
        if self.round_mm is None:
            return vinyl
        left, _, right, _ = self.window.bounds
        _, top, _, bottom = vinyl.bounds if not vinyl.is_empty else self.window.bounds
        turns = [affinity.translate(vinyl, turn * self.round_mm) for turn in (-1, 0, 1)]
        return shapely.union_all(turns).intersection(box(left, top - 1.0, right, bottom + 1.0))

    def fold(self, vinyl: BaseGeometry, lap_mm: float) -> BaseGeometry:
        """Give vinyl that fills the window as it is cut: on a tube each piece once, whole where its ends do not meet.

        What goes all round is cut along the seam and closes over it by `lap_mm` at the right.
        """
        if self.round_mm is None:
            return vinyl
        _, top, _, bottom = self.window.bounds
        once = vinyl.intersection(box(0.0, top, self.round_mm, bottom))
        turns = shapely.union_all([affinity.translate(once, turn * self.round_mm) for turn in (-1, 0, 1)])
        around = box(0.0, top, self.round_mm + lap_mm, bottom)
        kept = []
        for piece in polygonal(turns).geoms:
            start, _, end, _ = piece.bounds
            if end - start >= self.round_mm - EDGE_MM:
                kept.append(piece.intersection(around))
            elif EDGE_MM < (start + end) / 2 <= self.round_mm + EDGE_MM:
                kept.append(piece)
        return shapely.union_all(kept)


def lay_out(
    partition: Partition, part: Part, *, overhang_mm: float, margin_mm: float, tolerance_mm: float = FLATTEN_MM
) -> Surface:
    """Lay out the face and its regions, `overhang_mm` past its edges, `margin_mm` past a tube's seam."""
    shapes = {region.key: to_multipolygon(region.area, tolerance=tolerance_mm) for region in partition.regions}
    face = polygonal(shapely.union_all(list(shapes.values())))
    if overhang_mm > 0:
        shapes = _extended(shapes, part, overhang_mm)
    if part.shape is not Shape.TUBE:
        window = polygonal(shapely.union_all(list(shapes.values())))
        return Surface(face, window, shapes)
    round_mm, length = part.face_mm
    window = box(-margin_mm, -overhang_mm, round_mm + margin_mm, length + overhang_mm)
    turned = Surface(face, window, {}, round_mm)
    return Surface(face, window, {key: polygonal(turned.spread(s)) for key, s in shapes.items()}, round_mm)


def _extended(shapes: Mapping[str, MultiPolygon], part: Part, overhang_mm: float) -> dict[str, MultiPolygon]:
    """Carry every region past the edges it reaches."""
    width, height = part.face_mm
    grown = {}
    for key, shape in shapes.items():
        starts, ends = _segments(shape)
        if part.shape is Shape.DISC:
            beyond = _past_rim(starts, ends, width / 2, overhang_mm)
        else:
            sides = [((0, 1), 0.0, -overhang_mm), ((0, 1), height, overhang_mm)]
            if part.shape is Shape.PLATE:
                sides += [((1, 0), 0.0, -overhang_mm), ((1, 0), width, overhang_mm)]
            beyond = [quad for (_, axis), at, step in sides for quad in _past_side(starts, ends, axis, at, step)]
        grown[key] = polygonal(shapely.union_all([shape, *beyond]))
    if part.shape is Shape.PLATE:
        _extend_corners(grown, shapes, (width, height), overhang_mm)
    return grown


def _segments(shape: MultiPolygon) -> tuple[Points, Points]:
    rings = shapely.get_rings(shapely.get_parts(shape))
    coordinates, ring = shapely.get_coordinates(rings, return_index=True)
    follows = ring[1:] == ring[:-1]
    return coordinates[:-1][follows], coordinates[1:][follows]


def _quads(a: Points, b: Points, c: Points, d: Points) -> Iterable[BaseGeometry]:
    return list(shapely.polygons(np.stack([a, b, c, d], axis=1)))


def _past_side(starts: Points, ends: Points, axis: int, at: float, step: float) -> Iterable[BaseGeometry]:
    """Give the strips past a straight side: `axis` 1 for a side along x, 0 for one along y."""
    on = (np.abs(starts[:, axis] - at) < EDGE_MM) & (np.abs(ends[:, axis] - at) < EDGE_MM)
    a, b = starts[on], ends[on]
    out = np.zeros((1, 2))
    out[0, axis] = step
    return _quads(a, b, b + out, a + out)


def _past_rim(starts: Points, ends: Points, radius: float, overhang_mm: float) -> Iterable[BaseGeometry]:
    a, b = starts - radius, ends - radius
    middle = (a + b) / 2
    on = np.minimum(np.minimum(np.hypot(*a.T), np.hypot(*b.T)), np.hypot(*middle.T)) > radius - RIM_MM
    scale = (radius + overhang_mm) / radius
    return _quads(a[on] + radius, b[on] + radius, b[on] * scale + radius, a[on] * scale + radius)


def _extend_corners(
    grown: dict[str, MultiPolygon], shapes: Mapping[str, MultiPolygon], size: tuple[float, float], overhang_mm: float
) -> None:
    """Give the squares outside a plate's corners to the region in the corner."""
    for x, out_x in ((0.0, -overhang_mm), (size[0], overhang_mm)):
        for y, out_y in ((0.0, -overhang_mm), (size[1], overhang_mm)):
            inside = shapely.Point(x - np.sign(out_x) * RIM_MM, y - np.sign(out_y) * RIM_MM)
            key = min(shapes, key=lambda k: shapes[k].distance(inside))
            square = box(min(x, x + out_x), min(y, y + out_y), max(x, x + out_x), max(y, y + out_y))
            grown[key] = polygonal(shapely.union_all([grown[key], square]))
