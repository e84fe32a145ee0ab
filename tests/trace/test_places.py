"""Shapes of known outline, painted with their exact coverage by another library, come back where they were."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity

from maskgen.model.artwork import FlatPicture, Picture
from maskgen.model.paths import Partition, flatten
from maskgen.trace.partition import trace_partition

SIZE = 40
EIGHT_BIT_PX = 0.5 / 255
"""Largest error of one pixel's coverage from rounding to 8 bits, at full contrast."""


def painted(shapes: list[tuple[shapely.Polygon, tuple[int, int, int]]], size: int = SIZE) -> FlatPicture:
    """Paint shapes on white with shapely's areas of intersection; shapes must not overlap."""
    x, y = np.meshgrid(np.arange(size), np.arange(size))
    pixels = shapely.box(x, y, x + 1, y + 1)
    shares = [shapely.area(shapely.intersection(pixels, shape)) for shape, _ in shapes]
    shares.insert(0, 1.0 - np.sum(shares, axis=0))
    colours = [(255, 255, 255), *(colour for _, colour in shapes)]
    image = sum(share[..., None] * np.array([*colour, 255.0]) for share, colour in zip(shares, colours, strict=True))
    labels = np.argmax(shares, axis=0).astype(np.uint8)
    names = tuple("#" + "".join(f"{v:02x}" for v in colour) for colour in colours)
    return FlatPicture(Picture(np.round(image).astype(np.uint8)), labels, names, edge_blur_px=12**-0.5)


def ring_points(partition: Partition, region: int) -> np.ndarray:
    return np.vstack([flatten(ring, 0.001) for ring in partition.regions[region].area.rings])


@pytest.mark.parametrize("degrees", [3.0, 17.0, 31.0, 45.0, 62.5, 88.0])
def test_half_plane_edge_is_found_to_the_rounding(degrees):
    angle = np.radians(degrees)
    along, down = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    centre = np.array([SIZE / 2 + 0.13, SIZE / 2 - 0.21])
    far = 3 * SIZE
    corners = [
        centre - far * along,
        centre + far * along,
        centre + far * along + far * down,
        centre - far * along + far * down,
    ]
    partition = trace_partition(painted([(shapely.Polygon(corners), (0, 0, 0))]))
    points = ring_points(partition, 1)
    inner = points[np.all((points > 1e-6) & (points < SIZE - 1e-6), axis=1)]
    edge = [s for ring in partition.regions[1].area.rings for s in ring.segments]
    assert len(edge) <= 6  # the edge itself in one or two runs, the canvas edge the rest
    corner = np.all((points < 1e-6) | (points > SIZE - 1e-6), axis=1)
    ends = points[~corner & np.any((points < 1e-6) | (points > SIZE - 1e-6), axis=1)]
    on_line = [p for p in np.vstack([inner, ends]) if abs((p - centre) @ down) < 1.0]
    assert len(on_line) >= 2
    # a column sum adds up to four pixels, each rounded: the edge lies within their rounding; fits average it
    assert max(abs((p - centre) @ down) for p in on_line) < 4 * EIGHT_BIT_PX + 0.01


@pytest.mark.parametrize("radius", [4.0, 9.3, 15.7])
def test_circle_keeps_its_radius_with_few_nodes(radius):
    centre = (19.6, 20.3)
    partition = trace_partition(painted([(shapely.Point(centre).buffer(radius, quad_segs=256), (0, 0, 0))]))
    points = ring_points(partition, 1)
    # a column sum is off by a 24th of the curvature; the refined curves are not
    assert np.abs(np.hypot(*(points - centre).T) - radius).max() < 1 / (24 * radius) + 0.03
    assert sum(len(ring.segments) for ring in partition.regions[1].area.rings) <= 8


