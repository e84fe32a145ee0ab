"""The report on checked files: one HTML page, no network."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

from maskgen.check.against import Comparison
from maskgen.check.cutfile import Analysis
from maskgen.check.mend import Repair
from maskgen.model.finding import Finding
from maskgen.report.check_picture import COLOURS, write_check_svg

_STYLE = """
body{font:16px/1.45 system-ui,sans-serif;color:#1f2933;max-width:68rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.5rem} h2{font-size:1.2rem;margin-top:2.5rem} svg{width:100%;height:auto;border:1px solid #d5dbe1}
table{border-collapse:collapse;width:100%;margin:1rem 0} th,td{text-align:left;vertical-align:top;padding:.3rem .6rem}
tr{border-bottom:1px solid #d5dbe1} td.n{text-align:right;white-space:nowrap} .fail{color:#b3261e} .pass{color:#1e6b3a}
dl{display:grid;grid-template-columns:max-content 1fr;gap:.2rem 1rem} dt{color:#52606d} dd{margin:0}
@media print{body{margin:0;max-width:none}}
"""

Section = tuple[Analysis, Sequence[Repair], Comparison | None]


def write_check_page(sections: Sequence[Section]) -> bytes:
    """Write one section per file: verdict, figures, the marked drawing, every finding with its remedy, repairs."""
    body = "".join(part for section in sections for part in _section(*section))
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>Cut file check</title>'
        f'<meta name="viewport" content="width=device-width"><style>{_STYLE}</style></head>'
        f"<body><h1>Cut file check</h1>{body}</body></html>\n"
    ).encode()


def _section(analysis: Analysis, repairs: Sequence[Repair], comparison: Comparison | None) -> Iterable[str]:
    judgement = analysis.judgement
    verdict = "may be cut" if judgement.verdict == "pass" else "must not be cut as it is"
    yield f'<h2>{escape(judgement.file)}: <span class="{judgement.verdict}">{verdict}</span></h2><dl>'
    for name, value in figures(analysis):
        yield f"<dt>{name}</dt><dd>{escape(value)}</dd>"
    yield "</dl>"
    yield write_check_svg(analysis, listed=False).decode()
    if judgement.findings:
        yield "<table><tr><th>#</th><th>finding</th><th>place, mm</th><th>what</th><th>remedy</th></tr>"
        yield from (_row(k, f) for k, f in enumerate(judgement.findings, 1))
        yield "</table>"
    else:
        yield "<p>Nothing to object to.</p>"
    if repairs:
        yield "<h3>Repairs</h3><ul>"
        yield from (f"<li>{escape(repair_sentence(r))}</li>" for r in repairs)
        yield "</ul>"
    if comparison is not None:
        yield "<h3>Against the job</h3><ul>"
        yield from (f"<li>{escape(sentence)}</li>" for sentence in comparison_sentences(comparison))
        yield "</ul>"
    yield from (f"<p>{escape(note)}</p>" for note in judgement.notes)


def figures(analysis: Analysis) -> list[tuple[str, str]]:
    """Give the figures of a file, in words."""
    j = analysis.judgement
    rows = [("size of what is drawn", f"{j.size_mm[0]:.2f} x {j.size_mm[1]:.2f} mm")]
    if j.page_mm is not None:
        rows.append(("page", f"{j.page_mm[0]:.2f} x {j.page_mm[1]:.2f} mm"))
    rows.append(("unit", j.units if j.units != "none" else "none stated"))
    rows.append(("pieces", str(j.pieces)))
    rows.append(("cut length", f"{j.cut_length_mm:.1f} mm"))
    rows.append(("nodes", str(j.nodes)))
    return rows


def _row(number: int, finding: Finding) -> str:
    colour = COLOURS[finding.severity]
    return (
        f'<tr><td class="n">{number}</td><td style="color:{colour}">'
        f"{finding.code.value}<br>{finding.severity.value}</td>"
        f'<td class="n">{place_of(finding)}</td><td>{escape(finding.message)}</td><td>{escape(finding.mend)}</td></tr>'
    )


def place_of(finding: Finding) -> str:
    """Give a place in words; empty where there is none."""
    return "" if finding.at_mm is None else f"{finding.at_mm[0]:.2f}, {finding.at_mm[1]:.2f}"


def repair_sentence(repair: Repair) -> str:
    """Say what was done, or left undone, and where."""
    place = "" if repair.at is None else f" at {repair.at[0]:.2f}, {repair.at[1]:.2f} mm"
    return f"{'' if repair.done else 'not mended: '}{repair.what}{place}"


def comparison_sentences(comparison: Comparison) -> list[str]:
    """Say how a file stands to the job, in plain sentences."""
    held = sum(bool(match.found) for match in comparison.masks)
    whole = f"the file holds {held} of the {len(comparison.masks)} masks of the job, as they are"
    said = [whole if comparison.same else "the file is not what the job made"]
    if comparison.mistake is not None or abs(comparison.scale - 1.0) > 0.004:
        why = f": {comparison.mistake}" if comparison.mistake else ""
        said.append(f"it is {comparison.scale:.4f} times the size{why}")
    if comparison.mirrored:
        said.append("it is mirrored")
    for match in comparison.masks:
        if not match.found:
            said.append(f"{match.mask}: not in this file")
            continue
        line = f"{match.mask}: {match.found} of {match.pieces} pieces found"
        if match.copies > 1:
            line += f", {match.copies} times"
        if match.moved_mm is not None:
            line += f", moved by {match.moved_mm[0]:.2f}, {match.moved_mm[1]:.2f} mm"
        if match.turned_degrees:
            line += f", turned by {match.turned_degrees} degrees"
        if match.deviation_mm is not None and match.deviation_at is not None:
            x, y = match.deviation_at
            line += f", outlines within {match.deviation_mm:.3f} mm (most at {x:.2f}, {y:.2f})"
        said.append(line)
        said.extend(f"{match.mask}: missing the piece at {x:.2f}, {y:.2f} mm of the mask" for x, y in match.missing)
    said.extend(f"a piece at {x:.2f}, {y:.2f} mm is in no mask" for x, y in comparison.extra)
    return said
