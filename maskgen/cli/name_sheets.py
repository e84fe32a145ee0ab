"""The shared sheets of a name list, packed from the sizes of the masks and written one at a time from their files."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from maskgen.cli.cut_output import cut_files
from maskgen.errors import InputError
from maskgen.formats.path_forms import PathForm, read_forms
from maskgen.formats.svg_cut_read import read_cut
from maskgen.formats.svg_write import cut_document, path_data
from maskgen.model.job import Carrier, Job
from maskgen.model.masks import CutDrawing, Placement, Sheet
from maskgen.model.names import MaskRecord
from maskgen.model.paths import Area, Piece, bounds
from maskgen.shape.cutting import cutting_order
from maskgen.shape.lines import pack_lines
from maskgen.shape.nest import Room, placed_box
from maskgen.shape.packing import Spot, fits
from maskgen.shape.sheet_extras import Box, register_crosses
from maskgen.shape.tiles import tiles


@dataclass(frozen=True, slots=True)
class ListedMask:
    """A mask of a row, where its file is, and how many parts it is for."""

    row: int
    folder: Path
    mask: MaskRecord
    copies: int


@dataclass(frozen=True, slots=True)
class _Block:
    """What lies on the sheet as one: a mask, a loose piece or a tile of one."""

    of: ListedMask
    box: Box
    piece: int | None = None
    tile: int | None = None

    @property
    def size(self) -> tuple[float, float]:
        return self.box[2] - self.box[0], self.box[3] - self.box[1]


@dataclass(frozen=True, slots=True)
class Laid:
    """One sheet: how large it is, and what lies where; `spots` are the boxes of the placements, in the same order."""

    number: int
    width: float
    height: float
    placements: tuple[Placement, ...]
    boxes: tuple[Box, ...]

    @property
    def empty_sheet(self) -> Sheet:
        """The sheet without its drawing, for those who only count."""
        return Sheet(self.number, CutDrawing(0.0, 0.0, self.width, self.height, ()), self.placements)


class ListSheets:
    """The sheets of a list; what is kept in memory are places, never outlines."""

    def __init__(self, stages: Sequence[Sequence[ListedMask]], job: Job) -> None:
        assert job.part is not None
        self.job = job
        self.room = Room.on(job.resist.sheet_width_mm, job.sheets)
        self._crosses = self._register(stages, job)
        copies = [[item for listed in stage for item in self._copies(listed)] for stage in stages]
        sizes = [[block.size for block, _ in stage] for stage in copies]
        room = (self.room.wide, self.room.long)
        spots = pack_lines(sizes, room=room, spacing=job.sheets.spacing_mm)
        items = [item for stage in copies for item in stage]
        self._sheets: list[list[tuple[_Block, Placement, Spot]]] = []
        for (block, copy), spot in zip(items, spots, strict=True):
            while len(self._sheets) <= spot.sheet:
                self._sheets.append([])
            shift = self.room.shift(block.box, spot)
            row = str(block.of.row)
            placement = Placement(block.of.mask.number, copy, shift, spot.turned, block.piece, block.tile, row)
            self._sheets[spot.sheet].append((block, placement, spot))

    def laid(self) -> list[Laid]:
        """Tell what lies where."""
        found = []
        for number, items in enumerate(self._sheets, start=1):
            boxes = [placed_box(block.box, placement) for block, placement, _ in items]
            bottom = self.room.extras(boxes)[2]
            placements = tuple(placement for _, placement, _ in items)
            found.append(Laid(number, self.room.width_mm, bottom, placements, tuple(boxes)))
        return found

    def files(self) -> Iterator[tuple[str, bytes]]:
        """Draw the sheets, one at a time, in every format the job asks for."""
        job = self.job
        for number, items in enumerate(self._sheets, start=1):
            bars, waste, bottom = self.room.extras([placed_box(block.box, placement) for block, placement, _ in items])
            window = (0.0, 0.0, self.room.width_mm, bottom)
            data = cut_document(window, (*map(_data, bars), *self._paths(items), *map(_data, waste)))
            stem = f"sheet-{number:02d}"
            if job.formats == ("svg",) and not job.sheets.mirror:
                yield f"{stem}.svg", data
            else:
                yield from cut_files(stem, CutDrawing(*window, read_cut(data).pieces), job).items()

    def _paths(self, items: Sequence[tuple[_Block, Placement, Spot]]) -> Iterator[str]:
        """Give the pieces line by line from the lower end, to and fro."""
        lines = [list(line) for _, line in groupby(sorted(items, key=_by_line), key=lambda item: item[2].top)]
        for index, line in enumerate(lines):
            back = index % 2 == 1
            for block, placement, _ in line[::-1] if back else line:
                forms = self._forms(block)
                runs = _runs(forms, block.of.mask.runs if block.piece is None and block.tile is None else ())
                for run in runs[::-1] if back else runs:
                    yield from (form.at(placement.shift, turned=placement.turned) for form in run)

    def _register(self, stages: Sequence[Sequence[ListedMask]], job: Job) -> tuple[Piece, ...]:
        boxes = [listed.mask.box for stage in stages for listed in stage]
        if not job.sheets.crosses or job.resist.carrier is Carrier.LOOSE or not boxes:
            return ()
        assert job.part is not None
        lefts, tops, rights, bottoms = zip(*boxes, strict=True)
        return register_crosses((0.0, 0.0, *job.part.face_mm), (min(lefts), min(tops), max(rights), max(bottoms)))

    def _copies(self, listed: ListedMask) -> list[tuple[_Block, int]]:
        blocks = list(self._blocks(listed))
        return [(block, copy) for copy in range(1, listed.copies + 1) for block in blocks]

    def _blocks(self, listed: ListedMask) -> Iterator[_Block]:
        if self.job.resist.carrier is Carrier.LOOSE:
            for number, form in enumerate(read_forms(_svg(listed)), start=1):
                yield from self._fitting(_Block(listed, form.box, piece=number))
            return
        boxes = [listed.mask.box, *([bounds(Area(self._crosses))] if self._crosses else [])]
        lefts, tops, rights, bottoms = zip(*boxes, strict=True)
        yield from self._fitting(_Block(listed, (min(lefts), min(tops), max(rights), max(bottoms))))

    def _fitting(self, block: _Block) -> Iterator[_Block]:
        size = (self.room.wide, self.room.long)
        if fits(block.size, room=size):
            yield block
            return
        if not self.job.sheets.tile or min(size) <= 2 * self.job.resist.lap_mm:
            (width, height), (wide, long) = block.size, size
            raise InputError(
                f"mask {block.of.mask.number} of row {block.of.row} is {width:.1f} x {height:.1f} mm, "
                f"the sheet takes {wide:.1f} x {long:.1f} mm",
                where="sheets",
                mend="use a wider film (`sheet_width_mm`) or let the mask be cut in parts that lap (`tile = true`)",
            )
        for number, part in enumerate(self._tiles(block), start=1):
            yield dataclasses.replace(block, box=bounds(part), tile=number)

    def _tiles(self, block: _Block) -> tuple[Area, ...]:
        pieces = read_cut(_svg(block.of)).pieces
        area = Area(pieces if block.piece is None else (pieces[block.piece - 1],))
        size, lap = (self.room.wide, self.room.long), self.job.resist.lap_mm
        return min((tiles(area, width_mm=w, height_mm=h, lap_mm=lap) for w, h in (size, size[::-1])), key=len)

    def _forms(self, block: _Block) -> list[PathForm]:
        if block.tile is not None:
            part = self._tiles(block)[block.tile - 1]
            return [_form(piece) for piece in cutting_order(part.pieces, home=(block.box[0], block.box[3]))]
        forms = read_forms(_svg(block.of))
        if block.piece is not None:
            return [forms[block.piece - 1]]
        return [*forms, *map(_form, self._crosses)]


def _by_line(item: tuple[_Block, Placement, Spot]) -> tuple[float, float]:
    return -item[2].top, item[2].left


def _runs(forms: list[PathForm], counts: Sequence[int]) -> list[list[PathForm]]:
    runs, start = [], 0
    for count in counts:
        runs.append(forms[start : start + count])
        start += count
    return [*runs, *([form] for form in forms[start:])]


def _form(piece: Piece) -> PathForm:
    return PathForm.of((*piece.holes, piece.outer))


def _data(piece: Piece) -> str:
    return path_data((*piece.holes, piece.outer))


def _svg(listed: ListedMask) -> bytes:
    return (listed.folder / listed.mask.file).read_bytes()
