"""The outlines of a job as form objects of a PDF: stated once, drawn in every picture (ISO 32000-1, 8.10).

A form is in millimetres with y up; whoever draws it has scaled the page. A form that sets no colour takes the one of
the moment, so one outline serves every step.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reportlab.lib import colors
from reportlab.pdfgen.canvas import FILL_EVEN_ODD

from maskgen.model.job import Shape
from maskgen.model.paths import Area, Point, bounds
from maskgen.model.result import JobResult
from maskgen.report.pdf_shapes import trace

DARK, LIGHT = colors.HexColor("#10141c"), colors.HexColor("#f4f6f8")
FRESH = colors.HexColor("#f3c46a")
"""The film that is laid now: not the grey of bare metal, and a middle grey on a printer without colour."""


class PartForms:
    """The outlines of one job; `name` tells the jobs of one paper apart."""

    def __init__(self, result: JobResult, name: str = "") -> None:
        part = result.job.part
        assert part is not None
        self.part, self.face_mm, self.name = part, part.face_mm, name
        self.holes = result.job.hole
        self.regions = {region.key: region.area for region in result.regions.regions}
        self.masks = {mask.number: mask.area for mask in result.masks}

    def at(self, point: Point) -> Point:
        """Give a place of the face as it stands in a form."""
        return point[0], self.face_mm[1] - point[1]

    def clip(self, canvas: Any) -> None:
        """Draw nothing outside the face from here on."""
        canvas.clipPath(self._edge(canvas), stroke=0, fill=0)

    def draw_colours(self, canvas: Any, colours: Mapping[str, str], *, thread: float) -> None:
        """Fill regions; a thread of the same colour closes the light seams viewers leave between neighbours."""
        canvas.setLineWidth(thread)
        for key, colour in colours.items():
            if key in self.regions:
                canvas.setFillColor(colors.HexColor(colour))
                canvas.setStrokeColor(colors.HexColor(colour))
                canvas.doForm(self._form(canvas, f"region-{key}", self.regions[key], stroke=1))

    def draw_film(self, canvas: Any, mask: str, *, pitch_mm: float) -> None:
        """Draw film as light and dark stripes: seen on every colour, and on a sheet printed without colour."""
        name = self._name(f"film-{mask}-{pitch_mm:.3f}")
        if not canvas.hasForm(name):
            self._begin(canvas, name)
            area = self.masks[mask]
            canvas.saveState()
            canvas.clipPath(trace(canvas, area, self.at), stroke=0, fill=0, fillMode=FILL_EVEN_ODD)
            left, top, right, bottom = bounds(area)
            high, low = self.at((left, top))[1], self.at((left, bottom))[1]
            count = int((right - left + high - low) / pitch_mm) + 1
            for colour, width in ((LIGHT, 0.5), (DARK, 0.22)):
                canvas.setStrokeColor(colour)
                canvas.setLineWidth(width * pitch_mm)
                x = left - (high - low)
                canvas.lines([(x + n * pitch_mm, low, x + n * pitch_mm + high - low, high) for n in range(count)])
            canvas.restoreState()
            canvas.setStrokeColor(DARK)
            canvas.setLineWidth(0.14 * pitch_mm)
            canvas.drawPath(trace(canvas, area, self.at), stroke=1, fill=0)
            canvas.endForm()
        canvas.doForm(name)

    def draw_solid(self, canvas: Any, mask: str, *, line: float) -> None:
        """Draw the film of one mask as tinted pieces with their outlines."""
        canvas.setFillColor(FRESH)
        canvas.setStrokeColor(DARK)
        canvas.setLineWidth(line)
        canvas.doForm(self._form(canvas, f"mask-{mask}", self.masks[mask], stroke=1))

    def draw_edge(self, canvas: Any, *, line: float) -> None:
        """Draw the edge of the part and of its holes."""
        canvas.setStrokeColor(colors.black)
        canvas.setFillColor(colors.white)
        canvas.setLineWidth(line)
        canvas.drawPath(self._edge(canvas), stroke=1, fill=0)
        for hole in self.holes:
            canvas.circle(*self.at(hole.at_mm), hole.diameter_mm / 2, stroke=1, fill=1)

    def _edge(self, canvas: Any) -> Any:
        path = canvas.beginPath()
        if self.part.shape is Shape.DISC:
            path.ellipse(0, 0, *self.face_mm)
        else:
            path.rect(0, 0, *self.face_mm)
        return path

    def _form(self, canvas: Any, what: str, area: Area, *, stroke: int) -> str:
        name = self._name(what)
        if not canvas.hasForm(name):
            self._begin(canvas, name)
            if area.pieces:
                canvas.drawPath(trace(canvas, area, self.at), stroke=stroke, fill=1, fillMode=FILL_EVEN_ODD)
            canvas.endForm()
        return name

    def _begin(self, canvas: Any, name: str) -> None:
        reach = max(self.face_mm)
        canvas.beginForm(name, -reach, -reach, 2 * reach, 2 * reach)

    def _name(self, what: str) -> str:
        return f"{self.name}-{what}" if self.name else what
