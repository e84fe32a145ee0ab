"""Cuts a run of the pen into dashes (SVG 2, 13.5.7)."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from maskgen.geometry.bezier import between, control_of, gentle_parts, points_on
from maskgen.model.drawing import Stroke, SubPath
from maskgen.model.paths import Line, Points, Segment

MOST_DASHES = 20_000


def dashed(run: SubPath, stroke: Stroke) -> Iterator[SubPath]:
    """Cut a run into dashes.

    Raises
    ------
    ValueError
        For more dashes than anybody draws.
    """
    parts = [p for s in run.segments() for p in gentle_parts(s)]
    lengths = [_length_table(p) for p in parts]
    total = sum(float(table[-1]) for table in lengths)
    period = sum(stroke.dashes)
    if total / period * len(stroke.dashes) > MOST_DASHES:
        raise ValueError("more dashes than anybody draws")
    place = -(stroke.dash_offset % period)
    k = 0
    while place < total:
        length = stroke.dashes[k % len(stroke.dashes)]
        if k % 2 == 0 and place + length > 0.0:
            yield _stretch(parts, lengths, max(place, 0.0), min(place + length, total))
        place += length
        k += 1


def _stretch(parts: list[Segment], lengths: list[Points], begin: float, end: float) -> SubPath:
    rows, straight = [], []
    offset = 0.0
    for part, table in zip(parts, lengths, strict=True):
        whole = float(table[-1])
        a, b = max(begin - offset, 0.0), min(end - offset, whole)
        if whole > 0.0 and b > a:
            t0, t1 = np.interp([a, b], table, np.linspace(0.0, 1.0, len(table)))
            rows.append(between(control_of(part), float(t0), float(t1)))
            straight.append(isinstance(part, Line))
        offset += whole
    control = np.array(rows).reshape(-1, 4, 2)
    start = tuple(map(float, control[0, 0])) if len(control) else parts[0].start
    return SubPath(start, control, np.array(straight, dtype=np.bool_), False)  # type: ignore[arg-type]


def _length_table(part: Segment) -> Points:
    count = 2 if isinstance(part, Line) else 65
    points = points_on(control_of(part), np.linspace(0.0, 1.0, count))
    if isinstance(part, Line):
        points = np.array([part.start, part.end])
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
