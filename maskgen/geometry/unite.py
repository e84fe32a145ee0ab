"""Outlines filled by the nonzero rule to one area: what overlaps becomes one piece, curves stay curves."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from maskgen.geometry.arrangement import arrange, assemble
from maskgen.geometry.polygons import FLATTEN_MM
from maskgen.model.paths import Area, Points, Ring, flatten


def unite(rings: Sequence[Ring]) -> Area:
    """Give all places that the rings wind round, whichever way they run."""
    if not rings:
        return Area()
    arrangement = arrange(segment for ring in rings for segment in ring.segments)
    winding = windings(arrangement.inside, [flatten(ring, FLATTEN_MM) for ring in rings])
    inside = ["in" if number else None for number in winding.tolist()]
    return assemble(arrangement, inside).get("in", Area())


def windings(places: Points, outlines: Sequence[Points]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Count how often closed outlines (n, 2) wind round each place (m, 2), by the crossings of a ray along x."""
    count = np.zeros(len(places), dtype=np.int64)
    x, y = places[:, :1], places[:, 1:]
    for outline in outlines:
        (ax, ay), (bx, by) = outline.T, np.roll(outline, -1, axis=0).T
        up, down = (ay <= y) & (by > y), (ay > y) & (by <= y)
        side = (bx - ax) * (y - ay) - (x - ax) * (by - ay)
        count += (up & (side > 0)).sum(axis=1) - (down & (side < 0)).sum(axis=1)
    return count
