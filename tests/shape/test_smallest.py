"""Expected sizes are worked out by hand: lengths go with the size s, areas with its square, growth does not."""

import math

import numpy as np
import pytest
import shapely

from maskgen.geometry.segments import circle
from maskgen.model.job import Resist
from maskgen.model.paths import Area, Partition, Piece, Region, polygon_ring, rectangle
from maskgen.shape.smallest import Stage, smallest_size

RESIST = Resist()  # lands 0.8, gaps 0.5, pieces 1.5


def scene(*rings):
    plate = rectangle(0.0, 0.0, 60.0, 30.0)
    sky = Piece(plate.outer, tuple(ring.reversed() for ring in rings))
    ink = Area(tuple(Piece(ring) for ring in rings))
    return Partition(60.0, 30.0, (Region("r1", "ink", "#111111", ink), Region("r2", "sky", "#eeeeee", Area((sky,)))))


def block(left, top, right, bottom):
    return rectangle(left, top, right, bottom).outer


def wedge(degrees):
    half = 12 * math.tan(math.radians(degrees / 2))
    return polygon_ring(np.array([(20.0, 15.0), (32.0, 15.0 - half), (32.0, 15.0 + half)]))


CASES = [
    # A bar of 2 x 10: 2 s = 0.8.
    ("a bar", scene(block(10, 10, 20, 12)), 0.0, 0.4),
    # Grown by 0.1 on either side: 2 s + 0.2 = 0.8.
    ("a bar that is grown", scene(block(10, 10, 20, 12)), 0.1, 0.3),
    # 0.6 s - 2 x 0.1 = 0.5.
    ("a gap that growth narrows", scene(block(10, 10, 20, 14), block(10, 14.6, 20, 18)), 0.1, 7 / 6),
    # A dot of 3 mm2: 3 s^2 = 1.5.
    ("a dot", scene(block(30, 5, 50, 25), circle((15.0, 15.0), 2 * math.sqrt(3 / math.pi))), 0.0, math.sqrt(0.5)),
    # The tip does not count; the area is 12 x 12 tan 10: s^2 = 1.5 / 25.4.
    ("a tip", scene(wedge(20)), 0.0, math.sqrt(1.5 / (144 * math.tan(math.radians(10))))),
]


@pytest.mark.parametrize(("regions", "growth", "scale"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_the_smallest_size_is_the_one_worked_out_by_hand(regions, growth, scale):
    found = smallest_size(regions, [Stage("M1", ("r1",), growth)], wanted_mm=20.0, resist=RESIST)
    assert found.width_mm is not None
    assert 20 * scale - 0.05 <= found.width_mm <= 20 * scale * 1.02 + 0.15
    assert "M1 has" in found.obstacle


def test_a_tip_is_told_though_it_does_not_count():
    found = smallest_size(scene(wedge(20)), [Stage("M1", ("r1",), 0.1)], wanted_mm=20.0, resist=RESIST)
    assert "1 tip" in found.obstacle
    plain = smallest_size(scene(block(10, 10, 20, 12)), [Stage("M1", ("r1",), 0.1)], wanted_mm=20.0, resist=RESIST)
    assert "tip" not in plain.obstacle


def test_what_never_works_has_no_size():
    found = smallest_size(scene(block(10, 10, 40, 10.05)), [Stage("M1", ("r1",), 0.0)], wanted_mm=20.0, resist=RESIST)
    assert found.width_mm is None
    assert "land of 0.75 mm" in found.obstacle  # 0.05 fifteen times as large: 300 mm wide instead of 20


def test_a_later_mask_is_as_wide_as_its_lap_makes_it():
    """A strip of 0.5 between two masked blocks: its vinyl runs 0.5 onto either."""
    plate = rectangle(0.0, 0.0, 60.0, 30.0)
    one, two, strip = block(5, 5, 20, 25), block(20.5, 5, 40, 25), block(20, 5, 20.5, 25)
    around = polygon_ring(shapely.get_coordinates(shapely.box(5, 5, 40, 25))[:-1][::-1])
    regions = Partition(
        60.0,
        30.0,
        (
            Region("r1", "blocks", "#111111", Area((Piece(one), Piece(two)))),
            Region("r2", "strip", "#222222", Area((Piece(strip),))),
            Region("r3", "sky", "#eeeeee", Area((Piece(plate.outer, (around,)),))),
        ),
    )
    first, second = Stage("M1", ("r1",), 0.0), Stage("M2", ("r2",), 0.0)
    wide = smallest_size(regions, [first, second], wanted_mm=20.0, resist=RESIST)
    # Blocks first: their gap of 0.5 is the limit. Strip first: it needs 0.8 / 0.5 = 1.6 times the size.
    narrow = smallest_size(regions, [second, first], wanted_mm=20.0, resist=RESIST)
    assert wide.width_mm == pytest.approx(20.0, abs=0.5)
    assert narrow.width_mm == pytest.approx(32.0, abs=0.7)


def test_the_table_tells_what_is_lost_at_each_width():
    regions = scene(block(30, 5, 50, 25), block(10, 10, 11.6, 11.6), block(10, 20, 25, 21))
    found = smallest_size(regions, [Stage("M1", ("r1",), 0.0)], wanted_mm=20.0, resist=RESIST)
    rows = {row.width_mm: row for row in found.table}
    assert list(rows) == sorted(rows, reverse=True)
    assert (rows[20.0].findings, rows[20.0].lost) == (0, "nothing")
    # At 10 mm the square of 1.6 has 0.64 mm2 and the line of 1 x 15 is 0.5 wide: 0.64 + 3.75 mm2 go.
    assert rows[10.0].lost == "ink: 2 pieces"
    assert rows[10.0].lost_mm2 == pytest.approx(0.64 + 3.75, abs=0.01)
