"""Cut drawings to DXF: closed polylines with true arcs on layer CUT, millimetres, y up, nothing below zero.

R2000 by default; R12 for old machines, which has no place to state its unit. Source: the published DXF reference
(LWPOLYLINE group codes, $INSUNITS 4 = millimetres, bulge = tan of a quarter of the angle, positive anticlockwise).
"""

from __future__ import annotations

import io
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeAlias

from ezdxf import options, units  # type: ignore[attr-defined]  # the package offers `options` without saying so
from ezdxf.document import Drawing

from maskgen.formats.numbers import DECIMALS, fixed
from maskgen.model.job import DxfVersion
from maskgen.model.masks import ArcDrawing, ArcPath

LAYER = "CUT"

_BULGE_DECIMALS = 9
"""A bulge acts over the length of its chord: nine decimals hold a tenth of a micrometre on any sheet."""

Corners: TypeAlias = list[tuple[float, float, float]]

_ONE_AT_A_TIME = threading.Lock()
"""The library's switch for fixed dates and identifiers is global."""


def write_cut(drawing: ArcDrawing, *, version: DxfVersion = DxfVersion.R2000) -> bytes:
    """Write the paths in their order; same drawing, same bytes."""
    paths = [corners for path in drawing.paths if _closes(corners := _corners(path, drawing))]
    return _write_r12(paths, drawing) if version is DxfVersion.R12 else _write_r2000(paths, drawing)


def _write_r2000(paths: Sequence[Corners], drawing: ArcDrawing) -> bytes:
    with _fixed_metadata():
        document: Any = Drawing.new("AC1015")
        document.units = units.MM
        document.header["$MEASUREMENT"] = 1
        document.layers.add(LAYER, color=7)
        space = document.modelspace()
        for corners in paths:
            space.add_lwpolyline(corners, format="xyb", close=True, dxfattribs={"layer": LAYER})
        _state_window(document, drawing)
        text = io.StringIO()
        document.write(text)
        return text.getvalue().encode(document.output_encoding)


def _write_r12(paths: Sequence[Corners], drawing: ArcDrawing) -> bytes:
    """Write the tags themselves: few kinds of them, and the library's R12 entities take ten times as long."""
    tags: list[tuple[int, str]] = [
        *((0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1009")),
        *((9, "$EXTMIN"), *_point(0.0, 0.0), (9, "$EXTMAX"), *_point(drawing.width, drawing.height)),
        *((0, "ENDSEC"), (0, "SECTION"), (2, "TABLES")),
        *((0, "TABLE"), (2, "LTYPE"), (70, "1"), (0, "LTYPE"), (2, "CONTINUOUS"), (70, "0"), (3, "Solid line")),
        *((72, "65"), (73, "0"), (40, "0.0"), (0, "ENDTAB")),
        *((0, "TABLE"), (2, "LAYER"), (70, "1"), (0, "LAYER"), (2, LAYER), (70, "0"), (62, "7"), (6, "CONTINUOUS")),
        *((0, "ENDTAB"), (0, "ENDSEC"), (0, "SECTION"), (2, "ENTITIES")),
    ]
    for corners in paths:
        tags += [(0, "POLYLINE"), (8, LAYER), (66, "1"), *_point(0.0, 0.0), (70, "1")]
        for x, y, bulge in corners:
            tags += [(0, "VERTEX"), (8, LAYER), *_point(x, y)]
            if bulge:
                tags.append((42, f"{bulge:.{_BULGE_DECIMALS}f}"))
        tags += [(0, "SEQEND"), (8, LAYER)]
    tags += [(0, "ENDSEC"), (0, "EOF")]
    return "".join(f"{code:3}\n{value}\n" for code, value in tags).encode("ascii")


def _point(x: float, y: float) -> tuple[tuple[int, str], ...]:
    return (10, fixed(x)), (20, fixed(y)), (30, "0")


def _closes(corners: Corners) -> bool:
    """Whether anything is left of a path after rounding."""
    return len(corners) > 2 or (len(corners) == 2 and any(bulge for _, _, bulge in corners))


def _corners(path: ArcPath, drawing: ArcDrawing) -> Corners:
    """Shift and flip, rounded; a corner that falls on the one before gives way to it."""
    bottom = drawing.top + drawing.height
    corners: Corners = []
    for x, y, bulge in path.corners:
        place = (round(x - drawing.left, DECIMALS) + 0.0, round(bottom - y, DECIMALS) + 0.0)
        turned = round(-bulge, _BULGE_DECIMALS) + 0.0
        if corners and corners[-1][:2] == place:
            corners[-1] = (*place, turned)
        else:
            corners.append((*place, turned))
    if len(corners) > 1 and corners[-1][:2] == corners[0][:2]:
        corners.pop()
    return corners


def _state_window(document: Any, drawing: ArcDrawing) -> None:
    """State the sheet, so that a program shows all of it when it opens the file."""
    width, height = round(drawing.width, DECIMALS), round(drawing.height, DECIMALS)
    low, high = (0.0, 0.0, 0.0), (width, height, 0.0)
    document.modelspace().reset_extents(low, high)
    document.modelspace().reset_limits(low[:2], high[:2])
    document.header["$EXTMIN"], document.header["$EXTMAX"] = low, high  # the library leaves these alone at the origin


@contextmanager
def _fixed_metadata() -> Iterator[None]:
    with _ONE_AT_A_TIME:
        before = options.write_fixed_meta_data_for_testing
        options.write_fixed_meta_data_for_testing = True
        try:
            yield
        finally:
            options.write_fixed_meta_data_for_testing = before
