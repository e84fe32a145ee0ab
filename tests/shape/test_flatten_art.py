"""Artwork flattened in painting order; expected areas are worked out by hand, pixels come from another renderer."""

import io
import math

import numpy as np
import pytest
import resvg_py
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from maskgen.errors import InputError
from maskgen.formats.svg_artwork import read_svg_artwork
from maskgen.formats.svg_write import write_regions
from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.finding import Code
from maskgen.model.paths import Cubic, area_of, node_count
from maskgen.shape.flatten_art import flatten_artwork

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '


def flatten_text(body, attributes='width="100" height="50" viewBox="0 0 100 50"'):
    return flatten_artwork(read_svg_artwork(f"{HEAD}{attributes}>{body}</svg>".encode(), name="art.svg"))


def areas(body, **options):
    partition, _ = flatten_text(body, **options)
    return {region.name: area_of(region.area) for region in partition.regions}


CASES = [
    # what lies on top hides what is below
    ('<rect width="40" height="20" fill="red"/><rect x="20" width="40" height="20" fill="blue"/>',
     {"#ff0000": 400, "#0000ff": 800, "clear": 3800}),
    # the whole canvas covered: nothing is clear
    ('<path d="M-5-5h200v200h-200z" fill="#123456"/>', {"#123456": 5000}),
    # one colour in two places is one region
    ('<rect width="10" height="10" fill="red"/><rect x="50" width="10" height="10" fill="#f00"/>',
     {"#ff0000": 200, "clear": 4800}),
    # fill rules: two squares walked the same way
    ('<path d="M0 0h30v30h-30zM10 10h10v10h-10z"/>', {"#000000": 900, "clear": 4100}),
    ('<path fill-rule="evenodd" d="M0 0h30v30h-30zM10 10h10v10h-10z"/>', {"#000000": 800, "clear": 4200}),
    # a figure of eight, filled by both rules: two triangles of half of 20 x 10 each
    ('<path d="M0 0L20 20H0L20 0z"/>', {"#000000": 200, "clear": 4800}),
    # nested transforms: scale 2, then moved; 5 x 5 becomes 10 x 10
    ('<g transform="translate(10 10)"><g transform="scale(2)"><rect width="5" height="5"/></g></g>',
     {"#000000": 100, "clear": 4900}),
    # use and symbol, the symbol's viewBox of 10 fitted into 20
    ('<defs><symbol id="s" viewBox="0 0 10 10"><rect width="10" height="10" fill="red"/></symbol></defs>'
     '<use xlink:href="#s" x="5" y="5" width="20" height="20"/>', {"#ff0000": 400, "clear": 4600}),
    # style sheets: class over type, identifier over class, inline over all, !important over that
    ('<style>rect{fill:red} .a{fill:blue} #b{fill:lime}</style><rect class="a" width="10" height="10"/>'
     '<rect class="a" id="b" x="20" width="10" height="10"/><rect style="fill:#abc" x="40" width="10" height="10"/>',
     {"#0000ff": 100, "#00ff00": 100, "#aabbcc": 100, "clear": 4700}),
    ('<style>g > .x{fill:red!important} g rect{fill:blue}</style><g><rect class="x" style="fill:lime" width="10" height="10"/>'  # noqa: E501
     '</g>', {"#ff0000": 100, "clear": 4900}),
    # inheritance, currentColor
    ('<g fill="currentColor" color="#102030"><rect width="10" height="10"/></g>', {"#102030": 100, "clear": 4900}),
    # hidden things count for nothing
    ('<rect width="10" height="10"/><rect x="20" width="9" height="9" display="none"/>'
     '<g visibility="hidden"><rect x="30" width="9" height="9"/></g><rect x="50" width="9" height="9" opacity="0"/>'
     '<defs><rect x="60" width="9" height="9"/></defs>', {"#000000": 100, "clear": 4900}),
    # strokes: butt 20 x 4; square 24 x 4
    ('<path d="M10 10h20" stroke="red" stroke-width="4"/>', {"#ff0000": 80, "clear": 4920}),
    ('<path d="M10 10h20" stroke="red" stroke-width="4" stroke-linecap="square"/>', {"#ff0000": 96, "clear": 4904}),
    # a mitred corner: two bars of 20 x 4 meeting in a square of 4 (each 18 + the corner's 16)
    ('<path fill="none" d="M30 10h-20v20" stroke="red" stroke-width="4"/>', {"#ff0000": 160, "clear": 4840}),
    # beyond the mitre limit it is a bevel: the corner's outer triangle of 2 x 2 / 2 is all that is added
    ('<path fill="none" d="M30 10h-20v20" stroke="red" stroke-width="4" stroke-miterlimit="1"/>',
     {"#ff0000": 158, "clear": 4842}),
    # a stroked square is a frame: 24^2 - 16^2
    ('<rect x="10" y="10" width="20" height="20" fill="none" stroke="red" stroke-width="4"/>',
     {"#ff0000": 320, "clear": 4680}),
    # dashes 5 on, 5 off over 20, then shifted by 5: the same ink elsewhere
    ('<path d="M10 10h20" stroke="red" stroke-width="4" stroke-dasharray="5"/>', {"#ff0000": 40, "clear": 4960}),
    ('<path d="M10 10h20" stroke="red" stroke-width="2" stroke-dasharray="4 1 2" stroke-dashoffset="1"/>',
     {"#ff0000": 2 * (3 + 2 + 1 + 4 + 2), "clear": 5000 - 24}),
    # a pen under a skewed frame: 2 wide across, stretched three times along y
    ('<g transform="scale(1 3)"><path d="M10 5h20" stroke="red" stroke-width="2"/></g>',
     {"#ff0000": 120, "clear": 4880}),
    # fill under stroke: the stroke hides half its width of the fill
    ('<rect x="10" y="10" width="20" height="20" fill="blue" stroke="red" stroke-width="4"/>',
     {"#ff0000": 320, "#0000ff": 256, "clear": 5000 - 576}),
    # clip paths cut; one inside another cuts further
    ('<clipPath id="c"><rect width="15" height="50"/></clipPath><rect clip-path="url(#c)" width="30" height="10"/>',
     {"#000000": 150, "clear": 4850}),
    ('<clipPath id="c"><rect width="15" height="50"/></clipPath><clipPath id="d"><rect width="50" height="4"/></clipPath>'  # noqa: E501
     '<g clip-path="url(#c)"><rect clip-path="url(#d)" width="30" height="10"/></g>', {"#000000": 60, "clear": 4940}),
    ('<clipPath id="c" clipPathUnits="objectBoundingBox"><rect width=".5" height="1"/></clipPath>'
     '<rect clip-path="url(#c)" x="10" width="30" height="10"/>', {"#000000": 150, "clear": 4850}),
    # half black over white is the grey between; over nothing it is black where it is at least half there
    ('<rect width="20" height="10" fill="white"/><rect width="10" height="10" fill-opacity=".4"/>',
     {"#ffffff": 100, "#999999": 100, "clear": 4800}),
    # a group fades as a whole: its two overlapping squares do not show through one another
    ('<rect width="100" height="50" fill="white"/><g opacity=".5"><rect width="20" height="10" fill="#000"/>'
     '<rect x="10" width="20" height="10" fill="#f00"/></g>',
     {"#ffffff": 4700, "#808080": 100, "#ff8080": 200}),
    # an inner window hides what lies outside it
    ('<svg x="10" y="10" width="20" height="20" viewBox="0 0 10 10"><rect x="5" width="10" height="10"/></svg>',
     {"#000000": 200, "clear": 4800}),
    # the branch of a switch that needs no extension
    ('<switch><foreignObject requiredExtensions="x"/><g><rect width="10" height="10"/></g></switch>',
     {"#000000": 100, "clear": 4900}),
]  # fmt: skip


