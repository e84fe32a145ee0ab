"""The test piece: bars, lines, slits, small pieces and targets of known size, and which mask each of them is cut in.

With `strips` strips there are as many masks, one before every strip, all over the same dye: what the first mask holds
goes through all strips, what the last one holds through one. Nothing is grown or lapped here: the piece measures what
growth and lap have to be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from maskgen.errors import InputError
from maskgen.model.coupon import BlockPlace, Feature, Kind, TestPiece
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, Cubic, Line, Piece, Point, Ring, Segment, affine, polygon_ring, rectangle

BAR_WIDTHS_MM = (2.5, 1.8)
"""Wide enough that a creep of 0.29 mm leaves colour after three strips, narrow enough for a reticle of a few mm."""
LINE_WIDTHS_MM = (1.0, 0.8, 0.6, 0.5, 0.4, 0.3)
SLIT_WIDTHS_MM = (1.0, 0.8, 0.6, 0.5, 0.4, 0.3, 0.2)
PIECE_AREAS_MM2 = (3.2, 2.2, 1.5, 1.0, 0.6, 0.4)
TARGET_GAP_MM = 1.5
"""From the square of a later mask to the first mask's frame: as far off as a mask may lie and still be read."""
MOST_STRIPS = 5

_EDGE_MM, _APART_MM = 2.0, 2.0
"""Clear along the edge of the plate; between blocks: creep of both sides and a mask laid off its place still fit in."""
_LENGTH_MM, _BETWEEN_MM = 6.0, 1.2


@dataclass(frozen=True, slots=True)
class _Block:
    words: str
    width: float
    height: float
    vinyl: tuple[tuple[int, Piece], ...]  # mask counted from 1
    features: tuple[Feature, ...] = ()


def make_test_piece(width_mm: float, height_mm: float, *, strips: int) -> TestPiece:
    """Lay the test piece out on a plate.

    Raises
    ------
    InputError
        When the plate is too small, or `strips` is out of its range.
    """
    if not 1 <= strips <= MOST_STRIPS:
        raise InputError(f"is {strips}", where="--strips", mend=f"it must be from 1 to {MOST_STRIPS}")
    places = _places(blocks := _blocks(strips), width_mm, height_mm)
    vinyl: list[list[Piece]] = [[] for _ in range(strips)]
    features: list[Feature] = []
    shown: list[BlockPlace] = []
    for block, (left, top) in zip(blocks, places, strict=True):
        move = affine(1.0, (left, top))
        for mask, piece in block.vinyl:
            vinyl[mask - 1].append(piece.mapped(move))
        moved = [_at(f, move(f.at_mm)) for f in block.features]
        features += moved
        letter = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[len(shown)] if moved else ""
        if moved:
            box = (left, top, left + block.width, top + block.height)
            shown.append(BlockPlace(letter, block.words, box, tuple(f.key for f in moved)))
    masks = [Mask(f"M{n}", f"set {n}", (f"r{n}",), Area(tuple(pieces))) for n, pieces in enumerate(vinyl, start=1)]
    return TestPiece(width_mm, height_mm, tuple(masks), tuple(shown), tuple(features))


def known_features() -> dict[str, Feature]:
    """Give everything that may stand in a filled list, whatever the number of strips, by id; places mean nothing."""
    known: dict[str, Feature] = {}
    for strips in range(1, MOST_STRIPS + 1):
        known |= {f.key: f for block in _blocks(strips) for f in block.features}
    return known


def _places(blocks: Sequence[_Block], width: float, height: float) -> list[Point]:
    """Lay blocks in rows, in their order, the rows in the middle of the plate."""
    room = width - 2 * _EDGE_MM
    places: list[Point] = []
    x, y, row_height, widest = 0.0, 0.0, 0.0, 0.0
    for block in blocks:
        if x and x + block.width > room + 1e-9:
            x, y, row_height = 0.0, y + row_height + _APART_MM, 0.0
        places.append((x, y))
        widest = max(widest, x + block.width)
        row_height = max(row_height, block.height)
        x += block.width + _APART_MM
    needed = widest + 2 * _EDGE_MM, y + row_height + 2 * _EDGE_MM
    if needed[0] > width + 1e-9 or needed[1] > height + 1e-9:
        raise InputError(
            f"a plate of {width:g} x {height:g} mm is too small: it takes {needed[0]:.1f} x {needed[1]:.1f} mm",
            where="--part",
            mend="take a larger plate, or fewer --strips",
        )
    # In whole tenths: the steps of a plot file (0.025 mm) then cut every bar as wide as the list says.
    left, top = (math.floor(free / 2 * 10 + 1e-9) / 10 for free in (width - widest, height - (y + row_height)))
    return [(left + px, top + py) for px, py in places]


