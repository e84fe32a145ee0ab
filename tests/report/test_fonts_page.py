"""The font table as text and as a page."""

import re

import fontpkg

from maskgen.model.job import Resist
from maskgen.report.fonts_page import FontMeasure, table_lines, write_fonts_page
from maskgen.shape.font_limits import SETS, measure_letters
from maskgen.shape.glyphs import Font


def measured(name, letters=("AS", "ai", "69")):
    font = Font(fontpkg.path(name).read_bytes())
    return FontMeasure(name, {key: measure_letters(font, some) for key, some in zip(SETS, letters, strict=True)})


def test_the_table_names_every_font_height_and_deciding_letter():
    fonts = [measured("Archivo Black"), measured("Varela Round", ("", "", ""))]
    head, first, second = table_lines(fonts, Resist())
    assert head.split()[:2] == ["A-Z", "film"]
    assert re.search(r"Archivo Black +8\.6 \(S\)", first)
    assert second.split() == ["Varela", "Round", *["-"] * 6]
    wider = table_lines(fonts[:1], Resist(min_gap_mm=1.0))[1]
    assert re.search(r"17\.1 \(S\)", wider)  # 1.0 mm through the mouth of an S that is 0.586 mm at capitals of 10 mm


def test_the_page_draws_the_letters_in_their_size_and_marks_the_place():
    page = write_fonts_page([measured("Archivo Black")], Resist()).decode()
    assert "the narrowest opening of S: 0.50 mm, dye and bleach need 0.5" in page
    assert page.count('class="mark"') == 2
    assert page.count("<svg") == 3
    assert "http" not in page
    assert re.search(r'class="specimen" viewBox="0 0 [\d.]+ [\d.]+" style="width:[\d.]+mm"', page)
