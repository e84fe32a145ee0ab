"""Files that mean harm, or are broken: one line that says why, bounded time and memory, never another file."""

import gzip
import time

import ezdxf
import pytest

from maskgen.check.cutfile import judge
from maskgen.check.settings import CheckSettings
from maskgen.errors import InputError
from maskgen.formats.cutfile import read_cutfile

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="60mm" height="30mm" viewBox="0 0 60 30">'  # noqa: E501
SQUARE = '<path d="M5 5h20v20h-20z"/>'
BOMB = (
    '<!DOCTYPE svg [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {chr(98 + k)} "{f"&{chr(97 + k)};" * 10}">' for k in range(9))
    + "]>"
)
FILE_ENTITY = '<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
USES = (
    "<defs>"
    + "".join(
        f'<g id="u{k}">{"<use xlink:href=" + chr(34) + f"#u{k - 1}" + chr(34) + "/>" if k else SQUARE}' * 1
        + (f'<use href="#u{k - 1}"/>' * 9 if k else "")
        + "</g>"
        for k in range(9)
    )
    + '</defs><use href="#u8"/>'
)


def blocks(depth, width):
    document = ezdxf.new("R2000")
    document.blocks.new("B0").add_lwpolyline([(0, 0), (1, 0), (1, 1)], close=True)
    for k in range(1, depth):
        block = document.blocks.new(f"B{k}")
        for j in range(width):
            block.add_blockref(f"B{k - 1}", (j, k))
    document.modelspace().add_blockref(f"B{depth - 1}", (0, 0))
    return encoded(document)


def encoded(document):
    import io

    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


def with_number(word):
    document = ezdxf.new("R2000")
    document.modelspace().add_line((0, 0), (1234.5, 1))
    return encoded(document).replace(b"1234.5", word)


REFUSED = [
    ("a.svg", (BOMB + HEAD + "<text>&j;</text></svg>").encode(), "entities"),
    ("a.svg", (FILE_ENTITY + HEAD + "<text>&x;</text></svg>").encode(), "entities"),
    ("a.svg", (HEAD + USES + "</svg>").encode(), "too many elements"),
    ("a.svg", (HEAD + "<g>" * 5000 + "</g>" * 5000 + "</svg>").encode(), "nested too deeply"),
    ("a.svg", (HEAD + "<g/>" * 200_000 + "</svg>").encode(), "too many elements"),
    ("a.svg", (HEAD + f'<path d="M0 0{"h1" * 400_001}"/></svg>').encode(), "too many nodes"),
    ("a.svg", (HEAD + '<path d="M0 0h1e300v1z"/></svg>').encode(), "beyond"),
    ("a.svg", (HEAD + '<g transform="scale(1e200)"><path d="M0 0h1e200v1z"/></g></svg>').encode(), "beyond"),
    ("a.svg", HEAD.encode() + SQUARE.encode(), "not well-formed"),
    ("a.svg", b"<html><body/></html>", "no SVG"),
    ("a.svg", b"", "empty"),
    ("a.svg", b"\xff\xfe\x00\x01", "not well-formed"),
    ("a.svgz", gzip.compress(b" " * 100_000_000), "too many bytes"),
    ("a.svgz", gzip.compress((HEAD + "</svg>").encode())[:-12], "unpacked"),
    ("a.dxf", blocks(12, 10), "too many entities"),
    ("a.dxf", with_number(b"nan"), "not a number"),
    ("a.dxf", with_number(b"1e300"), "beyond"),
    ("a.dxf", b"GIF89a", "no DXF"),
    ("a.plt", b"hello world", "no HPGL"),
    ("a.plt", b"IN;SP1;PU0,0;PD99999999999999999999,5;", "beyond"),
    ("a.xyz", b"nothing known", "neither SVG"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "data", "word"), REFUSED)
def test_refused_in_one_line(name, data, word):
    begin = time.process_time()
    with pytest.raises(InputError) as caught:
        judge(read_cutfile(data, name=name), name=name, settings=CheckSettings())
    assert word in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "/etc/passwd" not in str(caught.value)
    assert time.process_time() - begin < 20


def test_lines_too_dense_to_judge():
    strokes = "".join(f"M{k % 97} {k % 89}L{60 - k % 83} {30 + k % 71}" for k in range(8_000))
    data = (HEAD + f'<path fill="none" stroke="red" stroke-width=".05" d="{strokes}"/></svg>').encode()
    with pytest.raises(InputError, match="densely"):
        judge(read_cutfile(data, name="a.svg"), name="a.svg", settings=CheckSettings())


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ('<g id="a"><use href="#a"/></g>', "within itself"),
        ('<g id="a"><use href="#b"/></g><g id="b"><use href="#a"/></g>', "within itself"),
        ('<path d="M5 5h20v20h-20z nan 3"/>', "breaks off"),
        ('<path d="M5 5h20v1e999h-20z"/>', "breaks off"),
        ('<polygon points="1,1 5,1 5,x"/>', "'x'"),
        ('<rect width="5furlongs" height="3"/><rect width="3" height="3"/>', "furlongs"),
        ('<use href="file:///etc/passwd#a"/>', "another file"),
        ('<style>@import url("http://127.0.0.1:1/a.css");</style>', "@import"),
        ('<g transform="wobble(3)"><path d="M1 1h2v2z"/></g>', "wobble"),
    ],
)  # fmt: skip
def test_named_and_gone_on(body, said):
    drawing = read_cutfile((HEAD + SQUARE + body + "</svg>").encode(), name="a.svg")
    assert any(said in feature.name for feature in drawing.features), drawing.features
    assert len(drawing.paths) >= 1


