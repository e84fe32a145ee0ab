"""The font table: how small every font can be cut, with its letters at that height and the place that decides."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from maskgen.formats.numbers import fixed
from maskgen.formats.svg_write import path_data
from maskgen.model.job import Resist
from maskgen.model.paths import Area, affine, bounds
from maskgen.report.page import asset, template
from maskgen.shape.font_limits import SETS, LetterMeasure, Limit, Smallest, Use, smallest_height
from maskgen.shape.glyphs import CAPITAL

WIDEST_MM = 165.0
"""Letters in their size in a line: an A4 page with its margins and the picture's frame holds it."""
MARGIN = 1.5
SPACE = 0.16
"""Room about the letters of a picture, and between them as a share of the capitals."""


@dataclass(frozen=True, slots=True)
class FontMeasure:
    """A font by its name, and its letters by set."""

    name: str
    letters: dict[str, tuple[LetterMeasure, ...]]

    def smallest(self, letters: str, resist: Resist, use: Use) -> Smallest | None:
        """Give the smallest height of capitals of one set of letters."""
        return smallest_height(self.letters[letters], resist, use)

    def fine(self) -> str:
        """Give the letters with points or notches that are lost at any usual height."""
        return "".join(m.character for measures in self.letters.values() for m in measures if m.fine)


def table_lines(fonts: Sequence[FontMeasure], resist: Resist) -> list[str]:
    """Give the table in plain characters, for a terminal: mm of capitals, and the letter that decides."""
    width = max(len(font.name) for font in fonts)
    heads = [f"{name} {use.value.split()[-1]}" for use in Use for name in SETS]
    lines = [f"{'':{width}}  " + "  ".join(f"{head:>10}" for head in heads)]
    for font in fonts:
        cells = [_cell(font.smallest(name, resist, use)) for use in Use for name in SETS]
        lines.append(f"{font.name:{width}}  " + "  ".join(f"{cell:>10}" for cell in cells))
    return lines


def _cell(found: Smallest | None) -> str:
    return "-" if found is None else f"{found.height_mm:.1f} ({found.measure.character})"


def decided_by(found: Smallest, resist: Resist, use: Use) -> str:
    """Say in words what keeps letters from being smaller."""
    letter, size, height = found.measure.character, found.spot.size, found.height_mm
    if found.limit in (Limit.PIECE, Limit.COUNTER):
        what = "the counter" if found.limit is Limit.COUNTER else "the smallest piece"
        area = size * (height / CAPITAL) ** 2
        return f"{what} of {letter}: {area:.1f} mm2, {resist.min_piece_mm2:g} can be handled"
    film = (found.limit is Limit.STROKE) == (use is Use.FILM)
    what = "thinnest stroke" if found.limit is Limit.STROKE else "narrowest opening"
    need = f"film needs {resist.min_land_mm:g}" if film else f"dye and bleach need {resist.min_gap_mm:g}"
    return f"the {what} of {letter}: {size * height / CAPITAL:.2f} mm, {need}"


def write_fonts_page(fonts: Sequence[FontMeasure], resist: Resist) -> bytes:
    """Give the table as one HTML file."""
    page: str = template("fonts.html").render(
        style=Markup(asset("report.css")),
        resist=resist,
        sets=list(SETS),
        uses=[use.value for use in Use],
        fonts=[_font(font, resist) for font in fonts],
    )
    return page.encode()


def _font(font: FontMeasure, resist: Resist) -> dict[str, Any]:
    rows = []
    for use in Use:
        found = [(name, font.smallest(name, resist, use)) for name in SETS]
        cells = [
            {"set": name, "height": f"{s.height_mm:.1f}", "why": decided_by(s, resist, use)} for name, s in found if s
        ]
        rows.append({"use": use.value, "cells": cells})
    worst = _worst(font, resist, Use.FILM)
    return {
        "name": font.name,
        "rows": rows,
        "fine": " ".join(font.fine()),
        "letters": Markup(_specimen(font.letters.values(), worst.height_mm if worst else CAPITAL)),
        "height": f"{worst.height_mm:.1f}" if worst else "",
        "marked": [Markup(_marked(s, use)) for use in Use if (s := _worst(font, resist, use)) is not None],
    }


def _worst(font: FontMeasure, resist: Resist, use: Use) -> Smallest | None:
    found = (font.smallest(name, resist, use) for name in SETS)
    return max((s for s in found if s is not None), key=lambda s: s.height_mm, default=None)


def _specimen(sets: Iterable[Sequence[LetterMeasure]], height_mm: float) -> str:
    """Draw every set in lines of its own, in its size: one unit is one millimetre."""
    scale = height_mm / CAPITAL
    paths, widest, lines = [], 0.0, 0
    for letters in sets:
        x = 0.0
        for measure in letters:
            left, _, right, _ = bounds(measure.area)
            if x > 0.0 and (x + right - left) * scale > WIDEST_MM:
                x, lines = 0.0, lines + 1
            at = ((x - left) * scale + MARGIN, (lines * 1.6 + 1.1) * height_mm + MARGIN)
            paths.append(path_data(measure.area.mapped(affine(scale, at)).rings))
            x += right - left + SPACE * CAPITAL
            widest = max(widest, x * scale)
        lines += 1
    width, height = widest + 2 * MARGIN, (1.6 * lines) * height_mm + 2 * MARGIN
    return (
        f'<svg class="specimen" viewBox="0 0 {fixed(width)} {fixed(height)}" style="width:{fixed(width)}mm" '
        f'role="img" aria-label="All letters in their size"><path class="vinyl" fill-rule="evenodd" '
        f'd="{"".join(paths)}"/></svg>'
    )


def _marked(found: Smallest, use: Use) -> str:
    """Draw the letter that decides, large, with the place marked."""
    area: Area = found.measure.area
    left, top, right, bottom = bounds(area)
    box = " ".join(map(fixed, (left - MARGIN, top - MARGIN, right - left + 2 * MARGIN, bottom - top + 2 * MARGIN)))
    (x, y), r = found.spot.at, 1.1
    wall = ""
    if found.spot.walls is not None:
        (ax, ay), (bx, by) = found.spot.walls
        wall = f'<path class="wall" d="M{fixed(ax)} {fixed(ay)}L{fixed(bx)} {fixed(by)}"/>'
    return (
        f'<svg viewBox="{box}" role="img" aria-label="The place that decides, {use.value}">'
        f'<path class="vinyl" fill-rule="evenodd" d="{path_data(area.rings)}"/>{wall}'
        f'<circle class="mark" cx="{fixed(x)}" cy="{fixed(y)}" r="{r}"/></svg>'
    )
