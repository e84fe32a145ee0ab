"""`maskgen coupon`: the folder, the list read back, and what is refused."""

import csv
import io
import json
import tomllib

import ezdxf
import pytest

from maskgen.cli.coupon_files import coupon_files
from maskgen.formats.folder import save_folder
from maskgen.formats.jobfile import read_job
from maskgen.formats.shelf import sample_shelf
from maskgen.model.job import Job
from maskgen.pipeline.coupon import make_coupon


@pytest.fixture(scope="module")
def files():
    """Make the piece once: most tests need nothing but its folder."""
    return coupon_files(*make_coupon(Job(formats=("svg", "dxf")), shelf=sample_shelf(), strips=3))


@pytest.fixture
def folder(files, tmp_path):
    save_folder(tmp_path / "c", files)
    return tmp_path / "c"


def fill(folder, value):
    """Fill the list in: `value` gives what stands under `measured` for a row."""
    rows = list(csv.DictReader(io.StringIO((folder / "measured.csv").read_text())))
    out = io.StringIO()
    writer = csv.DictWriter(out, rows[0])
    writer.writeheader()
    writer.writerows({**row, "measured": value(row)} for row in rows)
    (folder / "filled.csv").write_text(out.getvalue())
    return folder / "filled.csv"


def as_a_bench(row):
    """Give what a bench with a creep of 0.08 mm reads, to the twentieth."""
    kind, *rest = row["id"].split("-")
    cut = float(row["as_cut"])
    if kind == "creep":
        return f"{round((cut - 2 * int(rest[0]) * 0.08) * 20) / 20:g}"
    if kind == "place":
        return {"left": "1.9", "right": "1.3"}.get(rest[-1], "1.6")
    return "yes" if cut >= {"line": 0.5, "slit": 0.4, "piece": 1.0}[kind] else "no"


def test_the_folder_holds_all_and_the_same_call_gives_the_same_bytes(maskgen, folder, tmp_path):
    names = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    masks = {f"masks/0{n}-set-{n}.{end}" for n in (1, 2, 3) for end in ("svg", "dxf")}
    sheets = {"sheets/sheet-01.svg", "sheets/sheet-01.dxf"}
    assert names == masks | sheets | {"bench-sheet.pdf", "reading-sheet.pdf", "measured.csv"}
    first = {name: (folder / name).read_bytes() for name in names}
    assert maskgen("coupon", "--out", folder, "--format", "svg,dxf").status == 0  # ours: replaced
    assert {name: (folder / name).read_bytes() for name in names} == first
    bars = ezdxf.readfile(folder / "masks/03-set-3.dxf").modelspace().query("LWPOLYLINE")
    widths = [max(p[0] for p in bar) - min(p[0] for p in bar) for bar in bars]
    assert min(abs(w - 2.5) for w in widths) < 1e-6


def test_the_cut_files_pass_the_check_but_for_what_is_thin_on_purpose(maskgen, folder):
    checked = maskgen("check", folder / "masks", folder / "sheets", "--json")
    assert checked.status == 0
    codes = {f["code"] for file in json.loads(checked.out) for f in file["findings"]}
    assert codes <= {"thin-land", "narrow-gap", "small-piece"}


def test_what_a_bench_reads_becomes_a_resist_table_a_job_file_takes(maskgen, folder, tmp_path):
    read = maskgen("coupon", "--read", fill(folder, as_a_bench), "--out", tmp_path / "resist.toml")
    assert (read.status, read.err) == (0, "")
    assert (tmp_path / "resist.toml").read_text() == read.out
    table = tomllib.loads(read.out)["resist"]
    assert 0.08 <= table.pop("creep_mm") <= 0.1
    assert table == {"lap_mm": 0.5, "placement_mm": 0.3, "min_land_mm": 0.5, "min_gap_mm": 0.4, "min_piece_mm2": 1.0}
    job = read_job((read.out + '[[colour]]\nsource = "#112233"\n').encode(), name="job.toml")
    assert job.resist.min_gap_mm == 0.4
    assert read.out.count("measured") == 6


def test_only_an_older_profile_is_replaced(maskgen, folder, tmp_path):
    job, filled = tmp_path / "job.toml", fill(folder, as_a_bench)
    job.write_text('title = "mine"\n[resist]\ncreep_mm = 0.2\n')
    ended = maskgen("coupon", "--read", filled, "--out", job)
    assert (ended.status, ended.out) == (2, "")
    assert "no profile from here" in ended.err
    assert job.read_text().startswith('title = "mine"')
    for _ in range(2):
        assert maskgen("coupon", "--read", filled, "--out", tmp_path / "resist.toml").status == 0


