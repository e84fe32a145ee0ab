"""What a set of columns is worth, and the least that is missing: the bounds that keep the search with lifting small.

Columns (see `lift_search`) are numbered, a set of them is a whole number with one bit each. A column that is only good
while nothing open is stripped later (lasting dyes) has a number of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from maskgen.plan.lift_doses import DoseOptions

FEW_OPTIONS = 30
"""Up to so many options each is asked how many new starts it takes; with more only what all have in common is."""


@dataclass(frozen=True, slots=True)
class Missing:
    """To come within `extra` baths of the least, at least so many columns, in at least so many new starts."""

    extra: int
    columns: int
    starts: int


@dataclass(slots=True, eq=False)
class Bounds:
    """Bath counts and lower bounds for one set of recipes; answers are remembered."""

    options: Sequence[DoseOptions]
    number: dict[tuple[int, bool], int] = field(default_factory=dict)
    needs: list[list[tuple[int, int]]] = field(default_factory=list)
    _by_extra: list[list[tuple[int, NDArray[np.uint64]]]] = field(default_factory=list)
    _groups_of: list[int] = field(default_factory=list)
    _common: int = 0
    _baths: dict[int, int | None] = field(default_factory=dict)
    _counted: dict[int, list[list[tuple[int, int]]]] = field(default_factory=dict)
    _starts: dict[tuple[int, int], int] = field(default_factory=dict)
    _missing: dict[tuple[int, int], tuple[Missing, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for programme in self.options:
            sets = (
                (baths, self._set_of(columns, programme.lasting))
                for baths, columns in zip(programme.baths, programme.columns, strict=True)
            )
            self.needs.append(sorted(set(sets)))
        self._groups_of = [groups for groups, _ in self.number]
        for need in self.needs:
            shared = -1
            for _, columns in need:
                shared &= columns
            self._common |= shared
        for need in self.needs:
            least = need[0][0]
            extras = sorted({baths - least for baths, _ in need})
            whole = {e: {columns | self._common for baths, columns in need if baths - least == e} for e in extras}
            self._by_extra.append([(e, np.array(sorted(whole[e]), dtype=np.uint64)) for e in extras])

    def _set_of(self, columns: Sequence[int], lasting: bool) -> int:
        bits = 0
        for column in columns:
            bits |= 1 << self.number.setdefault((column, lasting), len(self.number))
        return bits

    @property
    def least_baths(self) -> int:
        """The baths needed with every column at hand."""
        return sum(need[0][0] for need in self.needs)

    @property
    def most_extra(self) -> int:
        """How many baths more than the least any set of columns can ask for."""
        return sum(need[-1][0] - need[0][0] for need in self.needs)

    def seen(self, open_groups: int, alive: int) -> int:
        """Give the columns (as a set) that lie open now."""
        column, bits = open_groups & alive, 0
        for clean in (False, True):
            place = self.number.get((column, clean))
            if place is not None and (not clean or open_groups == column):
                bits |= 1 << place
        return bits

    def baths(self, columns: int) -> int | None:
        """Give the fewest baths with these columns, None where they do not suffice."""
        if columns not in self._baths:
            counts = [next((b for b, w in need if not w & ~columns), None) for need in self.needs]
            self._baths[columns] = None if None in counts else sum(b for b in counts if b is not None)
        return self._baths[columns]

    def missing(self, columns: int, here: int) -> tuple[Missing, ...]:
        """Bound what is missing; `here` is the column open now. Rising extra baths, falling need."""
        key = (columns, here)
        if key not in self._missing:
            self._missing[key] = self._find_missing(columns, here)
        return self._missing[key]

    def _find_missing(self, columns: int, here: int) -> tuple[Missing, ...]:
        common = self._common & ~columns
        least_starts = self.new_starts(common, here)
        per_programme: list[list[tuple[int, int, int]]] = []
        for sets, counted in zip(self._by_extra, self._count(columns), strict=True):
            rows = []
            for (extra, options), (_, count) in zip(sets, counted, strict=True):
                few = len(options) <= FEW_OPTIONS
                starts = min(self.new_starts(w & ~columns, here) for w in options.tolist()) if few else least_starts
                rows.append((extra, count, starts))
            per_programme.append(rows)
        found: list[Missing] = []
        for extra in sorted({e for rows in per_programme for e, _, _ in rows} | set(range(self.most_extra + 1))):
            count, starts = common.bit_count(), least_starts
            for rows in per_programme:
                count = max(count, min(c for e, c, _ in rows if e <= extra))
                starts = max(starts, min(s for e, _, s in rows if e <= extra))
            if not found or (count, starts) != (found[-1].columns, found[-1].starts):
                found.append(Missing(extra, count, starts))
        return tuple(found)

    def _count(self, columns: int) -> list[list[tuple[int, int]]]:
        if columns not in self._counted:
            lacking = np.uint64(~columns & (1 << 64) - 1)
            self._counted[columns] = [
                [(extra, int(np.bitwise_count(options & lacking).min())) for extra, options in sets]
                for sets in self._by_extra
            ]
        return self._counted[columns]

    def new_starts(self, columns: int, here: int) -> int:
        """Count the new starts these columns take at least, coming from the column `here`.

        Between new starts (a lift, a strip) open groups only become more, backwards, so columns of one stretch lie
        within each other: the fewest stretches are the fewest chains that cover them, the first one free where it can
        go on from `here`. One augmenting path per column.
        """
        key = (columns, here)
        if key not in self._starts:
            sets = sorted({g for place, g in enumerate(self._groups_of) if columns >> place & 1})
            above = [[k for k, b in enumerate(sets) if not a & ~b and (row == 0 or k != row - 1)] for row, a in
                     enumerate([here, *sets])]  # fmt: skip
            before = [-1] * len(sets)
            joined = sum(_augment(row, above, before, set()) for row in range(len(above)))
            self._starts[key] = len(sets) - joined
        return self._starts[key]


def _augment(row: int, above: list[list[int]], before: list[int], tried: set[int]) -> bool:
    for column in above[row]:
        if column not in tried:
            tried.add(column)
            if before[column] < 0 or _augment(before[column], above, before, tried):
                before[column] = row
                return True
    return False
