"""Faults of known kind, place and size put into clean drawings, in every dialect; values worked out by hand."""

import math
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from dialects import ALL, DXF, HPGL, SVG, XMLNS

from maskgen.check.cutfile import judge
from maskgen.check.pieces import Polarity
from maskgen.check.settings import CheckSettings
from maskgen.formats.cutfile import read_cutfile
from maskgen.model.finding import Code, Severity
from maskgen.model.job import Carrier, Part, Resist, Shape


def square(x, y, w, h=None):
    h = w if h is None else h
    return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)], True


def star(cx, cy, r, n=7):
    turn = math.pi / n
    return [
        (cx + (r if k % 2 else 0.7 * r) * math.cos(k * turn), cy + (r if k % 2 else 0.7 * r) * math.sin(k * turn))
        for k in range(2 * n)
    ], True


CLEAN = [square(3, 3, 12), square(6, 6, 6), star(28, 14, 8), square(40, 4, 16, 20)]
CLEAN_LENGTH = (
    48
    + 24
    + 72
    + sum(
        math.dist(a, b)
        for a, b in zip(star(28, 14, 8)[0], star(28, 14, 8)[0][1:] + star(28, 14, 8)[0][:1], strict=True)
    )
)


def check(data, name="file.svg", **options):
    return judge(read_cutfile(data, name=name), name=name, settings=CheckSettings(**options)).judgement


def codes(judgement):
    return [f.code for f in judgement.findings if not (f.code is Code.SCALE_DOUBT and judgement.units == "none")]


def check_all(runs, expected, dialects=ALL):
    """Judge a drawing in every dialect: the code, the place within 0.2 mm of any of the points, the value."""
    code, places, value, tolerance = expected
    for name, writer, moved in dialects:
        judgement = check(writer(runs), name)
        assert codes(judgement) == [code], (name, judgement.findings)
        found = next(f for f in judgement.findings if f.code is code)
        if places:
            away = min(math.dist(found.at_mm, moved(*place)) for place in places)
            assert away <= 0.2, (name, found.at_mm)
        if value is not None:
            assert found.value == pytest.approx(value, abs=tolerance), name


@pytest.mark.parametrize(("name", "writer", "moved"), ALL)
def test_clean_files_pass_with_their_figures(name, writer, moved):
    judgement = check(writer(CLEAN), name)
    assert codes(judgement) == []
    assert judgement.verdict == "pass"
    assert judgement.pieces == 3
    assert judgement.nodes == 4 + 4 + 14 + 4
    assert judgement.cut_length_mm == pytest.approx(CLEAN_LENGTH, rel=0.002)
    assert judgement.size_mm == pytest.approx((53, 21), abs=0.03)
    assert judgement.units == {"plain.svg": "mm", "zipped.svgz": "mm", "layered.svg": "cm", "inch.svg": "in",
                               "old.dxf": "none"}.get(name, "mm")  # fmt: skip


@pytest.mark.parametrize("gap", [0.06, 0.3, 1.5])
def test_a_gap(gap):
    run = ([(20, 22), (30, 22), (30, 28), (20, 28), (20, 22 + gap)], False)
    check_all([*CLEAN[:2], run], (Code.OPEN_PATH, [(20, 22 + gap / 2)], gap, 0.03))


@pytest.mark.parametrize("gap", [0.0, 0.009])
def test_ends_that_meet_are_closed(gap):
    run = ([(20, 22), (30, 22), (30, 28), (20, 28), (20, 22 + gap)], False)
    for name, writer, _ in ALL:
        judgement = check(writer([*CLEAN[:2], run]), name)
        assert codes(judgement) == [], name
        assert judgement.pieces == 2


def test_a_boundary_crosses_itself():
    run = ([(20, 22), (30, 28), (30, 22), (20, 28)], True)
    check_all([*CLEAN[:2], run], (Code.SELF_CROSSING, [(25, 25)], None, 0))
    # through one corner twice: lines that only share the corner's place cross all the same
    run = ([(20, 22), (25, 25), (30, 28), (30, 22), (25, 25), (20, 28)], True)
    check_all([*CLEAN[:2], run], (Code.SELF_CROSSING, [(25, 25)], None, 0), SVG)


