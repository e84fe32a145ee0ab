import math
from itertools import combinations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.errors import InputError
from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.finding import Code, Severity
from maskgen.model.job import Hole, Part, Shape
from maskgen.model.paths import (
    Area,
    Cubic,
    Partition,
    Piece,
    Region,
    affine,
    area_of,
    flatten,
    node_count,
    rectangle,
    signed_area,
)
from maskgen.shape.face import place_artwork

PLATE = Part(Shape.PLATE, width_mm=60.0, height_mm=30.0)
TUBE = Part(Shape.TUBE, diameter_mm=25.0, length_mm=80.0)
DISC = Part(Shape.DISC, diameter_mm=32.0)


def face_area(part):
    width, height = part.face_mm
    return math.pi * width**2 / 4 if part.shape is Shape.DISC else width * height


def assert_covers_once(partition, area):
    """Areas by Green's theorem on the curves; overlaps by another geometry library on polygons."""
    assert sum(area_of(r.area) for r in partition.regions) == pytest.approx(area, rel=1e-6)
    shapes = [to_multipolygon(r.area, tolerance=1e-5) for r in partition.regions]
    for a, b in combinations(shapes, 2):
        assert a.intersection(b).area < 1e-6 * area
    for region, shape in zip(partition.regions, shapes, strict=True):
        assert shape.area == pytest.approx(area_of(region.area), abs=2e-5 * area)
        for piece in region.area.pieces:
            assert signed_area(piece.outer) > 0
            assert all(signed_area(hole) < 0 for hole in piece.holes)


def undirected(area):
    return {frozenset([s, s.reversed()]) for ring in area.rings for s in ring.segments}


def test_a_word_on_a_plate_keeps_every_curve(letters, on_canvas):
    word = letters("gB8&", 100.0)
    artwork = on_canvas(word.mapped(affine(1.0, (20.0, 10.0))), 300.0, 150.0)
    placed = place_artwork(artwork, part=PLATE, width_mm=40.0)
    ink, ground = placed.partition.regions
    assert (ink.key, ground.key, placed.scale, placed.at_mm) == ("c1", "ground", 40.0 / 300.0, (10.0, 5.0))
    expected = word.mapped(affine(1.0, (20.0, 10.0))).mapped(affine(placed.scale, placed.at_mm))
    assert undirected(ink.area) == undirected(expected)
    assert undirected(ink.area) < undirected(ground.area)
    assert node_count(ground.area) == node_count(ink.area) + 4  # the canvas left no trace
    assert_covers_once(placed.partition, 1800.0)
    assert placed.findings == ()


def test_artwork_over_the_edge_is_split_there_and_shared(letters, on_canvas):
    artwork = on_canvas(letters("S8O", 100.0), 160.0, 110.0, rest="paper")
    placed = place_artwork(artwork, part=PLATE, width_mm=60.0, at_mm=(-6.0, -9.0))
    assert_covers_once(placed.partition, 1800.0)
    ink, paper, ground = placed.partition.regions
    assert [ink.key, paper.key, ground.key] == ["c1", "c2", "ground"]
    at_edge = [p for s in undirected(ink.area) for p in (min(s, key=str).start, min(s, key=str).end)]
    cut = {p for p in at_edge if p[0] == 0.0 or p[1] == 0.0}
    assert len(cut) >= 4
    assert all(x >= 0.0 and y >= 0.0 for x, y in at_edge)
    for segment in (s for ring in ink.area.rings for s in ring.segments if isinstance(s, Cubic)):
        assert flatten_min(segment) > -1e-6  # a curve that was cut does not bulge over the edge
    # The overrun is where another library finds it.
    whole = to_multipolygon(letters("S8O", 100.0).mapped(affine(placed.scale, (-6.0, -9.0))), tolerance=1e-6)
    assert area_of(ink.area) == pytest.approx(whole.intersection(shapely.box(0, 0, 60, 30)).area, rel=1e-5)
    over = [f for f in placed.findings if f.severity is Severity.ERROR]
    assert {f.code for f in over} == {Code.OFF_PART}
    # One for every stretch of the letters that is outside, and one for the paper round them.
    stretches = shapely.get_parts(whole.difference(shapely.box(0, 0, 60, 30)))
    assert sum(f.message.startswith(ink.name) for f in over) == len(stretches)
    left, top = whole.bounds[:2]
    assert max(f.value for f in over if f.message.startswith(ink.name)) == pytest.approx(
        max(math.hypot(min(x, 0), min(y, 0)) for x, y in whole_points(whole)), abs=1e-3
    )
    assert left < 0
    assert top < 0


