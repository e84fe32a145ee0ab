"""Row folders of a name list: their files, their names, and how a finished one is known again."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from maskgen.cli.cut_output import mask_files
from maskgen.cli.job_folder import slug
from maskgen.formats import svg_write
from maskgen.formats.findings_json import write_findings
from maskgen.formats.jobfile import write_job
from maskgen.formats.plan_json import write_plan
from maskgen.formats.shelf import write_shelf
from maskgen.formats.svg_cut_read import read_cut
from maskgen.model.judgement import Judgement
from maskgen.model.masks import Mask
from maskgen.model.names import NameRow, RowStatus
from maskgen.model.paths import length_of, node_count
from maskgen.pipeline.names import MadeRow, Template

FORM = 1
"""Raised whenever the same row would give other files than before, so that finished rows are made again."""

ROW_FILE = "row.json"
_OURS = re.compile(
    r"(names/\.?\d+-[a-z0-9-]+(\.[^/]*)?/.*|names/\.\d+-[^/]*|sheets/.*|\.sheets\.[^/]*/.*|report\.html|bench-sheet\.pdf"
    r"|manifest\.csv|\.(report\.html|bench-sheet\.pdf|manifest\.csv)\.part)",
    re.DOTALL,
)


def is_ours(name: str) -> bool:
    """Whether a file of this relative path is one a names folder holds, or is left of a run that was stopped."""
    return _OURS.fullmatch(name) is not None


@dataclass(frozen=True, slots=True)
class Remembered:
    """What a finished row's own folder says of it."""

    status: RowStatus
    reason: str
    cap_height_mm: float
    narrowest_land_mm: float


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


def row_files(made: MadeRow, row: NameRow, template: Template, mark: str) -> dict[str, bytes]:
    """Give every file of a row's folder."""
    assert made.job is not None
    assert made.plan is not None
    assert made.regions is not None
    assert made.simulation is not None
    files = {
        "plan.json": write_plan(made.plan, **_simulated(made)),
        "findings.json": _findings(made),
        "regions.svg": svg_write.write_regions(made.regions),
        "predicted.svg": svg_write.write_regions(made.simulation.predicted),
    }
    for index, mask in enumerate(made.masks, start=1):
        files |= mask_files(f"masks/{index:02d}-{slug(mask.name)}", mask, made.job)
    told = {
        "mark": mark,
        "row": row.number,
        "status": made.status.value,
        "reason": made.reason,
        "cap_height_mm": made.cap_height_mm,
        "narrowest_land_mm": made.narrowest_land_mm,
        "name_mask": made.name_mask,
        "masks": [[m.number, m.name, list(m.regions)] for m in made.masks],
    }
    files[ROW_FILE] = (json.dumps(told, indent=1, ensure_ascii=False) + "\n").encode()
    return files


def _simulated(made: MadeRow) -> dict[str, Any]:
    simulation = made.simulation
    assert simulation is not None
    return {
        "simulation": {
            "wrong_share": round(simulation.wrong_share, 6),
            "wrong_mm2": round(simulation.wrong_mm2, 4),
            "edge_mean_mm": round(simulation.edge_mean_mm, 5),
            "edge_95_mm": round(simulation.edge_95_mm, 5),
            "edge_max_mm": round(simulation.edge_max_mm, 4),
        }
    }


def _findings(made: MadeRow) -> bytes:
    assert made.job is not None
    assert made.job.part is not None
    return write_findings(
        Judgement(
            file="row.json",
            units="mm",
            size_mm=made.job.part.face_mm,
            pieces=sum(len(mask.area.pieces) for mask in made.masks),
            cut_length_mm=sum(length_of(ring) for mask in made.masks for ring in mask.area.rings),
            nodes=sum(node_count(mask.area) for mask in made.masks),
            findings=made.findings,
        )
    )


def finished_row(folder: Path, mark: str) -> dict[str, Any] | None:
    """Give what a row's folder remembers, None where there is none or it is of another row or template."""
    try:
        told: dict[str, Any] = json.loads((folder / ROW_FILE).read_bytes())
    except (OSError, ValueError):
        return None
    return told if told.get("mark") == mark else None


def read_masks(folder: Path, told: dict[str, Any]) -> tuple[Mask, ...]:
    """Read a finished row's masks back, as they were written."""
    return tuple(
        Mask(number, name, tuple(regions), read_cut((folder / f"masks/{i:02d}-{slug(name)}.svg").read_bytes()))
        for i, (number, name, regions) in enumerate(told["masks"], start=1)
    )


def clear_others(names: Path, keep: set[str]) -> None:
    """Remove row folders that no row of the list has, and what a stopped run left half-written."""
    if names.is_dir():
        for folder in names.iterdir():
            if folder.name not in keep:
                shutil.rmtree(folder)