@pytest.mark.parametrize(("body", "expected"), CASES)
def test_areas_by_hand(body, expected):
    found = areas(body)
    assert found.keys() == expected.keys()
    for name, area in expected.items():
        assert found[name] == pytest.approx(area, abs=2e-4), name


@pytest.mark.parametrize(
    ("body", "expected"),
    [
        ('<circle cx="20" cy="20" r="10"/>', 100 * math.pi),
        ('<ellipse cx="30" cy="20" rx="20" ry="10"/>', 200 * math.pi),
        ('<rect x="10" y="10" width="30" height="20" rx="5"/>', 600 - (4 - math.pi) * 25),
        ('<path d="M10 20a10 10 0 0 1 20 0z"/>', 50 * math.pi),
        ('<path d="M10 20a10 10 0 1120 0z" fill-rule="evenodd"/>', 50 * math.pi),
        # round caps: a bar and two half discs
        ('<path d="M10 20h30" stroke="#000" stroke-width="6" stroke-linecap="round"/>', 180 + 9 * math.pi),
        # a ring of ink
        ('<circle cx="20" cy="20" r="10" fill="none" stroke="#000" stroke-width="4"/>', math.pi * (144 - 64)),
        # a dot: a run of no length with round ends
        ('<path d="M20 20h0" stroke="#000" stroke-width="6" stroke-linecap="round"/>', 9 * math.pi),
        # a round joint adds a quarter disc to two bars that overlap in a quarter of a square
        ('<path fill="none" d="M30 10h-20v20" stroke="#000" stroke-width="4" stroke-linejoin="round"/>',
         160 - 4 + math.pi),
    ],
)  # fmt: skip
def test_round_areas(body, expected):
    assert areas(body)["#000000"] == pytest.approx(
        expected, rel=3e-5, abs=0.01
    )  # a quarter turn in one cubic is off by 2.7e-4 of the radius


