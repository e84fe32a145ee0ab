"""Curves that cross are mended where they cross; elsewhere they stay as they are."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from maskgen.model.paths import Cubic, Line
from maskgen.trace.assemble import crossing_pairs, flatten_curve
from maskgen.trace.cracks import crack_graph
from maskgen.trace.curves import split
from maskgen.trace.mend import mended, self_crossings

LABELS = np.zeros((30, 40), np.uint8)
LABELS[:, 20:] = 1
LABELS[15:, 20:] = 2


def straight(graph):
    return [
        (Line(tuple(map(float, arc.points[0])), tuple(map(float, arc.points[-1]))),)
        if not arc.closed
        else tuple(
            Line(tuple(map(float, a)), tuple(map(float, b))) for a, b in zip(arc.points, arc.points[1:], strict=False)
        )
        for arc in graph.arcs
    ]


@pytest.mark.parametrize("depth", [0.05, 0.4, 1.0])
def test_a_crossing_near_a_junction_is_mended_there(depth):
    graph = crack_graph(LABELS)
    curves = straight(graph)
    level = next(n for n, arc in enumerate(graph.arcs) if {arc.inside, arc.outside} == {1, 2})
    (line,) = curves[level]
    (x0, y0), (x1, y1) = sorted((line.start, line.end))
    assert (x0, x1) == (20.0, 40.0)
    # it sets out to the wrong side of the upright boundary and comes back over it
    curves[level] = (
        Cubic((x0, y0), (x0 - 4 * depth, y0 - 1), (x0 + 2, y0 - 1), (x0 + 6, y0)),
        Line((26.0, y0), (x1, y1)),
    )
    if line.start != (x0, y0):
        curves[level] = tuple(s.reversed() for s in reversed(curves[level]))
    closed = [arc.closed for arc in graph.arcs]
    assert crossing_pairs(curves, closed=closed)
    made = mended(graph, curves)
    assert not crossing_pairs(made, closed=closed)
    for before, after in zip(curves, made, strict=True):
        far = [p for p in flatten_curve(before, 0.01) if np.hypot(p[0] - 20, p[1] - 15) > 6.5]
        assert shapely.distance(shapely.points(far), shapely.LineString(flatten_curve(after, 0.01))).max() < 1e-6
        assert (before[0].start, before[-1].end) == (after[0].start, after[-1].end)


def test_a_knot_in_a_closed_curve_is_undone():
    labels = np.zeros((30, 30), np.uint8)
    labels[8:22, 8:22] = 1
    graph = crack_graph(labels)
    ring = next(n for n, arc in enumerate(graph.arcs) if arc.closed)
    curves = straight(graph)
    knot = [(8.0, 8.0), (15.5, 8.0), (14.0, 8.6), (14.0, 7.5), (15.0, 8.3), (22.0, 8.0), (22.0, 22.0), (8.0, 22.0)]
    curves[ring] = tuple(Line(a, b) for a, b in zip(knot, knot[1:] + knot[:1], strict=True))
    assert len(self_crossings(shapely.LineString([*knot, knot[0]]), closed=True))
    made = mended(graph, curves)[ring]
    made_shape = shapely.Polygon(flatten_curve(made, 0.01))
    assert made_shape.is_valid
    assert made_shape.symmetric_difference(shapely.box(8, 8, 22, 22)).area < 2.0
    assert {(22.0, 22.0), (8.0, 22.0)} <= {s.end for s in made}


def test_what_does_not_cross_is_left_alone():
    graph = crack_graph(LABELS)
    assert mended(graph, straight(graph)) == straight(graph)


def test_parts_of_a_split_curve_join_to_the_whole():
    whole = (Line((0.0, 0.0), (4.0, 0.0)), Cubic((4.0, 0.0), (6.0, 0.0), (8.0, 2.0), (8.0, 4.0)))
    parts = split(whole, [(0, 0.25), (0, 1.0), (1, 0.5)])
    assert [p[0].start for p in parts[1:]] == [p[-1].end for p in parts[:-1]]
    joined = shapely.LineString(np.vstack([flatten_curve(p, 1e-3) for p in parts]))
    assert joined.hausdorff_distance(shapely.LineString(flatten_curve(whole, 1e-3))) < 2e-3
