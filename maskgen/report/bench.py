"""The bench sheet: what wet hands work from, in order, with a box to tick and a line to write on."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, PageBreak, SimpleDocTemplate, Spacer, Table

from maskgen.model.job import Paper
from maskgen.model.result import JobResult
from maskgen.report.bench_front import first_page
from maskgen.report.bench_names import NamedPart, name_rows
from maskgen.report.bench_parts import BOXED, HEAD, PAGE_COUNT, STEP, TEXT, TITLE, PageCount
from maskgen.report.bench_steps import StepPlace, step_block
from maskgen.report.part_forms import PartForms
from maskgen.report.pdf_text import draw_line, paragraph, register
from maskgen.report.stages import first_stage, walk_stages
from maskgen.report.typeface import advance, printable
from maskgen.report.words import WORDS

PAGES = {Paper.A4: A4, Paper.LETTER: LETTER}
"""Widths and heights in points: 210 x 297 mm (ISO 216) and 8.5 x 11 in."""
MARGIN = 12 * mm
ROOM_FOR_STEPS = 50 * mm
"""The heading of the steps stands on a page with a step below it: a bath takes 40 mm."""
FOOT = 7.5


def write_bench_sheet(result: JobResult) -> bytes:
    """Give the bench sheet as PDF; the same job gives the same bytes."""
    return write_bench_sheets([result], title=result.job.title or WORDS.untitled)


def write_bench_sheets(results: Sequence[JobResult], *, title: str, names: Sequence[Sequence[NamedPart]] = ()) -> bytes:
    """Give the bench sheets of several lots as one PDF, each from a new page; without a lot it says so.

    `names` are the rows of a name list that each lot stands for, lot by lot.
    """
    register()
    data = io.BytesIO()
    document = SimpleDocTemplate(
        data,
        pagesize=PAGES[results[0].job.paper if results else Paper.A4],
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=title,
        invariant=True,
    )
    room = document.width - 12  # the frame keeps 6 points on both sides
    story: list[Flowable] = [] if results else [paragraph(WORDS.nothing_to_make, TITLE)]
    for number, lot in enumerate(results):
        listed = names[number] if number < len(names) else ()
        story += [*([PageBreak()] if story else []), *_story(lot, PartForms(lot, name=f"lot{number}"), listed, room)]

    def foot(canvas: Any, page: Any) -> None:
        canvas.setViewerPreference("PrintScaling", "None")
        words = WORDS.page(page.page)
        count_at = page.pagesize[0] - MARGIN - advance(WORDS.pages(10), FOOT)
        left = count_at - advance(words, FOOT) - FOOT / 3
        draw_line(canvas, _fitting(title, left - MARGIN - 6 * mm), MARGIN, 7 * mm, FOOT)
        draw_line(canvas, words, left, 7 * mm, FOOT)
        canvas.saveState()
        canvas.translate(count_at, 7 * mm)
        canvas.doForm(PAGE_COUNT)
        canvas.restoreState()

    story.append(PageCount(FOOT))
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return data.getvalue()


def _story(result: JobResult, forms: PartForms, names: Sequence[NamedPart], width: float) -> list[Flowable]:
    before, stages = first_stage(result), walk_stages(result)
    story = [*first_page(result, stages, forms, width), *name_rows(names, width)]
    for number, stage in enumerate(stages, start=1):
        block = step_block(result, StepPlace(before, stage, number), forms, width)
        if number == 1:
            story += [CondPageBreak(ROOM_FOR_STEPS), paragraph(WORDS.walk, HEAD)]
        story.append(block)
        before = stage
    return [*story, _afterwards(width)]


def _afterwards(width: float) -> Flowable:
    lines = [paragraph(WORDS.how_it_went, STEP)]
    for line in WORDS.how_it_went_lines:
        lines += [Spacer(1, 3 * mm), paragraph(line, TEXT)]
    return KeepTogether([Spacer(1, 3 * mm), Table([[[*lines, Spacer(1, 14 * mm)]]], colWidths=[width], style=BOXED)])


def _fitting(title: str, width: float) -> str:
    """Cut a title that is too long for the foot of a page."""
    line = printable(title)
    while advance(line, FOOT) > width and len(line) > 1:
        line = line[: max(1, len(line) * 9 // 10)].rstrip("… ") + "…"
    return line
