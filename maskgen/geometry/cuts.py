"""Where a boundary may be cut into runs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from maskgen.geometry.cubics import Floats
from maskgen.geometry.runs import Indices, Sums
from maskgen.geometry.samples import Samples

MOST_WAY = 250
"""No run is longer than this many cuts; keeps very long boundaries affordable."""
NEAR_GROUPS = 3
"""A second choice may drop so many joints of the first, less one, from a run."""
EVERY_SAMPLE = 48
"""Boundaries up to this many samples may be cut anywhere."""
CUT_EVERY, CUT_TURN = 11.0, np.radians(24.0)
"""A cut is offered at least every so many steps, or every so much turn."""
STRAIGHT_DOUBT = 0.0
"""A stretch is straight if its chi-square about a line exceeds its mean by no more than so many of its deviations."""
SHARP = np.radians(14.0)
"""Places that turn more than this over two or three steps are offered as cuts whatever the grid."""


def cuts(samples: Samples, forced: Indices) -> Indices:
    """Choose sample indices where runs may begin and end, ascending; the ends of an open boundary among them."""
    count = len(samples.places)
    if count <= EVERY_SAMPLE:
        return np.arange(count)
    sigma = float(np.median(samples.sigma))
    reach = int(np.clip(round(2 + 9 * sigma), 2, 5))
    turn, noise = _turns(samples, reach)
    size = np.abs(turn)
    bend = np.maximum(size - 2 * noise, 0.0) / reach
    grow = np.diff(samples.arc)[: count if samples.closed else count - 1] / CUT_EVERY
    grow = grow + bend[: len(grow)] / CUT_TURN
    steady = np.floor(np.append(0.0, np.cumsum(grow)))
    regular = np.flatnonzero(np.diff(steady) > 0)
    sharp = _peaks(size, max(SHARP, 2.5 * noise), samples.closed)
    if reach > 2:
        near, near_noise = _turns(samples, 2)
        sharp = np.union1d(sharp, _peaks(np.abs(near), max(2 * SHARP, 3.5 * near_noise), samples.closed))
    fixed = np.union1d(sharp, forced)
    if not samples.closed:
        fixed = np.union1d(fixed, [0, count - 1])
    if len(fixed):
        gap = np.abs(regular[:, None] - fixed[None])
        gap = np.minimum(gap, count - gap) if samples.closed else gap
        regular = regular[gap.min(axis=1) > 2]
    regular = _thinned(samples, regular, fixed)
    chosen = np.union1d(fixed, regular)
    return np.asarray(chosen if len(chosen) > 3 else np.union1d(chosen, np.arange(4) * count // 4), dtype=np.int_)


def _thinned(samples: Samples, regular: Indices, fixed: Indices) -> Indices:
    """Drop every other regular cut, again and again, where the stretch between its neighbours is straight."""
    sums = Sums(samples)
    while len(regular) > 4:
        both = np.union1d(regular, fixed)
        before, cut, after = both[:-2], both[1:-1], both[2:]
        count = after - before
        straight = sums.straightness(before, after) < count + STRAIGHT_DOUBT * np.sqrt(2.0 * count)
        straight &= np.isin(cut, regular)
        # Of two neighbours only one goes at a time.
        straight[1::2] = False
        if not straight.any():
            break
        regular = np.setdiff1d(regular, cut[straight])
    return regular


def _turns(samples: Samples, reach: int) -> tuple[Floats, float]:
    """Turn between the chords to the samples `reach` before and after; its deviation from noise alone."""
    index = np.arange(len(samples.places))
    ahead, behind = index + reach, index - reach
    if not samples.closed:
        ahead, behind = np.minimum(ahead, index[-1]), np.maximum(behind, 0)
    turn = np.angle((samples.take(ahead) - samples.places) * np.conj(samples.places - samples.take(behind)))
    noise = float(np.median(samples.sigma)) * np.sqrt(6.0) / reach
    if not samples.closed:
        turn[0] = turn[-1] = 0.0
    return turn, noise


def _peaks(size: Floats, least: float, closed: bool) -> Indices:
    before, after = np.roll(size, 1), np.roll(size, -1)
    if not closed:
        before[0] = after[-1] = 0.0
    return np.flatnonzero((size >= before) & (size > after) & (size > least))


@dataclass(frozen=True, slots=True, eq=False)
class Grid:
    """Samples offered as cuts, ascending, and the group of each; runs join groups up to `reach` apart."""

    at: Indices
    group: Indices
    groups: int
    reach: int


def coarse(samples: Samples, forced: Indices) -> Grid:
    """Cuts spread by length and turn, each a group of its own."""
    at = cuts(samples, forced)
    return Grid(at, np.arange(len(at)), len(at), MOST_WAY)


def around(samples: Samples, grid: Grid, joints: Indices, forced: Indices) -> Grid:
    """Cuts close about the joints a first choice made, to place them better; forced ones stay where they are."""
    count = len(samples.places)
    places = np.concatenate([grid.at - count, grid.at, grid.at + count]) if samples.closed else grid.at
    spot = np.searchsorted(places, joints)
    back = joints - places[np.maximum(spot - 1, 0)]
    ahead = places[np.minimum(spot + 1, len(places) - 1)] - joints
    shifts = [np.zeros(len(joints), dtype=int)]
    for share in (0.25, 0.5):
        shifts += [-np.ceil(share * back).astype(int), np.ceil(share * ahead).astype(int)]
    at = (joints + np.stack(shifts)).T
    at[np.isin(joints, forced)] = joints[np.isin(joints, forced), None]
    if samples.closed:
        at = at % count
    else:
        at[[0, -1]] = joints[[0, -1], None]
    at = np.unique(at)
    # A cut belongs to the nearest joint; past the last it may belong to the first of the next lap.
    order = np.sort(joints)
    following = np.append(order[1:], order[0] + count) if samples.closed else order[1:]
    group = np.searchsorted((order[: len(following)] + following) / 2, at, side="right")
    return Grid(at, group, len(joints), NEAR_GROUPS)
