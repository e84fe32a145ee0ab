"""Growth and laps against closed formulas, a second geometry library and the rules they follow."""

import itertools
import math

import numpy as np
import pyclipper
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Recipe, Seal, Strip
from maskgen.model.finding import Code
from maskgen.model.job import Hole, Part, Resist, Shape
from maskgen.model.paths import node_count
from maskgen.plan.masks import grow_masks

CREEP = Resist().creep_mm
seeds = st.integers(0, 10_000)


def star(x, y, radius, points=5, waist=0.4):
    angles = np.pi * np.arange(2 * points) / points - np.pi / 2
    reach = np.where(np.arange(2 * points) % 2, radius * waist, radius)
    return shapely.Polygon(np.column_stack([x + reach * np.cos(angles), y + reach * np.sin(angles)]))


def in_ground(hand, shape, *, strips, resist=None):
    face = shapely.box(0, 0, 40, 30)
    partition = hand.partition(40, 30, [shape, face.difference(shape)])
    plan = hand.plan([["r1"], ["r2"]], strips=strips)
    masks, findings = grow_masks(partition, plan, part=hand.plate(40, 30), resist=resist or Resist())
    return to_multipolygon(masks[0].area), masks[0], findings


@given(seed=seeds, strips=st.integers(1, 4))
@settings(max_examples=15, deadline=None)
def test_a_convex_region_grows_by_steiners_formula(hand, seed, strips):
    # Steiner: the area within r of a convex set is A + P r + pi r^2 (its perimeter P + 2 pi r).
    points = np.random.default_rng(seed).uniform((8, 8), (32, 22), (9, 2))
    hull = shapely.MultiPoint(points).convex_hull
    r = CREEP * strips
    vinyl, _, _ = in_ground(hand, hull, strips=strips)
    assert vinyl.area == pytest.approx(hull.area + hull.length * r + math.pi * r * r, rel=1e-3)
    assert vinyl.length == pytest.approx(hull.length + 2 * math.pi * r, rel=1e-3)


@pytest.mark.parametrize("strips", [1, 4])
@pytest.mark.parametrize(
    "shape",
    [
        star(20, 15, 8),
        star(20, 15, 4, points=4, waist=0.3),
        shapely.Point(20, 15).buffer(6, 64).difference(shapely.Point(22, 14).buffer(3, 64)),
        shapely.box(8, 8, 12, 22).union(shapely.box(8, 8, 24, 11)).union(shapely.box(8, 14, 20, 16)),  # an F
    ],
    ids=["star", "thin star", "ring", "letter"],
)
def test_growth_agrees_with_another_geometry_library(hand, shape, strips):
    scale = 1e5
    offset = pyclipper.PyclipperOffset(arc_tolerance=0.0002 * scale)
    for ring in (shape.exterior, *shape.interiors):
        offset.AddPath(
            np.rint(np.asarray(ring.coords)[:-1] * scale).astype(int).tolist(),
            pyclipper.JT_ROUND,
            pyclipper.ET_CLOSEDPOLYGON,
        )
    rings = [shapely.Polygon(np.array(path) / scale) for path in offset.Execute(CREEP * strips * scale)]
    expected = max(rings, key=lambda r: r.area)
    for ring in rings:
        expected = expected if ring is expected or ring.equals(expected) else expected.difference(ring)
    vinyl, mask, _ = in_ground(hand, shape, strips=strips)
    assert vinyl.area == pytest.approx(expected.area, rel=1e-3)
    assert shapely.hausdorff_distance(vinyl.boundary, expected.boundary, densify=0.05) < 0.01
    assert node_count(mask.area) < 60


def test_a_grown_disc_is_round_with_few_nodes(hand):
    vinyl, mask, _ = in_ground(hand, hand.disc(20, 15, 7), strips=3)
    away = np.hypot(*(shapely.get_coordinates(vinyl) - (20, 15)).T)
    assert np.abs(away - 7.3).max() < 0.01
    assert node_count(mask.area) <= 8


