"""The main job as a person runs it: the sample plate, and everything that can be wrong with the call."""

import dataclasses
import json
import os
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from PIL import Image
from shapely.geometry import Polygon
from svgelements import Path as SvgPath

from maskgen.cli import load
from maskgen.cli.main import run
from maskgen.geometry.polygons import from_polygons
from maskgen.model.dyeing import (
    MINUTES_TOLERANCE,
    ApplyMask,
    DyeBath,
    Lift,
    Plan,
    PlannedRegion,
    Recipe,
    Seal,
    Sequence,
    Strip,
)
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition, Region
from maskgen.plan.simulate import simulate

ROOT = Path(__file__).parents[2]
SVG = "{http://www.w3.org/2000/svg}"


def maskgen(*arguments, seed="0", cwd=ROOT):
    return subprocess.run(
        [sys.executable, "-m", "maskgen", *map(str, arguments)],
        capture_output=True,
        text=True,
        cwd=cwd,
        env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
        check=False,
    )


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plate") / "job"
    done = maskgen("convert", "--job", "samples/plate.toml", "--out", folder)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return folder


def shape_of(path_element, step_mm=0.002):
    """The even-odd area of an SVG path, flattened by a library that did not write it."""
    rings = []
    for sub in SvgPath(path_element.get("d")).as_subpaths():
        points = []
        for segment in SvgPath(sub):
            if type(segment).__name__ == "CubicBezier":
                points.extend((p.x, p.y) for p in (segment.point(t) for t in np.linspace(0, 1, 17)[1:]))
            elif type(segment).__name__ in ("Line", "Move", "Close") and segment.end is not None:
                points.append((segment.end.x, segment.end.y))
        ring = [p for i, p in enumerate(points) if i == 0 or p != points[i - 1]]
        if len(ring) >= 3:
            rings.append(Polygon(ring))
    area = Polygon()
    for ring in rings:
        area = area.symmetric_difference(ring if ring.is_valid else shapely.make_valid(ring))
    return area


def regions_in(file):
    root = ElementTree.fromstring(file.read_bytes())
    return root, {p.get("data-name"): (p.get("fill"), shape_of(p)) for p in root.iter(f"{SVG}path")}


def pieces_in(file):
    return [shape_of(p) for p in ElementTree.fromstring(file.read_bytes()).iter(f"{SVG}path")]


def test_the_folder_holds_what_it_promises(plate):
    names = {p.relative_to(plate).as_posix() for p in plate.rglob("*") if p.is_file()}
    for name in ("job.toml", "shelf.toml", "plan.json", "findings.json", "regions.svg", "predicted.svg", "report.html"):
        assert name in names
    assert {
        "bench-sheet.pdf",
        "proof.pdf",
        "proof.png",
        "sheets/sheet-01.svg",
        "sheets/sheet-01.dxf",
        "sheets/sheet-01.plt",
    } <= names
    plan = json.loads((plate / "plan.json").read_text())
    masks = sorted(n for n in names if re.fullmatch(r"masks/\d\d-[a-z0-9-]+\.svg", n))
    assert len(masks) == plan["masks"] > 0


def test_the_strips_are_the_proven_least(plate):
    """Sky, hill and rim cannot follow one another; so three runs, two strips (checked by hand)."""
    plan = json.loads((plate / "plan.json").read_text())
    assert plan["optimal"] is True
    assert plan["strips"] == plan["lower_bound"] == 2
    names = {region["id"]: region["name"] for region in plan["regions"]}
    assert {names[key] for key in plan["why"]} == {"sky", "hill", "rim"}


@pytest.mark.parametrize("file", ["regions.svg", "predicted.svg"])
def test_the_colours_cover_the_face_once(plate, file):
    root, regions = regions_in(plate / file)
    assert (root.get("width"), root.get("height"), root.get("viewBox")) == ("60mm", "30mm", "0 0 60 30")
    face = 60.0 * 30.0
    shapes = [shape for _, shape in regions.values()]
    assert sum(s.area for s in shapes) == pytest.approx(face, rel=1e-4)
    assert shapely.union_all(shapes).area == pytest.approx(face, rel=1e-4)
    assert shapely.union_all(shapes).bounds == pytest.approx((0, 0, 60, 30), abs=1e-3)


