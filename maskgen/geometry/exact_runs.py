"""Smooth runs of polygons to the fewest cubics that stay within a tolerance: always the longest that does.

Many runs go forward together: every round tries a ladder of ends for the next cubic of each, all solved as one array,
so that a letter costs little more than its longest run, and a drawing of a thousand letters less than a thousand.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from maskgen.geometry.cubics import (
    Flags,
    Floats,
    Places,
    Spans,
    bezier,
    distance_to_polyline,
    dot,
    fit_spans,
    to_cubic,
    unit,
)
from maskgen.model.paths import Line, Segment

MOST_TURN = np.radians(130.0)
"""One cubic does not turn further: beyond, its error grows out of all use."""
SAMPLES = 20
"""Samples per candidate cubic while searching; the final check looks at every vertex."""
LADDER = 12
"""Ends tried at once for a curve."""
TOGETHER = 64
"""Runs that go forward together: more gain nothing and take memory."""

Ends = NDArray[np.int_]


@dataclass(frozen=True, slots=True, eq=False)
class Run:
    """An open smooth run: vertices, tangents, whether the end tangents are only guesses, turn up to every vertex."""

    places: Places
    tangents: Places
    start_free: bool
    end_free: bool
    turned: Floats
    tolerance: float


@dataclass(frozen=True, slots=True, eq=False)
class _Trial:
    """Cubics to be tried from one vertex of a run to each of some others."""

    run: Run
    first: int
    ends: Ends


def fit_runs(runs: Sequence[Run]) -> list[list[Segment]]:
    """Cover every run: longest cubics first, then the same number spread evenly if that holds too."""
    covers = [_Cover(run) for run in runs]
    waiting = iter(covers)
    active: list[_Cover] = []
    while True:
        active += itertools.islice(waiting, TOGETHER - len(active))
        if not active:
            break
        for cover, (end, segment) in zip(active, _furthest([cover.trial for cover in active]), strict=True):
            cover.take(end, segment)
        active = [cover for cover in active if not cover.done]
    return _spread(covers)


def _spread(covers: Sequence[_Cover]) -> list[list[Segment]]:
    """Put the joints of every run where equal turns lie between them, if the cubics between those hold."""
    trials = [list(cover.even()) for cover in covers]
    found = iter(_furthest_in_turn([trial for some in trials for trial in some]))
    whole: list[list[Segment]] = []
    for cover, some in zip(covers, trials, strict=True):
        spread = [next(found)[1] for _ in some]
        held = [segment for segment in spread if segment is not None]
        whole.append(held if held and len(held) == len(spread) else cover.pieces)
    return whole


@dataclass(slots=True, eq=False)
class _Cover:
    """How far the covering of a run has come: the cubics found, and the search for the next one."""

    run: Run
    pieces: list[Segment] = field(default_factory=list)
    place: int = 0
    best: tuple[int, Segment | None] = (0, None)
    trial: _Trial = field(init=False)

    def __post_init__(self) -> None:
        self._begin()

    @property
    def done(self) -> bool:
        return self.place >= len(self.run.places) - 1

    def take(self, end: int, segment: Segment | None) -> None:
        """Go on from what was found: look closer about the furthest end that held, or go to the next cubic."""
        if segment is not None:
            self.best = (end, segment)
        beyond = self.trial.ends[self.trial.ends > self.best[0]]
        if len(beyond) and beyond[0] - self.best[0] > 1:
            self._try(self.best[0] + 1, int(beyond[0]) - 1)
            return
        self.place, found = self.best
        assert found is not None
        self.pieces.append(found)
        if not self.done:
            self._begin()

    def even(self) -> Iterator[_Trial]:
        """Give as many cubics with an equal turn in each; none where there is but one."""
        if len(self.pieces) == 1:
            return
        run, count = self.run, len(self.run.places)
        even = np.interp(np.linspace(0, run.turned[-1], len(self.pieces) + 1), run.turned, np.arange(count))
        wanted = np.unique(np.rint(even).astype(int))
        if wanted[0] == 0 and wanted[-1] == count - 1:
            yield from (_Trial(run, int(a), np.array([b])) for a, b in itertools.pairwise(wanted))

    def _begin(self) -> None:
        run, first = self.run, self.place
        last = len(run.places) - 1
        reach = int(np.searchsorted(run.turned, run.turned[first] + MOST_TURN, side="right"))
        # One straight edge if nothing holds.
        self.best = (first + 1, edge(run.places, first))
        self._try(first + 1, max(first + 1, min(last, reach)))

    def _try(self, low: int, high: int) -> None:
        first = self.place
        ends = np.unique(np.rint(np.linspace(low - first, high - first, LADDER)).astype(int)) + first
        self.trial = _Trial(self.run, first, ends)


def edge(places: Places, k: int) -> Line:
    """Give an edge of a polygon."""
    a, b = places[k], places[k + 1]
    return Line((float(a.real), float(a.imag)), (float(b.real), float(b.imag)))


def _furthest_in_turn(trials: Sequence[_Trial]) -> Iterator[tuple[int, Segment | None]]:
    most = TOGETHER * LADDER
    for begin in range(0, len(trials), most):
        yield from _furthest(trials[begin : begin + most])


def _furthest(trials: Sequence[_Trial]) -> list[tuple[int, Segment | None]]:
    """Fit the cubics of every trial and give the furthest end that holds; else its first vertex."""
    spans, straight = _spans(trials)
    control, distances = fit_spans(spans)
    tolerance = np.repeat([trial.run.tolerance for trial in trials], [len(trial.ends) for trial in trials])
    # A single edge between two tangents that do not lie along it is better straight than as a flourish.
    within = (np.abs(distances).max(axis=1) <= tolerance) & straight
    found: list[tuple[int, Segment | None]] = []
    begin = 0
    for trial in trials:
        found.append((trial.first, None))
        for k in np.flatnonzero(within[begin : begin + len(trial.ends)])[::-1]:
            end = int(trial.ends[k])
            if _holds(control[begin + k], trial.run.places[trial.first : end + 1], trial.run.tolerance):
                found[-1] = (end, to_cubic(control[begin + k]))
                break
        begin += len(trial.ends)
    return found


def _spans(trials: Sequence[_Trial]) -> tuple[Spans, Flags]:
    """Sample what each cubic is to replace; and whether it may be a cubic at all."""
    share = np.linspace(0.0, 1.0, SAMPLES)
    places, starts, finals, begins, closes, may = [], [], [], [], [], []
    for trial in trials:
        run, first, ends = trial.run, trial.first, trial.ends
        places.append(run.places[np.rint(first + share * (ends[:, None] - first)).astype(int)])
        starts.append(np.repeat(run.tangents[first], len(ends)))
        finals.append(run.tangents[ends])
        begins.append(np.full(len(ends), run.start_free and first == 0))
        closes.append((ends == len(run.places) - 1) & run.end_free)
        along = unit(run.places[ends] - run.places[first])
        may.append((ends > first + 1) | (dot(along, starts[-1]) > 0.9))
    sampled = np.concatenate(places)
    spans = Spans(
        sampled,
        np.ones(sampled.shape),
        np.concatenate(starts),
        np.concatenate(finals),
        np.concatenate(begins),
        np.concatenate(closes),
    )
    return spans, np.concatenate(may)


def _holds(control: Places, places: Places, tolerance: float) -> bool:
    """Check both ways: every vertex near the curve, every place of the curve near the polygon."""
    t = np.linspace(0.0, 1.0, max(33, min(2 * len(places) + 1, 257)))[None]
    curve = bezier(control[None], t)[0]
    if distance_to_polyline(curve, places).max() > tolerance:
        return False
    return bool(distance_to_polyline(places, curve).max() <= tolerance)
