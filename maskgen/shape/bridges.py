"""A mask made one sheet: vinyl ties across its openings, so that no part of a stencil is loose."""

from __future__ import annotations

import dataclasses

import shapely

from maskgen.geometry.arrangement import arrange, assemble, find_faces
from maskgen.geometry.polygons import to_multipolygon, to_polygon
from maskgen.model.job import Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Area
from maskgen.shape.ties import Tie, tie_together


def bridge_mask(mask: Mask, resist: Resist) -> Mask:
    """Tie all pieces of a mask together, each where it costs the picture least.

    Nothing but the ties is new; a mask of one piece comes back as it is.
    """
    if len(mask.area.pieces) < 2:
        return mask
    polygons = [to_polygon(piece) for piece in mask.area.pieces]
    ties = tie_together(
        polygons,
        needs=lambda group: len(group) < len(polygons),
        width_mm=resist.bridge_mm,
        min_land_mm=resist.min_land_mm,
    )
    return dataclasses.replace(mask, area=_with_ties(mask.area, ties))


def _with_ties(area: Area, ties: tuple[Tie, ...]) -> Area:
    outlines = [segment for ring in area.rings for segment in ring.segments]
    arrangement = arrange([*outlines, *(side for tie in ties for side in tie.sides)])
    vinyl = [to_multipolygon(area), shapely.union_all([tie.outline for tie in ties])]
    return assemble(arrangement, ["vinyl" if k >= 0 else None for k in find_faces(arrangement, vinyl).tolist()])[
        "vinyl"
    ]
