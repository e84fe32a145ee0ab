"""The basic shapes of SVG as runs of lines and cubics (SVG 2, chapter 10: where each begins and which way it goes)."""

from __future__ import annotations

import math
from collections.abc import Mapping

from maskgen.formats.drawing.path_data import PathReading, Pen, draw_arc, read_path, read_points
from maskgen.formats.drawing.values import read_length

SHAPES = frozenset(("path", "rect", "circle", "ellipse", "line", "polyline", "polygon"))


def shape_of(tag: str, attributes: Mapping[str, str], *, width: float, height: float, em: float) -> PathReading:
    """Draw a basic shape; per cent are of a viewport of `width` x `height`."""
    across = math.hypot(width, height) / math.sqrt(2.0)

    def measure(name: str, whole: float, default: float = 0.0) -> float:
        text = attributes.get(name)
        if text is None or text == "auto":
            return default
        length = read_length(text)
        value = None if length is None else length.pixels(whole=whole, em=em)
        if value is None:
            unreadable.append(f"{name}='{text[:30]}'")
            return default
        return value

    unreadable: list[str] = []
    pen = Pen()
    match tag:
        case "path":
            return read_path(attributes.get("d", ""))
        case "polyline" | "polygon":
            points, trouble = read_points(attributes.get("points", ""))
            for k, point in enumerate(points):
                (pen.line if k else pen.move)(point)
            if tag == "polygon" and points:
                pen.close()
            return PathReading(pen.finish(), trouble)
        case "line":
            pen.move((measure("x1", width), measure("y1", height)))
            pen.line((measure("x2", width), measure("y2", height)))
        case "rect":
            x, y, w, h = (measure(k, s) for k, s in (("x", width), ("y", height), ("width", width), ("height", height)))
            rx, ry = measure("rx", width, -1.0), measure("ry", height, -1.0)
            _draw_rectangle(pen, x, y, w, h, ry if rx < 0 else rx, rx if ry < 0 else ry)
        case "circle":
            r = measure("r", across)
            _draw_ellipse(pen, measure("cx", width), measure("cy", height), r, r)
        case "ellipse":
            rx, ry = measure("rx", width, -1.0), measure("ry", height, -1.0)
            _draw_ellipse(pen, measure("cx", width), measure("cy", height), ry if rx < 0 else rx, rx if ry < 0 else ry)
    return PathReading(pen.finish(), ", ".join(unreadable) or None)


def _draw_rectangle(pen: Pen, x: float, y: float, w: float, h: float, rx: float, ry: float) -> None:
    if w <= 0 or h <= 0:
        return
    rx, ry = min(max(rx, 0.0), w / 2), min(max(ry, 0.0), h / 2)
    if rx == 0 or ry == 0:
        rx = ry = 0.0
    corners = ((x + w, y), (x + w, y + h), (x, y + h), (x, y))
    ways = ((1, 0), (0, 1), (-1, 0), (0, -1))
    pen.move((x + rx, y))
    for k, ((cx, cy), (dx, dy)) in enumerate(zip(corners, ways, strict=True)):
        nx, ny = ways[(k + 1) % 4]
        before, after = (cx - dx * rx, cy - dy * ry), (cx + nx * rx, cy + ny * ry)
        if before != pen.here and not (k == 3 and rx == 0):
            pen.line(before)
        if rx:
            draw_arc(pen, (rx, ry), 0.0, False, True, after)
    pen.close()


def _draw_ellipse(pen: Pen, cx: float, cy: float, rx: float, ry: float) -> None:
    if rx <= 0 or ry <= 0:
        return
    pen.move((cx + rx, cy))
    draw_arc(pen, (rx, ry), 0.0, False, True, (cx - rx, cy))
    draw_arc(pen, (rx, ry), 0.0, False, True, (cx + rx, cy))
    pen.close()
