"""The plan as `plan.json`: fixed keys in a fixed order, the same bytes for the same plan."""

from __future__ import annotations

import json
from typing import Any

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Plan, PlannedRegion, Seal, Sequence, Step, Strip

MINUTES_DIGITS = 6
DELTA_E_DIGITS = 2
AREA_DIGITS = 3


def write_plan(plan: Plan, **more: Any) -> bytes:
    """Write `plan.json`, ended by a line feed; `more` are further keys, after the fixed ones."""
    return (json.dumps({**plan_document(plan), **more}, ensure_ascii=False, indent=2) + "\n").encode()


def plan_document(plan: Plan) -> dict[str, Any]:
    """Give the plan as plain values."""
    return {
        "regions": [_region(region) for region in plan.regions],
        **_sequence(plan.sequence),
        "optimal": plan.optimal,
        "lower_bound": plan.lower_bound,
        "why": list(plan.why),
        "alternatives": [_sequence(alternative) for alternative in plan.alternatives],
        "notes": list(plan.notes),
    }


def _region(region: PlannedRegion) -> dict[str, Any]:
    table: dict[str, Any] = {
        "id": region.key,
        "name": region.name,
        "source": region.source,
        "recipe": [{"dye": dye, "minutes": _minutes(minutes)} for dye, minutes in region.recipe.doses],
        "predicted": region.predicted,
        "delta_e": round(region.delta_e, DELTA_E_DIGITS),
        "measured": region.measured,
    }
    if region.area_mm2 is not None:
        table["area_mm2"] = round(region.area_mm2, AREA_DIGITS)
    return table


def _sequence(sequence: Sequence) -> dict[str, Any]:
    return {
        "steps": [_step(step) for step in sequence.steps],
        "strips": sequence.strips,
        "masks": sequence.masks,
        "baths": sequence.baths,
        "lifts": sequence.lifts,
    }


def _step(step: Step) -> dict[str, Any]:
    match step:
        case DyeBath(dye, minutes):
            return {"op": "dye", "dye": dye, "minutes": _minutes(minutes)}
        case ApplyMask(mask, regions):
            return {"op": "mask", "mask": mask, "regions": list(regions)}
        case Strip():
            return {"op": "strip"}
        case Lift(masks):
            return {"op": "lift", "masks": list(masks)}
        case Seal():
            return {"op": "seal"}


def _minutes(minutes: float) -> float:
    return round(float(minutes), MINUTES_DIGITS)
