"""Masks for the whole quantity laid on sheets: what is applied together lies together, nothing closer than the spacing.

What is packed are rectangles: a mask, which transfer tape lifts off as one, or with the carrier `loose` each piece.
Quarter turns only. Several packings by a general library are tried, and the one that takes least film is kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from maskgen.errors import InputError
from maskgen.model.job import Carrier, Resist, SheetSettings
from maskgen.model.masks import CutDrawing, Mask, Placement, Sheet
from maskgen.model.paths import Area, Piece, Point, area_of, bounds
from maskgen.shape.cutting import cutting_order, other_way_round
from maskgen.shape.packing import Spot, fits, pack
from maskgen.shape.route import Stops, short_route
from maskgen.shape.sheet_extras import BAR_MM, FRAME_MM, Box, check_bar, register_crosses, waste_lines
from maskgen.shape.tiles import tiles


@dataclass(frozen=True, slots=True)
class Wanted:
    """A mask and how many of it; `row` says whose it is where a sheet serves several rows of a list."""

    mask: Mask
    copies: int = 1
    row: str = ""


@dataclass(frozen=True, slots=True)
class _Block:
    """What lies on the sheet as one: its pieces in cutting order from either end, in the frame of the face."""

    ways: tuple[tuple[Piece, ...], ...]
    box: Box
    mask: str
    row: str
    piece: int | None = None
    tile: int | None = None

    @property
    def size(self) -> tuple[float, float]:
        """Width and height."""
        return self.box[2] - self.box[0], self.box[3] - self.box[1]


def nest(
    masks: Sequence[Mask],
    *,
    quantity: int,
    resist: Resist,
    settings: SheetSettings,
    face_mm: tuple[float, float] | None = None,
) -> tuple[Sheet, ...]:
    """Lay `quantity` of every mask on sheets, mask by mask in the order they go on.

    `face_mm` is where register crosses are measured from; left out, they go by the masks' own extent.

    Raises
    ------
    InputError
        When a mask does not fit the sheet and may not be cut in parts, or the sheet leaves no room at all.
    """
    stages = [[Wanted(mask, quantity)] for mask in masks]
    return nest_stages(stages, resist=resist, settings=settings, face_mm=face_mm)


def nest_stages(
    stages: Sequence[Sequence[Wanted]],
    *,
    resist: Resist,
    settings: SheetSettings,
    face_mm: tuple[float, float] | None = None,
) -> tuple[Sheet, ...]:
    """Lay masks on sheets, stage by stage; within a stage they may be of different parts.

    Raises
    ------
    InputError
        When a mask does not fit the sheet and may not be cut in parts, or the sheet leaves no room at all.
    """
    room = Room.on(resist.sheet_width_mm, settings)
    crosses = _crosses(stages, face_mm) if settings.crosses and resist.carrier is not Carrier.LOOSE else ()
    copies: list[list[tuple[_Block, int]]] = []
    for stage in stages:
        blocks = [(b, w.copies) for w in stage for b in _blocks(w, crosses, room, resist)]
        copies.append([(b, copy) for b, count in blocks for copy in range(1, count + 1)])
    flat = [item for stage in copies for item in stage]
    if not flat:
        return ()
    sizes = [[block.size for block, _ in stage] for stage in copies]
    spots = pack(sizes, room=(room.wide, room.long), spacing=settings.spacing_mm)
    laid: list[list[tuple[_Block, int, Spot]]] = [[] for _ in range(max(spot.sheet for spot in spots) + 1)]
    for (block, copy), spot in zip(flat, spots, strict=True):
        laid[spot.sheet].append((block, copy, spot))
    return tuple(_sheet(number, blocks, room) for number, blocks in enumerate(laid, start=1))


def used_share(sheets: Iterable[Sheet]) -> float:
    """Share of the sheets' film that ends up in pieces; 0 without sheets."""
    pairs = [(area_of(Area(s.drawing.pieces)), s.drawing.width * s.drawing.height) for s in sheets]
    film = sum(whole for _, whole in pairs)
    return sum(used for used, _ in pairs) / film if film else 0.0


@dataclass(frozen=True, slots=True)
class Room:
    """The usable area of a sheet: what margin, frame and check bar leave."""

    width_mm: float
    left: float
    top: float
    wide: float
    long: float
    settings: SheetSettings

    @classmethod
    def on(cls, sheet_width_mm: float, settings: SheetSettings) -> Room:
        """Take margin, frame and check bar off a sheet.

        Raises
        ------
        InputError
            When nothing is left.
        """
        edge = settings.margin_mm + (FRAME_MM + settings.spacing_mm if settings.weeding_frame else 0.0)
        head = BAR_MM[1] + settings.spacing_mm if settings.check_bar else 0.0
        wide, long = sheet_width_mm - 2 * edge, settings.sheet_length_mm - 2 * edge - head
        if wide <= 0 or long <= 0 or (settings.check_bar and wide < BAR_MM[0]):
            raise InputError(
                f"a sheet of {sheet_width_mm:g} x {settings.sheet_length_mm:g} mm with a margin of "
                f"{settings.margin_mm:g} mm leaves {max(wide, 0):g} x {max(long, 0):g} mm",
                where="sheets",
                mend="make the sheet larger or the margin smaller",
            )
        return cls(sheet_width_mm, edge, edge + head, wide, long, settings)

    def shift(self, box: Box, spot: Spot) -> Point:
        """Give the move that brings a box of a mask, turned where the spot says so, to its spot."""
        left, top, _, bottom = box
        corner = (-bottom, left) if spot.turned else (left, top)
        return self.left + spot.left - corner[0], self.top + spot.top - corner[1]

    def extras(self, boxes: Sequence[Box]) -> tuple[tuple[Piece, ...], tuple[Piece, ...], float]:
        """Give the check bar and the lines in the waste about boxes, in cutting order, and how long the sheet is."""
        settings, edge = self.settings, self.left
        bottom = max(box[3] for box in boxes) + edge
        bars: tuple[Piece, ...] = (check_bar(self.left, edge),) if settings.check_bar else ()
        margin = settings.margin_mm
        outside = (margin, margin, self.width_mm - margin, bottom - margin)
        heights = [(box[1], box[3]) for box in boxes] + [(edge, edge + BAR_MM[1]) for _ in bars]
        waste = waste_lines(outside, heights, frame=settings.weeding_frame, relief=settings.relief_lines)
        home = (0.0, bottom)
        return cutting_order(bars, home=home), cutting_order(waste, home=home), bottom