def test_the_regions_are_where_the_picture_has_them(plate):
    """The middle of every region far from its edges has that colour in the picture itself."""
    _, regions = regions_in(plate / "regions.svg")
    picture = np.asarray(Image.open(ROOT / "samples/logo.png").convert("RGBA"))
    scale = picture.shape[1] / 52.0
    for name, (fill, shape) in regions.items():
        inner = shape.buffer(-0.15)
        if name == "ground" or inner.is_empty:
            continue
        for piece in shapely.get_parts(inner):
            spot = piece.representative_point()
            x, y = int((spot.x - 4.0) * scale), int((spot.y - 2.0) * scale)
            assert "#{:02x}{:02x}{:02x}".format(*picture[y, x, :3]) == fill, name


def plan_read_back(folder):
    """The plan as another program would read it."""
    stated = json.loads((folder / "plan.json").read_text())
    steps = []
    for step in stated["steps"]:
        match step["op"]:
            case "dye":
                steps.append(DyeBath(step["dye"], step["minutes"]))
            case "mask":
                steps.append(ApplyMask(step["mask"], tuple(step["regions"])))
            case "strip":
                steps.append(Strip())
            case "lift":
                steps.append(Lift(tuple(step["masks"])))
            case "seal":
                steps.append(Seal())
    regions = tuple(
        PlannedRegion(
            r["id"],
            r["name"],
            r["source"],
            Recipe.of({d["dye"]: d["minutes"] for d in r["recipe"]}),
            r["predicted"],
            r["delta_e"],
        )
        for r in stated["regions"]
    )
    return Plan(regions, Sequence(tuple(steps)), stated["optimal"], stated["lower_bound"])


def simulated(folder, *, grown=True, creep_mm=0.10):
    """Simulate the baths on the mask files read back from disk; not grown: on the bare regions."""
    plan = plan_read_back(folder)
    _, shapes = regions_in(folder / "regions.svg")
    keys = {region.name: region.key for region in plan.regions}
    regions = Partition(
        60.0, 30.0, tuple(Region(keys[n], n, fill, from_polygons(s)) for n, (fill, s) in shapes.items())
    )
    covers = {step.mask: step.regions for step in plan.sequence.steps if isinstance(step, ApplyMask)}
    by_key = {region.key: region for region in regions.regions}
    masks = []
    for file, (number, over) in zip(sorted((folder / "masks").glob("*.svg")), covers.items(), strict=True):
        vinyl = from_polygons(shapely.union_all(pieces_in(file))) if grown else by_key[over[0]].area
        masks.append(Mask(number, number, over, vinyl))
    job = load.load_job(str(folder / "job.toml"))
    return simulate(regions, plan, masks, part=job.part, resist=dataclasses.replace(job.resist, creep_mm=creep_mm))


def test_the_written_masks_leave_the_artwork_in_the_simulated_baths(plate):
    result = simulated(plate)
    assert result.wrong_share <= 0.001
    assert result.edge_mean_mm <= 0.03


def test_masks_that_were_not_grown_show_the_creep(plate):
    """The check can fail: an ungrown edge is off by the creep of each strip it sees, 0.10 or 0.20 mm here."""
    whole, half = simulated(plate, grown=False), simulated(plate, grown=False, creep_mm=0.05)
    assert whole.wrong_share > 0.005
    assert 0.1 <= whole.edge_95_mm <= 0.3
    assert half.edge_mean_mm == pytest.approx(whole.edge_mean_mm / 2, rel=0.1)


def test_every_region_ends_with_its_recipe(plate):
    plan = plan_read_back(plate)
    masked, recipe = set(), {r.key: Recipe() for r in plan.regions}
    for step in plan.sequence.steps:
        still_open = [key for key in recipe if key not in masked]
        if isinstance(step, DyeBath):
            recipe |= {key: recipe[key].plus(step.dye, step.minutes) for key in still_open}
        elif isinstance(step, Strip):
            recipe |= dict.fromkeys(still_open, Recipe())
        elif isinstance(step, ApplyMask):
            masked |= set(step.regions)
    for region in plan.regions:
        assert recipe[region.key].within(region.recipe)
        assert region.recipe.within(recipe[region.key])
    assert MINUTES_TOLERANCE == 1e-6


