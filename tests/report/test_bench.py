"""The bench sheet read back: complete, to scale, in any script."""

import dataclasses
import io
import math

import numpy as np
import pytest
from pypdf import PdfReader
from pypdf.generic import ContentStream

from maskgen.model.dyeing import ApplyMask, DyeBath, Seal, Strip
from maskgen.model.job import Carrier, Hole, Paper, Part, Peel, Shape, TextSpec
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, Piece, polygon_ring, rectangle
from maskgen.report.bench import write_bench_sheet, write_bench_sheets
from maskgen.report.bench_names import NamedMask, NamedPart
from maskgen.report.placing import label_place, placing_of
from maskgen.report.placing_film import lap_all_round, larger_by_mm, looks_turnable
from maskgen.report.words import WORDS

MM = 72 / 25.4
PLATE = Part(Shape.PLATE, width_mm=60.0, height_mm=30.0)


def read(result, **changes):
    changed = dataclasses.replace(result, job=dataclasses.replace(result.job, **changes))
    return PdfReader(io.BytesIO(write_bench_sheet(changed)))


def words(reader):
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


@pytest.mark.parametrize(("paper", "size"), [(Paper.A4, (595.28, 841.89)), (Paper.LETTER, (612.0, 792.0))])
def test_every_step_stands_on_either_paper(result, paper, size):
    """ISO 216 A4 is 210 x 297 mm, Letter 8.5 x 11 in; a point is 1/72 in."""
    reader = read(result, paper=paper)
    for page in reader.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(size, abs=0.01)
    text = words(reader)
    names = {region.key: region.name for region in result.plan.regions}
    for number, step in enumerate(result.plan.sequence.steps, start=1):
        title = "Peel all film, then seal" if isinstance(step, Seal) else WORDS.step(step, names)
        assert f"{number}. {title}" in text
    assert text.count("Actual:") == len(result.plan.sequence.steps)
    assert f"{3 * result.shelf.thickness_um:g} min at 96" in text  # 3 min per µm (alufinish.de, on hot sealing)


def test_all_fonts_are_embedded(result):
    for page in read(result).pages:
        for font in page["/Resources"]["/Font"].values():
            font = font.get_object()
            if font["/Subtype"] == "/Type0":
                font = font["/DescendantFonts"][0].get_object()
            if font["/BaseFont"] != "/Helvetica":  # the library states it on every page and draws nothing with it
                assert "/FontFile2" in font["/FontDescriptor"].get_object()


def test_nothing_is_drawn_in_a_font_that_is_not_embedded(result):
    reader = read(result)
    for page in reader.pages:
        fonts = {name: font.get_object()["/BaseFont"] for name, font in page["/Resources"]["/Font"].items()}
        current = None
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            if operator == b"Tf":
                current = fonts[operands[0]]
            if operator == b"Tj" and operands[0]:
                assert current != "/Helvetica"


def test_what_can_hurt_stands_on_the_first_page_and_at_its_step(result):
    reader = read(result)
    first = " ".join(reader.pages[0].extract_text().split())
    for caution in WORDS.cautions:
        assert caution in first
    text = words(reader)
    steps = result.plan.sequence.steps
    assert text.count("makes chlorine gas, ammonium") == sum(isinstance(step, Strip) for step in steps)
    assert text.count("scalds in seconds: gloves") == sum(isinstance(step, DyeBath) for step in steps)
    assert "96 to 100 °C scalds" in text


def test_companions_go_through_every_bath(result):
    baths = [step for step in result.plan.sequence.steps if not isinstance(step, ApplyMask)]
    assert words(read(result)).count("companions too: end cap") == len(baths)


def test_each_mask_tells_its_pieces_at_its_step(result):
    text = words(read(result))
    for mask in result.masks:
        assert f"{WORDS.pieces(len(mask.area.pieces))} of {mask.number} on each part" in text
        assert f"{mask.number} {mask.name}, {WORDS.pieces(len(mask.area.pieces))} x 3 parts" in text