def _blocks(strips: int) -> list[_Block]:
    upright = [_stack(w, _LENGTH_MM) for w in LINE_WIDTHS_MM]
    targets = [[_targets(strips, number)] if strips > 1 else [] for number in (1, 2)]
    return [
        _corner(),
        *targets[0],
        *(_bars(mask, strips - mask + 1) for mask in range(1, strips + 1)),
        _row("line-h", "level lines", [p.mapped(_swap) for p in map(_turned, upright)],
             Kind.LINE, LINE_WIDTHS_MM, down=True),
        _row("line-v", "upright lines", upright, Kind.LINE, LINE_WIDTHS_MM),
        _row("line-c", "curved lines", [_bow(w) for w in LINE_WIDTHS_MM], Kind.LINE, LINE_WIDTHS_MM, extra=1.5),
        _slits(strips),
        _small_pieces(),
        *targets[1],
    ]  # fmt: skip


def _swap(point: Point) -> Point:
    return point[1], point[0]


def _turned(piece: Piece) -> Piece:
    """Walk a piece the other way round, so that changing x and y over keeps its outline positive."""
    return Piece(piece.outer.reversed())


def _corner() -> _Block:
    """Give the mark of the piece's top left corner."""
    corner = polygon_ring(np.array([(0.0, 0.0), (4.0, 0.0), (0.0, 4.0)]))
    return _Block("top left corner", 4.0, 4.0, ((1, Piece(corner)),))


def _bars(mask: int, strips: int) -> _Block:
    """Give two upright and two level bars, and as many dashes below them as strips they go through."""
    wide, narrow = BAR_WIDTHS_MM
    level = wide + narrow + 2 * _BETWEEN_MM
    places = {
        "upright-wide": (0.0, 0.0, wide, _LENGTH_MM),
        "upright-narrow": (wide + _BETWEEN_MM, 0.0, wide + _BETWEEN_MM + narrow, _LENGTH_MM),
        "level-wide": (level, 0.0, level + _LENGTH_MM, wide),
        "level-narrow": (level, _LENGTH_MM - narrow, level + _LENGTH_MM, _LENGTH_MM),
    }
    count = f"{strips} strip" + ("s" if strips > 1 else "")
    features = tuple(
        Feature(
            f"creep-{strips}-{name}",
            Kind.CREEP,
            f"creep-{strips}",
            f"{'wider' if name.endswith('wide') else 'narrower'} {name.split('-')[0]} bar above {strips} "
            f"dash{'es' if strips > 1 else ''} ({count}): width of the colour, in its middle",
            wide if name.endswith("wide") else narrow,
            "mm",
            ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2),
            strips,
        )
        for name, box in places.items()
    )
    dashes = [rectangle(2.4 * k, 7.5, 2.4 * k + 1.4, 9.0) for k in range(strips)]
    vinyl = [(mask, rectangle(*box)) for box in places.values()] + [(mask, dash) for dash in dashes]
    return _Block(f"bars for creep, {count}", level + _LENGTH_MM, 9.0, tuple(vinyl), features)


def _targets(strips: int, number: int) -> _Block:
    """Give frames of the first mask with a square of each later mask in the middle of its own window."""
    wall, square = 1.0, 2.0
    window = square + 2 * TARGET_GAP_MM
    pitch = window + wall
    later = range(2, strips + 1)
    high, wide = window + 2 * wall, pitch * len(later) + wall
    holes = tuple(
        rectangle(wall + pitch * k, wall, wall + pitch * k + window, wall + window).outer.reversed()
        for k in range(len(later))
    )
    vinyl = [(1, Piece(rectangle(0.0, 0.0, wide, high).outer, holes))]
    features = []
    for k, mask in enumerate(later):
        x, y, middle = wall + pitch * k, wall, window / 2
        vinyl.append(
            (
                mask,
                rectangle(x + TARGET_GAP_MM, y + TARGET_GAP_MM, x + TARGET_GAP_MM + square, y + TARGET_GAP_MM + square),
            )
        )
        gap = TARGET_GAP_MM / 2
        sides = {"left": (x + gap, y + middle), "right": (x + window - gap, y + middle),
                 "top": (x + middle, y + gap), "bottom": (x + middle, y + window - gap)}  # fmt: skip
        features += [
            Feature(
                f"place-{number}-m{mask}-{side}",
                Kind.PLACE,
                f"place-{number}-m{mask}",
                f"target {number}, square of M{mask}: bare gap at its {side}",
                TARGET_GAP_MM,
                "mm",
                at,
            )
            for side, at in sides.items()
        ]
    return _Block(f"placing, target {number}", wide, high, tuple(vinyl), tuple(features))


def _stack(width: float, length: float) -> Piece:
    return rectangle(0.0, 0.0, width, length)


