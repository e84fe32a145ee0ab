"""The nearest edge against a library's own search: every distance the same, wherever the places lie."""

import numpy as np
import pytest
import shapely

from maskgen.shape.nearest_wall import NearestWall


def rings_of(points):
    start, end = points, np.roll(points, -1, axis=0)
    return start, end, np.roll(np.arange(len(points)), 1)


def circle(count, radius=5.0):
    turn = np.arange(count) * 2 * np.pi / count
    return radius * np.column_stack([np.cos(turn), np.sin(turn)])


@pytest.mark.parametrize(
    "outline",
    [
        circle(400),
        circle(3),
        np.array([(0, 0), (300, 0), (300, 0.4), (0, 0.4)], float),  # a strip: few edges, far longer than the gap
        np.array([(0, 0), (8, 0), (8, 8), (4, 1e-3), (0, 8)], float),  # a slit that closes
        np.vstack([circle(2000, 3.0), [(40.0, 0.0), (40.0, -1.0)]]),  # chords and two long edges
    ],
)
def test_the_nearest_edge_is_the_nearest(outline):
    start, end, before = rings_of(outline)
    finder = NearestWall.of(start, end, before)
    chance = np.random.default_rng(3)
    low, high = outline.min(axis=0) - 2, outline.max(axis=0) + 2
    places = np.vstack([chance.uniform(low, high, (3000, 2)), outline, (start + end) / 2, [[0.0, 0.0], [1e3, -1e3]]])
    near, distance, edge = finder.find(places)
    edges = shapely.linestrings(np.stack([start, end], axis=1))
    expected = shapely.STRtree(edges).query_nearest(shapely.points(places), return_distance=True, all_matches=False)[1]
    assert np.abs(distance - expected).max() < 1e-9
    assert np.abs(np.hypot(*(near - places).T) - distance).max() < 1e-12
    assert shapely.distance(edges[edge], shapely.points(near)).max() < 1e-9


def test_no_place_is_no_answer():
    near, distance, edge = NearestWall.of(*rings_of(circle(5))).find(np.zeros((0, 2)))
    assert len(near) == len(distance) == len(edge) == 0
