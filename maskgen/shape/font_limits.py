"""How small a font can be cut: every letter measured once at `CAPITAL`, then held against a resist profile.

Widths grow with the height of the capitals and areas with its square, so that one measurement tells every height.
"""

from __future__ import annotations

import math
import string
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from maskgen.model.job import Resist
from maskgen.model.paths import Area, Point, area_of, signed_area
from maskgen.shape.glyphs import CAPITAL, Font
from maskgen.shape.lettering import Unsettable, set_line
from maskgen.shape.widths import NarrowPlace, narrow_places

SETS = {"A-Z": string.ascii_uppercase, "a-z": string.ascii_lowercase, "0-9": string.digits}

LOOKED_AT = 0.3
"""Strokes and openings wider than this share of the capitals decide nothing: even 0.8 mm of film would allow 2.7 mm."""
FINE = 1 / 40
"""A point or notch finer than this share of the capitals is lost at any usual height: 0.5 mm would take 20 mm."""
STEP_MM = 0.1
"""Heights are told to this, rounded up."""


class Use(StrEnum):
    """What the film covers: the letters, or all around them."""

    FILM = "letters in film"
    OPEN = "letters left open"


class Limit(StrEnum):
    """What decides how small a letter may be."""

    STROKE = "stroke"
    OPENING = "opening"
    COUNTER = "counter"
    PIECE = "piece"


@dataclass(frozen=True, slots=True)
class Spot:
    """A place of a letter: its width (mm) or area (mm2) at `CAPITAL`, where it is, its two walls where it has some."""

    size: float
    at: Point
    walls: tuple[Point, Point] | None = None


@dataclass(frozen=True, slots=True)
class LetterMeasure:
    """One letter at `CAPITAL`: the least of every kind it has, and whether it has points or notches beyond saving."""

    character: str
    area: Area
    least: tuple[tuple[Limit, Spot], ...]
    fine: bool


@dataclass(frozen=True, slots=True)
class Smallest:
    """The smallest height of capitals for a set of letters, and the letter and kind of place that decide it."""

    height_mm: float
    measure: LetterMeasure
    limit: Limit
    spot: Spot


def measure_letters(font: Font, characters: Iterable[str]) -> tuple[LetterMeasure, ...]:
    """Measure letters; those the font lacks are left out."""
    found = (_measured(font, character) for character in characters)
    return tuple(measure for measure in found if measure is not None)


def smallest_height(measures: Sequence[LetterMeasure], resist: Resist, use: Use) -> Smallest | None:
    """Give the height of capitals from which on no letter has a place under the limits; None without letters."""
    needed = [
        Smallest(_height(limit, spot, resist, use), measure, limit, spot)
        for measure in measures
        for limit, spot in measure.least
    ]
    if not needed:
        return None
    worst = max(needed, key=lambda n: n.height_mm)
    rounded = math.ceil(worst.height_mm / STEP_MM - 1e-6) * STEP_MM
    return Smallest(round(rounded, 1), worst.measure, worst.limit, worst.spot)


def is_fine(place: NarrowPlace, cap_height_mm: float) -> bool:
    """Whether a narrow place is a mere point or the bottom of a notch: finer than `FINE`, and no stretch of it."""
    if place.width_mm >= FINE * cap_height_mm:
        return False
    return place.quartiles_mm[1] > 2 * place.width_mm or place.length_mm < 2 * FINE * cap_height_mm


def _height(limit: Limit, spot: Spot, resist: Resist, use: Use) -> float:
    if limit in (Limit.COUNTER, Limit.PIECE):
        return CAPITAL * math.sqrt(resist.min_piece_mm2 / spot.size)
    film = (limit is Limit.STROKE) == (use is Use.FILM)
    return CAPITAL * (resist.min_land_mm if film else resist.min_gap_mm) / spot.size


def _measured(font: Font, character: str) -> LetterMeasure | None:
    try:
        area = set_line(character, font=font).area
    except Unsettable:
        return None
    least: list[tuple[Limit, Spot]] = []
    fine = False
    for limit, openings in ((Limit.STROKE, False), (Limit.OPENING, True)):
        places = narrow_places(area, LOOKED_AT * CAPITAL, openings=openings)
        broad = [place for place in places if not is_fine(place, CAPITAL)]
        fine = fine or len(broad) < len(places)
        width = min(broad, key=lambda place: place.width_mm, default=None)
        if width is not None:
            least.append((limit, Spot(width.width_mm, width.at, width.walls)))
    holes = [hole for piece in area.pieces for hole in piece.holes]
    if holes:
        hole = max(holes, key=signed_area)  # holes are negative: the smallest
        least.append((Limit.COUNTER, Spot(-signed_area(hole), hole.segments[0].start)))
    piece = min(area.pieces, key=lambda p: area_of(Area((p,))))
    least.append((Limit.PIECE, Spot(area_of(Area((piece,))), piece.outer.segments[0].start)))
    return LetterMeasure(character, area, tuple(least), fine)
