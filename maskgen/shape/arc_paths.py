"""Cut drawings as straight runs and arcs, for formats that know no cubics; paths in the order the knife cuts them."""

from __future__ import annotations

from maskgen.model.masks import ArcDrawing, ArcPath, CutDrawing
from maskgen.model.paths import Ring, flatten

ARC_MM = 0.002
"""How far an arc may lie from the outline: well within the 0.005 mm that cut files promise."""


def arc_drawing(drawing: CutDrawing) -> ArcDrawing:
    """Give the drawing's boundaries as closed paths of runs and arcs, a piece's holes before its outline."""
    rings = (ring for piece in drawing.pieces for ring in (*piece.holes, piece.outer) if ring.segments)
    paths = tuple(_arc_path(ring) for ring in rings)
    return ArcDrawing(drawing.left, drawing.top, drawing.width, drawing.height, paths)


def _arc_path(ring: Ring) -> ArcPath:
    return ArcPath(tuple((float(x), float(y), 0.0) for x, y in flatten(ring, ARC_MM)))
