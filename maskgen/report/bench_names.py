"""A lot of name parts on the bench sheet: one picture stands for many names, so each has its own measures in a list."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table, TableStyle

from maskgen.model.job import Job, Part, TextSpec
from maskgen.report.bench_parts import HEAD, RULED, SMALL, TEXT, TickBox
from maskgen.report.pdf_text import paragraph
from maskgen.report.typeface import PLAIN, advance, plain, printable
from maskgen.report.words import WORDS

MOST_ON_A_PAGE = 80
"""More rows than any page holds: a row takes 16 points at the least."""

_STYLE = TableStyle([*RULED.getCommands(), ("FONT", (0, 0), (-1, -1), PLAIN, TEXT.fontSize, TEXT.leading)])


@dataclass(frozen=True, slots=True)
class NamedPart:
    """A row of a name list: what goes on its parts, and where its outermost film begins on the face."""

    number: int
    text: str
    quantity: int
    pieces: int
    left_mm: float
    top_mm: float


def letter_box(spec: TextSpec, part: Part) -> tuple[float, float, float, float]:
    """Give the box all names stand in: left, top, width, height on the face."""
    width, height = spec.box_mm
    face_width, face_height = part.face_mm
    left, top = spec.at_mm or ((face_width - width) / 2, (face_height - height) / 2)
    return left, top, width, height


def box_words(job: Job) -> str:
    """Say where the names stand; nothing where the job has none."""
    if job.text is None or job.part is None:
        return ""
    return WORDS.letter_box(*letter_box(job.text, job.part), job.text.align)


def name_rows(names: Sequence[NamedPart], width: float) -> list[Flowable]:
    """Give the list of a lot's names, with a box to tick for each; nothing without names."""
    if not names:
        return []
    columns = [9 * mm, 14 * mm, width - 113 * mm, 18 * mm, 22 * mm, 25 * mm, 25 * mm]
    return [paragraph(WORDS.names_title, HEAD), _NameTable(names, columns), Spacer(1, 3 * mm)]


class _NameTable(Flowable):
    """The rows of a list from one on, set when their page comes: a long list takes no more memory than a page of it."""

    def __init__(self, names: Sequence[NamedPart], columns: Sequence[float], begin: int = 0) -> None:
        super().__init__()
        self.names, self.columns, self.begin = names, columns, begin

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Say how much room the rows take, or that they take more than there is."""
        if len(self.names) - self.begin > MOST_ON_A_PAGE:
            return width, height + 1.0
        size: tuple[float, float] = self._table(len(self.names)).wrap(width, height)
        return size

    def split(self, width: float, height: float) -> list[Flowable]:
        """Set as many rows as there is room for."""
        end = min(len(self.names), self.begin + MOST_ON_A_PAGE)
        parts = self._table(end).split(width, height)
        if not parts:
            return []
        rows = len(parts[0]._cellvalues) - 1
        rest = self.begin + rows
        if rest >= len(self.names):
            return [parts[0]]
        return [parts[0], _NameTable(self.names, self.columns, rest)]

    def draw(self) -> None:
        """Draw the rows, which have been found to have room."""
        table = self._table(len(self.names))
        table.wrapOn(self.canv, sum(self.columns), 0.0)
        table.drawOn(self.canv, 0.0, 0.0)

    def _table(self, end: int) -> Table:
        heads = ["", *(paragraph(head, SMALL) for head in WORDS.names_heads)]
        rows = [
            [
                TickBox(3.2 * mm),
                f"{name.number}",
                self._name(name.text),
                f"{name.quantity}",
                f"{name.pieces}",
                WORDS.mm_measured(name.left_mm),
                WORDS.mm_measured(name.top_mm),
            ]
            for name in self.names[self.begin : end]
        ]
        return Table([heads, *rows], colWidths=self.columns, style=_STYLE, repeatRows=1)

    def _name(self, text: str) -> object:
        """Give a name as plain text where one line of one font holds it: much faster than a paragraph."""
        if plain(text) and advance(text, TEXT.fontSize) < self.columns[2] - 12:  # the cells keep 6 points on both sides
            return printable(text)
        return paragraph(text, TEXT)
