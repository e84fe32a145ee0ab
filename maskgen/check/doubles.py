"""Stretches of line that would be cut twice.

Two chords cover one another where they run the same way (or straight back) within `NEAR_MM`; what hangs together along
a line is one stretch. Curves that merely touch leave one another quadratically: their stretch shrinks to 0.7 when the
distance is halved, one that is truly doubled does not; touching is no doubling.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.check.near import NEAR_MM, Chords

SHORTEST_MM = 0.02
"""Shorter stretches are crossings and touches of corners."""
LINK_MM = 0.02
"""Stretches this near along a line hang together (corners of one copy cut off by rounding)."""
SAME_WAY = np.cos(np.radians(20.0))
"""Chords of curves flattened from different ends turn up to some ten degrees against one another."""
TOUCH_RATIO = (0.45, 0.88)

Indices = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Doubled:
    """A stretch of `line`, from `begin` to `end` along it (mm), that lies on stretches of `others`."""

    line: int
    begin: float
    end: float
    others: tuple[int, ...]

    @property
    def length_mm(self) -> float:
        """How long it is."""
        return self.end - self.begin


def find_doubled(chords: Chords, pairs: Indices) -> tuple[Doubled, ...]:
    """Find every stretch that lies on another one, told once: on the line that comes later."""
    wide, narrow = (_covered(chords, pairs, reach) for reach in (NEAR_MM, NEAR_MM / 2))
    found: list[Doubled] = []
    for line in np.unique(wide.line).tolist():
        mine = wide.of(line)
        inner = narrow.of(line)
        for begin, end, members in _stretches(mine, chords.totals[line], bool(chords.closed[line])):
            length = end - begin
            partners = mine.other[members]
            if length < SHORTEST_MM or _merely_touches(begin, end, inner):
                continue
            lower = np.unique(partners[partners < line])
            own = partners[partners == line]
            if len(lower):
                found.append(Doubled(line, begin, end, tuple(lower.tolist())))
            elif len(own):
                # Of the two stretches of one line the later counts.
                far = mine.other_at[members][partners == line]
                if begin > float(far.min()) + 1e-9 or end - begin > chords.totals[line] * 0.9:
                    found.append(Doubled(line, begin, end, (line,)))
    return tuple(_once(found))


@dataclass(frozen=True, eq=False)
class _Cover:
    """Intervals along lines that another chord covers, sorted by line and place."""

    line: Indices
    begin: Floats
    end: Floats
    other: Indices
    other_at: Floats

    def of(self, line: int) -> _Cover:
        a, b = np.searchsorted(self.line, [line, line + 1])
        return _Cover(self.line[a:b], self.begin[a:b], self.end[a:b], self.other[a:b], self.other_at[a:b])


def _covered(chords: Chords, pairs: Indices, reach: float) -> _Cover:
    both = np.concatenate([pairs, pairs[:, ::-1]])
    a, b = both.T
    pa, qa = chords.ends[a, 0], chords.ends[a, 1]
    pb, qb = chords.ends[b, 0], chords.ends[b, 1]
    la, lb = chords.length[a], chords.length[b]
    usable = (la > 0) & (lb > 0)
    ua = (qa - pa) / np.where(usable, la, 1.0)[:, None]
    ub = (qb - pb) / np.where(usable, lb, 1.0)[:, None]
    along = np.einsum("ij,ij->i", ua, ub)
    usable &= np.abs(along) >= SAME_WAY
    usable &= ~((along > 0) & _neighbours(chords, a, b))
    a, b, pa, ua, pb, ub, la, lb, along = (v[usable] for v in (a, b, pa, ua, pb, ub, la, lb, along))
    # Distance of the point at s along a from the line of b is |d0 + s d1|; its foot lies at f0 + s along.
    normal = np.stack([-ub[:, 1], ub[:, 0]], axis=1)
    d0, d1 = np.einsum("ij,ij->i", pa - pb, normal), np.einsum("ij,ij->i", ua, normal)
    f0 = np.einsum("ij,ij->i", pa - pb, ub)
    low, high = _interval(d0, d1, -reach, reach)
    first, last = _interval(f0, along, np.zeros(len(lb)), lb)
    low, high = np.maximum(np.maximum(low, first), 0.0), np.minimum(np.minimum(high, last), la)
    # Sharp chevrons cover one another only next to their tip.
    kept = high - low > np.where((along < 0) & (chords.line[a] == chords.line[b]), SHORTEST_MM, 1e-9)
    a, b, low, high, f0, along = (v[kept] for v in (a, b, low, high, f0, along))
    start = chords.start[a]
    other_at = chords.start[b] + f0 + (low + high) / 2 * along
    line = chords.line[a]
    order = np.lexsort((start + low, line))
    return _Cover(line[order], (start + low)[order], (start + high)[order], chords.line[b][order], other_at[order])


def _interval(offset: Floats, slope: Floats, low: Floats | float, high: Floats | float) -> tuple[Floats, Floats]:
    """Give where `low <= offset + s slope <= high`."""
    flat = np.abs(slope) < 1e-12
    safe = np.where(flat, 1.0, slope)
    u, v = (low - offset) / safe, (high - offset) / safe
    inside = (offset >= low) & (offset <= high)
    begin = np.where(flat, np.where(inside, -np.inf, np.inf), np.minimum(u, v))
    end = np.where(flat, np.where(inside, np.inf, -np.inf), np.maximum(u, v))
    return begin, end


def _neighbours(chords: Chords, a: Indices, b: Indices) -> NDArray[np.bool_]:
    """Tell chords that follow one another on one line nearly at once."""
    first, second = np.minimum(a, b), np.maximum(a, b)
    apart = chords.start[second] - chords.start[first] - chords.length[first]
    total = chords.totals[chords.line[a]]
    around = np.where(
        chords.closed[chords.line[a]],
        total - (chords.start[second] + chords.length[second]) + chords.start[first],
        np.inf,
    )
    near: NDArray[np.bool_] = (chords.line[a] == chords.line[b]) & (np.minimum(apart, around) < 4 * NEAR_MM)
    return near


def _stretches(cover: _Cover, total: float, closed: bool) -> list[tuple[float, float, Indices]]:
    """Link intervals to stretches; on a closed line the last and the first may be one."""
    if not len(cover.begin):
        return []
    reached = np.maximum.accumulate(cover.end)
    breaks = np.flatnonzero(cover.begin[1:] > reached[:-1] + LINK_MM) + 1
    groups = np.split(np.arange(len(cover.begin)), breaks)
    found = [(float(cover.begin[g[0]]), float(cover.end[g].max()), g) for g in groups]
    if closed and len(found) > 1 and found[0][0] + total - found[-1][1] <= LINK_MM:
        begin, _, late = found.pop()
        _, end, early = found.pop(0)
        found.append((begin, end + total, np.concatenate([late, early])))
    return found


def _merely_touches(begin: float, end: float, inner: _Cover) -> bool:
    within = (inner.end > begin) & (inner.begin < end)
    if not within.any():
        return False
    low, high = inner.begin[within], inner.end[within]
    reached = np.maximum.accumulate(np.concatenate([[low[0]], high[:-1]]))
    covered = float(np.maximum(high - np.maximum(low, reached), 0.0).sum())
    return TOUCH_RATIO[0] < covered / (end - begin) < TOUCH_RATIO[1] and end - begin < 2.0


def _once(found: list[Doubled]) -> list[Doubled]:
    """Drop the mirror of a stretch of a line on itself."""
    kept: list[Doubled] = []
    for one in found:
        if one.others == (one.line,) and any(
            k.line == one.line and k.others == (one.line,) and abs(k.length_mm - one.length_mm) < LINK_MM for k in kept
        ):
            continue
        kept.append(one)
    return kept


def is_copy(doubled: Doubled, chords: Chords) -> bool:
    """Tell whether the whole of a line is doubled."""
    return doubled.length_mm >= float(chords.totals[doubled.line]) - 2 * LINK_MM
