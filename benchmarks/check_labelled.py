"""Cut files with one known fault each: how many are found, how exactly, and what is claimed that is not there.

Clean drawings of random smooth pieces, stars and rings are written by the writers below (nothing of the project's own),
one fault of known size and place is put in, and the file is judged. Printed: recall, worst place, worst value and false
alarms by code and format.
"""

from __future__ import annotations

import math
import random
import sys
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from maskgen.check.cutfile import judge
from maskgen.check.settings import CheckSettings
from maskgen.formats.cutfile import read_cutfile

Line = tuple[list[tuple[float, float]], bool]
"""Corners in millimetres, y down, and whether the line is closed."""
Writer = Callable[[Sequence[Line], str], bytes]

WIDE, HIGH = 110.0, 80.0
FREE = (95.0, 40.0)
"""Where nothing of the clean drawing lies within 10 mm: the place of most faults."""


@dataclass(frozen=True)
class Case:
    """One file: its lines, more SVG where a fault needs it, what is to be found and what may be."""

    lines: list[Line]
    code: str
    expected: bool
    at: tuple[float, float] | None = None
    value: float | None = None
    more_svg: str = ""
    allowed: frozenset[str] = frozenset()


def blob(x: float, y: float, radius: float, chance: random.Random, corners: int = 60) -> Line:
    """Give a smooth closed piece."""
    lobes, depth, turn = chance.randint(2, 4), chance.uniform(0.0, 0.1), chance.uniform(0, 6)
    return [
        (
            x + radius * (1 + depth * math.sin(lobes * a + turn)) * math.cos(a),
            y + radius * (1 + depth * math.sin(lobes * a + turn)) * math.sin(a),
        )
        for a in (2 * math.pi * k / corners for k in range(corners))
    ], True


def box(x: float, y: float, width: float, height: float) -> Line:
    """Give a rectangle by its upper left corner."""
    return [(x, y), (x + width, y), (x + width, y + height), (x, y + height)], True


def star(x: float, y: float, radius: float) -> Line:
    """Give a five-pointed star; its points close at 53 degrees."""
    corners = [(radius if k % 2 == 0 else 0.55 * radius, math.pi * k / 5) for k in range(10)]
    return [(x + r * math.cos(a), y + r * math.sin(a)) for r, a in corners], True


def clean(chance: random.Random) -> list[Line]:
    """Give pieces in a grid, some with an opening."""
    lines: list[Line] = []
    for column in range(4):
        for row in range(3):
            x, y = 12.0 + 20 * column, 14.0 + 24 * row
            if chance.random() < 0.3:
                lines.append(star(x, y, 7.0))
                continue
            lines.append(blob(x, y, chance.uniform(5.5, 7.5), chance))
            if chance.random() < 0.4:
                lines.append(blob(x, y, 2.5, chance))
    return lines


