"""Lettering: one or two lines of text as an area, fitted into their box. Millimetres, y down."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from maskgen.errors import MaskgenError
from maskgen.geometry.polygons import to_multipolygon
from maskgen.geometry.unite import unite
from maskgen.model.job import Align, TextSpec
from maskgen.model.paths import Area, Piece, Point, affine
from maskgen.shape.glyphs import CAPITAL, Box, Font, PlacedGlyph, placed
from maskgen.shape.writing import runs_of

SECOND_SHARE = 0.625
"""Height of a second line's capitals where the template does not say, as a share of the first's."""
STEPS_MM = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01)
STEP_SHARE = 1 / 80
"""Shrunk capitals end on whole steps, the largest of these that is no more than this share of the height wanted.

Nobody sees less, and a batch has few heights instead of hundreds.
"""

LINE_GAP = 0.4
"""Space between the lines, as a share of the second line's capitals (common practice, no source)."""


class Unsettable(MaskgenError):
    """A text that cannot be set, with the reason as the customer understands it."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line at `CAPITAL`: its glyphs from left to right, its baseline at y 0."""

    font: Font
    glyphs: tuple[PlacedGlyph, ...]
    box: Box

    @property
    def area(self) -> Area:
        """The outline; overlapping strokes are one piece."""
        return joined([placed(self.font.outline(glyph.glyph), glyph.at) for glyph in self.glyphs])


@dataclass(frozen=True, slots=True)
class SetLine:
    """A line at its size and place: what a point of it becomes is `scale` times it, moved by `shift`."""

    line: Line
    scale: float
    shift: Point


@dataclass(frozen=True, slots=True)
class Lettering:
    """Lettering in its box, whose top left is the origin; the height of the capitals it came to."""

    lines: tuple[SetLine, ...]
    cap_height_mm: float
    second_cap_height_mm: float | None = None

    @property
    def area(self) -> Area:
        """The outline of all lines."""
        drawn = (one.line.area.mapped(affine(one.scale, one.shift)) for one in self.lines)
        return Area(tuple(piece for area in drawn for piece in area.pieces))

    def moved(self, to: Point) -> Area:
        """Give the area with the box's top left at a place."""
        return self.area.mapped(affine(1.0, to))


def set_text(text: str, second: str, *, font: Font, spec: TextSpec) -> Lettering:
    """Set one or two lines into the box of a template.

    Letters shrink to fit the box, in even steps, and never grow: each line by itself to the width, then both
    together to the height.
    The capitals' band is centred up and down unless accents or descenders need the room.

    Raises
    ------
    Unsettable
        When there is nothing to set, or the font has no glyph for a character.
    """
    first, rest = clean(text), clean(second)
    if not first:
        raise Unsettable("there is no text to make")
    heights = [spec.height_mm, spec.second_height_mm or SECOND_SHARE * spec.height_mm]
    lines = [
        (set_line(words, font=font, gap=spec.letter_gap_mm * CAPITAL / height), height)
        for words, height in zip([first, rest], heights, strict=True)
        if words
    ]
    width, height = spec.box_mm
    scales = [min(size / CAPITAL, width / (line.box[2] - line.box[0])) for line, size in lines]
    if len(scales) > 1 and heights[1] <= heights[0]:
        scales[1] = min(scales[1], scales[0])  # a long name is not to end smaller than what stands below it
    top, bottom = _extent([line for line, _ in lines], scales)
    shrink = min(1.0, height / (bottom - top))
    scales = [_stepped(scale * shrink, size / CAPITAL) for scale, (_, size) in zip(scales, lines, strict=True)]
    drops = _baselines([line for line, _ in lines], scales)
    top, bottom = _extent([line for line, _ in lines], scales)
    down = (height - (drops[-1] - CAPITAL * scales[0])) / 2
    down = min(max(down, -top), height - bottom)
    laid: list[SetLine] = []
    for (line, _), scale, drop in zip(lines, scales, drops, strict=True):
        spare = width - (line.box[2] - line.box[0]) * scale
        aside = {Align.LEFT: 0.0, Align.CENTRE: spare / 2, Align.RIGHT: spare}[spec.align]
        laid.append(SetLine(line, scale, (aside - line.box[0] * scale, down + drop)))
    caps = [CAPITAL * scale for scale in scales]
    return Lettering(tuple(laid), caps[0], caps[1] if len(caps) > 1 else None)