def test_a_seal_in_two_parts_says_when_to_peel(result):
    finish = dataclasses.replace(result.job.finish, peel=Peel.BETWEEN_SEALS)
    text = words(read(result, finish=finish))
    half = 3 * result.shelf.thickness_um / 2
    assert f"{half:g} min, peel all film, then {half:g} min" in text
    assert text.index(f"out at {half:g} min") < text.index("Peel all film (") < text.index(f"the hot seal for {half:g}")


def scales(page, reader):
    """Give the factor of every picture on a page: points to a millimetre of the part."""
    found = []
    for operands, operator in ContentStream(page.get_contents(), reader).operations:
        if operator == b"cm" and float(operands[0]) == float(operands[3]) != 1.0:
            found.append(float(operands[0]))
    return found


def test_placing_pictures_are_at_actual_size_where_they_say_so(result):
    reader = read(result)
    told = words(reader).count("Drawn at actual size")
    assert told == len(result.masks) > 0
    drawn = [s for page in reader.pages for s in scales(page, reader)]
    assert sum(math.isclose(scale, MM, rel_tol=1e-5) for scale in drawn) >= told


def test_loose_pieces_are_numbered_and_placed(result):
    mask = result.masks[0]
    two = dataclasses.replace(mask, area=Area((rectangle(3, 4, 9, 8), rectangle(20, 5, 26, 12))))
    resist = dataclasses.replace(result.job.resist, carrier=Carrier.LOOSE)
    changed = dataclasses.replace(result, masks=(two, *result.masks[1:]))
    assert "1: 3.0, 4.0; 2: 20.0, 5.0" in words(read(changed, resist=resist))


@pytest.mark.parametrize(
    ("title", "found"),
    [
        ("Ночное небо", "Ночное"),
        ("星空観測会", "星空"),
        ("مرصد السماء", "مرصد"),
        ("גלים", "גלים"),
        ("หอดูดาว", "หอดูดาว"),
    ],
)
def test_titles_of_every_script_can_be_searched(result, title, found):
    assert found in words(read(result, title=title))


def test_a_tube_has_no_left_edge(result):
    text = words(read(result, part=Part(Shape.TUBE, diameter_mm=60.0 / math.pi, length_mm=30.0)))
    assert "mark the back line inside" in text
    assert "left edge" not in text.replace("the seam is at the left and right edge", "")


def test_a_sign_no_font_has_is_told_by_its_number(result):
    assert "U+13000" in words(read(result, title="Rocket \U00013000")).replace(" ", "")


def test_a_long_title_is_wrapped_and_cut_short_in_the_foot(result):
    title = "Eyepiece case plate of the observers' summer camp " * 4
    text = read(result, title=title).pages[0].extract_text()
    assert "…" in text
    assert " ".join(title.split()) in " ".join(text.split())


def test_placing_measures_are_those_of_a_steel_rule():
    """Film from 12 to 40 mm of 60 and from 3 to 24 mm of 30."""
    found = placing_of(Mask("M1", "star", ("r1",), Area((rectangle(12, 3, 40, 24),))), PLATE)
    assert (found.left, found.top, found.right, found.bottom) == (12, 3, 20, 6)
    assert not found.by_opening


def test_film_over_all_edges_is_placed_by_its_opening():
    hole = polygon_ring([(10, 5), (10, 9), (22, 9), (22, 5)])
    frame = Piece(rectangle(-1, -1, 61, 31).outer, (hole,))
    found = placing_of(Mask("M1", "ground", ("r1",), Area((frame,))), PLATE)
    assert found.over_every_edge
    assert (found.opening.left, found.opening.top) == (10, 5)
    x, y = label_place(Area((frame,)))
    assert 22 < x < 61  # the widest place of the film is right of the opening
    assert -1 < y < 31


def test_an_opening_is_measured_through_its_middle():
    """A window from 10 to 50 mm and 5 to 25 mm whose corner runs out to 6, 3 mm: a rule finds 10 and 5 mm."""
    corners = [(10, 8), (10, 25), (50, 25), (50, 5), (14, 5), (12, 3), (6, 3), (6, 6)]
    frame = Piece(rectangle(-1, -1, 61, 31).outer, (polygon_ring(corners),))
    opening = placing_of(Mask("M1", "ground", ("r1",), Area((frame,))), PLATE).opening
    assert (opening.left, opening.top) == pytest.approx((10, 5))


