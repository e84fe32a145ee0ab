"""Masks, the drawings that are cut, and sheets."""

from __future__ import annotations

from dataclasses import dataclass

from maskgen.model.paths import Area, Piece, Point


@dataclass(frozen=True, slots=True)
class Mask:
    """Vinyl that goes on at one step, in the frame of the face; may run past it by the overhang."""

    number: str
    name: str
    regions: tuple[str, ...]
    area: Area


@dataclass(frozen=True, slots=True)
class CutDrawing:
    """What a cut file holds: closed pieces and nothing else, seen through a window (mm, y down)."""

    left: float
    top: float
    width: float
    height: float
    pieces: tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class Placement:
    """One mask (or one loose piece of it) of one part, moved by `shift` (after a quarter turn when `turned`)."""

    mask: str
    copy: int
    shift: Point
    turned: bool = False
    piece: int | None = None


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet for the cutter: the drawing, and which mask lies where."""

    number: int
    drawing: CutDrawing
    placements: tuple[Placement, ...]
