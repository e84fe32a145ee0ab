"""DXF to a drawing: what stands in model space on visible layers, in drawing units, y down.

R12 to 2018, text or binary, damaged files as far as they can be recovered. Lines, arcs, circles, ellipses, splines and
polylines become paths, blocks are taken apart where they are inserted; everything else that would be seen is named.
Source: the published DXF reference (group codes; $INSUNITS; bulge = tan of a quarter of the angle; extrusion).
"""

from __future__ import annotations

import io
import logging
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from maskgen.errors import InputError
from maskgen.formats.drawing.limits import (
    MAX_COORDINATE,
    MAX_ELEMENTS,
    MAX_NODES,
    MAX_REFERENCES,
    check_size,
    too_much,
)
from maskgen.formats.drawing.path_data import ARC_STEP, Pen
from maskgen.model.drawing import (
    Drawing,
    DrawnPath,
    Feature,
    FeatureKind,
    Source,
    Stroke,
    SubPath,
)
from maskgen.model.paths import Point
from maskgen.units import MM_PER_INCH

MM_PER_UNIT = {
    1: (MM_PER_INCH, "in"),
    2: (12 * MM_PER_INCH, "ft"),
    4: (1.0, "mm"),
    5: (10.0, "cm"),
    6: (1000.0, "m"),
    8: (MM_PER_INCH * 1e-6, "uin"),
    9: (MM_PER_INCH * 1e-3, "mil"),
    10: (36 * MM_PER_INCH, "yd"),
    13: (1e-3, "um"),
    14: (100.0, "dm"),
}
"""$INSUNITS as far as anybody cuts in it (DXF reference)."""

_TEXTS = frozenset(("TEXT", "MTEXT", "ATTRIB", "ATTDEF", "ARCALIGNEDTEXT", "RTEXT"))
_PICTURES = frozenset(("IMAGE", "OLE2FRAME", "PDFUNDERLAY", "DWFUNDERLAY", "DGNUNDERLAY"))
_UNSEEN = frozenset(("VIEWPORT", "SEQEND", "VERTEX", "DICTIONARY", "LIGHT", "SUN"))
_DECIMALS = 1e-9
_LOGGER = logging.getLogger("ezdxf")
_LOGGER.addHandler(logging.NullHandler())

Vector = tuple[float, float, float]


def read_dxf(data: bytes, *, name: str) -> Drawing:
    """Read a DXF.

    Raises
    ------
    InputError
        When it is no DXF, too damaged to recover, or over a cap.
    """
    repairs = _Repairs()
    document = _load(check_size(data, name=name), name, repairs)
    scale, units = MM_PER_UNIT.get(_stated_units(document), (1.0, "none"))
    reader = _Reader(document, name)
    try:
        _refuse_bombs(document, name)
        reader.read(document.modelspace(), depth=0)
    except RecursionError as error:
        raise too_much("blocks are nested too deeply", MAX_REFERENCES, name=name) from error
    features = (*repairs.features(), *reader.features)
    return Drawing(Source.DXF, tuple(reader.paths), features, None, (scale, scale), units)


def _load(data: bytes, name: str, repairs: _Repairs) -> Any:
    from ezdxf import recover
    from ezdxf.lldxf.const import DXFError

    if not (data.startswith(b"AutoCAD Binary DXF") or b"SECTION" in data):
        raise InputError("is no DXF drawing", where=name, mend="export it as DXF")
    _LOGGER.addHandler(repairs)
    try:
        document, audit = recover.read(io.BytesIO(data))
        repairs.said += [fix.message for fix in audit.fixes if fix.message.startswith("Deleted entity")]
    except (DXFError, OSError) as error:
        raise InputError(f"cannot be read as DXF: {error}", where=name, mend="export it again") from error
    except Exception as error:  # the recovery of a mutilated file may trip over anything in it
        raise InputError(f"too damaged to read ({type(error).__name__})", where=name, mend="export it again") from error
    finally:
        _LOGGER.removeHandler(repairs)
    return document


def _stated_units(document: Any) -> int:
    try:
        return int(document.header.get("$INSUNITS", 0))
    except (TypeError, ValueError):
        return 0


