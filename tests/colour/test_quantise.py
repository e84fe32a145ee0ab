"""Flat colours found in drawings whose colours are known: rendered by resvg, spoilt by Pillow and OpenCV."""

import io

import cv2
import numpy as np
import pytest
import resvg_py
from coloraide import Color
from PIL import Image
from scipy import ndimage
from scipy.optimize import linear_sum_assignment
from skimage import data

from maskgen.colour.quantise import find_flat_colours
from maskgen.colour.spaces import ciede2000, hex_to_lab
from maskgen.errors import InputError
from maskgen.model.artwork import CLEAR, Picture
from maskgen.model.finding import Code

SKY = """<rect width="200" height="200" fill="#f7f3e8"/><circle cx="80" cy="90" r="60" fill="#1b3f94"/>
<circle cx="105" cy="75" r="50" fill="#f7f3e8"/>
<path d="M140 40l6 14 15 1-12 10 4 15-13-8-13 8 4-15-12-10 15-1z" fill="#e8c81e"/>
<path d="M0 200Q60 120 120 170T200 150V200z" fill="#2f7d4b"/>
<path d="M10 20.5H180" stroke="#000" stroke-width="{line}"/>"""
SKY_COLOURS = ["#f7f3e8", "#1b3f94", "#e8c81e", "#2f7d4b", "#000000"]


def draw(body, width=200, height=None, box=None, style=""):
    height, box = height or width, box or width
    svg = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {box} {box * height // width}" {style}>{body}</svg>'
    png = bytes(resvg_py.svg_to_bytes(svg_string=svg, width=width, height=height))
    return np.array(Image.open(io.BytesIO(png)).convert("RGBA"))


def sky(width=200, line=1.0, style=""):
    return draw(SKY.format(line=line), width, box=200, style=style)


def jpeg(pixels, quality=60):
    stream = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels[..., :3])).save(stream, "JPEG", quality=quality)
    return np.array(Image.open(io.BytesIO(stream.getvalue())).convert("RGBA"))


def noisy(pixels, sigma):
    spoilt = pixels.copy()
    grain = np.random.default_rng(1).normal(0, sigma, pixels[..., :3].shape)
    spoilt[..., :3] = np.clip(np.rint(pixels[..., :3] + grain), 0, 255)
    return spoilt


def gap(one, other):
    if CLEAR in (one, other):
        return 0.0 if one == other else 100.0
    return float(ciede2000(hex_to_lab(one), hex_to_lab(other)))


def assert_colours(flat, expected, within):
    """One to one, the farthest pair within so much CIEDE2000."""
    assert len(flat.palette) == len(expected), flat.palette
    cost = np.array([[gap(a, b) for b in flat.palette] for a in expected])
    rows, columns = linear_sum_assignment(cost)
    assert cost[rows, columns].max() <= within, flat.palette
    return [flat.palette[columns[i]] for i in range(len(expected))]


def find(pixels, **options):
    return find_flat_colours(Picture(pixels), **options)


@pytest.mark.parametrize(
    ("make", "within"),
    [
        pytest.param(lambda: sky(), 0.5, id="smooth"),
        pytest.param(lambda: sky(80, 5), 0.5, id="tiny"),
        pytest.param(lambda: sky(style='shape-rendering="crispEdges"'), 0.5, id="unsmoothed"),
        pytest.param(lambda: jpeg(sky(320, 3)), 5.0, id="small JPEG"),
        pytest.param(lambda: noisy(sky(400, 3), 8), 3.0, id="grain"),
        pytest.param(lambda: noisy(jpeg(sky(400, 3)), 4), 3.0, id="JPEG and grain"),
        pytest.param(lambda: np.repeat(np.repeat(sky(), 2, 0), 2, 1), 0.5, id="doubled"),
        pytest.param(lambda: np.array(Image.fromarray(sky(200, 3)).resize((600, 600), 2)), 1.0, id="bilinear 3x"),
        pytest.param(lambda: cv2.GaussianBlur(sky(400, 9), (0, 0), 3), 1.0, id="blurred"),
    ],
)
def test_a_drawing_and_how_it_may_have_suffered(make, within):
    flat = find(make())
    assert_colours(flat, SKY_COLOURS, within)
    assert not flat.findings


