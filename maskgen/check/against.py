"""Does a file hold the masks of a job? Where, in which scale, mirrored or not, and what differs.

Pieces are told apart by what no placing changes: area and length of outline, up to one scale for the whole file. The
scale most pairs of alike pieces agree on is taken; then every mask is laid on the file in all quarter turns, at the
place where most of its pieces fall on pieces of the file.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry import Polygon

from maskgen.check.sizes import named_scale
from maskgen.model.paths import Point

ALIKE = 0.03
"""Share by which length squared over area may differ between alike pieces."""
SAME_SIZE = 0.004
ALIKE_SIZE = 0.1
"""Logarithm of the ratio by which area and length of a piece that was changed a little may differ."""
LEAST_FOUND = 0.5
"""A mask of which less is found is not in the file at all."""
SAME_PLACE_MM = 1.0
"""How far off the best placing a piece may lie and still be the same one."""
MOST_DEVIATION_MM = 0.05
"""Up to this the outlines are the same: two steps of a plotter."""
MOST_VOTES = 400
MOST_SCALES = 8

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class MaskMatch:
    """How one mask is found: `moved_mm`, `turned_degrees` lay it on the file; `missing` are places in its own frame."""

    mask: str
    pieces: int
    found: int
    moved_mm: Point | None
    turned_degrees: int
    missing: tuple[Point, ...]
    deviation_mm: float | None
    deviation_at: Point | None
    copies: int = 1
    """How often the whole mask is found, when it is."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """A file against a job. `scale` is the size of the file over that of the job, `mistake` what makes such a scale."""

    scale: float
    mistake: str | None
    mirrored: bool
    masks: tuple[MaskMatch, ...]
    extra: tuple[Point, ...]

    @property
    def same(self) -> bool:
        """Whether the file holds one mask or several, each whole and as it is, and nothing else."""
        held = [m for m in self.masks if m.found]
        return (
            bool(held)
            and abs(self.scale - 1.0) < SAME_SIZE
            and not self.mirrored
            and not self.extra
            and all(not m.missing and (m.deviation_mm or 0.0) <= MOST_DEVIATION_MM for m in held)
        )


def compare(file: Sequence[Polygon], masks: Sequence[tuple[str, Sequence[Polygon]]]) -> Comparison:
    """Compare the pieces of a file with those of every mask, mm, y down."""
    wanted = [piece for _, pieces in masks for piece in pieces]
    best: Comparison | None = None
    for scale in _scales(wanted, file):
        scaled = [affinity.scale(piece, 1 / scale, 1 / scale, origin=(0.0, 0.0)) for piece in file]
        for mirrored in (False, True):
            matches, left = _lay_all(masks, scaled, mirrored=mirrored)
            extra = tuple(_spot(file[k]) for k in sorted(left))
            mistake = None if scale == 1.0 else named_scale(scale)
            found = Comparison(scale, mistake, mirrored, tuple(matches), extra)
            if best is None or _quality(found.masks) > _quality(best.masks):
                best = found
            if found.masks and not extra and not any(m.missing for m in found.masks if m.found):
                return best
    assert best is not None
    return best


def _quality(matches: Sequence[MaskMatch]) -> int:
    return sum(m.found for m in matches)


def _scales(wanted: Sequence[Polygon], file: Sequence[Polygon]) -> list[float]:
    """Give scales worth trying: the same size first, then the ratios most pairs of alike pieces agree on."""
    if not wanted or not file:
        return [1.0]
    a, b = _measures(wanted[:MOST_VOTES]), _measures(file[:MOST_VOTES])
    shape = np.abs(np.log(b[:, None, 1] ** 2 / b[:, None, 0]) - np.log(a[None, :, 1] ** 2 / a[None, :, 0]))
    ratio = np.sort(0.5 * np.log(b[:, None, 0] / a[None, :, 0])[shape < ALIKE])
    scales = [1.0]
    while len(ratio) and len(scales) < MOST_SCALES:
        votes = np.searchsorted(ratio, ratio + SAME_SIZE) - np.searchsorted(ratio, ratio - SAME_SIZE)
        near = np.abs(ratio - ratio[int(np.argmax(votes))]) < SAME_SIZE
        scale = math.exp(float(np.median(ratio[near])))
        if abs(math.log(scale)) >= SAME_SIZE:
            scales.append(scale)
        ratio = ratio[~near]
    return scales


def _measures(pieces: Sequence[Polygon]) -> Floats:
    measures: Floats = np.maximum(np.array([(p.area, p.length) for p in pieces]), 1e-9)
    return measures


def _lay_all(
    masks: Sequence[tuple[str, Sequence[Polygon]]], file: Sequence[Polygon], *, mirrored: bool
) -> tuple[list[MaskMatch], set[int]]:
    """Lay all masks, the one that is found best first, so that alike pieces of others stay free for theirs."""
    left = set(range(len(file)))
    waiting = list(range(len(masks)))
    matches: dict[int, MaskMatch] = {}
    while waiting:
        tried = {}
        for k in waiting:
            name, pieces = masks[k]
            tried[k] = _lay(name, _own(pieces, mirrored), file, left, mirrored)
        best = max(waiting, key=lambda k: (_share(tried[k][0]), tried[k][0].found, -k))
        match, used = tried[best]
        if _share(match) < LEAST_FOUND:
            matches |= {k: _absent(masks[k]) for k in waiting}
            break
        left -= used
        matches[best] = match
        waiting.remove(best)
    for k, match in list(matches.items()):
        copies = 1
        while match.pieces and match.found == match.pieces and len(left) >= match.pieces:
            again, used = _lay(masks[k][0], _own(masks[k][1], mirrored), file, left, mirrored)
            if again.found < again.pieces or (again.deviation_mm or 0.0) > MOST_DEVIATION_MM:
                break
            copies += 1
            left -= used
        matches[k] = replace(match, copies=copies)
    return [matches[k] for k in range(len(masks))], left


def _own(pieces: Sequence[Polygon], mirrored: bool) -> list[Polygon]:
    return [affinity.scale(p, -1.0, 1.0, origin=(0.0, 0.0)) for p in pieces] if mirrored else list(pieces)


def _share(match: MaskMatch) -> float:
    return match.found / max(match.pieces, 1)


def _absent(mask: tuple[str, Sequence[Polygon]]) -> MaskMatch:
    return MaskMatch(mask[0], len(mask[1]), 0, None, 0, tuple(map(_spot, mask[1])), None, None)


def _lay(
    name: str, pieces: Sequence[Polygon], file: Sequence[Polygon], left: set[int], mirrored: bool
) -> tuple[MaskMatch, set[int]]:
    """Lay one mask where most of its pieces are found; of equal places the one that turns and moves it least."""
    rest = sorted(left)
    best: tuple[tuple[int, int, float], int, Floats, dict[int, int]] | None = None
    sizes, file_sizes = _measures(pieces) if pieces else np.zeros((0, 2)), _measures([file[k] for k in rest] or file)
    for turn in (0, 90, 180, 270):
        turned = [affinity.rotate(p, turn, origin=(0.0, 0.0)) for p in pieces]
        if not turned or not rest:
            break
        own, other = _centres(turned), _centres([file[k] for k in rest])
        alike = np.asarray((np.abs(np.log(file_sizes[None] / sizes[:, None])) < ALIKE_SIZE).all(axis=2), dtype=np.bool_)
        moves = (other[None, :, :] - own[:, None, :])[alike]
        for move in _candidates(moves):
            pairs = _paired(own + move, other, alike)
            score = (len(pairs), -turn, -float(np.hypot(*move)))
            if pairs and (best is None or score > best[0]):
                best = (score, turn, move, {a: rest[b] for a, b in pairs.items()})
        if best is not None and best[0][0] == len(pieces):
            break
    if best is None:
        spots = tuple(_spot(p, mirrored=mirrored) for p in pieces)
        return MaskMatch(name, len(pieces), 0, None, 0, spots, None, None), set()
    _, turn, move, pairs = best
    turned = [affinity.rotate(p, turn, origin=(0.0, 0.0)) for p in pieces]
    move = move + np.median([_centre(file[b]) - _centre(turned[a]) - move for a, b in pairs.items()], axis=0)
    worst, at = 0.0, None
    same: dict[int, int] = {}
    for a, b in pairs.items():
        laid = affinity.translate(turned[a], *move.tolist())
        away, where = _deviation(laid, file[b])
        if away > SAME_PLACE_MM:
            continue
        same[a] = b
        if away >= worst:
            worst, at = away, where
    pairs = same
    missing = tuple(_spot(p, mirrored=mirrored) for k, p in enumerate(pieces) if k not in pairs)
    shift = (round(float(move[0]), 4), round(float(move[1]), 4))
    return MaskMatch(name, len(pieces), len(pairs), shift, turn, missing, worst, at), set(pairs.values())


def _candidates(moves: Floats) -> Floats:
    """Give the moves many alike pieces agree on, most votes first."""
    if not len(moves):
        return moves
    if len(moves) > MOST_VOTES:
        tree = shapely.STRtree(shapely.points(moves))
        counts = np.bincount(tree.query(shapely.points(moves[:4000]), "dwithin", SAME_PLACE_MM)[0], minlength=1)
        moves = moves[np.argsort(-counts, kind="stable")[:MOST_VOTES]]
    votes = [int((np.abs(moves - m).max(axis=1) < SAME_PLACE_MM).sum()) for m in moves]
    order = np.argsort(-np.array(votes), kind="stable")[:12]
    return np.array([np.median(moves[np.abs(moves - moves[k]).max(axis=1) < SAME_PLACE_MM], axis=0) for k in order])


def _paired(own: Floats, other: Floats, alike: NDArray[np.bool_]) -> dict[int, int]:
    distance = np.hypot(*np.moveaxis(own[:, None] - other[None], -1, 0))
    distance[~alike] = np.inf
    pairs: dict[int, int] = {}
    taken: set[int] = set()
    for a, b in np.argwhere(distance < SAME_PLACE_MM)[np.argsort(distance[distance < SAME_PLACE_MM])].tolist():
        if a not in pairs and b not in taken:
            pairs[a] = b
            taken.add(b)
    return pairs


def _deviation(first: Polygon, second: Polygon) -> tuple[float, Point]:
    """Give the largest distance between two outlines, both ways, and where."""
    worst, at = -1.0, (0.0, 0.0)
    for a, b in ((first, second), (second, first)):
        points = shapely.get_coordinates(shapely.segmentize(a.boundary, 0.5))
        away = shapely.distance(shapely.points(points), b.boundary)
        k = int(away.argmax())
        if away[k] > worst:
            worst, at = float(away[k]), (float(points[k, 0]), float(points[k, 1]))
    return worst, at


def _centres(pieces: Sequence[Polygon]) -> Floats:
    centres: Floats = shapely.get_coordinates(shapely.centroid(np.array(pieces)))
    return centres


def _centre(piece: Polygon) -> Floats:
    return np.array([piece.centroid.x, piece.centroid.y])


def _spot(piece: Polygon, *, mirrored: bool = False) -> Point:
    point = piece.representative_point()
    return round(-point.x if mirrored else point.x, 4), round(point.y, 4)
