"""Findings for the page: one kind together, the worst kind first, the worst places with their pictures."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.result import JobResult
from maskgen.report.scene_findings import finding_view
from maskgen.report.words import WORDS

PICTURES_PER_KIND = 3

LARGER_IS_WORSE = (Code.COLOUR_UNREACHED, Code.OFF_PART)
"""Of all other kinds a smaller value is worse."""


def verdict(findings: Sequence[Finding]) -> dict[str, str]:
    """Sum the findings up: what may be done now."""
    counts = {severity: sum(f.severity is severity for f in findings) for severity in Severity}
    kind = "bad" if counts[Severity.ERROR] else "look" if counts[Severity.WARNING] else "good"
    return {"kind": kind, "words": WORDS.verdict(counts)}


def groups(result: JobResult) -> list[dict[str, Any]]:
    """Give the kinds of findings in the order they are shown."""
    kinds: dict[tuple[Severity, Code], list[Finding]] = {}
    for finding in sorted(result.findings, key=badness):
        kinds.setdefault((finding.severity, finding.code), []).append(finding)
    rank = list(Severity)
    ordered = sorted(kinds.items(), key=lambda item: (rank.index(item[0][0]), badness(item[1][0]), item[0][1]))
    return [_group(severity, code, members, result) for (severity, code), members in ordered]


def badness(finding: Finding) -> float:
    """Give how bad a finding is among those of its severity: 0 is worst; 1 and more lies at its limit."""
    if finding.value is None or not finding.limit:
        return 0.5
    share = finding.value / finding.limit
    return (1.0 / share if share > 0 else 1.0) if finding.code in LARGER_IS_WORSE else share


def _group(severity: Severity, code: Code, members: list[Finding], result: JobResult) -> dict[str, Any]:
    worst = [f for f in members if f.at_mm is not None][:PICTURES_PER_KIND]
    return {
        "severity": str(severity),
        "severity_words": WORDS.severity(severity),
        "title": WORDS.code(code, len(members)),
        "message": members[0].message,
        "mend": members[0].mend,
        "pictures": [{**_place(f), "picture": Markup(finding_view(f, result.regions, label=f.message))} for f in worst],
        "more": WORDS.more_of_these(len(members)),
        "places": [_place(f) for f in members] if len(members) > 1 else [],
    }


def _place(finding: Finding) -> dict[str, Any]:
    at = finding.at_mm
    return {
        "words": WORDS.place(finding),
        "message": finding.message,
        "x": f"{at[0]:.2f}" if at else "",
        "y": f"{at[1]:.2f}" if at else "",
        "mask": finding.mask or "",
    }
