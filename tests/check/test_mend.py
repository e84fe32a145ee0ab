"""Mending: what was wrong is gone, everything else is where it was, a second mending changes nothing."""

import math
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).parent))
from dialects import ALL, DXF, HPGL, SVG, XMLNS

from maskgen.check.cutfile import judge
from maskgen.check.mend import mend
from maskgen.check.settings import CheckSettings
from maskgen.formats.cutfile import read_cutfile
from maskgen.formats.svg_mended import write_mended
from maskgen.geometry.polygons import to_polygon
from maskgen.model.finding import Code
from maskgen.model.paths import Area, area_of

LINE = 'fill="none" stroke="#000" stroke-width=".05"'
OTHERS = '<path d="M40 3c5 0 9 4 9 9s-4 9-9 9s-9-4-9-9s4-9 9-9z"/><path d="M52 3h6v20h-6zM54 6v10h2v-10z"/>'


def svg(body):
    return f'<svg {XMLNS} width="60mm" height="30mm" viewBox="0 0 60 30">{body}</svg>'.encode()


def mended(data, name="a.svg"):
    drawing = read_cutfile(data, name=name)
    result = mend(drawing, name=name, settings=CheckSettings())
    return result, write_mended(result.drawing, bare=result.bare)


def codes(data, name="a.svg"):
    analysis = judge(read_cutfile(data, name=name), name=name, settings=CheckSettings())
    return {f.code for f in analysis.judgement.findings}


def vinyl(data):
    return judge(read_cutfile(data, name="a.svg"), name="a", settings=CheckSettings()).pieces.vinyl


CASES = [
    # what is wrong, its code, the area of vinyl that is right for it
    (f'<path {LINE} d="M5 5h20v20h-20v-19.5"/>', Code.OPEN_PATH, 400),
    (f'<path {LINE} d="M5 5h20v20"/><path {LINE} d="M25.3 25h-20v-19.7"/>', Code.OPEN_PATH, None),
    ('<path d="M5 5L25 25H5L25 5z"/>', Code.SELF_CROSSING, 200),
    ('<path d="M5 5h20v20h-20z"/><path d="M20 10h9v10h-9z"/>', Code.CROSSING_PIECES, 440),
    ('<path d="M5 5h20v20h-20z"/><path d="M25 10h4v10h-4z"/>', Code.DOUBLED_LINE, 440),
    ('<path d="M5 5h20v20h-20z"/><path d="M5 5h20v20h-20z"/>', Code.DOUBLED_LINE, 400),
    ('<path d="M5 5h20v20h-20z"/><path d="M25 25v-20h-20v20z"/>', Code.DOUBLED_LINE, 400),
    # a hole drawn up to the edge of its piece: what is left is a C
    ('<path d="M5 5h20v20h-20z"/><path d="M10 10h15v10h-15z"/>', Code.DOUBLED_LINE, 250),
    # two holes that overlap are one opening
    ('<path d="M5 5h20v20h-20z"/><path d="M8 8h8v8h-8z"/><path d="M12 12h8v8h-8z"/>', Code.CROSSING_PIECES, 400 - 112),
    ('<rect width="60" height="30" rx="2"/><path d="M5 5h20v20h-20z"/>', Code.BACKING_PANEL, 400),
    ('<path d="M5 5h20v20h-20z"/><path d="M3 3z"/>', Code.STRAY_POINT, 400),
    ('<path d="M5 10h20" stroke="#000" stroke-width="2"/>', Code.PEN_STROKE, 40),
    ('<rect x="6" y="6" width="18" height="18" fill="red" stroke="#000" stroke-width="2"/>', Code.PEN_STROKE, 400),
    ('<circle cx="15" cy="15" r="9" fill="none" stroke="#000" stroke-width="2"/>', Code.PEN_STROKE, 36 * math.pi),
    (f'<path d="M5 5{"h.1" * 200}v20h-20z"/>', Code.NODE_CROWD, 400),
]  # fmt: skip


@pytest.mark.parametrize(("body", "code", "area"), CASES)
def test_what_was_wrong_is_gone_and_the_rest_untouched(body, code, area):
    data = svg(body + OTHERS)
    assert code in codes(data)
    result, out = mended(data)
    assert code not in codes(out)
    assert code in {r.code for r in result.repairs}
    assert all(r.done for r in result.repairs)
    repaired, others = vinyl(out), vinyl(svg(OTHERS))
    if area is not None:
        assert repaired.area - others.area == pytest.approx(area, abs=0.02)
    # the pieces that had nothing wrong keep their nodes
    kept = [p for p in result.drawing.pieces if p.outer.segments[0].start[0] > 30]
    assert sorted(len(p.outer.segments) for p in kept) == [4, 4]
    assert repaired.intersection(shapely.box(30, 0, 60, 30)).symmetric_difference(others).area < 1e-3


