"""A list with a logo, three colours, quantities and odd sheets, read back with svgelements, ezdxf and shapely."""

import csv
import json
import re
import tomllib
import zipfile
from pathlib import Path

import ezdxf
import numpy as np
import pytest
import shapely
from shapely.affinity import rotate, translate
from svgelements import Close, Line, Move
from svgelements import Path as Outline

ROOT = Path(__file__).parents[2]
BADGE = """<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="20mm" viewBox="0 0 20 20">
<circle cx="10" cy="10" r="9" fill="#e8c81e"/><rect x="6" y="6" width="8" height="8" fill="#b5482a"/></svg>"""
TEMPLATE = """
shelf = "{root}/samples/shelf.toml"
formats = ["svg", "dxf"]
[part]
width_mm = 90.0
height_mm = 30.0
[artwork]
file = "badge.svg"
width_mm = 20.0
at_mm = [4.0, 5.0]
[text]
font = "Archivo Black"
height_mm = 10.0
second_height_mm = 6.0
box_mm = [50.0, 22.0]
at_mm = [34.0, 4.0]
align = "left"
letter_gap_mm = 0.8
colour = "silver"
[[colour]]
source = "#e8c81e"
name = "lemon"
dye = "lemon"
[[colour]]
source = "#b5482a"
name = "rust"
recipe = [ {{ dye = "rust red", minutes = 8.0 }} ]
[[colour]]
source = "#c9cccf"
name = "silver"
bare = true
[ground]
recipe = [ {{ dye = "sea blue", minutes = 4.0 }} ]
[resist]
carrier = "{carrier}"
sheet_width_mm = 180.0
[sheets]
crosses = {crosses}
parcel = true
sheet_length_mm = 90.0
"""
LIST = "text;second;quantity;colour\nOLE;;3;\nLIO;BEN;1;rust\nTIL;;2;lemon\nDOB;;1;\nLIO;;1;indigo\n"


def outlines(path):
    """Give the pieces of a cut file as polygons, and the box of them all, exactly."""
    data = re.findall(r'<path[^>]* d="([^"]+)"', path.read_text())
    boxes = np.array([Outline(d).bbox() for d in data], dtype=float)
    return [piece(d) for d in data], (*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0))


def piece(data):
    shape, ring = shapely.Polygon(), []
    for segment in Outline(data):
        if isinstance(segment, Move):
            ring = [(segment.end.x, segment.end.y)]
        elif isinstance(segment, Close):
            shape = shape.symmetric_difference(shapely.Polygon(ring).buffer(0))
        elif isinstance(segment, Line):
            ring.append((segment.end.x, segment.end.y))
        else:
            ring += [(p.x, p.y) for p in map(segment.point, np.linspace(0, 1, 33)[1:])]
    return shape


@pytest.fixture(params=[("tape", "false"), ("tape", "true"), ("loose", "false")], ids=["tape", "crosses", "loose"])
def made(request, maskgen, tmp_path):
    carrier, crosses = request.param
    (tmp_path / "badge.svg").write_text(BADGE)
    (tmp_path / "list.csv").write_text(LIST)
    (tmp_path / "job.toml").write_text(TEMPLATE.format(root=ROOT, carrier=carrier, crosses=crosses))
    out = tmp_path / "out"
    ended = maskgen("names", tmp_path / "list.csv", "--job", tmp_path / "job.toml", "--out", out, "--workers", 1)
    assert ended.status == 1, ended.err  # indigo is no colour of the template
    return out, carrier, crosses == "true"


def test_every_copy_of_every_mask_lies_on_a_sheet_once_and_where_the_manifest_says(made, maskgen, tmp_path):
    out, carrier, crosses = made
    sheets = [outlines(path)[0] for path in sorted((out / "sheets").glob("*.svg"))]
    assert len(sheets) > (carrier == "tape")
    for pieces, path in zip(sheets, sorted((out / "sheets").glob("*.svg")), strict=True):
        width, height = map(float, re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', path.read_text()).groups())
        assert shapely.box(0, 0, width, height).contains(shapely.union_all(pieces))
        assert shapely.union_all(pieces).area == pytest.approx(sum(p.area for p in pieces), abs=1e-6), "pieces overlap"
        drawn = ezdxf.readfile(path.with_suffix(".dxf")).modelspace()
        assert len(drawn) == sum(1 + len(p.interiors) for p in pieces)
    with open(out / "manifest.csv", encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["status"] == "refused" for row in rows] == [False] * 4 + [True]
    wanted, orders = [], set()
    for row, folder in zip(rows, sorted((out / "names").iterdir()), strict=False):
        plan = json.loads((folder / "plan.json").read_text())
        orders.add(json.dumps(plan["steps"]))
        masks = {path.name[3:-4]: outlines(path) for path in sorted((folder / "masks").glob("*.svg"))}
        assert len(masks) == plan["masks"]
        for pieces, _ in masks.values():
            wanted += [p.area for p in pieces] * int(row["quantity"])
        name = next(g["id"] for g in plan["regions"] if g["name"] == colour_of(folder))
        own = [n for n, s in enumerate(s for s in plan["steps"] if s["op"] == "mask") if name in s["regions"]]
        pieces, box = list(masks.values())[own[0]]
        on_sheet = shapely.union_all(sheets[int(row["sheet"]) - 1])
        if carrier == "tape":
            assert any(lies(pieces, box, (float(row["x_mm"]), float(row["y_mm"])), on_sheet, a) for a in (0, 90, -90))
    found = sorted(p.area for pieces in sheets for p in pieces)
    if crosses:
        cross = min(found)
        found = [area for area in found if area > cross + 0.01]
        wanted = [area for area in wanted if area > cross + 0.01]
    assert np.allclose(found, sorted(wanted), atol=0.05)
    assert len(orders) == 3  # one for each colour of letters
    with zipfile.ZipFile(out / "parcel.zip") as parcel:
        note = parcel.read("order-note.txt").decode()
    assert f"Sheets: {len(sheets)}, {sum(map(len, sheets))} pieces in all" in note
    row = next((out / "names").glob("0002*"))
    assert maskgen("names", "--job", row / "job.toml", "--out", tmp_path / "again").status == 0
    again = next((tmp_path / "again" / "names").iterdir())
    for path in sorted(p for p in row.rglob("*") if p.is_file() and p.name not in ("row.json", "picture.json")):
        assert path.read_bytes() == (again / path.relative_to(row)).read_bytes(), path


def colour_of(folder):
    return tomllib.loads((folder / "job.toml").read_text())["text"]["colour"]


def lies(pieces, box, at, on_sheet, turned):
    """Tell whether all of a mask lies with its top left at a place, turned so."""
    left, top, _, _ = rotate(shapely.box(*box), turned, origin=(0, 0)).bounds
    put = translate(rotate(shapely.union_all(pieces), turned, origin=(0, 0)), at[0] - left, at[1] - top)
    return put.difference(on_sheet).area < 0.001 * put.length
