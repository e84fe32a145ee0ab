"""Cut files as a job asks for them: formats, mirrored copies, old DXF, the parcel."""

import dataclasses
import hashlib
import io
import re
import zipfile

import ezdxf
import ezdxf.path
import numpy as np
import pytest
import svgelements
from shapely import affinity
from shapely.geometry import Point

from maskgen.cli.cut_output import cut_files, mask_files, parcel_of, sheet_files
from maskgen.geometry.exact import fit_area_exact
from maskgen.model.job import DxfVersion, Job, Part, Resist, SheetSettings
from maskgen.model.masks import CutDrawing, Mask
from maskgen.model.paths import Area, Piece, polygon_ring, rectangle
from maskgen.shape.nest import nest

FLAG = Piece(polygon_ring(np.array([(1, 1), (9, 1), (5, 4), (1, 4)], float)))
DRAWING = CutDrawing(0.0, 0.0, 10.0, 5.0, (FLAG,))


def job(formats=("svg",), **sheets):
    return Job(title="Dome, plates", quantity=3, formats=formats, sheets=SheetSettings(**sheets))


def test_svg_is_always_there_and_the_others_as_asked():
    assert set(cut_files("a", DRAWING, job())) == {"a.svg"}
    assert set(cut_files("a", DRAWING, job(("hpgl", "dxf", "pdf")))) == {"a.svg", "a.plt", "a.dxf", "a.pdf"}


def test_a_mirrored_copy_says_so_and_is_one():
    files = cut_files("a", DRAWING, job(("hpgl",), mirror=True))
    assert set(files) == {"a.svg", "a.plt", "a-mirrored.svg", "a-mirrored.plt"}

    def corners(text):
        pairs = [p for part in re.split(r";\s*", text) if part[:2] in ("PU", "PD") for p in part[2:].split(",")]
        return {(int(x), int(y)) for x, y in zip(pairs[::2], pairs[1::2], strict=True) if x}

    plain = corners(files["a.plt"].decode().replace("PU;", ""))
    turned = corners(files["a-mirrored.plt"].decode().replace("PU;", ""))
    assert turned == {(400 - x, y) for x, y in plain}
    assert (360, 160) in plain  # 9 mm across, 4 mm up, in units of 0.025 mm


def test_old_dxf_on_request():
    data = cut_files("a", DRAWING, job(("dxf",), dxf=DxfVersion.R12))["a.dxf"]
    assert ezdxf.read(io.StringIO(data.decode())).dxfversion == "AC1009"


def test_a_drag_blade_is_led_on_sheets_and_masks_stay_plain():
    """A mask's window has no room for the knife to swing in; before, such a job could not be written at all."""
    mask = Mask("M1", "flag", ("r1",), Area((FLAG,)))
    order = dataclasses.replace(job(("hpgl",), knife_offset_mm=0.25), part=Part(width_mm=10.0, height_mm=5.0))
    plain = mask_files("a", mask, dataclasses.replace(order, sheets=SheetSettings()))
    assert mask_files("a", mask, order) == plain
    sheets = nest([mask], quantity=1, resist=Resist(), settings=order.sheets)
    led = sheet_files(sheets, order)["sheets/sheet-01.plt"]
    assert led != sheet_files(sheets, job(("hpgl",)))["sheets/sheet-01.plt"]


@pytest.mark.parametrize("mirror", [False, True])
def test_the_parcel_holds_the_sheets_to_cut_and_their_checksums(mirror):
    mask = Mask("M1", "flag", ("r1",), Area((rectangle(0, 0, 20, 10),)))
    order = job(("svg", "dxf"), mirror=mirror, check_bar=True)
    sheets = nest([mask], quantity=3, resist=Resist(), settings=order.sheets)
    files = sheet_files(sheets, order)
    with zipfile.ZipFile(io.BytesIO(parcel_of(files, sheets, order))) as parcel:
        names = set(parcel.namelist())
        stem = "sheet-01-mirrored" if mirror else "sheet-01"
        assert names == {f"{stem}.svg", f"{stem}.dxf", "order-note.txt", "SHA256SUMS.txt"}
        note = parcel.read("order-note.txt").decode()
        for line in parcel.read("SHA256SUMS.txt").decode().splitlines():
            digest, name = line.split("  ")
            assert hashlib.sha256(parcel.read(name)).hexdigest() == digest
    assert "3 parts" in note
    assert "50 mm" in note
    assert ("mirrored on purpose" in note) is mirror


@pytest.mark.parametrize(("width", "height"), [(37.0, 37.0), (30.331, 30.337), (12.013, 7.509)])
def test_vinyl_round_the_rim_lies_within_every_file(width, height):
    """An oval that runs past the face: nothing below zero, nothing past the far edges, whatever curves become."""
    oval = Point(0, 0).buffer(1, quad_segs=200)
    outline = fit_area_exact(
        affinity.translate(affinity.scale(oval, width / 2 + 1, height / 2 + 1), width / 2, height / 2), tolerance=0.003
    )
    files = mask_files(
        "a",
        Mask("M1", "rim", ("r1",), outline),
        dataclasses.replace(job(("dxf", "hpgl")), part=Part(width_mm=width, height_mm=height)),
    )
    left, top, wide, high = map(float, re.search(rb'viewBox="([^"]*)"', files["a.svg"])[1].split())
    box = svgelements.Path(re.search(rb' d="([^"]*)"', files["a.svg"])[1].decode()).bbox()
    assert left <= box[0]
    assert top <= box[1]
    assert box[2] <= left + wide
    assert box[3] <= top + high
    drawn = ezdxf.path.make_path(next(iter(ezdxf.read(io.StringIO(files["a.dxf"].decode())).modelspace())))
    places = np.array([(p.x, p.y) for p in drawn.flattening(1e-5)])
    units = np.array(re.findall(r"(\d+),(\d+)", files["a.plt"].decode()), dtype=int) / 40
    for corners in (places, units):
        assert (corners >= 0).all()
        assert (corners <= (wide, high)).all()
    assert wide == pytest.approx(width + 2, abs=0.03)
