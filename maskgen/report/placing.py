"""Where a mask goes, as measures from the part's edges: what a steel rule needs."""

from __future__ import annotations

from dataclasses import dataclass

import shapely

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.job import Part
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, Piece, Point, Ring, area_of, bounds, signed_area

Box = tuple[float, float, float, float]
"""Left, top, right, bottom, in the frame of the face."""

FLUSH_MM = 0.05
"""A steel rule does not show less."""
LABEL_TOLERANCE_MM = 0.1
"""How nearly a number stands in the middle of its film."""
OPENING_MM = 2.0
"""An opening smaller than this across is nothing to measure to."""


@dataclass(frozen=True, slots=True)
class Opening:
    """An opening in the film: where it begins from the left at the height `level`, and from the top at `upright`."""

    left: float
    top: float
    level: float
    upright: float


@dataclass(frozen=True, slots=True)
class Placing:
    """How far the film lies in from each edge of the face (below zero: runs over it), and its largest opening.

    `opening` is where that begins, from the left and from the top, measured through its middle: what a rule laid there
    shows, whatever the opening does at its corners.
    """

    box: Box
    left: float
    top: float
    right: float
    bottom: float
    opening: Opening | None

    @property
    def over_every_edge(self) -> bool:
        """Whether no edge of the film lies on the part."""
        return max(self.left, self.top, self.right, self.bottom) <= FLUSH_MM

    @property
    def by_opening(self) -> bool:
        """Whether the film shows no edge to measure to in one direction, so that its opening has to serve."""
        return max(self.left, self.right) <= FLUSH_MM or max(self.top, self.bottom) <= FLUSH_MM


def placing_of(mask: Mask, part: Part) -> Placing:
    """Measure a mask on its part."""
    width, height = part.face_mm
    box = bounds(mask.area)
    gaps = box[0], box[1], width - box[2], height - box[3]
    return Placing(box, *gaps, _largest_opening(mask.area))


def piece_boxes(mask: Mask) -> list[Box]:
    """Give the box of every piece, in the order they are numbered."""
    return [bounds(Area((piece,))) for piece in mask.area.pieces]


def smallest_piece_mm2(mask: Mask) -> float:
    """Give the area of the smallest piece."""
    return min(area_of(Area((piece,))) for piece in mask.area.pieces)


def label_place(area: Area) -> Point:
    """Give the middle of the widest place of the film, where its number is read best."""
    return label_circle(area)[0]


def label_circle(area: Area) -> tuple[Point, float]:
    """Give the middle of the widest place of the film, and how far the film reaches round it."""
    largest = max(area.pieces, key=lambda piece: area_of(Area((piece,))))
    shape = to_multipolygon(Area((largest,)), tolerance=LABEL_TOLERANCE_MM)
    circle = shapely.maximum_inscribed_circle(shape, tolerance=LABEL_TOLERANCE_MM)
    x, y = circle.coords[0]
    return (float(x), float(y)), float(circle.length)


def _largest_opening(area: Area) -> Opening | None:
    holes: list[Ring] = [hole for piece in area.pieces for hole in piece.holes]
    if not holes:
        return None
    largest = max(holes, key=lambda hole: abs(signed_area(hole)))
    shape = to_multipolygon(Area((Piece(largest.reversed()),)), tolerance=FLUSH_MM / 5)
    left, top, right, bottom = shape.bounds
    if min(right - left, bottom - top) < OPENING_MM:
        return None
    level, upright = (top + bottom) / 2, (left + right) / 2
    across = shape.intersection(shapely.LineString([(left - 1, level), (right + 1, level)])).bounds
    down = shape.intersection(shapely.LineString([(upright, top - 1), (upright, bottom + 1)])).bounds
    return Opening(across[0], down[1], level, upright)
