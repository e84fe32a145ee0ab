import dataclasses
import math

import pytest
import shapely
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from shapely.geometry import Point as Spot

from maskgen.errors import InputError
from maskgen.geometry.polygons import to_multipolygon
from maskgen.geometry.segments import canonical, circle
from maskgen.model.finding import Code
from maskgen.model.job import IslandChoice, IslandRule, Resist
from maskgen.model.paths import (
    Area,
    Cubic,
    Partition,
    Piece,
    Region,
    area_of,
    polygon_ring,
    rectangle,
    signed_area,
)
from maskgen.shape.islands import find_islands, settle_islands

RESIST = Resist()
FACE = 60.0 * 30.0


def scene(*shapes, colour="gold"):
    """Lay shapes (outer rings, apart from one another) of one colour on a plate; the rest is sky."""
    pieces = tuple(Piece(ring) for ring in shapes)
    plate = rectangle(0.0, 0.0, 60.0, 30.0)
    sky = Piece(plate.outer, tuple(ring.reversed() for ring in shapes))
    return Partition(
        60.0, 30.0, (Region("r1", colour, "#e8c81e", Area(pieces)), Region("r2", "sky", "#1b3f94", Area((sky,))))
    )


def dot(x, y, diameter):
    return circle((x, y), diameter)


def block(left, top, right, bottom):
    return rectangle(left, top, right, bottom).outer


def settle(partition, rule, *choices, **limits):
    return settle_islands(partition, resist=dataclasses.replace(RESIST, islands=rule, **limits), choices=choices)


def colours(partition):
    return {r.key: to_multipolygon(r.area, tolerance=1e-5) for r in partition.regions}


def assert_exact(partition):
    assert sum(area_of(r.area) for r in partition.regions) == pytest.approx(FACE, rel=1e-9)
    walked = [s for r in partition.regions for ring in r.area.rings for s in ring.segments]
    inner = [s for s in walked if walked.count(s.reversed()) == 1]
    edge = [s for s in walked if s not in inner]
    for s in edge:  # whatever has no neighbour lies on the plate's edge
        assert {s.start[0], s.end[0]} in ({0.0}, {60.0}) or {s.start[1], s.end[1]} in ({0.0}, {30.0})


TWO = (block(10.0, 10.0, 20.0, 20.0), dot(25.0, 15.0, 1.2))


def test_what_is_an_island():
    strip = block(30.0, 5.0, 50.0, 5.6)  # 12 mm2, but nowhere 0.8 wide
    thin_at_places = polygon_ring(
        shapely.get_coordinates(shapely.box(30, 10, 50, 10.6).union(shapely.box(30, 10, 34, 14)))[:-1]
    )
    partition = scene(*TWO, strip, thin_at_places)
    assert {(i.region.key, round(i.polygon.area, 2)) for i in find_islands(partition, RESIST)} == {
        ("r1", 1.13),  # 0.6 squared times pi
        ("r1", 12.0),
    }


def test_keep_changes_nothing_and_lists_it():
    partition = scene(*TWO)
    settled = settle(partition, IslandRule.KEEP)
    assert settled.partition == partition
    (change,) = settled.changes
    assert (change.choice, change.changed_mm2, change.region) == (IslandRule.KEEP, 0.0, "r1")
    assert change.area_mm2 == pytest.approx(math.pi * 0.36, abs=0.01)
    assert math.dist(change.at_mm, (25.0, 15.0)) < 0.6


def test_drop_gives_the_area_to_the_colour_around():
    settled = settle(scene(*TWO), IslandRule.DROP)
    gold, sky = settled.partition.regions
    assert area_of(gold.area) == pytest.approx(100.0)
    assert area_of(sky.area) == pytest.approx(1700.0)
    assert len(sky.area.pieces[0].holes) == 1
    assert settled.changes[0].changed_mm2 == pytest.approx(math.pi * 0.36, abs=0.01)


def test_drop_goes_to_the_longest_common_boundary():
    """A 1 x 1 square on the seam of two colours, 0.7 of it in the left one."""
    left, right = rectangle(0, 0, 30, 30), rectangle(30, 0, 60, 30)
    a = polygon_ring(
        shapely.get_coordinates(shapely.box(0, 0, 30, 30).difference(shapely.box(29.3, 10, 30.3, 11)))[:-1]
    )
    b = polygon_ring(
        shapely.get_coordinates(shapely.box(30, 0, 60, 30).difference(shapely.box(29.3, 10, 30.3, 11)))[:-1]
    )
    middle = polygon_ring(
        shapely.get_coordinates(shapely.Polygon([(29.3, 10), (30, 10), (30.3, 10), (30.3, 11), (30, 11), (29.3, 11)]))[
            :-1
        ]
    )

    def positive(ring):
        return Piece(ring if signed_area(ring) > 0 else ring.reversed())

    partition = Partition(
        60.0,
        30.0,
        (
            Region("r1", "hill", "#111111", Area((positive(a),))),
            Region("r2", "sky", "#222222", Area((positive(b),))),
            Region("r3", "dot", "#333333", Area((positive(middle),))),
        ),
    )
    settled = settle(partition, IslandRule.DROP)
    assert {r.key: round(area_of(r.area), 6) for r in settled.partition.regions} == {"r1": 900.3, "r2": 899.7}
    assert area_of(Area((left, right))) == FACE