def test_no_rim_between_black_and_white():
    disc = '<rect width="200" height="200" fill="#fff"/><circle cx="100" cy="100" r="70" fill="#000"/>'
    for pixels in (draw(disc), jpeg(draw(disc)), cv2.GaussianBlur(draw(disc), (0, 0), 2)):
        flat = find(pixels)
        assert_colours(flat, ["#ffffff", "#000000"], 1.0)
        area = float((flat.labels == flat.palette.index(min(flat.palette))).sum())
        assert area == pytest.approx(np.pi * 70**2, rel=0.01)


def test_grey_beside_black_and_white_is_kept_and_spreads_no_further():
    body = (
        '<rect width="200" height="200" fill="#fff"/><circle cx="80" cy="100" r="50" fill="#000"/>'
        '<rect x="80" y="60" width="90" height="60" fill="#808080"/>'
    )
    flat = find(draw(body))
    assert_colours(flat, ["#ffffff", "#000000", "#808080"], 0.5)
    grey = flat.labels == flat.palette.index("#808080")
    rows, columns = np.nonzero(grey)
    assert abs(int(grey.sum()) - 90 * 60) <= 8  # where it meets the disc a pixel may be a blend of three
    inside = (columns >= 80) & (columns <= 169) & (rows >= 60) & (rows <= 119)
    assert (~inside).sum() <= 4


def test_edge_pixels_go_to_the_larger_share():
    # A straight edge at x = 100.3 and one at 60.7: coverage of the pixel column says to whom it belongs.
    body = '<rect width="200" height="50" fill="#d02020"/><rect x="60.7" width="39.6" height="50" fill="#2020d0"/>'
    flat = find(draw(body, 200, 50))
    blue = flat.labels == flat.palette.index("#2020d0")
    assert np.flatnonzero(blue[20]).tolist() == list(range(61, 100))


def test_colour_between_two_others_in_colour_space_makes_no_rim():
    body = (
        '<rect width="200" height="200" fill="#d02020"/><circle cx="70" cy="120" r="50" fill="#2020d0"/>'
        '<rect x="140" y="10" width="50" height="50" fill="#782078"/>'
    )
    flat = find(draw(body))
    assert_colours(flat, ["#d02020", "#2020d0", "#782078"], 0.5)
    purple = flat.labels == flat.palette.index("#782078")
    assert purple.sum() == 2500


def test_hairlines_that_are_flat_nowhere():
    body = (
        '<rect width="200" height="200" fill="#fff"/><circle cx="40" cy="140" r="20" fill="#1b3f94"/>'
        '<path d="M10 20L190 170" stroke="#d22f27" stroke-width="1.2"/>'
    )
    flat = find(draw(body))
    assert_colours(flat, ["#ffffff", "#1b3f94", "#d22f27"], 3.0)
    line = (flat.labels == flat.palette[::1].index(min(flat.palette, key=lambda c: gap(c, "#d22f27")))).astype(np.uint8)
    parts, *_ = cv2.connectedComponents(line, connectivity=8)
    assert parts == 2  # the ground and one line, whole


def test_a_thinner_line_stays_whole():
    body = '<rect width="200" height="200" fill="#fff"/><rect x="20" y="150" width="60" height="40" fill="#000"/>'
    body += '<path d="M10 20L190 110" stroke="#000" stroke-width="0.8"/>'
    flat = find(draw(body))
    assert_colours(flat, ["#ffffff", "#000000"], 0.5)
    parts, *_ = cv2.connectedComponents((flat.labels == flat.palette.index("#000000")).astype(np.uint8), connectivity=8)
    assert parts == 3


@pytest.mark.parametrize(("spoil", "within"), [(lambda a: a, 0.5), (jpeg, 6.0)])
def test_a_six_pixel_star_is_kept(spoil, within):
    body = '<rect width="1000" height="600" fill="#16305c"/><circle cx="500" cy="300" r="200" fill="#fff"/>'
    body += '<rect x="700.3" y="100.4" width="6" height="6" fill="#e02020"/>'
    assert_colours(find(spoil(draw(body, 1000, 600))), ["#16305c", "#ffffff", "#e02020"], within)


