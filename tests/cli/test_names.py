"""Name lists from the command line: every kind of trouble in a list, resuming, one name alone."""

import csv
import json
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

TEMPLATE = """
shelf = "{root}/samples/shelf.toml"
[part]
width_mm = 60.0
height_mm = 20.0
[text]
font = "{font}"
height_mm = 9.0
box_mm = [54.0, 15.0]
colour = "silver"
[[colour]]
source = "#c9cccf"
name = "silver"
bare = true
[ground]
dye = "sea blue"
"""
HEADER = "row,id,text,quantity,status,reason,cap_height_mm,narrowest_land_mm,sheet,x_mm,y_mm"


@pytest.fixture
def template(tmp_path):
    path = tmp_path / "template.toml"
    path.write_text(TEMPLATE.format(root=ROOT, font="Fjalla One"))
    return path


def manifest(folder):
    text = (folder / "manifest.csv").read_text(encoding="utf-8")
    assert text.splitlines()[0] == HEADER
    return list(csv.DictReader(text.splitlines()))


def everything(folder):
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


TROUBLES = [
    # text, expected status ("ok" for made or warned), words of the reason
    ("ORLA", "ok", ""),
    ("", "refused", "no text"),
    ("   ", "refused", "no text"),
    ("MIA \N{GRINNING FACE}", "refused", "GRINNING FACE"),
    ("L" * 60, "refused", "thinnest stroke"),
    ("../../x", "ok", ""),
    ("=1+1", "ok", ""),
    ("NU\0L", "refused", "U+0000"),
    ("שלום", "refused", "HEBREW LETTER SHIN"),
    ("BJO\N{COMBINING DIAERESIS}RN", "ok", ""),
    ("-3", "ok", ""),
    ("@SUM", "refused", "thinnest stroke"),  # the sign's own strokes
]


def test_every_trouble_ends_with_its_reason_and_stays_in_the_folder(maskgen, template, tmp_path):
    lines = ["id;text"] + [f"same;{text}" for text, _, _ in TROUBLES]
    listing = tmp_path / "list.csv"
    listing.write_bytes(b"\xef\xbb\xbf" + "\r\n".join([*lines, "", ""]).encode())
    before = set(tmp_path.rglob("*"))
    out = tmp_path / "out"
    ended = maskgen("names", listing, "--job", template, "--out", out, "--workers", 1)
    assert ended.status == 1, ended.err
    rows = manifest(out)
    assert len(rows) == len(TROUBLES)
    for row, (text, status, words) in zip(rows, TROUBLES, strict=True):
        assert row["status"] in (("made", "warned") if status == "ok" else ("refused",)), (text, row)
        assert words in row["reason"], (text, row["reason"])
        assert not re.match(r"[=+\-@\t\r]", row["text"])
        if status == "ok":
            assert float(row["narrowest_land_mm"]) >= 0.8
            assert "more than once" in row["reason"]
            assert row["sheet"] == "1"
    assert rows[6]["text"] == "'=1+1"
    assert {p for p in tmp_path.rglob("*") if out not in (p, *p.parents)} == before
    names = {p.name for p in (out / "names").iterdir()}
    assert len(names) == sum(status == "ok" for _, status, _ in TROUBLES)
    assert all(re.fullmatch(r"\d{4}-[a-z0-9-]+", name) for name in names)
    papers = {"report.html", "bench-sheet.pdf", "proof.pdf", "manifest.csv"}
    assert {p.name for p in out.iterdir()} == {"names", "sheets", *papers}


def test_resume_redoes_only_what_is_missing_and_ends_with_the_same_bytes(maskgen, template, tmp_path):
    listing = tmp_path / "list.csv"
    listing.write_text("text\nORLA\nTAMSIN\nISOLDE\n")
    out = tmp_path / "out"
    call = ("names", listing, "--job", template, "--out", out, "--workers", 1)
    assert maskgen(*call).status == 0
    whole = everything(out)
    kept = out / "names" / "0001-orla" / "plan.json"
    written = kept.stat().st_mtime_ns
    for gone in ("manifest.csv", "report.html", "names/0002-tamsin/row.json"):
        (out / gone).unlink()
    left = out / "names" / ".0003-isolde.abc" / "masks"
    left.mkdir(parents=True)
    (left / "01-half.svg").write_text("half")
    assert maskgen(*call, "--resume").status == 0
    assert everything(out) == whole
    assert kept.stat().st_mtime_ns == written
    template.write_text(template.read_text().replace("height_mm = 9.0", "height_mm = 9.5"))
    assert maskgen(*call, "--resume").status == 0
    assert kept.stat().st_mtime_ns != written
    assert manifest(out)[0]["cap_height_mm"] == "9.500"


def test_workers_change_nothing(maskgen, template, tmp_path):
    listing = tmp_path / "list.csv"
    listing.write_text("text\nORLA\nTAMSIN\nISOLDE\nMILO\nUNA\nLEIF\nORLA\nINES\n")
    for workers in (1, 2):
        ended = maskgen("names", listing, "--job", template, "--out", tmp_path / str(workers), "--workers", workers)
        assert ended.status == 0, ended.err
    assert everything(tmp_path / "1") == everything(tmp_path / "2")