def _refuse_bombs(document: Any, name: str) -> None:
    """Count what blocks make of a drawing before any of them is taken apart."""
    counted: dict[str, int] = {}

    def count(entities: Iterable[Any]) -> int:
        total = 0
        for entity in entities:
            total += 1
            if entity.dxftype() == "INSERT":
                total += max(1, entity.mcount) * count_block(str(entity.dxf.get("name", "")))
        return total

    def count_block(key: str) -> int:
        key = key.lower()
        if key not in counted:
            counted[key] = 0  # stands while the block is being counted: a circle adds nothing more
            block = document.blocks.get(key)
            counted[key] = count(block) if block is not None else 0
        return counted[key]

    if count(document.modelspace()) > MAX_ELEMENTS:
        raise too_much("too many entities, blocks counted each time", MAX_ELEMENTS, name=name)


class _Repairs(logging.Handler):
    """Keeps what the library says it had to guess, which would else go to standard error."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep one message."""
        self.said.append(" ".join(record.getMessage().split()))

    def features(self) -> tuple[Feature, ...]:
        """Name what was guessed: once, with the first instance."""
        if not self.said:
            return ()
        more = f" and {len(self.said) - 1} more" if len(self.said) > 1 else ""
        return (Feature(FeatureKind.UNREAD, f"damage: {self.said[0][:80]}{more}", "file"),)


_PLACES = ("insert", "start", "center", "location", "defpoint", "text_midpoint", "base_point")
"""Attributes that say where an entity is, the surest first."""


def _place_of(entity: Any) -> Point | None:
    """Give a point of an entity, None where it has none that could be read."""
    try:
        return next((_flat(entity.dxf.get(name)) for name in _PLACES if entity.dxf.hasattr(name)), None)
    except (_NotANumber, AttributeError, TypeError):
        return None


class _NotANumber(Exception):
    """A coordinate that is no number."""


@dataclass(slots=True)
class _Reader:
    """Collects paths and features of a layout and of the blocks in it."""

    document: Any
    name: str
    paths: list[DrawnPath] = field(default_factory=list)
    features: list[Feature] = field(default_factory=list)
    count: int = 0
    nodes: int = 0
    hidden: set[str] = field(init=False)

    def __post_init__(self) -> None:
        self.hidden = {
            layer.dxf.name.lower() for layer in self.document.layers if layer.is_off() or layer.is_frozen()
        } | {"defpoints"}

    def read(self, entities: Iterable[Any], *, depth: int, layer: str = "0", place: str = "") -> None:
        """Read entities; `layer` is that of the block reference they stand in."""
        for entity in entities:
            self.count += 1
            if self.count > MAX_ELEMENTS:
                raise too_much("too many entities, blocks counted each time", MAX_ELEMENTS, name=self.name)
            own = entity.dxf.get("layer", "0")
            on = layer if own == "0" and depth else own
            if on.lower() in self.hidden or own.lower() in self.hidden or entity.dxf.get("invisible", 0):
                continue
            where = place or f"{entity.dxftype()} #{entity.dxf.get('handle') or '?'}"
            try:
                self._one(entity, on, where, depth)
            except (InputError, RecursionError, MemoryError):
                raise
            except _NotANumber:
                raise InputError("a coordinate is not a number, or beyond any sheet", where=f"{self.name}, {where}",
                                 mend="delete that entity") from None  # fmt: skip
            except Exception as error:  # a damaged entity must not take the others with it
                what = f"{entity.dxftype()} that is damaged ({type(error).__name__})"
                self.features.append(Feature(FeatureKind.UNREAD, what, f"{where}, layer {on}", _place_of(entity)))

    def _one(self, entity: Any, layer: str, where: str, depth: int) -> None:
        kind = entity.dxftype()
        drawn = _DRAWERS.get(kind)
        if kind == "INSERT":
            self._insert(entity, layer, where, depth)
        elif drawn is not None:
            pen = Pen()
            drawn(entity, pen)
            self._store(pen, entity, layer, where)
        elif kind == "POINT":
            pen = Pen()
            pen.move(_flat(entity.dxf.location))
            self._store(pen, entity, layer, where)
        elif kind in _TEXTS:
            words = entity.plain_text() if kind in ("MTEXT", "TEXT") else entity.dxf.get("text", "")
            if words.strip():
                self._found(FeatureKind.TEXT, words.strip(), entity, f"{where}, layer {layer}")
        elif kind in _PICTURES:
            self._found(FeatureKind.PICTURE, f"{kind} entity", entity, f"{where}, layer {layer}")
        elif kind not in _UNSEEN:
            self._found(FeatureKind.UNREAD, f"{kind} entity", entity, f"{where}, layer {layer}")

    def _found(self, kind: FeatureKind, name: str, entity: Any, place: str) -> None:
        self.features.append(Feature(kind, name, place, _place_of(entity)))

    def _insert(self, insert: Any, layer: str, where: str, depth: int) -> None:
        if depth >= MAX_REFERENCES:
            self._found(FeatureKind.UNREAD, f"block {insert.dxf.name} within itself", insert, where)
            return
        block = self.document.blocks.get(insert.dxf.name)
        if block is None:
            self._found(FeatureKind.UNREAD, f"block {insert.dxf.name}, which is missing", insert, where)
            return
        many = [insert]
        if insert.mcount > 1:
            if insert.mcount > MAX_ELEMENTS:
                raise too_much("too many repetitions of a block", MAX_ELEMENTS, name=self.name)
            many = list(insert.multi_insert())
        place = where if depth == 0 else f"block {insert.dxf.name}"
        for one in many:
            self.read(one.virtual_entities(), depth=depth + 1, layer=layer, place=f"{place} (block {insert.dxf.name})")
            self.read(one.attribs, depth=depth + 1, layer=layer, place=place)

    def _store(self, pen: Pen, entity: Any, layer: str, where: str) -> None:
        width = _width_of(entity)
        stroke = Stroke("#000000", 1.0, width, width)
        runs = tuple(self._checked(run) for run in pen.finish())
        if runs:
            self.paths.append(DrawnPath(runs, f"{where}, layer {layer}", None, stroke, layer=layer))

    def _checked(self, run: SubPath) -> SubPath:
        self.nodes += len(run.straight)
        if self.nodes > MAX_NODES:
            raise too_much("too many nodes", MAX_NODES, name=self.name)
        reach = max(np.abs(run.control).max(initial=0.0), abs(run.start[0]), abs(run.start[1]))
        if not reach <= MAX_COORDINATE:
            raise _NotANumber
        return run


