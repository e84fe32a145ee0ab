"""Faces of which the fit leaves nothing: the pixels do not hold what their labels say.

A colour is given a pixel where it fills half of it, a line a quarter. A face that fits the pixels best with a tenth of
a pixel in all, or as a strip a fifth of a pixel wide, is therefore not what was labelled: compression and the meeting
of three colours make such labels. It is given to the neighbour with which it shares most of its boundary.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise

import numpy as np
from numpy.typing import NDArray

from maskgen.trace.assemble import Curve, flatten_curve
from maskgen.trace.cracks import CrackGraph, Face, Side, crack_graph

LEAST_AREA_PX2 = 0.1
"""Less is no colour's: the thinnest line is labelled from a quarter of a pixel on, and fits err by 0.1 px at worst
around so small a thing."""
NOISY_AREA_PX2 = 0.5
"""In compression noise only what fills half of a pixel is labelled, and half a pixel is what noise makes."""
LEAST_WIDTH_PX = 0.2
"""Mean width below which a long face is not what was labelled: a line is from a quarter of a pixel on."""
LONG_PX = 2.0
"""Shorter faces go by their area."""
MOST_ROUNDS = 3
"""A face given up may leave another thin: it is looked at anew so many times."""
CHORD_PX = 0.01
"""Chord error at which areas are measured."""


def ghosts(graph: CrackGraph, curves: Sequence[Curve], least_area_px2: float) -> list[tuple[Face, int]]:
    """Faces of which the curves leave nothing, each with the label of the neighbour that takes it.

    Of two such neighbours one is left out, for a later time: they would change places.
    """
    measured = [_area_and_length(curve) for curve in curves]
    area = np.array([a for a, _ in measured])
    length = np.array([span for _, span in measured])
    owner = {side: number for number, face in enumerate(graph.faces) for ring in face.rings for side in ring}
    found: list[tuple[Face, int]] = []
    given: set[int] = set()
    for number, face in enumerate(graph.faces):
        sides = [side for ring in face.rings for side in ring]
        inner = [s for s in sides if not graph.arcs[s.arc].on_border]
        if not inner:
            continue
        held = sum(area[s.arc] if s.forward else -area[s.arc] for s in sides)
        half_round = 0.5 * sum(length[s.arc] for s in sides)
        if held >= least_area_px2 and (half_round < LONG_PX or held >= LEAST_WIDTH_PX * half_round):
            continue
        common: dict[int, float] = {}
        beside: dict[int, set[int]] = {}
        for side in inner:
            arc = graph.arcs[side.arc]
            label = arc.outside if side.forward else arc.inside
            common[label] = common.get(label, 0.0) + length[side.arc]
            beside.setdefault(label, set()).add(owner[Side(side.arc, not side.forward)])
        taker = max(common, key=lambda label: (common[label], -label))
        if not beside[taker] & given:
            given.add(number)
            found.append((face, taker))
    return found


def without_ghosts(
    labels: NDArray[np.uint8], graph: CrackGraph, curves: list[Curve], least_area_px2: float
) -> tuple[CrackGraph, list[Curve]]:
    """Boundaries without those of ghosts; every other boundary stays as it is, so an exact partition stays exact."""
    for _ in range(MOST_ROUNDS):
        before = len(graph.faces)
        given = [(face_pixels(graph, face), taker) for face, taker in ghosts(graph, curves, least_area_px2)]
        for (rows, columns), taker in given:
            fewer = labels.copy()
            fewer[rows, columns] = taker
            heir = crack_graph(fewer)
            made = inherited(graph, curves, heir)
            if made is not None:
                labels, graph, curves = fewer, heir, made
        if len(graph.faces) == before:
            break
    return graph, curves


def without_faces(labels: NDArray[np.uint8], graph: CrackGraph, given: Sequence[tuple[Face, int]]) -> NDArray[np.uint8]:
    """Labels with faces given to the labels named beside them."""
    made = labels.copy()
    for face, taker in given:
        rows, columns = face_pixels(graph, face)
        made[rows, columns] = taker
    return made


def inherited(graph: CrackGraph, curves: Sequence[Curve], heir: CrackGraph) -> list[Curve] | None:
    """Curves for the arcs of a graph some faces of which were given up, put together from those of the graph before.

    None where a boundary takes another course at a diagonal, so that its arcs are not whole ones of before.
    """
    owner: dict[tuple[int, int, int, int], tuple[int, bool]] = {}
    for number, arc in enumerate(graph.arcs):
        for tail, head in pairwise(arc.points.tolist()):
            owner[*tail, *head] = number, True
            owner[*head, *tail] = number, False
    made = []
    for arc in heir.arcs:
        runs = [(key, len(list(run))) for key, run in groupby(owner[*a, *b] for a, b in pairwise(arc.points.tolist()))]
        if arc.closed and len(runs) > 1 and runs[0][0] == runs[-1][0]:
            runs = [(runs[0][0], runs[0][1] + runs[-1][1]), *runs[1:-1]]
        if any(count != len(graph.arcs[number].points) - 1 for (number, _), count in runs):
            return None
        made.append(sum((_walked(curves[number], forward=forward) for (number, forward), _ in runs), ()))
    return made


def _walked(curve: Curve, *, forward: bool) -> Curve:
    return curve if forward else tuple(segment.reversed() for segment in reversed(curve))


def face_pixels(graph: CrackGraph, face: Face) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and columns of the pixels of a face: those with an odd number of its upright cracks to their left."""
    steps = [(graph.arcs[side.arc].points[:-1], graph.arcs[side.arc].points[1:]) for r in face.rings for side in r]
    tails, heads = (np.concatenate(part) for part in zip(*steps, strict=True))
    upright = tails[:, 0] == heads[:, 0]
    x, y = tails[upright, 0], np.minimum(tails, heads)[upright, 1]
    left, top = x.min(), y.min()
    crossed = np.zeros((y.max() - top + 1, x.max() - left + 1), dtype=np.int64)
    np.add.at(crossed, (y - top, x - left), 1)
    rows, columns = np.nonzero(np.cumsum(crossed, axis=1) % 2)
    return rows + top, columns + left


def _area_and_length(curve: Curve) -> tuple[float, float]:
    points = flatten_curve(curve, CHORD_PX)
    (x, y), (dx, dy) = points[:-1].T, np.diff(points, axis=0).T
    return 0.5 * float(np.sum(x * dy - y * dx)), float(np.hypot(dx, dy).sum())
