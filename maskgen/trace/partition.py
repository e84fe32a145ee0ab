"""A picture with its flat colours found to regions that cover the canvas once."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from maskgen.model.artwork import FlatPicture
from maskgen.model.paths import Line, Partition, Points
from maskgen.trace.assemble import Curve, assemble
from maskgen.trace.cracks import Arc, crack_graph


def trace_partition(flat: FlatPicture) -> Partition:
    """Trace the regions of a picture, in pixel units: pixel (0, 0) covers [0, 1] x [0, 1], y down.

    Returns
    -------
    Partition
        Width and height of the picture in pixels; one region for each palette entry, in its order, with key `c1`,
        `c2`, ... and no name. Neighbours share their boundary segment for segment.
    """
    graph = crack_graph(flat.labels)
    return assemble(graph, [_middles(arc) for arc in graph.arcs], flat.palette)


def _middles(arc: Arc) -> Curve:
    """Give the line through the middles of an arc's cracks: it meets no other such line except at junctions."""
    points = arc.points.astype(np.float64)
    if arc.on_border:
        return _polyline(points[[0, -1]])
    middles = 0.5 * (points[:-1] + points[1:])
    if arc.closed:
        return _polyline(np.vstack([middles, middles[:1]]))
    return _polyline(np.vstack([points[:1], middles, points[-1:]]))


def _polyline(points: Points) -> Curve:
    corners = [(float(x), float(y)) for x, y in points]
    return tuple(Line(a, b) for a, b in pairwise(corners))
