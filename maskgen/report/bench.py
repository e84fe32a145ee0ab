"""The bench sheet: what wet hands work from, in order, with a box to tick and a line to write on."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

import fontpkg
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    Flowable,
    KeepTogether,
    PageBreak,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
    TableStyle,
)

from maskgen.model.dyeing import ApplyMask, DyeBath, Seal, Strip
from maskgen.model.job import Paper, Part
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, Cubic, bounds
from maskgen.model.result import JobResult
from maskgen.plan.estimate import STRIP_MIN, seal_minutes
from maskgen.report.stages import Stage, first_stage, walk_stages
from maskgen.report.words import TEXT_FONT, WORDS

PAGES = {Paper.A4: A4, Paper.LETTER: LETTER}
MARGIN = 14 * mm
FONT = "BenchText"

_TEXT = ParagraphStyle("text", fontName=FONT, fontSize=9, leading=11.5)
_SMALL = ParagraphStyle("small", parent=_TEXT, fontSize=7.6, leading=9.6)
_STEP = ParagraphStyle("step", parent=_TEXT, fontSize=12, leading=14.5)
_TITLE = ParagraphStyle("title", parent=_TEXT, fontSize=17, leading=21, spaceAfter=2 * mm)
_HEAD = ParagraphStyle("head", parent=_TEXT, fontSize=11.5, leading=14, spaceBefore=4 * mm, spaceAfter=1.2 * mm)


def write_bench_sheet(result: JobResult) -> bytes:
    """Give the bench sheet as PDF; the same job gives the same bytes."""
    return write_bench_sheets([result], title=result.job.title or WORDS.untitled)


def write_bench_sheets(results: Sequence[JobResult], *, title: str) -> bytes:
    """Give the bench sheets of several lots as one PDF, each from a new page; without a lot it says so."""
    paper = results[0].job.paper if results else Paper.A4
    if FONT not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(FONT, str(fontpkg.path(TEXT_FONT))))
    data = io.BytesIO()
    document = SimpleDocTemplate(
        data,
        pagesize=PAGES[paper],
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=title,
        invariant=True,
    )

    def foot(canvas: Any, page: Any) -> None:
        canvas.setFont(FONT, 7.5)
        canvas.drawString(MARGIN, 8 * mm, title)
        canvas.drawRightString(page.pagesize[0] - MARGIN, 8 * mm, f"page {page.page}")

    story: list[Flowable] = [] if results else [Paragraph(escape(WORDS.nothing_to_make), _TITLE)]
    for lot in results:
        story += [*([PageBreak()] if story else []), *_story(lot, document.width)]
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return data.getvalue()


def _story(result: JobResult, width: float) -> list[Flowable]:
    names = {region.key: region.name for region in result.plan.regions}
    stages = walk_stages(result)
    story = [*_first_page(result, width), Paragraph(escape(WORDS.walk), _HEAD)]
    before = first_stage(result)
    for number, stage in enumerate(stages, start=1):
        story.append(KeepTogether(_step(result, stage, before, number, names, width)))
        before = stage
    story.append(Spacer(1, 3 * mm))
    story.append(KeepTogether(_masks(result, width)))
    return story


def _first_page(result: JobResult, width: float) -> list[Flowable]:
    job, part = result.job, result.job.part
    assert part is not None
    dyes = sorted({step.dye for step in result.plan.sequence.steps if isinstance(step, DyeBath)})
    facts = [
        ("Part", f"{WORDS.size_of(part)}, {job.quantity} to make"),
        ("Through the same baths", ", ".join(job.companions) or "no companions"),
        ("Oxide", f"{result.shelf.thickness_um:g} µm; hot seal {seal_minutes(result.shelf):g} min at 96 °C or more"),
        ("Baths", ", ".join(f"{dye} at {result.shelf.dye(dye).temperature_c:g} °C" for dye in dyes)),
        ("Film", WORDS.film(job.resist.carrier, len(result.masks), len(result.sheets))),
        ("Made on", "date ______________   by ______________   bath numbers ______________"),
    ]
    rows = [[Paragraph(escape(name), _SMALL), Paragraph(escape(text), _TEXT)] for name, text in facts]
    colours = {region.key: region.predicted for region in result.plan.regions}
    picture = PartPicture(result, colours, (), 62 * mm, 60 * mm)
    head = Table([[Table(rows, colWidths=[26 * mm, width - 94 * mm], style=_PLAIN), picture]], style=_PLAIN)
    recipes = [
        [
            Patch(region.predicted),
            Paragraph(escape(region.name), _TEXT),
            Paragraph(escape(WORDS.recipe(region.recipe)), _TEXT),
            Paragraph("measured" if region.measured else "predicted", _SMALL),
        ]
        for region in result.plan.regions
    ]
    cautions = [Paragraph(f"&bull; {escape(line)}", _SMALL) for line in WORDS.cautions]
    box = Table([[[Paragraph(escape(WORDS.cautions_title), _HEAD), *cautions]]], colWidths=[width], style=_BOX)
    return [
        Paragraph(escape(job.title or WORDS.untitled), _TITLE),
        head,
        Spacer(1, 3 * mm),
        box,
        Paragraph(escape(WORDS.recipes), _HEAD),
        Table(recipes, colWidths=[12 * mm, 34 * mm, width - 66 * mm, 20 * mm], style=_RULED),
        Table(
            [[TickBox(), Paragraph(escape(line), _TEXT)] for line in (WORDS.coupon_first, WORDS.handling)],
            colWidths=[9 * mm, width - 9 * mm],
            style=_TICKED,
        ),
    ]


def _step(
    result: JobResult, stage: Stage, before: Stage, number: int, names: dict[str, str], width: float
) -> list[Flowable]:
    detail = _detail(result, stage)
    words = [
        Paragraph(f"<b>{number}.</b> {escape(WORDS.step(stage.step, names))}", _STEP),
        *([Paragraph(escape(detail), _TEXT)] if detail else []),
        *(Paragraph(escape(line), _SMALL) for line in WORDS.watch(stage.step, result.job.finish.peel)),
        Spacer(1, 1.5 * mm),
        Paragraph("done: ______ min, ______ °C &nbsp; remarks: __________________________________", _SMALL),
    ]
    size = 31 * mm
    pictures = Table(
        [
            [
                PartPicture(result, before.colours, before.masks_on, size, 24 * mm),
                PartPicture(result, stage.colours, stage.masks_on, size, 24 * mm),
            ],
            [Paragraph("before", _SMALL), Paragraph("after", _SMALL)],
        ],
        style=_PLAIN,
    )
    row = Table(
        [[TickBox(), words, pictures]],
        colWidths=[9 * mm, width - 78 * mm, 69 * mm],
        style=_CAREFUL if isinstance(stage.step, Strip) else _RULED,
    )
    return [row]


def _detail(result: JobResult, stage: Stage) -> str:
    match stage.step:
        case DyeBath(dye, minutes):
            whole = f" (from {stage.clock_from:g} to {stage.clock_from + minutes:g} min)" if stage.clock_from else ""
            beside = WORDS.beside(result.job.companions)
            return f"{result.shelf.dye(dye).temperature_c:g} °C, {minutes:g} min{whole}{beside}"
        case ApplyMask(mask, _):
            drawn = next(m for m in result.masks if m.number == mask)
            return f"{WORDS.pieces(len(drawn.area.pieces))} on each part; see the placing measures at the end"
        case Strip():
            return f"about {STRIP_MIN:g} min, room temperature (common practice, no source): watch it and stop"
        case Seal():
            return WORDS.seal(seal_minutes(result.shelf), result.job.finish.peel) + WORDS.beside(result.job.companions)
        case _:
            return ""


def _masks(result: JobResult, width: float) -> list[Flowable]:
    part = result.job.part
    assert part is not None
    rows = []
    for mask in result.masks:
        picture = PartPicture(result, {}, (mask.number,), 40 * mm, 28 * mm)
        rows.append([picture, [Paragraph(f"<b>{mask.number}</b> {escape(mask.name)}", _STEP), *_placing(mask, part)]])
    if not rows:
        return []
    return [
        Paragraph("Placing the masks", _HEAD),
        Table(rows, colWidths=[46 * mm, width - 46 * mm], style=_RULED),
    ]


def _placing(mask: Mask, part: Part) -> list[Flowable]:
    """Measures from the part's edges to the outermost vinyl, for the steel rule."""
    width, height = part.face_mm
    left, top, right, bottom = bounds(mask.area)
    sides = [("left", left), ("top", top), ("right", width - right), ("bottom", height - bottom)]
    measures = [
        f"{name} edge: {gap:.1f} mm in" if gap > 0.05 else f"{name} edge: runs over by {max(-gap, 0.0):.1f} mm"
        for name, gap in sides
    ]
    return [
        Paragraph(f"{WORDS.pieces(len(mask.area.pieces))}. From the part's edges to the outermost vinyl:", _TEXT),
        Paragraph(escape("; ".join(measures)), _TEXT),
    ]


