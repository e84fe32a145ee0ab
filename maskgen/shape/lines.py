"""Many small rectangles onto sheets in lines, in the order given: for lists, whose masks are much of a height.

One pass, whatever their number. All as they come, or all with a quarter turn: what takes less film is kept.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from maskgen.shape.packing import Size, Spot


@dataclass(slots=True)
class _Line:
    top: float
    height: float
    used: float = 0.0


@dataclass(slots=True)
class _Filling:
    """The sheet that is being filled."""

    room: Size
    spacing: float
    sheet: int = 0
    lines: list[_Line] = field(default_factory=list)

    @property
    def bottom(self) -> float:
        return max((line.top + line.height for line in self.lines), default=0.0)

    def put(self, size: Size, turned: bool) -> Spot:
        """Find a spot in the first line it fits; the last line may still become higher."""
        width, height = size
        for line in self.lines:
            grown = line is self.lines[-1] and line.top + height <= self.room[1]
            if line.used + width <= self.room[0] and (height <= line.height or grown):
                line.height = max(line.height, height)
                return self._take(line, width, turned)
        top = self.bottom + self.spacing if self.lines else 0.0
        if top + height > self.room[1]:
            self.sheet, self.lines, top = self.sheet + 1, [], 0.0
        self.lines.append(_Line(top, height))
        return self._take(self.lines[-1], width, turned)

    def _take(self, line: _Line, width: float, turned: bool) -> Spot:
        spot = Spot(self.sheet, line.used, line.top, turned)
        line.used += width + self.spacing
        return spot

    def end_stage(self) -> None:
        """Let nothing more into the lines there are."""
        for line in self.lines:
            line.used = self.room[0] + 1.0


def pack_lines(stages: Sequence[Sequence[Size]], *, room: Size, spacing: float) -> list[Spot]:
    """Find a spot for every rectangle, stage by stage; each must fit the room, turned or not."""
    tried = [list(_packed(stages, room, spacing, turn)) for turn in (False, True)]
    sizes = [size for stage in stages for size in stage]

    def film(spots: list[Spot]) -> tuple[float, int]:
        used: dict[int, float] = {}
        for spot, size in zip(spots, sizes, strict=True):
            used[spot.sheet] = max(used.get(spot.sheet, 0.0), spot.top + size[0 if spot.turned else 1])
        return sum(used.values()), sum(spot.turned for spot in spots)

    return min(tried, key=film)


def _packed(stages: Sequence[Sequence[Size]], room: Size, spacing: float, turn: bool) -> Iterator[Spot]:
    filling = _Filling(room, spacing)
    for stage in stages:
        for width, height in stage:
            upright = width <= room[0] and height <= room[1]
            turned = not upright or (turn and height <= room[0] and width <= room[1])
            yield filling.put((height, width) if turned else (width, height), turned)
        filling.end_stage()