def cases(chance: random.Random) -> list[Case]:
    """Give one clean file and one for every fault and size, all on different clean drawings."""
    x, y = FREE
    result = [Case(clean(chance), "", expected=False)]

    def add(code: str, lines: list[Line], *, expected: bool = True, **more: object) -> None:
        result.append(Case(clean(chance) + lines, code, expected, **more))  # type: ignore[arg-type]

    for gap in (0.008, 0.05, 0.2, 1.0):
        corners = [*box(x - 5, y - 5, 10, 10)[0], (x - 5, y - 5 + gap)]
        if gap == 0.05:
            gap = 0.0501
            corners[-1] = (x - 5, y - 5 + gap)
        add("open-path", [(corners, False)], expected=gap > 0.02, at=(x - 5, y - 5 + gap / 2), value=gap)
    bow = [(x - 5, y - 5), (x + 5, y + 5), (x + 5, y - 5), (x - 5, y + 5)]
    wide = frozenset({"thin-land", "narrow-gap"})
    add("self-crossing", [(bow, True)], at=(x, y), allowed=wide)
    add("doubled-line", [box(x - 5, y - 5, 10, 10), box(x - 5, y - 5, 10, 10)], at=None)
    add("doubled-line", [box(x - 5, y - 5, 5, 10), box(x, y - 5, 5, 10)], at=(x, y), value=10.0)
    near = frozenset({"narrow-gap"})
    add("doubled-line", [box(x - 5, y - 5, 5, 10), box(x + 0.1, y - 5, 5, 10)], expected=False, allowed=near)
    add("crossing-pieces", [box(x - 6, y - 5, 7, 10), box(x - 1, y - 3, 7, 6)], at=None, allowed=wide)
    add("backing-panel", [box(1, 1, 108, 78)], allowed=frozenset({"loose-island"}))
    for land in (0.4, 0.78, 0.82):
        dumb = [(x - 6, y - 4), (x - 2, y - 4), (x - 2, y - land / 2), (x + 2, y - land / 2), (x + 2, y - 4),
                (x + 6, y - 4), (x + 6, y + 4), (x + 2, y + 4), (x + 2, y + land / 2), (x - 2, y + land / 2),
                (x - 2, y + 4), (x - 6, y + 4)]  # fmt: skip
        add("thin-land", [(dumb, True)], expected=land < 0.8, at=None, value=land)
    for side in (0.5, 6.0):
        add("small-piece", [box(x, y, side, side)], expected=side < 1, allowed=frozenset({"thin-land"}))
    add("loose-island", [box(x - 8, y - 8, 16, 16), box(x - 5, y - 5, 10, 10), box(x - 2, y - 2, 4, 4)], at=(x, y))
    circle = [(x + 5 * math.cos(2 * math.pi * k / 2000), y + 5 * math.sin(2 * math.pi * k / 2000)) for k in range(2000)]
    add("node-crowd", [(circle, True)])
    svg = {
        "live-text": f'<text x="{x}" y="{y}" font-size="5">Vega</text>',
        "picture": f'<image x="{x}" y="{y}" width="5" height="5" href="data:image/png;base64,iVBORw0KGgo="/>',
        "pen-stroke": f'<path d="M{x - 5} {y}H{x + 5}" fill="none" stroke="#000" stroke-width="1"/>',
        "unread": f'<foreignObject x="{x}" y="{y}" width="5" height="5"><p>a</p></foreignObject>',
        "stray-point": f'<path d="M{x} {y}L{x} {y}"/>',
        "off-sheet": f'<rect x="{WIDE - 4}" y="{y}" width="8" height="8"/>',
    }
    for code, more in svg.items():
        add(code, [], at=None, more_svg=more)
    thin = f'<rect x="{x}" y="{y}" width="6" height="6" fill="none" stroke="#000" stroke-width="0.08"/>'
    add("pen-stroke", [], expected=False, more_svg=thin)
    return result


def _data(lines: Sequence[Line], scale: float) -> str:
    words = []
    for corners, closed in lines:
        words.append("M" + "L".join(f"{x * scale:.5f} {y * scale:.5f}" for x, y in corners) + "Z" * closed)
    return "".join(words)


def svg_mm(lines: Sequence[Line], more: str) -> bytes:
    """One path a line, hairlines, millimetres."""
    paths = "".join(f'<path d="{_data([line], 1)}" fill="none" stroke="#f00" stroke-width=".05"/>' for line in lines)
    size = f'width="{WIDE}mm" height="{HIGH}mm" viewBox="0 0 {WIDE} {HIGH}"'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{paths}{more}</svg>'.encode()


def svg_points(lines: Sequence[Line], more: str) -> bytes:
    """Points as units, nested transforms, a style sheet, relative path commands."""
    paths = []
    for corners, closed in lines:
        words = [f"m{corners[0][0] - 10:.5f},{corners[0][1] - 10:.5f}"]
        at = tuple(round(c, 5) for c in corners[0])
        for corner in corners[1:]:
            step = round(corner[0] - at[0], 5), round(corner[1] - at[1], 5)
            words.append(f"l{step[0]:.5f},{step[1]:.5f}")
            at = at[0] + step[0], at[1] + step[1]
        paths.append(f'<path class="c" d="{"".join(words)}{"z" * closed}"/>')
    size = f'width="{WIDE * 72 / 25.4:.6f}pt" height="{HIGH * 72 / 25.4:.6f}pt" viewBox="0 0 {WIDE} {HIGH}"'
    style = "<style>.c{fill:none;stroke:#000;stroke-width:.03px}</style>"
    body = f'<g transform="scale(2)"><g transform="translate(5,5) scale(.5)">{"".join(paths)}</g></g>'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size}>{style}{body}{more}</svg>'.encode()


def _dxf(body: list[str], units: int) -> bytes:
    head = ["0", "SECTION", "2", "HEADER", "9", "$ACADVER", "1", "AC1015", "9", "$INSUNITS", "70", str(units), "0"]
    return "\n".join([*head, "ENDSEC", "0", "SECTION", "2", "ENTITIES", *body, "0", "ENDSEC", "0", "EOF", ""]).encode()