STROKES = """<rect width="200" height="200" fill="#f4f1e8"/><g stroke="#20306a" fill="none">
<path d="M10 60Q20 10 40 60T80 20M95 15L110 60L125 15" stroke-width="{wide}"/>
<path d="M140 15V60M140 38H170M170 15V60M180 15L195 60" stroke-width="{fine}"/></g>
<g stroke="#c4452c" fill="none"><path d="M20 180V90H60V130H20H70V180H20M90 100V170" stroke-width="12"/>
<circle cx="140" cy="140" r="25" stroke-width="18"/></g>"""


@pytest.mark.parametrize("wide", [4, 7, 11])
def test_ringing_beside_dark_strokes_is_no_colour_of_its_own(wide):
    strokes = draw(STROKES.format(wide=wide, fine=wide / 4), 512, box=200)
    assert_colours(find(jpeg(noisy(strokes, 4))), ["#f4f1e8", "#20306a", "#c4452c"], 6.0)


def test_a_black_outline_of_a_dark_shape_is():
    body = '<rect width="200" height="200" fill="#f4f1e8"/>'
    body += '<circle cx="100" cy="100" r="60" fill="#20306a" stroke="#000" stroke-width="1"/>'
    flat = find(jpeg(noisy(draw(body, 300, box=200), 4)))
    assert_colours(flat, ["#f4f1e8", "#20306a", "#000000"], 12.0)
    black = (flat.labels == flat.palette.index(min(flat.palette, key=lambda c: gap(c, "#000000")))).sum()
    assert black == pytest.approx(2 * np.pi * 60 * 1.5 * 1.5, rel=0.4)


def test_close_colours_stay_apart_in_a_clean_picture():
    body = '<rect width="200" height="200" fill="#4070b0"/><circle cx="100" cy="100" r="60" fill="#4a80b8"/>'
    assert gap("#4070b0", "#4a80b8") == pytest.approx(6.0, abs=1.0)
    assert_colours(find(draw(body)), ["#4070b0", "#4a80b8"], 0.5)


def test_slight_gradient_is_folded_and_said():
    body = '<rect width="300" height="300" fill="#e8e8e8"/><circle cx="150" cy="150" r="80" fill="#1b3f94"/>'
    pixels = draw(body, 300).astype(float)
    pixels[..., :3] += (np.linspace(-22, 22, 300)[:, None])[..., None]
    flat = find(np.clip(pixels, 0, 255).astype(np.uint8))
    assert len(flat.palette) == 2
    assert any("gradient" in note for note in flat.notes)


@pytest.mark.parametrize("ground", ["white", "clear"])
def test_soft_shadow_is_folded_and_said(ground):
    body = '<filter id="b"><feGaussianBlur stdDeviation="8"/></filter>'
    body += '<rect width="300" height="300" fill="#fff"/>' if ground == "white" else ""
    body += '<circle cx="160" cy="162" r="80" fill="#000" opacity=".45" filter="url(#b)"/>'
    body += '<circle cx="150" cy="150" r="80" fill="#d03030"/>'
    flat = find(draw(body, 300))
    assert_colours(flat, ["#ffffff" if ground == "white" else CLEAR, "#d03030"], 0.5)
    assert any("shadow" in note for note in flat.notes)


def test_transparency():
    body = '<circle cx="80" cy="90" r="60" fill="#1b3f94"/><circle cx="130" cy="120" r="40" fill="#e8c81e"/>'
    flat = find(draw(body))
    assert_colours(flat, [CLEAR, "#1b3f94", "#e8c81e"], 0.5)
    alpha = draw(body)[..., 3]
    clear = flat.labels == flat.palette.index(CLEAR)
    assert np.mean(clear != (alpha < 128)) < 0.001


def test_half_transparent_flats_go_by_their_alpha():
    body = '<circle cx="60" cy="90" r="40" fill="#d03030" fill-opacity="{0}"/>'
    body += '<circle cx="150" cy="130" r="40" fill="#1b3f94"/>'
    assert_colours(find(draw(body.format(0.7))), [CLEAR, "#1b3f94", "#d03030"], 1.0)
    assert_colours(find(draw(body.format(0.3))), [CLEAR, "#1b3f94"], 1.0)


