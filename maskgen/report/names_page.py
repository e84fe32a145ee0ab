"""The report of a name list: totals, what was refused and why, all names as they will look, the sheets, the price."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from html import escape
from itertools import groupby
from operator import itemgetter
from typing import Any

from markupsafe import Markup

from maskgen.formats.numbers import fixed
from maskgen.formats.path_forms import Sketch
from maskgen.model.finding import Finding
from maskgen.model.job import Job
from maskgen.model.names import RowReport, RowStatus
from maskgen.model.result import Estimate
from maskgen.report.estimate_rows import estimate_rows
from maskgen.report.page import asset, template
from maskgen.report.words import WORDS

OUTLINES_UP_TO = 1500
"""With more masks than this the sheets show where each lies, not its outline: the page would be too much to open."""

_FINER = re.compile(r"(\.\d\d)\d+")
_BODY = re.compile(rb"<svg [^>]*>(.*)</svg>", re.DOTALL)
Paths = Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class NamePicture:
    """A made name: what is said under its picture, and its colours and outlines, over the part called `blank`."""

    number: int
    text: str
    quantity: int
    blank: str
    outlines: Sequence[tuple[str, Sketch]]


@dataclass(frozen=True, slots=True)
class SheetPicture:
    """A sheet: its size, which row lies in which box, and its cut file."""

    number: int
    width: float
    height: float
    rows: tuple[int, ...]
    boxes: tuple[tuple[float, float, float, float], ...]
    drawing: bytes


def write_names_report(
    job: Job,
    *,
    reports: Sequence[RowReport],
    findings: Sequence[Finding],
    blanks: Mapping[str, Paths],
    pictures: Iterable[NamePicture],
    sheets: Iterable[SheetPicture],
    estimate: Estimate | None,
    notes: Sequence[str],
) -> Iterator[bytes]:
    """Give the report, one HTML file, part by part; pictures and sheets are taken one at a time.

    `findings` are those of every part alike, `blanks` small pictures of the part without letters.
    """
    part = job.part
    assert part is not None
    width, height = part.face_mm
    counts = {status: sum(r.status is status for r in reports) for status in RowStatus}
    parts = sum(r.row.quantity for r in reports if r.status is not RowStatus.REFUSED)
    refused, warned = ([_line(r) for r in reports if r.status is s] for s in (RowStatus.REFUSED, RowStatus.WARNED))
    placed = sum(r.row.quantity for r in reports if r.sheet is not None)
    outlines = _Outlines()
    context: dict[str, Any] = {
        "words": WORDS,
        "style": Markup(asset("report.css")),
        "title": job.title or WORDS.untitled,
        "kind": f"{WORDS.size_of(part)}, {len(reports)} names, {parts} parts",
        "verdict": "bad" if refused else "look" if warned or findings else "good",
        "verdict_words": _verdict(len(reports), len(refused)),
        "figures": [
            ("made", str(counts[RowStatus.MADE])),
            ("made, to look at", str(counts[RowStatus.WARNED])),
            ("refused", str(counts[RowStatus.REFUSED])),
            ("parts", str(parts)),
        ],
        "notes": notes,
        "findings": findings,
        "refused": refused,
        "warned": warned,
        "blanks": [(key, Markup(_paths(paths))) for key, paths in sorted(blanks.items()) if key],
        "names": (_picture(picture, outlines, width, height) for picture in pictures),
        "sheets": (_sheet(sheet, outlines=placed <= OUTLINES_UP_TO) for sheet in sheets),
        "estimate": estimate_rows(estimate, job, apiece=False),
        "assumptions": WORDS.assumptions(estimate.assumptions) if estimate else (),
    }
    for words in template("names.html").generate(context):
        yield words.encode()


def _verdict(count: int, refused: int) -> str:
    if not count:
        return "The list holds no names"
    if refused:
        return f"{refused} of {count} names cannot be made as they stand"
    return f"All {count} names can be cut" if count > 1 else "The name can be cut"


def _line(report: RowReport) -> dict[str, Any]:
    row = report.row
    return {"number": row.number, "key": row.key, "text": row.text, "second": row.second, "reason": report.reason}


def _paths(paths: Paths) -> str:
    return "".join(f'<path fill-rule="evenodd" fill="{colour}" d="{data}"/>' for colour, data in paths)


class _Outlines:
    """Outlines of small pictures: whole where one comes first, and named there wherever it comes again."""

    def __init__(self) -> None:
        self._first: dict[bytes, tuple[int, float, float]] = {}

    def draw(self, outlines: Iterable[tuple[str, Sketch]]) -> str:
        """Give the elements of one picture."""
        return "".join(
            f'<g fill="{colour}">{"".join(self._element(sketch) for _, sketch in alike)}</g>'
            for colour, alike in groupby(outlines, key=itemgetter(0))
        )

    def _element(self, sketch: Sketch) -> str:
        if not sketch.steps:
            return ""
        mark, (x, y) = blake2b(sketch.steps.encode(), digest_size=12).digest(), sketch.start
        if mark in self._first:
            number, first_x, first_y = self._first[mark]
            return f'<use href="#o{number}" x="{x - first_x:.2f}" y="{y - first_y:.2f}"/>'
        number = len(self._first) + 1
        self._first[mark] = number, x, y
        return f'<path id="o{number}" fill-rule="evenodd" d="{sketch.data}"/>'


def _picture(picture: NamePicture, outlines: _Outlines, width: float, height: float) -> dict[str, Any]:
    label = escape(f"{picture.number} {picture.text}")
    under = f'<use href="#part-{picture.blank}"/>' if picture.blank else ""
    svg = (
        f'<svg viewBox="0 0 {fixed(width)} {fixed(height)}" role="img" aria-label="{label}">'
        f"{under}{outlines.draw(picture.outlines)}</svg>"
    )
    return {"number": picture.number, "text": picture.text, "quantity": picture.quantity, "picture": Markup(svg)}


def _sheet(sheet: SheetPicture, *, outlines: bool) -> dict[str, Any]:
    match = _BODY.search(sheet.drawing) if outlines else None
    vinyl = _FINER.sub(r"\1", match[1].decode()).strip() if match else ""
    size = fixed(sheet.width / 70)
    marks = "".join(
        f'<rect class="lot" x="{x0:.1f}" y="{y0:.1f}" width="{x1 - x0:.1f}" height="{y1 - y0:.1f}"/>'
        f'<text class="number" x="{x0:.1f}" y="{(y0 + y1) / 2:.1f}" font-size="{size}">{row}</text>'
        for row, (x0, y0, x1, y1) in zip(sheet.rows, sheet.boxes, strict=True)
    )
    svg = (
        f'<svg viewBox="0 0 {fixed(sheet.width)} {fixed(sheet.height)}" role="img" aria-label="Sheet {sheet.number}">'
        f'<g class="vinyl">{vinyl}</g>{marks}</svg>'
    )
    return {
        "picture": Markup(svg),
        "text": f"Sheet {sheet.number}, {sheet.width:.0f} x {sheet.height:.0f} mm: {len(sheet.rows)} masks of rows "
        f"{min(sheet.rows)} to {max(sheet.rows)}. Boxes and row numbers are not in the cut file.",
    }