def test_one_name_without_a_list(maskgen, template, tmp_path):
    out = tmp_path / "one"
    assert maskgen("names", "--text", "ORLA", "--job", template, "--out", out).status == 0
    plan = json.loads((out / "names" / "0001-orla" / "plan.json").read_text())
    assert plan["strips"] == 0
    assert plan["masks"] == 1


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"name\nORLA\n", "no column `text`"),
        (b"", "is empty"),
        (b"text\n\xff\xfe\n", "not UTF-8"),
        (b"PK\x03\x04nothing", "not a readable workbook"),
        (b"text,text\na,b\n", "two columns"),
    ],
)
def test_what_is_no_list_is_one_line_and_status_2(maskgen, template, tmp_path, data, words):
    listing = tmp_path / "list.csv"
    listing.write_bytes(data)
    ended = maskgen("names", listing, "--job", template, "--out", tmp_path / "out")
    assert ended.status == 2
    assert words in ended.err
    assert ended.err.count("\n") == 1
    assert not (tmp_path / "out").exists()


def test_stopped_at_any_moment_and_resumed_it_ends_with_the_same_bytes(template, tmp_path):
    """The short form of what `benchmarks/names.py` does with NAMES_KILLS."""
    listing = tmp_path / "list.csv"
    listing.write_text("text\n" + "\n".join(["LIO", "OIL", "TOI", "LOT", "TOLL", "OTTO", "ILO", "TIL"] * 4) + "\n")

    def call(out, *more):
        words = ("-m", "maskgen", "names", listing, "--job", template, "--out", tmp_path / out, "--workers", "2", *more)
        return [sys.executable, *map(str, words)]

    subprocess.run(call("whole"), check=True, capture_output=True)
    whole = everything(tmp_path / "whole")
    for seen, sort in ((1, signal.SIGKILL), (9, signal.SIGINT)):
        process = subprocess.Popen(call("broken"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        rows = tmp_path / "broken" / "names"
        while process.poll() is None and (not rows.is_dir() or sum(p.name[0] != "." for p in rows.iterdir()) < seen):
            time.sleep(0.01)
        process.send_signal(sort)
        process.wait()
        assert not (tmp_path / "broken" / "manifest.csv").exists()
        subprocess.run(call("broken", "--resume"), check=True, capture_output=True)
        assert everything(tmp_path / "broken") == whole
        shutil.rmtree(tmp_path / "broken")


def test_a_disk_that_fills_up_leaves_finished_rows_whole(maskgen, template, tmp_path, monkeypatch):
    from maskgen.formats import folder

    listing = tmp_path / "list.csv"
    listing.write_text("text\nLIO\nOIL\nTOI\n")
    call = ("names", listing, "--job", template, "--out", tmp_path / "out", "--workers", 1)
    written = Path.write_bytes

    def full(path, data):
        if "0003" in str(path) and path.name == "findings.json":
            raise OSError(28, "No space left on device")
        return written(path, data)

    monkeypatch.setattr(folder.Path, "write_bytes", full)
    ended = maskgen(*call)
    assert ended.status == 2
    assert "No space left" in ended.err
    names = tmp_path / "out" / "names"
    assert sorted(p.name for p in names.iterdir()) == ["0001-lio", "0002-oil"]
    assert all((p / "row.json").exists() for p in names.iterdir())
    monkeypatch.undo()
    assert maskgen(*call, "--resume").status in (0, 1)
    assert len(manifest(tmp_path / "out")) == 3


def test_a_workbook_gives_what_the_same_list_as_text_gives(maskgen, template, tmp_path):
    from openpyxl import Workbook

    book = Workbook()
    for row in (["id", "text", "quantity"], ["a", "LIO", 2], ["b", "OIL", None]):
        book.active.append(row)
    book.save(tmp_path / "list.xlsx")
    (tmp_path / "list.csv").write_text("id\ttext\tquantity\na\tLIO\t2\nb\tOIL\t\n")
    for name in ("list.xlsx", "list.csv"):
        ended = maskgen("names", tmp_path / name, "--job", template, "--out", tmp_path / name[5:], "--workers", 1)
        assert ended.status == 0, ended.err
    assert everything(tmp_path / "xlsx") == everything(tmp_path / "csv")


def test_a_rows_own_job_file_repeats_it(maskgen, template, tmp_path):
    out = tmp_path / "one"
    assert maskgen("names", "--text", "LIO", "--job", template, "--out", out).status == 0
    row = next((out / "names").iterdir())
    again = tmp_path / "again"
    assert maskgen("names", "--job", row / "job.toml", "--out", again).status == 0
    other = next((again / "names").iterdir())
    for name in ("regions.svg", "predicted.svg", "plan.json", "findings.json", "masks/01-silver.svg"):
        assert (row / name).read_bytes() == (other / name).read_bytes()
