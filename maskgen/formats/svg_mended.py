"""A mended cut file as SVG: the pieces as in every cut file, then what could not become a piece.

Frames and lines that stay open are hairlines; letters whose font is unknown stay letters, so that the next check still
finds them and nobody cuts without them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from xml.sax.saxutils import escape

import numpy as np

from maskgen.formats.numbers import fixed, fixed_point
from maskgen.formats.svg_write import write_cut
from maskgen.model.drawing import SubPath
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Line, Point

HAIRLINE_MM = 0.05


def write_mended(
    drawing: CutDrawing, *, bare: Iterable[Sequence[SubPath]] = (), letters: Iterable[tuple[str, Point | None]] = ()
) -> bytes:
    """Write pieces, bare lines (each a chain of runs) and letters with the place they begin at."""
    more = [
        f'<path fill="none" stroke="#000000" stroke-width="{fixed(HAIRLINE_MM)}" d="{_line_data(runs)}"/>'
        for runs in bare
    ]
    for words, at in letters:
        x, y = at or (drawing.left, drawing.top)
        more.append(f'<text x="{fixed(x)}" y="{fixed(y)}" font-size="4">{escape(_printable(words))}</text>')
    text = write_cut(drawing).decode()
    return text.replace("</svg>", "\n".join([*more, "</svg>"])).encode()


def _line_data(runs: Sequence[SubPath]) -> str:
    words: list[str] = []
    first: Point | None = None
    here: Point | None = None
    for segment in (s for run in runs for s in run.segments()):
        if here is None:
            first = segment.start
            words.append(f"M{fixed_point(segment.start)}")
        elif np.hypot(here[0] - segment.start[0], here[1] - segment.start[1]) > 0:
            words.append(f"L{fixed_point(segment.start)}")
        if isinstance(segment, Line):
            words.append(f"L{fixed_point(segment.end)}")
        else:
            c1, c2, end = (fixed_point(p) for p in (segment.control1, segment.control2, segment.end))
            words.append(f"C{c1} {c2} {end}")
        here = segment.end
    if first is not None and here is not None and fixed_point(first) == fixed_point(here):
        words.append("Z")
    return "".join(words)


def _printable(words: str) -> str:
    return "".join(c if c.isprintable() and ord(c) < 0xFFFE else " " for c in words)
