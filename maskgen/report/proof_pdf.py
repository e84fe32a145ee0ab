"""The customer's picture as PDF: the laid-out page on A4 or Letter, outlines as outlines, text as text."""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import Any

from PIL import Image
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import FILL_EVEN_ODD, Canvas

from maskgen.model.job import Hole, Paper, Part, Shape
from maskgen.model.paths import Partition
from maskgen.model.result import JobResult
from maskgen.report.face_picture import draw_face, seen_from_front
from maskgen.report.pdf_shapes import page_map, trace
from maskgen.report.pdf_text import draw_line
from maskgen.report.proof_layout import Measure, Patch, Sight, Text, View, lay_out_proof
from maskgen.units import MM_PER_POINT

PAGES = {Paper.A4: A4, Paper.LETTER: LETTER}
"""Widths and heights in points: 210 x 297 mm (ISO 216) and 8.5 x 11 in."""

INK, FAINT = colors.HexColor("#181c24"), colors.HexColor("#545a66")
FRONT_DOTS_PER_MM = 12.0
"""The front of a tube is shaded, so it is a picture of 305 dots per inch."""
TICK = 1.0 / MM_PER_POINT


def write_proof_pdf(result: JobResult) -> bytes:
    """Give the customer's picture as PDF; the same job gives the same bytes."""
    part = result.job.part
    assert part is not None
    page = PAGES[result.job.paper]
    proof = lay_out_proof(result, width_mm=page[0] * MM_PER_POINT, height_mm=page[1] * MM_PER_POINT)
    data = io.BytesIO()
    canvas: Any = Canvas(data, pagesize=page, invariant=1, pageCompression=1)
    canvas.setTitle(proof.title)
    canvas.setAuthor("")
    canvas.setViewerPreference("PrintScaling", "None")
    for item in proof.items:
        match item:
            case View():
                _view(canvas, item, result.simulation.predicted, part, result.job.hole, page[1])
            case Patch(colour, left, top, width, height):
                canvas.setFillColor(colors.HexColor(colour))
                canvas.setStrokeColor(FAINT)
                canvas.setLineWidth(0.5)
                canvas.rect(*_box(left, top, width, height, page[1]), fill=1)
            case Measure(start, end):
                _measure(canvas, start, end, page[1])
            case Text(line, left, baseline, size, faint):
                canvas.setFillColor(FAINT if faint else INK)
                draw_line(canvas, line, left / MM_PER_POINT, page[1] - baseline / MM_PER_POINT, size / MM_PER_POINT)
    canvas.showPage()
    canvas.save()
    return data.getvalue()


def _box(left: float, top: float, width: float, height: float, page: float) -> tuple[float, float, float, float]:
    return left / MM_PER_POINT, page - (top + height) / MM_PER_POINT, width / MM_PER_POINT, height / MM_PER_POINT


def _view(canvas: Any, view: View, predicted: Partition, part: Part, holes: Iterable[Hole], page: float) -> None:
    box = _box(view.left, view.top, view.width, view.height, page)
    if view.sight is Sight.FRONT:
        flat = draw_face(predicted, width_px=round(part.face_mm[0] * view.scale * FRONT_DOTS_PER_MM))
        canvas.drawImage(ImageReader(Image.fromarray(seen_from_front(flat))), *box)
        edge = canvas.beginPath()
        edge.rect(*box)
    else:
        at = page_map(box[0], box[1], height_mm=part.face_mm[1], scale=view.scale)
        canvas.saveState()
        for region in predicted.regions:
            canvas.setFillColor(colors.HexColor(region.colour))
            canvas.setStrokeColor(colors.HexColor(region.colour))
            canvas.setLineWidth(0.2)  # closes the light seams viewers leave between neighbours
            canvas.drawPath(trace(canvas, region.area, at), stroke=1, fill=1, fillMode=FILL_EVEN_ODD)
        canvas.restoreState()
        canvas.setFillColor(colors.white)
        for hole in holes:
            canvas.circle(*at(hole.at_mm), hole.diameter_mm / 2 * view.scale / MM_PER_POINT, stroke=0, fill=1)
        edge = canvas.beginPath()
        if part.shape is Shape.DISC:
            edge.ellipse(*box)
        else:
            edge.rect(*box)
        for hole in holes:
            (x, y), radius = at(hole.at_mm), hole.diameter_mm / 2 * view.scale / MM_PER_POINT
            edge.circle(x, y, radius)
    canvas.setStrokeColor(FAINT)
    canvas.setLineWidth(0.6)
    canvas.drawPath(edge, stroke=1, fill=0)


def _measure(canvas: Any, start: tuple[float, float], end: tuple[float, float], page: float) -> None:
    canvas.setStrokeColor(FAINT)
    canvas.setLineWidth(0.5)
    places = [(x / MM_PER_POINT, page - y / MM_PER_POINT) for x, y in (start, end)]
    canvas.line(*places[0], *places[1])
    for x, y in places:
        canvas.line(*((x, y - TICK, x, y + TICK) if start[1] == end[1] else (x - TICK, y, x + TICK, y)))
