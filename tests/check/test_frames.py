"""A bare rectangle around everything: a frame, or the edge of a ground with openings; what outline files leave out."""

import io

import ezdxf
import pytest

from maskgen.check.cutfile import judge
from maskgen.check.mend import mend
from maskgen.check.settings import CheckSettings
from maskgen.formats.cutfile import read_cutfile
from maskgen.model.finding import Code

WIDTHS = {Code.THIN_LAND, Code.NARROW_GAP, Code.SMALL_PIECE}
# Opening widths over 0.3 mm and under 0.8 mm: sound as openings, too thin as vinyl (the default limits).
SLOTS = [(8.0 + 6 * k, 8.0, 8.5 + 6 * k, 22.0) for k in range(7)]
# Bars with a slot: walls of 1.7 mm round 0.6 mm. Read the other way round, the slots are thin pieces.
BARS = [(8.0, 8.0, 12.0, 22.0), (9.7, 10.0, 10.3, 20.0), (20.0, 8.0, 24.0, 22.0), (21.7, 10.0, 22.3, 20.0)]


def corners(box):
    a, b, c, d = box
    return [(a, b), (c, b), (c, d), (a, d)]


def as_dxf(boxes):
    document = ezdxf.new("R2010", units=4)
    for box in boxes:
        document.modelspace().add_lwpolyline(corners(box), close=True)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def as_hpgl(boxes):
    words = ["IN;SP1;"]
    for box in boxes:
        xy = [f"{round(40 * x)},{round(40 * y)}" for x, y in corners(box)]
        words.append(f"PU{xy[0]};PD{','.join([*xy[1:], xy[0]])};")
    return "".join([*words, "PU;"]).encode()


def judged(write, name, boxes):
    return judge(read_cutfile(write(boxes), name=name), name=name, settings=CheckSettings()).judgement


FORMATS = [(as_dxf, "a.dxf"), (as_hpgl, "a.plt")]


@pytest.mark.parametrize(("write", "name"), FORMATS)
def test_a_ground_with_openings_is_one_piece_and_warned_of(write, name):
    judgement = judged(write, name, [(0.0, 0.0, 60.0, 30.0), *SLOTS])
    codes = {f.code for f in judgement.findings}
    assert judgement.pieces == 1
    assert Code.BACKING_PANEL in codes
    assert not codes & WIDTHS


@pytest.mark.parametrize(("write", "name"), FORMATS)
def test_a_frame_round_sound_pieces_is_no_piece(write, name):
    judgement = judged(write, name, [(0.0, 0.0, 60.0, 30.0), *BARS])
    assert judgement.pieces == 2
    assert {f.code for f in judgement.findings} == {Code.BACKING_PANEL}


@pytest.mark.parametrize(("write", "name"), FORMATS)
def test_thin_vinyl_without_a_frame_is_still_told(write, name):
    judgement = judged(write, name, SLOTS)
    assert judgement.pieces == len(SLOTS)
    assert sum(f.code is Code.THIN_LAND for f in judgement.findings) == len(SLOTS)


def test_what_an_outline_file_leaves_out_is_said():
    svg = (
        b'<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="0 0 60 30">'
        b'<rect x="5" y="5" width="9" height="9"/><text x="20" y="20">Vega</text>'
        b'<path fill="none" stroke="#000" stroke-width="0.05" d="M30 5 L50 5 L50 20"/></svg>'
    )
    drawing = read_cutfile(svg, name="a.svg")
    told = {
        only: {r.code: r.what for r in mend(drawing, name="a", settings=CheckSettings(), outlines_only=only).repairs}
        for only in (False, True)
    }
    for code in (Code.LIVE_TEXT, Code.OPEN_PATH):
        assert "left out" in told[True][code]
        assert "left out" not in told[False][code]