def test_a_dot_in_a_thin_ring_drops_through_to_what_stays():
    outer, inner = dot(30.0, 15.0, 3.0), dot(30.0, 15.0, 1.0)
    plate = rectangle(0.0, 0.0, 60.0, 30.0)
    partition = Partition(
        60.0,
        30.0,
        (
            Region("r1", "sky", "#111111", Area((Piece(plate.outer, (outer.reversed(),)),))),
            Region("r2", "rim", "#222222", Area((Piece(outer, (dot(30.0, 15.0, 2.0).reversed(),)),))),
            Region("r3", "dot", "#333333", Area((Piece(dot(30.0, 15.0, 2.0), (inner.reversed(),)), Piece(inner)))),
        ),
    )
    partition = dataclasses.replace(
        partition,
        regions=(*partition.regions[:2], Region("r3", "dot", "#333333", Area((Piece(dot(30.0, 15.0, 2.0)),)))),
    )
    settled = settle(partition, IslandRule.DROP, min_piece_mm2=4.0)
    assert [r.key for r in settled.partition.regions] == ["r1"]
    assert area_of(settled.partition.regions[0].area) == pytest.approx(FACE)
    assert {c.region for c in settled.changes} == {"r2", "r3"}


def test_grow_reaches_the_least_piece_and_land_and_no_more():
    settled = settle(scene(*TWO), IslandRule.GROW)
    gold = colours(settled.partition)["r1"]
    grown = min(gold.geoms, key=lambda p: p.area)
    assert 1.5 <= grown.area <= 1.5 * 1.03
    # A disc grows to a disc (Steiner): the same centre, radius from the area.
    assert grown.hausdorff_distance(Spot(25, 15).buffer(math.sqrt(grown.area / math.pi), quad_segs=64)) < 0.01
    assert settled.changes[0].changed_mm2 == pytest.approx(grown.area - math.pi * 0.36, abs=1e-3)
    strip = settle(scene(block(30.0, 5.0, 50.0, 5.6)), IslandRule.GROW)
    left, top, right, bottom = colours(strip.partition)["r1"].bounds
    assert bottom - top == pytest.approx(0.8, abs=0.025)
    assert right - left == pytest.approx(20.2, abs=0.025)


def test_growth_that_would_cut_a_neighbour_up_is_not_done():
    """Growing the dot in a narrow ring would leave shreds of the ring."""
    outer = dot(30.0, 15.0, 2.9)
    plate = rectangle(0.0, 0.0, 60.0, 30.0)
    inner = dot(30.0, 15.0, 1.2)
    partition = Partition(
        60.0,
        30.0,
        (
            Region("r1", "sky", "#111111", Area((Piece(plate.outer, (outer.reversed(),)), Piece(inner)))),
            Region("r2", "rim", "#222222", Area((Piece(outer, (inner.reversed(),)),))),
        ),
    )
    settled = settle(partition, IslandRule.GROW)
    assert settled.partition == partition
    (finding,) = settled.findings
    assert finding.code is Code.SMALL_PIECE
    assert math.dist(finding.at_mm, (30, 15)) < 0.6


def test_a_tie_is_straight_square_shortest_and_nothing_else_changes():
    settled = settle(scene(*TWO), IslandRule.BRIDGE)
    gold = settled.partition.regions[0].area
    assert len(gold.pieces) == 1
    before = colours(scene(*TWO))["r1"]
    new = colours(settled.partition)["r1"].difference(before.buffer(1e-6))
    tie = max(shapely.get_parts(new), key=lambda p: p.area)
    assert new.area == pytest.approx(tie.area, abs=1e-4)  # the rest is what flattening split curves leaves
    left, top, _, bottom = tie.bounds
    assert bottom - top == pytest.approx(0.8, abs=0.01)  # as wide as asked, level: square to the block's side
    assert (left, (top + bottom) / 2) == pytest.approx((20.0, 15.0), abs=0.1)
    assert before.difference(colours(settled.partition)["r1"]).area < 1e-6
    assert settled.changes[0].changed_mm2 == pytest.approx(tie.area, abs=1e-3)
    # The dot's outline away from the tie is still the curve it was, cut where the tie meets it.
    curves = [s for s in gold.pieces[0].outer.segments if isinstance(s, Cubic)]
    whole = {canonical(s) for s in dot(25.0, 15.0, 1.2).segments}
    assert sum(canonical(s) in whole for s in curves) >= 4


