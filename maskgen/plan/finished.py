"""Findings about the finished colours: what the shelf cannot reach, and neighbours too alike."""

from __future__ import annotations

from collections.abc import Iterable

from maskgen.colour.spaces import contrast_ratio, difference
from maskgen.model.dyeing import Plan, PlannedRegion, Recipe
from maskgen.model.finding import Code, Finding, Severity

GRAPHICS_CONTRAST = 3.0
"""WCAG 2.1, success criterion 1.4.11: graphics against the colours beside them."""
ALIKE_DELTA_E = 10.0
"""CIEDE2000 under which two colours still look similar at a glance (common practice, no source): a difference of hue
tells colours apart that have little contrast."""


def recipe_text(recipe: Recipe) -> str:
    """Write a recipe as a person says it."""
    return " + ".join(f"{dye} {minutes:g} min" for dye, minutes in recipe.doses) or "bare oxide"


def unreached_findings(plan: Plan, *, matched: Iterable[str], tolerance_delta_e: float) -> tuple[Finding, ...]:
    """Name the colours no recipe of the shelf comes near.

    Parameters
    ----------
    matched
        Keys of the regions whose recipe was looked for; a recipe the job states is meant as it stands.
    """
    keys = set(matched)
    return tuple(
        Finding(
            Code.COLOUR_UNREACHED,
            Severity.WARNING,
            f"`{r.name}` {r.source}: no recipe of the shelf comes within {tolerance_delta_e:g} (CIEDE2000); the "
            f"nearest is {r.predicted} at {r.delta_e:.1f}, {recipe_text(r.recipe)}",
            "take that colour, state a recipe, add a dye to the shelf, or raise match_delta_e",
            value=round(r.delta_e, 2),
            limit=tolerance_delta_e,
        )
        for r in plan.regions
        if r.key in keys and r.delta_e > tolerance_delta_e
    )


def contrast_findings(plan: Plan, neighbours: Iterable[tuple[str, str]]) -> tuple[Finding, ...]:
    """Name pairs of neighbouring regions whose finished colours are hard to tell apart, each pair once."""
    regions = {region.key: region for region in plan.regions}
    pairs = sorted({(min(a, b), max(a, b)) for a, b in neighbours if a != b})
    findings = (_contrast_finding(regions[a], regions[b]) for a, b in pairs)
    return tuple(finding for finding in findings if finding is not None)


def _contrast_finding(first: PlannedRegion, second: PlannedRegion) -> Finding | None:
    ratio = contrast_ratio(first.predicted, second.predicted)
    delta_e = difference(first.predicted, second.predicted)
    if ratio >= GRAPHICS_CONTRAST or delta_e >= ALIKE_DELTA_E:
        return None
    return Finding(
        Code.LOW_CONTRAST,
        Severity.WARNING,
        f"`{first.name}` {first.predicted} beside `{second.name}` {second.predicted}: contrast {ratio:.2f}:1 (WCAG "
        f"asks {GRAPHICS_CONTRAST:g}:1 of graphics), difference {delta_e:.1f} (CIEDE2000)",
        "choose a lighter or darker recipe for one of them",
        value=round(ratio, 2),
        limit=GRAPHICS_CONTRAST,
    )
