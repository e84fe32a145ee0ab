"""Where growth narrows the openings the baths must get into, and the lands that creep eats through.

Growth is what keeps an edge where the artwork has it, so it is given up nowhere silently. Only where it would close an
opening is it held back; that is told with both widths, and so is an opening between two masks that it leaves narrower
than `min_gap_mm`. Narrow openings within one mask show in its drawing, where every cut file is judged. Millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import polygonal
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.paths import Point
from maskgen.plan.growth import JOINT_MM, dilate, offset, tidy
from maskgen.plan.mouths import past_the_mouths
from maskgen.shape.discs import FINENESS
from maskgen.shape.widths import NarrowPlace, narrow_places

KEPT_OPEN_MM = 0.1
"""What growth leaves of an opening at the least: as much as film is thick (calendered, 75 to 100 um); two cuts nearer
to one another part nothing."""
NEAR_MM = 2 * JOINT_MM
"""A width this little under its limit is the limit."""
TOUCH_MM = 0.01
"""Outlines this near touch: a point, not a land or an opening that could be lost."""
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
    """Hold growth back where it would close an opening, and tell of that and of openings narrowed between masks.

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
    grown = shapely.union_all([core, bands])
    shapely.prepare([core, lying, grown])
    holds: list[BaseGeometry] = []
    findings = []
    for place in places:
        centres = np.array(place.centres)
        was, is_now, one_sided = _widths(centres, core, grown, lying)
        if is_now.min() >= min_gap_mm - NEAR_MM or (was - is_now).max() < NEAR_MM:
            continue
        kept = np.minimum(KEPT_OPEN_MM, was)
        tight = is_now < kept - NEAR_MM
        tight &= kept > NEAR_MM
        spacing = 2 * limit / FINENESS
        holds += _kept_open(centres[tight], kept[tight], one_sided[tight], lying, spacing)
        if tight.any():
            holds += _kept_open_outside(
                before, core, grown, lying, centres[tight], was[tight] / 2, kept[tight], growth_mm, spacing
            )
        on_face = shapely.intersects_xy(face, *centres.T) & (one_sided | tight.any()) & (was > TOUCH_MM)
        if on_face.any():
            centres, was, is_now = centres[on_face], was[on_face], is_now[on_face]
            away = np.hypot(*(centres - place.at).T)
            least = int(np.where(is_now < is_now.min() + EVEN_MM, away, np.inf).argmin())
            held = bool(tight[on_face].any())
            findings.append(_narrow(mask, centres[least], float(was[least]), float(is_now[least]), held, min_gap_mm))
    if not holds:
        return Held(bands, tuple(findings))
    smooth = shapely.union_all(holds).simplify(EVEN_MM)  # of the many arcs of its discs
    return Held(bands.difference(smooth), tuple(findings))


def _widths(
    centres: NDArray[np.float64], core: BaseGeometry, grown: BaseGeometry, lying: BaseGeometry
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.bool_]]:
    """Give the width of an opening at points along its middle, before and after growth.

    Between two edges of the mask both grow; between the mask and vinyl that lies already only one does, which is told
    for every point too.
    """
    points = shapely.points(centres)
    to_core, to_lying = shapely.distance(points, core), shapely.distance(points, lying)
    to_lying = np.where(np.isnan(to_lying), np.inf, to_lying)  # none lies there
    half = np.minimum(to_core, to_lying)
    free = np.where(shapely.intersects(grown, points), -1.0, 1.0) * shapely.distance(points, grown.boundary)
    one_sided = to_lying < half + NEAR_MM
    is_now = np.maximum(np.where(one_sided, half + free, 2 * free), 0.0)
    return 2 * half, is_now, one_sided


