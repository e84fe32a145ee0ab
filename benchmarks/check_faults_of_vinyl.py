"""Faults of vinyl: lands, gaps, pieces; 0.03 mm either side of the limits.

Written from the meaning of the codes alone (`docs/checking.md`), nothing of the checker's code.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator

import shapely

from benchmarks.check_fault import Fault, X, Y, piece
from benchmarks.check_shapes import Run, box, circle, polygon


def _dumb_bell(neck: float, length: float = 4.0) -> Run:
    h, k = neck / 2, length / 2
    return polygon(
        (X - 6, Y - 4),
        (X - k, Y - 4),
        (X - k, Y - h),
        (X + k, Y - h),
        (X + k, Y - 4),
        (X + 6, Y - 4),
        (X + 6, Y + 4),
        (X + k, Y + 4),
        (X + k, Y + h),
        (X - k, Y + h),
        (X - k, Y + 4),
        (X - 6, Y + 4),
    )


def _wedge(degrees: float, length: float = 8.0) -> Run:
    half = length * math.tan(math.radians(degrees / 2))
    return polygon(
        (X + length / 2, Y),
        (X - length / 2, Y + half),
        (X - length, Y + half),
        (X - length, Y - half),
        (X - length / 2, Y - half),
    )


def thin_lands(chance: random.Random) -> Iterator[Fault]:
    """Necks, walls, strips, waists of arcs, tips; 0.03 mm either side of 0.8."""
    for width in (0.3, 0.6, 0.77, 0.83, 1.0):
        told, value = width < 0.8, width if width < 0.8 else None
        neck = shapely.box(X - 2.1, Y - width / 2, X + 2.1, Y + width / 2)
        more = {"fine": True, "allowed": frozenset({"small-piece"} if width < 0.4 else ())}
        yield Fault("thin-land", f"neck {width}", told, piece(_dumb_bell(width)), neck, value, **more)
        yield Fault("thin-land", f"short neck {width}", told, piece(_dumb_bell(width, 1.5)), neck, value, **more)
        wall = piece(circle(X, Y, 5), circle(X, Y, 5 - width).reversed())
        yield Fault("thin-land", f"round wall {width}", told, wall, shapely.Point(X, Y).buffer(5.01), value, **more)
        strip = box(X, Y, 12, width)
        yield Fault("thin-land", f"strip {width}", told, piece(strip), strip.polygon(), value, **more)
        gap = 4.0
        waist = Run(
            (X - 6, Y - gap),
            (
                ("L", (X - 3, Y - gap)),
                ("A", (-1.0, X + 3, Y - gap)),
                ("L", (X + 6, Y - gap)),
                ("L", (X + 6, Y + 3 - gap + width + 5)),
                ("L", (X - 6, Y + 3 - gap + width + 5)),
                ("L", (X - 6, Y - gap)),
            ),
        )
        hole = box(X, Y + 3 - gap + width + 1.0, 6, 2.0)
        at = shapely.box(X - 1.5, Y + 3 - gap - 0.3, X + 1.5, Y + 3 - gap + width)
        yield Fault("thin-land", f"under an arc {width}", told, piece(waist, hole.reversed()), at, value, **more)
    for degrees in (20.0, 34.0, 36.0, 50.0):
        tip = _wedge(degrees)
        told = degrees < 35
        where = tip.polygon().intersection(shapely.Point(X + 4, Y).buffer(2.7))
        yield Fault("thin-land", f"tip of {degrees:.0f} degrees", told, piece(tip), where, fine=True)


def narrow_gaps(chance: random.Random) -> Iterator[Fault]:
    """Slots, gaps between pieces, rings, notches; 0.03 mm either side of 0.5."""
    for width in (0.2, 0.4, 0.47, 0.53, 0.8):
        told, value = width < 0.5, width if width < 0.5 else None
        h = width / 2
        slot = polygon(
            (X - 6, Y - 5),
            (X + 6, Y - 5),
            (X + 6, Y + 5),
            (X + h, Y + 5),
            (X + h, Y - 2),
            (X - h, Y - 2),
            (X - h, Y + 5),
            (X - 6, Y + 5),
        )
        yield Fault(
            "narrow-gap", f"slot {width}", told, piece(slot), shapely.box(X - h, Y - 2, X + h, Y + 5), value, fine=True
        )
        pair = (*piece(box(X - 4 - h, Y, 8, 8)), *piece(box(X + 4 + h, Y, 8, 8)))
        yield Fault(
            "narrow-gap",
            f"between pieces {width}",
            told,
            pair,
            shapely.box(X - h, Y - 4, X + h, Y + 4),
            value,
            fine=True,
        )
        round_pair = (*piece(circle(X - 4 - h, Y, 4)), *piece(circle(X + 4 + h, Y, 4)))
        at = shapely.box(X - h, Y - 0.8, X + h, Y + 0.8)
        yield Fault("narrow-gap", f"between circles {width}", told, round_pair, at, value, fine=True)
        window = piece(box(X, Y, 14, 10), box(X, Y, 8, width).reversed())
        yield Fault(
            "narrow-gap", f"window {width}", told, window, shapely.box(X - 4, Y - h, X + 4, Y + h), value, fine=True
        )
        ring = piece(circle(X, Y, 8), circle(X, Y, 4 + width).reversed(), circle(X, Y, 4))
        yield Fault(
            "narrow-gap",
            f"ring {width}",
            told,
            ring,
            shapely.Point(X, Y).buffer(4 + width),
            value,
            fine=True,
            allowed=frozenset({"loose-island"}),
        )
    for degrees in (20.0, 34.0, 36.0, 50.0):
        half = 4.0 * math.tan(math.radians(degrees / 2))
        notch = polygon(
            (X - 8, Y - 5), (X + 8, Y - 5), (X + 8, Y + 4), (X + half, Y + 4), (X, Y), (X - half, Y + 4), (X - 8, Y + 4)
        )
        where = shapely.Point(X, Y).buffer(1.7)
        yield Fault("narrow-gap", f"notch of {degrees:.0f} degrees", degrees < 35, piece(notch), where, fine=True)


def pieces(chance: random.Random) -> Iterator[Fault]:
    """Pieces by area, and pieces in openings."""
    for area in (0.7, 1.45, 1.55, 3.0):
        for name, run in (
            ("box", box(X, Y, math.sqrt(area), math.sqrt(area))),
            ("disc", circle(X, Y, math.sqrt(area / math.pi))),
        ):
            told = area < 1.5
            yield Fault(
                "small-piece", f"{area} {name}", told, piece(run), run.polygon(), area if told else None, fine=True
            )
    for side in (3.0, 6.0):
        island = box(X, Y, side, side)
        island_shapes = (*piece(box(X, Y, 18, 16), box(X, Y, 12, 11).reversed()), *piece(island))
        for carrier, severity in (("tape", "warning"), ("stencil", "error"), ("loose", "warning")):
            yield Fault(
                "loose-island",
                f"{side} {carrier}",
                True,
                island_shapes,
                island.polygon(),
                severity=severity,
                options=(("carrier", carrier),),
            )
    empty = piece(box(X, Y, 18, 16), box(X, Y, 12, 11).reversed())
    yield Fault("loose-island", "an empty opening", False, empty)
    outside = (*empty, *piece(circle(X + 11, Y + 12, 2)))
    yield Fault("loose-island", "a piece beside", False, outside)
