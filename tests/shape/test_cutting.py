"""Cutting order and starts on random masks: letters, stars and rounded shapes with islands in their holes."""

import itertools
import math

import numpy as np
import pytest
import shapely

from maskgen.geometry.polygons import from_polygons, to_polygon
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Piece, affine, flatten, length_of, polygon_ring, rectangle, signed_area
from maskgen.shape.cutting import cutting_order, home_of, in_cutting_order, mirrored, other_way_round, travel_mm
from maskgen.shape.starts import start_points, started_at


def star(x, y, radius, points, turn):
    angle = turn + np.arange(2 * points) * math.pi / points
    away = np.where(np.arange(2 * points) % 2, radius * 0.45, radius)
    return shapely.Polygon(np.column_stack([x + away * np.cos(angle), y + away * np.sin(angle)]))


def shapes_at(random, x, y):
    """One of: star, rounded star with a hole and an island in it, tile, tiny star."""
    one = star(0, 0, random.uniform(3, 7), int(random.integers(3, 8)), random.uniform(0, 6))
    match random.integers(4):
        case 0:
            found = one
        case 1:
            found = one.buffer(3).difference(one.buffer(1.5)).union(one.buffer(-0.3).buffer(0.3))
        case 2:
            found = shapely.box(-random.uniform(1, 6), -random.uniform(1, 6), 5, 5).buffer(random.choice([0.0, 1.0]))
        case _:
            found = star(0, 0, 0.8, 5, random.uniform(0, 6))
    return shapely.affinity.translate(found, x, y)


def random_mask(seed, letters):
    random = np.random.default_rng(seed)
    places = [(15 + 24 * (k % 5), 15 + 24 * (k // 5)) for k in range(int(random.integers(1, 9)))]
    pieces = [p for x, y in places for p in from_polygons(shapes_at(random, x, y)).pieces]
    word = "".join(random.choice(list("ABDOPRQ8S&"), 3))
    pieces += letters(word, float(random.uniform(4, 12))).mapped(affine(shift=(5.0, 90.0))).pieces
    return CutDrawing(0.0, 0.0, 130.0, 110.0, tuple(pieces[k] for k in random.permutation(len(pieces))))


def rings_in_order(drawing):
    return [ring for piece in drawing.pieces for ring in (*piece.holes, piece.outer)]


@pytest.fixture(scope="module")
def cases(letters):
    drawings = [random_mask(seed, letters) for seed in range(200)]  # letters, stars and tiles
    return [(drawing, in_cutting_order(drawing)) for drawing in drawings]


def test_what_lies_inside_is_cut_first(cases):
    nested = 0
    for _, cut in cases:
        areas = [shapely.Polygon(flatten(ring, 0.01)) for ring in rings_in_order(cut)]
        inner, outer = shapely.STRtree(areas).query(areas, predicate="within")
        pairs = [(i, o) for i, o in zip(inner.tolist(), outer.tolist(), strict=True) if i != o]
        nested += len(pairs)
        assert all(i < o for i, o in pairs)
    assert nested > 500


def corner_distances(ring, within):
    """Way from the start to the nearest corner, and the longest smooth stretch.

    At a corner, sharp or rounded, the line turns by more than 25 degrees `within` so much to either side; where it
    turns by more than 15 degrees it is not smooth.
    """
    points = flatten(ring, 0.002)
    points = points[np.hypot(*(points - np.roll(points, 1, axis=0)).T) > 1e-9]
    ahead = np.roll(points, -1, axis=0) - points
    heading = np.arctan2(ahead[:, 1], ahead[:, 0])
    turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*ahead.T))])
    apart = np.abs(along[:-1, None] - along[None, :-1])
    near = np.minimum(apart, along[-1] - apart) <= within
    corners, bends = (along[:-1][near @ turn > math.radians(limit)] for limit in (25, 15))
    away = np.minimum(corners, along[-1] - corners).min() if len(corners) else math.inf
    return away, np.diff(np.append(bends, bends[0] + along[-1])).max() if len(bends) else math.inf


def test_no_start_at_a_corner_where_a_smooth_stretch_exists(cases):
    looked_at = 0
    for _, cut in cases:
        for ring in rings_in_order(cut):
            reach = min(1.0, length_of(ring) / 10)
            away, stretch = corner_distances(ring, 0.15 * reach)
            if stretch > 2.5 * reach:
                looked_at += 1
                assert away >= 0.95 * reach
    assert looked_at > 1000