def test_white_and_clear_differ():
    assert_colours(find(draw('<circle cx="80" cy="90" r="60" fill="#fff"/>')), [CLEAR, "#ffffff"], 0.5)


def test_one_pixel_details_of_an_unsmoothed_picture():
    pixels = np.full((60, 60, 4), 255, np.uint8)
    pixels[30:, :, :3] = 0
    pixels[10, 5:50, :3] = 128
    pixels[40:44, 20:24, :3] = (200, 0, 0)
    pixels[50, 10:14, :3] = (0, 200, 0)
    flat = find(pixels)
    painted = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in flat.palette])[flat.labels]
    assert np.array_equal(painted, pixels[..., :3])
    assert flat.edge_blur_px == 0.0


# Bayer 1973: the index matrix of order 8.
BAYER = np.array([[0]])
for _ in range(3):
    BAYER = np.block([[4 * BAYER, 4 * BAYER + 2], [4 * BAYER + 3, 4 * BAYER + 1]])


def ordered_dither(pixels, levels):
    threshold = np.tile((BAYER + 0.5) / 64 - 0.5, (50, 50))[: pixels.shape[0], : pixels.shape[1], None]
    steps = np.clip(np.floor(pixels[..., :3] / 255 * (levels - 1) + threshold + 0.5), 0, levels - 1)
    return np.dstack([np.rint(steps * 255 / (levels - 1)).astype(np.uint8), pixels[..., 3]])


def diffused(pixels):
    web = [v for r in range(0, 256, 51) for g in range(0, 256, 51) for b in range(0, 256, 51) for v in (r, g, b)]
    palette = Image.new("P", (1, 1))
    palette.putpalette(web + [0] * (768 - len(web)))
    image = Image.fromarray(np.ascontiguousarray(pixels[..., :3]))
    return np.array(image.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG).convert("RGBA"))


@pytest.mark.parametrize("dither", [lambda a: ordered_dither(a, 6), lambda a: ordered_dither(a, 4), diffused])
def test_dithered_pictures_give_the_colours_meant(dither):
    flat = find(dither(sky(400, 0)))
    assert_colours(flat, SKY_COLOURS[:4], 3.0)
    assert any("dithered" in note for note in flat.notes)


@pytest.mark.parametrize("name", ["astronaut", "chelsea", "coffee"])
def test_photographs_are_told_as_such(name):
    photograph = getattr(data, name)()[:300, :300]
    flat = find(np.dstack([photograph, np.full(photograph.shape[:2], 255, np.uint8)]))
    assert [f.code for f in flat.findings] == [Code.NO_FLAT_COLOURS]
    assert 2 <= len(flat.palette) <= 8
    # No patch too small to be cut is left, and colours stay as common as they were: smoothing favours none of them.
    patches = [ndimage.label(flat.labels == k)[0] for k in range(len(flat.palette))]
    assert min(np.bincount(p.ravel())[1:].min() for p in patches) >= 300 * 300 / 4000
    nearest = np.argmin(
        [np.abs(photograph - np.array(Color(c).convert("srgb").coords()) * 255).sum(axis=2) for c in flat.palette],
        axis=0,
    )
    shares = [
        np.bincount(labels.ravel(), minlength=len(flat.palette)) / labels.size for labels in (nearest, flat.labels)
    ]
    assert shares[1] == pytest.approx(shares[0], abs=0.08)


def test_noise_has_no_flat_colours():
    grain = np.random.default_rng(0).integers(0, 256, (100, 100, 3), dtype=np.uint8)
    flat = find(np.dstack([grain, np.full((100, 100), 255, np.uint8)]))
    assert [f.code for f in flat.findings] == [Code.NO_FLAT_COLOURS]


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_a_stated_number_is_obeyed_downwards(count):
    flat = find(sky(), count=count)
    assert len(flat.palette) == count
    assert set(flat.palette) <= set(SKY_COLOURS)
    assert any("joined" in note for note in flat.notes) == (count < 5)


def test_joining_gives_up_the_least():
    assert set(find(sky(), count=4).palette) == set(SKY_COLOURS) - {"#000000"}


