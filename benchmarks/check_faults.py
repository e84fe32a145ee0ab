"""All known faults, one to a file, on both sides of every limit.

A fault is put where nothing of the clean drawing lies within 14 mm, turned by a random angle where possible.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import shapely

from benchmarks.check_fault import Fault, X, Y
from benchmarks.check_faults_of_lines import crossing_pieces, crowds, doubled_lines, open_paths, self_crossings, strays
from benchmarks.check_faults_of_sheets import backing_panels, off_sheet, pen_strokes, scales, seen
from benchmarks.check_faults_of_vinyl import narrow_gaps, pieces, thin_lands
from benchmarks.check_shapes import about


def faults(chance: random.Random) -> Iterator[Fault]:
    """Give all faults, each turned by its own random angle."""
    makers: Sequence[Callable[[random.Random], Iterator[Fault]]] = (
        open_paths,
        self_crossings,
        doubled_lines,
        crossing_pieces,
        backing_panels,
        seen,
        pen_strokes,
        off_sheet,
        thin_lands,
        narrow_gaps,
        pieces,
        crowds,
        strays,
        scales,
    )
    for make in makers:
        for fault in make(chance):
            yield _turned(fault, chance.uniform(0.0, 2 * math.pi)) if fault.turns else fault


def _turned(fault: Fault, turn: float) -> Fault:
    matrix = about(X, Y, turn)
    where = fault.where
    if where is not None:
        where = shapely.affinity.affine_transform(where, [matrix[k] for k in (0, 2, 1, 3, 4, 5)])
    return replace(fault, shapes=tuple(s.mapped(matrix) for s in fault.shapes), where=where)
