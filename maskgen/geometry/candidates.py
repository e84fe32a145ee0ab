"""Every run worth considering between cuts, with the best line, arc or cubic for it."""

from __future__ import annotations

import numpy as np

from maskgen.geometry.arc_runs import fit_arcs
from maskgen.geometry.cubic_runs import fit_cubics
from maskgen.geometry.cubics import Flags
from maskgen.geometry.line_runs import fit_lines
from maskgen.geometry.runs import Candidates, Indices, Sums, joined
from maskgen.geometry.samples import Samples

WAYS = np.array([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 17, 20, 24, 29, 35, 42, 50, 60, 72, 86, 103, 124, 149])
"""Lengths of arcs and cubics tried, in grid cuts."""
MOST_WAY = 250
"""No run is longer than this many grid cuts; keeps very long boundaries affordable."""
MOST_TURN = np.radians(150.0)
"""A cubic turns no further."""
PERFECT = 3.0
"""A run this near to what noise explains needs no kind of curve with more freedoms."""


def candidates(samples: Samples, grid: Indices, *, most_cost: float) -> Candidates:
    """Fit every run worth considering between cuts `grid`; runs whose misfit exceeds `most_cost` are left out."""
    sums = Sums(samples)
    first, last, neighbour = _pairs(samples, grid)
    rough = sums.straightness(first, last) - (last - first - 3)
    noise = np.sqrt(2.0 * np.maximum(last - first, 1))
    maybe_straight = neighbour | (rough < most_cost + 3 * noise)
    lines = fit_lines(sums, first[maybe_straight], last[maybe_straight])
    good = np.full(len(first), np.inf)
    good[maybe_straight] = lines.misfit
    bent = np.flatnonzero(_curved(samples, grid, first, last) & (good > PERFECT) & (last - first >= 3))
    arcs = fit_arcs(sums, first[bent], last[bent])
    free = bent[(arcs.misfit > PERFECT) & (last[bent] - first[bent] >= 4)]
    curves = fit_cubics(sums, first[free], last[free])
    keep_lines = (lines.misfit < most_cost) | neighbour[maybe_straight]
    found = joined([lines.take(keep_lines), arcs.take(arcs.misfit < most_cost), curves.take(curves.misfit < most_cost)])
    found.control[...] += sums.origin
    return found


def _pairs(samples: Samples, grid: Indices) -> tuple[Indices, Indices, Flags]:
    """All pairs of cuts less than a lap apart."""
    count = len(grid)
    if samples.closed:
        around = np.concatenate([grid, grid + len(samples.places)])
        ways = min(count, MOST_WAY) - 1
        start, way = np.repeat(np.arange(count), ways), np.tile(np.arange(ways) + 1, count)
        return grid[start], around[start + way], way == 1
    begin, finish = np.triu_indices(count, 1)
    near = finish - begin < MOST_WAY
    start, stop = begin[near], finish[near]
    return grid[start], grid[stop], stop == start + 1


def _curved(samples: Samples, grid: Indices, first: Indices, last: Indices) -> Flags:
    """Which runs are worth trying as cubics: on the ladder of lengths, and not turning too far."""
    count = len(samples.places)
    rank = np.zeros(2 * count + 1, dtype=int)
    rank[grid] = np.arange(len(grid))
    if samples.closed:
        rank[grid + count] = np.arange(len(grid)) + len(grid)
    way = rank[last] - rank[first]
    # Turn between cuts from chord to chord; noise in short chords is kept out by the cuts' own spacing.
    around = np.concatenate([grid, grid + count, grid[:2] + 2 * count]) if samples.closed else grid
    chord = np.diff(samples.take(around))
    turn = np.append(0.0, np.abs(np.angle(chord[1:] * np.conj(chord[:-1]))))
    upto = np.cumsum(turn)
    inside = upto[rank[last] - 1] - upto[rank[first]]
    return np.asarray(np.isin(way, WAYS) & (inside < MOST_TURN))
