"""What is odd about a dye shelf that can be read: remarks, none of which stops the work."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise

from maskgen.colour.mix import ColourModel
from maskgen.colour.spaces import difference, hex_to_lab
from maskgen.model.dyeing import Dye, Recipe, Shelf
from maskgen.model.finding import Severity

NOTICEABLE = 1.0
"""CIEDE2000, just noticeable by convention."""


@dataclass(frozen=True, slots=True)
class Remark:
    """One remark on a shelf: what it is about as a word, how bad, and in full."""

    code: str
    severity: Severity
    message: str
    mend: str


def check_shelf(model: ColourModel) -> tuple[Remark, ...]:
    """Find dyes that look alike, shades that run the wrong way, dyes that last, dyes known by one swatch."""
    shelf = model.shelf
    return (
        *_alike(model),
        *(remark for dye in shelf.dyes for remark in _wrong_way(dye, shelf)),
        *(remark for dye in shelf.dyes for remark in _single_swatch(dye)),
        *(remark for dye in shelf.dyes for remark in _lasting(dye)),
    )


def _alike(model: ColourModel) -> Iterator[Remark]:
    full = {d.name: model.predict(Recipe.of({d.name: d.full_minutes})).colour for d in model.shelf.dyes}
    for first, second in combinations(full, 2):
        delta_e = difference(full[first], full[second])
        if delta_e < NOTICEABLE:
            yield Remark(
                "alike-dyes",
                Severity.WARNING,
                f"`{first}` and `{second}` look alike at their full time: {full[first]} and {full[second]} differ by "
                f"{delta_e:.2f}, just noticeable is {NOTICEABLE:g} (CIEDE2000)",
                "check the swatches, or take one of them off the shelf",
            )


def _wrong_way(dye: Dye, shelf: Shelf) -> Iterator[Remark]:
    known = [(0.0, shelf.bare), *((s.minutes, s.colour) for s in sorted(dye.swatch, key=lambda s: s.minutes))]
    for (early, before), (late, after) in pairwise(known):
        gain = float(hex_to_lab(after)[0] - hex_to_lab(before)[0])
        if gain > 0.0 and difference(before, after) >= NOTICEABLE:
            then = "the bare oxide" if early == 0.0 else f"{early:g} minutes"
            yield Remark(
                "lighter-with-time",
                Severity.WARNING,
                f"`{dye.name}` is lighter at {late:g} minutes ({after}) than at {then} ({before}), by {gain:.1f} in L*",
                "measure the coupons again: more time gives a deeper shade",
            )


def _single_swatch(dye: Dye) -> Iterator[Remark]:
    if len(dye.swatch) == 1:
        yield Remark(
            "one-swatch",
            Severity.NOTE,
            f"`{dye.name}` has one swatch: how fast it takes is assumed, not fitted",
            "dye a second coupon for another time",
        )


def _lasting(dye: Dye) -> Iterator[Remark]:
    if not dye.strips:
        yield Remark(
            "not-strippable",
            Severity.NOTE,
            f"`{dye.name}` does not strip: it can only stand in the last run",
            "write `strips = true` only if a coupon of it came clean in bleach",
        )
