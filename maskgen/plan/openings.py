"""Where growth narrows the openings the baths must get into, and the lands that creep eats through.

Growth is what keeps an edge where the artwork has it, so it is given up nowhere silently: an opening it would leave
narrower than `min_gap_mm` is told with both widths, and only where it would take more than half of the opening is it
held back, and that is told too. Millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import polygonal
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.paths import Point
from maskgen.plan.growth import JOINT_MM, dilate, tidy
from maskgen.shape.widths import NarrowPlace, narrow_places

KEPT_OPEN = 0.5
"""Share of an opening that growth leaves at the least: bleach and dye still get in, and the knife still parts it."""
NEAR_MM = 2 * JOINT_MM
"""A width this little under its limit is the limit."""
EVEN_MM = 0.002
"""Outlines are straightened by this much before their widths are looked at, which halves the work."""


@dataclass(frozen=True, slots=True)
class Held:
    """Growth after openings were looked at: the bands that remain, and what has to be told about it."""

    bands: BaseGeometry
    findings: tuple[Finding, ...]


def hold_open(
    core: BaseGeometry,
    bands: BaseGeometry,
    lying: BaseGeometry,
    *,
    face: BaseGeometry,
    window: BaseGeometry,
    mask: str,
    growth_mm: float,
    min_gap_mm: float,
) -> Held:
    """Hold growth back where it would take more than its share of an opening, and tell where openings get narrow.

    Parameters
    ----------
    core, bands
        The region under the mask, and its growth.
    lying
        Vinyl that is on the part already.
    face, window
        The face, where openings are told of, and the face with what surrounds it, where they are held.
    growth_mm
        The most any edge grows.
    """
    if bands.is_empty or growth_mm <= 0:
        return Held(bands, ())
    before = shapely.union_all([core, lying])
    limit = min_gap_mm + 2 * growth_mm
    opening = tidy(dilate(window, 2 * limit).difference(before))  # the part's edge is no wall
    places = narrow_places(polygonal(opening.simplify(EVEN_MM)), limit)
    after = shapely.union_all([before, bands])
    holds: list[BaseGeometry] = []
    findings = []
    for place in places:
        centres = np.array(place.centres)
        was, is_now = _clearance(centres, before), _clearance(centres, after)
        least = int(is_now.argmin())
        if 2 * is_now[least] >= min_gap_mm - NEAR_MM or was[least] - is_now[least] < NEAR_MM:
            continue
        tight = is_now < KEPT_OPEN * was - NEAR_MM
        holds += [dilate(shapely.Point(c), KEPT_OPEN * w) for c, w in zip(centres[tight], was[tight], strict=True)]
        if face.intersects(shapely.Point(centres[least])):
            findings.append(
                _narrow(mask, centres[least], float(was[least]), float(is_now[least]), bool(tight.any()), min_gap_mm)
            )
    if not holds:
        return Held(bands, tuple(findings))
    return Held(bands.difference(shapely.union_all(holds)), tuple(findings))


def _clearance(places: NDArray[np.float64], vinyl: BaseGeometry) -> NDArray[np.float64]:
    shapely.prepare(vinyl)
    return np.asarray(shapely.distance(shapely.points(places), vinyl), dtype=np.float64)


def _narrow(mask: str, at: NDArray[np.float64], was: float, is_now: float, held: bool, min_gap_mm: float) -> Finding:
    kept = max(is_now, KEPT_OPEN * was)
    spot: Point = (round(float(at[0]), 4), round(float(at[1]), 4))
    where = f"{mask}: at {spot[0]:.1f}, {spot[1]:.1f} mm"
    if held:
        message = (
            f"{where} growth against creep would leave {2 * is_now:.2f} mm of an opening {2 * was:.2f} mm wide; it is "
            f"held at {2 * kept:.2f} mm, so the colour in it comes out up to {2 * (kept - is_now):.2f} mm wider"
        )
    else:
        message = (
            f"{where} growth against creep leaves {2 * is_now:.2f} mm of an opening {2 * was:.2f} mm wide; under "
            f"{min_gap_mm:g} mm bleach and dye may not get in"
        )
    return Finding(
        Code.NARROW_GAP,
        Severity.WARNING,
        message,
        "make the artwork larger, widen this place in it, or use a resist that creeps less",
        spot,
        mask,
        value=round(2 * kept, 4),
        limit=min_gap_mm,
    )


def eaten_through(
    vinyl: BaseGeometry, core: BaseGeometry, fronts: Sequence[tuple[float, BaseGeometry]], *, mask: str
) -> tuple[Finding, ...]:
    """Find the lands of a mask that creep eats through before the seal.

    Parameters
    ----------
    core
        What the mask has to keep: growth may be eaten through, it is there for that.
    fronts
        How deep creep gets under the edges towards an area, mm, and that area.
    """
    deepest = max((depth for depth, _ in fronts), default=0.0)
    if deepest <= 0 or vinyl.is_empty:
        return ()
    edges = [
        (depth, polygonal(vinyl).boundary.intersection(dilate(area, JOINT_MM))) for depth, area in fronts if depth > 0
    ]
    findings = []
    for place in narrow_places(polygonal(vinyl.simplify(EVEN_MM)), 2 * deepest + 2 * NEAR_MM):
        centres = shapely.points(np.array(place.centres))
        left = np.min([shapely.distance(centres, edge) - depth for depth, edge in edges if not edge.is_empty], axis=0)
        left = np.where(shapely.within(centres, core), left, np.inf)
        if left.min() < -NEAR_MM:
            findings.append(_overrun(place, int(left.argmin()), deepest, mask))
    return tuple(findings)


def _overrun(place: NarrowPlace, worst: int, deepest: float, mask: str) -> Finding:
    x, y = place.centres[worst]
    spot = (round(x, 4), round(y, 4))
    return Finding(
        Code.CREEP_OVERRUN,
        Severity.ERROR,
        f"{mask}: the land at {spot[0]:.1f}, {spot[1]:.1f} mm is {place.width_mm:.2f} mm wide and creep gets "
        f"{deepest:.2f} mm under either edge of it before the seal: it is eaten through",
        "make the artwork larger, thicken this place in it, or use a resist that creeps less",
        spot,
        mask,
        value=round(place.width_mm, 4),
        limit=round(2 * deepest, 4),
    )
