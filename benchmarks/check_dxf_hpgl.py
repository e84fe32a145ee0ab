"""DXF of several ages and HPGL of several machines: the same shapes, y up.

DXF is written with ezdxf, HPGL by hand. Extra lines are tuples of a kind and its values, in millimetres, y down.
"""

from __future__ import annotations

import io
import math
import random
from collections.abc import Callable, Sequence
from typing import Any

import ezdxf
from ezdxf.math import Bezier4P, Vec3, bezier_to_bspline

from benchmarks.check_shapes import Point, Run, Shape, centre_of, end_of
from benchmarks.check_svg import HIGH

INCH = 25.4
CHORD = 0.001
"""Curves are cut into chords of this error where a dialect knows none."""
Extra = tuple[Any, ...]
Writer = Callable[[Sequence[Shape], Sequence[Extra]], bytes]


def _finish(document: Any) -> bytes:
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode()


def _extras(space: Any, extras: Sequence[Extra], at: Callable[[float, float], Point], unit: float) -> None:
    for kind, x, y, *more in extras:
        place = at(x, y)
        if kind == "text":
            space.add_text(more[0], height=5 / unit).set_placement(place)
        elif kind == "mtext":
            space.add_mtext(more[0], dxfattribs={"char_height": 5 / unit, "insert": place})
        elif kind == "point":
            space.add_point(place)
        elif kind == "nothing":
            space.add_line(place, place)
        elif kind == "image":
            definition = space.doc.add_image_def("a.png", size_in_pixel=(10, 10))
            space.add_image(definition, insert=place, size_in_units=(5 / unit, 5 / unit))
        elif kind == "hatch":
            corners = [at(x, y), at(x + 6, y), at(x + 6, y + 6)]
            space.add_hatch().paths.add_polyline_path(corners, is_closed=True)
        elif kind == "face":
            space.add_3dface([(*place, 0), (*at(x + 6, y), 0), (*at(x + 6, y + 6), 0)])
        else:
            raise ValueError(kind)


def _polyline_rows(run: Run, chord: float = CHORD) -> list[tuple[float, float, float]]:
    """Give corners with bulges; cubics become chords."""
    rows: list[tuple[float, float, float]] = []
    for here, (kind, v) in run.ends():
        if kind == "A":
            rows.append((*here, v[0]))
        elif kind == "L":
            rows.append((*here, 0.0))
        else:
            piece = Run(here, ((kind, v),), closed=False).points(chord)
            rows.extend((x, y, 0.0) for x, y in piece[:-1])
    if not run.closed:
        rows.append((*end_of(run.steps[-1]), 0.0))
    return rows


