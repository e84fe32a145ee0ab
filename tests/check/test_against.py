"""Is the file what the job made: placing, scale, mirror, missing, extra, deviation; all known because made here."""

import math

import pytest
from shapely import affinity
from shapely.geometry import Polygon

from maskgen.check.against import compare

L = Polygon([(0, 0), (10, 0), (10, 4), (4, 4), (4, 12), (0, 12)])
FLAG = Polygon([(20, 0), (31, 3), (20, 7)])
BOX = Polygon([(20, 9), (33, 9), (33, 12), (20, 12)], [[(22, 10), (24, 10), (24, 11)]])
MASKS = [("01-sky", [L, FLAG]), ("02-star", [BOX])]
PIECES = [L, FLAG, BOX]


def test_the_same():
    found = compare(PIECES, MASKS)
    assert found.same
    assert [(m.found, m.pieces, m.moved_mm, m.turned_degrees) for m in found.masks] == [
        (2, 2, (0.0, 0.0), 0), (1, 1, (0.0, 0.0), 0),
    ]  # fmt: skip


def test_moved_and_turned_apart_from_one_another():
    sky = [affinity.translate(affinity.rotate(p, 90, origin=(0, 0)), 50, 7) for p in (L, FLAG)]
    found = compare([*sky, affinity.translate(BOX, 3, 40)], MASKS)
    assert found.same
    assert (found.masks[0].moved_mm, found.masks[0].turned_degrees) == ((50.0, 7.0), 90)
    assert (found.masks[1].moved_mm, found.masks[1].turned_degrees) == ((3.0, 40.0), 0)


@pytest.mark.parametrize(
    ("scale", "word"),
    [(25.4 / 96, "25.4/96"), (25.4 / 72, "25.4/72"), (10.0, "10 times"), (25.4, "inches"), (1 / 25.4, "inches"),
     (1.12, None)],
)  # fmt: skip
def test_scale(scale, word):
    found = compare([affinity.scale(p, scale, scale, origin=(0, 0)) for p in PIECES], MASKS)
    assert not found.same
    assert found.scale == pytest.approx(scale, rel=1e-6)
    assert (found.mistake is None) == (word is None)
    assert word is None or word in found.mistake
    assert all(m.found == m.pieces for m in found.masks)


def test_mirrored():
    found = compare([affinity.scale(p, -1, 1, origin=(0, 0)) for p in PIECES], MASKS)
    assert found.mirrored
    assert not found.same


def test_missing_and_extra():
    found = compare([L, BOX, affinity.translate(L, 60, 0)], MASKS)
    assert found.masks[0].found == 1
    ((x, y),) = found.masks[0].missing
    assert FLAG.contains(affinity.translate(Polygon([(0, 0), (1e-6, 0), (0, 1e-6)]), x, y))
    assert len(found.extra) == 1
    assert found.extra[0][0] > 50


def test_deviation_where_and_how_much():
    dented = Polygon([(0, 0), (10, 0), (10, 4), (4, 4), (4, 12), (2, 11.7), (0, 12)])
    found = compare([dented, FLAG, BOX], MASKS)
    assert not found.same
    assert found.masks[0].deviation_mm == pytest.approx(0.3, abs=0.04)
    assert math.dist(found.masks[0].deviation_at, (2, 11.7)) < 0.5


def test_copies_on_a_sheet():
    sheet = [affinity.translate(p, 50 * k, 30 * (k % 2)) for k in range(5) for p in PIECES]
    found = compare(sheet, MASKS)
    assert found.same
    assert [m.copies for m in found.masks] == [5, 5]


def test_one_mask_of_several():
    found = compare([affinity.translate(BOX, 9, 9)], MASKS)
    assert found.same
    assert [m.found for m in found.masks] == [0, 1]


def test_nothing_there():
    found = compare([], MASKS)
    assert not found.same
    assert sum(len(m.missing) for m in found.masks) == 3