@given(seed=seeds, count=st.integers(2, 7))
@settings(max_examples=15, deadline=None)
def test_without_growth_and_lap_the_masks_are_the_regions(hand, seed, count):
    cells = hand.voronoi(30, 20, count, seed)
    plan = hand.plan([[f"r{k}"] for k in range(1, count + 1)])
    resist = Resist(creep_mm=0.0, lap_mm=0.0, overhang_mm=0.0)
    masks, findings = grow_masks(hand.partition(30, 20, cells), plan, part=hand.plate(30, 20), resist=resist)
    assert findings == ()
    for mask, cell in zip(masks, cells, strict=False):
        assert to_multipolygon(mask.area).symmetric_difference(cell).area < 0.005 * cell.length


@given(seed=seeds, count=st.integers(3, 8))
@settings(max_examples=15, deadline=None)
def test_every_region_ends_under_its_mask_or_open(hand, seed, count):
    cells = hand.voronoi(40, 30, count, seed)
    keys = [f"r{k}" for k in range(1, count + 1)]
    groups = [keys[:1], keys[1:3], keys[3:5], keys[5:]]
    groups = [group for group in groups if group]
    masks, _ = grow_masks(hand.partition(40, 30, cells), hand.plan(groups), part=hand.plate(40, 30), resist=Resist())
    vinyl = hand.vinyl(masks)
    lying = shapely.Polygon()
    for group, own in zip(groups, vinyl, strict=False):
        region = shapely.union_all([cells[keys.index(key)] for key in group])
        bare = region.difference(shapely.union_all([lying, own]).buffer(0.006))
        assert bare.area < 1e-6, "a mask covers its region but for what lies under earlier vinyl"
        lying = lying.union(own)
    most = CREEP * (len(groups) - 1)
    for key in groups[-1]:
        core = cells[keys.index(key)].buffer(-most - 0.01)
        assert core.intersection(lying).area < 1e-6, "what is never masked stays open but for growth"


def test_each_neighbour_gets_the_growth_of_its_own_exposures(hand):
    # r1 in the middle is masked first; r2, to its right, after one strip; r3, to its left, never.
    left, middle, right = hand.stripes([0, 10, 20, 30], 20)
    partition = hand.partition(30, 20, [middle, right, left])
    plan = hand.plan([["r1"], ["r2"], ["r3"]])
    masks, _ = grow_masks(partition, plan, part=hand.plate(30, 20), resist=Resist(overhang_mm=0))
    first, second = hand.vinyl(masks)
    assert first.bounds == pytest.approx((10 - 2 * CREEP, 0, 20 + CREEP, 20), abs=0.005)
    # The second lies against the first: it laps half a millimetre onto it, measured from its vinyl's edge.
    assert second.bounds == pytest.approx((20 + CREEP - 0.5, 0, 30, 20), abs=0.005)


def test_masks_of_one_run_do_not_grow_towards_each_other(hand):
    cells = hand.stripes([0, 10, 20, 30], 20)
    recipes = {"r1": Recipe.of({"lemon": 1}), "r2": Recipe.of({"lemon": 2}), "r3": Recipe.of({"blue": 1})}
    steps = [
        DyeBath("lemon", 1),
        ApplyMask("M1", ("r1",)),
        DyeBath("lemon", 1),
        ApplyMask("M2", ("r2",)),
        Strip(),
        DyeBath("blue", 1),
        Seal(),
    ]
    masks, _ = grow_masks(
        hand.partition(30, 20, cells),
        hand.plan_of(recipes, steps),
        part=hand.plate(30, 20),
        resist=Resist(overhang_mm=0),
    )
    first, second = hand.vinyl(masks)
    assert first.bounds[2] == pytest.approx(10, abs=0.005)
    assert (second.bounds[0], second.bounds[2]) == pytest.approx((9.5, 20 + CREEP), abs=0.005)


