"""How small fonts can be cut, against the fonts' own outlines offset by a general library."""

import fontpkg
import pytest
import shapely
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont
from shapely.geometry import Polygon

from maskgen.model.job import Resist
from maskgen.shape.font_limits import Limit, Use, measure_letters, smallest_height
from maskgen.shape.glyphs import Font

STEPS = 24


def outline(family, letter, height):
    """Give a letter's outline at a height of capitals, read and flattened without the code under test."""
    table = TTFont(fontpkg.path(family))
    glyphs, names = table.getGlyphSet(), table.getBestCmap()
    scale = height / table["glyf"][names[ord("H")]].yMax
    pen = DecomposingRecordingPen(glyphs)
    glyphs[names[ord(letter)]].draw(pen)
    rings, here = [], []
    for kind, points in pen.value:
        if kind in ("moveTo", "lineTo"):
            here.append(points[0])
        elif kind == "qCurveTo":
            *controls, end = points
            for k, control in enumerate(controls):
                nxt = controls[k + 1] if k + 1 < len(controls) else None
                stop = end if nxt is None else ((control[0] + nxt[0]) / 2, (control[1] + nxt[1]) / 2)
                a = here[-1]
                for t in (step / STEPS for step in range(1, STEPS + 1)):
                    weights = (1 - t) ** 2, 2 * t * (1 - t), t**2
                    three = list(zip(weights, (a, control, stop), strict=True))
                    here.append(tuple(sum(w * p[axis] for w, p in three) for axis in (0, 1)))
        else:
            rings.append(Polygon(here))
            here = []
    shape = Polygon()
    for ring in rings:
        shape = shape.symmetric_difference(ring)
    return shapely.affinity.scale(shape, scale, scale, origin=(0, 0))


def smallest(family, letters, use):
    found = smallest_height(measure_letters(Font(fontpkg.path(family).read_bytes()), letters), Resist(), use)
    assert found is not None
    return found


@pytest.mark.parametrize(("family", "letters", "decider"), [("Fjalla One", "k", "k"), ("Varela Round", "mo", "m")])
def test_a_stroke_just_holds_at_the_height_and_parts_below_it(family, letters, decider):
    """A stroke of the least land is parted by eroding half of it away exactly when it is narrower."""
    found = smallest(family, letters, Use.FILM)
    assert (found.measure.character, found.limit) == (decider, Limit.STROKE)
    half = Resist().min_land_mm / 2
    heights = 1.02 * found.height_mm, 0.97 * found.height_mm
    whole, parted = (outline(family, decider, height).buffer(-half) for height in heights)
    assert len(shapely.get_parts(whole)) < len(shapely.get_parts(parted))


@pytest.mark.parametrize(("family", "letter"), [("Archivo Black", "S"), ("Archivo Black", "s"), ("Archivo Black", "9")])
@pytest.mark.parametrize(("use", "least"), [(Use.FILM, 0.5), (Use.OPEN, 0.8)])
def test_an_opening_just_stays_open_at_the_height_and_closes_below_it(family, letter, use, least):
    """The mouth of an S is closed to a hole by growing the letter by half its width."""
    found = smallest(family, letter, use)
    assert found.limit is Limit.OPENING

    def holes(height):
        return sum(len(p.interiors) for p in shapely.get_parts(outline(family, letter, height).buffer(least / 2)))

    assert holes(1.02 * found.height_mm) < holes(0.96 * found.height_mm)


def test_a_dot_is_as_large_as_can_be_handled():
    found = smallest("Noto Sans", "i", Use.OPEN)
    assert found.limit is Limit.PIECE
    dot = min(p.area for p in shapely.get_parts(outline("Noto Sans", "i", found.height_mm)))
    assert 1.5 <= dot < 1.5 * 1.05


def test_the_mouth_of_an_s_is_no_thin_stroke():
    """The narrowest stroke of a bold S is measured through it, however wide strokes are looked for."""
    (measure,) = measure_letters(Font(fontpkg.path("Archivo Black").read_bytes()), "S")
    strokes = dict(measure.least).get(Limit.STROKE)
    assert strokes is None or strokes.size > 1.5


def test_points_and_notches_are_told_and_decide_nothing():
    (measure,) = measure_letters(Font(fontpkg.path("Fjalla One").read_bytes()), "N")
    assert measure.fine
    assert smallest("Fjalla One", "N", Use.FILM).height_mm < 12
