"""How far the baths get: all oxide that no vinyl covers, and under vinyl as far as its open edges have crept.

At any time the liquid under an edge stands `creep_mm` deep for every strip that edge has been open; an edge that a
later mask covers lets nothing in. Where two masks meet in the open, it gets under either no further than that mask's
own strips allow: the vinyl put on last still holds. Only the outlines of the vinyl as it lies are used, not how they
came about.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeAlias

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from maskgen.model.dyeing import DyeBath, Step, Strip
from maskgen.plan.exposure import schedule
from maskgen.plan.growth import dilate

GRID_MM = 1e-6
"""Noding grid of outlines that cross and run along one another."""
ASIDE_MM = 5e-4
"""How far beside an outline it is asked whether vinyl lies there: two masks closer than that leave no way between."""

Wet: TypeAlias = tuple[Strip | DyeBath, BaseGeometry]


def wet_areas(
    steps: Sequence[Step], vinyl: Mapping[str, BaseGeometry], *, window: BaseGeometry, creep_mm: float
) -> list[Wet]:
    """Give every strip and dye bath in order with the oxide it reaches within the window."""
    timetable = schedule(steps)
    edges = _edges(vinyl)
    exposed = np.zeros(len(edges), dtype=np.int64)
    wet: list[Wet] = []
    last_on: tuple[str, ...] | None = None
    reached = window
    for index, step in enumerate(steps):
        if not isinstance(step, Strip | DyeBath):
            continue
        stays = [stay for stay in timetable.stays if stay.lies_at(index)]
        on = tuple(stay.mask for stay in stays)
        if isinstance(step, Strip) or on != last_on:
            cover = shapely.union_all([vinyl[mask] for mask in on])
            is_open = _open_edges(edges, cover)
            exposed += is_open & isinstance(step, Strip)
            ages = {stay.mask: sum(stay.on < strip <= index for strip in timetable.strips) for stay in stays}
            channels = _channels(edges, np.where(is_open, exposed, 0), creep_mm)
            under = _under(ages, vinyl, channels)
            reached = shapely.union_all([window.difference(cover), *(part.intersection(window) for part in under)])
            last_on = on
        wet.append((step, reached))
    return wet


def _edges(vinyl: Mapping[str, BaseGeometry]) -> NDArray[np.object_]:
    """Cut all outlines where they meet, so that every stretch lies wholly in the open or wholly under vinyl."""
    outlines = [shape.boundary for shape in vinyl.values() if not shape.is_empty]
    if not outlines:
        return np.empty(0, dtype=object)
    return np.asarray(shapely.get_parts(shapely.union_all(outlines, grid_size=GRID_MM)))


def _open_edges(edges: NDArray[np.object_], cover: BaseGeometry) -> NDArray[np.bool_]:
    """Tell which stretches have vinyl on one side only."""
    if len(edges) == 0 or cover.is_empty:
        return np.zeros(len(edges), dtype=np.bool_)
    points, edge = shapely.get_coordinates(edges, return_index=True)
    follows = edge[1:] == edge[:-1]
    starts, ends, edge = points[:-1][follows], points[1:][follows], edge[:-1][follows]
    length = np.hypot(*(ends - starts).T)
    # Ask beside the longest straight run of each stretch, well away from its corners.
    longest = np.lexsort((length, edge))[np.flatnonzero(np.append(np.diff(edge) > 0, True))]
    here = (starts[longest] + ends[longest]) / 2
    way = (ends - starts)[longest] / np.maximum(length[longest], 1e-12)[:, None]
    aside = ASIDE_MM * np.column_stack([-way[:, 1], way[:, 0]])
    shapely.prepare(cover)
    left, right = (shapely.contains_xy(cover, *(here + sign * aside).T) for sign in (1, -1))
    return np.asarray(left != right)


def _channels(edges: NDArray[np.object_], strips: NDArray[np.int64], creep_mm: float) -> list[BaseGeometry]:
    """Give what lies within the creep of the open edges, counting for each at most 0, 1, 2, ... of its strips."""
    within: list[BaseGeometry] = [MultiPolygon()]
    for most in range(1, int(strips.max(initial=0)) + 1):
        parts = [within[-1]]
        if creep_mm > 0:
            lines = shapely.line_merge(shapely.multilinestrings(list(edges[strips >= most])))
            parts.append(dilate(lines, most * creep_mm))
        within.append(shapely.union_all(parts))
    return within


def _under(
    ages: Mapping[str, int], vinyl: Mapping[str, BaseGeometry], channels: Sequence[BaseGeometry]
) -> list[BaseGeometry]:
    """Give what is crept under each mask where it lies on the oxide itself; `ages` in the order they went on."""
    under: list[BaseGeometry] = []
    lower: BaseGeometry = MultiPolygon()
    for mask, age in ages.items():
        under.append(channels[min(age, len(channels) - 1)].intersection(vinyl[mask]).difference(lower))
        lower = lower.union(vinyl[mask])
    return under