def test_a_stated_number_is_obeyed_upwards_where_the_picture_has_more():
    pixels = np.full((100, 256, 4), 255, np.uint8)
    pixels[..., :3] = (200 + np.linspace(0, 40, 256))[None, :, None]
    assert len(find(pixels, count=4).palette) == 4


def test_asking_for_more_colours_than_there_are_is_said():
    flat = find(sky(), count=9)
    assert_colours(flat, SKY_COLOURS, 0.5)
    assert any("only 5" in note for note in flat.notes)


@pytest.mark.parametrize("count", [0, -1, 61])
def test_impossible_numbers_are_refused(count):
    with pytest.raises(InputError, match="colours"):
        find(sky(), count=count)


@pytest.mark.parametrize(
    ("pixels", "expected"),
    [
        (np.full((1, 1, 4), (200, 30, 40, 255), np.uint8), ["#c81e28"]),
        (np.full((50, 60, 4), (200, 30, 40, 255), np.uint8), ["#c81e28"]),
        (np.array([[[0, 0, 0, 255], [255, 255, 255, 255]]], np.uint8), ["#000000", "#ffffff"]),
        (np.zeros((20, 20, 4), np.uint8), [CLEAR]),
    ],
)
def test_pictures_of_next_to_nothing(pixels, expected):
    flat = find(pixels)
    assert sorted(flat.palette) == sorted(expected)
    assert flat.labels.shape == pixels.shape[:2]


def test_blur_is_measured():
    disc = draw('<rect width="200" height="200" fill="#fff"/><circle cx="100" cy="100" r="70" fill="#000"/>')
    assert find(disc).edge_blur_px == pytest.approx(12**-0.5, abs=0.08)
    assert find(cv2.GaussianBlur(disc, (0, 0), 2)).edge_blur_px == pytest.approx(2.0, abs=0.3)


def test_palette_is_ordered_by_area_and_labels_are_read_only():
    flat = find(sky())
    areas = np.bincount(flat.labels.ravel(), minlength=len(flat.palette))
    assert (np.diff(areas) <= 0).all()
    assert not flat.labels.flags.writeable


def test_turning_the_picture_turns_the_labels():
    straight, turned = find(sky()), find(np.ascontiguousarray(np.rot90(sky())))
    assert straight.palette == turned.palette
    assert np.mean(np.rot90(straight.labels) != turned.labels) < 0.002


def test_enlarging_by_repeating_pixels_is_noticed():
    flat = find(np.repeat(np.repeat(sky(), 3, 0), 3, 1))
    assert any("200 x 200" in note for note in flat.notes)
    assert np.array_equal(flat.labels[::3, ::3], find(sky()).labels)


@pytest.mark.parametrize("width", [0.5, 0.8, 1.0, 1.4])
def test_level_lines_thinner_than_their_pixels_found_no_colours(width):
    """A level line covers its rows by an even share, wherever it lies; sloping ones and a bar show a share of what."""
    lines = "".join(
        f'<path d="M10 {20 + 13.25 * k}L150 {20 + 13.25 * k + 3 * (k % 3)}" stroke="#1b3f94" stroke-width="{width}"/>'
        for k in range(12)
    )
    flat = find(
        draw(f'<rect width="200" height="200" fill="#f4f1e6"/>{lines}<path d="M170 0h8v200h-8z" fill="#1b3f94"/>')
    )
    assert_colours(flat, ["#f4f1e6", "#1b3f94"], 1.0)


def test_crossings_of_known_hairlines_found_no_colours():
    hairlines = "".join(
        f'<circle cx="100" cy="{y}" r="{r}" stroke-width="{w}"/>'
        for y, r, w in ((40, 30, 0.6), (100, 30, 1), (160, 30, 1.6))
    )
    flat = find(
        draw(
            f'<rect width="200" height="200" fill="#f4f1e6"/><g fill="none" stroke="#b5482a">{hairlines}</g>'
            '<path d="M80.3 0v200h1.2V0zM10 0h4v200h-4z" fill="#2f7d4b"/>'
            '<path d="M180 10h10v180h-10z" fill="#b5482a"/>'
        )
    )
    assert_colours(flat, ["#f4f1e6", "#2f7d4b", "#b5482a"], 1.0)
