"""Faults of lines: open, crossing, doubled, overlapping, crowded with nodes or of no length.

Written from the meaning of the codes alone (`docs/checking.md`), nothing of the checker's code; both sides of limits.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import replace

import shapely

from benchmarks.check_fault import DXF, HPGL, SVG, Fault, X, Y, cut, piece, spot
from benchmarks.check_shapes import Point, Run, Shape, blob, box, circle, ellipse, line, polygon


def open_paths(chance: random.Random) -> Iterator[Fault]:
    """Gaps in lines drawn straight, as arcs and as curves; fills that want no end."""
    for gap in (0.0, 0.008, 0.051, 0.06, 0.2, 1.0, 3.0):
        told, tiny = gap > 0.02, 0.0 < gap < 0.02
        size = f"gap {gap}"
        begin, end = (X - 5, Y - gap / 2), (X - 5, Y + gap / 2)
        where = shapely.LineString([begin, end]) if gap else None
        corners = [(X - 5, Y - 5), (X + 5, Y - 5), (X + 5, Y + 5), (X - 5, Y + 5)]
        straight = line(begin, *corners, end)
        value = gap if told else None
        yield Fault("open-path", f"{size} straight", told, cut(straight), where, value, fine=True)
        # All but a little of a circle.
        radius, half = 5.0, math.asin(gap / 10)
        a, b = math.pi + half, 3 * math.pi - half
        ends = [(X + radius * math.cos(t), Y + radius * math.sin(t)) for t in (a, (a + b) / 2, b)]
        bulge = math.tan((b - a) / 8)
        arc = Run(ends[0], (("A", (bulge, *ends[1])), ("A", (bulge, *ends[2]))), closed=False)
        yield Fault(
            "open-path",
            f"{size} arc",
            told,
            cut(arc),
            shapely.LineString([ends[0], ends[2]]) if gap else None,
            value,
            fine=True,
        )
        curve = blob(X, Y, 6.0, chance)
        (kind, last) = curve.steps[-1]
        if gap < 1.5:
            missed = (last[4] + gap * 0.6, last[5] + gap * 0.8)
            open_curve = Run(curve.start, (*curve.steps[:-1], (kind, (*last[:4], *missed))), closed=False)
            where = shapely.LineString([curve.start, missed]) if gap else None
            yield Fault(
                "open-path",
                f"{size} curve",
                told,
                cut(open_curve),
                where,
                value,
                fine=True,
                allowed=frozenset({"self-crossing", "thin-land", "narrow-gap"} if tiny else ()),
            )
        # A gap between two lines of two, whose other ends meet.
        top, bottom = line(begin, *corners[:2]), line(corners[1], *corners[2:], end)
        where = shapely.LineString([begin, end]) if gap else None
        yield Fault("open-path", f"{size} between two", told, cut(top, bottom), where, value, fine=True)
    alone = line((X - 5, Y), (X + 5, Y + 3))
    yield Fault("open-path", "a line alone", True, cut(alone), alone.line(), None)
    fill = line((X - 5, Y - 5), (X + 5, Y - 5), (X + 5, Y + 5), (X - 5, Y + 5))
    for formats, told in ((frozenset({SVG}), False),):
        yield Fault(
            "open-path",
            "a fill without its end",
            told,
            piece(fill),
            formats=formats,
            but=frozenset({"mm hairlines", "px shapes", "pt style sheet, turned", "cm fills and lines, mirrored"}),
        )


def self_crossings(chance: random.Random) -> Iterator[Fault]:
    """Bows, loops of many sizes, curves; touching is no crossing."""
    bow = polygon((X - 5, Y - 5), (X + 5, Y + 5), (X + 5, Y - 5), (X - 5, Y + 5))
    widths = frozenset({"thin-land", "narrow-gap"})
    yield Fault("self-crossing", "a bow", True, cut(bow), spot(), allowed=widths)
    yield Fault("self-crossing", "a bow, filled", True, piece(bow), spot(), allowed=widths)
    eight = Run((X, Y), (("C", (X + 9, Y - 9, X + 9, Y + 9, X, Y)), ("C", (X - 9, Y - 9, X - 9, Y + 9, X, Y))))
    yield Fault(
        "self-crossing",
        "an eight of curves",
        True,
        cut(eight),
        spot(),
        allowed=widths,
        but=frozenset({"R2010 in, chains"}),
    )
    for loop in (0.1, 0.5, 2.0):
        # A corner that overshoots: the sides cross and a small loop hangs out.
        corners = [
            (X - 5, Y - 5),
            (X + 5, Y - 5),
            (X + 5, Y + 5 + loop),
            (X + 5 - loop, Y + 5 + loop),
            (X + 5 + loop, Y + 5),
            (X - 5, Y + 5),
        ]
        side = shapely.LineString(corners[1:3])
        knots = side.intersection(shapely.MultiLineString([corners[3:5], corners[4:6]]))
        more = widths | {"small-piece", "crossing-pieces"}
        yield Fault("self-crossing", f"a loop of {loop}", True, cut(polygon(*corners)), knots, allowed=more, fine=True)
    notch = polygon((X - 5, Y - 5), (X + 5, Y - 5), (X + 5, Y + 5), (X, Y - 5), (X - 5, Y + 5))
    yield Fault("self-crossing", "touching itself", False, cut(notch), allowed=widths, turns=False)
    two = (box(X - 2, Y, 6, 6), box(X + 2, Y + 1, 6, 6))
    where = shapely.intersection(two[0].line(), two[1].line())
    yield Fault(
        "self-crossing",
        "two runs of one path",
        True,
        piece(*two),
        where,
        allowed=widths | {"crossing-pieces"},
        formats=frozenset({SVG}),
        but=frozenset({"mm hairlines", "px shapes", "pt style sheet, turned"}),
    )


def doubled_lines(chance: random.Random) -> Iterator[Fault]:
    """Copies, whole and in part, one way and back, and neighbours that share an edge."""
    for name, run in (("box", box(X, Y, 9, 7)), ("circle", circle(X, Y, 5)), ("curve", blob(X, Y, 6, chance))):
        yield Fault("doubled-line", f"a copy: {name}", True, cut(run, run), run.line())
        yield Fault("doubled-line", f"a copy, filled: {name}", True, (*piece(run), *piece(run)), run.line())
        back = replace(run.reversed(), circle=run.circle)
        yield Fault("doubled-line", f"a copy walked back: {name}", True, cut(run, back), run.line())
    parts = polygon(
        (X - 4.5, Y - 3.5),
        (X - 1, Y - 3.5),
        (X + 4.5, Y - 3.5),
        (X + 4.5, Y + 1),
        (X + 4.5, Y + 3.5),
        (X - 4.5, Y + 3.5),
    )
    yield Fault("doubled-line", "a copy with more nodes", True, cut(box(X, Y, 9, 7), parts), parts.line(), fine=True)
    for away in (0.0, 0.003, 0.0045, 0.0056, 0.01, 0.1):
        # Neighbours: their walls run together for 7 mm.
        told = away <= 0.005
        wall = shapely.LineString([(X, Y - 3.5), (X, Y + 3.5)])
        pair = (box(X - 3, Y, 6, 7), box(X + 3 + away, Y, 6, 7))
        yield Fault(
            "doubled-line",
            f"neighbours {away} apart",
            told,
            cut(*pair),
            wall,
            7.0 if told else None,
            allowed=frozenset({"narrow-gap"}),
            fine=away > 0,
        )
    for length in (0.1, 0.5, 2.0):
        pair = (box(X - 3, Y, 6, 8), box(X + 3, Y + 8 - length, 6, 8))
        wall = shapely.LineString([(X, Y + 4 - length), (X, Y + 4)])
        yield Fault(
            "doubled-line",
            f"neighbours along {length}",
            True,
            cut(*pair),
            wall,
            length,
            allowed=frozenset({"narrow-gap", "thin-land"}),
            fine=True,
        )
    left = Run((X, Y - 5), (("A", (1.0, X, Y + 5)), ("L", (X - 8, Y + 9)), ("L", (X - 8, Y - 9)), ("L", (X, Y - 5))))
    right = Run((X, Y + 5), (("A", (-1.0, X, Y - 5)), ("L", (X + 8, Y - 9)), ("L", (X + 8, Y + 9)), ("L", (X, Y + 5))))
    wall_arc = Run((X, Y - 5), (("A", (1.0, X, Y + 5)),), closed=False).line()
    yield Fault(
        "doubled-line",
        "neighbours along an arc",
        True,
        cut(left, right),
        wall_arc,
        wall_arc.length,
        allowed=frozenset({"narrow-gap", "thin-land"}),
    )
    compound = (Shape((box(X - 3, Y, 6, 7), box(X + 3, Y, 6, 7))),)
    yield Fault(
        "doubled-line",
        "within one path",
        True,
        compound,
        shapely.LineString([(X, Y - 3.5), (X, Y + 3.5)]),
        7.0,
        formats=frozenset({SVG}),
    )
    touching = cut(circle(X - 3, Y, 3), circle(X + 3, Y, 3))
    yield Fault(
        "doubled-line", "circles that touch", False, touching, fine=True, allowed=frozenset({"narrow-gap", "thin-land"})
    )


def crossing_pieces(chance: random.Random) -> Iterator[Fault]:
    """Overlaps of many depths; one inside the other or corner to corner is none."""
    widths = frozenset({"thin-land", "narrow-gap", "small-piece"})
    for depth in (0.05, 0.3, 1.0, 3.0):
        for name, pair in (
            ("boxes", (box(X - 3, Y, 6, 8), box(X + 3 - depth, Y + 1, 6, 5))),
            ("circles", (circle(X - 4, Y, 4), circle(X + 4 - depth, Y, 4))),
            ("curves", (ellipse(X - 4, Y, 4, 5), ellipse(X + 4 - depth, Y, 4, 3))),
        ):
            shared = pair[0].polygon().intersection(pair[1].polygon())
            yield Fault("crossing-pieces", f"{name} by {depth}", True, cut(*pair), shared, allowed=widths, fine=True)
            yield Fault(
                "crossing-pieces",
                f"{name} by {depth}, filled",
                True,
                (*piece(pair[0]), *piece(pair[1])),
                shared,
                allowed=widths | {"self-crossing"},
                fine=True,
                but=frozenset({"prefixed, one path"}),
            )
    yield Fault("crossing-pieces", "one inside the other", False, cut(box(X, Y, 12, 12), circle(X, Y, 3)))
    corner = cut(box(X - 3, Y - 3, 6, 6), box(X + 3, Y + 3, 6, 6))
    yield Fault("crossing-pieces", "corner to corner", False, corner, allowed=widths, turns=False)


def crowds(chance: random.Random) -> Iterator[Fault]:
    """Nodes by how often they are more than needed; a box of lines needs four."""
    for times in (5, 9, 9.75, 10.5, 11, 40):
        count = round(4 * times)
        each = [count // 4 + (k < count % 4) for k in range(4)]
        corners = [(X - 5, Y - 5), (X + 5, Y - 5), (X + 5, Y + 5), (X - 5, Y + 5)]
        nodes: list[Point] = []
        for k, number in enumerate(each):
            (x0, y0), (x1, y1) = corners[k], corners[(k + 1) % 4]
            nodes += [(x0 + (x1 - x0) * j / number, y0 + (y1 - y0) * j / number) for j in range(number)]
        yield Fault(
            "node-crowd", f"box {times} times", times > 10, piece(polygon(*nodes)), polygon(*corners).line(), fine=True
        )
    for count, told in ((120, False), (300, False), (900, True), (3000, True)):
        # Fewest corners within 0.01 mm of a circle of 5 mm: 35 to 50, by whether they may lie beside it.
        around = [
            (X + 5 * math.cos(2 * math.pi * k / count), Y + 5 * math.sin(2 * math.pi * k / count)) for k in range(count)
        ]
        yield Fault(
            "node-crowd", f"circle of {count} lines", told, piece(polygon(*around)), circle(X, Y, 5).line(), fine=True
        )
    for parts, told in ((8, False), (24, False), (120, True), (400, True)):
        yield Fault(
            "node-crowd",
            f"ellipse of {parts} cubics",
            told,
            piece(ellipse(X, Y, 6, 4, parts)),
            ellipse(X, Y, 6, 4).line(),
            formats=frozenset({SVG}),
            fine=True,
        )


def strays(chance: random.Random) -> Iterator[Fault]:
    """Paths of no length."""
    for size, more in (
        ("move and close", f"M{X} {Y}z"),
        ("to itself", f"M{X} {Y}L{X} {Y}"),
        ("by nothing", f"M{X} {Y}h0v0z"),
        ("a curve", f"M{X} {Y}C{X} {Y} {X} {Y} {X} {Y}"),
        ("after a piece", f"M{X + 2} {Y}h5v5zM{X} {Y}h0"),
    ):
        yield Fault(
            "stray-point",
            size,
            True,
            where=spot(),
            more_svg=f'<path d="{more}"/>',
            formats=frozenset({SVG}),
            but=frozenset({"prefixed, one path"}),
        )
    yield Fault(
        "stray-point", "POINT", True, where=spot(), extras=(("point", X, Y),), formats=frozenset({DXF}), turns=False
    )
    yield Fault(
        "stray-point", "LINE", True, where=spot(), extras=(("nothing", X, Y),), formats=frozenset({DXF}), turns=False
    )
    yield Fault(
        "stray-point", "PD PU", True, where=spot(), extras=(("point", X, Y),), formats=frozenset({HPGL}), turns=False
    )
