"""Cut drawings this project wrote, read back: closed absolute paths of lines and cubics, holes before their outline."""

from __future__ import annotations

import re

from maskgen.model.paths import Area, Cubic, Line, Piece, Point, Ring, Segment

_PATH = re.compile(rb' d="([^"]*)"')
_RUN = re.compile(r"([MLC])([^MLC]*)")


def read_cut(data: bytes) -> Area:
    """Give the pieces of a file that `svg_write.write_cut` made, in its order."""
    return Area(tuple(_piece(match.decode()) for match in _PATH.findall(data)))


def _piece(path: str) -> Piece:
    *holes, outer = [_ring(part) for part in path.split("Z") if part]
    return Piece(outer, tuple(holes))


def _ring(part: str) -> Ring:
    segments: list[Segment] = []
    start = here = (0.0, 0.0)
    for match in _RUN.finditer(part):
        numbers = [float(number) for number in match[2].split()]
        points: list[Point] = list(zip(numbers[::2], numbers[1::2], strict=True))
        if match[1] == "M":
            start = here = points[0]
        elif match[1] == "L":
            segments.append(Line(here, points[0]))
        else:
            segments.append(Cubic(here, *points))
        here = points[-1]
    if here != start:
        segments.append(Line(here, start))
    return Ring(tuple(segments))
