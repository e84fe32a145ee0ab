"""A picture with its flat colours found to regions that cover the canvas once."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from maskgen.model.artwork import FlatPicture
from maskgen.model.paths import Line, Partition, Point, Points
from maskgen.trace.assemble import Curve, assemble, crossing_arcs, ill_faces
from maskgen.trace.cracks import Arc, CrackGraph, crack_graph
from maskgen.trace.curves import cut_arcs, fit_courses
from maskgen.trace.evidence import QUANTISED_SIGMA_PX, gather

TOLERANCE_SIGMAS = 3.0
"""Largest distance of evidence from a fit, in its own standard deviations."""
LEAST_TOLERANCE_PX = 0.05
"""Fits are not asked to follow evidence closer than this: the bias of a column sum at the tightest usual curves."""


def trace_partition(flat: FlatPicture) -> Partition:
    """Trace the regions of a picture, in pixel units: pixel (0, 0) covers [0, 1] x [0, 1], y down.

    Returns
    -------
    Partition
        Width and height of the picture in pixels; one region for each palette entry, in its order, with key `c1`,
        `c2`, ... and no name. Neighbours share their boundary segment for segment.
    """
    graph = crack_graph(flat.labels)
    evidence, base = gather(flat, graph.arcs)
    tolerance = max(LEAST_TOLERANCE_PX, TOLERANCE_SIGMAS * base) if base < QUANTISED_SIGMA_PX else 0.6
    courses, places = fit_courses(graph, evidence, tolerance=tolerance)
    curves = cut_arcs(graph, courses, places)
    return assemble(graph, safe(graph, curves), flat.palette)


def safe(graph: CrackGraph, curves: Sequence[Curve]) -> list[Curve]:
    """Put plain lines in place of curves that cross others, until none does.

    First the line through the crack middles between the junctions as placed; where that is not enough, the junctions
    go back to their lattice points as well: such lines meet no others but at junctions.
    """
    made = list(curves)
    closed = [arc.closed for arc in graph.arcs]
    plain: set[int] = set()
    reset: set[int] = set()
    while bad := crossing_arcs(made, closed=closed) or ill_faces(graph, made):
        if bad <= reset:
            break
        again = bad & plain
        junctions = {j for n in again for j in (graph.arcs[n].start, graph.arcs[n].end)}
        back = again | {n for n, a in enumerate(graph.arcs) if a.start in junctions or a.end in junctions}
        for number in bad | back:
            arc = graph.arcs[number]
            start, end = made[number][0].start, made[number][-1].end
            if arc.start in junctions:
                start = _place(graph.junctions[arc.start])
            if arc.end in junctions:
                end = _place(graph.junctions[arc.end])
            made[number] = _middles(arc, start, end)
        plain |= bad | back
        reset |= again
    return made


def _place(lattice: NDArray[np.int64]) -> Point:
    return float(lattice[0]), float(lattice[1])


def _middles(arc: Arc, start: Point, end: Point) -> Curve:
    """Give the line through the middles of an arc's cracks."""
    if arc.on_border:
        return (Line(start, end),)
    points = arc.points.astype(np.float64)
    middles = 0.5 * (points[:-1] + points[1:])
    if arc.closed:
        return _polyline(np.vstack([middles, middles[:1]]))
    return _polyline(np.vstack([start, middles, end]))


def _polyline(points: Points) -> Curve:
    corners = [(float(x), float(y)) for x, y in points]
    return tuple(Line(a, b) for a, b in pairwise(corners))