def r12(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """R12: POLYLINE with bulges, CIRCLE, no unit anywhere, y from the page's bottom."""
    document = ezdxf.new("R12")
    space = document.modelspace()
    frame = (1, 0, 0, -1, 0, HIGH)
    for shape in shapes:
        for run in shape.runs:
            run = run.mapped(frame)
            if run.circle is not None and not shape.width:
                space.add_circle(run.circle[:2], run.circle[2])
                continue
            polyline = space.add_polyline2d(_polyline_rows(run), format="xyb", close=run.closed)
            if shape.width:
                polyline.dxf.default_start_width = polyline.dxf.default_end_width = shape.width
    _extras(space, extras, lambda x, y: (x, HIGH - y), 1.0)
    return _finish(document)


def r2000(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """R2000: LWPOLYLINE with bulges, millimetres, below zero, heavy line weights; some closed by their last corner."""
    document = ezdxf.new("R2000")
    document.header["$INSUNITS"] = 4
    document.layers.add("cut", lineweight=50)
    space = document.modelspace()
    for shape in shapes:
        for run in shape.runs:
            rows = _polyline_rows(run.mapped((1, 0, 0, -1, 0, 0)))
            attributes = {"layer": "cut", "lineweight": 100, "const_width": shape.width}
            said = run.closed and len(rows) % 2 == 0
            if run.closed and not said:
                rows.append((rows[0][0], rows[0][1], 0.0))
            space.add_lwpolyline(rows, format="xyb", close=said, dxfattribs=attributes)
    _extras(space, extras, lambda x, y: (x, -y), 1.0)
    return _finish(document)


def r2010(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """R2010 in inches: LINE, ARC and SPLINE chains in any order and direction, CIRCLE; a hidden layer, a layout."""
    document = ezdxf.new("R2010")
    document.header["$INSUNITS"] = 1
    space = document.modelspace()
    chance = random.Random(1)
    jobs: list[Callable[[], Any]] = []
    for shape in shapes:
        for run in shape.runs:
            run = run.mapped((1 / INCH, 0, 0, -1 / INCH, 0, 0))
            if shape.width:
                rows, attributes = _polyline_rows(run), {"const_width": shape.width / INCH}
                space.add_lwpolyline(rows, format="xyb", close=run.closed, dxfattribs=attributes)
            elif run.circle is not None:
                space.add_circle(run.circle[:2], run.circle[2])
            else:
                for here, (kind, v) in run.ends():
                    jobs.append(lambda h=here, k=kind, w=v: _entity(space, h, k, w, chance))
    chance.shuffle(jobs)
    for job in jobs:
        job()
    document.layers.add("notes").off()
    space.add_line((0, 0), (3, 1), dxfattribs={"layer": "notes"})
    space.add_text("notes", dxfattribs={"layer": "notes"})
    document.layout("Layout1").add_text("title block")
    _extras(space, extras, lambda x, y: (x / INCH, -y / INCH), INCH)
    return _finish(document)


def _entity(space: Any, here: Point, kind: str, v: tuple[float, ...], chance: random.Random) -> None:
    if kind == "L":
        ends = [here, v]
        chance.shuffle(ends)
        space.add_line(*ends)
    elif kind == "A":
        centre, radius, turn = centre_of(here, v[0], (v[1], v[2]))
        angles = [math.degrees(math.atan2(y - centre[1], x - centre[0])) for x, y in (here, v[1:])]
        space.add_arc(centre, radius, *(angles if turn > 0 else angles[::-1]))
    else:
        curve = Bezier4P([Vec3(here), Vec3(v[0:2]), Vec3(v[2:4]), Vec3(v[4:6])])
        space.add_spline().apply_construction_tool(bezier_to_bspline([curve]))


def r2018(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """R2018: every shape in a block, inserted scaled, turned, mirrored, blocks in blocks, arrays; splines."""
    document = ezdxf.new("R2018")
    document.header["$INSUNITS"] = 4
    space = document.modelspace()
    for n, shape in enumerate(shapes):
        block = document.blocks.new(f"B{n}")
        kind = n % 4
        back = {0: (1, 0, 0, 1, 0, 0), 1: (0, -2, 2, 0, 0, 0), 2: (-0.5, 0, 0, 0.5, 0, 0), 3: (1, 0, 0, 1, -7, 3)}[kind]
        for run in shape.runs:
            run = run.mapped((1, 0, 0, -1, 0, 0)).mapped(back)
            if all(step[0] == "C" for step in run.steps) and not shape.width:
                curves = [Bezier4P([Vec3(h), Vec3(v[0:2]), Vec3(v[2:4]), Vec3(v[4:6])]) for h, (_, v) in run.ends()]
                block.add_spline().apply_construction_tool(bezier_to_bspline(curves))
            else:
                width = shape.width * math.hypot(back[0], back[1])
                attributes = {"const_width": width} if width else {}
                block.add_lwpolyline(_polyline_rows(run), format="xyb", close=run.closed, dxfattribs=attributes)
        attributes = {
            0: {},
            1: {"xscale": 0.5, "yscale": 0.5, "zscale": 0.5, "rotation": 90.0},
            2: {"xscale": -2.0, "yscale": 2.0, "zscale": 2.0},
            3: {},
        }[kind]
        if kind == 3:
            outer = document.blocks.new(f"O{n}")
            outer.add_blockref(f"B{n}", (2.0, 4.0))
            space.add_blockref(f"O{n}", (5.0, -7.0))
        else:
            space.add_blockref(f"B{n}", (0.0, 0.0), dxfattribs=attributes)
    row = document.blocks.new("ROW")
    row.add_circle((0, 0), 3.0)
    row.add_ellipse((0, 12), major_axis=(4.0, 1.0), ratio=0.6)
    counts = {"column_count": 3, "row_count": 2, "column_spacing": 12.0, "row_spacing": 25.0}
    space.add_blockref("ROW", (8.0, 10.0), dxfattribs=counts)
    _extras(space, extras, lambda x, y: (x, -y), 1.0)
    return _finish(document)


def _hpgl_extra(kind: str, x: float, y: float, *more: str) -> str:
    place = f"PU{x * 40:.0f},{(HIGH - y) * 40:.0f};"
    if kind == "text":
        return f"{place}LB{more[0]}\x03;"
    if kind in ("point", "nothing"):
        return f"{place}PD;PU;"
    if kind == "odd":
        return f"{place}ZQ1,2;"
    raise ValueError(kind)


def _hpgl(words: list[str], extras: Sequence[Extra]) -> bytes:
    return ("".join(words) + "".join(_hpgl_extra(*extra) for extra in extras)).encode("latin-1")


def _steps(run: Run, places: int) -> list[Point]:
    rows = Run(run.start, run.steps, run.closed).points(CHORD)
    return [(round(x * 40, places) + 0.0, round((HIGH - y) * 40, places) + 0.0) for x, y in rows]


def absolute(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """Absolute moves in whole steps, chords for curves."""
    words = ["IN;SP1;"]
    for shape in shapes:
        for run in shape.runs:
            first, *rest = _steps(run, 0)
            words.append(f"PU{first[0]:.0f},{first[1]:.0f};PD" + ",".join(f"{x:.0f},{y:.0f}" for x, y in rest) + ";\n")
    return _hpgl([*words, "PU0,0;SP0;"], extras)


def relative(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """Relative moves, small letters, no terminators, fractions of a step."""
    words = ["in sp1 pa "]
    for shape in shapes:
        for run in shape.runs:
            first, *rest = _steps(run, 2)
            words.append(f"pu{first[0]:.2f} {first[1]:.2f}pdpr")
            here = first
            for x, y in rest:
                words.append(f" {x - here[0]:.2f} {y - here[1]:.2f}")
                here = (x, y)
            words.append("pupa")
    return _hpgl([*words, "\n"], extras)


def arcs(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """True arcs (AA and AR in turn) and circles (CI), one instruction a move."""
    words, count = ["\x1b.(;IN;\nSP2;VS10;\n"], 0
    for shape in shapes:
        for run in shape.runs:
            if run.circle is not None:
                x, y, r = run.circle
                words.append(f"PU{x * 40:.2f},{(HIGH - y) * 40:.2f};CI{r * 40:.2f};")
                continue
            words.append(f"PU;PA{run.start[0] * 40:.2f},{(HIGH - run.start[1]) * 40:.2f};PD;")
            for here, (kind, v) in run.ends():
                if kind == "A":
                    (cx, cy), _, turn = centre_of(here, v[0], (v[1], v[2]))
                    degrees = -math.degrees(turn)
                    count += 1
                    if count % 2:
                        words.append(f"AA{cx * 40:.3f},{(HIGH - cy) * 40:.3f},{degrees:.4f};")
                    else:
                        words.append(f"AR{(cx - here[0]) * 40:.3f},{(here[1] - cy) * 40:.3f},{degrees:.4f},5;")
                else:
                    for x, y in Run(here, ((kind, v),), closed=False).points(CHORD)[1:]:
                        words.append(f"PA{x * 40:.2f},{(HIGH - y) * 40:.2f};")
    return _hpgl([*words, "PU;\n"], extras)


def scaled(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """User units of a tenth of a millimetre by IP and SC; no last terminator."""
    words = ["IN;IP0,0,4000,4000;SC0,1000,0,1000;SP1"]
    for shape in shapes:
        for run in shape.runs:
            first, *rest = run.points(CHORD)
            words.append(f";PU{first[0] * 10:.3f},{(HIGH - first[1]) * 10:.3f}")
            words.append(";PD" + ",".join(f"{x * 10:.3f},{(HIGH - y) * 10:.3f}" for x, y in rest))
    return _hpgl([*words, ";PU;SC;" if extras else ";PU"], extras)


def turned(shapes: Sequence[Shape], extras: Sequence[Extra]) -> bytes:
    """The page turned by RO 90: what lies at (x, y) is written as (y, -x)."""
    words = ["IN;RO90;SP1;"]
    for shape in shapes:
        for run in shape.runs:
            first, *rest = [(y, -x) for x, y in _steps(run, 2)]
            words.append(f"PU{first[0]:.2f},{first[1]:.2f};PD" + ",".join(f"{x:.2f},{y:.2f}" for x, y in rest) + ";")
    return _hpgl([*words, "PU;RO0;" if extras else "PU;"], extras)


DXF: dict[str, tuple[Writer, float]] = {
    "R12 polylines": (r12, -HIGH),
    "R2000 lwpolylines": (r2000, 0.0),
    "R2010 in, chains": (r2010, 0.0),
    "R2018 blocks": (r2018, 0.0),
}
HPGL: dict[str, tuple[Writer, float]] = {
    "absolute": (absolute, -HIGH),
    "relative": (relative, -HIGH),
    "arcs": (arcs, -HIGH),
    "scaled": (scaled, -HIGH),
    "turned": (turned, -HIGH),
}
"""Writers, and what is added to y where places are told."""