HOLE = Hole((4.0, 6.0), 3.2)


def circle(middle, radius):
    turns = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    return polygon_ring(np.column_stack([middle[0] + radius * np.cos(turns), middle[1] + radius * np.sin(turns)]))


def with_mask(result, area, **changes):
    """Put other film in the place of the first mask."""
    mask = dataclasses.replace(result.masks[0], area=area)
    return words(read(dataclasses.replace(result, masks=(mask, *result.masks[1:])), **changes))


def test_a_hole_is_told_only_where_the_film_opens_round_it(result):
    """A ring of film with a square opening of 4 mm round the 3.2 mm hole."""
    opening = polygon_ring([(2, 4), (2, 8), (6, 8), (6, 4)])
    text = with_mask(result, Area((Piece(rectangle(0.5, 1, 9, 12).outer, (opening,)),)), hole=(HOLE,))
    told = "opening of 4.0 mm goes round the 3.2 mm hole, whose middle is 4.0 mm from the left edge and 6.0 mm from"
    assert told in text
    assert "the 3.2 mm hole" not in with_mask(result, Area((rectangle(20, 5, 30, 12),)), hole=(HOLE,))


def test_film_begins_left_and_top_and_ends_right_and_bottom(result):
    text = with_mask(result, Area((rectangle(12, 3, 40, 24),)))
    assert (
        "begins 12.0 mm from the left edge and 3.0 mm from the top edge; it ends 20.0 mm from the right edge and 6.0"
        in text
    )


def test_gaps_finer_than_the_drawing_are_counted(result):
    """Three pieces in a row: gaps of 0.3 and 0.4 mm; a fourth stands 2 mm away."""
    row = ((5, 10), (10.3, 15), (15.4, 20), (22, 25))
    text = with_mask(result, Area(tuple(rectangle(left, 5, right, 12) for left, right in row)))
    assert "2 gaps between pieces are finer than the drawing shows, the narrowest 0.3 mm: keep them open" in text


def test_film_on_film_is_placed_by_its_lap_and_by_the_outer_edge():
    """A disc of 12 mm over a round window of 11 mm laps its rim by 0.5 mm."""
    frame = Area((Piece(rectangle(-1, -1, 61, 31).outer, (circle((20, 15), 5.5).reversed(),)),))
    lap = lap_all_round(Area((Piece(circle((20, 15), 6.0)),)), [frame], PLATE)
    assert lap.even
    assert lap.on == (0,)
    assert lap.least_mm == pytest.approx(0.5, abs=0.02)
    assert lap_all_round(Area((Piece(circle((20, 15), 5.0)),)), [frame], PLATE) is None


def test_film_is_told_larger_by_what_lies_on_the_part_only():
    """On a disc of 40 mm the overhang past its round edge is no part of the finished picture; a rim of 0.2 mm is."""
    disc = Part(Shape.DISC, diameter_mm=40.0)
    ground = Area((Piece(circle((20, 20), 20.0), (circle((20, 20), 8.0).reversed(),)),))
    film = Area((Piece(circle((20, 20), 21.0), (circle((20, 20), 7.8).reversed(),)),))
    assert larger_by_mm(film, [ground], [], disc) == pytest.approx(0.2, abs=0.02)


def test_film_that_is_nearly_the_same_turned_round_is_told():
    bar = rectangle(10, 10, 40, 20)
    assert looks_turnable(Area((bar, rectangle(42, 13, 44, 17), rectangle(6, 13, 8, 16))))
    assert not looks_turnable(Area((bar,)))  # turning it does no harm
    assert not looks_turnable(Area((bar, rectangle(10, 2, 30, 9))))  # seen at a glance


