"""The reading sheet of a test piece: when to look at what, the piece drawn large, every row to be filled in."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import FILL_EVEN_ODD
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, SimpleDocTemplate, Spacer, Table

from maskgen.model.coupon import BlockPlace, Feature, TestPiece
from maskgen.model.job import Job
from maskgen.model.paths import Point
from maskgen.report.bench import MARGIN, PAGES
from maskgen.report.bench_parts import HEAD, PAGE_COUNT, RULED, SMALL, TEXT, TICKED, TITLE, PageCount, TickBox
from maskgen.report.pdf_shapes import trace
from maskgen.report.pdf_text import draw_line, paragraph, register
from maskgen.report.words import WORDS
from maskgen.report.words_coupon import ABOUT, HOW, PICTURE_TITLE, ROWS, STEPS, TITLE_WORDS

FILMS = tuple(colors.HexColor(c) for c in ("#1d2733", "#6f8fb5", "#c9822b", "#7c9a3f", "#9a5a8f"))
"""Shades of the films in the order they go on: told apart in grey too, and named in the key."""
LETTER = 9.0
AROUND_MM = 0.35
"""From a block to the line round it: blocks lie 2 mm apart, and the letter stands between."""
ROOM_FOR_ROWS = 40 * mm
MEASURE = colors.HexColor("#e0203a")


def write_reading_sheet(piece: TestPiece, job: Job) -> bytes:
    """Give the reading sheet as PDF; the same piece gives the same bytes."""
    register()
    data = io.BytesIO()
    document = SimpleDocTemplate(
        data,
        pagesize=PAGES[job.paper],
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=MARGIN,
        title=TITLE_WORDS,
        invariant=True,
    )
    room = document.width - 12  # the frame keeps 6 points on both sides
    picture = PiecePicture(piece, room)
    steps = [[TickBox(3.5 * mm), paragraph(line, TEXT)] for line in STEPS]
    by_key = {feature.key: feature for feature in piece.features}
    story: list[Flowable] = [
        paragraph(TITLE_WORDS, TITLE),
        paragraph(PICTURE_TITLE.format(scale=picture.scale / mm), HEAD),
        picture,
        Spacer(1, 2 * mm),
        _key(piece, room),
        paragraph(HOW, HEAD),
        Table(steps, colWidths=[8 * mm, room - 8 * mm], style=TICKED),
        CondPageBreak(ROOM_FOR_ROWS),
        paragraph(ROWS, HEAD),
    ]
    for block in piece.blocks:
        story.append(_block(block, [by_key[key] for key in block.keys], room))

    def foot(canvas: Any, page: Any) -> None:
        canvas.setViewerPreference("PrintScaling", "None")
        draw_line(canvas, TITLE_WORDS, MARGIN, 7 * mm, 7.5)
        draw_line(canvas, WORDS.page(page.page), page.pagesize[0] - MARGIN - 22 * mm, 7 * mm, 7.5)
        canvas.saveState()
        canvas.translate(page.pagesize[0] - MARGIN - 12 * mm, 7 * mm)
        canvas.doForm(PAGE_COUNT)
        canvas.restoreState()

    story.append(PageCount(7.5))
    document.build(story, onFirstPage=foot, onLaterPages=foot)
    return data.getvalue()


class PiecePicture(Flowable):
    """The piece with all its films, large, and the letter of every block."""

    def __init__(self, piece: TestPiece, width: float) -> None:
        super().__init__()
        self.piece = piece
        self.scale = min(width / piece.width_mm, 110 * mm / piece.height_mm)

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return self.piece.width_mm * self.scale, self.piece.height_mm * self.scale

    def at(self, point: Point) -> Point:
        """Give the place of a point of the face."""
        return point[0] * self.scale, (self.piece.height_mm - point[1]) * self.scale

    def draw(self) -> None:
        """Draw it."""
        canvas: Any = self.canv
        canvas.setStrokeColor(colors.black)
        canvas.setLineWidth(0.8)
        canvas.rect(0, 0, *self.wrap())
        for mask, shade in zip(self.piece.masks, FILMS, strict=False):
            canvas.setFillColor(shade)
            canvas.drawPath(trace(canvas, mask.area, self.at), stroke=0, fill=1, fillMode=FILL_EVEN_ODD)
        canvas.setFillColor(colors.black)
        for block in self.piece.blocks:
            left, top, right, bottom = block.box
            x, y = self.at((left - AROUND_MM, top - AROUND_MM))
            low_x, low_y = self.at((right + AROUND_MM, bottom + AROUND_MM))
            canvas.setLineWidth(0.4)
            canvas.setStrokeColor(colors.grey)
            canvas.setDash(1.5, 1.5)
            canvas.rect(x, low_y, low_x - x, y - low_y)
            canvas.setDash()
            draw_line(canvas, block.letter, x, y + 0.15 * self.scale, min(LETTER, 1.4 * self.scale))
        canvas.setStrokeColor(MEASURE)
        canvas.setLineWidth(1.4)
        for feature in self.piece.features:
            if feature.unit == "mm":
                (x, y), half = feature.at_mm, feature.nominal / 2
                across = any(word in feature.key for word in ("upright", "left", "right"))
                dx, dy = (half, 0.0) if across else (0.0, half)
                canvas.line(*self.at((x - dx, y - dy)), *self.at((x + dx, y + dy)))


def _key(piece: TestPiece, width: float) -> Flowable:
    row: list[Any] = []
    for number, mask in enumerate(piece.masks):
        strips = len(piece.masks) - number
        row += [_Shade(FILMS[number]), paragraph(f"{mask.number}: {WORDS.count(strips, 'strip')}", SMALL)]
    each = width / len(piece.masks)
    return Table([row], colWidths=[7 * mm, each - 7 * mm] * len(piece.masks))


class _Shade(Flowable):
    """The shade of a film."""

    def __init__(self, shade: Any) -> None:
        super().__init__()
        self.shade = shade

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return 5 * mm, 3 * mm

    def draw(self) -> None:
        """Draw it."""
        self.canv.setFillColor(self.shade)
        self.canv.rect(0, 0, 5 * mm, 3 * mm, stroke=0, fill=1)


def _block(block: BlockPlace, features: Sequence[Feature], width: float) -> Flowable:
    """Give one block: its letter and words, then two rows of the list beside each other."""
    kind = features[0].kind
    cells = [_cell(feature) for feature in features]
    pairs = [cells[k : k + 2] for k in range(0, len(cells), 2)]
    rows = [[item for cell in pair for item in cell] + [""] * (6 - 3 * len(pair)) for pair in pairs]
    half = width / 2
    return KeepTogether(
        [
            Table(
                [[[paragraph(f"{block.letter}   {block.words}", HEAD), paragraph(ABOUT[kind], SMALL)]]],
                colWidths=[width],
            ),
            Table(rows, colWidths=[half - 42 * mm, 18 * mm, 24 * mm] * 2, style=RULED),
        ]
    )


def _cell(feature: Feature) -> list[Flowable]:
    unit = "mm2" if feature.kind == "piece" else "mm"
    blank = "________ mm" if feature.unit == "mm" else "yes / no"
    return [
        paragraph(feature.key, SMALL),
        paragraph(f"{feature.nominal:g} {unit}", SMALL),
        paragraph(blank, TEXT),
    ]
