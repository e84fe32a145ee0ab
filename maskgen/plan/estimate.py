"""Material, time and money for a job, with everything that was assumed.

The hand times are common practice, no source: a bench that measures its own should change them here.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

from maskgen.model.dyeing import DyeBath, Plan, Shelf
from maskgen.model.job import Carrier, Job
from maskgen.model.masks import Mask, Sheet
from maskgen.model.paths import length_of
from maskgen.model.result import Assumptions, Estimate

SEAL_MIN_PER_UM = 3.0
"""Hot-water seal, 96 C and more: minutes per micrometre of oxide (alufinish.de, on hot sealing)."""

STRIP_MIN = 3.0
RINSE_MIN = 2.0
APPLY_MASK_MIN = 2.0
PLACE_PIECE_MIN = 0.5
WEED_PIECE_MIN = 0.4
PEEL_MASK_MIN = 0.5
SET_UP_MIN = 30.0


def seal_minutes(shelf: Shelf) -> float:
    """Minutes in the hot seal for the shelf's oxide."""
    return SEAL_MIN_PER_UM * shelf.thickness_um


@dataclass(frozen=True, slots=True)
class Lot:
    """Parts that go through the same steps together; `pieces` are those of all of them."""

    plan: Plan
    parts: int
    pieces: int


def estimate(job: Job, *, plan: Plan, shelf: Shelf, masks: Sequence[Mask], sheets: Sequence[Sheet]) -> Estimate:
    """Estimate the whole quantity; parts and companions share each bath."""
    pieces = job.quantity * sum(len(mask.area.pieces) for mask in masks)
    film_mm2 = sum(sheet.drawing.width * sheet.drawing.height for sheet in sheets)
    cut_length = sum(length_of(ring) for s in sheets for piece in s.drawing.pieces for ring in piece.rings)
    lots = [Lot(plan, job.quantity, pieces)]
    return estimate_lots(job, lots, shelf=shelf, film_mm2=film_mm2, cut_length_mm=cut_length)


def estimate_lots(job: Job, lots: Sequence[Lot], *, shelf: Shelf, film_mm2: float, cut_length_mm: float) -> Estimate:
    """Estimate several lots made one after the other; the job's quantity is that of all parts."""
    sequences = [lot.plan.sequence for lot in lots]
    pieces = sum(lot.pieces for lot in lots)
    dye_minutes = sum(step.minutes for s in sequences for step in s.steps if isinstance(step, DyeBath))
    bath_changes = sum(s.baths + s.strips + 1 for s in sequences)
    bath_minutes = dye_minutes + sum(s.strips * STRIP_MIN + seal_minutes(shelf) for s in sequences)
    placed = pieces if job.resist.carrier is Carrier.LOOSE else 0
    part_minutes = (
        pieces * WEED_PIECE_MIN
        + placed * PLACE_PIECE_MIN
        + sum(lot.parts * lot.plan.sequence.masks for lot in lots) * (APPLY_MASK_MIN + PEEL_MASK_MIN)
    )
    lot_minutes = SET_UP_MIN + bath_changes * RINSE_MIN
    hand_minutes = part_minutes + lot_minutes
    figures = Estimate(
        film_mm2=film_mm2,
        cut_length_mm=cut_length_mm,
        pieces=pieces,
        bath_minutes=bath_minutes,
        hand_minutes=hand_minutes,
        elapsed_minutes=bath_minutes + hand_minutes,
        assumptions=_assumptions(shelf, job, len(lots)),
    )
    if job.rates is None:
        return figures
    return _priced(figures, job, part_minutes=part_minutes, lot_minutes=lot_minutes, bath_changes=bath_changes)


def _priced(figures: Estimate, job: Job, *, part_minutes: float, lot_minutes: float, bath_changes: int) -> Estimate:
    """Price what the lot costs once, and what every part costs; the total is exactly the sum of what is shown."""
    rates = job.rates
    assert rates is not None
    setup = round(rates.setup + rates.bath * bath_changes + rates.hour * lot_minutes / 60.0, 2)
    work = rates.hour * part_minutes / 60.0 + rates.film_m2 * figures.film_mm2 / 1e6
    piece = round(work / job.quantity, 2)
    return dataclasses.replace(
        figures, setup_price=setup, piece_price=piece, total_price=round(setup + job.quantity * piece, 2)
    )


def _assumptions(shelf: Shelf, job: Job, lots: int) -> Assumptions:
    return Assumptions(
        parts=job.quantity,
        lots=lots,
        strip_min=STRIP_MIN,
        seal_min_per_um=SEAL_MIN_PER_UM,
        oxide_um=shelf.thickness_um,
        set_up_min=SET_UP_MIN,
        weed_piece_min=WEED_PIECE_MIN,
        lay_mask_min=APPLY_MASK_MIN,
        peel_mask_min=PEEL_MASK_MIN,
        rinse_min=RINSE_MIN,
        place_piece_min=PLACE_PIECE_MIN if job.resist.carrier is Carrier.LOOSE else None,
    )
