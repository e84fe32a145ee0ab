"""A tube as seen from the front: the half of the developed face that looks at you, narrowing towards both sides."""

from __future__ import annotations

from html import escape

import numpy as np
import shapely
from numpy.typing import NDArray

from maskgen.formats.numbers import fixed
from maskgen.geometry.polygons import polygonal, to_multipolygon
from maskgen.model.job import Part
from maskgen.model.paths import Partition
from maskgen.report.outline_data import polygon_data

STEP_MM = 0.4
"""Straight runs are cut into pieces no longer than this before they are bent."""
MARGIN_MM = 1.5


def front_view(partition: Partition, part: Part, *, label: str) -> str:
    """Draw the partition of a tube's face as seen from the front."""
    width, height = part.face_mm
    assert part.diameter_mm is not None
    radius = part.diameter_mm / 2
    half = shapely.box(width / 4, 0.0, 3 * width / 4, height)

    def bent(places: NDArray[np.float64]) -> NDArray[np.float64]:
        across = radius + radius * np.sin((places[:, 0] - width / 2) / radius)
        return np.column_stack([across, places[:, 1]])

    fills = ""
    for region in partition.regions:
        seen = polygonal(to_multipolygon(region.area, tolerance=0.02).intersection(half))
        data = polygon_data(shapely.transform(shapely.segmentize(seen, STEP_MM), bent))
        fills += (
            f'<path fill-rule="evenodd" fill="{region.colour}" stroke="{region.colour}" stroke-width="0.6" '
            f'vector-effect="non-scaling-stroke" d="{data}"/>'
        )
    box = " ".join(fixed(v) for v in (-MARGIN_MM, -MARGIN_MM, 2 * radius + 2 * MARGIN_MM, height + 2 * MARGIN_MM))
    rect = f'<rect width="{fixed(2 * radius)}" height="{fixed(height)}"'
    return (
        f'<svg viewBox="{box}" role="img" aria-label="{escape(label)}"><defs><linearGradient id="round">'
        f'{_shade()}</linearGradient></defs>{fills}{rect} fill="url(#round)"/>'
        f'{rect} fill="none" stroke="currentColor" vector-effect="non-scaling-stroke"/></svg>'
    )


def _shade() -> str:
    """Darken towards the sides, as in the customer's picture."""
    stops = []
    for place in (0.0, 0.03, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97, 1.0):
        dark = 0.28 * (1.0 - (1.0 - (2 * place - 1) ** 2) ** 0.5)
        stops.append(f'<stop offset="{place:g}" stop-color="#000" stop-opacity="{dark:.3f}"/>')
    return "".join(stops)
