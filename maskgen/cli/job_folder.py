"""The files of a job folder, by relative path."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Any

from maskgen.formats import dxf, hpgl, pdf, svg_write
from maskgen.formats.findings_json import write_findings
from maskgen.formats.jobfile import write_job
from maskgen.formats.plan_json import write_plan
from maskgen.formats.shelf import write_shelf
from maskgen.model.judgement import Judgement
from maskgen.model.masks import CutDrawing, Mask
from maskgen.model.paths import bounds, length_of, node_count
from maskgen.model.result import JobResult
from maskgen.report.bench import write_bench_sheet
from maskgen.report.page import write_report
from maskgen.report.proof import write_proof
from maskgen.shape.arc_paths import arc_drawing

_WRITERS: dict[str, tuple[str, Callable[[CutDrawing], bytes]]] = {
    "svg": (".svg", svg_write.write_cut),
    "dxf": (".dxf", lambda drawing: dxf.write_cut(arc_drawing(drawing))),
    "hpgl": (".plt", hpgl.write_cut),
    "pdf": (".pdf", pdf.write_cut),
}

_OURS = re.compile(
    r"(job\.toml|shelf\.toml|plan\.json|findings\.json|regions\.svg|predicted\.svg|report\.html|bench-sheet\.pdf"
    r"|proof\.(png|pdf)|artwork\.[a-z0-9]{1,5}|masks/\d\d-[a-z0-9-]+\.(svg|dxf|plt|pdf)"
    r"|sheets/sheet-\d\d+[a-z-]*\.(svg|dxf|plt|pdf))"
)


def is_ours(name: str) -> bool:
    """Whether a file of this relative path is one a job folder holds."""
    return _OURS.fullmatch(name) is not None


def job_files(result: JobResult, *, artwork: tuple[str, bytes] | None) -> dict[str, bytes]:
    """Give every file of the job folder; `artwork` is its name in the folder and its bytes."""
    files = {
        "job.toml": write_job(result.job),
        "shelf.toml": write_shelf(result.shelf),
        "plan.json": write_plan(result.plan, **_simulated(result)),
        "findings.json": job_findings(result),
        "regions.svg": svg_write.write_regions(result.regions),
        "predicted.svg": svg_write.write_regions(result.simulation.predicted),
        "report.html": write_report(result),
        "bench-sheet.pdf": write_bench_sheet(result),
        "proof.png": write_proof(result),
    }
    if artwork is not None:
        files[artwork[0]] = artwork[1]
    for index, mask in enumerate(result.masks, start=1):
        stem = f"masks/{index:02d}-{slug(mask.name)}"
        files |= cut_files(stem, mask_drawing(mask, result.job.part.face_mm if result.job.part else (0, 0)), result)
    for sheet in result.sheets:
        files |= cut_files(f"sheets/sheet-{sheet.number:02d}", sheet.drawing, result)
    return files


def cut_files(stem: str, drawing: CutDrawing, result: JobResult) -> dict[str, bytes]:
    """Write one drawing as SVG and in every other format the job asks for."""
    wanted = dict.fromkeys(("svg", *result.job.formats))
    return {stem + _WRITERS[name][0]: _WRITERS[name][1](drawing) for name in wanted}


def mask_drawing(mask: Mask, face_mm: tuple[float, float]) -> CutDrawing:
    """Give a mask seen through the face, or further where its vinyl runs past the face."""
    left, top, right, bottom = 0.0, 0.0, *face_mm
    if mask.area.pieces:
        vinyl = bounds(mask.area)
        left, top = min(left, vinyl[0]), min(top, vinyl[1])
        right, bottom = max(right, vinyl[2]), max(bottom, vinyl[3])
    return CutDrawing(left, top, right - left, bottom - top, mask.area.pieces)


def job_findings(result: JobResult) -> bytes:
    """Give `findings.json` of a job: counted over one set of masks."""
    rings = [ring for mask in result.masks for ring in mask.area.rings]
    assert result.job.part is not None
    return write_findings(
        Judgement(
            file="job.toml",
            units="mm",
            size_mm=result.job.part.face_mm,
            pieces=sum(len(mask.area.pieces) for mask in result.masks),
            cut_length_mm=sum(length_of(ring) for ring in rings),
            nodes=sum(node_count(mask.area) for mask in result.masks),
            findings=result.findings,
            notes=result.notes,
        )
    )


def _simulated(result: JobResult) -> dict[str, Any]:
    """Give what the simulated baths say, for `plan.json`."""
    simulation, trials = result.simulation, result.forgiveness
    figures: dict[str, Any] = {
        "simulation": {
            "wrong_share": round(simulation.wrong_share, 6),
            "wrong_mm2": round(simulation.wrong_mm2, 4),
            "edge_mean_mm": round(simulation.edge_mean_mm, 5),
            "edge_95_mm": round(simulation.edge_95_mm, 5),
            "edge_max_mm": round(simulation.edge_max_mm, 4),
        }
    }
    if trials is not None:
        figures["forgiveness"] = {
            "trials": trials.trials,
            "placement_mm": trials.placement_mm,
            "seamless_share": round(trials.seamless_share, 4),
            "median_wrong_mm2": round(trials.median_wrong_mm2, 4),
            "worst_wrong_mm2": round(trials.worst_wrong_mm2, 4),
            "median_edge_mm": round(trials.median_edge_mm, 4),
            "worst_edge_mm": round(trials.worst_edge_mm, 4),
        }
    return figures


def slug(name: str) -> str:
    """Give a name as it may stand in a path: plain lower-case letters, digits and dashes."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60].strip("-") or "mask"