def whole_points(shape):
    return shapely.get_coordinates(shape)


def flatten_min(segment):
    return float(min(np.min(flatten(Piece(type_ring(segment)).outer, 1e-4), axis=0)))


def type_ring(segment):
    from maskgen.model.paths import Line, Ring

    return Ring((segment, Line(segment.end, segment.start)))


def test_artwork_that_covers_the_face_leaves_no_ground(on_canvas, star):
    artwork = on_canvas(Area((Piece(star((30.0, 15.0), 10.0, 4.0)),)), 60.0, 30.0, rest="sky")
    placed = place_artwork(artwork, part=PLATE, width_mm=60.0)
    assert [r.key for r in placed.partition.regions] == ["c1", "c2"]
    assert_covers_once(placed.partition, 1800.0)


@pytest.mark.parametrize("part", [PLATE, TUBE, DISC], ids=["plate", "tube", "disc"])
@given(x=st.floats(-30, 60), y=st.floats(-20, 60), width=st.floats(3, 70))
@settings(max_examples=15, deadline=None)
def test_any_place_covers_the_face_once(part, x, y, width, letters, on_canvas):
    artwork = on_canvas(letters("e%", 50.0).mapped(affine(1.0, (5.0, 5.0))), 90.0, 70.0, rest="paper")
    try:
        placed = place_artwork(artwork, part=part, width_mm=width, at_mm=(x, y))
    except InputError:
        scale = width / 90.0  # refused: then no paper at all may lie on the face
        assert not shapely.box(x, y, x + width, y + 70.0 * scale).intersects(
            shapely.box(0, 0, *part.face_mm).buffer(-5)
        )
        return
    assert_covers_once(placed.partition, face_area(part))


@pytest.mark.parametrize("shift", [0.0, 1e-9, -1e-9, 3e-8, 1e-13])
def test_artwork_that_ends_at_the_edge_within_rounding(on_canvas, star, shift):
    artwork = on_canvas(Area((Piece(star((50.0, 50.0), 40.0, 20.0)),)), 100.0, 100.0, rest="paper")
    placed = place_artwork(artwork, part=PLATE, width_mm=30.0, at_mm=(30.0 + shift, shift))
    assert_covers_once(placed.partition, 1800.0)
    paper, ground = placed.partition.regions[1:]
    assert area_of(ground.area) == pytest.approx(900.0, abs=1e-5)
    assert all(x <= 60.0 and y >= 0.0 for s in undirected(paper.area) for x, y in (next(iter(s)).start,))


def test_ground_takes_the_colour_it_is_told(on_canvas, star):
    artwork = on_canvas(Area((Piece(star((50.0, 50.0), 40.0, 20.0)),)), 100.0, 100.0, rest="paper")
    placed = place_artwork(artwork, part=PLATE, width_mm=29.9, ground_key="c2")
    word, paper = placed.partition.regions
    assert paper.colour == "paper"
    assert area_of(word.area) + area_of(paper.area) == pytest.approx(1800.0, rel=1e-9)
    assert placed.findings == ()  # the paper touches the keepout, but it is ground


def test_a_colour_called_clear_is_a_colour_and_only_what_is_transparent_is_not():
    regions = (
        Region("r1", "clear", "#123456", Area((rectangle(0, 0, 5, 10),))),
        Region("c2", "see-through", "clear", Area((rectangle(5, 0, 10, 10),))),
    )
    placed = place_artwork(Partition(10.0, 10.0, regions), part=PLATE, width_mm=10.0)
    assert {r.key: area_of(r.area) for r in placed.partition.regions} == pytest.approx({"r1": 50.0, "ground": 1750.0})


def test_keepout_edge_and_hole_are_told_with_their_numbers():
    def at(x, y, holes=()):
        square = Partition(10.0, 10.0, (Region("c1", "square", "#123456", Area((rectangle(0, 0, 10, 10),))),))
        return place_artwork(square, part=PLATE, width_mm=10.0, at_mm=(x, y), holes=holes).findings

    assert at(1.0, 1.0) == ()
    (near,) = at(0.4, 5.0)
    assert (near.code, near.severity, near.value, near.limit) == (Code.OFF_PART, Severity.WARNING, 0.4, 1.0)
    (over,) = at(52.5, 5.0)
    assert (over.severity, over.value, over.at_mm[0]) == (Severity.ERROR, 2.5, 62.5)
    (bitten,) = at(20.0, 10.0, [Hole((25.0, 15.0), 3.2), Hole((5.0, 5.0), 3.2)])
    assert (bitten.severity, bitten.at_mm) == (Severity.WARNING, (25.0, 15.0))


