"""In which order, and from where, the knife cuts: what lies inside first, a short way between, starts off the corners.

Once an outline is cut through, what lies within it may shift; so islands in a hole come before the hole, and holes
before the outline round them. Writers keep the order of pieces, and cut a piece's holes in order, then its outline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeAlias

import numpy as np
import shapely
from shapely.geometry import Polygon

from maskgen.geometry.polygons import to_polygon
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Piece, Point, Points, Ring, flatten
from maskgen.shape.route import Stops, best_choice, route_length, short_route
from maskgen.shape.starts import start_points, started_at

_WITHIN_MM = 0.05
"""Chord error when it is decided which piece lies inside which."""

_ROUNDS = 4
"""Order and starts are chosen in turn while that shortens the way; more rounds gain next to nothing."""

RingKey: TypeAlias = tuple[int, int]
"""Number of a piece and of its ring: 0 its outline, then its holes."""


@dataclass(slots=True)
class _Unit:
    """A piece with all that lies in its holes, cut before it."""

    piece: int
    holes: tuple[RingKey, ...]
    inside: list[_Unit] = field(default_factory=list)


def in_cutting_order(drawing: CutDrawing) -> CutDrawing:
    """Give the drawing with pieces, holes and starts as they are best cut, from the lower left corner."""
    return replace(drawing, pieces=cutting_order(drawing.pieces, home=home_of(drawing)))


def home_of(drawing: CutDrawing) -> Point:
    """Where the knife waits: the lower left corner, which is the origin of DXF and HPGL."""
    return drawing.left, drawing.top + drawing.height


def cutting_order(pieces: Sequence[Piece], *, home: Point) -> tuple[Piece, ...]:
    """Give the pieces in cutting order, their holes too, every ring begun where the knife may begin it."""
    pieces = [piece for piece in pieces if piece.outer.segments]
    if not pieces:
        return ()
    rings = {(p, r): ring for p, piece in enumerate(pieces) for r, ring in enumerate(piece.rings) if ring.segments}
    starts = {key: start_points(ring) for key, ring in rings.items()}
    places = {key: np.array([s.point for s in found]) for key, found in starts.items()}
    units = _units(pieces)
    at = {key: found.mean(axis=0) for key, found in places.items()}
    shortest, best_order, best_starts = np.inf, list(rings), dict.fromkeys(rings, 0)
    for _ in range(_ROUNDS):
        order = _routed(units, at, home)
        chosen = best_choice([places[key] for key in order], home=home)
        at = {key: places[key][c] for key, c in zip(order, chosen, strict=True)}
        points = np.array(list(at.values()))
        length = route_length(points, points, home=home)
        if length > shortest - 1e-3:
            break
        shortest, best_order, best_starts = length, order, dict(zip(order, chosen, strict=True))
    started = {key: started_at(rings[key], starts[key][best_starts[key]]) for key in best_order}
    return _rebuilt(started)


def other_way_round(pieces: Sequence[Piece]) -> tuple[Piece, ...]:
    """Give pieces in cutting order from the far end: still what lies inside first."""
    runs, start = [], 0
    for count in whole_runs(pieces):
        runs.append(pieces[start : start + count])
        start += count
    return tuple(piece for run in reversed(runs) for piece in run)


def whole_runs(pieces: Sequence[Piece]) -> list[int]:
    """Count, for pieces in cutting order, how many belong together: those in a piece's holes, then the piece."""
    counts = [0]
    outermost = {unit.piece for unit in _units(pieces)}
    for number in range(len(pieces)):
        counts[-1] += 1
        if number in outermost:  # nothing lies round it: whatever lies in its holes has come before it
            counts.append(0)
    return counts[:-1]


def travel_mm(pieces: Sequence[Piece], *, home: Point) -> float:
    """Way of the lifted knife through pieces as writers cut them, from home to the last start."""
    points = _ring_starts(pieces)
    return route_length(points, points, home=home)


def mirrored(drawing: CutDrawing) -> CutDrawing:
    """Give the drawing mirrored left to right within its window, to be weeded from behind."""
    across = 2 * drawing.left + drawing.width

    def mirror(ring: Ring) -> Ring:
        return ring.mapped(lambda p: (across - p[0], p[1])).reversed()

    pieces = tuple(Piece(mirror(p.outer), tuple(map(mirror, p.holes))) for p in drawing.pieces)
    return replace(drawing, pieces=pieces)


def _ring_starts(pieces: Sequence[Piece]) -> Points:
    starts = [ring.segments[0].start for piece in pieces for ring in (*piece.holes, piece.outer) if ring.segments]
    return np.array(starts, dtype=np.float64).reshape(-1, 2)


def _units(pieces: Sequence[Piece]) -> list[_Unit]:
    """Put every piece under the piece in whose hole it lies (the innermost such hole)."""
    units = [
        _Unit(number, tuple((number, index) for index, hole in enumerate(piece.holes, start=1) if hole.segments))
        for number, piece in enumerate(pieces)
    ]
    holes = [key for unit in units for key in unit.holes]
    if not holes:
        return units
    outlines = [Polygon(flatten(pieces[p].holes[r - 1], _WITHIN_MM)) for p, r in holes]
    inner_points = shapely.point_on_surface([to_polygon(piece, tolerance=_WITHIN_MM) for piece in pieces])
    parent: dict[int, int] = {}
    least = [np.inf] * len(pieces)
    for number, hole in shapely.STRtree(outlines).query(inner_points, predicate="within").T:
        if outlines[hole].area < least[number]:
            least[number], parent[int(number)] = outlines[hole].area, holes[hole][0]
    for number, above in parent.items():
        units[above].inside.append(units[number])
    return [unit for unit in units if unit.piece not in parent]


def _routed(units: Sequence[_Unit], at: dict[RingKey, Points], home: Point, goal: Point | None = None) -> list[RingKey]:
    """Order units, and within each what lies inside, then its holes, then its outline."""
    runs = [_run(unit, at, home) for unit in units]
    entry, leave = np.array([at[run[0]] for run in runs]), np.array([at[run[-1]] for run in runs])
    order, _ = short_route(Stops.one_way(entry, leave), home=home, goal=goal)
    return [key for number in order for key in runs[number]]


def _run(unit: _Unit, at: dict[RingKey, Points], home: Point) -> list[RingKey]:
    outline = (unit.piece, 0)
    goal = _point(at[outline])
    run = _routed(unit.inside, at, home, goal) if unit.inside else []
    if unit.holes:
        points = np.array([at[key] for key in unit.holes])
        before = _point(at[run[-1]]) if run else home
        order, _ = short_route(Stops.one_way(points, points), home=before, goal=goal)
        run += [unit.holes[k] for k in order]
    return [*run, outline]


def _point(at: Points) -> Point:
    return float(at[0]), float(at[1])


def _rebuilt(rings: dict[RingKey, Ring]) -> tuple[Piece, ...]:
    """Put rings in cutting order together to pieces; a piece's outline comes last of its rings."""
    holes: dict[int, list[Ring]] = {}
    pieces = []
    for (piece, index), ring in rings.items():
        if index:
            holes.setdefault(piece, []).append(ring)
        else:
            pieces.append(Piece(ring, tuple(holes.get(piece, ()))))
    return tuple(pieces)
