"""Lettering against the fonts' own outlines through other libraries, and the shaping library's glyphs."""

import io

import fontpkg
import numpy as np
import pytest
import uharfbuzz
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.boundsPen import BoundsPen
from fontTools.ttLib import TTFont
from PIL import Image, ImageDraw, ImageFont

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.job import Align, TextSpec
from maskgen.model.paths import area_of, bounds
from maskgen.shape.glyphs import CAPITAL, Font
from maskgen.shape.lettering import Unsettable, set_line, set_text
from maskgen.shape.writing import bidi_levels, runs_of

FAMILIES = ["Archivo Black", "Fjalla One", "Pacifico", "Varela Round"]


def data_of(family):
    return fontpkg.path(family).read_bytes()


@pytest.mark.parametrize("family", ["Archivo Black", "Fjalla One"])
@pytest.mark.parametrize("letter", list("AHOSMJgeß8"))
def test_area_and_extent_of_a_letter_are_the_fonts_own(family, letter):
    table = TTFont(io.BytesIO(data_of(family)))
    glyphs = table.getGlyphSet()
    glyph = glyphs[table.getBestCmap()[ord(letter)]]
    size, extent = AreaPen(glyphs), BoundsPen(glyphs)
    glyph.draw(size)
    glyph.draw(extent)
    scale = CAPITAL / table["OS/2"].sCapHeight
    line = set_line(letter, font=Font(data_of(family)))
    assert area_of(line.area) == pytest.approx(abs(size.value) * scale**2, rel=1e-6)
    left, low, right, high = (v * scale for v in extent.bounds)
    assert line.box == pytest.approx((left, -high, right, -low), abs=2e-3)


@pytest.mark.parametrize("family", FAMILIES)
def test_words_cover_what_another_rasteriser_draws(family):
    """The inked area of a word against FreeType's through Pillow, at 400 px of em."""
    word = "Orla fjord" if family == "Pacifico" else "BJÖRN fi"
    table = TTFont(io.BytesIO(data_of(family)))
    font = ImageFont.truetype(io.BytesIO(data_of(family)), 400)
    picture = Image.new("L", (6000, 1600))
    ImageDraw.Draw(picture).text((400, 400), word, font=font, fill=255)
    inked = np.asarray(picture, dtype=float).sum() / 255
    box = picture.getbbox()
    line = set_line(word, font=Font(data_of(family)))
    capital = table["glyf"][table.getBestCmap()[ord("H")]].yMax
    px = 400 / table["head"].unitsPerEm * capital / CAPITAL
    assert area_of(line.area) * px**2 == pytest.approx(inked, rel=0.005)
    assert (line.box[2] - line.box[0]) * px == pytest.approx(box[2] - box[0], abs=3)
    assert (line.box[3] - line.box[1]) * px == pytest.approx(box[3] - box[1], abs=3)


def test_strokes_of_a_script_word_become_one_piece():
    font = Font(data_of("Pacifico"))
    assert len(set_line("orla", font=font).area.pieces) == 1
    assert len(set_line("OR", font=Font(data_of("Fjalla One"))).area.pieces) == 2


@pytest.mark.parametrize("family", FAMILIES)
def test_pieces_never_overlap(family):
    shape = to_multipolygon(set_line("Tamsin Örla fi &", font=Font(data_of(family))).area)
    assert shape.is_valid
    assert shape.area == pytest.approx(sum(p.area for p in shape.geoms))


@pytest.mark.parametrize("word", ["office", "AVATAR", "Björn", "Bjo\N{COMBINING DIAERESIS}rn", "Łódź"])
def test_glyphs_are_those_the_shaping_library_gives(word):
    data = data_of("Noto Sans")
    buffer = uharfbuzz.Buffer()
    buffer.add_str(word)
    buffer.guess_segment_properties()
    uharfbuzz.shape(uharfbuzz.Font(uharfbuzz.Face(data)), buffer, {})
    (run,) = runs_of(word)
    assert [g.glyph for g in Font(data).shape(run).glyphs] == [info.codepoint for info in buffer.glyph_infos]


