"""How many nodes a line needs: straight runs for what is drawn straight, cubics where the file itself draws curves.

Curves are counted for all lines at once: every stretch between corners is fitted with one cubic by least squares, and
halved where that is not within the tolerance. The count is an upper bound of the fewest possible; where the verdict
hangs on it, the line is fitted anew with the fewest cubics.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import LineString

from maskgen.check.lines import CutLine
from maskgen.geometry.fitting import fit_exact
from maskgen.model.paths import Points

WITHIN_MM = 0.01
TOO_MANY = 10
"""Times the nodes needed from which a line is crowded."""
FEWEST = 3
"""No closed line needs fewer."""
BOUND_SLACK = 2.0
"""The count by halving is less than this many times the fewest."""
MOST_REFITTED, MOST_CORNERS = 12, 3000
"""Lines of a file, and corners of each, that are fitted anew to settle a close verdict."""
CORNER = np.cos(np.radians(30.0))
SAMPLES = 17
ROUNDS = 4

Floats = NDArray[np.float64]
Indices = NDArray[np.int64]


def crowded(lines: Sequence[CutLine]) -> dict[int, int]:
    """Give the lines with more than ten times the nodes they need, and how many those are."""
    suspects = [k for k, line in enumerate(lines) if line.nodes > TOO_MANY * FEWEST]
    needed = {k: len(thinned(lines[k])) - (0 if lines[k].closed else 1) for k in suspects}
    curved = [k for k in suspects if not all(bool(run.straight.all()) for run in lines[k].runs)]
    curved = [k for k in curved if lines[k].nodes <= TOO_MANY * needed[k]]
    counts = count_cubics([lines[k] for k in curved])
    close = 0
    for k, count in zip(curved, counts, strict=True):
        line = lines[k]
        if (
            count >= line.nodes / TOO_MANY > count / BOUND_SLACK
            and line.closed
            and close < MOST_REFITTED
            and len(line.points) <= MOST_CORNERS
        ):
            close += 1
            count = min(count, len(fit_exact(line.points, tolerance=WITHIN_MM).segments))
        needed[k] = min(needed[k], count)
    return {k: max(n, 1) for k, n in needed.items() if lines[k].nodes > TOO_MANY * max(n, 1)}


def thinned(line: CutLine) -> Points:
    """Give the corners left when every other lies within `WITHIN_MM` of the straight runs between them."""
    points = line.points
    if line.closed:
        # The search keeps its ends: begin at a point that is far out, so certain to be needed.
        first = int(points[:, 0].argmin())
        points = np.vstack([points[first:], points[: first + 1]])
    kept: Points = shapely.get_coordinates(shapely.simplify(LineString(points), WITHIN_MM, preserve_topology=False))
    return kept[:-1] if line.closed else kept


def count_cubics(lines: Sequence[CutLine]) -> list[int]:
    """Give for every line a number of cubics that draw it within `WITHIN_MM`."""
    if not lines:
        return []
    runs = [np.vstack([line.points, line.points[:1]]) if line.closed else line.points for line in lines]
    steps = [np.hypot(*np.diff(run, axis=0).T) for run in runs]
    # One axis for all lines, each after the one before.
    base = np.cumsum([0.0, *(float(s.sum()) + 1.0 for s in steps)])
    places = np.concatenate([base[k] + np.r_[0.0, np.cumsum(s)] for k, s in enumerate(steps)])
    points = np.concatenate(runs)
    spans, owner = _first_spans(runs, steps, base)
    counts = np.zeros(len(lines), dtype=np.int64)
    while len(spans):
        fits = _fits(spans, places, points)
        counts += np.bincount(owner[fits], minlength=len(lines))
        rest, owner = spans[~fits], owner[~fits]
        middle = rest.mean(axis=1)
        spans = np.concatenate([np.stack([rest[:, 0], middle], axis=1), np.stack([middle, rest[:, 1]], axis=1)])
        owner = np.concatenate([owner, owner])
    result: list[int] = counts.tolist()
    return result


def _first_spans(runs: Sequence[Points], steps: Sequence[Floats], base: Floats) -> tuple[Floats, Indices]:
    """Cut lines at their corners, those without any in three."""
    spans, owner = [], []
    for k, (run, step) in enumerate(zip(runs, steps, strict=True)):
        along = np.r_[0.0, np.cumsum(step)]
        way = np.diff(run, axis=0) / np.where(step > 0, step, 1.0)[:, None]
        corners = np.flatnonzero(np.einsum("ij,ij->i", way[:-1], way[1:]) < CORNER) + 1
        cuts = along[np.unique(np.r_[0, corners, len(run) - 1])]
        if len(cuts) < 4:
            cuts = np.unique(np.r_[cuts, np.linspace(0.0, along[-1], FEWEST + 1)])
        spans.append(base[k] + np.stack([cuts[:-1], cuts[1:]], axis=1))
        owner.append(np.full(len(cuts) - 1, k, dtype=np.int64))
    return np.concatenate(spans), np.concatenate(owner)


def _fits(spans: Floats, places: Floats, points: Points) -> NDArray[np.bool_]:
    """Tell which spans one cubic draws within the tolerance (anything of no length is drawn)."""
    share = np.linspace(0.0, 1.0, SAMPLES)
    at = spans[:, :1] + (spans[:, 1:] - spans[:, :1]) * share
    target = np.stack([np.interp(at, places, points[:, 0]), np.interp(at, places, points[:, 1])], axis=-1)
    t = np.broadcast_to(share, at.shape).copy()
    error = np.full(len(spans), np.inf)
    start, end = target[:, :1], target[:, -1:]
    for _ in range(ROUNDS):
        b0, b1, b2, b3 = (1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3
        rest = target - b0[..., None] * start - b3[..., None] * end
        m11, m12, m22 = (b1 * b1).sum(axis=1), (b1 * b2).sum(axis=1), (b2 * b2).sum(axis=1)
        r1, r2 = np.einsum("ij,ijk->ik", b1, rest), np.einsum("ij,ijk->ik", b2, rest)
        det = (m11 * m22 - m12 * m12)[:, None]
        c1 = (m22[:, None] * r1 - m12[:, None] * r2) / det
        c2 = (m11[:, None] * r2 - m12[:, None] * r1) / det
        legs = np.stack([c1 - start[:, 0], c2 - c1, end[:, 0] - c2], axis=1)
        drawn = b0[..., None] * start + b1[..., None] * c1[:, None] + b2[..., None] * c2[:, None] + b3[..., None] * end
        away = target - drawn
        error = np.minimum(error, np.hypot(*np.moveaxis(away, -1, 0)).max(axis=1))
        slope = 3 * (
            ((1 - t) ** 2)[..., None] * legs[:, None, 0]
            + (2 * t * (1 - t))[..., None] * legs[:, None, 1]
            + (t**2)[..., None] * legs[:, None, 2]
        )
        speed = np.maximum(np.einsum("ijk,ijk->ij", slope, slope), 1e-18)
        t = np.clip(t + np.einsum("ijk,ijk->ij", away, slope) / speed, 0.0, 1.0)
        t[:, 0], t[:, -1] = 0.0, 1.0
    fits: NDArray[np.bool_] = (error <= WITHIN_MM) | (spans[:, 1] - spans[:, 0] < WITHIN_MM)
    return fits
