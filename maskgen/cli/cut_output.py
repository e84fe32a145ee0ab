"""Cut drawings to the files a job asks for."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping, Sequence

from maskgen.formats import hpgl, pdf, svg_write
from maskgen.formats.parcel import Order, write_parcel
from maskgen.model.job import Job, SheetSettings
from maskgen.model.masks import CutDrawing, Mask, Sheet
from maskgen.shape.arc_paths import arc_drawing
from maskgen.shape.cutting import in_cutting_order, mirrored
from maskgen.shape.knife import knife_paths
from maskgen.shape.sheet_extras import BAR_MM
from maskgen.shape.window import mask_window

ENDINGS = {"svg": ".svg", "dxf": ".dxf", "hpgl": ".plt", "pdf": ".pdf"}
MIRRORED = "-mirrored"


def mask_files(stem: str, mask: Mask, job: Job) -> dict[str, bytes]:
    """Write one mask, in cutting order, in every format the job asks for.

    Its window has no margin for a knife to run on or swing round in: those lines are in the sheets alone.
    """
    assert job.part is not None
    plain = dataclasses.replace(job, sheets=dataclasses.replace(job.sheets, overcut_mm=0.0, knife_offset_mm=0.0))
    return cut_files(stem, in_cutting_order(mask_drawing(mask, job.part.face_mm)), plain)


def sheet_files(sheets: Sequence[Sheet], job: Job) -> dict[str, bytes]:
    """Write the sheets in every format the job asks for."""
    files: dict[str, bytes] = {}
    for sheet in sheets:
        files |= cut_files(f"sheets/sheet-{sheet.number:02d}", sheet.drawing, job)
    return files


def cut_files(stem: str, drawing: CutDrawing, job: Job) -> dict[str, bytes]:
    """Write one drawing as SVG and in every other format the job asks for, with a mirrored copy where it wants one."""
    wanted = dict.fromkeys(("svg", *job.formats))
    files = {stem + ENDINGS[name]: _write(name, drawing, job.sheets) for name in wanted}
    if job.sheets.mirror:
        turned = mirrored(drawing)
        files |= {stem + MIRRORED + ENDINGS[name]: _write(name, turned, job.sheets) for name in wanted}
    return files


def parcel_of(files: Mapping[str, bytes], sheets: Sequence[Sheet], job: Job) -> bytes:
    """Pack the sheets (the mirrored ones, where the job wants them mirrored) for the cutting service."""
    chosen = {
        name.removeprefix("sheets/"): data
        for name, data in files.items()
        if name.startswith("sheets/") and (MIRRORED in name) == job.sheets.mirror
    }
    order = Order(
        title=job.title,
        quantity=job.quantity,
        film=job.sheets.film,
        sheets=tuple(sheets),
        # Every piece is one path; the sheets of a list are never held as outlines.
        pieces=tuple(files[f"sheets/sheet-{sheet.number:02d}.svg"].count(b"<path ") for sheet in sheets),
        check_bar_mm=BAR_MM[0] if job.sheets.check_bar else None,
        mirrored=job.sheets.mirror,
    )
    return write_parcel(chosen, order)


def mask_drawing(mask: Mask, face_mm: tuple[float, float]) -> CutDrawing:
    """Give a mask seen through the face, or further where its vinyl runs past the face."""
    return CutDrawing(*mask_window(mask.area, face_mm), mask.area.pieces)


def _write(name: str, drawing: CutDrawing, settings: SheetSettings) -> bytes:
    if name == "dxf":
        from maskgen.formats import dxf  # its library takes a while to load

        return dxf.write_cut(arc_drawing(drawing), version=settings.dxf)
    if name == "hpgl" and (settings.overcut_mm or settings.knife_offset_mm):
        paths = knife_paths(drawing, overcut_mm=settings.overcut_mm, knife_offset_mm=settings.knife_offset_mm)
        return hpgl.write_paths(drawing, paths)
    writers: dict[str, Callable[[CutDrawing], bytes]] = {
        "svg": svg_write.write_cut,
        "hpgl": hpgl.write_cut,
        "pdf": pdf.write_cut,
    }
    return writers[name](drawing)