def test_what_was_not_measured_is_the_jobs_and_says_so(maskgen, folder, tmp_path):
    job = tmp_path / "job.toml"
    job.write_text('[resist]\nmin_gap_mm = 0.7\n[[colour]]\nsource = "#112233"\n')
    only_lines = fill(folder, lambda row: as_a_bench(row) if row["id"].startswith("line") else "")
    read = maskgen("coupon", "--read", only_lines, "--job", job, "--json")
    assert (read.status, read.err) == (0, "")
    document = json.loads(read.out)
    assert document["resist"]["min_gap_mm"] == 0.7
    assert document["how"]["min_gap_mm"]["words"].startswith("as in the job, not measured")
    assert document["how"]["creep_mm"]["words"].startswith("default, not measured")
    assert document["creep"] is None


def test_readings_that_contradict_each_other_end_with_one(maskgen, folder):
    def upside_down(row):
        creep = row["id"].startswith("creep")
        return f"{float(row['as_cut']) - 0.8 + 0.2 * int(row['id'][6]):g}" if creep else ""

    read = maskgen("coupon", "--read", fill(folder, upside_down))
    assert read.status == 1
    assert "creep cannot fall" in read.err
    assert tomllib.loads(read.out)["resist"]["creep_mm"] == 0.1


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "is empty"),
        ("id,measured\n", "nothing is filled in"),
        ("name,measured\na,1\n", "columns `id`"),
        (
            "id,measured\ncreep-1-level-wide,2\ncreep-1-level-wide,2\n",
            "row 3: `creep-1-level-wide` stands in row 2 too",
        ),
        ("id,measured\ncreep-1-levl-wide,2\n", "row 2: no such id 'creep-1-levl-wide'; did you mean"),
        ("id,measured\ncreep-1-level-wide,two\n", "row 2: 'two' is no width"),
        ("id,measured\ncreep-1-level-wide,nan\n", "row 2: 'nan' is no width"),
        ("id,measured\ncreep-1-level-wide,-1\n", "row 2: is -1 mm"),
        ("id,measured\ncreep-1-level-wide,230\n", "row 2: is 230 mm"),
        ("id,measured\ncreep-1-level-wide,0.09 in\n", "row 2: '0.09 in' is no width"),
        ("id,measured\ncreep-1-level-wide,2,3\n", "row 2: has more cells"),
        ("id,measured\nslit-0.5,perhaps\n", "row 2: 'perhaps' is no answer"),
        ("id,as_cut,measured\ncreep-1-level-wide,2.3,\nslit-0.5,0.5,yes\n", "row 2: `creep-1-level-wide` was cut 2.5"),
    ],
)
def test_a_list_that_cannot_be_used_is_refused_with_its_row(maskgen, tmp_path, text, told):
    (tmp_path / "m.csv").write_text(text)
    read = maskgen("coupon", "--read", tmp_path / "m.csv", "--out", tmp_path / "r.toml")
    assert (read.status, read.out) == (2, "")
    assert told in read.err
    assert read.err.count("\n") == 1
    assert not (tmp_path / "r.toml").exists()


@pytest.mark.parametrize(
    ("call", "told"),
    [
        ((), "neither --out nor --read"),
        (("--out", "c", "--part", "disc:30"), "not on a disc"),
        (("--out", "c", "--part", "plate:40x20"), "too small"),
        (("--out", "c", "--strips", "9"), "from 1 to 5"),
        (("--out", "c", "--dye", "lemmon"), "did you mean `lemon`?"),
        (("--out", "c", "--dye", "iron gold"), "does not come out in bleach"),
        (("--out", "c", "--format", "png"), "unknown format"),
        (("--read", "none.csv"), "no such list"),
        (("--read", "none.csv", "--strips", "2"), "means nothing with --read"),
    ],
)
def test_a_call_that_cannot_be_done_leaves_nothing(maskgen, tmp_path, call, told):
    ended = maskgen("coupon", *(tmp_path / word if word == "c" else word for word in call))
    assert (ended.status, ended.out) == (2, "")
    assert told in ended.err
    assert not list(tmp_path.iterdir())


def test_a_folder_of_somebody_else_is_left_alone(maskgen, tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    ended = maskgen("coupon", "--out", tmp_path)
    assert ended.status == 2
    assert "notes.txt" in ended.err


def test_a_filled_list_is_not_overwritten(maskgen, folder):
    fill(folder, as_a_bench).replace(folder / "measured.csv")
    before = (folder / "measured.csv").read_bytes()
    ended = maskgen("coupon", "--out", folder)
    assert ended.status == 2
    assert "filled in" in ended.err
    assert (folder / "measured.csv").read_bytes() == before


@pytest.mark.parametrize("strips", [1, 2])
def test_fewer_strips_make_fewer_masks(maskgen, tmp_path, strips):
    made = maskgen("coupon", "--out", tmp_path / "c", "--strips", strips, "--json")
    document = json.loads(made.out)
    assert sum(name.startswith("masks/") for name in document["files"]) == strips
    assert document["strips"] == strips
