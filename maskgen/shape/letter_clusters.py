"""Lettering taken apart into clusters: glyphs that stand so near one another that they are worked out together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeAlias

from maskgen.model.paths import Area, Point, affine
from maskgen.shape.glyphs import Box, Font
from maskgen.shape.lettering import Lettering, joined

GRID_DIGITS = 4
"""Glyphs stand on whole tenths of a micrometre, the last digit that is written, so that equal clusters are equal."""

Glyph: TypeAlias = tuple[int, float, float, float]
"""A glyph: its number, mm per unit of `CAPITAL`, where its origin lies from the cluster's (x, y)."""


@dataclass(frozen=True, slots=True)
class Cluster:
    """Glyphs from left to right; `at` is the origin of the first on the face, `box` the extent on the face."""

    glyphs: tuple[Glyph, ...]
    at: Point
    box: Box


@dataclass(frozen=True, slots=True)
class _Put:
    glyph: int
    scale: float
    at: Point
    box: Box


def clusters(lettering: Lettering, to: Point, reach_mm: float) -> list[Cluster]:
    """Give the clusters of lettering whose box has its top left at `to`; those apart are `reach_mm` apart or more.

    Lines in turn, each from left to right.
    """
    put = _put_down(lettering, to)
    group = list(range(len(put)))
    for j, right in enumerate(put):
        for i in range(j):
            if group[i] != group[j] and _near(lettering, put[i], right, reach_mm):
                old, new = max(group[i], group[j]), min(group[i], group[j])
                group = [new if g == old else g for g in group]
    members: dict[int, list[_Put]] = {}
    for one, leader in zip(put, group, strict=True):
        members.setdefault(leader, []).append(one)
    return [_cluster(found) for found in members.values()]


def outline(font: Font, glyphs: tuple[Glyph, ...]) -> Area:
    """Give the outline of a cluster about the origin of its first glyph, overlapping strokes united."""
    return joined([font.outline(glyph).mapped(affine(scale, (x, y))) for glyph, scale, x, y in glyphs])


def _put_down(lettering: Lettering, to: Point) -> list[_Put]:
    put = []
    for line in lettering.lines:
        s, (dx, dy) = line.scale, line.shift
        for glyph in line.line.glyphs:
            box = line.line.font.extent(glyph.glyph)
            assert box is not None  # a line keeps what is seen
            x = round(glyph.at[0] * s + dx + to[0], GRID_DIGITS)
            y = round(glyph.at[1] * s + dy + to[1], GRID_DIGITS)
            put.append(_Put(glyph.glyph, s, (x, y), (x + box[0] * s, y + box[1] * s, x + box[2] * s, y + box[3] * s)))
    return put


def _near(lettering: Lettering, one: _Put, other: _Put, reach_mm: float) -> bool:
    a, b = one.box, other.box
    if max(a[0] - b[2], b[0] - a[2], a[1] - b[3], b[1] - a[3]) >= reach_mm:
        return False
    if one.scale != other.scale:
        return True
    s = one.scale
    at = ((other.at[0] - one.at[0]) / s, (other.at[1] - one.at[1]) / s)
    # Touching counts as near, whatever the reach.
    return lettering.lines[0].line.font.apart(one.glyph, other.glyph, at) * s <= max(reach_mm, 1e-9)


def _cluster(put: list[_Put]) -> Cluster:
    x, y = put[0].at
    glyphs = tuple((p.glyph, p.scale, round(p.at[0] - x, GRID_DIGITS), round(p.at[1] - y, GRID_DIGITS)) for p in put)
    lefts, tops, rights, bottoms = zip(*(p.box for p in put), strict=True)
    return Cluster(glyphs, (x, y), (min(lefts), min(tops), max(rights), max(bottoms)))
