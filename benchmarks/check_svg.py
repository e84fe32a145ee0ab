"""SVG as different programs write it: the same shapes in a dozen dialects."""

from __future__ import annotations

import gzip
import math
from collections.abc import Callable, Sequence

from benchmarks.check_shapes import Point, Run, Shape, centre_of, end_of

WIDE, HIGH = 110.0, 80.0
"""The page, mm."""
XMLNS = 'xmlns="http://www.w3.org/2000/svg"'
Writer = Callable[[Sequence[Shape], str], bytes]
"""Takes shapes, and elements that are put in as they are, in millimetres."""


def number(value: float, places: int = 5) -> str:
    """Write a number short."""
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def data_of(run: Run, places: int = 5) -> str:
    """Path data with capital letters and true arcs."""
    words = [f"M{number(run.start[0], places)} {number(run.start[1], places)}"]
    steps = list(run.ends())
    for k, (here, (kind, v)) in enumerate(steps):
        if kind == "A":
            _, radius, turn = centre_of(here, v[0], (v[1], v[2]))
            large, sweep = int(abs(turn) > math.pi + 1e-9), int(turn > 0)
            words.append(f"A{number(radius, 7)} {number(radius, 7)} 0 {large} {sweep} " + _pair(v[1:], places))
        elif kind == "C":
            words.append("C" + " ".join(_pair(v[i : i + 2], places) for i in (0, 2, 4)))
        elif not (run.closed and k == len(steps) - 1):
            words.append("L" + _pair(v, places))
    return " ".join(words) + (" Z" if run.closed else "")


def short_data_of(run: Run, places: int = 4) -> str:
    """Path data as minifiers write it: relative, H and V, S, no needless blanks, leading zeros dropped."""
    here = (round(run.start[0], places), round(run.start[1], places))
    words = [f"m{_tight(here, places)}"]
    last = None
    steps = list(run.ends())
    for k, (begin, (kind, v)) in enumerate(steps):
        end = v[-2:]
        to = (round(end[0] - here[0], places), round(end[1] - here[1], places))
        if kind == "A":
            _, radius, turn = centre_of(begin, v[0], (v[1], v[2]))
            flags = f"{int(abs(turn) > math.pi + 1e-9)}{int(turn > 0)}"
            words.append(f"a{_tight((radius, radius), 6)} 0 {flags}{_tight(to, places)}")
        elif kind == "C":
            c1 = (round(v[0] - here[0], places), round(v[1] - here[1], places))
            c2 = (round(v[2] - here[0], places), round(v[3] - here[1], places))
            if last is not None and math.dist(c1, last) < 10**-places:
                words.append("s" + _tight((*c2, *to), places))
            else:
                words.append("c" + _tight((*c1, *c2, *to), places))
            last = (to[0] - c2[0], to[1] - c2[1])
        elif run.closed and k == len(steps) - 1:
            break
        elif to[1] == 0:
            words.append("h" + _tight(to[:1], places))
        elif to[0] == 0:
            words.append("v" + _tight(to[1:], places))
        else:
            words.append("l" + _tight(to, places))
        last = last if kind == "C" else None
        here = (here[0] + to[0], here[1] + to[1])
    return "".join(words) + ("z" if run.closed else "")


def cubics_data_of(run: Run, places: int = 4) -> str:
    """Path data with arcs as cubics of at most a quarter turn."""
    words = [f"M{_pair(run.start, places)}"]
    for here, (kind, v) in run.ends():
        if kind == "L":
            words.append(f"L{_pair(v, places)}")
        elif kind == "C":
            words.append("C" + ",".join(_pair(v[i : i + 2], places) for i in (0, 2, 4)))
        else:
            words.extend(_arc_cubics(here, v, places))
    return "".join(words) + ("Z" if run.closed else "")


def _arc_cubics(here: Point, v: tuple[float, ...], places: int) -> list[str]:
    (cx, cy), r, turn = centre_of(here, v[0], (v[1], v[2]))
    count = math.ceil(abs(turn) / (math.pi / 2) - 1e-9)
    begin, step = math.atan2(here[1] - cy, here[0] - cx), turn / count
    h = 4 / 3 * math.tan(step / 4)
    words = []
    for k in range(count):
        a, b = begin + k * step, begin + (k + 1) * step
        u0, v0, u1, v1 = math.cos(a), math.sin(a), math.cos(b), math.sin(b)
        points = ((u0 - h * v0, v0 + h * u0), (u1 + h * v1, v1 - h * u1), (u1, v1))
        words.append("C" + " ".join(_pair((cx + r * x, cy + r * y), places) for x, y in points))
    return words


def _pair(v: Sequence[float], places: int) -> str:
    return f"{number(v[0], places)} {number(v[1], places)}"


