import dataclasses

import pytest
import shapely

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.job import Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, Piece, affine, area_of, bounds, rectangle
from maskgen.shape.bridges import bridge_mask

RESIST = Resist()


def around(word):
    """Vinyl with the letters open, counters left standing."""
    area = word.mapped(affine(1.0, (2.0, 2.0)))
    _, _, right, bottom = bounds(area)
    box = rectangle(0.0, 0.0, right + 2.0, bottom + 2.0)
    counters = (Piece(hole.reversed()) for piece in area.pieces for hole in piece.holes)
    return Area((Piece(box.outer, tuple(p.outer.reversed() for p in area.pieces)), *counters))


@pytest.mark.parametrize("text", ["O", "A", "B8", "R%g", "&Q"])
def test_no_counter_of_a_stencil_stays_loose(text, letters):
    vinyl = around(letters(text, 9.0))
    bridged = bridge_mask(Mask("M1", "sky", ("r1",), vinyl), RESIST)
    assert len(bridged.area.pieces) == 1
    before, after = to_multipolygon(vinyl), to_multipolygon(bridged.area)
    assert before.difference(after).area < 1e-3  # nothing is taken away
    ties = [t for t in shapely.get_parts(after.difference(before.buffer(1e-4))) if t.area > 1e-3]
    counters = len(vinyl.pieces) - 1
    assert counters <= len(ties) <= 2 * counters
    for tie in ties:
        # As wide as asked all along: a disc of that width fits in, no larger one.
        assert not tie.buffer(-(RESIST.bridge_mm / 2 - 0.01)).is_empty
        assert tie.buffer(-(RESIST.bridge_mm / 2 + 0.005)).is_empty


def test_letters_of_vinyl_become_one_sheet(letters):
    word = letters("SKY", 9.0)
    bridged = bridge_mask(Mask("M1", "sky", ("r1",), word), RESIST)
    assert len(bridged.area.pieces) == 1
    assert area_of(bridged.area) > area_of(word)


def test_one_piece_comes_back_as_it_is(letters):
    mask = Mask("M1", "sky", ("r1",), letters("S", 9.0))
    assert bridge_mask(mask, RESIST) is mask


def test_a_large_counter_hangs_on_two_ties_across_from_each_other(letters):
    vinyl = around(letters("O", 30.0))
    resist = dataclasses.replace(RESIST, bridge_mm=1.0)
    after = to_multipolygon(bridge_mask(Mask("M1", "sky", ("r1",), vinyl), resist).area)
    before = to_multipolygon(vinyl)
    one, two = [t for t in shapely.get_parts(after.difference(before.buffer(1e-4))) if t.area > 1e-3]
    counter = shapely.get_parts(before)[1]
    left, top, right, bottom = counter.bounds
    assert one.distance(two) > 0.6 * max(right - left, bottom - top)
