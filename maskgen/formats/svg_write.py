"""Drawings to SVG: millimetres, y down, one user unit is one millimetre, no transforms.

Every position is absolute and rounded once, so that a boundary shared by two regions is the same text in both.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from xml.sax.saxutils import quoteattr

from maskgen.formats.numbers import fixed, fixed_point
from maskgen.model.artwork import CLEAR
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Line, Partition, Point, Ring

_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters no XML 1.0 document may hold, not even escaped (production 2, `Char`)."""


def write_cut(drawing: CutDrawing) -> bytes:
    """Write what is to be cut and nothing else: one closed path per piece, its holes before its outline.

    The paths keep the default fill, black: a viewer shows vinyl as black, a cutter finds nothing but outlines.
    """
    window = (drawing.left, drawing.top, drawing.width, drawing.height)
    return cut_document(window, (path_data((*piece.holes, piece.outer)) for piece in drawing.pieces))


def cut_document(window: tuple[float, float, float, float], paths: Iterable[str]) -> bytes:
    """Give a cut drawing whose path data are written already; `window` is left, top, width, height."""
    return _document(_head(*window, unit="mm"), (f'<path fill-rule="evenodd" d="{d}"/>' for d in paths if d))


def write_regions(partition: Partition, *, unit: str = "mm") -> bytes:
    """Write flat colours, one path per region, in the order of the partition.

    A clear region keeps its path but paints nothing. With `unit=""` the drawing has no physical size: one pixel of the
    artwork is one user unit.
    """
    paths = ((region.name, region.colour, path_data(region.area.rings)) for region in partition.regions)
    return regions_document((partition.width, partition.height), paths, unit=unit)


def regions_document(size: Point, paths: Iterable[tuple[str, str, str]], *, unit: str = "mm") -> bytes:
    """Give a drawing of flat colours whose path data are written already: name, colour, data of every region."""
    head = _head(0.0, 0.0, *size, unit=unit)
    return _document(
        head,
        (
            f'<path fill-rule="evenodd" fill="{"none" if colour == CLEAR else colour}" '
            f'data-name={_attribute(name)} d="{data}"/>'
            for name, colour, data in paths
        ),
    )


def path_data(rings: Iterable[Ring]) -> str:
    """Give the `d` of closed rings; runs that vanish in rounding are left out, and so are rings that do."""
    return "".join(_ring_data(ring) for ring in rings)


def _ring_data(ring: Ring) -> str:
    if not ring.segments:
        return ""
    first = here = fixed_point(ring.segments[0].start)
    runs = []
    for segment in ring.segments:
        end = fixed_point(segment.end)
        if isinstance(segment, Line):
            if end != here:
                runs.append(f"L{end}")
        else:
            control1, control2 = fixed_point(segment.control1), fixed_point(segment.control2)
            if not end == here == control1 == control2:
                runs.append(f"C{control1} {control2} {end}")
        here = end
    if runs and runs[-1] == f"L{first}":
        runs.pop()  # Z draws it
    return f"M{first}{''.join(runs)}Z" if runs else ""


def _attribute(text: str) -> str:
    return quoteattr(_NOT_XML.sub("\ufffd", text))


def _head(left: float, top: float, width: float, height: float, *, unit: str) -> str:
    window = " ".join(fixed(v) for v in (left, top, width, height))
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" '
        f'width="{fixed(width)}{unit}" height="{fixed(height)}{unit}" viewBox="{window}">'
    )


def _document(head: str, paths: Iterable[str]) -> bytes:
    return "\n".join(['<?xml version="1.0" encoding="UTF-8"?>', head, *paths, "</svg>", ""]).encode()