def test_growth_does_not_jump_over_a_thin_neighbour(hand):
    # A hair of r2 between r1 and r3: r1 grows two strips deep where it meets r3, but here r2 lies between, and towards
    # that one strip counts.
    one, two, three = hand.stripes([0, 10, 10.15, 30], 20)
    plan = hand.plan([["r1"], ["r2"], ["r3"]])
    masks, _ = grow_masks(
        hand.partition(30, 20, [one, two, three]), plan, part=hand.plate(30, 20), resist=Resist(min_gap_mm=0.0)
    )
    first = hand.vinyl(masks)[0]
    assert first.bounds[2] == pytest.approx(10 + CREEP, abs=0.005)
    assert len(first.geoms) == 1


def test_a_lap_goes_no_further_than_half_way_to_the_open(hand):
    # The first mask is only 0.6 mm wide: the second, at its left, stops in the middle of it.
    cells = hand.stripes([0, 10, 10.4, 20], 15)
    plan = hand.plan([["r2"], ["r1"], ["r3"]])
    masks, _ = grow_masks(hand.partition(20, 15, cells), plan, part=hand.plate(20, 15), resist=Resist())
    first, second = hand.vinyl(masks)
    left, _, right, _ = first.bounds
    assert (left, right) == pytest.approx((10 - CREEP, 10.4 + 2 * CREEP), abs=0.005)
    assert second.bounds[2] == pytest.approx((left + right) / 2, abs=0.02)


def test_a_lap_ends_with_the_edge_it_covers(hand):
    # Three regions meet: where the second mask comes out over the third region it does not follow the first one's edge.
    one, two = shapely.box(0, 0, 10, 20), shapely.box(10, 0, 20, 10)
    partition = hand.partition(20, 20, [one, two, shapely.box(10, 10, 20, 20)])
    masks, _ = grow_masks(partition, hand.plan([["r1"], ["r2"], ["r3"]]), part=hand.plate(20, 20), resist=Resist())
    second = hand.vinyl(masks)[1]
    assert second.bounds[3] == pytest.approx(10 + CREEP, abs=0.01)
    assert node_count(masks[1].area) <= 6


def test_a_mask_is_not_lapped_onto_one_that_comes_off_before_it(hand):
    cells = hand.stripes([0, 10, 20, 30], 20)
    recipes = {"r1": Recipe.of({"a": 1, "c": 1}), "r2": Recipe.of({"b": 1}), "r3": Recipe.of({"c": 1})}
    steps = [
        DyeBath("a", 1),
        ApplyMask("M1", ("r1",)),
        Strip(),
        DyeBath("b", 1),
        ApplyMask("M2", ("r2",)),
        Strip(),
        Lift(("M1",)),
        DyeBath("c", 1),
        Seal(),
    ]
    partition, part = hand.partition(30, 20, cells), hand.plate(30, 20)
    lifted, _ = grow_masks(partition, hand.plan_of(recipes, steps), part=part, resist=Resist())
    kept, _ = grow_masks(partition, hand.plan_of(recipes, steps[:6] + steps[7:]), part=part, resist=Resist())
    assert shapely.intersection(*hand.vinyl(lifted)).area < 0.1
    assert shapely.intersection(*hand.vinyl(kept)).area == pytest.approx(0.5 * 22, rel=0.01)


def test_vinyl_at_the_edge_of_a_plate_runs_past_it(hand):
    cells = hand.stripes([0, 12, 30], 20)
    masks, _ = grow_masks(
        hand.partition(30, 20, cells),
        hand.plan([["r1"], ["r2"]]),
        part=hand.plate(30, 20),
        resist=Resist(overhang_mm=1.5),
    )
    assert hand.vinyl(masks)[0].bounds == pytest.approx((-1.5, -1.5, 12 + CREEP, 21.5), abs=0.005)


