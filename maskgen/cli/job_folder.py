"""The files of a job folder, by relative path."""

from __future__ import annotations

import re
import unicodedata
from typing import Any

from maskgen.cli.cut_output import mask_files, parcel_of, sheet_files
from maskgen.formats import svg_write
from maskgen.formats.findings_json import write_findings
from maskgen.formats.jobfile import write_job
from maskgen.formats.plan_json import write_plan
from maskgen.formats.shelf import write_shelf
from maskgen.model.judgement import Judgement
from maskgen.model.paths import length_of, node_count
from maskgen.model.result import JobResult
from maskgen.report.bench import write_bench_sheet
from maskgen.report.page import write_report
from maskgen.report.proof_pdf import write_proof_pdf
from maskgen.report.proof_png import write_proof

_OURS = re.compile(
    r"(job\.toml|shelf\.toml|plan\.json|findings\.json|regions\.svg|predicted\.svg|report\.html|bench-sheet\.pdf"
    r"|proof\.(png|pdf)|parcel\.zip|artwork\.[a-z0-9]{1,5}|masks/\d\d-[a-z0-9-]+\.(svg|dxf|plt|pdf)"
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
        "proof.pdf": write_proof_pdf(result),
    }
    if artwork is not None:
        files[artwork[0]] = artwork[1]
    for index, mask in enumerate(result.masks, start=1):
        files |= mask_files(f"masks/{index:02d}-{slug(mask.name)}", mask, result.job)
    sheets = sheet_files(result.sheets, result.job)
    files |= sheets
    if result.job.sheets.parcel:
        files["parcel.zip"] = parcel_of(sheets, result.sheets, result.job)
    return files


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


def slug(name: str, *, otherwise: str = "mask") -> str:
    """Give a name as it may stand in a path: plain lower-case letters, digits and dashes."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return re.sub(r"[^a-z0-9]+", "-", plain.lower()).strip("-")[:60].strip("-") or otherwise
