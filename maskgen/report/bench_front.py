"""The first page of the bench sheet: the job at a glance, what can hurt, the recipes, what has to lie ready."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Spacer, Table

from maskgen.model.dyeing import DyeBath, PlannedRegion, Seal, Strip
from maskgen.model.job import Shape
from maskgen.model.result import JobResult
from maskgen.plan.estimate import seal_minutes
from maskgen.plan.replay import replay
from maskgen.report.bench_parts import (
    BOXED,
    FACT,
    HEAD,
    PLAIN_TABLE,
    RULED,
    SMALL,
    TEXT,
    TICKED,
    TITLE,
    Beware,
    PartPicture,
    Patch,
    TickBox,
)
from maskgen.report.part_forms import PartForms
from maskgen.report.pdf_text import paragraph
from maskgen.report.stages import Stage, baths_of
from maskgen.report.words import WORDS

GROUND = "ground"
"""The name of the region outside the artwork."""


def first_page(result: JobResult, stages: Sequence[Stage], forms: PartForms, width: float) -> list[Flowable]:
    """Give what stands before the steps."""
    picture = PartPicture(forms, stages[-1], 60 * mm, 52 * mm)
    facts = [[paragraph(name, SMALL), paragraph(words, TEXT)] for name, words in _facts(result) if words]
    facts_width = width - picture.size[0] - 4 * mm
    head: Any = Table(
        [[Table(facts, colWidths=[24 * mm, facts_width - 24 * mm], style=PLAIN_TABLE), picture]],
        colWidths=[facts_width, picture.size[0] + 4 * mm],
        style=PLAIN_TABLE,
    )
    return [
        paragraph(result.job.title or WORDS.untitled, TITLE),
        head,
        Spacer(1, 3 * mm),
        _cautions(width),
        paragraph(WORDS.recipes_printed, HEAD),
        _recipes(result, stages, width),
        paragraph(WORDS.first_things, HEAD),
        Table(
            [[TickBox(), paragraph(line, TEXT)] for line in _ready(result, stages) if line],
            colWidths=[9 * mm, width - 9 * mm],
            style=TICKED,
        ),
    ]


def _facts(result: JobResult) -> list[tuple[str, str]]:
    job, sequence = result.job, result.plan.sequence
    part = job.part
    assert part is not None
    film = WORDS.film(job.resist.carrier, len(result.masks), len(result.sheets))
    dyes = dict.fromkeys(step.dye for step in sequence.steps if isinstance(step, DyeBath))  # in the order of use
    return [
        (WORDS.part, WORDS.part_to_make(part, job.quantity)),
        (WORDS.same_baths, ", ".join(job.companions) or WORDS.no_companions),
        (WORDS.work, WORDS.made_of(sequence.strips, sequence.masks, sequence.baths)),
        (WORDS.oxide, WORDS.oxide_line(result.shelf.thickness_um, seal_minutes(result.shelf))),
        (WORDS.baths, ", ".join(WORDS.bath_line(dye, result.shelf.dye(dye).temperature_c) for dye in dyes)),
        (WORDS.film_fact, WORDS.film_on_parts(film, job.quantity)),
        (WORDS.pictures_fact, WORDS.striped + (f" {WORDS.unrolled_note}" if part.shape is Shape.TUBE else "")),
        (WORDS.made_on, WORDS.made_on_line),
    ]


def _cautions(width: float) -> Flowable:
    rows = [[Beware(), paragraph(line, SMALL)] for line in WORDS.cautions]
    inner = Table(rows, colWidths=[7 * mm, width - 16 * mm], style=PLAIN_TABLE)
    return Table([[[paragraph(WORDS.cautions_title, HEAD), inner]]], colWidths=[width], style=BOXED)


def _recipes(result: JobResult, stages: Sequence[Stage], width: float) -> Flowable:
    rows = [
        [
            Patch(region.predicted),
            paragraph(region.name, FACT),
            [
                paragraph(WORDS.recipe(region.recipe), FACT),
                paragraph(WORDS.coupon_baths(baths_of(region.key, stages)), SMALL),
            ],
            paragraph(_told(region), SMALL),
        ]
        for region in result.plan.regions
    ]
    return Table(rows, colWidths=[12 * mm, 44 * mm, width - 106 * mm, 50 * mm], style=RULED)


def _unmasked(result: JobResult, names: Mapping[str, str], stages: Sequence[Stage]) -> str:
    """Say the colour of metal that goes through every bath without film: that of what is open last, or its recipe."""
    open_last = stages[-2].open_regions if len(stages) > 1 else ()
    if open_last:
        return " or ".join(names[key] for key in open_last)
    lasting = [dye.name for dye in result.shelf.dyes if not dye.strips]
    baths = [step for step in result.plan.sequence.steps if isinstance(step, DyeBath | Strip | Seal)]
    return WORDS.recipe(replay(baths, ["part"], lasting=lasting)[-1].recipe["part"])


def _told(region: PlannedRegion) -> str:
    """Say how the colour is known, and what the ground is."""
    how = WORDS.measured if region.measured else WORDS.predicted
    return f"{how}; {WORDS.ground_note}" if region.name == GROUND else how


def _ready(result: JobResult, stages: Sequence[Stage]) -> list[str]:
    job = result.job
    names = {region.key: region.name for region in result.plan.regions}
    lasting = {dye.name for dye in result.shelf.dyes if not dye.strips}
    used = sorted({step.dye for step in result.plan.sequence.steps if isinstance(step, DyeBath)})
    tube = job.part is not None and job.part.shape is Shape.TUBE
    colour = _unmasked(result, names, stages)
    masks = [(m.number, m.name, len(m.area.pieces) if job.text is None else None) for m in result.masks]
    return [
        WORDS.coupons,
        WORDS.film_ready(masks, job.quantity) if masks else "",
        WORDS.same_way_up(tube=tube) if masks else "",
        WORDS.back_line if masks and tube else "",
        WORDS.back_and_sides(colour, tube=tube) if masks else "",
        WORDS.sheet_check(job.sheets),
        WORDS.companions_ready(job.companions, colour) if job.companions else "",
        WORDS.tubs_ready(strips=result.plan.sequence.strips),
        WORDS.handling,
        *(WORDS.danger_of_dye(dye) for dye in used if dye in lasting),
    ]
