"""All plans with lifting that no other beats on strips, masks, baths and lifts: the search.

It runs backwards, from the seal to the first bath. A state is which masks lie on which groups of colours, and which
groups are alive: not stripped at a later time, so that what they get now, they keep. While groups lie open, a bath
gives the same dye to all of them; of this only the alive part, the column, matters. Backwards, a mask coming on opens
its groups, a lift covers some open groups with masks, and a strip kills what lies open. At the beginning everything is
open. Which baths to give, in which of the columns seen on the way, is for `lift_doses`: a path is worth the columns it
has seen, and of two paths to one state the one that is no cheaper in strips, masks or lifts and has seen no other
columns is dropped.

A path is also dropped when every plan it can lead to is beaten by one already found: each step backwards that is not a
strip shows one new column at most; each mask on must still come on; each lift puts another one on; and columns that do
not lie within each other need a lift or a strip between (`Bounds.missing`). What promises the shortest plan goes first.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache

from maskgen.plan.lift_bounds import Bounds
from maskgen.plan.lift_doses import DoseOptions

MOST_GROUPS = 5
MOST_STATES = 60_000
"""States looked at before giving up the proof: some seconds to a minute."""

Blocks = tuple[int, ...]
"""The masks that are on: each the groups under it, as bits; rising."""


@dataclass(frozen=True, slots=True)
class Counts:
    """What a path costs so far, or a plan in all."""

    strips: int
    masks: int
    lifts: int

    def within(self, other: Counts) -> bool:
        """Whether this is no more than the other in any count."""
        return self.strips <= other.strips and self.masks <= other.masks and self.lifts <= other.lifts


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """A state on a path; `later` is the stage that follows it in time, None at the seal."""

    blocks: Blocks
    alive: int
    counts: Counts
    seen: int
    later: Stage | None


@dataclass(frozen=True, slots=True)
class Front:
    """The plans found: for each the stage at the beginning, with its baths; and whether there are no others."""

    plans: tuple[tuple[Counts, int, Stage], ...]
    proven: bool


def search(groups: int, options: Sequence[DoseOptions]) -> Front:
    """Find every plan that no other beats.

    Parameters
    ----------
    groups
        Number of different recipes, at most `MOST_GROUPS` for an answer in good time.
    options
        How the doses of these recipes can be given.
    """
    return _Search(groups, Bounds(options), any(programme.lasting for programme in options)).run()


@cache
def divisions(groups: int) -> tuple[Blocks, ...]:
    """List every way to divide a set of groups (bits) among masks."""
    if not groups:
        return ((),)
    lowest = groups & -groups
    rest = groups ^ lowest
    return tuple(tuple(sorted((lowest | part, *others))) for part in subsets(rest) for others in divisions(rest ^ part))


def subsets(groups: int) -> Iterator[int]:
    """Go through all subsets of a set of bits, the empty one last."""
    part = groups
    while part:
        yield part
        part = (part - 1) & groups
    yield 0


@dataclass(slots=True, eq=False)
class _Search:
    groups: int
    bounds: Bounds
    lasting: bool
    plans: dict[tuple[int, int, int, int], Stage] = field(default_factory=dict)
    _reached: dict[tuple[Blocks, int], list[tuple[Counts, int]]] = field(default_factory=dict)
    _queue: list[tuple[int, int, int, int, Stage]] = field(default_factory=list)
    _pushed: int = 0

    def run(self) -> Front:
        everything = (1 << self.groups) - 1
        for covered in (*subsets(everything),):
            for blocks in divisions(covered):
                self._push(blocks, everything, Counts(0, 0, 0), 0, None)
        looked_at = 0
        while self._queue and looked_at < MOST_STATES:
            stage = heapq.heappop(self._queue)[-1]
            if self._promising(stage):
                looked_at += 1
                self._go_back(stage)
        best = {cost: stage for cost, stage in self.plans.items() if not self._beaten_plan(cost)}
        plans = tuple((Counts(s, m, n), baths, stage) for (s, m, baths, n), stage in sorted(best.items()))
        return Front(plans, proven=not self._queue)

    def _go_back(self, stage: Stage) -> None:
        counts, open_groups = stage.counts, self._open(stage.blocks)
        masked = Counts(counts.strips, counts.masks + 1, counts.lifts)
        for block in stage.blocks:
            fewer = tuple(b for b in stage.blocks if b != block)
            self._push(fewer, stage.alive, masked, stage.seen, stage)
        survivors = stage.alive & ~open_groups
        if survivors and survivors != stage.alive:
            stripped = Counts(counts.strips + 1, counts.masks, counts.lifts)
            self._push(stage.blocks, survivors, stripped, stage.seen, stage)
        lifted = Counts(counts.strips, counts.masks, counts.lifts + 1)
        for part in subsets(open_groups if self.lasting else open_groups & stage.alive):
            for blocks in divisions(part) if part else ():
                self._push(tuple(sorted(stage.blocks + blocks)), stage.alive, lifted, stage.seen, stage)

    def _push(self, blocks: Blocks, alive: int, counts: Counts, seen: int, later: Stage | None) -> None:
        stage = Stage(blocks, alive, counts, seen | self.bounds.seen(self._open(blocks), alive), later)
        reached = self._reached.setdefault((blocks, alive), [])
        if any(not stage.seen & ~other and cost.within(counts) for cost, other in reached):
            return
        if not self._promising(stage):
            return
        reached.append((counts, stage.seen))
        baths = self.bounds.baths(stage.seen)
        if not blocks and baths is not None and not self._beaten(counts, baths):
            self.plans[counts.strips, counts.masks, baths, counts.lifts] = stage
        self._pushed += 1
        shortest = min(c.strips + c.masks + c.lifts for c, extra in self._ways_on(stage) if extra == 0)
        heapq.heappush(self._queue, (shortest, counts.strips, -counts.masks - counts.lifts, self._pushed, stage))

    def _promising(self, stage: Stage) -> bool:
        least = self.bounds.least_baths
        return any(not self._beaten(counts, least + extra) for counts, extra in self._ways_on(stage))

    def _ways_on(self, stage: Stage) -> Iterator[tuple[Counts, int]]:
        """Give lower bounds of what plans through this stage cost, with their baths beyond the least."""
        counts, masks_on = stage.counts, len(stage.blocks)
        for missing in self.bounds.missing(stage.seen, self._open(stage.blocks) & stage.alive):
            for strips in range(min(missing.starts, self.groups - 1 - counts.strips) + 1):
                lifts = missing.starts - strips
                while True:
                    masks = max(masks_on + lifts, missing.columns - lifts)
                    more = Counts(counts.strips + strips, counts.masks + masks, counts.lifts + lifts)
                    yield more, missing.extra
                    if missing.columns - lifts <= masks_on + lifts:
                        break
                    lifts += 1

    def _beaten(self, counts: Counts, baths: int) -> bool:
        return any(
            s <= counts.strips and m <= counts.masks and n <= counts.lifts and b <= baths for s, m, b, n in self.plans
        )

    def _beaten_plan(self, cost: tuple[int, int, int, int]) -> bool:
        return any(other != cost and all(a <= b for a, b in zip(other, cost, strict=True)) for other in self.plans)

    def _open(self, blocks: Blocks) -> int:
        return (1 << self.groups) - 1 - sum(blocks)