def test_a_boundary_that_touches_itself_does_not_cross():
    run = ([(20, 22), (25, 25), (30, 22), (30, 28), (25, 25), (20, 28)], True)
    for name, writer, _ in SVG:
        assert Code.SELF_CROSSING not in codes(check(writer([run]), name))


def test_pieces_that_overlap():
    crossings = [(24, 24), (22, 26)]
    check_all([*CLEAN[:2], square(18, 22, 6, 4), square(22, 24, 6, 4)], (Code.CROSSING_PIECES, crossings, None, 0))
    # by 0.03 mm it is an overlap, by 0.004 a line cut twice
    check_all([*CLEAN[:2], square(20, 22, 5), square(24.97, 21.3, 6)],
              (Code.CROSSING_PIECES, [(25, y / 10) for y in range(220, 271)], None, 0), SVG + DXF)  # fmt: skip


@pytest.mark.parametrize("shift", [0.0, 0.004])
def test_a_line_cut_twice(shift):
    # in part: 5 mm of the edges of two neighbours
    line = [(25, y / 10) for y in range(220, 271)]
    check_all(
        [*CLEAN[:2], square(20, 22, 5), square(25 + shift, 21, 6, 7)], (Code.DOUBLED_LINE, line, 5, 0.03), SVG + DXF
    )
    # wholly: a copy of 20 mm
    outline = [(20 + a / 10, y) for a in range(51) for y in (22, 27)] + [
        (x, 22 + a / 10) for a in range(51) for x in (20, 25)
    ]
    check_all([*CLEAN[:2], square(20, 22, 5), square(20 + shift, 22, 5)],
              (Code.DOUBLED_LINE, outline, 20, 0.05), SVG + DXF)  # fmt: skip


def test_a_short_doubled_stretch_and_lines_a_little_apart():
    for name, writer, moved in SVG + DXF:
        judgement = check(writer([*CLEAN[:2], square(20, 22, 5), square(25, 26.7, 4, 3)]), name)
        found = judgement.findings[0]
        assert (found.code, found.value) == (Code.DOUBLED_LINE, pytest.approx(0.3, abs=0.03))
        assert math.dist(found.at_mm, moved(25, 26.85)) < 0.2
    for name, writer, _ in SVG + DXF:
        assert Code.DOUBLED_LINE not in codes(check(writer([square(20, 22, 5), square(25.008, 22, 5)]), name))


def test_curves_that_touch_are_no_doubled_line():
    body = '<circle cx="10" cy="10" r="5"/><circle cx="20" cy="10" r="5"/><path d="M5 15h20v5h-20z"/>'
    assert Code.DOUBLED_LINE not in codes(check(mm_svg(body)))


def test_a_doubled_curve_of_other_nodes():
    half = '<path d="M5 10a5 5 0 0 1 10 0a5 5 0 0 1-10 0z"/>'
    judgement = check(mm_svg(f'<circle cx="10" cy="10" r="5"/>{half}'))
    assert codes(judgement) == [Code.DOUBLED_LINE]
    assert judgement.findings[0].value == pytest.approx(10 * math.pi, abs=0.02)
    assert judgement.pieces == 1


def mm_svg(body, attributes='width="60mm" height="30mm" viewBox="0 0 60 30"'):
    return f"<svg {XMLNS} {attributes}>{body}</svg>".encode()


