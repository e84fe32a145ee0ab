"""What the bench should know about a plan besides its steps: each note with its source, or `common practice`."""

from __future__ import annotations

from collections.abc import Sequence

from maskgen.colour.spaces import hex_to_lab
from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, PlannedRegion, Shelf, Step, Strip

PASTEL_OXIDE_UM = 2.5
BLACK_OXIDE_UM = 25.0
"""0.1 mil for pastels, 1.0 mil for very dark shades and black: Metal Finishing Guidebook 2011-12, p. 412."""
MANY_STRIPS = 3
HOT_C = 60.0
"""Usual for organic dyes (the same page); vinyl warms through, and its edges pull back."""
SEALING_C = 80.0
"""From here on hot water turns oxide into boehmite and closes the pores."""
LONG_MINUTES = 60.0


def advice(regions: Sequence[PlannedRegion], steps: Sequence[Step], shelf: Shelf) -> tuple[str, ...]:
    """Write the notes of a plan, the most important first."""
    notes = (
        _thin_oxide(regions, shelf),
        _many_strips(steps),
        _hot_baths(steps, shelf),
        _lasting_dyes(regions, shelf),
        _predicted_mixtures(regions),
        _bath_time(steps),
    )
    return tuple(note for note in notes if note)


def oxide_needed_um(colour: str, bare: str) -> float:
    """Estimate the oxide a shade needs, from its lightness: a straight line from pastel to black."""
    depth = 1.0 - float(hex_to_lab(colour)[0]) / float(hex_to_lab(bare)[0])
    return PASTEL_OXIDE_UM + (BLACK_OXIDE_UM - PASTEL_OXIDE_UM) * min(max(depth, 0.0), 1.0)


def _thin_oxide(regions: Sequence[PlannedRegion], shelf: Shelf) -> str:
    needs = {r.name: oxide_needed_um(r.predicted, shelf.bare) for r in regions if not r.recipe.bare}
    thin = {name: need for name, need in needs.items() if need > shelf.thickness_um}
    if not thin:
        return ""
    each = ", ".join(f"{name} about {need:.0f} µm" for name, need in thin.items())
    return (
        f"The oxide ({shelf.thickness_um:g} µm) may be too thin for the depth asked: {each} (2.5 µm for pastels up to "
        "25 µm for black, Metal Finishing Guidebook 2011-12 p. 412, in between a straight line; another supplier calls "
        "10 µm enough for some blacks, finishingandcoating.com). Dye a coupon first."
    )


def _many_strips(steps: Sequence[Step]) -> str:
    strips = sum(isinstance(step, Strip) for step in steps)
    if strips < MANY_STRIPS:
        return ""
    return (
        f"{strips} strips: bleach is alkaline and wears the oxide, which dissolves above about pH 10 "
        "(mechanicsupport.blogspot.com 2011); no source says how many strips it bears. Keep each one short, rinse at "
        "once, and take a coupon through all of them first (common practice, no source)."
    )


def _hot_baths(steps: Sequence[Step], shelf: Shelf) -> str:
    masks: set[str] = set()
    minutes, hottest = 0.0, 0.0
    for step in steps:
        match step:
            case ApplyMask(mask, _):
                masks.add(mask)
            case Lift(lifted):
                masks -= set(lifted)
            case DyeBath(dye, time) if masks and shelf.dye(dye).temperature_c >= HOT_C:
                minutes += time
                hottest = max(hottest, shelf.dye(dye).temperature_c)
    if not minutes:
        return ""
    sealing = (
        " Above 80 °C the oxide also begins to seal (alufinish.de), and takes neither dye nor bleach evenly any more."
        if hottest >= SEALING_C
        else ""
    )
    return (
        f"Vinyl is on for {minutes:g} minutes in dye of up to {hottest:g} °C: warm film shrinks back from its edge and "
        "sticks harder (tested at 70 °C by FINAT FTM 14). Use cast film, burnish the edges before every bath (common "
        f"practice, no source).{sealing}"
    )


def _lasting_dyes(regions: Sequence[PlannedRegion], shelf: Shelf) -> str:
    lasting = [d.name for d in shelf.dyes if not d.strips and any(r.recipe.minutes(d.name) for r in regions)]
    if not lasting:
        return ""
    return (
        f"Hypochlorite does not take out {' or '.join(lasting)} (marked so on the shelf; true of inorganic colours by "
        "their chemistry, no source states it): no strip may follow on oxide that holds it."
    )


def _predicted_mixtures(regions: Sequence[PlannedRegion]) -> str:
    names = [r.name for r in regions if len(r.recipe.doses) > 1 and not r.measured]
    if not names:
        return ""
    return (
        f"Predicted, not measured: {', '.join(names)}. A second dye finds fewer free places in the oxide than the "
        "first (Langmuir), so overdyeing may come out weaker than shown: dye a coupon, put it on the shelf (a [[mix]])."
    )


def _bath_time(steps: Sequence[Step]) -> str:
    minutes = [step.minutes for step in steps if isinstance(step, DyeBath)]
    if not minutes:
        return ""
    total = sum(minutes)
    text = f"Dye baths: {total:g} minutes in all, in {len(minutes)} {'bath' if len(minutes) == 1 else 'baths'}."
    if total > LONG_MINUTES:
        text += (
            " That is long for film and glue, of which no source gives the life in a dye bath: look at every edge "
            "before each bath (common practice, no source)."
        )
    return text