def test_untouched_curves_stay_and_neighbours_share_them():
    partition, findings = flatten_text('<rect width="100" height="50" fill="#eee"/><circle cx="30" cy="20" r="10"/>')
    ground, disc = partition.regions
    assert not findings
    hole = ground.area.pieces[0].holes[0]
    assert set(hole.reversed().segments) == set(disc.area.pieces[0].outer.segments)
    assert all(isinstance(s, Cubic) for s in hole.segments)
    assert node_count(disc.area) == 8


def test_a_cut_curve_is_split_where_it_is_cut():
    partition, _ = flatten_text(
        '<circle cx="30" cy="20" r="10" fill="red"/><rect x="30" y="0" width="50" height="50"/>'
    )
    half = next(r for r in partition.regions if r.name == "#ff0000")
    ends = [p for s in half.area.pieces[0].outer.segments for p in (s.start, s.end)]
    assert min(math.dist(p, (30, 10)) for p in ends) < 1e-9
    assert min(math.dist(p, (30, 30)) for p in ends) < 1e-9
    assert area_of(half.area) == pytest.approx(50 * math.pi, rel=1e-5)


def test_canvas_is_the_viewport():
    # a viewBox that does not fit is centred: 100 x 100 in 200 x 100 leaves a strip of 50 on both sides
    found = areas('<rect width="100" height="100"/>', attributes='width="200" height="100" viewBox="0 0 100 100"')
    assert found == {"#000000": pytest.approx(10000), "clear": pytest.approx(10000)}
    # a viewBox that begins elsewhere is moved to the origin
    partition, _ = flatten_text('<rect x="-5" y="-5" width="10" height="10"/>', 'viewBox="-5 -5 20 20"')
    (left, top) = min(s.start for s in partition.regions[1].area.pieces[0].outer.segments)
    assert (left, top, partition.width, partition.height) == (0.0, 0.0, 20.0, 20.0)


@pytest.mark.parametrize(
    ("body", "word"),
    [
        ('<linearGradient id="g"><stop stop-color="red"/></linearGradient><rect width="9" height="9" fill="url(#g)"/>',
         "gradient"),
        ('<rect width="9" height="9" filter="url(#f)"/>', "filter"),
        ('<rect width="9" height="9" mask="url(#f)"/>', "mask"),
        ('<rect width="9" height="9"/><image href="data:," width="5" height="5"/>', "picture"),
        ('<marker id="m"/><path d="M0 0h9v9z" marker-end="url(#m)"/>', "marker"),
        ('<rect width="9" height="9" opacity=".5"/>', "see-through"),
        ('<rect width="9" height="9"/><foreignObject width="9" height="9"/>', "foreignObject"),
        ('<rect width="9" height="9"/><use href="other.svg#a"/>', "another file"),
        ('<rect width="9" height="9"/><g id="g"><use href="#g"/></g>', "within itself"),
        ('<path d="M0 0h9v9z M5 nan"/>', "breaks off"),
    ],
)  # fmt: skip
def test_what_is_not_read_is_named(body, word):
    _, findings = flatten_text(body)
    assert [f.code for f in findings] == [Code.UNREAD]
    assert word in findings[0].message


