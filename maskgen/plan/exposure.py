"""Which masks lie on the part when, and how many strips every edge of vinyl has to bear.

The steps are replayed once; the growth of a mask and the laps follow from what is counted here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from maskgen.errors import InputError
from maskgen.model.dyeing import ApplyMask, Lift, Step, Strip


@dataclass(frozen=True, slots=True)
class Stay:
    """One mask's time on the part: over which regions, from which step, until which step (the seal at the latest)."""

    mask: str
    regions: tuple[str, ...]
    on: int
    off: int

    def lies_at(self, step: int) -> bool:
        """Whether the mask is on the part while a step is done."""
        return self.on < step < self.off


@dataclass(frozen=True, slots=True)
class Schedule:
    """The masks in the order they go on, and the indices of the strips."""

    stays: tuple[Stay, ...]
    strips: tuple[int, ...]

    def exposures(self, stay: Stay, region: str) -> int:
        """Count the strips at which the edge of a mask towards a region is open: the mask on, the region under none."""
        return sum(
            stay.lies_at(strip) and not any(region in s.regions and s.lies_at(strip) for s in self.stays)
            for strip in self.strips
        )

    def beneath(self, stay: Stay) -> tuple[Stay, ...]:
        """Give the masks that already lie on the part when this one goes on."""
        return tuple(other for other in self.stays if other.lies_at(stay.on))


def may_lap(upper: Stay, lower: Stay) -> bool:
    """Whether a mask may run onto one below it: not when that comes off first and would pull it along."""
    return lower.off >= upper.off


def schedule(steps: Sequence[Step]) -> Schedule:
    """Replay the steps.

    Raises
    ------
    InputError
        When a mask goes on twice, or one is lifted that is not on the part.
    """
    begun: dict[str, tuple[tuple[str, ...], int]] = {}
    ended: dict[str, int] = {}
    strips = []
    for index, step in enumerate(steps):
        match step:
            case ApplyMask(mask=mask, regions=regions):
                if mask in begun:
                    raise InputError(f"mask {mask} goes on twice", where=f"step {index + 1}", mend="number masks once")
                begun[mask] = (regions, index)
            case Lift(masks=masks):
                for mask in masks:
                    if mask not in begun or mask in ended:
                        raise InputError(
                            f"mask {mask} is not on the part and cannot be lifted",
                            where=f"step {index + 1}",
                            mend="lift only masks that are on",
                        )
                    ended[mask] = index
            case Strip():
                strips.append(index)
            case _:
                pass
    stays = tuple(Stay(mask, regions, on, ended.get(mask, len(steps))) for mask, (regions, on) in begun.items())
    return Schedule(stays, tuple(strips))
