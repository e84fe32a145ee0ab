"""The steps of the bench sheet, each with its pictures, what to tick, what can hurt, and a line to write on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, KeepTogether, Spacer, Table, TableStyle

from maskgen.model.dyeing import ApplyMask, Strip
from maskgen.model.job import Carrier, Shape
from maskgen.model.masks import Mask
from maskgen.model.result import JobResult
from maskgen.report.bench_names import box_words, letter_box
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
from maskgen.report.part_forms import PartForms
from maskgen.report.pdf_text import paragraph
from maskgen.report.placing import piece_boxes, placing_of, smallest_piece_mm2
from maskgen.report.placing_picture import PlacingPicture
from maskgen.report.stages import Stage
from maskgen.report.step_words import step_words
from maskgen.report.words import WORDS

PICTURE = (27 * mm, 22 * mm)
PICTURES_WIDTH = 60 * mm
PLACING_HEIGHT = 90 * mm
"""Room for a placing picture: two steps with one still fit a page."""
LISTED = 40
"""Up to so many loose pieces their places are listed."""


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
        *(paragraph(line, SMALL) for line in said.watch),
        *([_lines([(Beware(), line) for line in said.dangers], words_width)] if said.dangers else []),
    ]
    rows: list[list[Any]] = [[TickBox(5.5 * mm), words, _pictures(place, forms)]]
    if isinstance(step, ApplyMask):
        mask = next(m for m in result.masks if m.number == step.mask)
        rows.append(["", _placing(result, mask, place.before.masks_on, forms, width - 16 * mm), ""])
    rows.append(["", [Spacer(1, 1.5 * mm), paragraph(WORDS.record(step), TEXT)], ""])
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


def _placing(result: JobResult, mask: Mask, under: Sequence[str], forms: PartForms, width: float) -> list[Flowable]:
    part, resist = result.job.part, result.job.resist
    assert part is not None
    placing = placing_of(mask, part)
    edges = WORDS.tube_edges if part.shape is Shape.TUBE else WORDS.edges
    sides = list(zip(edges, (placing.left, placing.top, placing.right, placing.bottom), strict=True))
    loose = resist.carrier is Carrier.LOOSE
    picture = PlacingPicture(
        forms,
        mask,
        under=under,
        over_mm=resist.overhang_mm,
        crosses=result.job.sheets.crosses and not loose,
        numbered=loose,
        box=letter_box(result.job.text, part) if result.job.text is not None else None,
        room=(width, PLACING_HEIGHT),
    )
    boxes = piece_boxes(mask)
    opening = placing.opening if placing.by_opening else None
    named = result.job.text is not None
    lines = [
        box_words(result.job),
        WORDS.one_of_the_names if named else "",
        ""
        if named and not placing.over_every_edge
        else WORDS.even_over(sides)
        if placing.over_every_edge
        else WORDS.placing(sides),
        WORDS.by_opening(opening.left, opening.top, edges) if opening and not named else "",
        WORDS.loose_places(boxes) if loose and not named and 1 < len(boxes) <= LISTED else "",
        WORDS.small_pieces(smallest_piece_mm2(mask)) if len(boxes) > 1 and not named else "",
        WORDS.seam if part.shape is Shape.TUBE and min(placing.left, placing.right) < 0.0 else "",
        WORDS.laid_on_holes if result.job.hole else "",
        WORDS.register_marks if picture.crosses else "",
        WORDS.drawn_at(picture.scale),
    ]
    picture.hAlign = "CENTER"
    return [paragraph(" ".join(line for line in lines if line), SMALL), picture]