def test_a_disc_measures_its_keepout_from_the_circle():
    square = Partition(10.0, 10.0, (Region("c1", "square", "#123456", Area((rectangle(0, 0, 10, 10),))),))
    side = 32.0 / math.sqrt(2.0)
    corners = place_artwork(square, part=DISC, width_mm=side).findings
    assert len({corner.at_mm for corner in corners}) == 4
    assert all(corner.severity is Severity.WARNING for corner in corners)
    assert [corner.value for corner in corners] == pytest.approx([0.0] * 4, abs=2e-3)
    assert place_artwork(square, part=DISC, width_mm=30.0 / math.sqrt(2.0)).findings == ()
    assert place_artwork(square, part=DISC, width_mm=None).scale == pytest.approx(3.0 / math.sqrt(2.0))


def test_a_tube_goes_on_over_its_seam(on_canvas, star):
    artwork = on_canvas(Area((Piece(star((50.0, 50.0), 40.0, 20.0)),)), 100.0, 100.0)
    round_mm = math.pi * 25.0
    placed = place_artwork(artwork, part=TUBE, width_mm=30.0, at_mm=(round_mm - 12.0, 20.0))
    assert placed.findings == ()
    word = placed.partition.regions[0].area
    whole = place_artwork(artwork, part=TUBE, width_mm=30.0).partition.regions[0].area
    assert area_of(word) == pytest.approx(area_of(whole), rel=1e-9)
    shapes = [to_multipolygon(a) for a in (word, whole)]
    assert shapes[0].bounds[0] == 0.0
    assert shapes[0].bounds[2] == round_mm
    turned = shapely.union_all([shapely.affinity.translate(shapes[0], d) for d in (0.0, round_mm)]).intersection(
        shapely.box(round_mm - 12.0, 0, round_mm + 18.0, 80)
    )
    moved = shapely.affinity.translate(shapes[1], round_mm - 12.0 - (round_mm - 30.0) / 2, 20.0 - 25.0)
    assert turned.symmetric_difference(moved).area < 1e-3
    assert_covers_once(placed.partition, round_mm * 80.0)


def test_a_tube_refuses_what_meets_itself_and_warns_past_half(on_canvas, star):
    artwork = on_canvas(Area((Piece(star((50.0, 50.0), 50.0, 20.0, points=4)),)), 100.0, 100.0)
    with pytest.raises(InputError, match=r"80\.00 mm wide.*78\.54 mm round"):
        place_artwork(artwork, part=TUBE, width_mm=80.0)
    (wide,) = place_artwork(artwork, part=TUBE, width_mm=45.0).findings
    assert (wide.severity, wide.value, wide.limit) == (Severity.WARNING, 45.0, pytest.approx(39.27, abs=0.01))
    assert place_artwork(artwork, part=TUBE, width_mm=39.0).findings == ()


@pytest.mark.parametrize(
    ("part", "options"),
    [
        (PLATE, {"width_mm": 0.0}),
        (PLATE, {"width_mm": -4.0}),
        (PLATE, {"width_mm": math.inf}),
        (PLATE, {"width_mm": math.nan}),
        (PLATE, {"width_mm": 20.0, "height_mm": 0.0}),
        (PLATE, {"width_mm": 20.0, "at_mm": (70.0, 5.0)}),
        (Part(Shape.DISC, diameter_mm=-1.0), {"width_mm": 20.0}),
        (Part(Shape.DISC, diameter_mm=1.5), {"width_mm": None}),
    ],
)
def test_impossible_sizes_are_refused(part, options, on_canvas, star):
    artwork = on_canvas(Area((Piece(star((50.0, 50.0), 40.0, 20.0)),)), 100.0, 100.0)
    with pytest.raises(InputError):
        place_artwork(artwork, part=part, **options)


def test_width_and_height_are_a_box_the_artwork_fits(on_canvas, star):
    artwork = on_canvas(Area((Piece(star((50.0, 50.0), 40.0, 20.0)),)), 200.0, 100.0)
    scales = [
        place_artwork(artwork, part=PLATE, width_mm=w, height_mm=h).scale for w, h in [(40, 10), (40, 25), (None, 25)]
    ]
    assert scales == [0.1, 0.2, 0.25]
