"""Rectangles onto sheets of one width, in stages whose order is kept, so that least length of film is used.

A general library packs them in the order given (online, next sheet when one is full); tried are four of its ways,
with its own quarter turns and with ours stage by stage, and the shortest result is kept. Same input, same result.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from rectpack import GuillotineBssfSas, MaxRectsBl, PackingBin, PackingMode, SkylineBl, SkylineBlWm, newPacker

GRID_PER_MM = 1000
"""The library counts in whole numbers: micrometres, rectangles rounded up."""

MANY = 150
"""With more rectangles than this only the quicker ways are tried."""

FEW_STAGES = 4
"""Up to this many stages every combination of lying and standing is tried."""

ORDERS_AT_LEAST = 4
RECTANGLES_AT_MOST = 3000
"""How many orders are tried: with many rectangles fewer, so that the time stays about a second."""

Size: TypeAlias = tuple[float, float]
Units: TypeAlias = tuple[int, int]


@dataclass(frozen=True, slots=True)
class Spot:
    """Where on which sheet (from 0) a rectangle lies: its corner in mm, and whether it got a quarter turn."""

    sheet: int
    left: float
    top: float
    turned: bool


@dataclass(frozen=True, slots=True)
class _Item:
    index: int
    size: Units
    turned: bool


def fits(size: Size, *, room: Size) -> bool:
    """Whether a rectangle fits the room, turned or not."""
    (width, height), (wide, long) = map(_up, size), map(_down, room)
    return (width <= wide and height <= long) or (height <= wide and width <= long)


def pack(stages: Sequence[Sequence[Size]], *, room: Size, spacing: float) -> list[Spot]:
    """Find a spot for every rectangle, in the order of the stages; each must fit the room, turned or not."""
    gap = _up(spacing)
    grid = [[(_up(w) + gap, _up(h) + gap) for w, h in stage] for stage in stages]
    sheet = (_down(room[0]) + gap, _down(room[1]) + gap)
    count = sum(map(len, grid))
    orders = itertools.islice(_orders(grid, sheet), max(ORDERS_AT_LEAST, RECTANGLES_AT_MOST // count))
    results = [found for order in orders for found in _trials(order, sheet)]
    best = min(results, key=lambda found: found[0])
    return [spot for _, spot in sorted(best[1].items())]


def _up(millimetres: float) -> int:
    return math.ceil(millimetres * GRID_PER_MM - 1e-6)


def _down(millimetres: float) -> int:
    return math.floor(millimetres * GRID_PER_MM + 1e-6)


def _orders(stages: list[list[Units]], sheet: Units) -> Iterator[tuple[_Item, ...]]:
    """Give every order and turning worth a try, each once."""
    index = itertools.count()
    plain = [[_Item(next(index), size, False) for size in stage] for stage in stages]
    ways: list[tuple[bool | None, ...]] = [(lie,) * len(stages) for lie in (None, True, False)]
    if len(stages) <= FEW_STAGES:
        ways += itertools.product((True, False), repeat=len(stages))
    seen = set()
    for way in ways:
        turned = [[_turned(item, lie, sheet) for item in stage] for stage, lie in zip(plain, way, strict=True)]
        for by_height in (False, True):
            arranged = [sorted(stage, key=lambda item: -item.size[1]) if by_height else stage for stage in turned]
            order = tuple(item for stage in arranged for item in stage)
            if order not in seen:
                seen.add(order)
                yield order


def _turned(item: _Item, lie: bool | None, sheet: Units) -> _Item:
    """Turn an item so that it lies or stands as wanted (None: as it comes), unless it only fits the other way."""
    width, height = item.size
    turn = lie is not None and width != height and (width > height) != lie
    if (height > sheet[0] or width > sheet[1]) if turn else (width > sheet[0] or height > sheet[1]):
        turn = not turn
    return _Item(item.index, (height, width), True) if turn else item


def _trials(order: tuple[_Item, ...], sheet: Units) -> Iterator[tuple[tuple[int, int, int], dict[int, Spot]]]:
    """Pack one order in several ways; each result with its score: sheets, length of film, quarter turns."""
    ways = (SkylineBl, SkylineBlWm, GuillotineBssfSas, MaxRectsBl)[: None if len(order) <= MANY else -1]
    items = {item.index: item for item in order}
    for way, free in itertools.product(ways, (False, True)):
        packer: Any = newPacker(mode=PackingMode.Online, bin_algo=PackingBin.BNF, pack_algo=way, rotation=free)
        packer.add_bin(*sheet, count=math.inf)
        for item in order:
            packer.add_rect(*item.size, item.index)
        sheets = [list(packed) for packed in packer]
        spots = {
            r.rid: Spot(
                number,
                r.x / GRID_PER_MM,
                r.y / GRID_PER_MM,
                items[r.rid].turned != ((r.width, r.height) != items[r.rid].size),
            )
            for number, packed in enumerate(sheets)
            for r in packed
        }
        if len(spots) == len(order):
            length = sum(max(r.y + r.height for r in packed) for packed in sheets)
            yield (len(sheets), length, sum(spot.turned for spot in spots.values())), spots
