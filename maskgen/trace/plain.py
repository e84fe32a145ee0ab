"""Plain lines through places on the cracks: what is drawn where no curve will do."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely

from maskgen.model.paths import Line, Points
from maskgen.trace.assemble import Curve

FEW_CORNERS_PX = 0.6
"""A digital edge lies within half a pixel of the edge it shows."""


def with_few_corners(points: Points) -> Points:
    """Points that matter for a line through points, within `FEW_CORNERS_PX`; the ends stay."""
    line = shapely.LineString(points).simplify(FEW_CORNERS_PX, preserve_topology=True)
    return np.asarray(line.coords)


def polyline(points: Points) -> Curve:
    """Give straight runs through points, (n, 2)."""
    corners = [(float(x), float(y)) for x, y in points]
    return tuple(Line(a, b) for a, b in pairwise(corners))