def _tight(values: Sequence[float], places: int) -> str:
    result = ""
    for value in values:
        text = number(value, places)
        text = text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text
        # After a number with a point, another may begin with one at once.
        needs_blank = result and text[0] != "-" and not (text[0] == "." and "." in result.split(" ")[-1].split("-")[-1])
        result += (" " if needs_blank else "") + text
    return result


def _document(size: str, body: str, head: str = "") -> bytes:
    return f'<?xml version="1.0"?>\n<svg {XMLNS} {size}>{head}{body}</svg>'.encode()


def _mm(body: str) -> bytes:
    return _document(f'width="{WIDE}mm" height="{HIGH}mm" viewBox="0 0 {WIDE} {HIGH}"', body)


def _stroke(shape: Shape) -> str:
    return f'fill="none" stroke="#e00000" stroke-width="{shape.width or 0.05}"'


def _paint(shape: Shape) -> str:
    return 'fill-rule="evenodd"' if shape.filled else _stroke(shape)


def filled(shapes: Sequence[Shape], more: str) -> bytes:
    """Compound paths filled even-odd; millimetres."""
    body = ""
    for shape in shapes:
        data = " ".join(map(data_of, shape.runs))
        body += f'<path d="{data}" {_paint(shape)}/>'
    return _mm(body + more)


def hairlines(shapes: Sequence[Shape], more: str) -> bytes:
    """Every run a path of its own with a hairline; millimetres."""
    body = "".join(f'<path d="{data_of(run)}" {_stroke(shape)}/>' for shape in shapes for run in shape.runs)
    return _mm(body + more)


def outlined(shapes: Sequence[Shape], more: str) -> bytes:
    """Fills by the nonzero rule with a hairline round them; centimetres; layers moved by a matrix that mirrors."""
    body = ""
    for shape in shapes:
        runs = [run.mapped((10, 0, 0, -10, 3, 10 * HIGH - 7)) for run in shape.runs]
        data = "".join(cubics_data_of(run, 3) for run in runs)
        style = (
            "fill:#202020;stroke:#000;stroke-width:.5"
            if shape.filled
            else f"fill:none;stroke:#00f;stroke-width:{10 * (shape.width or 0.04):g}"
        )
        body += f'<path style="{style}" d="{data}"/>'
    group = f'<g id="a" transform="translate(0 {10 * HIGH})"><g transform="matrix(1,0,0,-1,-3,-7)">{body}</g></g>'
    size = f'width="{WIDE / 10}cm" height="{HIGH / 10}cm" viewBox="0 0 {10 * WIDE} {10 * HIGH}"'
    return _document(size, f'{group}<g transform="scale(10)">{more}</g>')


def points_sheet(shapes: Sequence[Shape], more: str) -> bytes:
    """Points, a style sheet, short relative data, turned and scaled groups."""
    body, widths = "", {"c": 0.03}
    for shape in shapes:
        name = "c"
        if shape.width:
            name = f"w{len(widths)}"
            widths[name] = 2 * shape.width
        for run in shape.runs:
            turned = run.mapped((0, -2, 2, 0, 0, 0))
            body += f'<path class="{name}" d="{short_data_of(turned)}"/>'
    style = "<style>" + "".join(f".{k}{{fill:none;stroke:#000;stroke-width:{w}px}}" for k, w in widths.items())
    size = f'width="{WIDE * 72 / 25.4:.6f}pt" height="{HIGH * 72 / 25.4:.6f}pt" viewBox="0 0 {WIDE} {HIGH}"'
    return _document(
        size, f'<g transform="scale(.5)"><g transform="rotate(90)">{body}</g></g>{more}', style + "</style>"
    )


def inches_used(shapes: Sequence[Shape], more: str) -> bytes:
    """Inches at 72 units each, every shape a symbol or a group that is used."""
    k = 72 / 25.4
    defs, body = "", ""
    for n, shape in enumerate(shapes):
        data = "".join(data_of(run.mapped((k, 0, 0, k, -30, 12)), 4) for run in shape.runs)
        paint = (
            'fill="#333" fill-rule="evenodd"'
            if shape.filled
            else f'fill="none" stroke="red" stroke-width="{k * (shape.width or 0.02):.5f}"'
        )
        inner = f'<path d="{data}" {paint}/>'
        defs += f'<symbol id="s{n}" overflow="visible">{inner}</symbol>' if n % 2 else f'<g id="s{n}">{inner}</g>'
        body += f'<use xlink:href="#s{n}" x="30" y="-12"/>'
    size = f'xmlns:xlink="http://www.w3.org/1999/xlink" width="{WIDE / 25.4:.8f}in" height="{HIGH / 25.4:.8f}in"'
    size += f' viewBox="0 0 {WIDE * k:.6f} {HIGH * k:.6f}"'
    return _document(size, f'{body}<g transform="scale({k:.9f})">{more}</g>', f"<defs>{defs}</defs>")


