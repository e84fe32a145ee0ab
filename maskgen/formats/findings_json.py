"""Findings to JSON: `findings.json` of a job, and what `check --json` prints. Same findings, same bytes."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from maskgen.model.finding import Finding
from maskgen.model.judgement import Judgement

DECIMALS = 4
"""A tenth of a micrometre."""


def write_findings(judgement: Judgement | Sequence[Judgement], **more: Any) -> bytes:
    """Write one judgement as an object, several as a list.

    Parameters
    ----------
    judgement
        What is written; every key is there, with null where there is nothing to say.
    more
        Further keys of a single judgement, after the fixed ones.
    """
    if isinstance(judgement, Judgement):
        document: Any = {**_object(judgement), **more}
    else:
        document = [_object(one) for one in judgement]
    return (json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n").encode()


def _object(judgement: Judgement) -> dict[str, Any]:
    width, height = judgement.size_mm
    return {
        "file": judgement.file,
        "verdict": judgement.verdict,
        "units": judgement.units,
        "size_mm": [_rounded(width), _rounded(height)],
        "pieces": judgement.pieces,
        "cut_length_mm": _rounded(judgement.cut_length_mm),
        "nodes": judgement.nodes,
        "findings": [_finding(finding) for finding in judgement.findings],
        "page_mm": None if judgement.page_mm is None else [_rounded(v) for v in judgement.page_mm],
        "notes": list(judgement.notes),
    }


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "code": finding.code.value,
        "severity": finding.severity.value,
        "at_mm": None if finding.at_mm is None else [_rounded(v) for v in finding.at_mm],
        "mask": finding.mask,
        "piece": finding.piece,
        "value": None if finding.value is None else _rounded(finding.value),
        "limit": None if finding.limit is None else _rounded(finding.limit),
        "message": finding.message,
        "mend": finding.mend,
    }


def _rounded(value: float) -> float:
    """Round, without leaving a minus on zero."""
    return round(float(value), DECIMALS) + 0.0
