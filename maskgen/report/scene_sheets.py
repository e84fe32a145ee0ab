"""Sheets for the page: every mask that lies on one drawn by the outline that is stated already."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

from maskgen.formats.numbers import fixed
from maskgen.model.job import SheetSettings
from maskgen.model.masks import Mask, Placement, Sheet
from maskgen.model.paths import Area, Point, bounds
from maskgen.report.outline_data import outline_data
from maskgen.report.placing import label_place
from maskgen.report.scene import number_at


@dataclass(frozen=True, slots=True)
class _Number:
    """What is written on a mask or a loose piece, where, and how large the film there is."""

    words: str
    at: Point
    across_mm: float

    @classmethod
    def on(cls, area: Area, words: str) -> _Number:
        left, top, right, bottom = bounds(area)
        return cls(words, label_place(area), min(right - left, bottom - top))

    def drawn(self, placement: Placement, largest_mm: float) -> str:
        size = min(largest_mm, max(self.across_mm / 2, largest_mm / 4))
        return number_at(self.words, placement.place(self.at), size)


class SheetViews:
    """The pictures of a job's sheets; what `use` needs beside the masks is in `definitions`."""

    def __init__(self, sheets: Iterable[Sheet], masks: Iterable[Mask], settings: SheetSettings) -> None:
        areas = {mask.number: mask.area for mask in masks if mask.area.pieces}
        loose = sorted({(p.mask, p.piece) for sheet in sheets for p in sheet.placements if p.piece is not None})
        pieces = {(m, n): Area((areas[m].pieces[n - 1],)) for m, n in loose}
        self._numbers: dict[tuple[str, int | None], _Number] = {
            (m, None): _Number.on(area, m) for m, area in areas.items()
        } | {(m, n): _Number.on(area, f"{m}.{n}") for (m, n), area in pieces.items()}
        self.definitions = "".join(
            f'<path id="piece-{escape(m)}-{n}" fill-rule="evenodd" d="{outline_data(area.rings)}"/>'
            for (m, n), area in pieces.items()
        )
        self._extras = settings.crosses or settings.weeding_frame or settings.relief_lines or settings.check_bar

    def view(self, sheet: Sheet, *, label: str) -> str:
        """Draw a sheet with the number of its mask on every group of film; numbers are never in the cut file."""
        drawing = sheet.drawing
        whole = self._extras or any(p.tile is not None for p in sheet.placements)
        film = (
            f'<path fill-rule="evenodd" d="{outline_data(Area(drawing.pieces).rings)}"/>'
            if whole
            else "".join(self._placed(placement) for placement in sheet.placements)
        )
        numbers = "".join(
            self._numbers[placement.mask, placement.piece].drawn(placement, drawing.width / 60)
            for placement in sheet.placements
        )
        box = " ".join(fixed(v) for v in (drawing.left, drawing.top, drawing.width, drawing.height))
        return (
            f'<svg viewBox="{box}" role="img" aria-label="{escape(label)}"><g class="vinyl">{film}</g>{numbers}'
            f'<rect x="{fixed(drawing.left)}" y="{fixed(drawing.top)}" width="{fixed(drawing.width)}" '
            f'height="{fixed(drawing.height)}" fill="none" stroke="currentColor" stroke-dasharray="4 3" '
            'vector-effect="non-scaling-stroke"/></svg>'
        )

    def _placed(self, placement: Placement) -> str:
        key = f"mask-{placement.mask}" if placement.piece is None else f"piece-{placement.mask}-{placement.piece}"
        x, y = (fixed(v) for v in placement.shift)
        move = f"matrix(0 1 -1 0 {x} {y})" if placement.turned else f"translate({x} {y})"
        return f'<use href="#{escape(key)}" transform="{move}"/>'
