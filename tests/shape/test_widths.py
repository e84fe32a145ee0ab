import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.ndimage import distance_transform_edt
from shapely.geometry import MultiPolygon, Polygon, box
from shapely.geometry import Point as Spot

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.paths import Area
from maskgen.shape.widths import narrow_places

LIMIT = 0.8


def disc(x, y, radius):
    return Spot(x, y).buffer(radius, quad_segs=128)


def wedge(degrees, length=20.0, cut=0.0):
    """A tip at the origin, or cut off where it is `cut` wide."""
    slope = math.tan(math.radians(degrees / 2))
    near = cut / 2 / slope
    return Polygon([(near, -cut / 2), (length, -length * slope), (length, length * slope), (near, cut / 2)])


def star(tip_degrees, radius, points=5):
    """A star whose tips close at the given angle (law of sines in the triangle of centre, tip and notch)."""
    half, turn = math.radians(tip_degrees / 2), math.pi / points
    notch = radius * math.sin(half) / math.sin(math.pi - half - turn)
    away = [radius if k % 2 == 0 else notch for k in range(2 * points)]
    return Polygon([(a * math.cos(k * turn), a * math.sin(k * turn)) for k, a in enumerate(away)])


ONE = [  # name, shape, narrowest width, where (None: anywhere)
    ("strip", box(0, 0, 10, 0.5), 0.5, (5, 0.25)),
    ("hair", box(0, 0, 10, 0.01), 0.01, (5, 0.005)),
    ("turned strip", shapely.affinity.rotate(box(0, 0, 10, 0.5), 33, origin=(0, 0)), 0.5, None),
    ("square", box(0, 0, 0.5, 0.5), 0.5, (0.25, 0.25)),
    ("nearly a square", box(0, 0, 0.5, 0.52), 0.5, None),
    ("dot", disc(3, 4, 0.3), 0.6, (3, 4)),
    ("rounded ends", shapely.LineString([(0, 0), (9, 0)]).buffer(0.25, quad_segs=64), 0.5, None),
    ("neck between two discs", disc(0, 0, 5).union(disc(9.98, 0, 5)), 2 * math.sqrt(25 - 4.99**2), (4.99, 0)),
    ("dumb-bell", disc(0, 0, 5).union(disc(12, 0, 5)).union(box(0, -0.3, 12, 0.3)), 0.6, (6, 0)),
    ("ring", disc(0, 0, 10).difference(disc(0, 0, 9.4)), 0.6, None),
    ("ring off centre", disc(0, 0, 10).difference(disc(0.3, 0, 9.0)), 0.7, (9.65, 0)),
    ("L", box(0, 0, 10, 0.5).union(box(0, 0, 0.5, 10)), 0.5, None),
    ("T of two strokes", box(0, 0, 10, 0.5).union(box(5, 0, 5.4, 10)), 0.4, (5.2, 5.2)),
    ("ramp", Polygon([(0, -0.15), (20, -0.8), (20, 0.8), (0, 0.15)]), 0.3, (0, 0)),
    ("steep ramp", wedge(30, cut=0.2), 0.2, None),
    (
        "hourglass",
        Polygon([(-9, -2), (0, -0.15), (9, -2), (9, 2), (0, 0.15), (-9, 2)]),
        0.3,
        None,
    ),
    ("stub on a block", box(0, 0, 10, 5).union(box(5, -2, 5.5, 0)), 0.5, None),
    ("tip of 34 degrees", wedge(34), 0.0, (0, 0)),
    ("tip of 20 degrees", wedge(20), 0.0, (0, 0)),
]

NONE = [
    ("block", box(0, 0, 10, 10)),
    ("strip at the limit", box(0, 0, 10, LIMIT)),
    ("tip of 36 degrees", wedge(36)),
    ("tip of 40 degrees", wedge(40)),
    ("tip of 60 degrees", wedge(60)),
    ("star of 36 degrees", star(36, 10)),
    ("small star of 36 degrees", star(36, 2.5)),
    ("low bump on a block", box(0, 0, 10, 5).union(box(5, -0.1, 5.5, 0))),
    ("nothing", MultiPolygon()),
]


@pytest.mark.parametrize(("shape", "width", "at"), [case[1:] for case in ONE], ids=[case[0] for case in ONE])
def test_one_place_with_its_width(shape, width, at):
    (place,) = narrow_places(shape, LIMIT)
    assert place.width_mm == pytest.approx(width, abs=0.01)
    assert at is None or place.at == pytest.approx(at, abs=0.05)
    (a, b) = place.walls
    assert math.dist(a, b) <= place.width_mm + 0.002


@pytest.mark.parametrize(("shape", "width", "at"), [case[1:] for case in ONE], ids=[case[0] for case in ONE])
def test_an_opening_of_that_form_is_found_as_the_material_was(shape, width, at):
    left, top, right, bottom = shape.bounds
    block = box(left - 5, top - 5, right + 5, bottom + 5).difference(shape)
    (place,) = narrow_places(block, LIMIT, openings=True)
    assert place.width_mm == pytest.approx(width, abs=0.01)
    assert at is None or place.at == pytest.approx(at, abs=0.05)


@pytest.mark.parametrize("shape", [case[1] for case in NONE], ids=[case[0] for case in NONE])
def test_corners_and_broad_shapes_are_no_thin_places(shape):
    assert narrow_places(shape, LIMIT) == ()


def test_every_sharp_tip_of_a_star_is_a_place_of_its_own():
    places = narrow_places(star(20, 10), LIMIT)
    angles = sorted(round(math.degrees(math.atan2(p.at[1], p.at[0])) % 360) % 360 for p in places)
    assert angles == [0, 72, 144, 216, 288]
    assert all(p.width_mm < 0.001 and math.hypot(*p.at) == pytest.approx(10, abs=0.001) for p in places)