def test_vinyl_at_the_rim_of_a_disc_runs_past_it(hand):
    disc = hand.disc(16, 16, 16)
    half = shapely.box(0, 0, 16, 32)
    partition = hand.partition(32, 32, [disc.intersection(half), disc.difference(half)])
    part = Part(Shape.DISC, diameter_mm=32.0)
    masks, _ = grow_masks(partition, hand.plan([["r1"], ["r2"]]), part=part, resist=Resist())
    away = np.hypot(*(shapely.get_coordinates(hand.vinyl(masks)[0]) - 16).T)
    assert away.max() == pytest.approx(17, abs=0.01)
    expected = disc.intersection(half).union(shapely.box(16, 0, 16.1, 32)).area + math.pi * (17**2 - 16**2) / 2
    assert hand.vinyl(masks)[0].area == pytest.approx(expected, rel=2e-3)


def tube_of(round_mm):
    return Part(Shape.TUBE, diameter_mm=round_mm / math.pi, length_mm=20.0)


def test_a_mask_round_a_tube_closes_over_the_seam(hand):
    face, star_shape = shapely.box(0, 0, 60, 20), star(20, 10, 5)
    partition = hand.partition(60, 20, [face.difference(star_shape), star_shape])
    masks, _ = grow_masks(partition, hand.plan([["r1"], ["r2"]]), part=tube_of(60.0), resist=Resist())
    assert hand.vinyl(masks)[0].bounds == pytest.approx((0, -1, 60.5, 21), abs=0.005)


def test_a_piece_over_the_seam_of_a_tube_stays_whole(hand):
    face, over = shapely.box(0, 0, 60, 20), star(60, 10, 5)
    star_shape = shapely.union_all([over, shapely.affinity.translate(over, -60)]).intersection(face)
    partition = hand.partition(60, 20, [star_shape, face.difference(star_shape)])
    masks, _ = grow_masks(partition, hand.plan([["r1"], ["r2"]]), part=tube_of(60.0), resist=Resist())
    vinyl = hand.vinyl(masks)[0]
    assert len(vinyl.geoms) == 1
    assert vinyl.symmetric_difference(over.buffer(CREEP, quad_segs=16)).area < 0.01 * over.length


def test_growth_goes_on_over_the_seam(hand):
    # r1 ends exactly at the seam: its growth lies on the other side, in one piece with it.
    cells = hand.stripes([0, 40, 60], 20)
    masks, _ = grow_masks(
        hand.partition(60, 20, [cells[1], cells[0]]), hand.plan([["r1"], ["r2"]]), part=tube_of(60.0), resist=Resist()
    )
    vinyl = hand.vinyl(masks)[0]
    assert len(vinyl.geoms) == 1
    assert vinyl.bounds == pytest.approx((40 - CREEP, -1, 60 + CREEP, 21), abs=0.005)


def test_holes_stay_free_of_vinyl(hand):
    cells = hand.stripes([0, 15, 30], 20)
    holes = (Hole((5.0, 5.0), 3.2), Hole((15.0, 10.0), 4.0))  # the second on the boundary: no cut across it
    masks, _ = grow_masks(
        hand.partition(30, 20, cells),
        hand.plan([["r1"], ["r2"]]),
        part=hand.plate(30, 20),
        resist=Resist(),
        holes=holes,
    )
    vinyl = hand.vinyl(masks)[0]
    for hole in holes:
        disc = shapely.Point(hole.at_mm).buffer(hole.diameter_mm / 2, quad_segs=64)
        assert vinyl.intersection(disc).area == 0.0
        assert vinyl.boundary.intersection(disc).length == 0.0
        assert vinyl.distance(disc) < 0.05


def test_a_hole_leaves_no_splinters_of_growth(hand):
    # The hole takes the whole of a small disc but its growth, which alone is of no use.
    disc, face = hand.disc(15, 10, 2), shapely.box(0, 0, 30, 20)
    shapes = [
        shapely.union_all([disc, shapely.box(2, 2, 6, 6)]),
        face.difference(disc).difference(shapely.box(2, 2, 6, 6)),
    ]
    masks, _ = grow_masks(
        hand.partition(30, 20, shapes),
        hand.plan([["r1"], ["r2"]]),
        part=hand.plate(30, 20),
        resist=Resist(),
        holes=(Hole((15.0, 10.0), 4.05),),
    )
    assert len(hand.vinyl(masks)[0].geoms) == 1