def _flat(vector: Any) -> Point:
    x, y = float(vector[0]) + 0.0, 0.0 - float(vector[1])
    if not (math.isfinite(x) and math.isfinite(y)):
        raise _NotANumber
    return x, y


def _width_of(entity: Any) -> float:
    """Give the widest stroke of a polyline; line weights are no widths."""
    kind = entity.dxftype()
    if kind == "LWPOLYLINE":
        rows = [max(s, e) for _, _, s, e, _ in entity.get_points("xyseb")] if entity.has_width else []
        return max([float(entity.dxf.get("const_width", 0.0)), *map(float, rows)])
    if kind == "POLYLINE" and entity.is_2d_polyline:
        default = max(entity.dxf.get("default_start_width", 0.0), entity.dxf.get("default_end_width", 0.0))
        rows = [max(v.dxf.get("start_width", 0.0), v.dxf.get("end_width", 0.0)) for v in entity.vertices]
        return float(max([default, *rows]))
    return 0.0


def _line(entity: Any, pen: Pen) -> None:
    pen.move(_flat(entity.dxf.start))
    pen.line(_flat(entity.dxf.end))


def _in_world(entity: Any) -> Callable[[float, float], Point]:
    """Give the map from the entity's own frame to the world's, flattened, y down."""
    ocs = entity.ocs()
    elevation = float(entity.dxf.get("elevation", 0.0) if entity.dxftype() == "LWPOLYLINE" else 0.0)

    def place(x: float, y: float) -> Point:
        return _flat(ocs.to_wcs((x, y, elevation)) if ocs.transform else (x, y))

    return place


def _sweep(
    pen: Pen, place: Callable[[float, float], Point], centre: Point, radius: float, begin: float, turn: float, to: Point
) -> None:
    """Draw an arc, about a centre in the entity's frame, as cubics; it ends at `to`."""
    count = max(1, math.ceil(abs(turn) / ARC_STEP - 1e-9))
    step = turn / count
    handle = 4.0 / 3.0 * math.tan(step / 4) * radius
    cx, cy = centre
    for k in range(count):
        a, b = begin + k * step, begin + (k + 1) * step
        x0, y0 = cx + radius * math.cos(a), cy + radius * math.sin(a)
        x1, y1 = cx + radius * math.cos(b), cy + radius * math.sin(b)
        first = place(x0 - handle * math.sin(a), y0 + handle * math.cos(a))
        second = place(x1 + handle * math.sin(b), y1 - handle * math.cos(b))
        pen.cubic(first, second, to if k == count - 1 else place(x1, y1))