def _row(
    family: str,
    words: str,
    shapes: Sequence[Piece],
    kind: Kind,
    widths: Sequence[float],
    *,
    down: bool = False,
    extra: float = 0.0,
) -> _Block:
    """Lay lines side by side from the widest to the narrowest."""
    vinyl, features, along = [], [], 0.0
    for width, shape in zip(widths, shapes, strict=True):
        vinyl.append((1, shape.mapped(affine(1.0, (0.0, along) if down else (along, 0.0)))))
        middle = along + width / 2, _LENGTH_MM / 2
        features.append(
            Feature(
                f"{family}-{width:.1f}",
                kind,
                family,
                f"{words}: film line of {width:g} mm whole, flat and in its place before peeling?",
                width,
                "yes/no",
                _swap(middle) if down else middle,
            )
        )
        along += width + _BETWEEN_MM
    length = along - _BETWEEN_MM + extra
    size = (_LENGTH_MM, length) if down else (length, _LENGTH_MM)
    return _Block(words, *size, tuple(vinyl), tuple(features))


def _bow(width: float, radius: float = 4.0) -> Piece:
    """Give a bow 6 mm high of one width all along: two arcs round one centre, ends square to them."""
    half = math.asin(_LENGTH_MM / 2 / radius)
    centre = (radius + width / 2, _LENGTH_MM / 2)  # the bow begins left at 0

    outside = list(_arc(centre, radius + width / 2, math.pi - half, math.pi + half))
    inside = list(_arc(centre, radius - width / 2, math.pi + half, math.pi - half))
    segments: tuple[Segment, ...] = (
        *outside,
        Line(outside[-1].end, inside[0].start),
        *inside,
        Line(inside[-1].end, outside[0].start),
    )
    return Piece(Ring(segments))


def _arc(centre: Point, radius: float, start: float, end: float) -> Iterator[Cubic]:
    """Give an arc as cubics of up to an eighth of a circle (within 5e-6 of the radius)."""
    count = max(1, math.ceil(abs(end - start) / (math.pi / 4) - 1e-9))
    step = (end - start) / count
    handle = 4 / 3 * math.tan(step / 4) * radius
    for k in range(count):
        a, b = start + k * step, start + (k + 1) * step
        on: Callable[[float], Point] = lambda t: (centre[0] + radius * math.cos(t), centre[1] + radius * math.sin(t))  # noqa: E731
        p, q = on(a), on(b)
        yield Cubic(
            p,
            (p[0] - handle * math.sin(a), p[1] + handle * math.cos(a)),
            (q[0] + handle * math.sin(b), q[1] - handle * math.cos(b)),
            q,
        )


def _slits(strips: int) -> _Block:
    """Give a sheet of the last mask with slits from the widest to the narrowest: one strip has to get into them."""
    wall, high, slit = 1.4, _LENGTH_MM + 1.0, 4.5
    along, holes, features = wall, [], []
    for width in SLIT_WIDTHS_MM:
        top = (high - slit) / 2
        holes.append(rectangle(along, top, along + width, top + slit).outer.reversed())
        features.append(
            Feature(
                f"slit-{width:.1f}",
                Kind.SLIT,
                "slit",
                f"slit of {width:g} mm: weeded, and bare along its whole length after the bleach?",
                width,
                "yes/no",
                (along + width / 2, high / 2),
            )
        )
        along += width + wall
    sheet = Piece(rectangle(0.0, 0.0, along, high).outer, tuple(holes))
    return _Block("slits", along, high, ((strips, sheet),), tuple(features))


def _small_pieces() -> _Block:
    vinyl, features, along = [], [], 0.0
    largest = math.sqrt(PIECE_AREAS_MM2[0])
    for area in PIECE_AREAS_MM2:
        side, radius = math.sqrt(area), math.sqrt(area / math.pi)
        across = 2 * radius
        middle = along + across / 2
        square = rectangle(middle - side / 2, 0.0, middle + side / 2, side)
        dot = Piece(Ring(tuple(_arc((middle, largest + 1.7 + radius), radius, 0.0, 2 * math.pi))))
        vinyl += [(1, square), (1, dot)]
        for name, y in (("square", side / 2), ("dot", largest + 1.7 + radius)):
            features.append(
                Feature(
                    f"piece-{name}-{area:.1f}",
                    Kind.PIECE,
                    f"piece-{name}",
                    f"{name} of {area:g} mm2: came over with the tape, in its place before peeling?",
                    area,
                    "yes/no",
                    (middle, y),
                )
            )
        along += across + _BETWEEN_MM
    height = largest + 1.7 + 2 * math.sqrt(PIECE_AREAS_MM2[0] / math.pi)
    return _Block("small pieces", _tenths(along - _BETWEEN_MM), _tenths(height), tuple(vinyl), tuple(features))


def _at(feature: Feature, at: Point) -> Feature:
    return replace(feature, at_mm=at)


def _tenths(length: float) -> float:
    return math.ceil(length * 10 - 1e-9) / 10
