"""What the hands have to know of a mask beside its measures: laps, openings at holes, fine gaps, how it differs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.job import Hole, Part, Shape
from maskgen.model.paths import Area, Piece

CHORD_MM = 0.01
STEP_MM = 0.1
"""How far apart the edge of a film is looked at."""
MOST_PLACES = 4000
"""Of a longer edge only every so many places are looked at: time must not grow with its square."""
ALL_ROUND = 0.97
"""So much of a film's edge must lie on earlier film before it is said to lap it all round."""
EVEN_MM = 0.15
"""A lap that varies by less is the same all round: placing by eye does not tell."""
NEAR_HOLE_MM = 3.0
"""An opening that leaves more room round a hole than this is not the hole's own."""
TURNED_SHARE = 0.1
"""Up to so much of the film's area differs from itself turned round before it is seen at a glance."""


@dataclass(frozen=True, slots=True)
class Lap:
    """Film whose whole outer edge lies on earlier film: which, by how much, and whether by the same all round."""

    on: tuple[int, ...]
    least_mm: float
    even: bool


def lap_all_round(film: Area, under: Sequence[Area], part: Part) -> Lap | None:
    """Give by how much a film laps earlier film where it does so all round; None where it does not.

    `on` counts the films of `under` from 0, those that a fair share of the edge lies on.
    """
    outer = Area(tuple(Piece(piece.outer) for piece in film.pieces))
    places = _edge_places(outer, part)
    if not under or not len(places):
        return None
    earlier = _union(under)
    shapely.prepare(earlier)
    on_film = shapely.dwithin(earlier, places, CHORD_MM)
    if float(np.mean(on_film)) < ALL_ROUND:
        return None
    laps = np.asarray(shapely.distance(places[on_film], earlier.boundary), dtype=float)
    least, most = np.quantile(laps, [0.02, 0.98])
    shapes = [to_multipolygon(area, tolerance=CHORD_MM) for area in under]
    shares = [float(np.mean(shapely.dwithin(shape, places, CHORD_MM))) for shape in shapes]
    on = tuple(number for number, share in enumerate(shares) if share >= 1 - ALL_ROUND)
    return Lap(on, float(least), bool(most - least <= EVEN_MM))


def larger_by_mm(film: Area, regions: Iterable[Area], under: Sequence[Area], part: Part) -> float:
    """Give how far a film reaches past the colours it covers where no earlier film lies beneath it."""
    places = _edge_places(film, part)
    if under and len(places):
        earlier = _union(under)
        shapely.prepare(earlier)
        places = places[~shapely.dwithin(earlier, places, CHORD_MM)]
    wanted = _union(list(regions))
    if not len(places) or wanted.is_empty:
        return 0.0
    return float(np.quantile(shapely.distance(places, wanted), 0.98))


def hole_opening_mm(film: Area, hole: Hole) -> float | None:
    """Give how wide a film's own opening round a drilled hole is; None where it has none."""
    middle = shapely.Point(hole.at_mm)
    shape = to_multipolygon(film, tolerance=CHORD_MM)
    if shape.covers(middle):
        return None
    for piece in shape.geoms:
        for ring in piece.interiors:
            opening = shapely.Polygon(ring)
            if opening.covers(middle):
                reach = float(shapely.hausdorff_distance(ring, middle))
                return 2 * float(ring.distance(middle)) if reach <= hole.diameter_mm / 2 + NEAR_HOLE_MM else None
    return None


def fine_gaps(film: Area, limit_mm: float) -> tuple[int, float]:
    """Give how many pairs of pieces stand closer than a limit, and the narrowest gap (0 pairs: the limit)."""
    pieces = np.asarray(to_multipolygon(film, tolerance=CHORD_MM).geoms, dtype=object)
    if len(pieces) < 2:
        return 0, limit_mm
    first, second = shapely.STRtree(pieces).query(pieces, predicate="dwithin", distance=limit_mm)
    once = first < second
    if not once.any():
        return 0, limit_mm
    gaps = shapely.distance(pieces[first[once]], pieces[second[once]])
    return int(once.sum()), float(gaps.min())


def looks_turnable(film: Area) -> bool:
    """Say whether a film looks much the same turned by half a turn, and is not."""
    shape = to_multipolygon(film, tolerance=CHORD_MM)
    if shape.is_empty:
        return False
    left, top, right, bottom = shape.bounds
    turned = shapely.affinity.rotate(shape, 180, origin=((left + right) / 2, (top + bottom) / 2))
    differs = float(shape.symmetric_difference(turned).area) / float(shape.area)
    return 1e-3 < differs <= TURNED_SHARE


def _union(areas: Sequence[Area]) -> BaseGeometry:
    return shapely.union_all([to_multipolygon(area, tolerance=CHORD_MM) for area in areas])


def _edge_places(film: Area, part: Part) -> NDArray[np.object_]:
    """Give places along the edge of a film, those on the face."""
    edge = to_multipolygon(film, tolerance=CHORD_MM).boundary
    points = shapely.get_coordinates(shapely.segmentize(edge, STEP_MM))
    margin = 2 * CHORD_MM
    face = np.asarray(part.face_mm)
    if part.shape is Shape.DISC:
        inside = np.hypot(*(points - face / 2).T) < face[0] / 2 - margin
    else:
        inside = np.all((points > margin) & (points < face - margin), axis=1)
    seen = points[inside]
    return np.asarray(shapely.points(seen[:: 1 + len(seen) // MOST_PLACES]), dtype=object)
