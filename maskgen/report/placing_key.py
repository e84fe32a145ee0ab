"""The key of a placing picture, and a line of 50 mm that shows whether the page was printed at its size."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from reportlab.lib import colors
from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from maskgen.report.part_forms import DARK, FRESH, LIGHT
from maskgen.report.typeface import PLAIN, advance
from maskgen.report.words import WORDS

TYPE = 7.5
BOX = (5 * mm, 3 * mm)
APART = 6 * mm
CHECK = 50 * mm
ROW = 7 * mm


class PlacingKey(Flowable):
    """Which film is which; `check_line` where the picture is at actual size."""

    def __init__(self, mask: str, under: Sequence[str], *, check_line: bool) -> None:
        super().__init__()
        fills = [
            ("new", WORDS.key_new(mask)),
            *([("under", WORDS.key_under(under))] if under else []),
            ("open", WORDS.key_bare),
        ]
        self.fills, self.check_line, self.check_below = fills, check_line, False

    @property
    def _key_width(self) -> float:
        return float(sum(BOX[0] + 1.5 * mm + advance(words, TYPE) + APART for _, words in self.fills))

    def wrap(self, room: float, *_: float) -> tuple[float, float]:
        """Say its size: a line of its own for the check where both do not fit beside each other."""
        check = CHECK + 2 * mm + advance(WORDS.check_line, TYPE) if self.check_line else 0.0
        self.check_below = self.check_line and self._key_width + check > room
        if self.check_below:
            return max(self._key_width, check), 2 * ROW
        return self._key_width + check, ROW

    def draw(self) -> None:
        """Draw it."""
        canvas: Any = self.canv
        x, y = 0.0, 2 * mm + (ROW if self.check_below else 0.0)
        canvas.setFont(PLAIN, TYPE)
        for fill, words in self.fills:
            self._box(canvas, x, y, fill)
            canvas.setFillColor(colors.black)
            canvas.drawString(x + BOX[0] + 1.5 * mm, y + 0.5 * mm, words)
            x += BOX[0] + 1.5 * mm + advance(words, TYPE) + APART
        if self.check_line:
            x, y = (0.0, 2 * mm) if self.check_below else (x, y)
            level = y + BOX[1] / 2
            canvas.setStrokeColor(colors.black)
            canvas.setLineWidth(0.6)
            canvas.lines([(x, level, x + CHECK, level), *((at, y, at, y + BOX[1]) for at in (x, x + CHECK))])
            canvas.drawString(x + CHECK + 2 * mm, y + 0.5 * mm, WORDS.check_line)

    def _box(self, canvas: Any, x: float, y: float, fill: str) -> None:
        width, height = BOX
        canvas.setFillColor({"new": FRESH, "under": LIGHT, "open": colors.white}[fill])
        canvas.setStrokeColor(DARK)
        canvas.setLineWidth(0.6)
        canvas.rect(x, y, width, height, stroke=1, fill=1)
        if fill == "under":
            canvas.saveState()
            clip = canvas.beginPath()
            clip.rect(x, y, width, height)
            canvas.clipPath(clip, stroke=0, fill=0)
            canvas.lines([(x + n * mm - height, y, x + n * mm, y + height) for n in range(1, 9)])
            canvas.restoreState()