def test_typed_letters_are_an_error():
    _, (finding,) = flatten_text('<rect width="9" height="9"/><text x="3" y="4">Sky</text>')
    assert finding.code is Code.LIVE_TEXT
    assert finding.at_mm == (3.0, 4.0)


def test_a_gradient_becomes_its_mean():
    stops = '<stop offset="0" stop-color="#000"/><stop offset="1" stop-color="#fff"/>'
    found = areas(f'<linearGradient id="g">{stops}</linearGradient><rect width="10" height="10" fill="url(#g)"/>')
    assert found["#808080"] == pytest.approx(100)


def test_nothing_painted():
    with pytest.raises(InputError, match="nothing in it is painted"):
        flatten_text("<g/>")


def turns_gently(p):
    """No cusps, no loops smaller than the pen: renderers differ in what a pen does there."""
    points = np.array(p, dtype=float).reshape(-1, 2)
    legs = np.diff(points, axis=0)
    length = np.hypot(*legs.T)
    if length.min() < 6:
        return False
    turn = np.einsum("ij,ij->i", legs[:-1], legs[1:]) / (length[:-1] * length[1:])
    return turn.min() > -0.8


SHAPES = st.one_of(
    st.builds(
        lambda x, y, w, h, c: f'<rect x="{x}" y="{y}" width="{w}" height="{h}" fill="{c}"/>',
        *[st.integers(-10, 60)] * 2, *[st.integers(1, 60)] * 2, st.sampled_from(["red", "blue", "lime"]),
    ),
    st.builds(
        lambda x, y, r, c: f'<circle cx="{x}" cy="{y}" r="{r}" fill="{c}"/>',
        *[st.integers(-5, 65)] * 2, st.integers(1, 40), st.sampled_from(["red", "blue", "gold"]),
    ),
    st.builds(
        lambda p, w, j, k: f'<path d="M{p[0]} {p[1]}C{p[2]} {p[3]} {p[4]} {p[5]} {p[6]} {p[7]}L{p[8]} {p[9]}" '
        f'fill="none" stroke="#222" stroke-width="{w}" stroke-linejoin="{j}" stroke-linecap="{k}"/>',
        st.lists(st.integers(-5, 65), min_size=10, max_size=10).filter(lambda p: turns_gently(p)), st.integers(1, 4),
        st.sampled_from(["miter", "round", "bevel"]), st.sampled_from(["butt", "round", "square"]),
    ),
)  # fmt: skip


@settings(max_examples=25, deadline=None)
@given(st.lists(SHAPES, min_size=1, max_size=5))
def test_covers_once_and_looks_the_same(shapes):
    size = 'width="60" height="60" viewBox="0 0 60 60"'
    partition, _ = flatten_text("".join(shapes), size)
    polygons = [to_multipolygon(region.area) for region in partition.regions]
    assert sum(p.area for p in polygons) == pytest.approx(3600, abs=3600e-6)
    union = polygons[0]
    for polygon in polygons[1:]:
        assert union.intersection(polygon).area < 3600e-6
        union = union.union(polygon)
    assert union.area == pytest.approx(3600, abs=3600e-6)
    before = rendered(f"{HEAD}{size}>{''.join(shapes)}</svg>")
    after = rendered(write_regions(partition, unit="").decode())
    # Seams between two antialiased shapes differ by up to a half; a wrong face would be a solid patch.
    wrong = (np.abs(before - after).max(axis=2) > 140).astype(float)
    patch = sum(np.roll(wrong, (i, j), (0, 1)) for i in range(3) for j in range(3))
    assert (patch == 9).sum() <= 2


def rendered(text):
    data = resvg_py.svg_to_bytes(svg_string=text, width=300)
    pixels = np.asarray(Image.open(io.BytesIO(data)).convert("RGBA"), dtype=np.float64)
    pixels[..., :3] *= pixels[..., 3:] / 255
    return pixels