def _crosses(stages: Sequence[Sequence[Wanted]], face_mm: tuple[float, float] | None) -> tuple[Piece, ...]:
    pieces = tuple(p for stage in stages for wanted in stage for p in wanted.mask.area.pieces)
    if not pieces:
        return ()
    masks = bounds(Area(pieces))
    return register_crosses((0.0, 0.0, *face_mm) if face_mm else masks, masks)


def _blocks(wanted: Wanted, crosses: tuple[Piece, ...], room: Room, resist: Resist) -> Iterator[_Block]:
    mask = wanted.mask
    if not mask.area.pieces:
        return
    if resist.carrier is Carrier.LOOSE:
        for number, piece in enumerate(mask.area.pieces, start=1):
            yield from _fitting(Area((piece,)), (), wanted, room, resist, piece=number)
    else:
        yield from _fitting(mask.area, crosses, wanted, room, resist)


def _fitting(
    area: Area, crosses: tuple[Piece, ...], wanted: Wanted, room: Room, resist: Resist, piece: int | None = None
) -> Iterator[_Block]:
    """Give the area as one block, or as parts where it is too large and may be cut."""
    block = _block((*area.pieces, *crosses), wanted, piece=piece)
    size = (room.wide, room.long)
    if fits(block.size, room=size):
        yield block
        return
    if not room.settings.tile or min(size) <= 2 * resist.lap_mm:
        what = f"mask {wanted.mask.number}" + (f", piece {piece}," if piece else "")
        raise InputError(
            f"{what} is {block.size[0]:.1f} x {block.size[1]:.1f} mm, "
            f"the sheet takes {room.wide:.1f} x {room.long:.1f} mm",
            where="sheets",
            mend="use a wider film (`sheet_width_mm`) or let the mask be cut in parts that lap (`tile = true`)",
        )
    parts = min((tiles(area, width_mm=w, height_mm=h, lap_mm=resist.lap_mm) for w, h in (size, size[::-1])), key=len)
    for number, part in enumerate(parts, start=1):
        yield _block(part.pieces, wanted, piece=piece, tile=number)


def _block(pieces: tuple[Piece, ...], wanted: Wanted, *, piece: int | None = None, tile: int | None = None) -> _Block:
    box = bounds(Area(pieces))
    ordered = cutting_order(pieces, home=(box[0], box[3]))
    ways = (ordered, other_way_round(ordered)) if len(ordered) > 1 else (ordered,)
    return _Block(ways, box, wanted.mask.number, wanted.row, piece, tile)


def _sheet(number: int, laid: Sequence[tuple[_Block, int, Spot]], room: Room) -> Sheet:
    """Give one sheet, as long as what lies on it needs."""
    placed = [(block, _placement(block, copy, spot, room)) for block, copy, spot in laid]
    bars, waste, bottom = room.extras([placed_box(block.box, placement) for block, placement in placed])
    # The bar comes first, so that it can be measured before the rest is cut.
    masks = _cut_by_block(placed, _last_cut(bars) if bars else (0.0, bottom))
    pieces = (*bars, *masks, *waste)
    return Sheet(number, CutDrawing(0.0, 0.0, room.width_mm, bottom, pieces), tuple(p for _, p in placed))


def _cut_by_block(placed: Sequence[tuple[_Block, Placement]], home: Point) -> Iterator[Piece]:
    """Give the pieces block after block (a roll that drifts moves whole masks, not their pieces), the short way.

    A block is cut from either end.
    """
    ends = [
        np.array([placement.place(end(block.ways[way])) for block, placement in placed])
        for way in (0, -1)
        for end in (_first_cut, _last_cut)
    ]
    order, back = short_route(Stops(*ends), home=home)
    for number in order:
        block, placement = placed[number]
        yield from (piece.mapped(placement.place) for piece in block.ways[-1 if back[number] else 0])


def _first_cut(way: Sequence[Piece]) -> Point:
    return (*way[0].holes, way[0].outer)[0].segments[0].start


def _last_cut(way: Sequence[Piece]) -> Point:
    return way[-1].outer.segments[0].start


def placed_box(box: Box, placement: Placement) -> Box:
    """Give where a box of a mask comes to lie on its sheet."""
    (x0, y0), (x1, y1) = placement.place((box[0], box[1])), placement.place((box[2], box[3]))
    return min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)


def _placement(block: _Block, copy: int, spot: Spot, room: Room) -> Placement:
    return Placement(block.mask, copy, room.shift(block.box, spot), spot.turned, block.piece, block.tile, block.row)