@pytest.mark.parametrize(("body", "code", "area"), CASES)
def test_mending_twice_changes_nothing(body, code, area):
    _, once = mended(svg(body + OTHERS))
    again, twice = mended(once)
    assert again.repairs == ()
    assert once == twice


def test_curves_stay_within_two_hundredths():
    turns = [2 * math.pi * k / 4000 for k in range(4000)]
    ring = [(15 + (8 + math.sin(5 * t)) * math.cos(t), 15 + (8 + math.sin(5 * t)) * math.sin(t)) for t in turns]
    body = "M" + "L".join(f"{x:.5f} {y:.5f}" for x, y in ring) + "z"
    result, out = mended(svg(f'<path d="{body}"/>'))
    assert len(result.drawing.pieces[0].outer.segments) < 200
    away = shapely.hausdorff_distance(shapely.segmentize(vinyl(out).boundary, 0.05), shapely.LinearRing(ring))
    assert away < 0.02


@pytest.mark.parametrize(("name", "writer", "moved"), ALL)
def test_every_dialect_comes_out_as_it_was(name, writer, moved):
    runs = [([(3, 3), (15, 3), (15, 15), (3, 15)], True), ([(6, 6), (9, 6), (9, 9)], True)]
    runs.append(([(30, 3), (40, 3), (40, 9)], True))
    result, _ = mended(writer(runs), name)
    assert result.repairs == ()
    piece = to_polygon(result.drawing.pieces[0])
    expected = shapely.Polygon([moved(*p) for p in runs[0][0]], [[moved(*p) for p in runs[1][0]]])
    assert piece.symmetric_difference(expected).area < 0.02
    assert len(result.drawing.pieces) == 2


def test_gaps_across_single_lines_of_dxf():
    runs = [([(3, 3), (15, 3), (15, 15), (3, 15), (3, 3.2)], False)]
    for name, writer, _ in DXF + HPGL + SVG:
        result, out = mended(writer(runs), name)
        assert [r.code for r in result.repairs] == [Code.OPEN_PATH], name
        assert len(result.drawing.pieces) == 1
        assert Code.OPEN_PATH not in codes(out)


def test_what_cannot_be_known_is_left_and_said():
    data = svg(OTHERS + f'<text x="5" y="9">Sky &amp; <tspan>Ring</tspan></text><path {LINE} d="M5 12h9v9"/>')
    drawing = read_cutfile(data, name="a.svg")
    result = mend(drawing, name="a.svg", settings=CheckSettings())
    assert {(r.code, r.done) for r in result.repairs} == {(Code.LIVE_TEXT, False), (Code.OPEN_PATH, False)}
    out = write_mended(result.drawing, bare=result.bare, letters=[("Sky & Ring", (5.0, 9.0))])
    assert codes(out) == {Code.LIVE_TEXT, Code.OPEN_PATH}


def test_a_frame_stays_a_frame():
    data = svg(f'<rect width="60" height="30" {LINE}/>' + OTHERS)
    result, out = mended(data)
    assert result.repairs == ()
    assert codes(out) == codes(data) == {Code.BACKING_PANEL}


def test_area_is_kept_to_the_last_curve():
    body = '<circle cx="15" cy="15" r="9"/><circle cx="24" cy="15" r="4"/>'
    result, _ = mended(svg(body))
    (piece,) = result.drawing.pieces
    r, s, d = 9.0, 4.0, 9.0
    # lens of two circles: Weisstein, Circle-Circle Intersection, eq. 14
    a = r * r * math.acos((d * d + r * r - s * s) / (2 * d * r))
    b = s * s * math.acos((d * d + s * s - r * r) / (2 * d * s))
    c = 0.5 * math.sqrt((-d + s + r) * (d + s - r) * (d - s + r) * (d + s + r))
    assert area_of(Area((piece,))) == pytest.approx(math.pi * (r * r + s * s) - (a + b - c), rel=2e-5)
    assert np.isfinite([p for s in piece.outer.segments for p in s.start]).all()
