"""What a known fault is: what is added to a clean drawing, and what is to be found of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import shapely
from shapely.geometry.base import BaseGeometry

from benchmarks.check_shapes import Run, Shape

X, Y = 95.0, 40.0
SVG, DXF, HPGL = "svg", "dxf", "hpgl"
ALL = frozenset((SVG, DXF, HPGL))
DRAWN = frozenset((DXF, HPGL))


@dataclass(frozen=True)
class Fault:
    """What is added to a clean drawing, and what is to be found of it.

    `where`: the place told must lie within 0.2 mm of this (None: anywhere). `allowed`: codes that are no false alarm
    beside it. `fine`: sizes finer than whole plotter steps. `whole`: it needs a page of its own, nothing beside it.
    `options`: settings of the checker by name.
    """

    code: str
    size: str
    expected: bool
    shapes: tuple[Shape, ...] = ()
    where: BaseGeometry | None = None
    value: float | None = None
    severity: str | None = None
    allowed: frozenset[str] = frozenset()
    formats: frozenset[str] = ALL
    more_svg: str = ""
    extras: tuple[tuple[Any, ...], ...] = ()
    fine: bool = False
    turns: bool = True
    behind: bool = False
    whole: bool = False
    but: frozenset[str] = frozenset()
    """Writers that cannot say it."""
    options: tuple[tuple[str, Any], ...] = ()


def cut(*runs: Run) -> tuple[Shape, ...]:
    """Lines to cut, each a path of its own."""
    return tuple(Shape((run,), filled=False) for run in runs)


def piece(*runs: Run) -> tuple[Shape, ...]:
    """One piece with its openings."""
    return (Shape(runs),)


def spot(x: float = X, y: float = Y) -> BaseGeometry:
    """A point."""
    return shapely.Point(x, y)