def _stepped(scale: float, wanted: float) -> float:
    """Give a scale that shrank in whole steps of the capitals' height, so that letters of one height meet again."""
    step = next((s for s in STEPS_MM if s <= CAPITAL * wanted * STEP_SHARE), STEPS_MM[-1]) / CAPITAL
    steps = math.floor(scale / step + 1e-6)
    return scale if scale >= wanted or steps < 1 else steps * step


def _extent(lines: Sequence[Line], scales: Sequence[float]) -> tuple[float, float]:
    """Give the top and the bottom of lines below one another, from the first baseline."""
    placed = list(zip(lines, scales, _baselines(lines, scales), strict=True))
    return min(d + line.box[1] * s for line, s, d in placed), max(d + line.box[3] * s for line, s, d in placed)


def _baselines(lines: Sequence[Line], scales: Sequence[float]) -> list[float]:
    drops = [0.0]
    for before, line, above, scale in zip(lines, lines[1:], scales, scales[1:], strict=False):
        below = max(before.box[3] * above, 0.0)
        tall = max(-line.box[1] * scale, CAPITAL * scale)
        drops.append(drops[-1] + below + LINE_GAP * CAPITAL * scale + tall)
    return drops


def clean(text: str) -> str:
    """Give a text with its blanks made single.

    Raises
    ------
    Unsettable
        When a character stands in it that nobody can see or write.
    """
    single = re.sub(r"\s+", " ", text).strip()
    for character in single:
        if unicodedata.category(character) in ("Cc", "Cs", "Cn", "Co"):
            raise Unsettable(f"the text holds {named(character)}, which cannot be written; type it again")
    return single


def named(character: str) -> str:
    """Name a character as a person can look it up."""
    name = unicodedata.name(character, "")
    shown = f"`{character}` " if character.isprintable() else ""
    return f"{shown}(U+{ord(character):04X}{', ' + name if name else ''})"


def set_line(text: str, *, font: Font, gap: float = 0.0) -> Line:
    """Set one line at `CAPITAL`; overlapping strokes become one piece.

    Raises
    ------
    Unsettable
        When the font has no glyph for a character, or nothing is seen.
    """
    lacking = font.missing(text)
    if lacking is not None:
        raise Unsettable(f"the font has no letter {named(lacking)}")
    glyphs: list[PlacedGlyph] = []
    x = 0.0
    for run in runs_of(text):
        shaped = font.shape(run, gap=gap)
        if glyphs and shaped.glyphs:
            x += gap
        for glyph in shaped.glyphs:
            if glyph.glyph == 0:
                raise Unsettable(f"the font has no letter {named(text[glyph.cluster])}")
            glyphs.append(PlacedGlyph(glyph.glyph, (glyph.at[0] + x, glyph.at[1]), glyph.cluster))
        x += shaped.advance
    seen = [(glyph, box) for glyph in glyphs if (box := font.extent(glyph.glyph)) is not None]
    if not seen:
        raise Unsettable("nothing of the text would be seen")
    lefts, tops, rights, bottoms = zip(
        *((x0 + g.at[0], y0 + g.at[1], x1 + g.at[0], y1 + g.at[1]) for g, (x0, y0, x1, y1) in seen), strict=True
    )
    return Line(font, tuple(glyph for glyph, _ in seen), (min(lefts), min(tops), max(rights), max(bottoms)))


def joined(areas: Sequence[Area]) -> Area:
    """Unite the glyphs that touch; the others stay as they are."""
    drawn = [area for area in areas if area.pieces]
    if not drawn:
        return Area()
    shapes = [to_multipolygon(area) for area in drawn]
    group = list(range(len(drawn)))
    for i, j in shapely.STRtree(shapes).query(shapes, predicate="intersects").T.tolist():
        if group[i] != group[j]:
            old, new = max(group[i], group[j]), min(group[i], group[j])
            group = [new if g == old else g for g in group]
    pieces: list[Piece] = []
    for leader in sorted(set(group)):
        members = [area for area, g in zip(drawn, group, strict=True) if g == leader]
        together = members[0] if len(members) == 1 else unite([ring for area in members for ring in area.rings])
        pieces += together.pieces
    return Area(tuple(pieces))
