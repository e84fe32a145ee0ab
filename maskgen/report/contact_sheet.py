"""The customer's picture of a name list: every name as it will look, in rows, one after the other.

Outlines come as the path data of small pictures, in steps, and become operators of the PDF. The file holds each once,
however often it comes: letters of a list do.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable, Mapping, Sequence
from hashlib import blake2b
from typing import Any

from reportlab.lib import colors
from reportlab.pdfgen.canvas import Canvas

from maskgen.formats.path_forms import Sketch
from maskgen.model.job import Job, Part, Shape
from maskgen.report.names_page import NamePicture, Paths
from maskgen.report.pdf_text import draw_line
from maskgen.report.proof_layout import LINE, MARGIN_MM, SMALL_MM, TEXT_MM, TITLE_MM
from maskgen.report.proof_pdf import FAINT, INK, PAGES
from maskgen.report.typeface import advance, wrap
from maskgen.report.words import WORDS
from maskgen.units import MM_PER_POINT

CELL_MM = 41.0
"""The least width of a picture: four of them stand beside each other on A4."""
TALLEST_MM = 70.0
GAP_MM = 5.0

_TOKEN = re.compile(r"[MmLlCcZz]|-?(?:\d+\.?\d*|\.\d+)(?:e-?\d+)?")


def write_contact_sheet(
    job: Job, *, blanks: Mapping[str, Paths], pictures: Iterable[NamePicture], not_made: Sequence[str] = ()
) -> bytes:
    """Give the pages as PDF; `blanks` are the parts without letters that pictures are laid over.

    `not_made` says which names are missing, and why, a name in a line.
    """
    part = job.part
    assert part is not None
    data = io.BytesIO()
    sheet = _Sheet(job, part, blanks, data)
    for picture in pictures:
        sheet.add(picture)
    sheet.say(WORDS.not_shown, not_made)
    return sheet.finished()


def operators(data: str) -> str:
    """Give path data (M, L, C, Z, absolute or in steps) as operators of a PDF, in its own unit."""
    found: list[str] = []
    command, places = "", [0.0, 0.0]
    start = (0.0, 0.0)
    numbers: list[float] = []
    for token in _TOKEN.findall(data):
        if not token.isalpha():
            numbers.append(float(token))
            if len(numbers) < (6 if command in "Cc" else 2):
                continue
            if command.islower():
                numbers = [number + places[index % 2] for index, number in enumerate(numbers)]
            places = numbers[-2:]
            word = {"m": "m", "l": "l", "c": "c"}[command.lower()]
            found.append(" ".join(f"{number:.2f}" for number in numbers) + f" {word}")
            if word == "m":
                start, command = (places[0], places[1]), "l" if command == "m" else "L"
            numbers = []
        elif token in "Zz":
            found.append("h")
            places = list(start)
        else:
            command = token
    return "\n".join(found)


def _extent(code: str) -> tuple[float, float, float, float]:
    """Give a box that holds all positions of a path's operators, control points too."""
    numbers = [float(word) for word in code.split() if word not in ("m", "l", "c", "h")]
    xs, ys = numbers[::2], numbers[1::2]
    return min(xs), min(ys), max(xs), max(ys)


