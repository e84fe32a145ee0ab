"""Strokes with a width turned into the outlines of their ink, together with the fill they go round."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import shapely

from maskgen.check.lines import FLATTEN_MM, run_of_ring
from maskgen.geometry.arrangement import arrange, assemble
from maskgen.model.drawing import DrawnPath, Fill, FillRule
from maskgen.model.paths import Cubic, Line, Ring, flatten, flatten_segment
from maskgen.shape.inside import closed_edges, inside, windings
from maskgen.shape.strokes import ink_of

TOUCHING_MM = 1e-6
WIDEST_PEN_MM = 10_000.0
"""No pen is followed beyond this: ten metres are a damaged file."""


def outlined(path: DrawnPath) -> DrawnPath | None:
    """Give a path drawn with a wide pen as a filled outline; None where the pen cannot be followed."""
    stroke = path.stroke
    assert stroke is not None
    if stroke.width > WIDEST_PEN_MM:
        return None
    try:
        loops = [loop for run in path.subpaths for loop in ink_of(run, stroke, tolerance=FLATTEN_MM)]
    except ValueError:
        return None
    if not loops:
        return None
    segments = _outer(loops)
    ink = closed_edges([flatten(loop, FLATTEN_MM) for loop in loops])
    fills = []
    if path.fill is not None:
        for run in path.subpaths:
            own = run.segments()
            segments.extend(own)
            if own and own[-1].end != own[0].start:
                segments.append(Line(own[-1].end, own[0].start))
            if own:
                fills.append(flatten(Ring(own), FLATTEN_MM))
    faces = arrange(segments)
    covered = windings(faces.inside, ink) != 0
    if path.fill is not None:
        covered |= inside(faces.inside, closed_edges(fills), path.fill.rule)
    areas = assemble(faces, ["ink" if c else None for c in covered.tolist()])
    rings = [ring for area in areas.values() for ring in area.rings]
    if not rings:
        return None
    return replace(
        path,
        subpaths=tuple(run_of_ring(ring) for ring in rings),
        fill=Fill(stroke.colour, 1.0, FillRule.EVENODD),
        stroke=None,
    )


def _outer(loops: Sequence[Ring]) -> list[Line | Cubic]:
    """Keep what bounds the union of overlapping loops."""
    polygons = [shapely.make_valid(shapely.Polygon(flatten(loop, FLATTEN_MM))) for loop in loops]
    outline = shapely.boundary(shapely.union_all(polygons))
    shapely.prepare(outline)
    segments = [s for loop in loops for s in loop.segments]
    runs = [np.vstack([s.start, flatten_segment(s, FLATTEN_MM)]) for s in segments]
    lines = shapely.linestrings(np.concatenate(runs), indices=np.repeat(np.arange(len(runs)), [len(r) for r in runs]))
    kept = shapely.dwithin(lines, outline, TOUCHING_MM)
    return [s for s, keep in zip(segments, kept.tolist(), strict=True) if keep]
