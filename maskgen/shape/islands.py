"""Islands: separate pieces of a colour too small to handle, kept, dropped, grown or tied to their kin.

An island is a piece under `min_piece_mm2`, or one that is nowhere as wide as `min_land_mm`. What is done is done on the
partition itself: boundaries stay shared, and curves stay curves except where something was cut.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.errors import InputError
from maskgen.geometry.arrangement import arrange, assemble, find_faces
from maskgen.geometry.exact import fit_area_exact
from maskgen.geometry.polygons import to_multipolygon, to_polygon
from maskgen.geometry.segments import canonical
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.job import IslandChoice, IslandRule, Resist
from maskgen.model.paths import Area, Line, Partition, Piece, Point, Region, Segment, flatten, flatten_segment
from maskgen.model.result import IslandChange
from maskgen.shape.ties import tie_together

HIT_MM = 0.3
"""A place this near an island means it: places are read off a drawing."""

FEW = 4
"""Up to so many additions that cut something off are taken back one by one, and so many ties tried elsewhere."""

GROWN_FIT_MM = 0.003
"""How far a grown outline, as curves, may lie from the exact offset."""

SURPLUS_MM = 0.01
"""Grown islands end this much above the least width, so that no rounding makes them islands again."""


@dataclass(frozen=True, slots=True)
class Settled:
    """The partition with its islands settled, what was done to each, and what could not be done."""

    partition: Partition
    changes: tuple[IslandChange, ...] = ()
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class _Island:
    """A small piece; `index` counts the pieces of the whole partition, `number` those of its colour."""

    region: Region
    index: int
    number: int
    polygon: Polygon
    rule: IslandRule

    @property
    def at(self) -> Point:
        point = self.polygon.representative_point()
        return (round(float(point.x), 4), round(float(point.y), 4))

    @property
    def place(self) -> tuple[str, Point]:
        """Colour and place, which tell islands apart."""
        return self.region.key, self.at


@dataclass(frozen=True, slots=True)
class _Addition:
    """Ground an island gets: by growth, or as a tie."""

    island: _Island
    shape: BaseGeometry
    outline: Sequence[Segment]


def settle_islands(regions: Partition, *, resist: Resist, choices: Sequence[IslandChoice] = ()) -> Settled:
    """Settle every island by the job's rule, or by the choice made for it.

    A dropped island's area goes to the colour with which it shares the longest boundary; a grown one is widened all
    round until it can be handled; a tie of `bridge_mm` joins an island to the nearest piece of its colour. A colour of
    which nothing is left is left out. Doing it again changes nothing.

    Raises
    ------
    InputError
        When the place of a choice hits no island.
    """
    chosen = _chosen(find_islands(regions, resist), choices, resist)
    partition, dropped = _drop(regions, chosen)
    rules = {i.place: i.rule for i in chosen}
    changes = [_change(i, 0.0) for i in chosen if i.rule is IslandRule.KEEP]
    changes += dropped
    avoid: list[BaseGeometry] = []
    while True:
        found = find_islands(partition, resist)
        left = [dataclasses.replace(i, rule=rules.get(i.place, i.rule)) for i in found]
        partition, held, refused = _hold(partition, left, resist, avoid)
        changes += held
        # What stood in the way of one may be gone once others are settled; if none was, ties are tried elsewhere.
        progress = held and len(find_islands(partition, resist)) < len(left)
        avoid = [] if progress else [*avoid, *refused]
        if not progress and (not refused or len(avoid) > FEW):
            break
    still = {i.place for i in find_islands(partition, resist)}
    failures = (_failure(i, resist) for i in left if i.rule is not IslandRule.KEEP and i.place in still)
    return Settled(partition, tuple(changes), tuple(failures))


def find_islands(regions: Partition, resist: Resist) -> tuple[_Island, ...]:
    """Give the islands, smallest first, each with the job's rule."""
    found, index = [], 0
    for region in regions.regions:
        for number, piece in enumerate(region.area.pieces):
            polygon = to_polygon(piece)
            polygon = polygon if polygon.is_valid else polygon.buffer(0)
            if is_island(polygon, resist):
                found.append(_Island(region, index, number, polygon, resist.islands))
            index += 1
    return tuple(sorted(found, key=lambda i: (i.polygon.area, i.at)))


def _pieces(partition: Partition) -> list[tuple[Region, Piece]]:
    return [(region, piece) for region in partition.regions for piece in region.area.pieces]


def is_island(polygon: BaseGeometry, resist: Resist) -> bool:
    """Tell whether a piece is too small, or too thin everywhere, to handle."""
    return polygon.area < resist.min_piece_mm2 - 1e-6 or _thin_everywhere(polygon, resist.min_land_mm)


def _thin_everywhere(polygon: BaseGeometry, least_mm: float) -> bool:
    # A disc of area / perimeter fits into any shape; most are wide enough by that alone.
    if polygon.area >= polygon.length * least_mm / 2:
        return False
    return bool(polygon.buffer(-(least_mm / 2 - 1e-3)).is_empty)