BODY = '<path d="M5 5h20v20h-20z"/><path d="M35 5h20v20h-20z"/>'
CASES = [
    # a filled rectangle behind everything, rounded, or turned; a bare one; alone, beside, with holes of its own
    ('<rect width="60" height="30"/>' + BODY, [(Code.BACKING_PANEL, Severity.ERROR)]),
    (BODY + '<rect x="1" y="1" width="58" height="28" rx="4" fill="#eee" stroke="#000" stroke-width=".1"/>',
     [(Code.BACKING_PANEL, Severity.ERROR)]),
    ('<rect x="1" y="1" width="58" height="28" fill="none" stroke="#000" stroke-width=".1"/>' + BODY,
     [(Code.BACKING_PANEL, Severity.WARNING)]),
    ('<rect x="1" y="1" width="58" height="28"/>', []),
    ('<rect x="1" y="1" width="28" height="28"/><rect x="31" y="1" width="28" height="28"/>', []),
    ('<path fill-rule="evenodd" d="M1 1h58v28h-58zM5 5h20v20h-20zM35 5h20v20h-20z"/>', []),
    ('<circle cx="30" cy="15" r="14.5"/><path d="M25 10h10v10h-10z"/>', []),
    # letters, pictures, pens
    (BODY + '<text x="30" y="15">A</text>', [(Code.LIVE_TEXT, Severity.ERROR)]),
    (BODY + '<image x="30" y="15" width="3" height="3" href="data:image/png;base64,AA"/>', [(Code.PICTURE, Severity.ERROR)]),  # noqa: E501
    (BODY + '<path fill="none" stroke="#000" stroke-width=".35" d="M27 10h6"/>', [(Code.PEN_STROKE, Severity.ERROR)]),
    (BODY + '<path stroke="#000" stroke-width=".1" d="M27 10h6v6h-6z"/>', []),
    ('<g stroke="#000" stroke-width=".3">' + BODY + "</g>", [(Code.PEN_STROKE, Severity.ERROR)] * 2),
    ('<g transform="scale(.1)"><path d="M50 50h200v200h-200z" stroke="red" stroke-width="1"/></g>', []),
    # pages
    ('<path d="M45 5h15.3v10h-15.3z"/>', [(Code.OFF_SHEET, Severity.ERROR)]),
    ('<path d="M40 5h20v25h-20z"/>', []),
    # what is not seen counts for nothing
    (BODY + '<defs><text>A</text><image href="a.png" width="1" height="1"/><linearGradient id="g"/></defs>'
     '<g display="none"><text>B</text></g><text visibility="hidden">C</text><text x="3" y="3"> </text>'
     '<path d="M0 0h24v24H0z" fill="none"/><rect width="60" height="30" opacity="0"/>', []),
    (BODY + '<clipPath id="c"><path d="M0 0h60v30h-60z"/></clipPath><g clip-path="url(#c)"><path d="M27 5h6v20h-6z"/></g>', []),  # noqa: E501
    # what is seen and not understood
    ('<linearGradient id="g"><stop stop-color="red"/></linearGradient><path fill="url(#g)" d="M5 5h20v20h-20z"/>',
     [(Code.UNREAD, Severity.WARNING)]),
    ('<g filter="url(#f)">' + BODY + "</g>", [(Code.UNREAD, Severity.WARNING)]),
    ('<g mask="url(#f)">' + BODY + "</g>", [(Code.UNREAD, Severity.WARNING)]),
    ('<pattern id="p"/><path fill="url(#p)" stroke="red" stroke-width=".1" d="M5 5h20v20h-20z"/>',
     [(Code.UNREAD, Severity.WARNING)]),
    ('<clipPath id="c"><path d="M0 0h10v30h-10z"/></clipPath><g clip-path="url(#c)"><path d="M5 5h20v20h-20z"/></g>',
     [(Code.UNREAD, Severity.WARNING)]),
    (BODY + '<foreignObject width="5" height="5"/>', [(Code.UNREAD, Severity.WARNING)]),
    (BODY + '<use href="http://example.org/a.svg#b"/>', [(Code.UNREAD, Severity.WARNING)]),
    (BODY + '<path d="M27 5h6v6h-6z l5,x"/>', [(Code.UNREAD, Severity.WARNING)]),
    # opacity changes no cut line
    ('<g opacity=".5">' + BODY + "</g>", []),
    # points, nodes
    (BODY + '<path d="M30 10z"/>', [(Code.STRAY_POINT, Severity.NOTE)]),
    ('<path d="M5 5h20v20h-20zM30 15"/>', [(Code.STRAY_POINT, Severity.NOTE)]),
    (f'<path d="M5 5{"h.5" * 40}v20h-20z"/>', [(Code.NODE_CROWD, Severity.NOTE)]),
    (f'<path d="M5 5{"h.6" * 35}v20h-20z"/>', []),
    # one compound path: its runs crossing is the path crossing itself
    ('<path d="M5 5h10v10h-10zM12 12h10v10h-10z"/>', [(Code.SELF_CROSSING, Severity.ERROR)]),
    # a clip round nothing but a point
    ('<clipPath id="c"><path d="M0 0h9v9z"/></clipPath><path clip-path="url(#c)" d="M5 5"/>' + BODY,
     [(Code.STRAY_POINT, Severity.NOTE)]),
    # a fill without Z is closed
    ('<path d="M5 5h20v20h-20"/>', []),
    # an outline drawn in four separate lines
    ('<g stroke="#000" stroke-width=".1"><line x1="5" y1="5" x2="25" y2="5"/><line x1="25" y1="25" x2="25" y2="5"/>'
     '<line x1="25" y1="25" x2="5" y2="25"/><line x1="5" y1="5" x2="5" y2="25"/></g>', []),
]  # fmt: skip