def test_a_lot_of_names_lists_each_with_its_own_measures(result):
    """One picture stands for all; no measure and no count of that one name may be taken for the others."""
    spec = TextSpec("Noto Sans", 6.0, (40.0, 10.0), "disc")
    lot = dataclasses.replace(result, job=dataclasses.replace(result.job, text=spec))
    own = {n: NamedMask("M1", (n // 40 + 1,), n + 3, 10.0 + n, 8.5) for n in range(1, 90)}
    same = NamedMask("M2", (3,), 7, 4.25, 6.5)
    rows = [NamedPart(n, f"NAME {n}", 2, (mask, same)) for n, mask in own.items()]
    text = words(PdfReader(io.BytesIO(write_bench_sheets([lot], title="names", names=[rows]))))
    assert "box of 40 x 10 mm, drawn dashed, that begins 10.0 mm from the left edge and 10.0 mm from the top" in text
    for n, mask in own.items():
        assert f"NAME {n} 2 M1 {n // 40 + 1} {mask.pieces} {mask.left_mm:.1f} mm 8.5 mm" in text
    assert text.count("M2 has the same measures on every part: 7 pieces") == 1
    assert text.count("the pieces of its name of M") == len(lot.masks)
    for mask in lot.masks:
        assert f"{WORDS.pieces(len(mask.area.pieces))} of {mask.number}" not in text
    assert "Film begins" not in text


def test_no_lot_says_that_there_is_nothing_to_do():
    assert "nothing to do" in words(PdfReader(io.BytesIO(write_bench_sheets([], title="names"))))


def test_every_page_says_how_many_there_are(result):
    pages = read(result).pages
    for number, page in enumerate(pages, start=1):
        said = page.extract_text().replace(" ", "").replace("\n", "")
        assert f"page{number}of{len(pages)}" in said


def test_a_coupon_goes_through_what_its_colour_goes_through(result):
    """The recipe comes out of the coupon's own baths: dyes since its last strip, none before it counts."""
    text = words(read(result))
    for region in result.plan.regions:
        row = text[text.index(f"{region.name} {WORDS.recipe(region.recipe)}") :]
        baths = row[row.index("its coupon: ") + len("its coupon: ") : row.index("seal")]
        kept = baths.rsplit("bleach", 1)[-1].strip(" ,")
        assert kept == ", ".join(f"{dye} {minutes:g}" for dye, minutes in region.recipe.doses)


def test_baths_stand_in_the_order_of_use(result):
    """So does what the back comes out as: nothing masks it."""
    text = words(read(result))
    dyes = list(dict.fromkeys(step.dye for step in result.plan.sequence.steps if isinstance(step, DyeBath)))
    places = [text.index(f"{dye} at ") for dye in dyes]
    assert places == sorted(places)
    assert "Nothing masks the back" in text


def test_film_comes_off_last_mask_first_and_is_counted(result):
    text = words(read(result))
    laid = [step.mask for step in result.plan.sequence.steps if isinstance(step, ApplyMask)]
    count = sum(len(mask.area.pieces) for mask in result.masks)
    assert f"Peel all film ({', '.join(reversed(laid))}" in text
    assert f"Count {WORDS.pieces(count)} off each part" in text


@pytest.mark.parametrize(("quantity", "told"), [(3, "on part 1: ____ 2: ____ 3: ____"), (13, "on ______ of 13 parts")])
def test_pieces_are_counted_part_by_part(result, quantity, told):
    assert words(read(result, quantity=quantity)).count(told) == len(result.masks)


def test_what_a_loose_edge_lets_in_is_the_next_bath(result):
    text = words(read(result))
    steps = result.plan.sequence.steps
    for step in (s for s in steps if isinstance(s, ApplyMask)):
        bath = next(later for later in steps[steps.index(step) :] if isinstance(later, DyeBath | Strip))
        block = text[text.index(f"of {step.mask} on each part; set aside") :]
        said = block[: block.index("Actual:")]
        assert f"lets {'bleach' if isinstance(bath, Strip) else 'dye'} in" in said


def test_a_line_of_50_mm_stands_beside_drawings_at_actual_size(result):
    reader = read(result)
    lines = 0
    for page in reader.pages:
        start = None
        for operands, operator in ContentStream(page.get_contents(), reader).operations:
            if operator == b"m":
                start = [float(value) for value in operands]
            if operator == b"l" and start is not None:
                length = math.dist(start, [float(value) for value in operands])
                lines += math.isclose(length, 50 * MM, abs_tol=0.01)
    assert lines == words(reader).count("50 mm: check") == len(result.masks)
