"""Fonts by path: what can be set from, and what is refused in one clear line."""

import io

import fontpkg
import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.t2CharStringPen import T2CharStringPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

from maskgen.errors import InputError
from maskgen.formats.fonts import load_font
from maskgen.model.job import TextSpec
from maskgen.shape.glyphs import Font
from maskgen.shape.lettering import Unsettable, set_text

WHOLE = fontpkg.path("Varela Round").read_bytes()


def bars(letters, *, cubic=False):
    """Make a font in which every letter is a bar of 200 x 700 units; no kerning, no hints."""
    builder = FontBuilder(1000, isTTF=not cubic)
    names = {ord(letter): f"uni{ord(letter):04X}" for letter in letters}
    builder.setupGlyphOrder([".notdef", *names.values()])
    builder.setupCharacterMap(names)
    glyphs = {}
    for name in (".notdef", *names.values()):
        pen = T2CharStringPen(600, None) if cubic else TTGlyphPen(None)
        pen.moveTo((50, 0))
        for place in ((50, 700), (250, 700), (250, 0)):
            pen.lineTo(place)
        pen.closePath()
        glyphs[name] = pen.getCharString() if cubic else pen.glyph()
    if cubic:
        builder.setupCFF("Larkmoor", {}, glyphs, {})
    else:
        builder.setupGlyf(glyphs)
    builder.setupHorizontalMetrics(dict.fromkeys(glyphs, (600, 50)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Larkmoor"})
    builder.setupOS2()
    builder.setupPost()
    return saved(builder.font)


def saved(font):
    data = io.BytesIO()
    font.save(data)
    return data.getvalue()


def web():
    font = TTFont(io.BytesIO(WHOLE))
    font.flavor = "woff"
    return saved(font)


def without_outlines():
    font = TTFont(io.BytesIO(bars("LIO")))
    del font["glyf"], font["loca"]
    return saved(font)


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("half.ttf", WHOLE[: len(WHOLE) // 2], "not whole"),
        ("cut.otf", WHOLE[:-2000], "not whole"),
        ("noise.ttf", bytes(range(256)) * 20, "no readable font"),
        ("empty.ttf", b"", "no readable font"),
        ("web.ttf", web(), "for web pages"),
        ("web.woff", web(), "for web pages"),
        ("several.ttc", b"ttcf", "a collection of fonts"),
        ("pictures.ttf", without_outlines(), "without outlines"),
        ("text.txt", b"text", "no font `text.txt`"),
    ],
)
def test_what_is_no_font_to_cut_from_is_one_line(tmp_path, name, data, words):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(InputError) as caught:
        load_font(name, folder=tmp_path)
    assert words in str(caught.value)
    assert name in str(caught.value)


@pytest.mark.parametrize(
    "data",
    [bars("LIO"), bars("LIOH", cubic=True), fontpkg.path("Noto Sans").read_bytes()],  # the last one is variable
    ids=["no H", "cubic outlines", "variable"],
)
@pytest.mark.parametrize("name", ["font.ttf", "FONT.OTF"])
def test_fonts_of_every_kind_set_the_capitals_at_the_height_asked_for(tmp_path, name, data):
    (tmp_path / name).write_bytes(data)
    font = Font(load_font(name, folder=tmp_path))
    spec = TextSpec(name, 12.0, (60.0, 20.0), "silver")
    lettering = set_text("LI", "", font=font, spec=spec)
    places = [segment.start[1] for ring in lettering.moved((0.0, 0.0)).rings for segment in ring.segments]
    assert max(places) - min(places) == pytest.approx(12.0, abs=0.01)
    with pytest.raises(Unsettable, match="no letter `★`"):
        set_text("L★", "", font=font, spec=spec)
