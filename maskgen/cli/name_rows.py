"""Row folders of a name list: their files, their names, and how a finished one is known again."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import re
import shutil
from pathlib import Path
from typing import Any

from maskgen.cli.cut_output import cut_files
from maskgen.cli.job_folder import slug
from maskgen.formats import svg_write
from maskgen.formats.findings_json import write_findings
from maskgen.formats.jobfile import write_job
from maskgen.formats.path_forms import Sketch
from maskgen.formats.plan_json import write_plan
from maskgen.formats.shelf import write_shelf
from maskgen.formats.svg_cut_read import read_cut
from maskgen.model.finding import Severity
from maskgen.model.job import Job
from maskgen.model.judgement import Judgement
from maskgen.model.masks import CutDrawing
from maskgen.model.names import MaskRecord, NameRow, RowRecord, RowStatus
from maskgen.pipeline.name_face import DrawnMask
from maskgen.pipeline.name_job import Template
from maskgen.pipeline.names import MadeRow

FORM = 7
"""Raised whenever the same row would give other files than before, so that finished rows are made again."""

ROW_FILE = "row.json"
PICTURE_FILE = "picture.json"
_FILES = r"(report\.html|(bench-sheet|proof)\.pdf|manifest\.csv|template\.(ttf|otf)|parcel\.zip|artwork\.[a-z0-9]{1,5})"
_OURS = re.compile(
    rf"(names/\.?\d+-[a-z0-9-]+(\.[^/]*)?/.*|names/\.\d+-[^/]*|sheets/.*|\.sheets\.[^/]*/.*|{_FILES}|\.{_FILES}\.part)",
    re.DOTALL,
)
_HALF_MADE = re.compile(rf"\.sheets\..*|\.{_FILES}\.part", re.DOTALL)


def is_ours(name: str) -> bool:
    """Whether a file of this relative path is one a names folder holds, or is left of a run that was stopped."""
    return _OURS.fullmatch(name) is not None


def folder_name(row: NameRow, *, digits: int) -> str:
    """Name a row's folder: its number and its id, or its text where it has none, as plain letters."""
    return f"{row.number:0{digits}d}-{slug(row.key or row.text, otherwise='name')[:40].strip('-')}"


def fingerprint(template: Template, artwork: bytes) -> bytes:
    """Give a digest of all that rows share."""
    parts = (write_job(template.job), write_shelf(template.shelf), template.font, artwork, str(FORM).encode())
    return hashlib.sha256(b"".join(hashlib.sha256(part).digest() for part in parts)).digest()


def row_mark(row: NameRow, shared: bytes) -> str:
    """Give the mark by which a finished row is known to be the one wanted."""
    words = json.dumps([row.number, row.key, row.text, row.second, row.colour, row.quantity])
    return hashlib.sha256(shared + words.encode()).hexdigest()


def row_record(made: MadeRow, colour: str) -> RowRecord:
    """Give what is kept of a row."""
    if made.drawn is None:
        return RowRecord(made.status, made.reason, made.cap_height_mm, made.narrowest_land_mm)
    masks = tuple(
        MaskRecord(mask.number, _mask_stem(index, mask) + ".svg", mask.box, mask.runs, mask.cut_mm)
        for index, mask in enumerate(made.drawn.masks, start=1)
    )
    errors = sum(f.severity is Severity.ERROR for f in made.drawn.findings)
    return RowRecord(
        made.status,
        made.reason,
        made.cap_height_mm,
        made.narrowest_land_mm,
        colour,
        errors,
        made.name_mask,
        masks,
    )


def row_files(made: MadeRow, record: RowRecord, *, job: Job, shelf: bytes, mark: str) -> dict[str, bytes]:
    """Give every file of a row's folder; `job` is the row's own."""
    drawn, part = made.drawn, job.part
    assert drawn is not None
    assert made.plan is not None
    assert part is not None
    files = {
        "job.toml": write_job(job),
        "shelf.toml": shelf,
        "plan.json": write_plan(made.plan, simulation=drawn.figures),
        "findings.json": _findings(made, part.face_mm),
        "regions.svg": svg_write.regions_document(part.face_mm, drawn.regions),
        "predicted.svg": svg_write.regions_document(part.face_mm, drawn.looks),
    }
    for index, mask in enumerate(drawn.masks, start=1):
        files |= _mask_files(_mask_stem(index, mask), mask, job)
    picture = [(colour, *sketch.start, sketch.steps) for colour, sketch in drawn.picture]
    files[PICTURE_FILE] = json.dumps([drawn.over_blank, picture]).encode()
    told = {"mark": mark, **dataclasses.asdict(record)}
    files[ROW_FILE] = json.dumps(told, ensure_ascii=False).encode()
    return files


def _mask_stem(index: int, mask: DrawnMask) -> str:
    return f"masks/{index:02d}-{slug(mask.name)}"


def _mask_files(stem: str, mask: DrawnMask, job: Job) -> dict[str, bytes]:
    data = svg_write.cut_document(mask.window, mask.paths)
    if job.formats == ("svg",) and not job.sheets.mirror:
        return {f"{stem}.svg": data}
    # Lines for a knife to run on or swing round in are in the sheets alone: the window has no room for them.
    plain = dataclasses.replace(job, sheets=dataclasses.replace(job.sheets, overcut_mm=0.0, knife_offset_mm=0.0))
    return cut_files(stem, CutDrawing(*mask.window, read_cut(data).pieces), plain)


def _findings(made: MadeRow, face_mm: tuple[float, float]) -> bytes:
    assert made.drawn is not None
    masks = made.drawn.masks
    return write_findings(
        Judgement(
            file="job.toml",
            units="mm",
            size_mm=face_mm,
            pieces=sum(len(mask.paths) for mask in masks),
            cut_length_mm=sum(mask.cut_mm for mask in masks),
            nodes=sum(mask.nodes for mask in masks),
            findings=made.drawn.findings,
        )
    )


def finished_row(folder: Path, mark: str) -> RowRecord | None:
    """Give what a row's folder remembers, None where there is none or it is of another row or template."""
    try:
        told: dict[str, Any] = json.loads((folder / ROW_FILE).read_bytes())
        if told.pop("mark") != mark:
            return None
        masks = tuple(MaskRecord(**{**m, "box": tuple(m["box"]), "runs": tuple(m["runs"])}) for m in told.pop("masks"))
        return RowRecord(**{**told, "status": RowStatus(told["status"]), "masks": masks})
    except (OSError, ValueError, KeyError, TypeError):
        return None


def read_picture(folder: Path) -> tuple[bool, list[tuple[str, Sketch]]]:
    """Give a row's small picture, and whether it is to be laid over that of the part without letters."""
    over_blank, outlines = json.loads((folder / PICTURE_FILE).read_bytes())
    return over_blank, [(colour, Sketch((x, y), steps)) for colour, x, y, steps in outlines]


def clear_others(names: Path, keep: set[str]) -> None:
    """Remove row folders that no row of the list has, and what a stopped run left half-written."""
    if names.is_dir():
        for folder in names.iterdir():
            if folder.name not in keep:
                shutil.rmtree(folder)


def clear_half_made(folder: Path) -> None:
    """Remove what a stopped run left half-written beside the row folders."""
    if folder.is_dir():
        for path in folder.iterdir():
            if _HALF_MADE.fullmatch(path.name):
                shutil.rmtree(path) if path.is_dir() else path.unlink()