def test_blocks_within_themselves():
    document = ezdxf.new("R2000")
    block = document.blocks.new("A")
    block.add_blockref("A", (1, 0))
    block.add_circle((0, 0), 1)
    document.modelspace().add_blockref("A", (0, 0))
    drawing = read_cutfile(encoded(document), name="a.dxf")
    assert any("within itself" in f.name or "damaged" in f.name for f in drawing.features)


@pytest.mark.parametrize(
    ("text", "runs"),
    [
        # every way of writing a square, or of a square and nothing else
        ("IN;SP1;PU400,400;PD800,400,800,800,400,800,400,400;PU;", 1),
        ("in sp1 pu400 400 pd800 400 800 800 400 800 400 400 pu", 1),
        ("IN;SP1;PA400,400;PD;PR400,0,0,400,-400,0,0,-400;PU;", 1),
        ("\x1b.(;\x1b.I81;;17:IN;SP1;PU400,400PD800,400PA800,800,400,800PA400,400PU", 1),
        ("IN;CO \"PD1,1\";SP1;VS20;DT*;LBPD5,5;PU*PU400,400;EA800,800;", 1),
        ("IN;IP0,0,4000,4000;SC0,100,0,100;SP1;PU10,10;PD20,10,20,20,10,20,10,10;PU;", 1),
        ("IN;SP1;PU400,400;CI200;PU1000,400;CI200,5;", 2),
    ],
)  # fmt: skip
def test_hpgl_dialects(text, runs):
    drawing = read_cutfile(text.encode("latin-1"), name="a.plt")
    assert len([p for p in drawing.paths if len(p.subpaths[0].straight)]) == runs
    analysis = judge(drawing, name="a", settings=CheckSettings())
    assert analysis.judgement.pieces == runs


def test_hpgl_arcs_and_turns():
    half = read_cutfile(b"IN;SP1;PU400,400;PD;AA800,400,180;PA400,400;PU;", name="a.plt")
    judgement = judge(half, name="a", settings=CheckSettings()).judgement
    assert judgement.cut_length_mm == pytest.approx(10 * 3.14159265 + 20, rel=1e-4)
    turned = read_cutfile(b"IN;RO90;SP1;PU400,400;PD1200,400,1200,800,400,800,400,400;PU;", name="a.plt")
    judgement = judge(turned, name="a", settings=CheckSettings()).judgement
    assert judgement.size_mm == pytest.approx((10, 20))
    assert not judgement.findings


def test_dxf_mirrored_frames_bulges_and_layers():
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 1
    space = document.modelspace()
    space.add_lwpolyline([(1, 1, 0), (3, 1, 1), (3, 2, 0), (1, 2, 0)], format="xyb", close=True)
    space.add_circle((-5, 1), 0.5, dxfattribs={"extrusion": (0, 0, -1)})
    document.layers.add("OFF").off()
    space.add_circle((9, 9), 1, dxfattribs={"layer": "OFF"})
    judgement = judge(read_cutfile(encoded(document), name="a.dxf"), name="a", settings=CheckSettings()).judgement
    assert judgement.units == "in"
    assert judgement.pieces == 2
    # the mirrored circle lies at x = +5: from 1 to 5.5 in, and the half disc bulges to 3.5
    assert judgement.size_mm == pytest.approx((4.5 * 25.4, 1.5 * 25.4), rel=1e-4)
    assert judgement.cut_length_mm == pytest.approx(25.4 * (2 + 2 + 1 + 3.14159265 * 1.5), rel=1e-4)


def test_dxf_width_is_a_pen_and_line_weight_is_not():
    document = ezdxf.new("R2000", units=4)
    space = document.modelspace()
    space.add_lwpolyline([(0, 0), (9, 0), (9, 9)], close=True, dxfattribs={"const_width": 0.5})
    space.add_lwpolyline([(20, 0), (29, 0), (29, 9)], close=True, dxfattribs={"lineweight": 100})
    findings = judge(
        read_cutfile(encoded(document), name="a.dxf"), name="a", settings=CheckSettings()
    ).judgement.findings
    assert [(f.code.value, f.value) for f in findings] == [("pen-stroke", 0.5)]
