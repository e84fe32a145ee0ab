"""The dye order of a job from its colours alone, without artwork."""

from __future__ import annotations

import dataclasses

from maskgen.colour.mix import ColourModel
from maskgen.errors import InputError
from maskgen.model.dyeing import Plan, Shelf
from maskgen.model.job import Job
from maskgen.pipeline.ordering import order_dyes
from maskgen.pipeline.wanted import matched_keys, name_listed_colours, wanted_colours
from maskgen.plan.finished import unreached_findings


def plan_colours(job: Job, *, shelf: Shelf, name: str) -> Plan:
    """Order the dyes for the job's `[[colour]]` entries, and the ground where it is stated or there is artwork.

    Raises
    ------
    InputError
        When the job lists no colours, names a dye the shelf lacks, or no order gives these colours.
    """
    colours = name_listed_colours(job.colour)
    if not colours:
        raise InputError("lists no colours", where=name, mend="add [[colour]] entries, or use convert")
    model = ColourModel(shelf)
    joined = job.ground is not None and job.ground.colour is not None
    stands = (job.ground is not None or job.artwork is not None) and not joined
    wanted = wanted_colours(colours, model, job, ground_key=f"r{len(colours) + 1}" if stands else None)
    plan = order_dyes(wanted, model, finish=job.finish, matched=matched_keys(colours))
    unreached = unreached_findings(plan, matched=matched_keys(colours), tolerance_delta_e=job.finish.match_delta_e)
    told = tuple(f"{finding.message}; {finding.mend}." for finding in unreached)
    return dataclasses.replace(plan, notes=(*told, *plan.notes))
