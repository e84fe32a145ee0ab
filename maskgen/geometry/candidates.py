"""Every run worth considering between cuts, with the best line, arc or cubic for it."""

from __future__ import annotations

import numpy as np

from maskgen.geometry.arc_runs import fit_arcs
from maskgen.geometry.cubic_runs import fit_cubics
from maskgen.geometry.cubics import Flags
from maskgen.geometry.cuts import Grid
from maskgen.geometry.line_runs import fit_lines
from maskgen.geometry.prices import FREEDOMS, freedom_price
from maskgen.geometry.runs import ARC, CUBIC, LINE, Candidates, Indices, Sums, joined
from maskgen.geometry.samples import Samples

WAYS = np.array([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 17, 20, 24, 29, 35, 42, 50, 60, 72, 86, 103, 124, 149])
"""Lengths of arcs and cubics tried, in grid cuts."""
LADDER_FROM = 10
"""A grid whose runs reach further than this many groups tries arcs and cubics on a ladder of lengths only."""
MOST_TURN = np.radians(165.0)
"""A cubic turns no further."""
SPARE = 8.0
"""A kind that costs up to this much more than a simpler one is kept: its ends may fit the neighbours better."""


def candidates(samples: Samples, grid: Grid, *, most_cost: float) -> Candidates:
    """Fit every run worth considering between cuts; runs whose misfit exceeds `most_cost` are left out."""
    sums = Sums(samples)
    price = freedom_price(len(samples.places))
    first, last, ways = _pairs(samples, grid)
    neighbour = ways == 1
    rough = sums.straightness(first, last) - (last - first - 3)
    noise = np.sqrt(2.0 * np.maximum(last - first, 1))
    maybe_straight = neighbour | (rough < most_cost + 3 * noise)
    lines = fit_lines(sums, first[maybe_straight], last[maybe_straight])
    # What the simplest kind so far costs: a kind with more freedoms must beat it.
    least = np.full(len(first), most_cost)
    least[maybe_straight] = np.minimum(most_cost, lines.misfit + price * FREEDOMS[LINE])
    tried = (least > price * FREEDOMS[ARC]) & (last - first >= 3) & _bendable(samples, first, last)
    if grid.reach > LADDER_FROM:
        tried &= np.isin(ways, WAYS)
    bent = np.flatnonzero(tried)
    arcs = fit_arcs(sums, first[bent], last[bent])
    arc_costs = arcs.misfit + price * FREEDOMS[ARC]
    worth = arc_costs < least[bent] + SPARE
    least[bent] = np.minimum(least[bent], arc_costs)
    free = bent[(least[bent] > price * FREEDOMS[CUBIC]) & (last[bent] - first[bent] >= 4)]
    curves = fit_cubics(sums, first[free], last[free], least[free] + SPARE - price * FREEDOMS[CUBIC])
    keep_lines = (lines.misfit < most_cost) | neighbour[maybe_straight]
    found = joined([lines.take(keep_lines), arcs.take(worth), curves])
    found.control[...] += sums.origin
    return found


def _pairs(samples: Samples, grid: Grid) -> tuple[Indices, Indices, Indices]:
    """Pairs of cuts less than a lap and no more than the grid's reach apart; how many cuts on."""
    at, group, count = grid.at, grid.group, len(grid.at)
    ways = count - 1 - np.arange(count)
    if samples.closed:
        at, group = np.append(at, at + len(samples.places)), np.append(group, group + grid.groups)
        ways = np.full(count, count - 1)
    far = np.searchsorted(group, group[:count] + grid.reach, side="right") - 1 - np.arange(count)
    ways = np.minimum(ways, far)
    start = np.repeat(np.arange(count), ways)
    stop = start + 1 + np.arange(len(start)) - np.repeat(np.cumsum(ways) - ways, ways)
    return at[start], at[stop], stop - start


def _bendable(samples: Samples, first: Indices, last: Indices) -> Flags:
    """Which runs do not turn too far for one cubic, from first to middle to last, by chords over several steps."""
    reach = int(np.clip(round(2 + 9 * float(np.median(samples.sigma))), 2, 5))
    count = len(samples.places)
    index = np.arange(2 * count if samples.closed else count)
    low, high = index - reach, index + reach
    if not samples.closed:
        low, high = np.maximum(low, 0), np.minimum(high, count - 1)
    way = np.unwrap(np.angle(samples.take(high) - samples.take(low)))
    # Chords across a corner at the run's end look past it: keep to the inside.
    inset = np.minimum(reach, (last - first) // 3)
    a, b, c = way[first + inset], way[(first + last) // 2], way[last - inset]
    return np.asarray((np.abs(c - a) < MOST_TURN) & (np.abs(b - a) < MOST_TURN) & (np.abs(c - b) < MOST_TURN))