@pytest.mark.parametrize(("body", "expected"), CASES)
def test_drawings(body, expected):
    judgement = check(mm_svg(body))
    assert [(f.code, f.severity) for f in judgement.findings] == expected
    assert judgement.verdict == ("fail" if any(s is Severity.ERROR for _, s in expected) else "pass")


@pytest.mark.parametrize(("width", "told"), [(0.75, True), (0.85, False)])
def test_thin_land(width, told):
    runs = [*CLEAN[:2], square(20, 24, 8, width)]
    if told:
        check_all(runs, (Code.THIN_LAND, [(20 + x / 10, 24 + width / 2) for x in range(81)], width, 0.03))
    else:
        assert all(codes(check(writer(runs), name)) == [] for name, writer, _ in ALL)


@pytest.mark.parametrize(("width", "told"), [(0.45, True), (0.55, False)])
def test_narrow_gap(width, told):
    runs = [*CLEAN[:2], square(20, 22, 5), square(25 + width, 22, 5)]
    if told:
        check_all(runs, (Code.NARROW_GAP, [(25 + width / 2, 22 + y / 10) for y in range(51)], width, 0.03))
    else:
        assert all(codes(check(writer(runs), name)) == [] for name, writer, _ in ALL)


@pytest.mark.parametrize(("side", "told"), [(1.2, True), (1.25, False)])
def test_small_piece(side, told):
    runs = [*CLEAN[:2], square(20, 24, side)]
    if told:
        check_all(runs, (Code.SMALL_PIECE, [(20 + side * a / 9, 24 + side * b / 9) for a in range(10) for b in range(10)],  # noqa: E501
                         side * side, 0.08))  # fmt: skip
    else:
        assert all(codes(check(writer(runs), name)) == [] for name, writer, _ in ALL)


def test_loose_island_under_every_carrier():
    runs = [square(3, 3, 20), square(6, 6, 14), square(10, 10, 6), square(30, 3, 20)]
    inside = [(10 + 6 * a / 40, 10 + 6 * b / 40) for a in range(41) for b in range(41)]
    check_all(runs, (Code.LOOSE_ISLAND, inside, None, 0))
    data = ALL[0][1](runs)
    severities = {c: check(data, resist=Resist(carrier=c)).findings[0].severity for c in Carrier}
    assert severities == {
        Carrier.TAPE: Severity.WARNING, Carrier.LOOSE: Severity.WARNING, Carrier.STENCIL: Severity.ERROR
    }  # fmt: skip