def _chosen(islands: Sequence[_Island], choices: Sequence[IslandChoice], resist: Resist) -> list[_Island]:
    """Apply choices made by hand."""
    chosen = list(islands)
    shapes = np.array([i.polygon for i in islands])
    for choice in choices:
        x, y = choice.at_mm
        where = f"[[island]] at_mm = [{x:g}, {y:g}]"
        if not len(shapes):
            raise InputError("there is no island in this artwork at this size", where=where, mend="leave the entry out")
        away = shapely.distance(shapes, shapely.Point(x, y))
        nearest = int(np.argmin(away))
        if away[nearest] > HIT_MM:
            a, b = islands[nearest].at
            raise InputError(
                f"no island there; islands are pieces under {resist.min_piece_mm2:g} mm² or nowhere "
                f"{resist.min_land_mm:g} mm wide",
                where=where,
                mend=f"the nearest lies at [{a:.1f}, {b:.1f}]",
            )
        chosen[nearest] = dataclasses.replace(chosen[nearest], rule=choice.choice)
    return chosen


def _change(island: _Island, changed_mm2: float) -> IslandChange:
    area = round(float(island.polygon.area), 4)
    return IslandChange(island.region.key, island.at, area, island.rule, round(changed_mm2, 4))


def _drop(partition: Partition, islands: Sequence[_Island]) -> tuple[Partition, list[IslandChange]]:
    """Give dropped islands to the colours around them."""
    dropped = [i for i in islands if i.rule is IslandRule.DROP]
    heirs = _heirs(partition, dropped)
    if not heirs:
        return partition, []
    arrangement = arrange(_outlines(partition))
    owner = find_faces(arrangement, [to_multipolygon(region.area) for region in partition.regions])
    which = find_faces(arrangement, [i.polygon for i in dropped])
    keys = [region.key for region in partition.regions]
    labels = [
        heirs.get(dropped[w].index, keys[k]) if w >= 0 else keys[k]
        for k, w in zip(owner.tolist(), which.tolist(), strict=True)
    ]
    gone = [_change(i, float(i.polygon.area)) for i in dropped if i.index in heirs]
    return _relabelled(partition, assemble(arrangement, labels)), gone


def _heirs(partition: Partition, dropped: Sequence[_Island]) -> dict[int, str]:
    """Find the colour each dropped island goes to: that of the longest common boundary with what stays."""
    pieces = _pieces(partition)
    beside: dict[Segment, list[int]] = defaultdict(list)
    for index, (_, piece) in enumerate(pieces):
        for ring in piece.rings:
            for segment in ring.segments:
                beside[canonical(segment)].append(index)
    shared: dict[int, dict[int, float]] = {i.index: defaultdict(float) for i in dropped}
    for segment, indices in beside.items():
        for index in shared.keys() & set(indices):
            for other in indices:
                shared[index][other] += _length(segment) if other != index else 0.0
    heirs: dict[int, str] = {}
    while True:
        settled: dict[int, str] = {}
        for index in shared.keys() - heirs.keys():
            along: dict[str, float] = defaultdict(float)
            for other, length in shared[index].items():
                if length > 0 and (other not in shared or other in heirs):
                    along[heirs.get(other, pieces[other][0].key)] += length
            if along:
                settled[index] = max(sorted(along), key=lambda key: along[key])
        if not settled:
            return heirs
        heirs |= settled


def _length(segment: Segment) -> float:
    points = np.vstack([np.array([segment.start]), flatten_segment(segment, 1e-3)])
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def _hold(
    partition: Partition, islands: Sequence[_Island], resist: Resist, avoid: Sequence[BaseGeometry]
) -> tuple[Partition, list[IslandChange], list[BaseGeometry]]:
    """Grow and tie islands, but for what would cut a new island off a neighbour; such ties come last."""
    additions = [
        *_growths(partition, islands, resist),
        *(addition for region in partition.regions for addition in _ties(region, islands, resist, avoid)),
    ]
    known = {i.place for i in islands}
    refused: list[BaseGeometry] = []
    while additions:
        held, changes = _add(partition, islands, additions)
        cut_off = [i.polygon for i in find_islands(held, resist) if i.place not in known]
        blamed = np.zeros(len(additions), dtype=bool)
        if cut_off:
            near = shapely.distance(np.array([[a.shape] for a in additions]), np.array(cut_off)) < HIT_MM / 10
            blamed = near.any(axis=1)
        if not blamed.any():
            return held, changes, refused
        # Two may have done it together, so that one can stay; among many that is not worth the time.
        last = np.flatnonzero(blamed)
        out = set(last.tolist() if len(last) > FEW else last[-1:].tolist())
        refused += [a.shape for k, a in enumerate(additions) if k in out and a.island.rule is IslandRule.BRIDGE]
        additions = [a for k, a in enumerate(additions) if k not in out]
    return partition, [], refused


