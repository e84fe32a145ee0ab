"""What is a piece: closed cut lines nest; even depth is vinyl that stays, odd depth an opening, or the reverse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.check.lines import CutLine
from maskgen.errors import InputError
from maskgen.geometry.polygons import polygonal
from maskgen.model.paths import Area, Piece, Ring, signed_area

MOST_NESTED = 5_000_000
"""Pairs of a line and one around it."""


class Polarity(StrEnum):
    """What lies inside the outermost lines."""

    INSIDE = "inside"
    """Vinyl that stays."""
    OUTSIDE = "outside"
    """An opening: the vinyl lies around it."""


@dataclass(frozen=True, eq=False)
class Nest:
    """Closed lines by depth.

    `lines` are numbers of cut lines; `outlines`, `depth` and `parent` (a place in `lines`, or -1) go with them.
    """

    lines: tuple[int, ...]
    outlines: tuple[BaseGeometry, ...]
    depth: NDArray[np.int64]
    parent: NDArray[np.int64]
    polarity: Polarity

    def is_vinyl(self, place: int) -> bool:
        """Whether what lies directly inside a line stays."""
        return bool(self.depth[place] % 2 == (0 if self.polarity is Polarity.INSIDE else 1))

    @cached_property
    def pieces(self) -> tuple[tuple[int, tuple[int, ...]], ...]:
        """Give every piece as the places of its outer line and of its holes."""
        children: dict[int, list[int]] = {}
        for place, parent in enumerate(self.parent.tolist()):
            children.setdefault(parent, []).append(place)
        return tuple(
            (place, tuple(children.get(place, ()))) for place in range(len(self.lines)) if self.is_vinyl(place)
        )

    def area(self, lines: Sequence[CutLine]) -> Area:
        """Give the pieces with their own lines and cubics."""
        return Area(
            tuple(
                Piece(
                    _turned(lines[self.lines[outer]].ring(), positive=True),
                    tuple(_turned(lines[self.lines[hole]].ring(), positive=False) for hole in holes),
                )
                for outer, holes in self.pieces
            )
        )

    @cached_property
    def polygons(self) -> list[Polygon]:
        """Give every piece as a polygon, in the order of `pieces`; holes as drawn, nothing repaired."""
        return [
            Polygon(_corners(self.outlines[outer]), [_corners(self.outlines[hole]) for hole in holes])
            for outer, holes in self.pieces
        ]

    @cached_property
    def vinyl(self) -> MultiPolygon:
        """Give all pieces as polygons, united where they overlap."""
        parts = []
        for outer, holes in self.pieces:
            part = self.outlines[outer]
            if holes:
                part = part.difference(shapely.union_all([self.outlines[h] for h in holes]))
            parts.append(part)
        return polygonal(shapely.union_all(parts))


def nest(
    lines: Sequence[CutLine],
    left_out: set[int],
    polarity: Polarity,
    *,
    overlapping: frozenset[tuple[int, int]] = frozenset(),
) -> Nest:
    """Nest the closed lines, those left out not; of two that overlap partly (numbers in order) neither holds the other.

    Raises
    ------
    InputError
        When lines lie in one another beyond all use.
    """
    numbers = tuple(k for k, line in enumerate(lines) if line.closed and len(line.points) > 2 and k not in left_out)
    outlines = tuple(lines[k].outline() for k in numbers)
    numbers, outlines = _with_inside(numbers, outlines)
    depth = np.zeros(len(numbers), dtype=np.int64)
    parent = np.full(len(numbers), -1, dtype=np.int64)
    if len(numbers) > 1:
        inner, outer = _inside(np.array(outlines))
        if overlapping:
            pairs = [(numbers[a], numbers[b]) for a, b in zip(inner.tolist(), outer.tolist(), strict=True)]
            nested = np.array([(min(p), max(p)) not in overlapping for p in pairs], dtype=np.bool_)
            inner, outer = inner[nested], outer[nested]
        np.add.at(depth, inner, 1)
        size = shapely.area(np.array(outlines))
        order = np.lexsort((-size[outer], inner))
        parent[inner[order]] = outer[order]  # the last written, the smallest around, stays
    return Nest(numbers, outlines, depth, parent, polarity)


def _with_inside(
    numbers: tuple[int, ...], outlines: tuple[BaseGeometry, ...]
) -> tuple[tuple[int, ...], tuple[BaseGeometry, ...]]:
    kept = [(n, o) for n, o in zip(numbers, outlines, strict=True) if o.area > 0]
    return tuple(n for n, _ in kept), tuple(o for _, o in kept)


def _inside(outlines: NDArray[np.object_]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give pairs (inner, outer) of lines."""
    spots = shapely.point_on_surface(outlines)
    size = shapely.area(outlines)
    shapely.prepare(outlines)
    tree = shapely.STRtree(outlines)
    inner, outer = [], []
    total = 0
    for begin in range(0, len(spots), 2000):
        a, b = tree.query(spots[begin : begin + 2000], predicate="within")
        a = a + begin
        # Of two lines that enclose the same, the later lies inside.
        kept = (size[b] > size[a]) | ((size[b] == size[a]) & (b < a))
        total += int(kept.sum())
        if total > MOST_NESTED:
            raise InputError("lines lie in one another beyond all use", mend="delete repeated copies")
        inner.append(a[kept])
        outer.append(b[kept])
    return np.concatenate(inner), np.concatenate(outer)


def _corners(outline: BaseGeometry) -> NDArray[np.float64]:
    """Give the corners of an outline; of one in several parts (touching itself) the largest."""
    part = outline if isinstance(outline, Polygon) else max(outline.geoms, key=lambda p: p.area)
    corners: NDArray[np.float64] = shapely.get_coordinates(part.exterior)
    return corners


def _turned(ring: Ring, *, positive: bool) -> Ring:
    return ring if (signed_area(ring) > 0) == positive else ring.reversed()