def dxf_polylines(lines: Sequence[Line], _more: str) -> bytes:
    """LWPOLYLINE in inches."""
    body = []
    for corners, closed in lines:
        body += ["0", "LWPOLYLINE", "100", "AcDbEntity", "8", "0", "100", "AcDbPolyline"]
        body += ["90", str(len(corners)), "70", str(int(closed))]
        for x, y in corners:
            body += ["10", f"{x / 25.4:.8f}", "20", f"{-y / 25.4:.8f}"]
    return _dxf(body, 1)


def dxf_lines(lines: Sequence[Line], _more: str) -> bytes:
    """LINE chains in millimetres."""
    body = []
    for corners, closed in lines:
        for (ax, ay), (bx, by) in zip(corners, corners[1:] + corners[:1] * closed, strict=False):
            body += ["0", "LINE", "8", "cut", "10", f"{ax:.6f}", "20", f"{-ay:.6f}", "11", f"{bx:.6f}"]
            body += ["21", f"{-by:.6f}"]
    return _dxf(body, 4)


def hpgl(lines: Sequence[Line], _more: str) -> bytes:
    """Absolute moves, lower case, in forty steps to the millimetre."""
    words = ["in;sp1;"]
    for corners, closed in lines:
        steps = [f"{x * 40:.2f},{(HIGH - y) * 40:.2f}" for x, y in corners + corners[:1] * closed]
        words.append(f"pu{steps[0]};pd{','.join(steps[1:])};")
    return "".join([*words, "pu"]).encode()


WRITERS: dict[str, tuple[Writer, str, float]] = {
    "svg mm": (svg_mm, "a.svg", 0.0),
    "svg pt": (svg_points, "a.svg", 0.0),
    "dxf inch": (dxf_polylines, "a.dxf", 0.0),
    "dxf lines": (dxf_lines, "a.dxf", 0.0),
    "hpgl": (hpgl, "a.plt", -HIGH),
}
"""Name, writer, file name, and what is added to y where places are told."""


def measure(seeds: Sequence[int]) -> tuple[dict[tuple[str, str], list[int]], dict[tuple[str, str], float], list[str]]:
    """Judge every case: (found, of) and the worst place by code and format, and what went wrong, in words."""
    counts: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0])
    worst: dict[tuple[str, str], float] = defaultdict(float)
    wrong = []
    for seed in seeds:
        for number, case in enumerate(cases(random.Random(seed))):
            for name, (write, file, shift) in WRITERS.items():
                if case.more_svg and not file.endswith(".svg"):
                    continue
                drawing = read_cutfile(write(case.lines, case.more_svg), name=file)
                findings = judge(drawing, name=file, settings=CheckSettings()).judgement.findings
                hits = [f for f in findings if f.code == case.code]
                label = f"seed {seed} case {number} {name} {case.code or 'clean'} {case.value or ''}"
                others = {str(f.code) for f in findings} - {case.code} - case.allowed
                if others:
                    wrong.append(f"{label}: false {sorted(others)}")
                if not case.expected:
                    if hits:
                        wrong.append(f"{label}: told below its limit")
                    continue
                key = case.code, name
                counts[key][1] += 1
                counts[key][0] += bool(hits)
                if not hits:
                    wrong.append(f"{label}: missed")
                elif case.at is not None:
                    places = [f.at_mm for f in hits if f.at_mm]
                    away = min(math.dist(p, (case.at[0], case.at[1] + shift)) for p in places)
                    worst[key] = max(worst[key], away)
                    if away > 0.2:
                        wrong.append(f"{label}: {away:.2f} mm from its place")
                if hits and case.value is not None and min(abs((f.value or 0) - case.value) for f in hits) > 0.03:
                    wrong.append(f"{label}: value {[f.value for f in hits]}")
    return counts, worst, wrong


def run(seeds: int = 5) -> None:
    """Print the table."""
    counts, worst, wrong = measure(range(seeds))
    for (code, name), (found, of) in sorted(counts.items()):
        print(f"{code:16} {name:10} {found:4d}/{of:<4d} worst place {worst.get((code, name), 0.0):.3f} mm")
    print("\n".join(wrong) or "nothing missed, nothing claimed falsely")


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 5)
