"""Cut drawings as straight runs and arcs, for formats that know no cubics; paths in the order the knife cuts them."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from maskgen.geometry.arcs import Arc, as_arcs
from maskgen.model.masks import ArcDrawing, ArcPath, CutDrawing
from maskgen.model.paths import Piece, Point, signed_area

ARC_MM = 0.002
"""How far an arc may lie from the outline: well within the 0.005 mm that cut files promise."""

AREA_SHARE = 3e-4
"""How far the area within arcs may be from a piece's: a circle's cubics are 2.8e-4 off, files promise 5e-4."""

MOST_BENT = 1e-3
"""Largest change of an arc's bulge that makes up for area: on a half circle of 10 mm radius, 0.01 mm of rise."""

_STRAIGHT = 1e-9
"""Bulges below this are straight: they rise less than a nanometre over a metre."""


def arc_drawing(drawing: CutDrawing) -> ArcDrawing:
    """Give the drawing's boundaries as closed paths of runs and arcs, a piece's holes before its outline."""
    paths = tuple(path for piece in drawing.pieces for path in _piece_paths(piece) if path.corners)
    return ArcDrawing(drawing.left, drawing.top, drawing.width, drawing.height, paths)


def _piece_paths(piece: Piece) -> list[ArcPath]:
    """Give a piece's paths, its arcs bent a trifle where the area they enclose is not near enough the piece's.

    A cubic stands in for a quarter circle with an area 0.03 % off, which adds up on a narrow ring.
    """
    rings = [ring for ring in (*piece.holes, piece.outer) if ring.segments]
    found = [as_arcs(ring, tolerance=ARC_MM) for ring in rings]
    areas = [signed_area(ring) for ring in rings]
    off = sum(abs(area - _enclosed(arcs)) for arcs, area in zip(found, areas, strict=True))
    if off > AREA_SHARE * abs(sum(areas)):
        found = [_as_large(arcs, area) for arcs, area in zip(found, areas, strict=True)]
    begun = [_begun_at(arcs, ring.segments[0].start) for arcs, ring in zip(found, rings, strict=True)]
    return [ArcPath(tuple((*arc.start, arc.bulge) for arc in arcs)) for arcs in begun]


def _as_large(arcs: Sequence[Arc], area: float) -> tuple[Arc, ...]:
    """Bend arcs so that they enclose an area; where that takes more than a trifle they stay as they are."""
    step = 1e-4
    enclosed, bent = _enclosed(arcs), _enclosed([replace(arc, bulge=arc.bulge * (1 + step)) for arc in arcs])
    more = (area - enclosed) * step / (bent - enclosed) if bent != enclosed else 0.0
    return tuple(replace(arc, bulge=arc.bulge * (1 + more)) for arc in arcs) if abs(more) <= MOST_BENT else tuple(arcs)


def _enclosed(arcs: Sequence[Arc]) -> float:
    """Signed area within closed arcs: the polygon of their ends and the segments of circle over its sides."""
    if not arcs:
        return 0.0
    start, bulge = np.array([arc.start for arc in arcs]), np.array([arc.bulge for arc in arcs])
    end = np.roll(start, -1, axis=0)
    polygon = float(np.sum(start[:, 0] * end[:, 1] - end[:, 0] * start[:, 1])) / 2
    return polygon + float(_segment_areas(np.hypot(*(end - start).T), bulge).sum())


def _segment_areas(chord: NDArray[np.float64], bulge: NDArray[np.float64]) -> NDArray[np.float64]:
    """Area between each arc and its chord: r^2 (a - sin a) / 2 for the angle a; nearly flat ones as parabolas."""
    flat = np.abs(bulge) < 1e-3
    safe = np.where(flat, 1.0, bulge)
    radius, angle = chord * (1 + safe**2) / (4 * safe), 4 * np.arctan(safe)
    round_ones = np.sign(safe) * radius**2 * (np.abs(angle) - np.sin(np.abs(angle))) / 2
    return np.where(flat, bulge * chord**2 / 3, round_ones)


def _begun_at(arcs: Sequence[Arc], start: Point) -> list[Arc]:
    """Begin a closed path at a point on it, where the knife shall begin: an arc that was joined over it is split.

    Arcs keep within their tolerance of the outline, so a point of the outline may lie beside them; one that near to
    an end of an arc is taken for that end.
    """
    if not arcs:
        return []
    on = min(range(len(arcs)), key=lambda k: _away(arcs[k], start))
    arc = arcs[on]
    if math.dist(arc.start, start) <= ARC_MM:
        before, after = [], [arc]
    elif math.dist(arc.end, start) <= ARC_MM:
        before, after = [arc], []
    else:
        before, after = ([part] for part in _split(arc, start))
    return [*after, *arcs[on + 1 :], *arcs[:on], *before]


def _away(arc: Arc, point: Point) -> float:
    """How far a point lies from an arc."""
    ends = min(math.dist(arc.start, point), math.dist(arc.end, point))
    share = _share(arc, point)
    if not 0.0 < share < 1.0:
        return ends
    return min(ends, math.dist(_at(arc, share), point))


def _split(arc: Arc, at: Point) -> tuple[Arc, Arc]:
    """Split an arc at a point on it or a trifle beside it; its angle is shared out as the point divides it."""
    share, angle = _share(arc, at), math.atan(arc.bulge)
    return Arc(arc.start, at, math.tan(angle * share)), Arc(at, arc.end, math.tan(angle * (1 - share)))


def _share(arc: Arc, point: Point) -> float:
    """How far along an arc the place nearest to a point lies: 0 at its start, 1 at its end, beyond them if it does."""
    start, chord = complex(*arc.start), complex(*arc.end) - complex(*arc.start)
    if abs(arc.bulge) < _STRAIGHT:
        return ((complex(*point) - start) * chord.conjugate()).real / abs(chord) ** 2 if chord else 0.0
    centre, sweep = _centre(arc), 4 * math.atan(arc.bulge)
    # seen from the middle of the arc, so that the cut between plus and minus a half turn lies opposite to it
    half = cmath.exp(0.5j * sweep)
    turn = cmath.phase((complex(*point) - centre) / ((start - centre) * half)) if complex(*point) != centre else 0.0
    return 0.5 + turn / sweep


def _at(arc: Arc, share: float) -> Point:
    """Give the place this share of the way along an arc."""
    start = complex(*arc.start)
    if abs(arc.bulge) < _STRAIGHT:
        place = start + share * (complex(*arc.end) - start)
    else:
        centre = _centre(arc)
        place = centre + (start - centre) * cmath.exp(4j * math.atan(arc.bulge) * share)
    return place.real, place.imag


def _centre(arc: Arc) -> complex:
    start, chord = complex(*arc.start), complex(*arc.end) - complex(*arc.start)
    return start + chord / 2 + 1j * chord * (1 - arc.bulge**2) / (4 * arc.bulge)