class _Sheet:
    """Pages being filled, row by row."""

    def __init__(self, job: Job, part: Part, blanks: Mapping[str, Paths], data: io.BytesIO) -> None:
        self.page = PAGES[job.paper]
        self.width, self.height = (side * MM_PER_POINT for side in self.page)
        self.part, self.blanks, self.data = part, blanks, data
        self.title = job.title or WORDS.proof_title
        self.canvas: Any = Canvas(data, pagesize=self.page, invariant=1, pageCompression=1)
        self.canvas.setTitle(self.title)
        self.canvas.setAuthor("")
        face_width, face_height = part.face_mm
        room = self.width - 2 * MARGIN_MM
        cell = min(CELL_MM, TALLEST_MM * face_width / face_height)
        self.columns = max(1, int((room + GAP_MM) / (max(cell, CELL_MM / 2) + GAP_MM)))
        self.cell = (room - GAP_MM * (self.columns - 1)) / self.columns
        self.scale = min(self.cell / face_width, TALLEST_MM / face_height)
        self.tall = face_height * self.scale
        self.below = SMALL_MM * LINE * 1.6
        self.column, self.number = 0, 0
        self.top = self._begin()

    def add(self, picture: NamePicture) -> None:
        """Put the next name in its place."""
        if self.column == self.columns:
            self.column, self.top = 0, self.top + self.tall + self.below + GAP_MM
        self._make_room(self.tall + self.below)
        left = MARGIN_MM + self.column * (self.cell + GAP_MM)
        self._draw(picture, left)
        words = WORDS.name_caption(picture.number, picture.text, picture.quantity)
        size = SMALL_MM
        while advance(words, size) > self.cell and size > SMALL_MM * 0.6:
            size *= 0.93
        self._text(wrap(words, self.cell, size)[0], left, self.top + self.tall + SMALL_MM * 1.5, size)
        self.column += 1

    def say(self, head: str, lines: Sequence[str]) -> None:
        """Write lines under a heading, below the pictures; nothing without lines."""
        if not lines:
            return
        if self.column:
            self.column, self.top = 0, self.top + self.tall + self.below + GAP_MM
        width = self.width - 2 * MARGIN_MM
        said = [[(head, TEXT_MM)], *([(part, SMALL_MM) for part in wrap(line, width, SMALL_MM)] for line in lines)]
        for paragraph in said:
            # The heading stands with the first line below it.
            self._make_room(
                sum(size * LINE for _, size in paragraph) + (SMALL_MM * LINE if paragraph is said[0] else 0)
            )
            for part, size in paragraph:
                self._text(part, MARGIN_MM, self.top + size, size)
                self.top += size * LINE
            self.top += SMALL_MM * (LINE - 1)

    def _make_room(self, tall: float) -> None:
        """Begin a new page where so much has no room on this one."""
        if self.top + tall > self.height - MARGIN_MM - TEXT_MM:
            self._end()
            self.column, self.top = 0, self._begin()

    def finished(self) -> bytes:
        """Close the last page."""
        self._end()
        self.canvas.save()
        return self.data.getvalue()

    def _draw(self, picture: NamePicture, left: float) -> None:
        canvas, factor = self.canvas, self.scale / MM_PER_POINT
        canvas.saveState()
        canvas.transform(factor, 0, 0, -factor, left / MM_PER_POINT, self.page[1] - self.top / MM_PER_POINT)
        if picture.blank:
            name = f"blank-{list(self.blanks).index(picture.blank)}"
            if not canvas.hasForm(name):
                canvas.beginForm(name, 0, 0, *self.part.face_mm)
                self._fill(self.blanks[picture.blank])
                canvas.endForm()
            canvas.doForm(name)
        for colour, sketch in picture.outlines:
            canvas.setFillColor(colors.HexColor(colour))
            self._put(sketch)
        canvas.setLineWidth(0.6 / factor)
        canvas.setStrokeColor(FAINT)
        width, height = self.part.face_mm
        if self.part.shape is Shape.DISC:
            canvas.circle(width / 2, height / 2, width / 2)
        else:
            canvas.rect(0, 0, width, height)
        canvas.restoreState()

    def _put(self, sketch: Sketch) -> None:
        """Draw an outline: one that comes again is kept by the file once, and named."""
        canvas = self.canvas
        name = f"outline-{blake2b(sketch.steps.encode(), digest_size=12).hexdigest()}"
        if not canvas.hasForm(name):
            begun = Sketch((0.0, 0.0), sketch.steps)
            code = operators(begun.data)
            canvas.beginForm(name, *_extent(code))
            canvas.addLiteral(f"{code}\nf*")
            canvas.endForm()
        canvas.saveState()
        canvas.translate(*sketch.start)
        canvas.doForm(name)
        canvas.restoreState()

    def _fill(self, paths: Paths) -> None:
        for colour, data in paths:
            if data:
                self.canvas.setFillColor(colors.HexColor(colour))
                self.canvas.addLiteral(f"{operators(data)}\nf*")

    def _begin(self) -> float:
        """Write the head of a page; give where the pictures begin."""
        self.number += 1
        size = TITLE_MM if self.number == 1 else TEXT_MM
        lines = wrap(self.title, self.width - 2 * MARGIN_MM, size)
        for count, line in enumerate(lines[:2]):
            self._text(line, MARGIN_MM, MARGIN_MM + size * (1 + LINE * count), size)
        return MARGIN_MM + size * LINE * min(len(lines), 2) + GAP_MM

    def _end(self) -> None:
        y = self.height - MARGIN_MM + SMALL_MM
        self._text(f"{WORDS.size_of(self.part)}. {WORDS.colours_vary}", MARGIN_MM, y, SMALL_MM, faint=True)
        words = WORDS.page(self.number)
        self._text(words, self.width - MARGIN_MM - advance(words, SMALL_MM), y, SMALL_MM, faint=True)
        self.canvas.showPage()

    def _text(self, line: str, left: float, baseline: float, size: float, *, faint: bool = False) -> None:
        self.canvas.setFillColor(FAINT if faint else INK)
        place = left / MM_PER_POINT, self.page[1] - baseline / MM_PER_POINT
        draw_line(self.canvas, line, *place, size / MM_PER_POINT)
