"""A lot of name parts on the bench sheet: one picture stands for many names, so each has its own measures in a list."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table

from maskgen.model.job import Job, Part, TextSpec
from maskgen.report.bench_parts import HEAD, RULED, SMALL, TEXT, TickBox
from maskgen.report.pdf_text import paragraph
from maskgen.report.words import WORDS


@dataclass(frozen=True, slots=True)
class NamedPart:
    """A row of a name list: what goes on its parts, and where its outermost film begins on the face."""

    number: int
    text: str
    quantity: int
    pieces: int
    left_mm: float
    top_mm: float


def letter_box(spec: TextSpec, part: Part) -> tuple[float, float, float, float]:
    """Give the box all names stand in: left, top, width, height on the face."""
    width, height = spec.box_mm
    face_width, face_height = part.face_mm
    left, top = spec.at_mm or ((face_width - width) / 2, (face_height - height) / 2)
    return left, top, width, height


def box_words(job: Job) -> str:
    """Say where the names stand; nothing where the job has none."""
    if job.text is None or job.part is None:
        return ""
    return WORDS.letter_box(*letter_box(job.text, job.part), job.text.align)


def name_rows(names: Iterable[NamedPart], width: float) -> list[Flowable]:
    """Give the list of a lot's names, with a box to tick for each; nothing without names."""
    rows: list[Sequence[object]] = [
        [
            TickBox(3.2 * mm),
            paragraph(f"{name.number}", TEXT),
            paragraph(name.text, TEXT),
            paragraph(f"{name.quantity}", TEXT),
            paragraph(f"{name.pieces}", TEXT),
            paragraph(WORDS.mm_measured(name.left_mm), TEXT),
            paragraph(WORDS.mm_measured(name.top_mm), TEXT),
        ]
        for name in names
    ]
    if not rows:
        return []
    heads = ["", *(paragraph(head, SMALL) for head in WORDS.names_heads)]
    columns = [9 * mm, 14 * mm, width - 113 * mm, 18 * mm, 22 * mm, 25 * mm, 25 * mm]
    return [
        paragraph(WORDS.names_title, HEAD),
        Table([heads, *rows], colWidths=columns, style=RULED, repeatRows=1),
        Spacer(1, 3 * mm),
    ]