def _circle(entity: Any, pen: Pen) -> None:
    place, (cx, cy, _), radius = _in_world(entity), entity.dxf.center, float(entity.dxf.radius)
    start = place(cx + radius, cy)
    pen.move(start)
    if radius > 0:
        _sweep(pen, place, (cx, cy), radius, 0.0, 2 * math.pi, start)
        pen.close()


def _arc(entity: Any, pen: Pen) -> None:
    place, (cx, cy, _), radius = _in_world(entity), entity.dxf.center, float(entity.dxf.radius)
    begin, end = math.radians(entity.dxf.start_angle), math.radians(entity.dxf.end_angle)
    turn = (end - begin) % (2 * math.pi) or 2 * math.pi
    end = begin + turn
    pen.move(place(cx + radius * math.cos(begin), cy + radius * math.sin(begin)))
    _sweep(pen, place, (cx, cy), radius, begin, turn, place(cx + radius * math.cos(end), cy + radius * math.sin(end)))


def _polyline(pen: Pen, place: Callable[[float, float], Point], rows: list[Vector], closed: bool) -> None:
    if not rows:
        return
    pen.move(place(rows[0][0], rows[0][1]))
    following = [*rows[1:], rows[0]] if closed else rows[1:]
    for (x0, y0, bulge), (x1, y1, _) in zip(rows, following, strict=False):
        to = place(x1, y1)
        chord = math.hypot(x1 - x0, y1 - y0)
        if abs(bulge) < _DECIMALS or chord == 0.0:
            pen.line(to)
            continue
        turn = 4 * math.atan(bulge)
        radius = chord / (2 * abs(math.sin(turn / 2)))
        away = chord / 2 * (1 - bulge * bulge) / (2 * bulge)
        cx = (x0 + x1) / 2 - away * (y1 - y0) / chord
        cy = (y0 + y1) / 2 + away * (x1 - x0) / chord
        _sweep(pen, place, (cx, cy), radius, math.atan2(y0 - cy, x0 - cx), turn, to)
    if closed:
        pen.close()


def _lwpolyline(entity: Any, pen: Pen) -> None:
    rows = [(float(x), float(y), float(b)) for x, y, b in entity.get_points("xyb")]
    _polyline(pen, _in_world(entity), rows, bool(entity.closed))


def _old_polyline(entity: Any, pen: Pen) -> None:
    if entity.is_2d_polyline and not entity.dxf.flags & 6:
        corners = [(v.dxf.location, v.dxf.get("bulge", 0.0)) for v in entity.vertices]
        rows = [(float(place.x), float(place.y), float(bulge)) for place, bulge in corners]
        _polyline(pen, _in_world(entity), rows, bool(entity.is_closed))
    else:
        _converted(entity, pen)


def _converted(entity: Any, pen: Pen) -> None:
    """Take curves from the library: ellipses and splines as cubics."""
    from ezdxf import path

    curve = path.make_path(entity)
    pen.move(_flat(curve.start))
    command: Any
    for command in curve.commands():
        if command.type == path.Command.CURVE4_TO:
            pen.cubic(_flat(command.ctrl1), _flat(command.ctrl2), _flat(command.end))
        elif command.type == path.Command.CURVE3_TO:
            pen.quadratic(_flat(command.ctrl), _flat(command.end))
        elif command.type == path.Command.LINE_TO:
            pen.line(_flat(command.end))
        else:
            pen.move(_flat(command.end))
    if entity.dxftype() == "SPLINE" and entity.closed and math.dist(pen.here, pen.start) < _DECIMALS:
        pen.close()


_DRAWERS: dict[str, Callable[[Any, Pen], None]] = {
    "LINE": _line,
    "CIRCLE": _circle,
    "ARC": _arc,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _old_polyline,
    "ELLIPSE": _converted,
    "SPLINE": _converted,
}
