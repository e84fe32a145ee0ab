"""Cut drawings to PDF at 1:1: one page of the drawing's size, outlines filled by the even-odd rule, nothing else.

A point is 1/72 in (ISO 32000-1, 8.3.2.3); y runs up.
"""

from __future__ import annotations

import io
from typing import Any

from reportlab.pdfgen.canvas import FILL_EVEN_ODD, Canvas

from maskgen.errors import InputError
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Line, Point, Ring
from maskgen.units import MM_PER_POINT

LARGEST_POINTS = 14_400
"""The largest page that readers are bound to show (ISO 32000-1, annex C)."""


def write_cut(drawing: CutDrawing, *, title: str = "") -> bytes:
    """Write one page; same drawing, same bytes.

    Raises
    ------
    InputError
        When the drawing is larger than a page may be.
    """
    width, height = drawing.width / MM_PER_POINT, drawing.height / MM_PER_POINT
    if max(width, height) > LARGEST_POINTS:
        raise InputError(
            f"the drawing is {drawing.width:.0f} x {drawing.height:.0f} mm, a page holds at most "
            f"{LARGEST_POINTS * MM_PER_POINT:.0f} mm",
            where="PDF",
            mend="make the sheet shorter (`sheet_length_mm`) or use another format",
        )
    file = io.BytesIO()
    page: Any = Canvas(file, pagesize=(width, height), invariant=1, pageCompression=1)
    page.setTitle(title)
    page.setAuthor("")
    page.setViewerPreference("PrintScaling", "None")

    def place(point: Point) -> Point:
        return (point[0] - drawing.left) / MM_PER_POINT, (drawing.top + drawing.height - point[1]) / MM_PER_POINT

    for piece in drawing.pieces:
        path = page.beginPath()
        for ring in (*piece.holes, piece.outer):
            _walk(path, ring.mapped(place))
        page.drawPath(path, stroke=0, fill=1, fillMode=FILL_EVEN_ODD)
    page.showPage()
    page.save()
    return file.getvalue()


def _walk(path: Any, ring: Ring) -> None:
    if not ring.segments:
        return
    path.moveTo(*ring.segments[0].start)
    last = len(ring.segments) - 1
    for number, segment in enumerate(ring.segments):
        if not isinstance(segment, Line):
            path.curveTo(*segment.control1, *segment.control2, *segment.end)
        elif number < last:
            path.lineTo(*segment.end)
    path.close()