def test_an_opening_narrowed_between_two_masks_is_told_with_both_widths(hand):
    # The second mask grows towards vinyl that lies 0.5 mm off already: no drawing of one mask shows that.
    cells = hand.stripes([0, 10, 10.7, 20], 15)
    partition, part = hand.partition(20, 15, cells), hand.plate(20, 15)
    plan = hand.plan([["r1"], ["r3"], ["r2"]])
    masks, findings = grow_masks(partition, plan, part=part, resist=Resist())
    (finding,) = findings
    assert (finding.code, finding.mask) == (Code.NARROW_GAP, "M2")
    assert finding.value == pytest.approx(0.7 - 2 * CREEP - CREEP, abs=0.02)
    assert finding.limit == 0.5
    assert "0.50 mm wide" in finding.message
    assert 10 < finding.at_mm[0] < 10.7
    # Told, and grown in full all the same: the edge comes out right.
    assert hand.vinyl(masks)[1].bounds[0] == pytest.approx(10.7 - CREEP, abs=0.005)
    _, none = grow_masks(partition, plan, part=part, resist=Resist(min_gap_mm=0.35))
    assert none == ()


@pytest.mark.parametrize("opening", [0.4, 0.08])
def test_growth_does_not_close_an_opening(hand, opening):
    # Three strips want 0.3 mm from either side of an opening narrower than that: a slit stays open, and that is told.
    cells = hand.stripes([0, 10, 10 + opening, 20], 15)
    partition = hand.partition(20, 15, [shapely.union_all([cells[0], cells[2]]), cells[1]])
    masks, findings = grow_masks(
        partition, hand.plan([["r1"], ["r2"]], strips=3), part=hand.plate(20, 15), resist=Resist(overhang_mm=0)
    )
    (finding,) = findings
    assert finding.value == pytest.approx(min(0.1, opening), abs=0.01)
    assert f"an opening {opening:.2f} mm wide" in finding.message
    vinyl = hand.vinyl(masks)[0]
    assert len(vinyl.geoms) == 2
    assert vinyl.geoms[0].distance(vinyl.geoms[1]) == pytest.approx(min(0.1, opening), abs=0.01)


@pytest.mark.parametrize("strips", [1, 3])
@pytest.mark.parametrize("gap", [0.08, 0.12, 0.15, 0.18, 0.21, 0.25])
def test_a_slit_stays_open_at_its_mouths(hand, gap, strips):
    # Corners grow round: in front of the slit they would meet wherever they are less than two growths apart.
    left, right = shapely.box(7, 10, 10, 14), shapely.box(10 + gap, 10, 13 + gap, 14)
    vinyl, _, findings = in_ground(hand, shapely.union_all([left, right]), strips=strips)
    assert len(vinyl.geoms) == 2
    assert not any(piece.interiors for piece in vinyl.geoms)
    assert vinyl.geoms[0].distance(vinyl.geoms[1]) == pytest.approx(min(0.1, gap), abs=0.005)
    assert [f.code for f in findings] == [Code.NARROW_GAP]
    # Nothing else is given up: elsewhere the edge is the full growth away.
    full = shapely.union_all([left, right]).buffer(CREEP * strips, quad_segs=32)
    middle = shapely.LineString([(10 + gap / 2, 9.4), (10 + gap / 2, 14.6)]).buffer(0.06)
    assert full.difference(middle).difference(vinyl.buffer(0.005)).is_empty
    assert vinyl.difference(full.buffer(0.005)).is_empty


