"""Pairs of chords of a drawing that touch or nearly touch, found once for every rule that needs them.

Bounded: a drawing whose lines lie so densely on one another that the pairs would fill the memory is turned away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from maskgen.check.lines import CutLine
from maskgen.errors import InputError

NEAR_MM = 0.005
"""Lines within this are one line cut twice."""
MOST_PAIRS = 2_500_000
SAMPLE = 64

Indices = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Chords:
    """All chords of all lines: ends (n, 2, 2), the line each belongs to, where along that line it starts (mm)."""

    ends: Floats
    line: Indices
    start: Floats
    length: Floats
    totals: Floats
    closed: NDArray[np.bool_]

    @classmethod
    def of(cls, lines: Sequence[CutLine]) -> Chords:
        """Collect the chords of lines."""
        edges = [line.edges for line in lines]
        counts = [len(e) for e in edges]
        ends = np.concatenate(edges) if edges else np.zeros((0, 2, 2))
        length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
        owner = np.repeat(np.arange(len(lines)), counts)
        along = np.cumsum(length) - length
        first = np.cumsum([0, *counts])[:-1]
        offset = along[np.minimum(first, max(len(along) - 1, 0))] if len(along) else np.zeros(len(lines))
        totals = np.array([line.length_mm for line in lines])
        return cls(ends, owner, along - offset[owner], length, totals, np.array([x.closed for x in lines], dtype=bool))


def near_pairs(chords: Chords) -> Indices:
    """Give all pairs (n, 2) of chords within `NEAR_MM` of one another, the lower number first.

    Raises
    ------
    InputError
        When there are more than anybody could mean.
    """
    count = len(chords.ends)
    if count < 2:
        return np.zeros((0, 2), dtype=np.int64)
    lines = shapely.linestrings(chords.ends)
    tree = shapely.STRtree(lines)
    _refuse_crowds(tree, lines)
    found: list[Indices] = []
    total = 0
    step = 20_000
    for begin in range(0, count, step):
        a, b = tree.query(lines[begin : begin + step], predicate="dwithin", distance=NEAR_MM)
        a = a + begin
        kept = a < b
        total += int(kept.sum())
        if total > MOST_PAIRS:
            raise _too_dense()
        found.append(np.stack([a[kept], b[kept]], axis=1))
    return np.concatenate(found).astype(np.int64)


def _refuse_crowds(tree: shapely.STRtree, lines: NDArray[np.object_]) -> None:
    """Estimate the pairs of bounding boxes from a sample before any are collected."""
    if len(lines) < 1000:
        return
    picked = np.linspace(0, len(lines) - 1, SAMPLE).astype(int)
    hits = sum(len(tree.query(lines[k])) for k in picked)
    if hits / SAMPLE * len(lines) > 4 * MOST_PAIRS:
        raise _too_dense()


def _too_dense() -> InputError:
    return InputError(
        "the lines cross and cover one another too densely to be judged", mend="delete hatching and repeated copies"
    )
