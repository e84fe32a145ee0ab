"""The steps of the bench sheet, each with its pictures, what to tick, what can hurt, and a line to write on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table, TableStyle

from maskgen.model.dyeing import ApplyMask, Strip
from maskgen.model.result import JobResult
from maskgen.report.bench_parts import (
    BLOCK,
    CAREFUL,
    FACT,
    PLAIN_TABLE,
    SMALL,
    STEP,
    TEXT,
    Beware,
    PartPicture,
    TickBox,
)
from maskgen.report.bench_placing import placing_block
from maskgen.report.part_forms import PartForms
from maskgen.report.pdf_text import paragraph
from maskgen.report.stages import Stage
from maskgen.report.step_words import step_words
from maskgen.report.words import WORDS

PICTURE = (27 * mm, 22 * mm)
PICTURES_WIDTH = 60 * mm


@dataclass(frozen=True, slots=True)
class StepPlace:
    """A step of the walk: the part before and after it, and its number."""

    before: Stage
    after: Stage
    number: int


def step_block(result: JobResult, place: StepPlace, forms: PartForms, width: float) -> Flowable:
    """Give one step, kept on one page."""
    step = place.after.step
    said = step_words(result, place.before, place.after)
    words_width = width - 9 * mm - PICTURES_WIDTH
    words: list[Flowable] = [
        paragraph(f"{place.number}. {said.title}", STEP),
        *(paragraph(line, FACT) for line in said.facts),
        Spacer(1, 1 * mm),
        _lines([(TickBox(2.6 * mm), line) for line in said.actions], words_width),
        *(paragraph(line, TEXT) for line in said.watch),
        *([_lines([(Beware(), line) for line in said.dangers], words_width)] if said.dangers else []),
    ]
    rows: list[list[Any]] = [[TickBox(5.5 * mm), words, _pictures(place, forms)]]
    if isinstance(step, ApplyMask):
        mask = next(m for m in result.masks if m.number == step.mask)
        rows.append(["", placing_block(result, mask, place.before.masks_on, forms, width - 16 * mm), ""])
    rows.append(["", [Spacer(1, 1.5 * mm), paragraph(WORDS.record(step, result.job.quantity), TEXT)], ""])
    style = TableStyle(
        [
            *(CAREFUL if isinstance(step, Strip) else BLOCK).getCommands(),
            *(("SPAN", (1, row), (2, row)) for row in range(1, len(rows))),
        ]
    )
    table = Table(rows, colWidths=[9 * mm, words_width, PICTURES_WIDTH], style=style)
    return KeepTogether([table, Spacer(1, 1 * mm)])


def _lines(marked: Sequence[tuple[Flowable, str]], width: float) -> Flowable:
    """Give lines with a mark before each."""
    rows = [[mark, paragraph(line, TEXT)] for mark, line in marked]
    return Table(rows, colWidths=[6 * mm, width - 8 * mm], style=PLAIN_TABLE, hAlign="LEFT")


def _pictures(place: StepPlace, forms: PartForms) -> Flowable:
    rows: list[list[Any]] = [
        [PartPicture(forms, place.before, *PICTURE), PartPicture(forms, place.after, *PICTURE)],
        [paragraph(WORDS.before, SMALL), paragraph(WORDS.after, SMALL)],
    ]
    return Table(rows, colWidths=[29.5 * mm, 29.5 * mm], style=PLAIN_TABLE)
