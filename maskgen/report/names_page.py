"""The report of a name list: totals, what was refused and why, all names as they will look, the sheets, the price."""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b
from html import escape
from itertools import groupby
from operator import itemgetter
from typing import Any

from markupsafe import Markup

from maskgen.formats.numbers import fixed
from maskgen.formats.path_forms import Sketch
from maskgen.model.dyeing import Plan
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.job import Job
from maskgen.model.names import RowReport, RowStatus
from maskgen.model.result import Estimate
from maskgen.report.estimate_rows import estimate_rows
from maskgen.report.page import asset, template
from maskgen.report.page_findings import badness
from maskgen.report.words import WORDS

OUTLINES_UP_TO = 1500
"""With more masks than this the sheets show where each lies, not its outline: the page would be too much to open."""

LABEL_MM = 2.8
"""Height of what is written on a sheet's picture: it stands in the gap between two lines of masks."""
WIDE_LETTER = 0.62
"""Width of a letter to its height, for the most part."""
SHORTEST = 3
"""A name of which fewer letters would be seen is left out."""

_FINER = re.compile(r"(\.\d\d)\d+")
_BODY = re.compile(rb"<svg [^>]*>(.*)</svg>", re.DOTALL)
Paths = Sequence[tuple[str, str]]
Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class NamePicture:
    """A made name: what is said under its picture, and its colours and outlines, over the part called `blank`."""

    number: int
    text: str
    quantity: int
    blank: str
    outlines: Sequence[tuple[str, Sketch]]


@dataclass(frozen=True, slots=True)
class NameLot:
    """The parts whose letters have the colour called `letters`: they share their baths."""

    letters: str
    parts: int
    plan: Plan


@dataclass(frozen=True, slots=True)
class SheetPicture:
    """A sheet: its size, which mask of which row lies in which box, and its cut file.

    Masks are nameless where every row has but one.
    """

    number: int
    width: float
    height: float
    rows: tuple[int, ...]
    masks: tuple[str, ...]
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
    sheet_count: int,
    lots: Sequence[NameLot],
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
    texts = {r.row.number: WORDS.whole_name(r.row.text, r.row.second) for r in reports}
    looked_at = {r.row.number for r in reports if r.status is RowStatus.WARNED}
    outlines = _Outlines()
    price = estimate.total_price if estimate is not None else None
    context: dict[str, Any] = {
        "words": WORDS,
        "style": Markup(asset("report.css")),
        "title": job.title or WORDS.untitled,
        "kind": f"{WORDS.size_of(part)}, {len(reports)} names, {parts} parts",
        "verdict": "bad" if refused else "look" if warned or findings else "good",
        "verdict_words": WORDS.list_verdict(len(reports), len(refused)),
        "figures": [
            (WORDS.names_refused, str(counts[RowStatus.REFUSED])),
            (WORDS.names_warned, str(counts[RowStatus.WARNED])),
            (WORDS.names_made, str(counts[RowStatus.MADE])),
            (WORDS.names_parts, str(parts)),
            (WORDS.names_sheets, str(sheet_count)),
            *([(WORDS.price_for_all, WORDS.money(price, job))] if price is not None else []),
        ],
        "notes": notes,
        "kinds": _kinds(findings),
        "lots": [_lot(lot) for lot in lots],
        "refused": refused,
        "warned": warned,
        "blanks": [(key, Markup(_paths(paths))) for key, paths in sorted(blanks.items()) if key],
        "names": (_picture(picture, outlines, looked_at, (width, height)) for picture in pictures),
        "sheets": (_sheet(sheet, texts, outlines=placed <= OUTLINES_UP_TO) for sheet in sheets),
        "estimate": estimate_rows(estimate, job, apiece=False),
        "assumptions": WORDS.assumptions(estimate.assumptions) if estimate else (),
    }
    for words in template("names.html").generate(context):
        yield words.encode()


