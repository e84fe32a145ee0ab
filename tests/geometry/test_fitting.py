"""Noisy points to lines and cubics: noise averages out, corners stay sharp, rings stay whole."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.geometry.fitting import fit_closed, fit_open
from maskgen.model.paths import Cubic, Line, flatten, flatten_segment, signed_area

SQUARE = np.array([(0.0, 0.0), (40.0, 0.0), (40.0, 30.0), (0.0, 30.0)])


def circle(radius, centre=(0.0, 0.0)):
    turn = np.arange(720) * np.pi / 360
    return np.column_stack([np.cos(turn), np.sin(turn)]) * radius + centre


def star(outer, inner):
    turn = np.arange(10) * np.pi / 5 + 0.3
    reach = np.where(np.arange(10) % 2, inner, outer)
    return np.column_stack([reach * np.cos(turn), reach * np.sin(turn)])


def breaks(ring, degrees=25.0):
    """Places of a ring where its direction jumps."""
    found = []
    for before, after in zip(ring.segments[-1:] + ring.segments[:-1], ring.segments, strict=True):
        a = np.subtract(before.end, before.control2 if isinstance(before, Cubic) else before.start)
        b = np.subtract(after.control1 if isinstance(after, Cubic) else after.end, after.start)
        if abs(np.degrees(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b))) > degrees:
            found.append(after.start)
    return np.array(found).reshape(-1, 2)


def mean_error(ring, outline):
    drawn = shapely.LinearRing(flatten(ring, 0.002))
    at = np.arange(0.0, drawn.length, 0.5)
    return shapely.distance(drawn.interpolate(at), shapely.LinearRing(outline)).mean()


@pytest.mark.parametrize("sigma", [0.01, 0.1, 0.29])
@pytest.mark.parametrize("radius", [4.0, 12.0, 40.0])
def test_a_circle_is_four_cubics_of_one_radius(radius, sigma, tools):
    ring = fit_closed(tools.noisy(circle(radius, (3, 2)), sigma), sigma=sigma)
    assert len(ring.segments) <= 4
    assert all(isinstance(s, Cubic) for s in ring.segments)
    away = np.hypot(*(flatten(ring, 0.001) - (3, 2)).T)
    # A mean over n samples, and a centre from them, are good to about sigma * sqrt(3 / n).
    allowed = 5 * sigma * np.sqrt(3 / (2 * np.pi * radius)) + 3e-4 * radius + 0.002
    assert np.abs(away - radius).max() < allowed


@pytest.mark.parametrize("sigma", [0.01, 0.1, 0.29])
def test_a_rectangle_is_four_lines_with_corners_better_than_samples(sigma, tools):
    ring = fit_closed(tools.noisy(SQUARE, sigma, seed=4), sigma=sigma)
    assert [type(s) for s in ring.segments] == [Line] * 4
    found = np.array([s.start for s in ring.segments])
    gaps = np.hypot(*(found[:, None] - SQUARE).transpose(2, 0, 1)).min(axis=0)
    # A line through n samples is known at its end to 2 sigma / sqrt(n); two of them meet, three deviations allowed.
    assert gaps.max() < 3 * np.sqrt(2) * 2 * sigma / np.sqrt(30) + 0.01


def test_corners_rounded_by_the_grid_come_out_sharp(tools):
    """A box filter of one pixel pulls the sample at a right corner inwards by about a quarter pixel."""
    places, normals = tools.spaced(SQUARE, shift=0.0)
    near = np.hypot(*(places[:, None] - SQUARE).transpose(2, 0, 1)).min(axis=1)
    inward = (SQUARE.mean(axis=0) - places) / 25.0
    places = places + inward * (0.3 * np.maximum(1 - near, 0))[:, None]
    places = places + normals * np.random.default_rng(1).normal(0, 0.02, (len(places), 1))
    ring = fit_closed(places, sigma=0.02)
    found = np.array([s.start for s in ring.segments])
    assert len(found) == 4
    assert np.hypot(*(found[:, None] - SQUARE).transpose(2, 0, 1)).min(axis=0).max() < 0.06


@pytest.mark.parametrize("outer", [12.0, 50.0])
@pytest.mark.parametrize("sigma", [0.02, 0.1])
def test_a_star_has_its_ten_corners(outer, sigma, tools):
    outline = star(outer, 0.42 * outer)
    ring = fit_closed(tools.noisy(outline, sigma), sigma=sigma)
    assert len(ring.segments) == 10
    assert mean_error(ring, outline) < 0.7 * sigma + 0.01


@pytest.mark.parametrize(("letter", "corners"), [("K", 11), ("S", 4), ("B", 3), ("a", 6), ("&", 9)])
@pytest.mark.parametrize("sigma", [0.02, 0.1])
def test_letters(letters, letter, corners, sigma, tools):
    outline, nodes = letters.contours(letter, 110.0)[0]
    ring = fit_closed(tools.noisy(outline, sigma, seed=2), sigma=sigma)
    assert len(ring.segments) <= 1.3 * len(nodes)
    assert mean_error(ring, outline) < 0.6 * sigma + 0.003
    made = breaks(ring)
    assert len(made) == pytest.approx(corners, abs=1)
    near = np.hypot(*(made[:, None] - nodes).transpose(2, 0, 1)).min(axis=1)
    assert np.median(near) < 0.15 + sigma


def test_rounded_rectangle_is_lines_and_arcs_without_corners(tools):
    outline = shapely.get_coordinates(shapely.box(0, 0, 60, 35).buffer(8, quad_segs=60).exterior)[:-1]
    ring = fit_closed(tools.noisy(outline, 0.02), sigma=0.02)
    assert len(ring.segments) <= 9
    assert sum(isinstance(s, Line) for s in ring.segments) == 4
    assert len(breaks(ring)) == 0
    assert mean_error(ring, outline) < 0.025


def test_open_run_keeps_its_ends_exactly(tools):
    points = tools.noisy(circle(30.0), 0.05)[:60]
    segments = fit_open(points, sigma=0.05)
    assert segments[0].start == tuple(points[0])
    assert segments[-1].end == tuple(points[-1])
    assert all(a.end == b.start for a, b in itertools.pairwise(segments))
    inner = np.vstack([flatten_segment(s, 0.002) for s in segments])[5:-5]
    assert np.abs(np.hypot(*inner.T) - 30.0).max() < 0.1


def test_open_run_of_two_or_three_points():
    assert fit_open(np.array([(0.0, 0.0), (3.0, 4.0)]), sigma=0.1) == (Line((0.0, 0.0), (3.0, 4.0)),)
    three = fit_open(np.array([(0.0, 0.0), (1.0, 0.01), (2.0, 0.0)]), sigma=0.1)
    assert three[0].start == (0.0, 0.0)
    assert three[-1].end == (2.0, 0.0)
    assert fit_open(np.array([(1.0, 1.0)]), sigma=0.1) == ()


def test_open_corner():
    points = np.vstack(
        [np.column_stack([np.arange(20.0), np.zeros(20)]), np.column_stack([np.full(15, 20.0), np.arange(15.0)])]
    )
    points = points + np.random.default_rng(3).normal(0, 0.02, points.shape)
    segments = fit_open(points, sigma=0.02)
    assert [type(s) for s in segments] == [Line, Line]
    assert np.hypot(*np.subtract(segments[0].end, (20.0, 0.0))) < 0.06


def test_stated_corners_are_the_only_ones(tools):
    points = tools.noisy(SQUARE, 0.05)
    at = [int(np.hypot(*(points - c).T).argmin()) for c in SQUARE]
    ring = fit_closed(points, sigma=0.05, corners=at)
    assert [type(s) for s in ring.segments] == [Line] * 4
    assert len(breaks(fit_closed(tools.noisy(circle(20.0), 0.05), sigma=0.05, corners=[7]))) <= 1


def test_doubtful_points_count_little(tools):
    points = tools.noisy(SQUARE, 0.02)
    sigma = np.full(len(points), 0.02)
    points[10:14, 1] += 0.8
    sigma[10:14] = 1.0
    ring = fit_closed(points, sigma=sigma)
    assert len(ring.segments) == 4
    assert mean_error(ring, SQUARE) < 0.02


def test_tolerance_saves_nodes(letters, tools):
    points = tools.noisy(letters.contours("S", 110.0)[0][0], 0.01)
    nodes = [len(fit_closed(points, sigma=0.01, tolerance=t).segments) for t in (None, 1.0)]
    assert nodes[1] < nodes[0]


@pytest.mark.parametrize("letter", "Sa")
def test_scale_turn_and_beginning_make_no_difference(letters, letter, tools):
    outline, _ = letters.contours(letter, 60.0)[0]
    points = tools.noisy(outline, 0.05)
    plain = fit_closed(points, sigma=0.05)
    grown = fit_closed(points * 7.0, sigma=0.35)
    assert np.allclose([s.start for s in grown.segments], 7 * np.array([s.start for s in plain.segments]), atol=1e-6)
    turned = fit_closed(points @ np.array([(0.6, 0.8), (-0.8, 0.6)]), sigma=0.05)
    assert len(turned.segments) == pytest.approx(len(plain.segments), abs=1)
    assert signed_area(turned) == pytest.approx(signed_area(plain), rel=1e-3)
    later = fit_closed(np.roll(points, 31, axis=0), sigma=0.05)
    assert signed_area(later) == pytest.approx(signed_area(plain), rel=1e-3)
    back = fit_closed(points[::-1], sigma=0.05)
    assert signed_area(back) == pytest.approx(-signed_area(plain), rel=1e-3)


def test_same_input_same_numbers(letters, tools):
    points = tools.noisy(letters.contours("g", 40.0)[0][0], 0.1)
    assert fit_closed(points, sigma=0.1) == fit_closed(points.copy(), sigma=0.1)


@pytest.mark.parametrize("count", [3, 4, 5, 6, 8])
def test_dots_stay_whole(count):
    turn = np.arange(count) * 2 * np.pi / count
    points = np.column_stack([np.cos(turn), np.sin(turn)]) * 1.5 * count / 9
    ring = fit_closed(points, sigma=0.1)
    outline = shapely.Polygon(flatten(ring, 0.01))
    assert outline.is_valid
    assert outline.area > 0.6 * shapely.Polygon(points).area


coordinates = st.tuples(st.floats(-6, 6), st.floats(-6, 6))


@settings(max_examples=40, deadline=None)
@given(st.lists(coordinates, min_size=3, max_size=14, unique=True), st.sampled_from([0.01, 0.1, 0.3]))
def test_any_small_ring_is_closed_finite_and_never_made_to_cross(points, sigma):
    points = np.array(points)
    ring = fit_closed(points, sigma=sigma)
    assert all(a.end == b.start for a, b in zip(ring.segments, ring.segments[1:] + ring.segments[:1], strict=True))
    drawn = flatten(ring, 0.01)
    assert np.isfinite(drawn).all()
    if len(set(map(tuple, np.round(points, 9)))) == len(points) and shapely.LinearRing(points).is_simple:
        assert shapely.LinearRing(drawn).is_simple


@settings(max_examples=40, deadline=None)
@given(st.lists(coordinates, min_size=2, max_size=14), st.sampled_from([0.01, 0.3]))
def test_any_short_run_is_joined_and_finite(points, sigma):
    segments = fit_open(np.array(points), sigma=sigma)
    assert all(a.end == b.start for a, b in itertools.pairwise(segments))
    if segments:
        assert segments[0].start == points[0]
        assert np.isfinite(np.vstack([flatten_segment(s, 0.01) for s in segments])).all()
