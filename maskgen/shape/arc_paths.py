"""Cut drawings as straight runs and arcs, for formats that know no cubics; paths in the order the knife cuts them."""

from __future__ import annotations

import math
from collections.abc import Sequence

from maskgen.geometry.arcs import Arc, as_arcs
from maskgen.model.masks import ArcDrawing, ArcPath, CutDrawing
from maskgen.model.paths import Point, Ring

ARC_MM = 0.002
"""How far an arc may lie from the outline: well within the 0.005 mm that cut files promise."""

_SAME_MM = 1e-9


def arc_drawing(drawing: CutDrawing) -> ArcDrawing:
    """Give the drawing's boundaries as closed paths of runs and arcs, a piece's holes before its outline."""
    rings = (ring for piece in drawing.pieces for ring in (*piece.holes, piece.outer) if ring.segments)
    paths = tuple(_arc_path(ring) for ring in rings)
    return ArcDrawing(drawing.left, drawing.top, drawing.width, drawing.height, tuple(p for p in paths if p.corners))


def _arc_path(ring: Ring) -> ArcPath:
    arcs = _begun_at(as_arcs(ring, tolerance=ARC_MM), ring.segments[0].start)
    return ArcPath(tuple((*arc.start, arc.bulge) for arc in arcs))


def _begun_at(arcs: Sequence[Arc], start: Point) -> list[Arc]:
    """Begin a closed path at a point on it, where the knife shall begin: an arc that was joined over it is split."""
    if not arcs:
        return []
    on = min(range(len(arcs)), key=lambda k: _away(arcs[k], start))
    arc = arcs[on]
    if math.dist(arc.start, start) <= _SAME_MM:
        before, after = [], [arc]
    elif math.dist(arc.end, start) <= _SAME_MM:
        before, after = [arc], []
    else:
        before, after = ([part] for part in _split(arc, start))
    return [*after, *arcs[on + 1 :], *arcs[:on], *before]


def _away(arc: Arc, point: Point) -> float:
    """How far a point is from lying on an arc, as an angle: 0 on it, about a half turn elsewhere."""
    if point in (arc.start, arc.end):
        return -1.0
    # on the arc, the way to the point and the way on from it make half the included angle
    turn = _angle(complex(*point) - complex(*arc.start), complex(*arc.end) - complex(*point))
    return abs(math.remainder(turn - 2 * math.atan(arc.bulge), 2 * math.pi))


def _split(arc: Arc, at: Point) -> tuple[Arc, Arc]:
    """Split an arc at a point on it; the parts' angles are in the proportion the point divides it."""
    chord = complex(*arc.end) - complex(*arc.start)
    first, rest = complex(*at) - complex(*arc.start), complex(*arc.end) - complex(*at)
    # each part's chord makes half the other part's included angle with the whole chord
    return (
        Arc(arc.start, at, math.tan(_angle(chord, rest) / 2)),
        Arc(at, arc.end, math.tan(_angle(first, chord) / 2)),
    )


def _angle(a: complex, b: complex) -> float:
    """Angle from a to b, from x towards y."""
    turn = b * a.conjugate()
    return math.atan2(turn.imag, turn.real)