def test_units():
    for attributes, units, doubted, side in [
        ('width="60mm" height="30mm" viewBox="0 0 60 30"', "mm", False, 20),
        ('width="6cm" height="3cm" viewBox="0 0 60 30"', "cm", False, 20),
        ('width="60px" height="30px"', "px", False, 20 * 25.4 / 96),
        ('width="60pt" height="30pt" viewBox="0 0 60 30"', "pt", False, 20 * 25.4 / 72),
        ('width="60" height="30"', "none", True, 20 * 25.4 / 96),
        ('viewBox="0 0 60 30"', "none", True, 20 * 25.4 / 96),
        ('width="100%" height="100%" viewBox="0 0 60 30"', "none", True, 20 * 25.4 / 96),
        ('width="2in" viewBox="0 0 60 30"', "in", False, 20 * 50.8 / 60),
    ]:
        judgement = check(mm_svg('<path d="M5 5h20v20h-20z"/>', attributes))
        assert judgement.units == units
        assert (Code.SCALE_DOUBT in [f.code for f in judgement.findings]) == doubted
        assert judgement.size_mm == pytest.approx((side, side))


@pytest.mark.parametrize(
    ("scale", "word"), [(1.0, None), (96 / 25.4, "25.4/96"), (72 / 25.4, "25.4/72"), (25.4, "inches"), (10, "10 times")]
)
def test_a_size_that_does_not_fit_the_part(scale, word):
    data = mm_svg(f'<path d="M0 0H{60 * scale}V{30 * scale}H0z"/>',
                  f'width="{60 * scale}mm" height="{30 * scale}mm" viewBox="0 0 {60 * scale} {30 * scale}"')  # fmt: skip  # noqa: E501
    part = Part(Shape.PLATE, width_mm=60, height_mm=30)
    found = [f for f in check(data, part=part, sheet_mm=(2000, 2000)).findings if f.code is Code.SCALE_DOUBT]
    assert bool(found) == (word is not None)
    if word:
        assert word in found[0].message


def test_sheets():
    data = mm_svg('<path d="M0 0H350V310H0z"/>', 'width="400mm" height="320mm" viewBox="0 0 400 320"')
    assert codes(check(data)) == [Code.OFF_SHEET]
    assert codes(check(data, sheet_mm=(320, 360))) == []
    assert codes(check(data, sheet_mm=(320, 340))) == [Code.OFF_SHEET]
    assert codes(check(b"IN;SP1;PU-40,0;PD400,0,400,400,-40,400,-40,0;PU;", "a.plt")) == [Code.OFF_SHEET]
    negative = DXF[0][1]([square(-20, 40, 10)])
    assert codes(check(negative, "a.dxf")) == []


def test_polarity():
    runs = [square(3, 3, 20), square(6, 6, 14), square(10, 10, 6), square(30, 3, 20)]
    assert check(ALL[0][1](runs)).pieces == 3
    judgement = check(ALL[0][1](runs), polarity=Polarity.OUTSIDE)
    assert judgement.pieces == 1
    assert any("polarity" in note for note in judgement.notes)


def test_frames_in_dxf_and_hpgl_are_warnings():
    runs = [square(1, 1, 58, 28), square(5, 5, 20), square(35, 5, 20)]
    for name, writer, _ in DXF + HPGL:
        judgement = check(writer(runs), name)
        assert codes(judgement) == [Code.BACKING_PANEL]
        assert judgement.verdict == "pass"
        assert judgement.pieces == 2


def test_more_pieces_than_anybody_weeds_are_not_looked_through(monkeypatch):
    """Thin strips are told of, unless there are too many pieces: then that is told instead."""
    monkeypatch.setattr("maskgen.check.cutfile.MOST_PIECES", 3)
    runs = [square(2 + 5 * k, 2, 0.4, 10) for k in range(5)]
    few, many = check(SVG[0][1](runs[:3])), check(SVG[0][1](runs))
    assert codes(few) == [Code.THIN_LAND] * 3
    assert codes(many) == [Code.UNREAD]
    assert many.pieces == 5