def _kinds(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Put findings of one kind together, the worst kind first, and within it the worst first."""
    kinds: dict[tuple[Severity, Code], list[Finding]] = {}
    for finding in sorted(findings, key=badness):
        kinds.setdefault((finding.severity, finding.code), []).append(finding)
    rank = list(Severity)
    return [
        {
            "severity": str(severity),
            "severity_words": WORDS.severity(severity),
            "title": WORDS.code(code, len(members)),
            "message": members[0].message,
            "mend": members[0].mend,
            "more": WORDS.more_of_these(len(members)),
            "places": [WORDS.place(finding) for finding in members] if len(members) > 1 else [],
        }
        for (severity, code), members in sorted(kinds.items(), key=lambda item: rank.index(item[0][0]))
    ]


def _lot(lot: NameLot) -> dict[str, Any]:
    letters = next((region for region in lot.plan.regions if region.key == lot.letters), None)
    return {
        "name": letters.name if letters is not None else lot.letters,
        "colour": letters.predicted if letters is not None else "none",
        "parts": lot.parts,
        "steps": WORDS.lot_steps(lot.plan),
    }


def _line(report: RowReport) -> dict[str, Any]:
    row = report.row
    text = WORDS.whole_name(row.text, row.second)
    return {"number": row.number, "key": row.key, "text": text, "reason": report.reason}


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


def _picture(
    picture: NamePicture, outlines: _Outlines, looked_at: Container[int], size: tuple[float, float]
) -> dict[str, Any]:
    label = escape(f"{picture.number} {picture.text}")
    under = f'<use href="#part-{picture.blank}"/>' if picture.blank else ""
    svg = (
        f'<svg viewBox="0 0 {fixed(size[0])} {fixed(size[1])}" role="img" aria-label="{label}">'
        f"{under}{outlines.draw(picture.outlines)}</svg>"
    )
    look = picture.number in looked_at
    told = {"number": picture.number, "text": picture.text, "quantity": picture.quantity, "look": look}
    return {**told, "picture": Markup(svg)}


def _sheet(sheet: SheetPicture, texts: Mapping[int, str], *, outlines: bool) -> dict[str, Any]:
    match = _BODY.search(sheet.drawing) if outlines else None
    vinyl = _FINER.sub(r"\1", match[1].decode()).strip() if match else ""
    items = list(zip(sheet.rows, sheet.masks, sheet.boxes, strict=True))
    marks = "".join(_mark(f"{row} {mask}".strip(), texts[row], box) for row, mask, box in items)
    svg = (
        f'<svg viewBox="0 0 {fixed(sheet.width)} {fixed(sheet.height)}" role="img" aria-label="Sheet {sheet.number}">'
        f'<g class="vinyl">{vinyl}</g>{marks}</svg>'
    )
    return {
        "picture": Markup(svg),
        "text": WORDS.sheet_caption(
            sheet.number, sheet.width, sheet.height, len(items), (min(sheet.rows), max(sheet.rows))
        ),
        "spots": list(_spots(items, texts)),
    }


def _mark(which: str, text: str, box: Box) -> str:
    """Draw a mask's box with what it is over its upper edge, in letters that stay within the box."""
    x0, y0, x1, y1 = box
    fits = int((x1 - x0) / (LABEL_MM * WIDE_LETTER)) - len(which) - 1
    name = "" if fits < SHORTEST else f" {text if len(text) <= fits else text[: fits - 1] + '…'}"
    size = min(LABEL_MM, (x1 - x0) / (len(which) * WIDE_LETTER))
    return (
        f'<rect class="lot" x="{x0:.1f}" y="{y0:.1f}" width="{x1 - x0:.1f}" height="{y1 - y0:.1f}"/>'
        f'<text class="number" x="{x0:.1f}" y="{y0 - 0.4:.1f}" font-size="{size:.1f}">{which}{escape(name)}</text>'
    )


def _spots(items: Sequence[tuple[int, str, Box]], texts: Mapping[int, str]) -> Iterator[str]:
    """Say where on the sheet the first of every mask lies, row by row."""
    found: dict[tuple[int, str], list[Box]] = {}
    for row, mask, box in items:
        found.setdefault((row, mask), []).append(box)
    for (row, mask), boxes in sorted(found.items()):
        what = " ".join(part for part in (str(row), texts[row], mask) if part)
        yield WORDS.lies_at(what, boxes[0][0], boxes[0][1], len(boxes) - 1)
