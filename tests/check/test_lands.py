import dataclasses
from importlib.resources import files

import pytest
import shapely
from fontTools.pens.areaPen import AreaPen
from fontTools.ttLib import TTFont
from shapely.geometry import Point as Spot
from shapely.geometry import box

from maskgen.check.lands import area_findings, islands_in_holes, mask_findings
from maskgen.geometry.polygons import from_polygons
from maskgen.model.finding import Code, Severity
from maskgen.model.job import Carrier, Part, Resist, Shape
from maskgen.model.masks import Mask

PLATE = Part(Shape.PLATE, width_mm=60.0, height_mm=30.0)
RESIST = Resist()


def judge(*shapes, **limits):
    area = from_polygons(shapely.multipolygons([p for s in shapes for p in shapely.get_parts(s)]))
    mask = Mask("M1", "sky", ("r1",), area)
    return mask_findings([mask], resist=dataclasses.replace(RESIST, **limits), part=PLATE)


def ring(x, y, outer, inner):
    return Spot(x, y).buffer(outer, quad_segs=64).difference(Spot(x, y).buffer(inner, quad_segs=64))


def test_sound_vinyl_has_no_findings():
    assert judge(box(5, 5, 25, 15), box(30, 5, 50, 15)) == ()


def test_a_thin_land_is_told_with_mask_piece_place_and_numbers():
    (thin,) = judge(box(5, 5, 25, 15), box(30, 5, 30.42, 15))
    assert (thin.code, thin.severity, thin.mask, thin.piece) == (Code.THIN_LAND, Severity.WARNING, "M1", 2)
    assert thin.at_mm == pytest.approx((30.21, 10.0), abs=0.05)
    assert (thin.value, thin.limit) == (pytest.approx(0.42, abs=0.001), 0.8)
    assert "0.42 mm" in thin.message
    assert thin.mend


def test_a_narrow_gap_counts_on_the_face_only():
    (gap,) = judge(box(5, 5, 25, 15), box(25.3, 5, 40, 15))
    assert (gap.code, gap.value, gap.limit) == (Code.NARROW_GAP, pytest.approx(0.3, abs=0.001), 0.5)
    assert gap.at_mm == pytest.approx((25.15, 10.0), abs=0.05)
    # Vinyl runs past the edge to be burnished over; a gap out there opens nothing.
    assert judge(box(-1, -1, 25, -0.1), box(25.3, -1, 61, -0.1), min_land_mm=0.5) == ()


def test_a_small_piece_is_told_with_its_area():
    (small,) = judge(box(5, 5, 25, 15), box(30, 5, 31, 6.2))
    assert (small.code, small.piece, small.value, small.limit) == (Code.SMALL_PIECE, 2, pytest.approx(1.2), 1.5)
    assert judge(box(30, 5, 31, 6.5)) == ()  # just large enough


@pytest.mark.parametrize(
    ("carrier", "severity", "says"),
    [
        (Carrier.TAPE, Severity.WARNING, "tape holds it"),
        (Carrier.LOOSE, Severity.WARNING, "by hand"),
        (Carrier.STENCIL, Severity.ERROR, "cannot hold"),
    ],
)
def test_a_counter_is_loose_under_every_carrier(carrier, severity, says):
    (loose,) = judge(ring(20, 15, 10, 8), Spot(20, 15).buffer(5), carrier=carrier)
    assert (loose.code, loose.severity, loose.piece) == (Code.LOOSE_ISLAND, severity, 2)
    assert says in loose.message
    assert shapely.Point(loose.at_mm).within(Spot(20, 15).buffer(5))


def test_tape_does_not_hold_what_is_too_small():
    loose = [f for f in judge(ring(20, 15, 10, 8), box(19.5, 14.5, 20.5, 15.5)) if f.code is Code.LOOSE_ISLAND]
    assert "too small even for transfer tape" in loose[0].message


def test_rings_in_rings_are_each_told_once():
    nest = [ring(20, 15, 12, 10), ring(20, 15, 8, 6), Spot(20, 15).buffer(4)]
    assert islands_in_holes(nest) == [2, 3]
    assert islands_in_holes(nest[::-1]) == [1, 2]
    assert islands_in_holes([*nest, box(40, 5, 50, 15)]) == [2, 3]
    assert islands_in_holes([]) == []


def test_counters_of_the_openings_in_a_mask_are_those_of_the_letters():
    """Vinyl around letters: the counters stand free, as many as the font's outlines turn the other way."""
    font = TTFont(str(files("fontpkg_fjalla_one") / "files" / "FjallaOne-Regular.ttf"))
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    # From memory: in this alphabet A, B, D, O, P, Q, R close counters in, B two of them.
    expected = {"A": 1, "B": 2, "C": 0, "O": 1, "E": 0, "8": 2}
    for letter, counters in expected.items():
        contours = []
        pen = _ContourPen(glyphs)
        glyphs[names[ord(letter)]].draw(pen)
        contours = [shapely.Polygon(c) for c in pen.contours]
        letter_shape = contours[0]
        for c in contours[1:]:
            letter_shape = letter_shape.symmetric_difference(c)
        scaled = shapely.affinity.scale(letter_shape, 0.01, 0.01, origin=(0, 0))
        around = box(-5, -5, 20, 20).difference(scaled)
        found = [f for f in area_findings(from_polygons(around), resist=RESIST) if f.code is Code.LOOSE_ISLAND]
        assert len(found) == counters, letter


class _ContourPen(AreaPen):
    """Corner points of contours; curves as chords between their ends, enough to count rings."""

    def __init__(self, glyphs):
        super().__init__(glyphs)
        self.contours = []

    def _moveTo(self, p0):
        self.contours.append([p0])

    def _lineTo(self, p1):
        self.contours[-1].append(p1)

    def _qCurveToOne(self, p1, p2):
        self.contours[-1].append(p2)

    def _closePath(self):
        pass