def test_extent_of_a_waist():
    shape = Polygon([(-9, -2), (3, -0.2), (7, -0.2), (19, -2), (19, 2), (7, 0.2), (3, 0.2), (-9, 2)])
    (place,) = narrow_places(shape, LIMIT)
    assert place.length_mm == pytest.approx(4 + 2 * 0.2 / 0.15, abs=0.15)  # the waist, and ramps of 0.15 until 0.8 wide
    xs = [x for x, _ in place.centres]
    assert min(xs) == pytest.approx(3 - 0.2 / 0.15, abs=0.15)
    assert max(xs) == pytest.approx(7 + 0.2 / 0.15, abs=0.15)


def test_gap_between_pieces_and_the_window():
    pieces = MultiPolygon([box(0, 0, 10, 5), box(10.2, 0, 20, 5), box(0, 5.3, 20, 9)])
    gaps = narrow_places(pieces, 0.5, openings=True)
    (gap,) = gaps  # the two slots meet
    assert gap.width_mm == pytest.approx(0.2, abs=1e-3)
    assert narrow_places(pieces, 0.5, openings=True, window=box(0, 6, 20, 9)) == ()
    assert narrow_places(pieces, 0.15, openings=True) == ()


@given(st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_random_discs_against_erosion_by_another_library(seed):
    """Cut at every place found, a shape has no part left that an erosion by half the limit would still part."""
    random = np.random.default_rng(seed)
    spots = random.uniform(0, 12, (12, 2))
    shape = shapely.union_all([disc(x, y, r) for (x, y), r in zip(spots, random.uniform(1, 2.2, 12), strict=True)])
    places = narrow_places(shape, LIMIT)
    ties = [shapely.LineString(p.walls) for p in places]
    for place, tie in zip(places, ties, strict=True):
        assert tie.length == pytest.approx(place.width_mm, abs=0.03)
        assert shape.buffer(1e-6).contains(tie)
        assert 2 * shape.boundary.distance(Spot(place.at)) == pytest.approx(place.width_mm, abs=0.01)
    apart = shapely.get_parts(shape.difference(shapely.union_all([tie.buffer(1e-5) for tie in ties])))
    cores = shapely.get_parts(shape.buffer(-(LIMIT / 2 - 0.005), quad_segs=64))
    for core in (c for c in cores if c.area > 1e-3):
        others = [c for c in cores if c is not core and c.area > 1e-3]
        home = next(a for a in apart if a.intersects(core))
        assert not any(home.intersects(c) for c in others)


@pytest.mark.parametrize("text", ["B", "R", "S", "a", "e", "g", "&", "8"])
def test_letters_against_a_distance_transform(text, letters):
    """At capitals of 4 mm, sampled at 0.01 mm: twice the least ridge of the distance inside the letter."""
    shape = to_multipolygon(letters(text, 4.0))
    step = 0.01
    left, top, right, bottom = shape.bounds
    x, y = np.meshgrid(np.arange(left - 0.1, right + 0.1, step), np.arange(top - 0.1, bottom + 0.1, step))
    distance = distance_transform_edt(shapely.contains_xy(shape, x, y)) * step
    places = narrow_places(shape, 2.0)
    assert places
    for place in places:
        i, j = round((place.at[1] - y[0, 0]) / step), round((place.at[0] - x[0, 0]) / step)
        ridge = distance[i - 3 : i + 4, j - 3 : j + 4].max()
        assert 2 * ridge == pytest.approx(place.width_mm, abs=0.045)  # two pixels either way, and rounding of the place
    # Nothing narrower: an erosion by a little less than half the narrowest keeps every letter in one piece.
    least = min(p.width_mm for p in places)
    assert len(shapely.get_parts(shape.buffer(-(least / 2 - 0.01)))) == len(shapely.get_parts(shape))


@pytest.mark.parametrize("step", [0.3, 0.02, 0.001])
def test_how_densely_an_outline_is_drawn_does_not_matter(step):
    bell = shapely.segmentize(disc(0, 0, 2).union(disc(6, 0, 2)).union(box(0, -0.3, 6, 0.3)), step)
    (place,) = narrow_places(bell, LIMIT)
    assert place.width_mm == pytest.approx(0.6, abs=0.002)
    assert place.at == pytest.approx((3, 0), abs=0.05)
    assert place.length_mm == pytest.approx(6 - 2 * math.sqrt(4 - 0.09), abs=0.15)


def test_size_and_place_do_not_matter(letters):
    shape = to_multipolygon(letters("&", 10.0))
    small = narrow_places(shape, 1.2)
    large = narrow_places(shapely.affinity.affine_transform(shape, [0, -3, 3, 0, 70, -20]), 3.6)
    assert len(small) == len(large) > 0
    assert sorted(3 * p.width_mm for p in small) == pytest.approx(sorted(p.width_mm for p in large), abs=0.02)


def test_areas_with_curves_are_taken_too(letters):
    assert narrow_places(letters("I", 4.0), 5.0)[0].width_mm == pytest.approx(
        np.ptp(shapely.get_coordinates(to_multipolygon(letters("I", 4.0)))[:, 0]), abs=1e-3
    )
    assert narrow_places(Area(), 1.0) == ()


def test_a_strip_is_measured_through_the_material_not_across_a_slot_beside_it():
    """A wide bar bent to a slot of 0.5 mm: looked for with a limit wider than the bar, only the bar is found."""
    bent = shapely.box(0, 0, 10, 6.5).difference(shapely.box(3, 3, 10, 3.5))
    widths = [place.width_mm for place in narrow_places(bent, 4.0)]
    assert min(widths) == pytest.approx(3.0, abs=0.01)