def test_wedge_keeps_its_sharp_corner():
    tip = np.array([10.3, 19.7])
    wedge = shapely.Polygon([tip, (36.2, 8.4), (36.2, 31.0)])
    partition = trace_partition(painted([(wedge, (0, 0, 0))]))
    nodes = np.array([s.end for ring in partition.regions[1].area.rings for s in ring.segments])
    assert np.hypot(*(nodes - tip).T).min() < 0.25
    assert shapely.Polygon(ring_points(partition, 1)).symmetric_difference(wedge).area < 0.005 * wedge.area


@pytest.mark.parametrize("width", [1.2, 1.6, 2.4])
def test_hairline_keeps_its_width(width):
    length = 26.0
    line = shapely.affinity.rotate(shapely.box(7, 20 - width / 2, 7 + length, 20 + width / 2), 24.0)
    partition = trace_partition(painted([(line, (0, 0, 0))]))
    area = sum(shapely.Polygon(flatten(p.outer, 0.001)).area for p in partition.regions[1].area.pieces)
    assert area / length == pytest.approx(width, abs=0.12)


def test_three_colours_meet_where_they_were_drawn_to_meet():
    meeting = np.array([20.3, 18.6])
    left = shapely.Polygon([meeting, (20.3, 40), (0, 40), (0, 18.6)])
    right = shapely.Polygon([meeting, (40, 18.6), (40, 40), (20.3, 40)])
    partition = trace_partition(painted([(left, (200, 30, 30)), (right, (20, 60, 200))]))
    shared = set(map(tuple, np.round(ring_points(partition, 0), 9)))
    shared &= set(map(tuple, np.round(ring_points(partition, 1), 9)))
    shared &= set(map(tuple, np.round(ring_points(partition, 2), 9)))
    assert shared
    assert min(np.hypot(*(np.array(p) - meeting)) for p in shared) < 0.05


def turns_at_nodes(partition: Partition, region: int) -> np.ndarray:
    """Degrees by which the boundary breaks its direction at each node, and the nodes: (n, 3)."""
    rows = []
    for ring in partition.regions[region].area.rings:
        for before, after in zip(ring.segments, ring.segments[1:] + ring.segments[:1], strict=True):
            into = np.subtract(before.end, getattr(before, "control2", before.start))
            out = np.subtract(getattr(after, "control1", after.end), after.start)
            turn = np.degrees(np.arctan2(into[0] * out[1] - into[1] * out[0], into @ out))
            rows.append((abs(turn), *before.end))
    return np.array(rows)


@pytest.mark.parametrize("bend", [50.0, 70.0, 115.0])
def test_a_bent_stroke_is_round_outside_and_sharp_inside(bend):
    half = np.radians(bend / 2)
    knee, reach = np.array([SIZE / 2 + 0.2, 14.3]), 15.0
    arms = [knee + reach * np.array([side * np.cos(half), np.sin(half)]) for side in (-1, 1)]
    stroke = shapely.LineString([arms[0], knee, arms[1]]).buffer(2.0, quad_segs=64)
    partition = trace_partition(painted([(stroke, (0, 0, 0))]))
    table = turns_at_nodes(partition, 1)
    corners = table[table[:, 0] > 20][:, 1:]
    inside = knee + np.array([0.0, 2.0 / np.cos(half)])
    assert len(corners) == 1
    assert np.hypot(*(corners[0] - inside)) < 0.3
    made = shapely.Polygon(ring_points(partition, 1))
    assert made.symmetric_difference(stroke).area / stroke.length < 0.02


@pytest.mark.parametrize("corners", [3, 4, 5, 6])
def test_sharp_corners_stay_sharp(corners):
    angles = np.linspace(0, 2 * np.pi, corners, endpoint=False) + 0.31
    shape = shapely.Polygon(np.stack([20.2 + 13 * np.cos(angles), 19.7 + 13 * np.sin(angles)], axis=1))
    table = turns_at_nodes(trace_partition(painted([(shape, (0, 0, 0))])), 1)
    sharp = table[table[:, 0] > 20][:, 1:]
    true = shapely.get_coordinates(shape)[:-1]
    assert len(sharp) == corners
    assert np.hypot(*(sharp[:, None] - true[None]).transpose(2, 0, 1)).min(axis=1).max() < 0.2
