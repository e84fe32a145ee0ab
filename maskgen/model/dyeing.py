"""Dyes, recipes, steps at the bench and the plan they make.

A recipe is the total time in each dye since the oxide was last bare (minutes); order does not count.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeAlias

MINUTES_TOLERANCE = 1e-6
"""Two times this close are the same time (contract of `plan.json`)."""


@dataclass(frozen=True, slots=True)
class Swatch:
    """A measured colour of one dye after a time."""

    minutes: float
    colour: str


@dataclass(frozen=True, slots=True)
class Dye:
    """One dye bath."""

    name: str
    swatch: tuple[Swatch, ...]
    strips: bool = True
    temperature_c: float = 60.0
    full_minutes: float = 15.0


@dataclass(frozen=True, slots=True)
class Recipe:
    """Minutes per dye, sorted by name, every time above 0; empty is bare oxide."""

    doses: tuple[tuple[str, float], ...] = ()

    @classmethod
    def of(cls, minutes: Mapping[str, float]) -> Recipe:
        """Make the canonical recipe from minutes by dye name."""
        return cls(tuple(sorted((d, round(m, 9)) for d, m in minutes.items() if m > MINUTES_TOLERANCE)))

    def minutes(self, dye: str) -> float:
        """Time in one dye, 0 where it has none."""
        return dict(self.doses).get(dye, 0.0)

    def within(self, other: Recipe) -> bool:
        """Whether every time is at most the other's: this colour can be masked on the way to that one."""
        theirs = dict(other.doses)
        return all(m <= theirs.get(d, 0.0) + MINUTES_TOLERANCE for d, m in self.doses)

    def plus(self, dye: str, minutes: float) -> Recipe:
        """Give the recipe after a further bath."""
        doses = dict(self.doses)
        doses[dye] = doses.get(dye, 0.0) + minutes
        return Recipe.of(doses)

    @property
    def bare(self) -> bool:
        """Whether no dye is in it."""
        return not self.doses


@dataclass(frozen=True, slots=True)
class MeasuredMix:
    """A coupon: this recipe gave this colour."""

    recipe: Recipe
    colour: str


@dataclass(frozen=True, slots=True)
class Shelf:
    """The dyes at hand over one oxide."""

    bare: str
    thickness_um: float
    dyes: tuple[Dye, ...]
    mixes: tuple[MeasuredMix, ...] = ()

    def dye(self, name: str) -> Dye:
        """Find a dye by name.

        Raises
        ------
        KeyError
            When the shelf has none of that name.
        """
        for dye in self.dyes:
            if dye.name == name:
                return dye
        raise KeyError(name)


@dataclass(frozen=True, slots=True)
class DyeBath:
    """Everything open goes into one dye for a time."""

    dye: str
    minutes: float


@dataclass(frozen=True, slots=True)
class ApplyMask:
    """One mask goes on, over the named regions."""

    mask: str
    regions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """Everything open is bleached back to bare oxide."""


@dataclass(frozen=True, slots=True)
class Lift:
    """These masks come off; what they covered is open again."""

    masks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Seal:
    """The end: the oxide is sealed."""


Step: TypeAlias = DyeBath | ApplyMask | Strip | Lift | Seal


@dataclass(frozen=True, slots=True)
class WantedColour:
    """One region as the planner sees it: what it may be, and what it costs by hand to mask it.

    `recipes` are the recipes that count as the wanted colour, best first; a pinned colour has one.
    `hand_work` orders plans that are otherwise equal: masking this region costs this much.
    """

    key: str
    name: str
    source: str
    recipes: tuple[Recipe, ...]
    hand_work: float = 0.0


@dataclass(frozen=True, slots=True)
class PlannedRegion:
    """A region with the recipe it gets."""

    key: str
    name: str
    source: str
    recipe: Recipe
    predicted: str
    delta_e: float
    measured: bool = False
    area_mm2: float | None = None


@dataclass(frozen=True, slots=True)
class Sequence:
    """Steps and what they cost."""

    steps: tuple[Step, ...]

    @property
    def strips(self) -> int:
        """Number of strips."""
        return sum(isinstance(s, Strip) for s in self.steps)

    @property
    def masks(self) -> int:
        """Number of masks put on."""
        return sum(isinstance(s, ApplyMask) for s in self.steps)

    @property
    def baths(self) -> int:
        """Number of dye baths."""
        return sum(isinstance(s, DyeBath) for s in self.steps)

    @property
    def lifts(self) -> int:
        """Number of times masks come off before the seal."""
        return sum(isinstance(s, Lift) for s in self.steps)


@dataclass(frozen=True, slots=True)
class Plan:
    """The dye order with its proof (`plan.json`)."""

    regions: tuple[PlannedRegion, ...]
    sequence: Sequence
    optimal: bool
    lower_bound: int
    why: tuple[str, ...] = ()
    alternatives: tuple[Sequence, ...] = ()
    notes: tuple[str, ...] = ()