def _kept_open(
    centres: NDArray[np.float64],
    kept: NDArray[np.float64],
    one_sided: NDArray[np.bool_],
    lying: BaseGeometry,
    spacing_mm: float,
) -> list[BaseGeometry]:
    """Give what growth keeps out of: a strip along the middle, or twice as wide along the vinyl that lies there."""
    points = shapely.points(centres)
    points[one_sided] = shapely.get_point(shapely.shortest_line(points[one_sided], lying), 1)
    radius = kept * np.where(one_sided, 1.0, 0.5)
    places = shapely.get_coordinates(points)
    pairs = cKDTree(places).query_pairs(spacing_mm, output_type="ndarray")
    pairs = pairs[np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T) > EVEN_MM]
    strips = offset(shapely.linestrings(places[pairs]), radius[pairs].min(axis=1), quad_segs=8)
    return [*strips, *offset(points, radius, quad_segs=8)]


def _kept_open_outside(
    before: BaseGeometry,
    core: BaseGeometry,
    grown: BaseGeometry,
    lying: BaseGeometry,
    centres: NDArray[np.float64],
    half: NDArray[np.float64],
    kept: NDArray[np.float64],
    growth_mm: float,
    spacing_mm: float,
) -> list[BaseGeometry]:
    """Give what growth keeps out of in front of a slit's mouths, until the grown edges are apart by themselves."""
    lines, kept = past_the_mouths(before, centres, kept, half, growth_mm=growth_mm, near_mm=spacing_mm)
    if not len(lines):
        return []
    _, is_now, one_sided = _widths(lines.mean(axis=1), core, grown, lying)
    tight = is_now < kept
    lines, kept, one_sided = lines[tight], kept[tight], one_sided[tight]
    between = offset(shapely.linestrings(lines[~one_sided]), kept[~one_sided] / 2, quad_segs=8)
    if not one_sided.any():
        return list(between)
    beside = shapely.points(lines[one_sided].mean(axis=1))
    return [*between, *_kept_off(lying, core, beside, float(kept[one_sided].max()), growth_mm)]


def _kept_off(
    lying: BaseGeometry, core: BaseGeometry, points: NDArray[np.object_], kept_mm: float, growth_mm: float
) -> list[BaseGeometry]:
    """Give what growth keeps out of round the end of vinyl that lies there, as far as growth gets round it.

    Parameters
    ----------
    points
        Places half way between the mask and that vinyl.
    """
    from_core = shapely.get_coordinates(shapely.get_point(shapely.shortest_line(points, core), 1))
    feet = shapely.multipoints(shapely.get_point(shapely.shortest_line(points, lying), 1))
    left, top, right, bottom = shapely.total_bounds(points)
    reach = growth_mm + kept_mm
    near = shapely.clip_by_rect(lying.boundary, left - reach, top - reach, right + reach, bottom + reach)
    coordinates, line = shapely.get_coordinates(
        shapely.segmentize(shapely.get_parts(near), kept_mm / 4), return_index=True
    )
    joined = line[1:] == line[:-1]
    edges = shapely.linestrings(np.stack([coordinates[:-1], coordinates[1:]], axis=1)[joined])
    off = shapely.distance(edges, core)
    met = (off > NEAR_MM) & (cKDTree(from_core).query((coordinates[:-1] + coordinates[1:])[joined] / 2)[0] < reach)
    edges, off = edges[met], off[met]
    runs = shapely.get_parts(shapely.line_merge(shapely.union_all(edges)))
    runs = shapely.union_all(runs[shapely.distance(runs, feet) < NEAR_MM])  # not beyond where the two touch
    here = shapely.distance(edges, runs) < NEAR_MM
    return list(offset(edges[here], np.minimum(kept_mm, off[here]), quad_segs=8))