def test_dxf_and_svg_hold_the_same(plate):
    for file in sorted(plate.glob("*/*.dxf")):
        document = ezdxf.readfile(file)
        assert not document.audit().errors
        assert document.header["$INSUNITS"] == 4
        root = ElementTree.fromstring(file.with_suffix(".svg").read_bytes())
        left, _, _, height = (float(v) for v in root.get("viewBox").split())
        top = float(root.get("viewBox").split()[1])
        outline = Polygon()
        for line in document.modelspace():
            assert line.dxftype() == "LWPOLYLINE"
            assert line.dxf.layer == "CUT"
            assert line.closed
            points = [(p.x, p.y) for p in ezdxf.path.make_path(line).flattening(0.001)]
            outline = outline.symmetric_difference(shapely.make_valid(Polygon(points)))
        vinyl = shapely.union_all([shape_of(p) for p in root.iter(f"{SVG}path")])
        expected = shapely.affinity.translate(shapely.affinity.scale(vinyl, 1, -1, origin=(0, 0)), -left, top + height)
        assert outline.bounds == pytest.approx(expected.bounds, abs=0.01)
        assert outline.area == pytest.approx(vinyl.area, abs=0.01 * vinyl.length)
        assert min(outline.bounds) >= -1e-6


def test_plotter_file_holds_the_same_within_a_unit(plate):
    for file in sorted(plate.glob("*/*.plt")):
        text = file.read_text()
        assert text.startswith("IN;SP1;")
        root = ElementTree.fromstring(file.with_suffix(".svg").read_bytes())
        left, top, _, height = (float(v) for v in root.get("viewBox").split())
        outline, pen = Polygon(), []
        for code, numbers in re.findall(r"(PU|PD)([-0-9,]*);", text):
            pairs = np.array([int(n) for n in numbers.split(",") if n]).reshape(-1, 2) / 40.0
            if code == "PU":
                if len(pen) > 3:
                    assert pen[0] == pen[-1]
                    outline = outline.symmetric_difference(shapely.make_valid(Polygon(pen)))
                pen = [tuple(p) for p in pairs[-1:]]
            else:
                pen.extend(tuple(p) for p in pairs)
        vinyl = shapely.union_all([shape_of(p) for p in root.iter(f"{SVG}path")])
        expected = shapely.affinity.translate(shapely.affinity.scale(vinyl, 1, -1, origin=(0, 0)), -left, top + height)
        assert outline.bounds == pytest.approx(expected.bounds, abs=0.0251)
        assert outline.hausdorff_distance(expected) < 0.05
        assert min(outline.bounds) >= 0


def test_cut_files_hold_only_what_is_cut(plate):
    for file in sorted(plate.glob("masks/*.svg")) + sorted(plate.glob("sheets/*.svg")):
        root = ElementTree.fromstring(file.read_bytes())
        assert [child.tag for child in root] == [f"{SVG}path"] * len(root)
        for path in root:
            assert path.get("fill-rule") == "evenodd"
            assert path.get("stroke") in (None, "none")
            assert "transform" not in path.attrib


def test_a_sheet_holds_every_mask_of_the_quantity(plate):
    masks = sum(s.area for file in plate.glob("masks/*.svg") for s in pieces_in(file))
    sheets = sum(s.area for file in plate.glob("sheets/*.svg") for s in pieces_in(file))
    assert sheets == pytest.approx(12 * masks, rel=1e-4)


def test_the_same_job_twice_gives_the_same_bytes(plate, tmp_path):
    run = maskgen("convert", "--job", plate / "job.toml", "--out", tmp_path / "again", seed="4711")
    assert run.returncode == 0, run.stderr
    for file in sorted(plate.rglob("*")):
        if file.is_file():
            again = tmp_path / "again" / file.relative_to(plate)
            assert again.read_bytes() == file.read_bytes(), file.name


