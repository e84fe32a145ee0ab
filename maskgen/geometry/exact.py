"""Dense, exact polygons back to few lines and cubics, within a tolerance that is kept.

For outlines that come out of offsets and boolean operations on flattened curves. A flattened curve shows small turns
on short edges; what no curve could show (a turn too large for the edges beside it) is a corner, and an edge too long
to be a chord of the curve beside it is a straight run. Between those, the fewest cubics that stay within the
tolerance are found by always taking the longest that does.

The chord error of the polygon must be well under the tolerance (a third or less), or its chords count as straight.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import LinearRing, MultiPolygon, Polygon

from maskgen.geometry.cubics import Flags, Floats, Places, to_places, unit
from maskgen.geometry.exact_runs import Run, edge, fit_runs
from maskgen.geometry.polygons import from_polygons, to_polygon
from maskgen.model.paths import Area, Line, Piece, Points, Ring, flatten, polygon_ring, signed_area

CHORD_SHARE = 0.6
"""Share of the tolerance a chord's rise may have before the chord counts as straight and its ends as corners."""
CORNER_TURN = np.radians(40.0)
"""A larger turn at one vertex is a corner however short the edges: flattening never turns so much at once."""
ODD_TURN, ODD_RATIO = np.radians(4.0), 3.0
"""A turn that is this many times what its neighbours' curvature explains is a corner too."""
LONG_RATIO = 4.0
"""An edge this many times longer than both neighbours may be straight though its rise would be small."""
INNER_SHARE = 0.96
"""Share of the tolerance the search may use; the rest is for tidying and for places between samples."""


def fit_exact(polygon_points: Points, *, tolerance: float) -> Ring:
    """Replace a dense polygon by few lines and cubics.

    Parameters
    ----------
    polygon_points
        Corners, (n, 2), the first not repeated at the end (a repeated one is dropped). Direction is kept.
    tolerance
        Largest distance of the ring from the polygon and of the polygon from the ring.

    Returns
    -------
    Ring
        Corners of the polygon stay sharp at their exact vertices, long edges stay exact lines, joints of smooth runs
        have one tangent. Never crosses itself unless the polygon does; where no fit is safe, the polygon's own edges.
    """
    return _fit_rings([np.asarray(polygon_points, dtype=np.float64)], tolerance)[0]


def fit_area_exact(polygons: MultiPolygon | Polygon, *, tolerance: float) -> Area:
    """Replace every ring of exact polygons by few lines and cubics; outer rings positive, holes negative.

    Where two fitted rings of a piece would touch or cross, the piece is fitted again closer, at last kept as polygon.
    """
    pieces = list(from_polygons(polygons).pieces)
    doubtful = list(range(len(pieces)))
    for share in (1.0, 0.25):
        rings = [ring for index in doubtful for ring in pieces[index].rings]
        fitted = iter(_fit_rings([_corners(ring) for ring in rings], tolerance * share))
        tried = {index: [_oriented(next(fitted), ring) for ring in pieces[index].rings] for index in doubtful}
        closer = []
        for index, (outer, *holes) in tried.items():
            piece = Piece(outer, tuple(holes))
            if to_polygon(piece, tolerance=tolerance / 4).is_valid:
                pieces[index] = piece
            else:
                closer.append(index)
        doubtful = closer
        if not doubtful:
            break
    return Area(tuple(pieces))


def _corners(ring: Ring) -> Points:
    return np.array([segment.start for segment in ring.segments])


def _oriented(fitted: Ring, ring: Ring) -> Ring:
    return fitted if signed_area(fitted) * signed_area(ring) > 0 else fitted.reversed()


def _fit_rings(polygons: Sequence[Points], tolerance: float) -> list[Ring]:
    """Fit closed polygons, with and without taking long edges of small rise as straight: what takes fewer segments."""
    inner = INNER_SHARE * tolerance
    tidied = [_tidy(points, tolerance) for points in polygons]
    plans = [_plans(places, inner) if len(places) > 3 else [] for places in tidied]
    runs = {part.key: part.run for some in plans for parts in some for part in parts if part.run is not None}
    curves = dict(zip(runs, fit_runs(list(runs.values())), strict=True))
    rings = []
    for places, some in zip(tidied, plans, strict=True):
        choices = [Ring(tuple(s for part in parts for s in (part.lines or curves[part.key]))) for parts in some]
        ring = min(choices, key=lambda r: len(r.segments), default=None)
        if ring is None or len(ring.segments) >= len(places) or not _is_simple(ring, tolerance):
            ring = polygon_ring(np.column_stack([places.real, places.imag]))
        rings.append(ring)
    return rings


def _is_simple(ring: Ring, tolerance: float) -> bool:
    return bool(LinearRing(flatten(ring, tolerance / 4)).is_simple)


def _tidy(points: Points, tolerance: float) -> Places:
    """Drop what says nothing: repeated points, points on straight edges, tiny facets on a curve's vertex."""
    places = to_places(points)
    places = places[np.abs(places - np.roll(places, 1)) > 1e-4 * tolerance]
    if len(places) < 4:
        return places
    places = _without_facets(places, 0.1 * tolerance)
    # Start where the turn is largest, so that simplifying never moves a corner.
    places = np.roll(places, -int(np.argmax(np.abs(_turns(places)))))
    closed = np.append(places, places[0])
    line = shapely.LineString(np.column_stack([closed.real, closed.imag]))
    thin = to_places(shapely.get_coordinates(line.simplify(0.01 * tolerance)))
    return thin[:-1] if len(thin) > 4 else places


