"""How many nodes a line needs: straight runs for what is drawn straight, cubics where the file itself draws curves."""

from __future__ import annotations

import shapely
from shapely.geometry import LineString

from maskgen.check.lines import CutLine
from maskgen.geometry.fitting import fit_exact
from maskgen.model.paths import Points

WITHIN_MM = 0.01
TOO_MANY = 10
"""Times the nodes needed from which a line is crowded."""
FEWEST = 3
"""No closed line needs fewer."""
MOST_FITTED = 30_000
"""Corners beyond which curves are counted as straight runs, which takes no search."""


def needed_nodes(line: CutLine) -> int:
    """Give the nodes that draw a line within `WITHIN_MM`."""
    straight = len(thinned(line)) - (0 if line.closed else 1)
    if line.closed and not all(bool(run.straight.all()) for run in line.runs) and len(line.points) <= MOST_FITTED:
        return min(straight, len(fit_exact(line.points, tolerance=WITHIN_MM).segments))
    return straight


def is_crowded(line: CutLine) -> bool:
    """Tell whether a line has more than ten times the nodes it needs."""
    return line.nodes > TOO_MANY * FEWEST and line.nodes > TOO_MANY * max(needed_nodes(line), 1)


def thinned(line: CutLine) -> Points:
    """Give the corners left when every other lies within `WITHIN_MM` of the straight runs between them."""
    points = line.points
    if line.closed:
        # The search keeps its ends: begin at a point that is far out, so certain to be needed.
        first = int(points[:, 0].argmin())
        points = [*points[first:].tolist(), *points[: first + 1].tolist()]  # type: ignore[assignment]
    kept: Points = shapely.get_coordinates(shapely.simplify(LineString(points), WITHIN_MM, preserve_topology=False))
    return kept[:-1] if line.closed else kept