@pytest.mark.parametrize("bar", [0.15, 0.23])
def test_bars_side_by_side_stay_bars(hand, bar):
    pitch = bar + 0.12
    bars = [shapely.box(10 + k * pitch, 10, 10 + k * pitch + bar, 16) for k in range(6)]
    vinyl, _, findings = in_ground(hand, shapely.union_all(bars), strips=1)
    assert len(vinyl.geoms) == 6
    apart = [a.distance(b) for a, b in itertools.pairwise(vinyl.geoms)]
    assert apart == pytest.approx([0.1] * 5, abs=0.005)
    assert [f.code for f in findings if f.code is Code.NARROW_GAP] == [Code.NARROW_GAP] * 5


def test_a_bar_beside_a_longer_one_and_a_turned_slit_stay_open(hand):
    short, long = shapely.box(10, 10, 12, 13), shapely.box(12.12, 8, 14, 16)
    turned = [
        shapely.affinity.rotate(shapely.box(*b), 33, origin=(25, 15)) for b in [(22, 12, 25, 17), (25.12, 12, 28, 17)]
    ]
    vinyl, _, _ = in_ground(hand, shapely.union_all([short, long, *turned]), strips=2)
    assert len(vinyl.geoms) == 4
    assert not any(piece.interiors for piece in vinyl.geoms)
    least = min(a.distance(b) for a, b in itertools.combinations(vinyl.geoms, 2))
    assert least == pytest.approx(0.1, abs=0.005)


def test_a_slit_between_corners_that_do_not_face_stays_open(hand):
    # The mouth lies askew: past it the middle bends round the nearer corner before it runs between the two.
    along, across = np.array([-0.417, 0.909]), np.array([0.743, 0.669])
    one, other = np.array([16.245, 7.079]), np.array([16.527, 7.334])
    shape = shapely.union_all(
        [
            shapely.Polygon([one, one + 4 * along, one + 4 * along - 3 * across, one - 3 * across]),
            shapely.Polygon([other, other + 4 * along, other + 4 * along + 3 * across, other + 3 * across]),
        ]
    )
    vinyl, _, _ = in_ground(hand, shape, strips=2)
    assert len(vinyl.geoms) == 2
    assert vinyl.geoms[0].distance(vinyl.geoms[1]) == pytest.approx(0.1, abs=0.01)


def test_only_the_mouth_of_a_slit_is_led_on(hand):
    # A U of 0.25 mm between its legs: growth comes up at the closed end all the same.
    shape = shapely.box(10, 10, 16, 16).difference(shapely.box(12.9, 12, 13.15, 17))
    vinyl, _, _ = in_ground(hand, shape, strips=1)
    assert len(vinyl.geoms) == 1
    assert not vinyl.geoms[0].interiors
    assert vinyl.covers(shapely.box(12.9, 12.0, 13.15, 12.05))
    mouth = vinyl.intersection(shapely.box(12.5, 15, 13.5, 17))
    assert len(mouth.geoms) == 2
    assert mouth.geoms[0].distance(mouth.geoms[1]) == pytest.approx(0.1, abs=0.005)


@pytest.mark.parametrize("strips", [1, 4])
def test_growth_from_one_side_leaves_the_mouth_open(hand, strips):
    # The second mask's block stands 0.1 mm beside the first one's grown block, both ending at the same height.
    first_block = shapely.box(8, 10, 12, 14)
    second_block = shapely.box(12 + CREEP * 2 * strips + 0.1, 10, 18, 14)
    face = shapely.box(0, 0, 40, 30)
    partition = hand.partition(40, 30, [first_block, second_block, face - first_block - second_block])
    plan = hand.plan([["r1"], ["r2"], ["r3"]], strips=strips)
    masks, findings = grow_masks(partition, plan, part=hand.plate(40, 30), resist=Resist())
    first, second = hand.vinyl(masks)
    assert first.distance(second) == pytest.approx(0.1, abs=0.01)
    assert [f.mask for f in findings if f.code is Code.NARROW_GAP] == ["M2"]


