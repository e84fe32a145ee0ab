"""What the bench sheet is built from: its type, its rules, boxes to tick, and small pictures of the part."""

from __future__ import annotations

from typing import Any

from reportlab.lib import colors
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, TableStyle

from maskgen.report.part_forms import PartForms
from maskgen.report.pdf_text import draw_line
from maskgen.report.stages import Stage
from maskgen.report.typeface import PLAIN
from maskgen.report.words import WORDS

TEXT = ParagraphStyle("text", fontName=PLAIN, fontSize=9, leading=11.5)
SMALL = ParagraphStyle("small", parent=TEXT, fontSize=8, leading=10)
STEP = ParagraphStyle("step", parent=TEXT, fontSize=12, leading=14.5)
FACT = ParagraphStyle("fact", parent=TEXT, fontSize=10.5, leading=13)
TITLE = ParagraphStyle("title", parent=TEXT, fontSize=17, leading=21, spaceAfter=2 * mm)
HEAD = ParagraphStyle("head", parent=TEXT, fontSize=11.5, leading=14, spaceBefore=4 * mm, spaceAfter=1.2 * mm)

PLAIN_TABLE = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ]
)
RULED = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.grey),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
    ]
)
TICKED = TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("TOPPADDING", (0, 0), (-1, -1), 2)])
BLOCK = TableStyle(
    [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, -1), (-1, -1), 0.4, colors.grey),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -2), 0),
        ("BOTTOMPADDING", (0, -1), (-1, -1), 3),
    ]
)
CAREFUL = TableStyle([*BLOCK.getCommands(), ("BOX", (0, 0), (-1, -1), 1.6, colors.black)])
BOXED = TableStyle([("BOX", (0, 0), (-1, -1), 1.6, colors.black), ("BOTTOMPADDING", (0, 0), (-1, -1), 5)])


class TickBox(Flowable):
    """A box to tick."""

    def __init__(self, side: float = 5 * mm) -> None:
        super().__init__()
        self.side = side

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return self.side + mm, self.side + mm

    def draw(self) -> None:
        """Draw it."""
        self.canv.setStrokeColor(colors.black)
        self.canv.setLineWidth(1)
        self.canv.rect(0, 0, self.side, self.side)


class Beware(Flowable):
    """A warning triangle: what stands beside it can hurt."""

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return 5 * mm, 4.4 * mm

    def draw(self) -> None:
        """Draw it."""
        canvas = self.canv
        canvas.setStrokeColor(colors.black)
        canvas.setFillColor(colors.black)
        path = canvas.beginPath()
        path.moveTo(0, 0)
        path.lineTo(4.4 * mm, 0)
        path.lineTo(2.2 * mm, 3.9 * mm)
        path.close()
        canvas.setLineWidth(1.1)
        canvas.setLineJoin(1)
        canvas.drawPath(path, stroke=1, fill=0)
        canvas.setFont(PLAIN, 8)
        canvas.drawCentredString(2.2 * mm, 0.6 * mm, "!")


PAGE_COUNT = "page-count"
"""The form every page shows the number of pages by: stated at the end, when it is known."""


class PageCount(Flowable):
    """Nothing to see: the end of the story, where the pages have been counted."""

    def __init__(self, size: float) -> None:
        super().__init__()
        self.type_size = size

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return 0.0, 0.0

    def draw(self) -> None:
        """State the form."""
        canvas = self.canv
        count = canvas.getPageNumber()
        canvas.beginForm(PAGE_COUNT, 0, -20, 100, 40)
        draw_line(canvas, WORDS.pages(count), 0, 0, self.type_size)
        canvas.endForm()


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
        self.canv.setStrokeColor(colors.black)
        self.canv.setFillColor(colors.HexColor(self.colour))
        self.canv.rect(0, 0, 9 * mm, 3.6 * mm, fill=1)


class PartPicture(Flowable):
    """The part between two steps: colours filled, film striped over them; or one film alone."""

    def __init__(self, forms: PartForms, stage: Stage | None, width: float, height: float, *, film: str = "") -> None:
        super().__init__()
        self.forms, self.stage, self.film = forms, stage, film
        face_width, face_height = forms.face_mm
        self.scale = min(width / face_width, height / face_height)
        self.size = face_width * self.scale, face_height * self.scale

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        return self.size

    def draw(self) -> None:
        """Draw it."""
        canvas: Any = self.canv
        canvas.saveState()
        canvas.scale(self.scale, self.scale)
        self.forms.clip(canvas)
        if self.stage is not None:
            self.forms.draw_colours(canvas, self.stage.colours, thread=0.4 / self.scale)
            for mask in self.stage.masks_on:
                self.forms.draw_film(canvas, mask, pitch_mm=1.5 * mm / self.scale)
        if self.film:
            self.forms.draw_solid(canvas, self.film, line=0.5 / self.scale)
        canvas.restoreState()
        canvas.saveState()
        canvas.scale(self.scale, self.scale)
        self.forms.draw_edge(canvas, line=0.6 / self.scale)
        canvas.restoreState()
