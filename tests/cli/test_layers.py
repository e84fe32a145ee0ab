"""`maskgen layers`: artwork as flat colour regions, read back with another library."""

from xml.etree import ElementTree

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from shapely.geometry import Polygon
from svgelements import Path as SvgPath

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def flag(tmp_path):
    """A 90 x 60 px flag: red, white and a blue disc, with one corner transparent."""
    image = Image.new("RGBA", (90 * 8, 60 * 8), "#d02030")
    pen = ImageDraw.Draw(image)
    pen.rectangle([360, 0, 719, 479], fill="#ffffff")
    pen.ellipse([120, 120, 360 - 1, 360 - 1], fill="#1b3f94")
    pen.rectangle([0, 0, 79, 79], fill=(0, 0, 0, 0))
    path = tmp_path / "flag.png"
    image.resize((90, 60), Image.Resampling.BOX).save(path)
    return path


def layers_in(path):
    root = ElementTree.fromstring(path.read_bytes())
    shapes = {}
    for element in root.iter(f"{SVG}path"):
        area = Polygon()
        for sub in SvgPath(element.get("d")).as_subpaths():
            run = SvgPath(sub)
            points = [run.point(t) for t in np.linspace(0, 1, 4001)]
            area = area.symmetric_difference(shapely.make_valid(Polygon([(p.x, p.y) for p in points])))
        shapes[element.get("data-name")] = (element.get("fill"), area)
    return root, shapes


def test_every_colour_is_one_path_and_they_cover_the_picture_once(maskgen, flag, tmp_path):
    ended = maskgen("layers", flag, "--out", tmp_path / "flag.svg")
    assert (ended.status, ended.err) == (0, "")
    root, shapes = layers_in(tmp_path / "flag.svg")
    assert root.get("viewBox") == "0 0 90 60"
    assert root.get("width") == "90"
    by_fill = {fill: area.area for fill, area in shapes.values()}
    assert "clear" in shapes
    assert set(by_fill) >= {"#d02030", "#ffffff", "#1b3f94"}
    disc = np.pi * 15**2
    assert by_fill["#1b3f94"] == pytest.approx(disc, rel=0.005)
    assert by_fill["#ffffff"] == pytest.approx(45 * 60, rel=0.002)
    assert by_fill["#d02030"] == pytest.approx(45 * 60 - disc - 100, rel=0.005)
    assert sum(area.area for _, area in shapes.values()) == pytest.approx(5400, rel=1e-3)


def test_a_width_makes_it_millimetres(maskgen, flag, tmp_path):
    assert maskgen("layers", flag, "--out", tmp_path / "flag.svg", "--width", 45).status == 0
    root, shapes = layers_in(tmp_path / "flag.svg")
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("45mm", "30mm", "0 0 45 30")
    assert sum(area.area for _, area in shapes.values()) == pytest.approx(45 * 30, rel=1e-3)


def test_a_stated_number_of_colours_is_obeyed_and_what_is_clear_stays_clear(maskgen, flag, tmp_path):
    """Red, white, blue and a clear corner of 10 x 10 px: of two colours one is joined, and never the corner."""
    assert maskgen("layers", flag, "--out", tmp_path / "two.svg", "--colours", 2).status == 0
    _, shapes = layers_in(tmp_path / "two.svg")
    assert len([name for name in shapes if name != "clear"]) == 2
    assert shapes["clear"][1].area == pytest.approx(100, rel=0.01)
    assert maskgen("layers", flag, "--out", tmp_path / "three.svg", "--colours", 3).status == 0
    _, shapes = layers_in(tmp_path / "three.svg")
    assert {fill for fill, _ in shapes.values()} == {"none", "#d02030", "#ffffff", "#1b3f94"}


def test_a_stated_number_of_colours_is_obeyed_in_a_drawing(maskgen, tmp_path):
    """Two reds 10 x 10 each beside a blue of 20 x 10, on 40 x 20: the reds are joined, the larger keeps its colour."""
    drawing = tmp_path / "art.svg"
    drawing.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 40 20"><rect width="12" height="10" fill="#d02030"/>'
        '<rect x="12" width="10" height="10" fill="#d82838"/><rect x="22" width="18" height="10" fill="#1b3f94"/></svg>'
    )
    ended = maskgen("layers", drawing, "--out", tmp_path / "two.svg", "--colours", 2)
    assert ended.status == 0
    assert "joined" in ended.out
    _, shapes = layers_in(tmp_path / "two.svg")
    areas = {fill: area.area for fill, area in shapes.values()}
    assert areas == pytest.approx({"#d02030": 220, "#1b3f94": 180, "none": 400}, rel=1e-3)
    assert "only 3" in maskgen("layers", drawing, "--out", tmp_path / "five.svg", "--colours", 5).out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["none.png", "--out", "{}/a.svg"], ["none.png", "no such artwork"]),
        (["README.md", "--out", "{}/a.svg"], ["README.md"]),
        (["samples/logo.png"], ["--out"]),
        (["samples/logo.png", "--out", "{}/none/a.svg"], ["no such folder"]),
        (["samples/logo.png", "--out", "{}/a.svg", "--colours", "lots"], ["--colours", "auto"]),
        (["samples/logo.png", "--out", "{}/a.svg", "--width", "-1"], ["--width", "above 0"]),
    ],
)
def test_an_unusable_call_is_one_line_and_leaves_nothing(maskgen, tmp_path, arguments, words):
    ended = maskgen("layers", *(a.format(tmp_path) for a in arguments))
    assert (ended.status, ended.out, ended.err.count("\n")) == (2, "", 1)
    for word in words:
        assert word in ended.err
    assert list(tmp_path.iterdir()) == []
