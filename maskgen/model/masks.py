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
class ArcPath:
    """A closed cut line of straight runs and arcs: corners (x, y, bulge), the bulge that of the run to the next corner.

    The bulge is tan(angle / 4) of the arc, 0 for a straight run; positive where the angle grows from x towards y, which
    is clockwise as seen in this frame.
    """

    corners: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True, slots=True)
class ArcDrawing:
    """A cut drawing whose curves have become arcs; the paths stand in cutting order."""

    left: float
    top: float
    width: float
    height: float
    paths: tuple[ArcPath, ...]


@dataclass(frozen=True, slots=True)
class Placement:
    """One mask (or a loose piece, or a tile of it) of one part, moved by `shift` (after a quarter turn when `turned`).

    The turn takes (x, y) to (-y, x): clockwise as seen. Copies, pieces and tiles count from 1. `row` says whose mask it
    is where a sheet holds masks of several rows of a name list.
    """

    mask: str
    copy: int
    shift: Point
    turned: bool = False
    piece: int | None = None
    tile: int | None = None
    row: str = ""

    def place(self, point: Point) -> Point:
        """Give the place on the sheet of a point of the mask."""
        x, y = (-point[1], point[0]) if self.turned else point
        return x + self.shift[0], y + self.shift[1]


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet for the cutter: the drawing, and which mask lies where."""

    number: int
    drawing: CutDrawing
    placements: tuple[Placement, ...]