def _without_facets(places: Places, slack: float) -> Places:
    """Offsetting turns every vertex of a flattened curve into a tiny facet: put the vertex back."""
    edge = np.roll(places, -1) - places
    length = np.abs(edge)
    turn = _turns(places)
    after = np.roll(turn, -1)
    short = length < 0.34 * np.minimum(np.roll(length, 1), np.roll(length, -1))
    bend = np.abs(turn + after)
    small = (turn * after > 0) & (bend < 0.5) & (length * bend / 4 < slack)
    facet = short & small
    facet &= ~np.roll(facet, 1)
    index = np.flatnonzero(facet)
    along = length[index] * np.sin(np.abs(after[index])) / np.sin(bend[index])
    moved = places.copy()
    moved[index] += along * edge[index - 1] / length[index - 1]
    keep = np.ones(len(places), dtype=bool)
    keep[(index + 1) % len(places)] = False
    return moved[keep]


def _turns(places: Places) -> Floats:
    """Signed turn at every vertex of a closed polygon."""
    edge = np.roll(places, -1) - places
    return np.angle(edge * np.conj(np.roll(edge, 1)))


@dataclass(frozen=True, slots=True, eq=False)
class _Outline:
    """A closed polygon with what is known about its vertices; `line[i]` is the edge from i to i + 1."""

    places: Places
    tangents: Places
    corner: Flags
    line: Flags
    turns: Floats


def _outline(places: Places, tolerance: float, long_edges: bool) -> _Outline:
    turns = _turns(places)
    size = np.abs(turns)
    edge = np.roll(places, -1) - places
    length = np.abs(edge)
    before = np.roll(length, 1)
    least = np.minimum(length, before)
    corner = (size * least / 8 > CHORD_SHARE * tolerance) | (size > CORNER_TURN)
    explained = np.maximum(*(np.roll(size, way) * least / np.roll(least, way) for way in (1, -1)))
    corner |= (size > ODD_TURN) & (size > ODD_RATIO * explained)

    corner_after = np.roll(corner, -1)
    line = length * np.minimum(size, np.roll(size, -1)) / 8 > CHORD_SHARE * tolerance
    line |= corner & corner_after
    if long_edges:
        after = np.roll(length, -1)
        line |= (length > LONG_RATIO * np.where(corner, 0, before)) & (
            length > LONG_RATIO * np.where(corner_after, 0, after)
        )
    corner |= line & np.roll(line, 1) & (size > 1e-3)
    return _Outline(places, _tangents(edge, line), corner, line, turns)


def _tangents(edge: Places, line: Flags) -> Places:
    """Tangent at every vertex: along a straight edge beside it, else of the circle through it and its neighbours."""
    length = np.abs(edge)
    along = edge / length
    arriving = np.roll(along, 1)
    tangents = arriving * length + along * np.roll(length, 1)
    tangents[line] = along[line]
    line_before = np.roll(line, 1)
    tangents[line_before] = arriving[line_before]
    return unit(tangents)


@dataclass(frozen=True, slots=True, eq=False)
class _Part:
    """A stretch of an outline from one break to the next: straight edges, or a smooth run.

    Two ways to fit one polygon share most of their runs, which have the same key.
    """

    key: tuple[object, ...]
    lines: tuple[Line, ...] = ()
    run: Run | None = None


def _plans(places: Places, tolerance: float) -> list[list[_Part]]:
    """Give the ways to fit a polygon; one where it makes no difference whether long edges are straight."""
    outlines = [_outline(places, tolerance, long_edges) for long_edges in (False, True)]
    if np.array_equal(outlines[0].line, outlines[1].line):
        outlines.pop()
    return [_parts(outline, tolerance) for outline in outlines]


def _parts(outline: _Outline, tolerance: float) -> list[_Part]:
    breaks = np.flatnonzero(outline.corner | (outline.line != np.roll(outline.line, 1)))
    if len(breaks) == 0:
        # Begin a smooth ring at its rightmost place, as one begins a circle.
        breaks = np.array([int(np.argmax(outline.places.real))])
    parts = []
    for first, last in zip(breaks, [*breaks[1:], breaks[0] + len(outline.places)], strict=True):
        run = _cut(outline, int(first), int(last), tolerance)
        if outline.line[first]:
            parts.append(_Part((), tuple(edge(run.places, k) for k in range(len(run.places) - 1))))
        else:
            same = (id(outline.places), int(first), int(last), complex(run.tangents[0]), complex(run.tangents[-1]))
            parts.append(_Part((*same, run.start_free, run.end_free), run=run))
    return parts


def _cut(outline: _Outline, first: int, last: int, tolerance: float) -> Run:
    index = np.arange(first, last + 1) % len(outline.places)
    places = outline.places[index]
    tangents = outline.tangents[index].copy()
    size = np.abs(outline.turns[index])
    size[0] = size[-1] = 0.0
    start_free, end_free = bool(outline.corner[index[0]]), bool(outline.corner[index[-1]])
    if start_free:
        tangents[0] = _end_tangent(places[:3])
    if end_free:
        tangents[-1] = -_end_tangent(places[:-4:-1])
    return Run(places, tangents, start_free, end_free, np.cumsum(size), tolerance)


def _end_tangent(places: Places) -> complex:
    """Tangent at the first of two or three places, of the circle through them."""
    a = complex(places[1] - places[0])
    if len(places) < 3:
        return a / abs(a)
    b = complex(places[2] - places[1])
    turn = np.angle(b * a.conjugate())
    tangent = a * np.exp(-1j * turn * abs(a) / (abs(a) + abs(b)))
    return complex(tangent / abs(a))
