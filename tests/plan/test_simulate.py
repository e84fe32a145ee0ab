"""The simulated baths against closed forms and against a plain simulation on pixels."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.geometry.polygons import from_polygons, to_multipolygon
from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Recipe, Seal, Strip
from maskgen.model.job import Hole, Part, Resist, Shape
from maskgen.model.masks import Mask
from maskgen.plan.masks import grow_masks
from maskgen.plan.simulate import simulate

CREEP = Resist().creep_mm
spec = importlib.util.spec_from_file_location("raster_baths", Path(__file__).with_name("raster_baths.py"))
raster_baths = importlib.util.module_from_spec(spec)
spec.loader.exec_module(raster_baths)


def run(hand, partition, plan, *, part=None, cut=None, resist=None, **options):
    """Grow masks for one resist and simulate them with the usual one."""
    part = part or hand.plate(partition.width, partition.height)
    masks, _ = grow_masks(partition, plan, part=part, resist=cut or resist or Resist(), holes=options.get("holes", ()))
    return simulate(partition, plan, masks, part=part, resist=resist or Resist(), **options), masks


def disc_in_ground(hand):
    disc, face = hand.disc(15, 10, 6), shapely.box(0, 0, 30, 20)
    return hand.partition(30, 20, [disc, face.difference(disc)]), [["r1"], ["r2"]]


def stripes_that_meet(hand):
    return hand.partition(30, 20, hand.stripes([0, 8, 17, 30], 20)), [["r2"], ["r1"], ["r3"]]


def three_at_a_junction(hand):
    face = shapely.box(0, 0, 30, 20)
    one = shapely.Polygon([(0, 0), (15, 0), (15, 10), (4, 20), (0, 20)])
    two = shapely.Polygon([(15, 0), (30, 0), (30, 18), (15, 10)])
    return hand.partition(30, 20, [one, two, face.difference(one).difference(two)]), [["r1"], ["r2"], ["r3"]]


def ring_in_ring(hand):
    discs = [hand.disc(15, 10, r) for r in (3, 6, 9)]
    face = shapely.box(0, 0, 30, 20)
    rings = [discs[0], discs[1].difference(discs[0]), discs[2].difference(discs[1]), face.difference(discs[2])]
    return hand.partition(30, 20, rings), [["r2"], ["r4"], ["r1"], ["r3"]]


DRAWINGS = [disc_in_ground, stripes_that_meet, three_at_a_junction, ring_in_ring]


@pytest.mark.parametrize("strips", [1, 2, 3, 4])
@pytest.mark.parametrize("drawing", DRAWINGS)
def test_grown_masks_leave_the_edges_where_the_artwork_has_them(hand, drawing, strips):
    partition, groups = drawing(hand)
    result, _ = run(hand, partition, hand.plan(groups, strips=strips))
    assert result.edge_mean_mm < 0.02
    assert result.wrong_share < 0.001


@given(seed=st.integers(0, 10_000), count=st.integers(3, 7), strips=st.integers(1, 2))
@settings(max_examples=12, deadline=None)
def test_grown_masks_are_right_on_any_drawing(hand, seed, count, strips):
    # Cells of random points; around every corner where three meet an error of the size of the growth remains.
    cells = hand.voronoi(60, 40, count, seed)
    keys = [f"r{k}" for k in range(1, count + 1)]
    plan = hand.plan([group for group in (keys[:1], keys[1:2], keys[2:3], keys[3:]) if group], strips=strips)
    result, _ = run(hand, hand.partition(60, 40, cells), plan)
    junctions, growth = 2 * count, 3 * strips * CREEP
    assert result.wrong_mm2 < 0.002 * sum(cell.length for cell in cells) + junctions * growth**2
    assert result.edge_mean_mm < 0.02


def test_a_lifted_mask_has_kept_its_colour_to_the_edge(hand):
    # a under a mask while the rest is stripped and dyed b; the mask comes off, and both get c on top.
    partition = hand.partition(30, 20, hand.stripes([0, 10, 30], 20))
    recipes = {"r1": Recipe.of({"a": 1, "c": 2}), "r2": Recipe.of({"b": 1, "c": 2})}
    steps = [
        DyeBath("a", 1),
        ApplyMask("M1", ("r1",)),
        Strip(),
        DyeBath("b", 1),
        Lift(("M1",)),
        DyeBath("c", 2),
        Seal(),
    ]
    result, _ = run(hand, partition, hand.plan_of(recipes, steps))
    assert result.wrong_mm2 < 0.05
    assert result.edge_max_mm < 0.005


@pytest.mark.parametrize("strips", [1, 2, 3, 4])
def test_without_growth_the_error_is_creep_times_exposures(hand, strips):
    ungrown = Resist(creep_mm=0.0)
    partition = hand.partition(30, 20, hand.stripes([0, 12, 30], 20))
    result, _ = run(hand, partition, hand.plan([["r1"], ["r2"]], strips=strips), cut=ungrown)
    assert result.edge_mean_mm == pytest.approx(CREEP * strips, abs=0.002)
    assert result.edge_max_mm == pytest.approx(CREEP * strips, abs=0.002)
    assert result.wrong_mm2 == pytest.approx(CREEP * strips * 20, rel=0.01)
    partition, groups = disc_in_ground(hand)
    result, _ = run(hand, partition, hand.plan(groups, strips=strips), cut=ungrown)
    assert result.edge_mean_mm == pytest.approx(CREEP * strips, abs=0.003)
    assert result.wrong_mm2 == pytest.approx(np.pi * (36 - (6 - CREEP * strips) ** 2), rel=0.01)


def test_each_region_is_told_its_own_error(hand):
    # Three stripes, masked from left to right, not grown: two strips eat at the first's edge unless the second covers.
    partition = hand.partition(30, 20, hand.stripes([0, 10, 20, 30], 20))
    result, _ = run(hand, partition, hand.plan([["r1"], ["r2"], ["r3"]]), cut=Resist(creep_mm=0.0))
    wrong = {error.key: error.wrong_mm2 for error in result.regions}
    assert wrong == pytest.approx({"r1": 2.0, "r2": 2.0, "r3": 0.0}, abs=0.05)
    assert result.wrong_mm2 == pytest.approx(4.0, abs=0.05)


def test_a_later_mask_closes_the_channel(hand):
    # r1's edge towards r2 sees one strip, though two more follow under the second mask's lap.
    partition = hand.partition(30, 20, hand.stripes([0, 10, 20, 30], 20))
    steps_after = [Strip(), Strip(), DyeBath("c", 1), Seal()]
    recipes = {"r1": Recipe.of({"a": 1}), "r2": Recipe.of({"b": 1}), "r3": Recipe.of({"c": 1})}
    steps = [
        DyeBath("a", 1),
        ApplyMask("M1", ("r1",)),
        Strip(),
        DyeBath("b", 1),
        ApplyMask("M2", ("r2",)),
        *steps_after,
    ]
    result, masks = run(hand, partition, hand.plan_of(recipes, steps))
    assert hand.vinyl(masks)[0].bounds[2] == pytest.approx(10 + CREEP, abs=0.005)
    assert result.edge_max_mm < 0.01


def test_dye_follows_the_bleach_under_the_edge(hand):
    # One colour only, masked before the strip, the rest left bare: what creep bleached stays bare. With a second dye
    # after the strip the channel takes that dye.
    partition = hand.partition(30, 20, hand.stripes([0, 10, 30], 20))
    recipes = {"r1": Recipe.of({"a": 1}), "r2": Recipe()}
    steps = [DyeBath("a", 1), ApplyMask("M1", ("r1",)), Strip(), Seal()]
    bare, _ = run(hand, partition, hand.plan_of(recipes, steps), cut=Resist(creep_mm=0))
    dyed, _ = run(hand, partition, hand.plan([["r1"], ["r2"]]), cut=Resist(creep_mm=0))
    for result in (bare, dyed):
        shapes = {region.key: to_multipolygon(region.area) for region in result.predicted.regions}
        assert shapes["r2"].bounds[0] == pytest.approx(10 - CREEP, abs=0.003)
        assert set(shapes) == {"r1", "r2"}


def test_without_a_lap_a_displaced_mask_shows_a_seam_and_with_one_it_does_not(hand):
    partition, groups = stripes_that_meet(hand)
    plan = hand.plan(groups)
    aside = [(0.0, 0.0), (-0.3, 0.0)]  # the second mask 0.3 mm away from the first

    def strays(lap_mm):
        result, _ = run(hand, partition, plan, resist=Resist(lap_mm=lap_mm), displacements=aside)
        third = next(r for r in result.predicted.regions if r.key == "r3")
        return to_multipolygon(third.area).intersection(shapely.box(0, 0, 10, 20)).area

    assert strays(0.5) < 0.01
    assert strays(0.35) < 0.01
    # A gap of 0.3 mm, all along, and creep on either side of it.
    assert strays(0.0) > 0.3 * 20


@pytest.mark.parametrize("drawing", DRAWINGS)
def test_the_predicted_face_is_covered_once(hand, drawing):
    partition, groups = drawing(hand)
    result, _ = run(hand, partition, hand.plan(groups, strips=2), cut=Resist(creep_mm=0.03, lap_mm=0.0))
    shapes = [to_multipolygon(region.area) for region in result.predicted.regions]
    assert sum(shape.area for shape in shapes) == pytest.approx(600.0, abs=1e-3)
    assert shapely.union_all(shapes).area == pytest.approx(600.0, abs=1e-3)
    assert all(shape.is_valid for shape in shapes)


def test_a_recipe_of_no_region_is_drawn_and_named(hand):
    # Overdyed without a strip between, the second region should be b alone: it comes out as a and b.
    partition = hand.partition(30, 20, hand.stripes([0, 10, 30], 20))
    recipes = {"r1": Recipe.of({"a": 1}), "r2": Recipe.of({"b": 2})}
    steps = [DyeBath("a", 1), ApplyMask("M1", ("r1",)), DyeBath("b", 2), Seal()]
    plan = hand.plan_of(recipes, steps)
    result, _ = run(hand, partition, plan, colour_of=lambda recipe: "#123456" if len(recipe.doses) == 2 else "#000000")
    stray = result.predicted.regions[-1]
    assert (stray.name, stray.colour) == ("a 1 min + b 2 min", "#123456")
    assert result.wrong_mm2 == pytest.approx(400, rel=1e-3)


def test_the_seam_of_a_tube_is_no_edge(hand):
    # A band round the tube and a stripe that ends at the seam: nothing creeps in from where the drawing ends.
    partition = hand.partition(60, 20, hand.stripes([0, 40, 60], 20))
    tube = Part(Shape.TUBE, diameter_mm=60 / np.pi, length_mm=20.0)
    grown, _ = run(hand, partition, hand.plan([["r1"], ["r2"]], strips=3), part=tube)
    assert grown.edge_max_mm < 0.01
    assert grown.wrong_share < 1e-4
    eaten, _ = run(hand, partition, hand.plan([["r1"], ["r2"]], strips=3), part=tube, cut=Resist(creep_mm=0))
    assert eaten.wrong_mm2 == pytest.approx(2 * 0.3 * 20, rel=0.01)  # at both ends, one of them the seam
    assert eaten.edge_mean_mm == pytest.approx(0.3, abs=0.003)


def test_nothing_in_a_hole_is_wrong(hand):
    partition = hand.partition(30, 20, hand.stripes([0, 15, 30], 20))
    holes = (Hole((7.0, 10.0), 4.0),)
    result, _ = run(hand, partition, hand.plan([["r1"], ["r2"]]), holes=holes)
    # Bleach gets under the vinyl round the hole: a ring of 0.1 mm, less the clearance of the opening.
    ring = np.pi * ((2.01 + CREEP) ** 2 - 2.0**2)
    assert result.wrong_mm2 == pytest.approx(ring, rel=0.05)


@st.composite
def odd_jobs(draw):
    """Discs of vinyl anywhere, put on, bathed, stripped and lifted in any order.

    Two edges are the same or a pixel and more apart: what a hair between them does, pixels cannot tell.
    """
    numbers = st.integers(0, 40).map(lambda n: n / 40)
    count = draw(st.integers(1, 4))
    vinyl, steps = {}, []
    for k in range(1, count + 1):
        x, y, r = draw(numbers), draw(numbers), draw(numbers)
        vinyl[f"M{k}"] = shapely.Point(5 * x, 4 * y).buffer(0.5 + 1.5 * r, quad_segs=32)
        steps += [DyeBath(f"d{k}", 1.0), ApplyMask(f"M{k}", ("r1",))]
        steps += [Strip()] * draw(st.integers(0, 2))
        if k == 3 and draw(st.booleans()):
            steps.append(Lift(("M1",)))
            steps += [Strip()] * draw(st.integers(0, 1))
    return vinyl, [*steps, DyeBath("last", 1.0), Seal()]


@given(job=odd_jobs())
@settings(max_examples=15, deadline=None)
def test_the_baths_agree_with_a_plain_simulation_on_pixels(hand, job):
    vinyl, steps = job
    pixel = 0.02
    partition = hand.partition(5, 4, [shapely.box(0, 0, 5, 4)])
    plan = hand.plan_of({"r1": Recipe.of({"last": 1.0})}, steps)
    masks = [Mask(name, name, ("r1",), from_polygons(shape)) for name, shape in vinyl.items()]
    tags = {}
    result = simulate(
        partition,
        plan,
        masks,
        part=hand.plate(5, 4),
        resist=Resist(),
        colour_of=lambda r: tags.setdefault(r, f"#{len(tags):06x}"),
    )
    x, y, history, known = raster_baths.bathe_pixels(steps, vinyl, 5, 4, pixel, CREEP, 0.6)
    found = np.full(history.shape, -1)
    recipe_of = {colour: recipe for recipe, colour in tags.items()}
    for region in result.predicted.regions:
        recipe = Recipe.of({"last": 1.0}) if region.key == "r1" else recipe_of[region.colour]
        found[shapely.contains_xy(to_multipolygon(region.area), x, y)] = (
            known.index(recipe.doses) if recipe.doses in known else len(known)
        )
    # They may differ within a pixel or so of an outline, and where two hairs of a channel meet: nowhere wider.
    differ = (found != history) & (found >= 0)
    core = differ[1:-1, 1:-1] & differ[:-2, 1:-1] & differ[2:, 1:-1] & differ[1:-1, :-2] & differ[1:-1, 2:]
    wide = core[1:-1, 1:-1] & core[:-2, 1:-1] & core[2:, 1:-1] & core[1:-1, :-2] & core[1:-1, 2:]
    assert not wide.any()
    assert differ.mean() < 0.02


def test_edges_inside_a_hole_are_no_edges(hand):
    """A hole of 4 mm over a boundary: creep moves what the boundary would be in the hole, and there is no metal."""
    partition = hand.partition(30, 20, hand.stripes([0, 15, 30], 20))
    result, _ = run(hand, partition, hand.plan([["r1"], ["r2"]]), holes=(Hole((15.0, 10.0), 4.0),))
    # Where the rim of the hole is eaten into the masked half, the boundary on the metal is off by the creep at most.
    assert result.edge_max_mm <= CREEP + 0.02
