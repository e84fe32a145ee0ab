"""How a mask runs onto the vinyl that lies there already, and where that has to stop.

A lap follows the edge it covers. Where that edge comes out into the open oxide the lap ends square to it, and nowhere
does it go further than half way to the open, so that a mask put on a little off covers no oxide beyond vinyl that is
narrow or comes to a point. Plain polygons in millimetres.
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.spatial import Voronoi
from shapely.geometry import LineString, MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry
from shapely.ops import substring

from maskgen.geometry.polygons import polygonal
from maskgen.model.paths import Points
from maskgen.plan.growth import JOINT_MM, dilate, offset, touching

SHORT_MM = 3 * JOINT_MM
"""A common edge is first taken this much short of where it comes into the open, so that it turns no corner there."""
ROUND_MM = 0.1
"""Corners of a lap are rounded to this radius and what is narrower than twice it is left off: the film's thickness."""
SAMPLE_MM = 0.025
"""Spacing of the points that stand for an edge where the half way between two is sought."""
FAR = 20.0
"""How many times as far as all points together reach a point lies that only closes their cells."""
HALF_MM = 0.005
"""How straight the line half way is made: a quarter of the spacing it was found with."""


def lap_onto(
    beneath: BaseGeometry,
    own: BaseGeometry,
    lap_mm: float,
    *,
    left_open: BaseGeometry,
    outside: BaseGeometry,
    tail_mm: float,
) -> BaseGeometry:
    """Give the vinyl that runs from `own` onto the vinyl beneath, `lap_mm` from the edges the two have in common.

    Parameters
    ----------
    left_open
        The oxide that stays open once this mask is on; the lap comes no nearer to it than to the mask's own edge.
    outside
        What lies around it all: no corner is rounded off there.
    tail_mm
        This much of a common edge counts as straight at its ends, where the growth of either mask makes a step.
    """
    if beneath.is_empty or own.is_empty or lap_mm <= 0:
        return MultiPolygon()
    meeting = beneath.boundary.intersection(dilate(own, JOINT_MM)).difference(dilate(left_open, SHORT_MM))
    runs = [part for part in shapely.get_parts(meeting) if part.length > 0]
    if not runs:
        return MultiPolygon()
    common = shapely.union_all(runs)
    lines = [line for line in shapely.get_parts(shapely.line_merge(common)) if line.length > JOINT_MM]
    edge = shapely.union_all([straight_ended(line, tail_mm) for line in lines])
    lap = dilate(edge, lap_mm, flat_ends=True).intersection(beneath)
    if not left_open.is_empty:
        free = left_open.boundary.difference(dilate(own, SHORT_MM))
        lap = lap.difference(past_half_way(lap, shapely.union_all([edge, common]), free, lap_mm))
    return shapely.union_all(touching(_rounded(lap, shapely.union_all([own, outside])), common))


def _rounded(lap: BaseGeometry, beside: BaseGeometry) -> BaseGeometry:
    """Give a lap without the horns and corners that no knife could follow and nobody could weed."""
    vinyl = offset(shapely.union_all([lap, beside]), JOINT_MM)  # no hair stays between the two
    return dilate(offset(vinyl, -JOINT_MM - ROUND_MM, join_style="mitre"), ROUND_MM).intersection(lap)


def past_half_way(lap: BaseGeometry, own_edge: BaseGeometry, free_edge: BaseGeometry, lap_mm: float) -> BaseGeometry:
    """Give the part of a lap that lies nearer to the edge of what is left open than to the edge it covers.

    Points along both edges stand for them; their Voronoi cells meet half way.
    """
    halves: list[BaseGeometry] = []
    for part in polygonal(lap.intersection(dilate(free_edge, lap_mm))).geoms:
        around = dilate(part.envelope, lap_mm)
        ours, theirs = (_samples(edge.intersection(around)) for edge in (own_edge, free_edge))
        if not len(ours) or not len(theirs):
            continue
        halves.append(_cells(theirs, ours).simplify(HALF_MM).intersection(part))
    return shapely.union_all(halves)


def _cells(points: Points, others: Points) -> BaseGeometry:
    """Give the places nearer to one of some points than to any of the others."""
    _, first = np.unique(np.vstack([others, points]), axis=0, return_index=True)
    points = points[first[first >= len(others)] - len(others)]  # a place that is both is the others'
    around = np.vstack([points, others])
    middle, reach = around.mean(axis=0), FAR * (np.ptp(around, axis=0).max() + 1.0)
    # Points far off all round close every cell that counts.
    turn = np.arange(8) * np.pi / 4
    sites = np.vstack([points, others, middle + reach * np.column_stack([np.cos(turn), np.sin(turn)])])
    diagram = Voronoi(sites)
    cells = []
    for number, site in enumerate(points):
        corners = diagram.vertices[diagram.regions[diagram.point_region[number]]]
        x, y = (corners - site).T
        cells.append(Polygon(corners[np.argsort(np.arctan2(y, x))]))
    return shapely.union_all(cells)


def _samples(edge: BaseGeometry) -> Points:
    """Give evenly spaced points along an edge, each once."""
    points = shapely.get_coordinates(shapely.segmentize(edge.simplify(HALF_MM / 5), SAMPLE_MM))
    return np.unique(points.round(6), axis=0)


def fill_holes(vinyl: BaseGeometry, beneath: BaseGeometry, narrower_mm: float) -> BaseGeometry:
    """Close the openings narrower than a limit that show nothing but vinyl: there is nothing for a bath to reach."""
    filled = []
    for piece in polygonal(vinyl).geoms:
        for ring in piece.interiors:
            hole = Polygon(ring)
            if offset(hole, -narrower_mm / 2).is_empty and offset(hole, -JOINT_MM).within(beneath):
                filled.append(hole)
    return shapely.union_all([vinyl, *filled]) if filled else vinyl


def straight_ended(line: LineString, tail_mm: float) -> LineString:
    """Give an open line with its last `tail_mm` at both ends made straight, in the direction the rest ends in."""
    tail_mm = min(tail_mm, line.length / 4)
    if line.is_ring or tail_mm < JOINT_MM:
        return line
    points = shapely.get_coordinates(substring(line, tail_mm, line.length - tail_mm))
    ends = shapely.get_coordinates(line)[[0, -1]]
    first = _onwards(points[1], points[0], ends[0])
    last = _onwards(points[-2], points[-1], ends[1])
    return LineString([*first, *points, *last])


def _onwards(before: Points, corner: Points, end: Points) -> list[Points]:
    """Give the point straight on from a corner that is level with `end`; none where that would lead back."""
    way = (corner - before) / np.hypot(*(corner - before))
    ahead = float((end - corner) @ way)
    return [corner + (ahead + SHORT_MM) * way] if ahead > 0 else []