def _growths(partition: Partition, islands: Sequence[_Island], resist: Resist) -> list[_Addition]:
    grown = [i for i in islands if i.rule is IslandRule.GROW]
    if not grown:
        return []
    # Faces are convex: rectangles and discs.
    outline = np.vstack([flatten(piece.outer, 1e-3) for _, piece in _pieces(partition)])
    face = shapely.multipoints(outline).convex_hull
    additions = []
    for island in grown:
        others = [i.polygon for i in islands if i is not island]
        area = _grown(island, others, face, resist)
        shape = to_multipolygon(area)
        if shape.area > 0:
            additions.append(_Addition(island, shape, [s for ring in area.rings for s in ring.segments]))
    return additions


def _grown(island: _Island, others: Sequence[Polygon], face: BaseGeometry, resist: Resist) -> Area:
    """Widen an island all round by the least that makes it large enough."""
    room = face.difference(shapely.union_all(others)) if others else face

    def widened(by_mm: float) -> MultiPolygon:
        return shapely.intersection(island.polygon.buffer(by_mm, quad_segs=32), room)

    def enough(by_mm: float) -> bool:
        shape = widened(by_mm)
        wide = not shape.buffer(-(resist.min_land_mm + SURPLUS_MM) / 2).is_empty
        return wide and shape.area >= resist.min_piece_mm2 * (1 + SURPLUS_MM)

    low, high = 0.0, resist.min_land_mm + float(np.sqrt(resist.min_piece_mm2))
    if not enough(high):
        return Area()
    while high - low > 1e-3:
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return fit_area_exact(widened(high), tolerance=GROWN_FIT_MM)


def _ties(region: Region, islands: Sequence[_Island], resist: Resist, avoid: Sequence[BaseGeometry]) -> list[_Addition]:
    """Tie the islands of one colour to the pieces of it that are none, directly or through one another."""
    bridged = [i for i in islands if i.rule is IslandRule.BRIDGE and i.region.key == region.key]
    if not bridged:
        return []
    pieces = [to_polygon(piece) for piece in region.area.pieces]
    wanted = {i.number for i in bridged}
    ties_are_lands = resist.bridge_mm >= resist.min_land_mm

    def needs(group: Sequence[int]) -> bool:
        if not wanted.issuperset(group):
            return False
        if len(group) == 1:
            return True
        small = sum(pieces[k].area for k in group) < resist.min_piece_mm2
        thin = not ties_are_lands and all(_thin_everywhere(pieces[k], resist.min_land_mm) for k in group)
        return small or thin

    ties = tie_together(pieces, needs=needs, width_mm=resist.bridge_mm, min_land_mm=resist.min_land_mm, avoid=avoid)
    shapes = np.array([i.polygon for i in bridged])
    return [
        # Both ends may lie in islands; the tie counts for the one it started from.
        _Addition(bridged[int(np.argmin(shapely.distance(shapes, shapely.Point(t.start))))], t.outline, t.sides)
        for t in ties
    ]


def _add(
    partition: Partition, islands: Sequence[_Island], additions: Sequence[_Addition]
) -> tuple[Partition, list[IslandChange]]:
    """Give the ground of growth and ties to the colours of their islands."""
    cuts = [segment for addition in additions for segment in addition.outline]
    arrangement = arrange([*_outlines(partition), *cuts])
    owner = find_faces(arrangement, [to_multipolygon(region.area) for region in partition.regions])
    added = find_faces(arrangement, [addition.shape for addition in additions])
    keys = [region.key for region in partition.regions]
    labels: list[str | None] = []
    changed = dict.fromkeys((i.index for i in islands), 0.0)
    for k, a, size in zip(owner.tolist(), added.tolist(), arrangement.face_areas.tolist(), strict=True):
        label = None if k < 0 else keys[k]
        if label is not None and a >= 0 and additions[a].island.region.key != label:
            label = additions[a].island.region.key
            changed[additions[a].island.index] += size
        labels.append(label)
    done = [_change(i, changed[i.index]) for i in islands if changed[i.index] > 0]
    return _relabelled(partition, assemble(arrangement, labels)), done


def _outlines(partition: Partition) -> list[Segment]:
    """Give all boundaries, the straight ones first: where anything lies on the face's edge, the edge stands."""
    segments = [s for region in partition.regions for ring in region.area.rings for s in ring.segments]
    return sorted(segments, key=lambda s: not isinstance(s, Line))


def _relabelled(partition: Partition, areas: dict[str, Area]) -> Partition:
    regions = tuple(
        dataclasses.replace(region, area=areas[region.key])
        for region in partition.regions
        if areas.get(region.key, Area()).pieces
    )
    return dataclasses.replace(partition, regions=regions)


def _failure(island: _Island, resist: Resist) -> Finding:
    """Tell an island that should have been settled and still stands."""
    x, y = island.at
    return Finding(
        Code.SMALL_PIECE,
        Severity.WARNING,
        f"{island.region.name}: nothing could be done about the island of {island.polygon.area:.2f} mm² at {x:.1f}, "
        f"{y:.1f} mm: no other piece of its colour to hold to, or no room without cutting a piece off a neighbour",
        "choose drop or keep for it, or make the artwork larger",
        island.at,
        value=round(float(island.polygon.area), 4),
        limit=resist.min_piece_mm2,
    )
