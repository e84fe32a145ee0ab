r"""The `d` of an SVG path to runs of lines and cubics; every character is accounted for.

As the standard asks (SVG 2, 9.5.4, error handling), a path is drawn up to the first thing that cannot be read; what
that was comes back with the runs. Arcs become cubics, at most a quarter turn each (SVG 2, appendix B.2.4; the error of
such a cubic is 2.7e-4 of the radius, so shorter steps are used).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from maskgen.model.drawing import SubPath
from maskgen.model.paths import Point

ARC_STEP = math.radians(45.0)
"""Largest turn of one cubic of an arc: its error is 4e-6 of the radius."""

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_WHITE = " \t\r\n\f"
"""All that counts as blank in a path (SVG 2, 9.3.9)."""
_COMMAND = re.compile(r"[MmZzLlHhVvCcSsQqTtAa]")
_BLANKS = re.compile(r"[ \t\r\n\f,]*")
_FLAG = re.compile(r"[01]")
_WRONG = re.compile(r"[^\0 \t\r\n\f,]|,[ \t\r\n\f]*,")
_COUNTS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7}


@dataclass(frozen=True, slots=True)
class PathReading:
    """The runs of a path, and what stopped the reading (None when all of it was read)."""

    subpaths: tuple[SubPath, ...]
    trouble: str | None = None


class _Unreadable(Exception):
    """Something that does not belong in a path."""


def read_path(data: str) -> PathReading:
    """Read a path."""
    pen = Pen()
    trouble = None
    try:
        position = 0
        for match in _COMMAND.finditer(data):
            if position == 0 and data[: match.start()].strip(_WHITE):
                raise _Unreadable(_excerpt(data, 0))
            position = match.end()
            following = _COMMAND.search(data, position)
            end = following.start() if following else len(data)
            _carry_out(pen, match.group(), data, position, end)
        if position == 0 and data.strip(_WHITE) not in ("", "none"):
            raise _Unreadable(_excerpt(data, 0))
    except _Unreadable as error:
        trouble = str(error)
    return PathReading(pen.finish(), trouble)


def read_points(data: str) -> tuple[list[Point], str | None]:
    """Read the `points` of a polyline; what could not be read comes second."""
    values, trouble = _numbers(data, 0, len(data))
    if trouble is None and len(values) % 2:
        trouble = "an odd number of coordinates"
    pairs = list(zip(values[0::2], values[1::2], strict=False))
    return pairs, trouble


class Pen:
    """Draws runs: collects lines and cubics, closes and lifts."""

    def __init__(self) -> None:
        self.done: list[SubPath] = []
        self.rows: list[float] = []
        self.straight = bytearray()
        self.start: Point = (0.0, 0.0)
        self.here: Point = (0.0, 0.0)
        self.down = False
        self.last_control: tuple[str, Point] = ("", (0.0, 0.0))

    def move(self, to: Point) -> None:
        """Lift the pen and put it down at a point."""
        self.lift()
        self.start = self.here = to
        self.down = True

    def line(self, to: Point) -> None:
        """Draw a straight run."""
        self._begin()
        x, y = self.here
        self.rows.extend((x, y, x, y, *to, *to))
        self.straight.append(1)
        self.here = to

    def cubic(self, control1: Point, control2: Point, to: Point) -> None:
        """Draw a cubic."""
        self._begin()
        self.rows.extend((*self.here, *control1, *control2, *to))
        self.straight.append(0)
        self.here = to

    def quadratic(self, control: Point, to: Point) -> None:
        """Draw a quadratic, raised to a cubic (exact)."""
        (x0, y0), (x1, y1), (x2, y2) = self.here, control, to
        first = (x0 + 2 / 3 * (x1 - x0), y0 + 2 / 3 * (y1 - y0))
        second = (x2 + 2 / 3 * (x1 - x2), y2 + 2 / 3 * (y1 - y2))
        self.cubic(first, second, to)

    def close(self) -> None:
        """Close the run with a straight line where it does not end at its start; the pen stays at the start."""
        if self.here != self.start and self.straight:
            self.line(self.start)
        self._store(closed=True)
        self.here = self.start

    def lift(self) -> None:
        """End the run without closing it."""
        if self.down:
            self._store(closed=False)

    def finish(self) -> tuple[SubPath, ...]:
        """End the drawing and give all runs."""
        self.lift()
        return tuple(self.done)

    def _begin(self) -> None:
        # After a close without a move the next run begins where the last one began.
        if not self.down:
            self.start = self.here
            self.down = True

    def _store(self, *, closed: bool) -> None:
        if self.down or self.straight:
            control = np.array(self.rows, dtype=np.float64).reshape(-1, 4, 2)
            straight = np.frombuffer(bytes(self.straight), dtype=np.uint8).astype(np.bool_)
            control.setflags(write=False)
            self.done.append(SubPath(self.start, control, straight, closed))
        self.rows, self.straight, self.down = [], bytearray(), False


def _carry_out(pen: Pen, letter: str, data: str, begin: int, end: int) -> None:
    command, relative = letter.upper(), letter.islower()
    if not (pen.done or pen.down) and command != "M":
        raise _Unreadable(f"'{letter}' before any moveto")
    if command == "Z":
        if data[begin:end].strip(_WHITE):
            raise _Unreadable(_excerpt(data, begin))
        pen.close()
        pen.last_control = ("", pen.here)
        return
    values, trouble = _arc_numbers(data, begin, end) if command == "A" else _numbers(data, begin, end)
    size = _COUNTS[command]
    whole = len(values) - len(values) % size
    if trouble is None and (whole != len(values) or not values):
        trouble = f"'{letter}' with {len(values)} numbers, not a multiple of {size}"
    _draw(pen, command, relative, values[:whole])
    if trouble is not None:
        raise _Unreadable(trouble)


def _draw(pen: Pen, command: str, relative: bool, values: list[float]) -> None:
    size = _COUNTS[command]
    for k in range(0, len(values), size):
        x, y = pen.here if relative else (0.0, 0.0)
        v = values[k : k + size]
        control = ("", (0.0, 0.0))
        if command == "M" and k == 0:
            pen.move((x + v[0], y + v[1]))
        elif command in "ML":
            pen.line((x + v[0], y + v[1]))
        elif command == "C":
            second = (x + v[2], y + v[3])
            pen.cubic((x + v[0], y + v[1]), second, (x + v[4], y + v[5]))
            control = ("C", second)
        elif command == "H":
            pen.line((x + v[0], pen.here[1]))
        elif command == "V":
            pen.line((pen.here[0], y + v[0]))
        elif command == "S":
            second = (x + v[0], y + v[1])
            pen.cubic(_mirrored(pen, "C"), second, (x + v[2], y + v[3]))
            control = ("C", second)
        elif command == "Q":
            middle = (x + v[0], y + v[1])
            pen.quadratic(middle, (x + v[2], y + v[3]))
            control = ("Q", middle)
        elif command == "T":
            middle = _mirrored(pen, "Q")
            pen.quadratic(middle, (x + v[0], y + v[1]))
            control = ("Q", middle)
        else:
            draw_arc(pen, (v[0], v[1]), v[2], bool(v[3]), bool(v[4]), (x + v[5], y + v[6]))
        pen.last_control = control


def _mirrored(pen: Pen, kind: str) -> Point:
    known, (x, y) = pen.last_control
    if known != kind:
        return pen.here
    return 2 * pen.here[0] - x, 2 * pen.here[1] - y


def draw_arc(pen: Pen, radii: Point, rotation: float, large: bool, sweep: bool, to: Point) -> None:
    """Draw an elliptical arc by its end point (SVG 2, appendix B.2: out-of-range radii, then end to centre)."""
    (x1, y1), (x2, y2) = pen.here, to
    rx, ry = abs(radii[0]), abs(radii[1])
    if pen.here == to:
        return
    if rx == 0.0 or ry == 0.0:
        pen.line(to)
        return
    cos, sin = math.cos(math.radians(rotation)), math.sin(math.radians(rotation))
    hx, hy = (x1 - x2) / 2, (y1 - y2) / 2
    px, py = (cos * hx + sin * hy) / rx, (-sin * hx + cos * hy) / ry
    stretch = math.hypot(px, py)
    if stretch > 1.0:
        rx, ry, px, py, stretch = rx * stretch, ry * stretch, px / stretch, py / stretch, 1.0
    if stretch == 0.0 or not math.isfinite(stretch):
        pen.line(to)
        return
    away = math.sqrt(max(0.0, 1.0 / stretch**2 - 1.0)) * (-1.0 if large == sweep else 1.0)
    cx, cy = away * py, -away * px  # the centre where the ellipse is a unit circle about it
    begin, finish = math.atan2(py - cy, px - cx), math.atan2(-py - cy, -px - cx)
    turn = finish - begin
    if not math.isfinite(turn):
        pen.line(to)
        return
    if sweep and turn < 0:
        turn += 2 * math.pi
    elif not sweep and turn > 0:
        turn -= 2 * math.pi
    mx, my = (x1 + x2) / 2, (y1 + y2) / 2

    def place(u: float, v: float) -> Point:
        u, v = (u + cx) * rx, (v + cy) * ry
        return cos * u - sin * v + mx, sin * u + cos * v + my

    count = max(1, math.ceil(abs(turn) / ARC_STEP - 1e-9))
    step = turn / count
    handle = 4.0 / 3.0 * math.tan(step / 4)
    for k in range(count):
        a, b = begin + k * step, begin + (k + 1) * step
        first = place(math.cos(a) - handle * math.sin(a), math.sin(a) + handle * math.cos(a))
        second = place(math.cos(b) + handle * math.sin(b), math.sin(b) - handle * math.cos(b))
        pen.cubic(first, second, to if k == count - 1 else place(math.cos(b), math.sin(b)))


def _numbers(data: str, begin: int, end: int) -> tuple[list[float], str | None]:
    """Give the numbers between two places, up to the first character that is none, and what that is."""
    text = data[begin:end].replace("\0", "?")
    if _WRONG.search(_NUMBER.sub("\0", text)) is None:
        values = [float(v) for v in _NUMBER.findall(text)]
        if all(map(math.isfinite, values)):
            return values, None
    values = []
    position = _skip(data, begin, end)
    while position < end:
        match = _NUMBER.match(data, position, end)
        if match is None or not math.isfinite(float(match.group())):
            return values, _excerpt(data, position)
        values.append(float(match.group()))
        position = _skip(data, match.end(), end)
    return values, None


def _arc_numbers(data: str, begin: int, end: int) -> tuple[list[float], str | None]:
    """Give the numbers of arcs, whose two flags may stand without a blank after them."""
    values: list[float] = []
    position = _skip(data, begin, end)
    while position < end:
        pattern = _FLAG if len(values) % 7 in (3, 4) else _NUMBER
        match = pattern.match(data, position, end)
        if match is None or not math.isfinite(float(match.group())):
            return values, _excerpt(data, position)
        values.append(float(match.group()))
        position = _skip(data, match.end(), end)
    return values, None


def _skip(data: str, position: int, end: int) -> int:
    """Step over blanks and at most one comma."""
    match = _BLANKS.match(data, position, end)
    assert match is not None
    return position if match.group().count(",") > 1 else match.end()


def _excerpt(data: str, position: int) -> str:
    return f"'{data[position : position + 20].strip()}' at character {position + 1}"
