"""HPGL to a drawing: every run of the pen with its point down, in plotter units, y down.

Written from summaries of the language: two letters, numbers between commas or blanks, a semicolon that may be missing.
Forgiving about case and terminators; labels, speeds and forces are skipped knowingly, anything else is named.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from maskgen.errors import InputError
from maskgen.formats.drawing.limits import MAX_COORDINATE, MAX_NODES, check_size, too_much
from maskgen.formats.drawing.path_data import ARC_STEP, Pen
from maskgen.model.drawing import (
    Drawing,
    DrawnPath,
    Feature,
    FeatureKind,
    Matrix,
    Source,
    Stroke,
    SubPath,
    apply,
)
from maskgen.model.paths import Point
from maskgen.units import HPGL_UNITS_PER_MM

_WORD = re.compile(r"[A-Za-z]{2}")
_ARGUMENTS = re.compile(r"[-+0-9.,\s]*")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)")
_DEVICE = re.compile(r"\x1b(?:\.[@A-Za-z()](?:[0-9;]*:)?|%-?\d*[A-Za-z]|[A-Za-z])")
_SKIPPED = frozenset(
    (
        *("VS", "FS", "AS", "AC", "NP", "PW", "WU", "PC", "CR", "MC", "PS", "QL", "SD", "AD", "SI", "SR", "DI", "DR"),
        *("DV", "SL", "ES", "CS", "CA", "SS", "SA", "LO", "TD", "TL", "XT", "YT", "CT", "FT", "PT", "RF", "UL", "CF"),
        *("BP", "EC", "PG", "AH", "AP", "OE", "OS", "OA", "OC", "OH", "OI", "OO", "OP", "OD", "OF", "OW", "IM", "IW"),
        *("DC", "DP", "GC", "GM", "LA", "TR", "SV", "CV", "NR", "FR", "RP", "CC", "EI", "SM"),
    )
)
_HAIRLINE = Stroke("#000000", 1.0, 0.0, 0.0)
_DEFAULT_CORNERS = (0.0, 0.0, 0.0, 0.0)


def read_hpgl(data: bytes, *, name: str) -> Drawing:
    """Read a plot.

    Raises
    ------
    InputError
        When it holds no instruction that draws, or is over a cap.
    """
    text = check_size(data, name=name).decode("latin-1").replace("\0", "")
    plotter = _Plotter(name)
    _run(text, plotter)
    plotter.lift()
    if not plotter.known:
        raise InputError("holds no HPGL instructions", where=name, mend="export it as HPGL (plotter units)")
    scale = 1.0 / HPGL_UNITS_PER_MM
    paths = tuple(plotter.placed(path) for path in plotter.paths)
    return Drawing(Source.HPGL, paths, tuple(plotter.features), None, (scale, scale), "mm")


def _run(text: str, plotter: _Plotter) -> None:
    position = 0
    strange = ""
    while position < len(text):
        character = text[position]
        if character in "; \t\r\n,\x03\x04\x1a":
            position += 1
            continue
        device = _DEVICE.match(text, position)
        if device is not None:
            position = device.end()
            continue
        word = _WORD.match(text, position)
        if word is None:
            strange = strange or f"'{text[position : position + 12].strip()}' at character {position + 1}"
            position += 1
            continue
        name, begin = word.group().upper(), position
        position = word.end()
        if name in ("LB", "CO", "BL"):
            position = _skip_words(text, position, name, plotter)
            continue
        if name == "DT":
            plotter.ends_label = text[position : position + 1] or "\x03"
            position += 1
            continue
        if name == "PE":
            position = (text.find(";", position) + 1) or len(text)
            plotter.unread("PE", begin)
            continue
        match = _ARGUMENTS.match(text, position)
        assert match is not None
        position = match.end()
        plotter.do(name, [float(v) for v in _NUMBER.findall(match.group())], begin)
    if strange and plotter.known:
        plotter.features.append(Feature(FeatureKind.UNREAD, f"characters {strange}", "file"))


def _skip_words(text: str, position: int, name: str, plotter: _Plotter) -> int:
    """Skip a label or a comment, naming the label."""
    if name == "CO":
        quoted = re.compile(r'\s*"[^"]*"').match(text, position)
        return quoted.end() if quoted else (text.find(";", position) + 1) or len(text)
    end = text.find(plotter.ends_label, position)
    if end < 0:
        end = (text + ";").find(";", position)
    words = text[position:end].strip()
    if name == "LB" and words:
        plotter.features.append(Feature(FeatureKind.TEXT, words, f"character {position - 1}", plotter.seen_here()))
    plotter.known = True
    return end + 1


@dataclass(slots=True)
class _Plotter:
    """Pen, position, scaling: carries out instructions. Positions are plotter units, y up, before any turn."""

    name: str
    paths: list[DrawnPath] = field(default_factory=list)
    features: list[Feature] = field(default_factory=list)
    pen: Pen = field(default_factory=Pen)
    here: Point = (0.0, 0.0)
    down: bool = False
    absolute: bool = True
    tool: int = 1
    turn: int = 0
    corners: tuple[float, float, float, float] = _DEFAULT_CORNERS
    scaling: tuple[float, float, float, float] | None = None
    ends_label: str = "\x03"
    known: bool = False
    begun: int = 0
    nodes: int = 0
    named: set[str] = field(default_factory=set)
    turns: list[int] = field(default_factory=list)

    def do(self, name: str, numbers: list[float], place: int) -> None:
        """Carry out one instruction."""
        actions: dict[str, Callable[[list[float]], None]] = {
            "PU": lambda v: self.set_pen(False, v, place),
            "PD": lambda v: self.set_pen(True, v, place),
            "PA": lambda v: self.set_mode(True, v),
            "PR": lambda v: self.set_mode(False, v),
            "AA": lambda v: self.arc(v, absolute=True),
            "AR": lambda v: self.arc(v, absolute=False),
            "CI": lambda v: self.circle(v, place),
            "EA": lambda v: self.rectangle(v, place, absolute=True),
            "ER": lambda v: self.rectangle(v, place, absolute=False),
            "SP": self.choose,
            "IN": lambda _: self.initialise(),
            "DF": lambda _: self.initialise(),
            "IP": self.set_corners,
            "SC": self.set_scaling,
            "RO": self.rotate,
            "LT": self.line_type,
        }
        if name in actions:
            if name == "CI" and not numbers:
                return
            self.known = True
            actions[name](numbers)
        elif name in _SKIPPED:
            self.known = True
        else:
            self.unread(name, place)

    def unread(self, name: str, place: int) -> None:
        if name not in self.named:
            self.named.add(name)
            where = f"character {place + 1}"
            self.features.append(Feature(FeatureKind.UNREAD, f"instruction {name}", where, self.seen_here()))

    def initialise(self) -> None:
        self.lift()
        self.down, self.absolute, self.turn, self.scaling, self.corners = False, True, 0, None, _DEFAULT_CORNERS

    def choose(self, numbers: list[float]) -> None:
        self.lift()
        self.tool = int(numbers[0]) if numbers else 0
        if self.down and self.tool:
            self._put_down(self.begun)
        self.down = self.down and bool(self.tool)

    def set_pen(self, down: bool, numbers: list[float], place: int) -> None:
        if down and not self.down:
            self.down = True
            self._put_down(place)
        elif not down and self.down:
            self.lift()
            self.down = False
        self.go(numbers)

    def set_mode(self, absolute: bool, numbers: list[float]) -> None:
        self.absolute = absolute
        self.go(numbers)

    def go(self, numbers: list[float]) -> None:
        if len(numbers) % 2:
            self.features.append(Feature(FeatureKind.UNREAD, "an odd number of coordinates", "file", self.seen_here()))
        for x, y in zip(numbers[0::2], numbers[1::2], strict=False):
            to = self._placed_point(x, y) if self.absolute else self._moved_by(x, y)
            self.draw_to(to)

    def draw_to(self, to: Point) -> None:
        self._bounded(to)
        if self.down:
            self.pen.line(to)
            self._count(1)
        self.here = to

    def arc(self, numbers: list[float], *, absolute: bool) -> None:
        if len(numbers) < 3:
            return
        x, y, degrees = numbers[:3]
        centre = self._placed_point(x, y) if absolute else self._moved_by(x, y)
        if self.scaling is not None and self._factors()[0] * self._factors()[1] < 0:
            degrees = -degrees
        self._sweep(self.pen if self.down else None, centre, self.here, math.radians(degrees))

    def circle(self, numbers: list[float], place: int) -> None:
        radius = abs(numbers[0]) * abs(self._factors()[0])
        centre = self.here
        if radius == 0.0:
            return
        pen = Pen()
        start = (centre[0] + radius, centre[1])
        pen.move(start)
        self._sweep(pen, centre, start, 2 * math.pi)
        pen.close()
        self._store(pen.finish(), place)
        self.here = centre

    def rectangle(self, numbers: list[float], place: int, *, absolute: bool) -> None:
        if len(numbers) < 2:
            return
        (x0, y0), (x1, y1) = self.here, (self._placed_point if absolute else self._moved_by)(*numbers[:2])
        pen = Pen()
        pen.move((x0, y0))
        for corner in ((x1, y0), (x1, y1), (x0, y1)):
            self._bounded(corner)
            pen.line(corner)
        pen.close()
        self._count(4)
        self._store(pen.finish(), place)

    def set_corners(self, numbers: list[float]) -> None:
        if len(numbers) >= 4:
            self.corners = (numbers[0], numbers[1], numbers[2], numbers[3])
        elif len(numbers) >= 2:
            x0, y0, x1, y1 = self.corners
            self.corners = (numbers[0], numbers[1], numbers[0] + x1 - x0, numbers[1] + y1 - y0)
        else:
            self.corners = _DEFAULT_CORNERS

    def set_scaling(self, numbers: list[float]) -> None:
        if len(numbers) < 4:
            self.scaling = None
            return
        x0, x1, y0, y1 = numbers[:4]
        if self.corners[0] == self.corners[2] or self.corners[1] == self.corners[3]:
            # The machine's own corners would decide: they are not in the file.
            self.unread("SC without IP", 0)
            return
        if x0 == x1 or y0 == y1:
            self.unread("SC of no size", 0)
            return
        self.scaling = (x0, x1, y0, y1)
        if len(numbers) > 4 and numbers[4] not in (0.0,):
            self.unread("SC with equal or point scaling", 0)

    def rotate(self, numbers: list[float]) -> None:
        self.lift()
        self.turn = int(numbers[0]) % 360 // 90 if numbers else 0
        if self.down:
            self._put_down(self.begun)

    def line_type(self, numbers: list[float]) -> None:
        if numbers and numbers[0] not in (0.0,):
            self.unread("LT (a broken line)", 0)

    def lift(self) -> None:
        """End the run of the pen."""
        if self.down:
            self._store(self.pen.finish(), self.begun)
            self.pen = Pen()

    def seen_here(self) -> Point:
        """The pen's place, y down."""
        return self.here[0], -self.here[1]

    def placed(self, path: DrawnPath) -> DrawnPath:
        """Turn a finished path about the origin; what then lies on the wrong side of it is moved to begin there.

        A machine turns the page about a corner that lies elsewhere, and the size of its page is not in the file.
        """
        turn = int(path.layer.rpartition("/")[2])
        path = DrawnPath(path.subpaths, path.place, None, path.stroke, layer=path.layer.rpartition("/")[0])
        return path.mapped(self._turn_matrix(turn))

    def _turn_matrix(self, turn: int) -> Matrix:
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[turn]
        matrix = np.array([[cos, -sin, 0.0], [sin, cos, 0.0]])
        if turn:
            runs = [s for p in self.paths if p.layer.endswith(f"/{turn}") for s in p.subpaths]
            points = apply(matrix, np.vstack([np.vstack([s.start, s.control.reshape(-1, 2)]) for s in runs]))
            low, high = points.min(axis=0), points.max(axis=0)
            matrix[:, 2] = np.where(low + high < 0.0, -low, 0.0)
        matrix[1] *= -1.0  # y down
        return matrix

    def _put_down(self, place: int) -> None:
        self.pen = Pen()
        self.pen.move(self.here)
        self.begun = place

    def _store(self, subpaths: tuple[SubPath, ...], place: int) -> None:
        for run in subpaths:
            self.paths.append(
                DrawnPath((run,), f"character {place + 1}", None, _HAIRLINE, layer=f"pen {self.tool}/{self.turn}")
            )

    def _sweep(self, pen: Pen | None, centre: Point, start: Point, turn: float) -> None:
        """Draw an arc about a centre as cubics, and go to its end."""
        turn = max(-2 * math.pi, min(2 * math.pi, turn))
        x, y = start[0] - centre[0], start[1] - centre[1]
        count = max(1, math.ceil(abs(turn) / ARC_STEP - 1e-9))
        step = turn / count
        handle = 4.0 / 3.0 * math.tan(step / 4)
        self._count(count)
        for k in range(count):
            a, b = k * step, (k + 1) * step
            u0, v0 = math.cos(a) * x - math.sin(a) * y, math.sin(a) * x + math.cos(a) * y
            u1, v1 = math.cos(b) * x - math.sin(b) * y, math.sin(b) * x + math.cos(b) * y
            whole = k == count - 1 and abs(turn) == 2 * math.pi
            to = start if whole else (centre[0] + u1, centre[1] + v1)
            self._bounded(to)
            if pen is not None:
                first = (centre[0] + u0 - handle * v0, centre[1] + v0 + handle * u0)
                pen.cubic(first, (centre[0] + u1 + handle * v1, centre[1] + v1 - handle * u1), to)
            self.here = to

    def _placed_point(self, x: float, y: float) -> Point:
        if self.scaling is None:
            return x, y
        fx, fy = self._factors()
        return self.corners[0] + (x - self.scaling[0]) * fx, self.corners[1] + (y - self.scaling[2]) * fy

    def _moved_by(self, dx: float, dy: float) -> Point:
        fx, fy = self._factors()
        return self.here[0] + dx * fx, self.here[1] + dy * fy

    def _factors(self) -> Point:
        if self.scaling is None:
            return 1.0, 1.0
        x0, y0, x1, y1 = self.corners
        u0, u1, v0, v1 = self.scaling
        return (x1 - x0) / (u1 - u0), (y1 - y0) / (v1 - v0)

    def _count(self, number: int) -> None:
        self.nodes += number
        if self.nodes > MAX_NODES:
            raise too_much("too many nodes", MAX_NODES, name=self.name)

    def _bounded(self, point: Point) -> None:
        if not max(abs(point[0]), abs(point[1])) <= MAX_COORDINATE:
            raise InputError(
                f"a coordinate beyond {MAX_COORDINATE:.0e} units", where=self.name, mend="export the plot again"
            )