def pixels(shapes: Sequence[Shape], more: str) -> bytes:
    """Pixels of 1/96 in, shape elements where there are any, else paths; fills."""
    k = 96 / 25.4
    body = "".join(_element(run, shape) for shape in shapes for run in shape.runs)
    size = f'width="{WIDE * k:.5f}px" height="{HIGH * k:.5f}px"'
    return _document(size, f'<g transform="scale({k:.9f})">{body}{more}</g>')


def _element(run: Run, shape: Shape) -> str:
    style = _stroke(shape)
    if run.circle is not None:
        x, y, r = run.circle
        return f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(r)}" {style}/>'
    if all(kind == "L" for kind, _ in run.steps):
        corners = [run.start, *(end_of(step) for step in run.steps)]
        if not run.closed:
            if len(corners) == 2:
                (x1, y1), (x2, y2) = corners
                ends = f'x1="{number(x1)}" y1="{number(y1)}" x2="{number(x2)}" y2="{number(y2)}"'
                return f"<line {ends} {style}/>"
            return f'<polyline points="{" ".join(_pair(c, 5) for c in corners)}" {style}/>'
        if len(corners) == 5 and corners[0][1] == corners[1][1] and corners[1][0] == corners[2][0]:
            (x0, y0), (x1, y1) = corners[0], corners[2]
            place = f'x="{number(min(x0, x1))}" y="{number(min(y0, y1))}"'
            return f'<rect {place} width="{number(abs(x1 - x0))}" height="{number(abs(y1 - y0))}" {style}/>'
        return f'<polygon points="{",".join(number(v) for c in corners[:-1] for v in c)}" {style}/>'
    return f'<path d="{data_of(run)}" {style}/>'


def nested(shapes: Sequence[Shape], more: str) -> bytes:
    """No unit, a viewBox; an inner viewport with a viewBox of its own; nonzero fills, holes turned the other way."""
    body = ""
    for shape in shapes:
        runs = [run.mapped((1, 0, 0, 1, 50, 20)) for run in shape.runs]
        data = "".join(data_of(run) for run in runs)
        body += f'<path d="{data}" {"" if shape.filled else _stroke(shape)}/>'
    k = 96 / 25.4
    inner = f'<svg x="0" y="0" width="{WIDE * k}" height="{HIGH * k}" viewBox="50 20 {WIDE} {HIGH}">{body}</svg>'
    size = f'width="{WIDE * k}" height="{HIGH * k}" viewBox="0 0 {WIDE * k} {HIGH * k}"'
    return _document(size, f"{inner}<g transform='scale({k})'>{more}</g>")


def zipped(shapes: Sequence[Shape], more: str) -> bytes:
    """Zipped; short data in fills."""
    body = "".join(
        f'<path d="{"".join(map(short_data_of, shape.runs)).replace("m", "M")}" {_paint(shape)}/>' for shape in shapes
    )
    return gzip.compress(_mm(body + more), mtime=0)


def prefixed(shapes: Sequence[Shape], more: str) -> bytes:
    """A prefix for SVG, a document type, an editor's own elements, a viewBox that begins below zero; one big path."""
    plain = [shape for shape in shapes if shape.filled]
    data = "".join(data_of(run.mapped((1, 0, 0, 1, -5, -5))) for shape in plain for run in shape.runs)
    body = f'<s:path fill-rule="evenodd" d="{data}"/>' if plain else ""
    for shape in shapes:
        if not shape.filled:
            data = "".join(data_of(run.mapped((1, 0, 0, 1, -5, -5))) for run in shape.runs)
            body += f'<s:path d="{data}" {_stroke(shape)}/>'
    more = more.replace("</", "</s:").replace("<", "<s:").replace("<s:/s:", "</s:")
    return (
        '<?xml version="1.0" encoding="UTF-8"?><!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" '
        '"http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd"><s:svg xmlns:s="http://www.w3.org/2000/svg" '
        f'xmlns:e="urn:editor" width="{WIDE}mm" height="{HIGH}mm" viewBox="-5 -5 {WIDE} {HIGH}"><s:title>t</s:title>'
        f'<e:view zoom="1"/><s:metadata/><s:g e:label="1">{body}<s:g transform="translate(-5,-5)">{more}</s:g></s:g>'
        "</s:svg>"
    ).encode()


WRITERS: dict[str, Writer] = {
    "mm fills": filled,
    "mm hairlines": hairlines,
    "cm fills and lines, mirrored": outlined,
    "pt style sheet, turned": points_sheet,
    "in symbols": inches_used,
    "px shapes": pixels,
    "no unit, inner viewport": nested,
    "zipped": zipped,
    "prefixed, one path": prefixed,
}
