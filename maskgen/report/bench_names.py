"""A lot of name parts on the bench sheet: one picture stands for many names, so each has its own measures in a list."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass

from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, Spacer, Table, TableStyle

from maskgen.model.job import Job, Part, TextSpec
from maskgen.report.bench_parts import HEAD, RULED, SMALL, TEXT, TickBox
from maskgen.report.pdf_text import paragraph
from maskgen.report.typeface import PLAIN, advance, plain, printable
from maskgen.report.words import WORDS

ROOM_FOR_NAMES = 30 * mm
"""The heading of the names stands on a page with some of them below it."""
MOST_ON_A_PAGE = 80
"""More rows than any page holds: a row takes 16 points at the least."""

_STYLE = TableStyle([*RULED.getCommands(), ("FONT", (0, 0), (-1, -1), PLAIN, TEXT.fontSize, TEXT.leading)])


@dataclass(frozen=True, slots=True)
class NamedMask:
    """A mask of a row: the sheets it lies on, its pieces, and where its film begins on the face."""

    mask: str
    sheets: tuple[int, ...]
    pieces: int
    left_mm: float
    top_mm: float


@dataclass(frozen=True, slots=True)
class NamedPart:
    """A row of a name list: what goes on its parts, mask by mask."""

    number: int
    text: str
    quantity: int
    masks: tuple[NamedMask, ...]


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
    columns = [9 * mm, 14 * mm, width - 119 * mm, 14 * mm, 14 * mm, 18 * mm, 14 * mm, 18 * mm, 18 * mm]
    alike = _alike(names)
    own = {mask.mask for name in names for mask in name.masks} - {mask.mask for mask in alike}
    return [
        CondPageBreak(ROOM_FOR_NAMES),
        paragraph(WORDS.names_title, HEAD),
        *(paragraph(WORDS.same_on_all(m.mask, m.pieces, m.left_mm, m.top_mm), TEXT) for m in alike),
        _NameTable(names, columns, own),
        Spacer(1, 3 * mm),
    ]


def _alike(names: Sequence[NamedPart]) -> list[NamedMask]:
    """Give the masks that have the same pieces and measures on every part, unless all have."""
    seen: dict[str, set[tuple[int, str, str]]] = {}
    for name in names:
        for mask in name.masks:
            seen.setdefault(mask.mask, set()).add((mask.pieces, *_measures(mask)))
    alike = [mask for mask in names[0].masks if len(seen[mask.mask]) == 1]
    return alike if len(alike) < len(seen) else []


class _NameTable(Flowable):
    """The rows of a list from one on, set when their page comes: a long list takes no more memory than a page of it."""

    def __init__(self, names: Sequence[NamedPart], columns: Sequence[float], masks: Set[str], begin: int = 0) -> None:
        super().__init__()
        self.names, self.columns, self.masks, self.begin = names, columns, masks, begin

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
        return [parts[0], _NameTable(self.names, self.columns, self.masks, rest)]

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
                *("\n".join(lines) for lines in zip(*self._lines(name), strict=True)),
            ]
            for name in self.names[self.begin : end]
        ]
        return Table([heads, *rows], colWidths=self.columns, style=_STYLE, repeatRows=1)

    def _name(self, text: str) -> object:
        """Give a name as plain text where one line of one font holds it: much faster than a paragraph."""
        if plain(text) and advance(text, TEXT.fontSize) < self.columns[2] - 12:  # the cells keep 6 points on both sides
            return printable(text)
        return paragraph(text, TEXT)

    def _lines(self, name: NamedPart) -> Sequence[tuple[str, ...]]:
        """Give what is said of every mask of a name that is not alike on all."""
        lines = [
            (mask.mask, ", ".join(map(str, mask.sheets)), f"{mask.pieces}", *_measures(mask))
            for mask in name.masks
            if mask.mask in self.masks
        ]
        return lines or [("", "", "", "", "")]


def _measures(mask: NamedMask) -> tuple[str, str]:
    return WORDS.mm_measured(mask.left_mm), WORDS.mm_measured(mask.top_mm)
