"""The files of a test piece's folder, and the resist profile as text."""

from __future__ import annotations

import json
import re
from collections import Counter
from typing import Any

from maskgen.check.cutfile import judge
from maskgen.check.settings import CheckSettings
from maskgen.cli.cut_output import mask_drawing, mask_files, sheet_files
from maskgen.cli.job_folder import slug
from maskgen.formats.cutfile import read_cutfile
from maskgen.formats.measured_csv import write_measured
from maskgen.formats.svg_write import write_cut
from maskgen.model.coupon import Profile, TestPiece
from maskgen.model.job import Resist
from maskgen.model.result import JobResult
from maskgen.report.bench import write_bench_sheet
from maskgen.report.coupon_sheet import write_reading_sheet

_OURS = re.compile(
    r"(bench-sheet\.pdf|reading-sheet\.pdf|measured\.csv|masks/\d\d-set-\d(-mirrored)?\.(svg|dxf|plt|pdf)"
    r"|sheets/sheet-\d\d+[a-z-]*\.(svg|dxf|plt|pdf))"
)


def is_ours(name: str) -> bool:
    """Whether a file of this relative path is one a test piece's folder holds."""
    return _OURS.fullmatch(name) is not None


def coupon_files(piece: TestPiece, result: JobResult) -> dict[str, bytes]:
    """Give every file of the folder."""
    letters = {key: block.letter for block in piece.blocks for key in block.keys}
    files = {
        "bench-sheet.pdf": write_bench_sheet(result),
        "reading-sheet.pdf": write_reading_sheet(piece, result.job),
        "measured.csv": write_measured((letters[f.key], f) for f in piece.features),
    }
    for index, mask in enumerate(piece.masks, start=1):
        files |= mask_files(f"masks/{index:02d}-{slug(mask.name)}", mask, result.job)
    return files | sheet_files(result.sheets, result.job)


def purposely_thin(piece: TestPiece, resist: Resist) -> dict[str, int]:
    """Count what `maskgen check` tells of the masks, by kind: it is what the piece is for."""
    count: Counter[str] = Counter()
    for mask in piece.masks:
        drawing = read_cutfile(
            write_cut(mask_drawing(mask, (piece.width_mm, piece.height_mm))), name=f"{mask.name}.svg"
        )
        found = judge(drawing, name=mask.name, settings=CheckSettings(resist)).judgement.findings
        count.update(f.code.value for f in found)
    return dict(sorted(count.items()))


def profile_toml(profile: Profile) -> str:
    """Write the profile as the `[resist]` table of a job file, a word beside every value."""
    lines = ["[resist]"]
    for value in profile.values:
        lines.append(f"{f'{value.key} = {value.value:g}':<24} # {value.words}")
    return "\n".join(lines) + "\n"


def profile_json(profile: Profile) -> str:
    """Write the profile as one JSON document."""
    fit = profile.creep
    document: dict[str, Any] = {
        "resist": {value.key: value.value for value in profile.values},
        "how": {value.key: {"measured": value.measured, "words": value.words} for value in profile.values},
        "creep": None
        if fit is None
        else {
            "creep_mm": round(fit.creep_mm, 5),
            "standard_error_mm": round(fit.error_mm, 5),
            "margin_95_mm": round(fit.margin_mm, 5),
            "scatter_mm": round(fit.scatter_mm, 5),
            "offset_mm": round(fit.offset_mm, 5),
            "bars": fit.bars,
            "set_aside": list(fit.set_aside),
        },
        "findings": [{"severity": r.severity.value, "message": r.message, "mend": r.mend} for r in profile.remarks],
    }
    return json.dumps(document, indent=2, ensure_ascii=False)
