"""What the papers say at one step: its figures, what is done, what to watch for, what can hurt."""

from __future__ import annotations

from dataclasses import dataclass

from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Seal, Step, Strip
from maskgen.model.job import Peel
from maskgen.model.result import JobResult
from maskgen.plan.estimate import STRIP_MIN, seal_minutes
from maskgen.report.stages import Stage
from maskgen.report.words import WORDS


@dataclass(frozen=True, slots=True)
class StepWords:
    """The words of a step; every line is a sentence or two."""

    title: str
    facts: tuple[str, ...]
    actions: tuple[str, ...]
    watch: tuple[str, ...]
    dangers: tuple[str, ...]


def step_words(result: JobResult, before: Stage, after: Stage) -> StepWords:
    """Say a step; `before` is the part as the step finds it."""
    step, job, shelf = after.step, result.job, result.shelf
    names = {region.key: region.name for region in result.plan.regions}
    sealing, degrees, minutes = seal_minutes(shelf), 0.0, 0.0
    pieces: int | None = None
    match step:
        case DyeBath(dye, minutes):
            degrees = shelf.dye(dye).temperature_c
            facts = [WORDS.dye_facts(degrees, minutes, after.clock_from), WORDS.beside(job.companions)]
        case ApplyMask(mask, _):
            count = next(len(m.area.pieces) for m in result.masks if m.number == mask)
            pieces = count if job.text is None else None
            facts = [WORDS.mask_facts(count, job.resist.carrier, named=job.text is not None)]
        case Strip():
            facts = [WORDS.strip_facts(STRIP_MIN), WORDS.beside(job.companions)]
        case Seal():
            minutes = sealing
            count = sum(len(m.area.pieces) for m in result.masks if m.number in before.masks_on)
            pieces = count if job.text is None else None
            facts = [WORDS.seal(sealing, job.finish.peel), WORDS.beside(job.companions)]
        case Lift():
            facts = []
    return StepWords(
        _title(step, names, job.finish.peel, film=bool(before.masks_on)),
        tuple(line for line in facts if line),
        WORDS.do(step, peel=job.finish.peel, minutes=minutes, masks_on=before.masks_on, pieces=pieces),
        WORDS.watch(step, job.finish.peel, _next_bath(result, step)),
        WORDS.danger(step, degrees=degrees),
    )


def _next_bath(result: JobResult, step: Step) -> Step | None:
    """Give the bath after a mask: what a loose edge would let in."""
    steps = result.plan.sequence.steps
    if not isinstance(step, ApplyMask):
        return None
    return next((later for later in steps[steps.index(step) :] if isinstance(later, DyeBath | Strip)), None)


def _title(step: Step, names: dict[str, str], peel: Peel, *, film: bool) -> str:
    """Name the step; at the seal the film that is still on is the first thing to think of."""
    if isinstance(step, Seal) and film:
        return WORDS.peel_then_seal if peel is Peel.BEFORE_SEAL else WORDS.seal_peel_seal
    return WORDS.step(step, names)
