"""The report of a name list: totals, what was refused and why, all names as they will look, the sheets, the price."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import escape
from typing import Any

from markupsafe import Markup

from maskgen.formats.numbers import fixed
from maskgen.formats.svg_write import path_data
from maskgen.model.job import Job
from maskgen.model.masks import Sheet
from maskgen.model.names import RowReport, RowStatus
from maskgen.model.paths import Point
from maskgen.model.result import Estimate
from maskgen.report.estimate_rows import estimate_rows
from maskgen.report.page import asset, template
from maskgen.report.words import WORDS

_NUMBER = re.compile(r"\d+\.\d{3,}")
_BODY = re.compile(rb"<svg [^>]*>(.*)</svg>", re.DOTALL)


@dataclass(frozen=True, slots=True)
class NamePicture:
    """A made name: what is said under its picture, and its `predicted.svg`."""

    number: int
    text: str
    quantity: int
    drawing: bytes


def write_names_report(
    job: Job,
    *,
    reports: Sequence[RowReport],
    pictures: Iterable[NamePicture],
    sheets: Iterable[Sheet],
    corners: Mapping[tuple[str, str], Point],
    estimate: Estimate | None,
    notes: Sequence[str],
) -> bytes:
    """Give the report as one HTML file; pictures and sheets are taken one at a time.

    `corners` is where the number of a row's mask is written, by row and mask, in the frame of the face.
    """
    part = job.part
    assert part is not None
    counts = {status: sum(r.status is status for r in reports) for status in RowStatus}
    parts = sum(r.row.quantity for r in reports if r.status is not RowStatus.REFUSED)
    refused, warned = ([_line(r) for r in reports if r.status is s] for s in (RowStatus.REFUSED, RowStatus.WARNED))
    context: dict[str, Any] = {
        "words": WORDS,
        "style": Markup(asset("report.css")),
        "title": job.title or WORDS.untitled,
        "kind": f"{WORDS.size_of(part)}, {len(reports)} names, {parts} parts",
        "verdict": "bad" if refused else "look" if warned else "good",
        "verdict_words": (
            f"{counts[RowStatus.REFUSED]} of {len(reports)} names cannot be made as they stand"
            if refused
            else f"All {len(reports)} names can be cut"
        ),
        "figures": [
            ("made", str(counts[RowStatus.MADE])),
            ("made, to look at", str(counts[RowStatus.WARNED])),
            ("refused", str(counts[RowStatus.REFUSED])),
            ("parts", str(parts)),
        ],
        "notes": notes,
        "refused": refused,
        "warned": warned,
        "names": _pictures(pictures, *part.face_mm),
        "sheets": _sheets(sheets, corners),
        "estimate": estimate_rows(estimate, job, apiece=False),
        "assumptions": WORDS.assumptions(estimate.assumptions) if estimate else (),
    }
    page: str = template("names.html").render(context)
    return page.encode()


def _line(report: RowReport) -> dict[str, Any]:
    row = report.row
    return {"number": row.number, "key": row.key, "text": row.text, "reason": report.reason}


def _pictures(pictures: Iterable[NamePicture], width: float, height: float) -> Iterator[dict[str, Any]]:
    for picture in pictures:
        match = _BODY.search(picture.drawing)
        paths = _NUMBER.sub(lambda m: fixed(round(float(m[0]), 2)), match[1].decode()) if match else ""
        label = escape(f"{picture.number} {picture.text}")
        svg = f'<svg viewBox="0 0 {fixed(width)} {fixed(height)}" role="img" aria-label="{label}">{paths}</svg>'
        yield {"number": picture.number, "text": picture.text, "quantity": picture.quantity, "picture": Markup(svg)}


def _sheets(sheets: Iterable[Sheet], corners: Mapping[tuple[str, str], Point]) -> Iterator[dict[str, Any]]:
    for sheet in sheets:
        drawing = sheet.drawing
        paths = "".join(path_data(piece.rings) for piece in drawing.pieces)
        paths = _NUMBER.sub(lambda m: fixed(round(float(m[0]), 2)), paths)
        box = " ".join(fixed(v) for v in (drawing.left, drawing.top, drawing.width, drawing.height))
        size = fixed(drawing.width / 70)
        numbers = "".join(
            f'<text class="number" x="{fixed(x)}" y="{fixed(y)}" font-size="{size}">{escape(p.row)}</text>'
            for p in sheet.placements
            for x, y in [p.place(corners[p.row, p.mask])]
        )
        rows = sorted({int(p.row) for p in sheet.placements})
        yield {
            "picture": Markup(
                f'<svg viewBox="{box}" role="img" aria-label="Sheet {sheet.number}"><path class="vinyl" '
                f'fill-rule="evenodd" d="{paths}"/>{numbers}</svg>'
            ),
            "text": f"Sheet {sheet.number}, {drawing.width:.0f} x {drawing.height:.0f} mm: {len(sheet.placements)} "
            f"masks of rows {rows[0]} to {rows[-1]}. The row numbers are not in the cut file.",
        }
