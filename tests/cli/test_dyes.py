"""`maskgen dyes`: the table, the chart, JSON, and what is refused."""

import io
import json
import xml.etree.ElementTree as ET

import pytest
from PIL import Image

ODD = """
[oxide]
bare = "#c9cccf"
thickness_um = 18.0

[[dye]]
name = "claret"
swatch = [ { minutes = 2.0, colour = "#a06070" }, { minutes = 15.0, colour = "#b88090" } ]

[[dye]]
name = "wine"
swatch = [ { minutes = 15.0, colour = "#b98190" } ]

[[dye]]
name = "iron"
strips = false
swatch = [ { minutes = 1.0, colour = "#c2b79e" }, { minutes = 10.0, colour = "#a78338" } ]
"""


@pytest.fixture
def odd(tmp_path):
    path = tmp_path / "shelf.toml"
    path.write_text(ODD)
    return path


def test_without_a_shelf_the_invented_sample_is_listed(maskgen):
    ended = maskgen("dyes")
    assert (ended.status, ended.err) == (0, "")
    assert "invented" in ended.out
    for word in ("lemon", "sea blue", "iron gold (lasts)", "#18397f", "lemon 5 min + sea blue 2 min"):
        assert word in ended.out


def test_what_is_odd_is_remarked_and_stops_nothing(maskgen, odd):
    ended = maskgen("dyes", odd, "--json")
    assert (ended.status, ended.err) == (0, "")
    document = json.loads(ended.out)
    assert document["verdict"] == "pass"
    found = {(f["code"], f["severity"]) for f in document["findings"]}
    assert found == {
        ("alike-dyes", "warning"),
        ("lighter-with-time", "warning"),
        ("one-swatch", "note"),
        ("not-strippable", "note"),
    }
    messages = {f["code"]: f["message"] for f in document["findings"]}
    assert "`claret` and `wine`" in messages["alike-dyes"]
    assert "`claret` is lighter at 15 minutes" in messages["lighter-with-time"]
    assert "`wine`" in messages["one-swatch"]
    assert "`iron`" in messages["not-strippable"]
    assert [d["strips"] for d in document["dyes"]] == [True, True, False]


def test_the_chart_shows_every_dye_and_every_pair(maskgen, odd, tmp_path):
    assert maskgen("dyes", odd, "--picture", tmp_path / "chart.svg").status == 0
    root = ET.fromstring((tmp_path / "chart.svg").read_bytes())
    name = "{http://www.w3.org/2000/svg}"
    kinds = [p.findtext(f"{name}title") for p in root.iter(f"{name}rect") if p.find(f"{name}title") is not None]
    # By hand: three times bare, five swatches; no pair of this shelf has a coupon.
    assert kinds.count("measured") == 3 + 5
    words = {t.text for t in root.iter(f"{name}text")}
    assert {"claret", "wine", "iron", "#a78338", "#c9cccf"} <= words
    fills = [p.get("fill") for p in root.iter(f"{name}rect")]
    assert {"#a06070", "#b98190", "#a78338"} <= set(fills)


def test_the_chart_as_a_picture_has_the_swatches_colours(maskgen, odd, tmp_path):
    assert maskgen("dyes", odd, "--picture", tmp_path / "chart.png").status == 0
    picture = Image.open(io.BytesIO((tmp_path / "chart.png").read_bytes())).convert("RGB")
    seen = {f"#{r:02x}{g:02x}{b:02x}" for n, (r, g, b) in picture.getcolors(10**6) if n > 1000}
    assert {"#c9cccf", "#a06070", "#b88090", "#b98190", "#c2b79e", "#a78338"} <= seen


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("[oxide]", "[oxyde]"), "unknown key `oxyde`; did you mean `oxide`?"),
        (("#a06070", "#a0607"), "is not a colour"),
        (('name = "wine"', 'name = "claret"'), "two dyes are named `claret`"),
    ],
)
def test_a_shelf_that_cannot_be_used_is_one_line_and_status_2(maskgen, odd, change, said):
    odd.write_text(ODD.replace(*change))
    ended = maskgen("dyes", odd, "--picture", odd.with_name("chart.png"))
    assert (ended.status, ended.out) == (2, "")
    assert said in ended.err
    assert ended.err.count("\n") == 1
    assert not odd.with_name("chart.png").exists()


def test_a_missing_shelf_and_an_unknown_picture_are_refused(maskgen, tmp_path):
    assert maskgen("dyes", tmp_path / "none.toml").status == 2
    ended = maskgen("dyes", "--picture", tmp_path / "chart.gif")
    assert ended.status == 2
    assert "neither .png nor .svg" in ended.err