def test_ties_keep_off_corners():
    """The corner of the diamond is nearest to the block, but a tie goes where its whole width meets a side."""
    diamond = polygon_ring(shapely.get_coordinates(Spot(23.0, 10.7).buffer(0.7, quad_segs=1))[:-1][::-1])
    ring = diamond if signed_area(diamond) > 0 else diamond.reversed()
    settled = settle(scene(block(10.0, 10.0, 20.0, 20.0), ring), IslandRule.BRIDGE, bridge_mm=0.3)
    before = colours(scene(block(10.0, 10.0, 20.0, 20.0), ring))["r1"]
    after = colours(settled.partition)["r1"]
    assert len(after.geoms) == 1
    tie = max(shapely.get_parts(after.difference(before.buffer(1e-6))), key=lambda p: p.area)
    assert tie.distance(Spot(20.0, 10.0)) > 0.15
    assert tie.area < 0.3 * 4.5


def test_a_large_island_gets_two_ties_well_apart():
    long = block(10.0, 22.0, 25.0, 22.5)  # thin everywhere, 15 mm long, over a block
    settled = settle(scene(block(8.0, 10.0, 30.0, 20.0), long), IslandRule.BRIDGE)
    before = colours(scene(block(8.0, 10.0, 30.0, 20.0), long))["r1"]
    ties = [
        t for t in shapely.get_parts(colours(settled.partition)["r1"].difference(before.buffer(1e-5))) if t.area > 1e-3
    ]
    # What is seen of each is the way between the two, 2 mm by the tie's width.
    assert sorted(round(t.area, 2) for t in ties) == [1.6, 1.6]
    assert ties[0].distance(ties[1]) > 15.0 / 2 - 0.8


def test_nothing_to_tie_to_is_told():
    settled = settle(scene(dot(25.0, 15.0, 1.2)), IslandRule.BRIDGE)
    assert settled.partition == scene(dot(25.0, 15.0, 1.2))
    (finding,) = settled.findings
    assert finding.value == pytest.approx(math.pi * 0.36, abs=0.01)


def test_a_choice_by_hand_overrules_one_island():
    partition = scene(block(10.0, 10.0, 20.0, 20.0), dot(25.0, 15.0, 1.2), dot(40.0, 15.0, 1.0))
    settled = settle(partition, IslandRule.KEEP, IslandChoice((40.2, 15.1), IslandRule.DROP))
    assert len(settled.partition.regions[0].area.pieces) == 2
    assert {c.choice for c in settled.changes} == {IslandRule.KEEP, IslandRule.DROP}
    settled = settle(partition, IslandRule.DROP, IslandChoice((25.0, 15.0), IslandRule.KEEP))
    assert len(settled.partition.regions[0].area.pieces) == 2
    with pytest.raises(InputError, match=r"at_mm = \[15, 15\].*nearest lies at \[25\.\d, 15\.\d\]"):
        settle(partition, IslandRule.KEEP, IslandChoice((15.0, 15.0), IslandRule.DROP))
    with pytest.raises(InputError, match="no island in this artwork"):
        settle(scene(TWO[0]), IslandRule.KEEP, IslandChoice((15.0, 15.0), IslandRule.DROP))


@pytest.mark.parametrize("rule", list(IslandRule))
@given(
    st.lists(
        st.tuples(st.integers(0, 9), st.integers(0, 4), st.floats(0.3, 4.4), st.floats(0, 0.5), st.floats(0, 0.5)),
        min_size=2,
        max_size=9,
        unique_by=lambda t: t[:2],
    )
)
@settings(max_examples=12, deadline=None, phases=[Phase.explicit, Phase.generate])  # shrinking takes minutes here
def test_twice_changes_nothing_and_the_face_stays_covered_once(rule, spots):
    rings = [dot(2.5 + 6 * i + u, 2.5 + 6 * j + v, d) for i, j, d, u, v in spots]
    partition = scene(*rings)
    once = settle(partition, rule)
    assert_exact(once.partition)
    again = settle(once.partition, rule)
    assert [area_of(r.area) for r in again.partition.regions] == pytest.approx(
        [area_of(r.area) for r in once.partition.regions], abs=1e-9
    )
    if rule is IslandRule.DROP:
        assert find_islands(once.partition, RESIST) == ()
    if rule is IslandRule.BRIDGE and any(d > 1.5 for _, _, d, _, _ in spots):
        assert not [i for i in find_islands(once.partition, RESIST) if i.region.key == "r1"]