CALLS = [
    ([], ["no artwork"]),
    (["none.png", "--width", "40"], ["none.png", "no such artwork file"]),
    (["samples/plate.toml", "--width", "40"], ["samples/plate.toml"]),
    (["samples/logo.png"], ["--width"]),
    (["samples/logo.png", "--width", "0"], ["width_mm", "above 0"]),
    (["samples/logo.png", "--width", "-3"], ["width_mm", "above 0"]),
    (["samples/logo.png", "--width", "x"], ["convert: ", "--width", "see `maskgen convert --help`"]),
    (["samples/logo.png", "--wide", "40"], ["convert: ", "--wide", "see `maskgen convert --help`"]),
    (["samples/logo.png", "--part", "cube:3", "--width", "4"], ["--part", "cube:3", "plate:60x30"]),
    (["samples/logo.png", "--part", "tube:5x80", "--width", "40"], ["40", "15.7"]),
    (["samples/logo.png", "--width", "40", "--colours", "0"], ["colours"]),
    (["samples/logo.png", "--width", "40", "--colours", "many"], ["colours", "auto"]),
    (
        ["samples/logo.png", "--width", "40", "--dye", "#1b3f94=see blue", "--shelf", "samples/shelf.toml"],
        ["see blue", "sea blue"],
    ),
    (["samples/logo.png", "--width", "40", "--dye", "#1b3f94"], ["--dye", "SOURCE=DYENAME"]),
    (["samples/logo.png", "--width", "40", "--ground", "blak", "--shelf", "samples/shelf.toml"], ["blak"]),
    (["samples/logo.png", "--width", "40", "--overdye", "maybe"], ["overdye", "allow, never"]),
    (["samples/logo.png", "--width", "40", "--format", "svg,dfx"], ["dfx", "dxf"]),
    (["samples/logo.png", "--width", "40", "--quantity", "0"], ["quantity", "above 0"]),
    (["samples/logo.png", "--width", "40", "--shelf", "none.toml"], ["none.toml", "no such dye shelf"]),
    (["samples/logo.png", "--width", "40", "--pixel-limit", "1000"], ["0.7 megapixels", "0.001"]),
    (["--job", "none.toml"], ["none.toml", "no such job file"]),
    (["samples/logo.png", "--width", "40", "--min-land", "-1"], ["min_land_mm", "above 0"]),
]


@pytest.mark.parametrize(("arguments", "words"), CALLS, ids=lambda v: " ".join(v) or "nothing")
def test_an_unusable_call_is_one_line_and_leaves_nothing(tmp_path, arguments, words, monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    monkeypatch.setattr("sys.argv", ["maskgen", "convert", *arguments, "--out", str(tmp_path / "job")])
    with pytest.raises(SystemExit) as ending:
        run()
    assert ending.value.code == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    for word in words:
        assert word in said.err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_with_other_files_is_not_touched(tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    run = maskgen("convert", "samples/logo.png", "--width", "40", "--out", tmp_path)
    assert run.returncode == 2
    assert "letter.txt" in run.stderr
    assert (tmp_path / "letter.txt").read_text() == "dear"


def test_help_answers_without_the_heavy_libraries():
    code = "import sys; sys.argv = ['maskgen', '--help']\n"
    code += "from maskgen.cli.main import run\ntry:\n run()\nexcept SystemExit: pass\n"
    code += "print(sorted({'numpy','cv2','scipy','shapely'} & set(sys.modules)))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert run.stdout.rstrip().endswith("[]")
    assert "convert" in run.stdout


def test_the_largest_picture_read_has_a_key_too_and_the_option_wins(maskgen, tmp_path):
    job = tmp_path / "job.toml"
    job.write_text(f'[artwork]\nfile = "{ROOT / "samples/logo.png"}"\npixel_limit = 1000\n')
    ended = maskgen("convert", "--job", job, "--out", tmp_path / "out")
    assert ended.status == 2
    assert "the limit is 0.001" in ended.err
    ended = maskgen("convert", "--job", job, "--pixel-limit", 2000, "--out", tmp_path / "out")
    assert "the limit is 0.002" in ended.err
    assert not (tmp_path / "out").exists()