@pytest.mark.parametrize("word", ["محمد", "سلام", "ليلى", "مُحَمَّد"])
def test_joined_letters_are_those_the_shaping_library_gives(word):
    """Right to left, by its glyphs and places from left to right, as HarfBuzz gives them."""
    data = data_of("Noto Sans Arabic")
    buffer = uharfbuzz.Buffer()
    buffer.add_str(word)
    buffer.guess_segment_properties()
    assert buffer.direction == "rtl"
    font = uharfbuzz.Font(uharfbuzz.Face(data))
    uharfbuzz.shape(font, buffer, {})
    line = set_line(word, font=Font(data))
    assert [g.glyph for g in line.glyphs] == [info.codepoint for info in buffer.glyph_infos]
    before = np.cumsum([0, *(p.x_advance for p in buffer.glyph_positions)])[:-1]
    x = (before + [p.x_offset for p in buffer.glyph_positions]) * Font(data).scale
    places = np.array([g.at[0] for g in line.glyphs])
    assert places - places[0] == pytest.approx(x - x[0], abs=1e-6)


@pytest.mark.parametrize("gap", [0.0, 1.0])
def test_letters_that_join_stay_one_piece(gap):
    """Each of these four letters joins the next; between letters that do not join a gap may be put, here none."""
    line = set_line("محمد", font=Font(data_of("Noto Sans Arabic")), gap=gap)
    assert len(line.glyphs) == 4
    assert len(line.area.pieces) == 1


def test_kerning_is_kept_and_the_gap_is_added_between_letters():
    font = Font(data_of("Varela Round"))
    table = TTFont(io.BytesIO(data_of("Varela Round")))
    unkerned = sum(table["hmtx"][table.getBestCmap()[ord(c)]][0] for c in "AVAT") * font.scale
    (run,) = runs_of("AVAT")
    assert font.shape(run).advance < unkerned - 0.5
    narrow, wide = (set_line("ORLA", font=font, gap=gap) for gap in (0.0, 2.0))
    assert wide.box[2] - narrow.box[2] == pytest.approx(6.0, abs=2e-3)


def test_letters_shrink_to_the_box_and_never_grow():
    font = Font(data_of("Archivo Black"))
    spec = TextSpec("Archivo Black", 8.0, (48.0, 10.0), "sky")
    short, long = (set_text(text, "", font=font, spec=spec) for text in ("UNA", "FERELITH WINIFRED"))
    left, top, right, bottom = bounds(short.area)
    assert short.cap_height_mm == 8.0
    assert (left + right) / 2 == pytest.approx(24.0, abs=2e-3)
    # As wide as the box, less one step of 0.1 mm in height at most: an eightieth of 8 mm.
    step = 0.1 / long.cap_height_mm * 48.0
    assert 48.0 - step < bounds(long.area)[2] - bounds(long.area)[0] < 48.0 + 2e-3
    assert long.cap_height_mm / 0.1 == pytest.approx(round(long.cap_height_mm / 0.1), abs=1e-6)
    assert long.cap_height_mm < 8.0
    assert (top, bottom) == pytest.approx((1.0, 9.0), abs=0.15)


@pytest.mark.parametrize(("align", "side"), [(Align.LEFT, 0), (Align.RIGHT, 2)])
def test_lettering_keeps_to_its_side(align, side):
    spec = TextSpec("Fjalla One", 4.0, (48.0, 10.0), "sky", align=align)
    area = set_text("UNA", "MILO", font=Font(data_of("Fjalla One")), spec=spec).area
    assert bounds(area)[side] == pytest.approx((0.0, None, 48.0)[side], abs=2e-3)


@pytest.mark.parametrize("text", ["", " ", "\N{ZERO WIDTH SPACE}"])
def test_nothing_to_see_is_refused(text):
    spec = TextSpec("Fjalla One", 4.0, (48.0, 10.0), "sky")
    with pytest.raises(Unsettable):
        set_text(text, "", font=Font(data_of("Fjalla One")), spec=spec)


def test_a_missing_letter_is_named():
    with pytest.raises(Unsettable, match=r"`★` \(U\+2605, BLACK STAR\)"):
        set_line("ORLA ★", font=Font(data_of("Fjalla One")))


@pytest.mark.parametrize(
    ("text", "levels"),
    [
        # Worked out by hand from UAX 9.
        ("abc", "000"),
        ("אבג", "111"),
        ("abc אבג", "0000111"),
        ("אבג 12", "111122"),
        ("א(ב)", "1111"),
        ("a 12 b", "000000"),
    ],
)
def test_directions(text, levels):
    assert "".join(map(str, bidi_levels(text))) == levels
