"""Which font sets which characters: a line in any script, as spans that each have a font with their glyphs.

One family has no letters of every alphabet, so each span takes the first of `FACES` that has its characters. What none
of them has is told by its number in Unicode, never left out: a title that loses a word is worse than an ugly one.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from pathlib import Path

import fontpkg

from maskgen.model.paths import Area, Point, affine
from maskgen.shape.glyphs import CAPITAL, Font, Run
from maskgen.shape.writing import bidi_levels, runs_of

PLAIN = "Noto Sans"
EAST_ASIAN = "East Asian"
FACES = (PLAIN, "Noto Sans Arabic", "Heebo", "Noto Sans Thai", EAST_ASIAN)
"""Latin, Greek, Cyrillic and Devanagari; Arabic; Hebrew; Thai; Chinese, Japanese and Korean."""

CAPITAL_PER_SIZE = 0.714
"""Height of the capitals as a share of the type size, in Noto Sans (its `OS/2` table: 714 of 1000 units)."""


@dataclass(frozen=True, slots=True)
class Span:
    """Characters one font sets in one direction, in their logical order."""

    face: str
    text: str
    script: str
    right_to_left: bool


@cache
def face_file(face: str) -> Path:
    """Give the file of a face."""
    if face != EAST_ASIAN:
        return Path(fontpkg.path(face))
    # WenQuanYi Micro Hei, Apache License 2.0: one open TrueType font with all three East Asian scripts.
    with as_file(files("paperang_p2_fonts_cjk").joinpath("fonts", "wqy-microhei.ttc")) as path:
        return path


def printable(text: str) -> str:
    """Give text as it can be set: one line, composed, and a character without a glyph told by its number."""
    blank = "".join(" " if unicodedata.category(c) in ("Cc", "Zl", "Zp") else c for c in text)
    composed = unicodedata.normalize("NFC", " ".join(blank.split()))
    return "".join(c if _face_of(c) else f"[U+{ord(c):04X}]" for c in composed)


def spans(line: str) -> tuple[Span, ...]:
    """Give the spans of a line from left to right as seen; the text is made `printable` first."""
    found: list[Span] = []
    for run in runs_of(printable(line)):
        pieces = [Span(face, text, run.script, run.right_to_left) for face, text in _by_face(run.text)]
        found += reversed(pieces) if run.right_to_left else pieces
    return tuple(found)


def advance(line: str, size: float) -> float:
    """Give how wide a line is at a type size, in the size's unit."""
    return sum(_shaped_width(span) for span in spans(line)) * size * CAPITAL_PER_SIZE / CAPITAL


def outlines(line: str, size: float, at: Point) -> tuple[Area, ...]:
    """Give the glyphs of a line that begins at a place on its baseline, y down."""
    scale = size * CAPITAL_PER_SIZE / CAPITAL
    x, glyphs = 0.0, []
    for span in spans(line):
        font = _font(span.face)
        shaped = font.shape(Run(0, span.text, span.script, span.right_to_left))
        for glyph in shaped.glyphs:
            move = affine(scale, (at[0] + (x + glyph.at[0]) * scale, at[1] + glyph.at[1] * scale))
            glyphs.append(font.outline(glyph.glyph).mapped(move))
        x += shaped.advance
    return tuple(glyphs)


def wrap(text: str, width: float, size: float) -> tuple[str, ...]:
    """Break text into lines no wider than `width`: at blanks, and within a word that is wider by itself."""
    lines: list[str] = []
    line = ""
    for word in printable(text).split(" "):
        longer = f"{line} {word}" if line else word
        if advance(longer, size) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while advance(line, size) > width and len(line) > 1:
            fits = max(1, next(n for n in range(len(line), 0, -1) if n == 1 or advance(line[:n], size) <= width))
            lines.append(line[:fits])
            line = line[fits:]
    return (*lines, line)


def plain(line: str) -> bool:
    """Whether one font sets the line as a row of letters: nothing joins, stacks or runs to the left."""
    return all(span.face == PLAIN and not span.right_to_left and span.script != "Deva" for span in spans(line))


def reads_to_left(line: str) -> bool:
    """Whether anything in the line reads from right to left."""
    return any(level % 2 for level in bidi_levels(line))


@cache
def _font(face: str) -> Font:
    return Font(face_file(face).read_bytes())


@cache
def _face_of(character: str) -> str | None:
    """Give the first face with a glyph; None where no face has one."""
    return next((face for face in FACES if _font(face).missing(character) is None), None)


def _by_face(text: str) -> list[tuple[str, str]]:
    """Divide text by face; blanks and marks stay in the face of what stands before them where it has them."""
    pieces: list[tuple[str, str]] = []
    for character in text:
        face = _face_of(character) or PLAIN
        shared = not character.isalnum() and pieces and _font(pieces[-1][0]).missing(character) is None
        if pieces and (shared or pieces[-1][0] == face):
            pieces[-1] = (pieces[-1][0], pieces[-1][1] + character)
        else:
            pieces.append((face, character))
    return pieces


@cache
def _shaped_width(span: Span) -> float:
    return _font(span.face).shape(Run(0, span.text, span.script, span.right_to_left)).advance