def test_nothing_is_lost_or_moved(cases):
    for drawing, cut in cases[::5]:
        before = sorted((to_polygon(p) for p in drawing.pieces), key=lambda s: s.bounds)
        after = sorted((to_polygon(p) for p in cut.pieces), key=lambda s: s.bounds)
        assert len(before) == len(after)
        for one, other in zip(before, after, strict=True):
            assert shapely.hausdorff_distance(one.boundary, other.boundary) < 0.003  # chords fall elsewhere
        for piece in cut.pieces:
            assert signed_area(piece.outer) > 0
            assert all(signed_area(hole) < 0 for hole in piece.holes)
            for ring in piece.rings:
                assert all(a.end == b.start for a, b in itertools.pairwise((*ring.segments, ring.segments[0])))


def test_the_way_is_shorter(cases):
    plain = sum(travel_mm(drawing.pieces, home=home_of(drawing)) for drawing, _ in cases)
    cut = sum(travel_mm(drawing.pieces, home=home_of(drawing)) for _, drawing in cases)
    assert cut < 0.5 * plain  # the pieces come in random order


def test_travel_worked_out_by_hand():
    hole = polygon_ring(np.array([(3.0, 4.0), (3.0, 5.0), (4.0, 4.0)]))
    piece = Piece(rectangle(3.0, 0.0, 9.0, 9.0).outer, (hole,))
    # home 0, 0 to the hole's start: 5; on to the outline's start 3, 0: 4; on to 3, 20: 20
    assert travel_mm([piece, rectangle(3, 20, 4, 21)], home=(0.0, 0.0)) == pytest.approx(29.0)
    assert travel_mm([], home=(0.0, 0.0)) == 0.0


def test_order_of_input_does_not_matter_much_and_same_input_gives_the_same(letters):
    drawing = random_mask(7, letters)
    assert in_cutting_order(drawing) == in_cutting_order(drawing)
    turned = CutDrawing(0, 0, 130, 110, drawing.pieces[::-1])
    lengths = [travel_mm(in_cutting_order(d).pieces, home=home_of(d)) for d in (drawing, turned)]
    assert max(lengths) < 1.2 * min(lengths)


def test_the_other_way_round_still_cuts_inside_first(cases):
    for _, cut in cases[::10]:
        back = other_way_round(cut.pieces)
        assert {id(p) for p in back} == {id(p) for p in cut.pieces}
        shapes = [shapely.Polygon(flatten(p.outer, 0.01)) for p in back]
        inner, outer = shapely.STRtree(shapes).query(shapes, predicate="within")
        assert np.all(inner <= outer)


def test_rectangles_are_begun_on_their_sides():
    (piece,) = cutting_order([rectangle(0, 0, 9, 6)], home=(0.0, 6.0))
    x, y = piece.outer.segments[0].start
    assert (x in (0, 9)) != (y in (0, 6))
    assert min(math.dist((x, y), corner) for corner in itertools.product((0, 9), (0, 6))) >= 0.9


def test_every_start_offered_lies_on_the_ring():
    ring = from_polygons(star(0, 0, 9, 5, 0.3).buffer(1)).pieces[0].outer
    line = shapely.LinearRing(flatten(ring, 1e-4))
    starts = start_points(ring)
    assert 1 <= len(starts) <= 12
    for start in starts:
        assert line.distance(shapely.Point(start.point)) < 1e-4
        assert started_at(ring, start).segments[0].start == start.point
        assert signed_area(started_at(ring, start)) == pytest.approx(signed_area(ring))


def test_no_pieces_no_order():
    assert cutting_order([], home=(0.0, 0.0)) == ()


def test_mirrored_shows_the_other_side(letters):
    drawing = CutDrawing(-1.0, 0.0, 40.0, 12.0, letters("RB", 10.0).pieces)
    back = mirrored(drawing)
    for piece, other in zip(drawing.pieces, back.pieces, strict=True):
        flipped = shapely.affinity.scale(to_polygon(piece), -1, 1, origin=(19.0, 0.0))  # the window's middle
        assert to_polygon(other).symmetric_difference(flipped).area < 1e-9
        assert signed_area(other.outer) > 0
    assert mirrored(back).pieces[0].outer.segments[0].start == pytest.approx(drawing.pieces[0].outer.segments[0].start)