def _narrow(mask: str, at: NDArray[np.float64], was: float, is_now: float, held: bool, min_gap_mm: float) -> Finding:
    kept = max(is_now, min(KEPT_OPEN_MM, was))
    spot: Point = (round(float(at[0]), 4), round(float(at[1]), 4))
    where = f"{mask}: at {spot[0]:.1f}, {spot[1]:.1f} mm"
    if held:
        message = (
            f"{where} growth against creep would leave {is_now:.2f} mm of an opening {was:.2f} mm wide; it is "
            f"held at {kept:.2f} mm, so the colour in it comes out up to {kept - is_now:.2f} mm wider"
        )
    else:
        message = (
            f"{where} growth against creep leaves {is_now:.2f} mm of an opening {was:.2f} mm wide; under "
            f"{min_gap_mm:g} mm bleach and dye may not get in"
        )
    return Finding(
        Code.NARROW_GAP,
        Severity.WARNING,
        message,
        "make the artwork larger, widen this place in it, or use a resist that creeps less",
        spot,
        mask,
        value=round(kept, 4),
        limit=min_gap_mm,
    )


def eaten_through(
    vinyl: BaseGeometry,
    core: BaseGeometry,
    fronts: Sequence[tuple[float, BaseGeometry]],
    *,
    rim: tuple[float, BaseGeometry],
    mask: str,
) -> tuple[Finding, ...]:
    """Find the lands of a mask that creep eats through before the seal.

    Parameters
    ----------
    core
        What the mask has to keep: growth may be eaten through, it is there for that.
    fronts
        How deep creep gets under the edges towards an area, mm, and that area.
    rim
        The same for what lies outside the part; nothing grows against that.
    """
    fronts = [*fronts, rim]
    deepest = max((depth for depth, _ in fronts), default=0.0)
    if deepest <= 0 or vinyl.is_empty:
        return ()
    outline = polygonal(vinyl).boundary
    edges = [(depth, outline.intersection(dilate(area, JOINT_MM))) for depth, area in fronts if depth > 0]
    edges = [(depth, edge) for depth, edge in edges if not edge.is_empty]
    if not edges:
        return ()
    ashore = outline.intersection(dilate(rim[1], JOINT_MM)) if rim[0] > 0 else MultiPolygon()
    shapely.prepare([ashore, outline, core])
    findings = []
    for place in narrow_places(polygonal(vinyl.simplify(EVEN_MM)), 2 * deepest + 2 * NEAR_MM):
        centres = shapely.points(np.array(place.centres))
        left = np.min([shapely.distance(centres, edge) - depth for depth, edge in edges], axis=0)
        left = np.where(shapely.within(centres, core), left, np.inf)
        left = np.where(_gone_beside_rim(centres, outline, ashore, core, edges), -deepest, left)
        if place.width_mm > TOUCH_MM and left.min() < -NEAR_MM:
            findings.append(_overrun(place, int(left.argmin()), deepest, mask))
    return tuple(findings)


def _gone_beside_rim(
    centres: NDArray[np.object_],
    outline: BaseGeometry,
    rim: BaseGeometry,
    core: BaseGeometry,
    edges: Sequence[tuple[float, BaseGeometry]],
) -> NDArray[np.bool_]:
    """Tell where creep leaves nothing of a land between the part's edge and the edge across from it.

    Vinyl is grown on one side of such a land alone, so that its middle is not the land's.
    """
    gone = np.zeros(len(centres), dtype=np.bool_)
    radius = shapely.distance(centres, outline)
    beside = np.flatnonzero(shapely.distance(centres, rim) < radius + NEAR_MM)
    beside = beside[shapely.distance(centres[beside], core) < radius[beside] - NEAR_MM]
    if len(beside):
        discs = offset(centres[beside], radius[beside], quad_segs=8)
        near = shapely.union_all(discs)
        eaten = [dilate(edge.intersection(dilate(near, depth)), depth - NEAR_MM) for depth, edge in edges]
        left = core.intersection(near).difference(shapely.union_all(eaten))
        gone[beside] = left.is_empty | (shapely.distance(centres[beside], left) > radius[beside] - NEAR_MM)
    return gone


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
