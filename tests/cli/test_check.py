"""The check command as it is called: statuses, JSON, files written, files refused."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from PIL import Image

from maskgen.cli.check import command

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="30mm" viewBox="0 0 60 30">'
GOOD = HEAD + '<path d="M5 5h20v20h-20z"/><path d="M35 5h20v20h-20z"/></svg>'
BAD = HEAD + '<path d="M5 5h20v20h-20z"/><path d="M20 10h20v10h-20z"/></svg>'
KEYS = ["file", "verdict", "units", "size_mm", "pieces", "cut_length_mm", "nodes", "findings"]


def run(*arguments):
    return subprocess.run(
        [sys.executable, "-m", "maskgen", "check", *map(str, arguments)], capture_output=True, text=True, check=False
    )


@pytest.fixture
def files(tmp_path):
    (tmp_path / "good.svg").write_text(GOOD)
    (tmp_path / "bad.svg").write_text(BAD)
    (tmp_path / "broken.svg").write_text("<svg")
    return tmp_path


def test_statuses(files):
    assert run(files / "good.svg").returncode == 0
    assert run(files / "bad.svg").returncode == 1
    for name in ("broken.svg", "missing.svg"):
        result = run(files / name, "--json")
        assert (result.returncode, result.stdout) == (2, "")
        assert len(result.stderr.splitlines()) == 1
        assert name in result.stderr


def test_json_of_one_and_of_several(files):
    one = run(files / "bad.svg", "--json")
    document = json.loads(one.stdout)
    assert list(document)[: len(KEYS)] == KEYS
    assert document["file"] == "bad.svg"
    assert document["verdict"] == "fail"
    assert document["size_mm"] == [35.0, 20.0]
    assert (document["pieces"], document["nodes"], document["cut_length_mm"]) == (2, 8, 140.0)
    (finding,) = document["findings"]
    assert finding["code"] == "crossing-pieces"
    assert finding["severity"] == "error"
    assert finding["at_mm"] in ([25.0, 10.0], [25.0, 20.0])
    assert {"value", "limit", "message", "mend", "mask", "piece"} <= finding.keys()
    assert one.stderr == ""
    assert run(files / "bad.svg", "--json").stdout == one.stdout
    several = run(files / "good.svg", files / "bad.svg", "--json")
    assert [d["verdict"] for d in json.loads(several.stdout)] == ["pass", "fail"]
    assert several.returncode == 1


def test_a_folder_with_one_broken_file(files):
    result = run(files, "--json")
    assert result.returncode == 2
    assert [d["file"] for d in json.loads(result.stdout)] == ["bad.svg", "good.svg"]
    assert len(result.stderr.splitlines()) == 1


def invoke(*arguments):
    return CliRunner().invoke(command, [str(a) for a in arguments], standalone_mode=False)


@pytest.mark.parametrize("ending", [".svg", ".dxf", ".plt"])
def test_mend_then_check(files, ending):
    out = files / f"mended{ending}"
    result = invoke(files / "bad.svg", "--mend", out, "--json")
    repairs = json.loads(result.output)["mended"]["repairs"]
    assert [r["code"] for r in repairs] == ["crossing-pieces"]
    assert invoke(out).return_value == 0


def test_picture_and_report(files):
    result = invoke(files / "bad.svg", "--picture", files / "a.png", "--report", files / "a.html")
    assert result.return_value == 1
    with Image.open(files / "a.png") as picture:
        assert picture.width == 1600
    page = (files / "a.html").read_text()
    assert "crossing-pieces" in page
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    invoke(files / "bad.svg", "--picture", files / "a.svg")
    assert (files / "a.svg").read_text().startswith("<svg")


def test_limits_and_part_from_a_file(files):
    (files / "job.toml").write_text(
        '[part]\nshape = "plate"\nwidth_mm = 30.0\nheight_mm = 20.0\n[resist]\nmin_land_mm = 25.0\n'
    )
    document = json.loads(invoke(files / "good.svg", "--resist", files / "job.toml", "--json").output)
    assert {f["code"] for f in document["findings"]} == {"thin-land", "scale-doubt"}
    (files / "wrong.toml").write_text("[resist]\nmin_lnad_mm = 1.0\n")
    assert "min_land_mm" in str(invoke(files / "good.svg", "--resist", files / "wrong.toml").exception)


def test_against_a_job(files):
    masks = files / "job" / "masks"
    masks.mkdir(parents=True)
    (masks / "01-sky.svg").write_text(GOOD)
    result = invoke(files / "good.svg", "--against", files / "job", "--json")
    assert result.return_value == 0
    assert json.loads(result.output)["against"]["same"] is True
    scaled = GOOD.replace('width="60mm" height="30mm"', f'width="{60 * 25.4 / 96}mm" height="{30 * 25.4 / 96}mm"')
    (files / "scaled.svg").write_text(scaled)
    result = invoke(files / "scaled.svg", "--against", files / "job", "--json")
    assert result.return_value == 1
    assert "25.4/96" in json.loads(result.output)["against"]["mistake"]


@pytest.mark.parametrize(
    ("options", "word"),
    [
        (["--sheet", "wide"], "--sheet"),
        (["--polarity", "up"], "--polarity"),
        (["--part", "cube:3"], "--part"),
        (["--picture", "a.gif"], "--picture"),
        (["--mend", "a.txt"], "--mend"),
        (["--against", "nowhere"], "masks"),
    ],
)
def test_options_that_cannot_be_understood(files, options, word):
    assert word in str(invoke(files / "bad.svg", *options).exception)
    assert not Path("a.gif").exists()


def test_names_that_are_no_markup(files):
    (files / "a[b]<i>.svg").write_text(BAD)
    page = files / "a.html"
    result = invoke(files / "a[b]<i>.svg", "--report", page)
    assert "a[b]<i>.svg" in result.output
    assert "<i>" not in page.read_text()
