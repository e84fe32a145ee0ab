"""Where bleach comes in through drilled holes: no vinyl closes them, so every strip eats outwards from their rims."""

from __future__ import annotations

from collections.abc import Sequence

from shapely.geometry import Point as Place

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.dyeing import ApplyMask, Lift, Plan, Strip
from maskgen.model.job import Hole
from maskgen.model.masks import Mask
from maskgen.plan.masks import HOLE_CLEARANCE_MM

NEAR_MM = 2 * HOLE_CLEARANCE_MM
"""Vinyl this near a hole's rim ends at it."""


def rim_notes(plan: Plan, masks: Sequence[Mask], *, holes: Sequence[Hole], creep_mm: float) -> tuple[str, ...]:
    """Say round which holes a rim of another colour is to be expected, how wide, and how to keep bleach out."""
    strips = strips_under(plan)
    vinyl = {mask.number: to_multipolygon(mask.area) for mask in masks if strips[mask.number]}
    notes = []
    for hole in holes:
        rim = Place(*hole.at_mm).buffer(hole.diameter_mm / 2 + NEAR_MM)
        widths = {number: creep_mm * strips[number] for number, shape in vinyl.items() if shape.intersects(rim)}
        if widths and max(widths.values()) > 0.0:
            x, y = hole.at_mm
            under = " and ".join(f"{width:.2f} mm under {number}" for number, width in widths.items())
            notes.append(
                f"Bleach comes in through the {hole.diameter_mm:g} mm hole at {x:.1f}, {y:.1f} mm and creeps {under}: "
                "plug the hole before the first strip, or expect a rim of another colour round it."
            )
    return tuple(notes)


def strips_under(plan: Plan) -> dict[str, int]:
    """Count the strips each mask lies through."""
    on: dict[str, int] = {}
    gone: set[str] = set()
    for step in plan.sequence.steps:
        if isinstance(step, ApplyMask):
            on[step.mask] = 0
        elif isinstance(step, Strip):
            on.update({number: count + 1 for number, count in on.items() if number not in gone})
        elif isinstance(step, Lift):
            gone.update(step.masks)
    return on