class TickBox(Flowable):
    """A box to tick."""

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return 6 * mm, 6 * mm

    def draw(self) -> None:
        """Draw it."""
        self.canv.setLineWidth(1)
        self.canv.rect(0, 0, 5 * mm, 5 * mm)


class Patch(Flowable):
    """A patch of colour."""

    def __init__(self, colour: str) -> None:
        super().__init__()
        self.colour = colour

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return 9 * mm, 4 * mm

    def draw(self) -> None:
        """Draw it."""
        self.canv.setFillColor(colors.HexColor(self.colour))
        self.canv.rect(0, 0, 9 * mm, 3.6 * mm, fill=1)


class PartPicture(Flowable):
    """The part between two steps, as outlines: colours filled, film striped over them."""

    def __init__(
        self, result: JobResult, fills: Mapping[str, str], masks_on: Sequence[str], width: float, height: float
    ) -> None:
        super().__init__()
        part = result.job.part
        assert part is not None
        self.result, self.fills, self.masks_on = result, fills, masks_on
        face_width, face_height = part.face_mm
        self.factor = min(width / face_width, height / face_height)
        self.size = face_width * self.factor, face_height * self.factor
        self.face_height = face_height

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return self.size

    def draw(self) -> None:
        """Draw it."""
        canvas = self.canv
        canvas.saveState()
        clip = canvas.beginPath()
        clip.rect(0, 0, *self.size)
        canvas.clipPath(clip, stroke=0, fill=0)
        for region in self.result.regions.regions:
            if region.key in self.fills:
                canvas.setFillColor(colors.HexColor(self.fills[region.key]))
                canvas.setStrokeColor(colors.HexColor(self.fills[region.key]))
                canvas.setLineWidth(0.4)  # closes the light seams viewers leave between neighbours
                canvas.drawPath(self._path(region.area), stroke=1, fill=1, fillMode=0)
        for mask in self.result.masks:
            if mask.number in self.masks_on:
                self._draw_film(mask.area)
        canvas.restoreState()
        canvas.setLineWidth(0.6)
        canvas.setStrokeColor(colors.black)
        canvas.rect(0, 0, *self.size)

    def _draw_film(self, area: Area) -> None:
        canvas = self.canv
        canvas.saveState()
        path = self._path(area)
        canvas.clipPath(path, stroke=0, fill=0, fillMode=0)
        canvas.setFillColor(colors.Color(0.96, 0.97, 0.98, alpha=0.4))
        canvas.rect(0, 0, *self.size, stroke=0, fill=1)
        canvas.setStrokeColor(colors.Color(0.06, 0.08, 0.11))
        canvas.setLineWidth(0.35)
        reach = sum(self.size)
        x = -reach
        while x < reach:
            canvas.line(x, 0, x + self.size[1], self.size[1])
            x += 1.3 * mm
        canvas.restoreState()
        canvas.setLineWidth(0.5)
        canvas.setStrokeColor(colors.black)
        canvas.drawPath(self._path(area), stroke=1, fill=0)

    def _path(self, area: Area) -> Any:
        def at(point: tuple[float, float]) -> tuple[float, float]:
            return point[0] * self.factor, (self.face_height - point[1]) * self.factor

        path = self.canv.beginPath()
        for ring in area.rings:
            path.moveTo(*at(ring.segments[0].start))
            for segment in ring.segments:
                if isinstance(segment, Cubic):
                    path.curveTo(*at(segment.control1), *at(segment.control2), *at(segment.end))
                else:
                    path.lineTo(*at(segment.end))
            path.close()
        return path


_PLAIN = TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("LEFTPADDING", (0, 0), (-1, -1), 0)])
_RULED = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.grey),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
    ]
)
_TICKED = TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("TOPPADDING", (0, 0), (-1, -1), 3)])
_CAREFUL = TableStyle([*_RULED.getCommands(), ("BOX", (0, 0), (-1, -1), 1.6, colors.black)])
_BOX = TableStyle([("BOX", (0, 0), (-1, -1), 1.6, colors.black), ("BOTTOMPADDING", (0, 0), (-1, -1), 5)])
