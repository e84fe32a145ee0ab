"""What may share a run: between two strips all open oxide has one history, so its recipe only grows."""

from __future__ import annotations

from dataclasses import dataclass

from maskgen.model.dyeing import Recipe, Shelf
from maskgen.model.job import Permission


@dataclass(frozen=True, slots=True)
class Rules:
    """Whether a colour may be reached on top of another in one run, and which dyes no strip takes out."""

    overdye: Permission = Permission.ALLOW
    lasting: frozenset[str] = frozenset()

    @classmethod
    def of(cls, shelf: Shelf, overdye: Permission) -> Rules:
        """Take the lasting dyes from the shelf."""
        return cls(overdye, frozenset(dye.name for dye in shelf.dyes if not dye.strips))

    def may_precede(self, first: Recipe, then: Recipe) -> bool:
        """Whether the first may be masked on the way to the second; a partial order, a recipe comes before itself."""
        if self.overdye is Permission.ALLOW or first.bare or first == then:
            return first.within(then)
        return len(first.doses) == len(then.doses) == 1 and first.within(then)

    def lasts(self, recipe: Recipe) -> bool:
        """Whether this colour cannot be stripped."""
        return any(dye in self.lasting for dye, _ in recipe.doses)


def added_baths(first: Recipe, then: Recipe) -> int:
    """Count the baths from one recipe to a later one of the same run: one per dye that grows."""
    return sum(then.minutes(dye) != first.minutes(dye) for dye, _ in then.doses)