def test_growth_from_one_side_does_not_close_an_opening(hand):
    cells = hand.stripes([0, 10, 11, 20], 15)
    plan = hand.plan([["r1"], ["r3"], ["r2"]], strips=4)
    masks, findings = grow_masks(
        hand.partition(20, 15, cells), plan, part=hand.plate(20, 15), resist=Resist(overhang_mm=0)
    )
    first, second = hand.vinyl(masks)
    assert first.bounds[2] == pytest.approx(10.8, abs=0.005)
    assert second.bounds[0] == pytest.approx(10.9, abs=0.01)
    assert [f.mask for f in findings] == ["M2"]


def test_a_land_that_creep_eats_through_is_an_error(hand):
    # Held back by the openings beside it, a line of 0.3 mm keeps too little for three strips.
    x = [0, 10, 10.3, 10.6, 10.9, 20]
    cells = hand.stripes(x, 15)
    partition = hand.partition(20, 15, [shapely.union_all(cells[0::2]), shapely.union_all(cells[1::2])])
    plan = hand.plan([["r1"], ["r2"]], strips=3)
    _, findings = grow_masks(partition, plan, part=hand.plate(20, 15), resist=Resist())
    overruns = [f for f in findings if f.code is Code.CREEP_OVERRUN]
    assert [f.at_mm[0] for f in overruns] == pytest.approx([10.45], abs=0.05)
    assert overruns[0].severity == "error"
    assert overruns[0].limit == pytest.approx(0.6)


@pytest.mark.parametrize(
    ("land", "overhang", "lost"),
    [
        # Creep of 0.2 mm from the part's edge and, the other side being grown by as much, up to the land's own edge.
        (0.15, 0.0, True),
        (0.19, 0.0, True),
        (0.22, 0.0, False),
        (0.3, 0.0, False),
        # Vinyl past the edge takes that much of it.
        (0.15, 0.1, False),
        (0.08, 0.1, True),
        (0.08, 0.25, False),
    ],
)
@pytest.mark.parametrize("side", ["left", "bottom"])
def test_creep_from_the_parts_edge_is_told(hand, land, overhang, lost, side):
    block = shapely.box(20, 10, 25, 15)
    strip = shapely.box(0, 10, land, 20) if side == "left" else shapely.box(10, 30 - land, 20, 30)
    shape = shapely.union_all([strip, block])
    resist = Resist(creep_mm=0.2, overhang_mm=overhang)
    _, _, findings = in_ground(hand, shape, strips=1, resist=resist)
    overruns = [f for f in findings if f.code is Code.CREEP_OVERRUN]
    assert len(overruns) == lost
    for finding in overruns:
        assert finding.severity == "error"
        assert shapely.Point(finding.at_mm).distance(strip) < 0.2


def test_a_wide_land_at_the_rim_of_a_disc_is_not_lost_without_overhang(hand):
    disc = hand.disc(16, 16, 16)
    crescent = disc.difference(hand.disc(16.15, 16, 15.99))
    ring = disc.difference(hand.disc(16, 16, 14))
    for shape, lost in ((ring, False), (crescent, True)):
        masks, findings = grow_masks(
            hand.partition(32, 32, [shape, disc.difference(shape)]),
            hand.plan([["r1"], ["r2"]]),
            part=Part(Shape.DISC, diameter_mm=32.0),
            resist=Resist(creep_mm=0.2, overhang_mm=0.0),
        )
        assert any(f.code is Code.CREEP_OVERRUN for f in findings) is lost
        assert len(masks) == 1


def test_masks_are_named_for_their_regions(hand):
    cells = hand.stripes([0, 10, 20, 30], 20)
    masks, _ = grow_masks(
        hand.partition(30, 20, cells), hand.plan([["r1", "r3"], ["r2"]]), part=hand.plate(30, 20), resist=Resist()
    )
    assert [(m.number, m.name, m.regions) for m in masks] == [("M1", "colour 1 and colour 3", ("r1", "r3"))]
