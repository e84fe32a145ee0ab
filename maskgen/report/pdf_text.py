"""Text of any script in a PDF: what one font sets as a row of letters is text; the rest is drawn, with text to find.

The PDF library sets words of one font well, and mixes up joined or stacked letters in words of several. So such lines
are drawn as outlines, with the same characters written over them unseen (text rendering mode 3, ISO 32000-1, 9.3.6),
so that they can be searched and copied like the rest.
"""

from __future__ import annotations

from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import FILL_EVEN_ODD
from reportlab.platypus import Flowable, Paragraph

from maskgen.report.pdf_shapes import trace
from maskgen.report.typeface import (
    PLAIN,
    advance,
    face_file,
    outlines,
    plain,
    printable,
    reads_to_left,
    spans,
    wrap,
)

UNSEEN = 3


def register(face: str = PLAIN) -> str:
    """Make a face known to the PDF library, once; give its name there."""
    if face not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(face, str(face_file(face))))
    return face


def paragraph(text: str, style: ParagraphStyle) -> Flowable:
    """Give a paragraph of text in any script; the text is no markup."""
    return Paragraph(escape(printable(text)), style) if plain(text) else Lettering(text, style)


def draw_line(canvas: Any, line: str, x: float, y: float, size: float) -> None:
    """Draw a line that begins at a place, in points, in the colour the canvas fills with."""
    if plain(line):
        canvas.setFont(register(), size)
        canvas.drawString(x, y, printable(line))
        return
    for area in outlines(line, size, (0.0, 0.0)):
        if area.pieces:
            path = trace(canvas, area, lambda p: (x + p[0], y - p[1]))
            canvas.drawPath(path, stroke=0, fill=1, fillMode=FILL_EVEN_ODD)
    for span in spans(line):
        canvas.setFont(register(span.face), size)
        # Readers of PDFs expect what reads to the left as it is seen, and turn it round themselves.
        canvas.drawString(x, y, span.text[::-1] if span.right_to_left else span.text, mode=UNSEEN)
        x += advance(span.text, size)


class Lettering(Flowable):
    """A paragraph that is drawn line by line."""

    def __init__(self, text: str, style: ParagraphStyle) -> None:
        super().__init__()
        self.text, self.style = text, style
        self.lines: tuple[str, ...] = ()
        self.room = 0.0

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Break the text into lines of a width; say how much room they take."""
        self.lines, self.room = wrap(self.text, width, self.style.fontSize), width
        return width, len(self.lines) * self.style.leading

    def getSpaceBefore(self) -> float:
        """Say how much room the style keeps above."""
        return float(self.style.spaceBefore)

    def getSpaceAfter(self) -> float:
        """Say how much room the style keeps below."""
        return float(self.style.spaceAfter)

    def draw(self) -> None:
        """Draw the lines; those that begin from the right stand at the right."""
        style, from_right = self.style, reads_to_left(self.text[:1])
        self.canv.setFillColor(style.textColor)
        for number, line in enumerate(self.lines):
            x = self.room - advance(line, style.fontSize) if from_right else 0.0
            y = (len(self.lines) - number) * style.leading - style.fontSize
            draw_line(self.canv, line, x, y, style.fontSize)
