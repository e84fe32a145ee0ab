"""The report: one file to decide by, nothing to fetch."""

from __future__ import annotations

import json
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from maskgen.model.job import Carrier, IslandRule, Shape
from maskgen.model.paths import length_of
from maskgen.model.result import JobResult
from maskgen.report import page_findings
from maskgen.report.estimate_rows import estimate_rows
from maskgen.report.scene import FaceViews, definitions
from maskgen.report.scene_findings import fills_definition, near_hatch, places_view
from maskgen.report.scene_sheets import SheetViews
from maskgen.report.scene_tube import front_view
from maskgen.report.stages import Stage, first_stage, walk_stages
from maskgen.report.step_words import step_words
from maskgen.report.words import WORDS
from maskgen.shape.nest import used_share


def write_report(result: JobResult) -> bytes:
    """Give the report of a job as one HTML file."""
    page: str = template("report.html").render(_context(result))
    return page.encode()


@cache
def template(name: str) -> Any:
    """Give a page's template by its file name."""
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    return environment.from_string(asset(name))


def asset(name: str) -> str:
    """Read one of the page's files."""
    return files("maskgen.report").joinpath("templates", name).read_text(encoding="utf-8")


def _context(result: JobResult) -> dict[str, Any]:
    job, part = result.job, result.job.part
    assert part is not None
    names = {region.key: region.name for region in result.plan.regions}
    views = FaceViews(part, job.hole, result.masks)
    sheets = SheetViews(result.sheets, result.masks, job.sheets)
    stated = definitions(result.regions, result.simulation.predicted, result.masks)
    return {
        "words": WORDS,
        "title": job.title or WORDS.untitled,
        "size": WORDS.part_to_make(part, job.quantity),
        "style": Markup(asset("report.css")),
        "script": Markup(asset("report.js")),
        "script_words": Markup(json.dumps(WORDS.script, ensure_ascii=False).replace("<", "\\u003c")),
        "definitions": Markup(near_hatch() + stated + fills_definition(result.regions) + sheets.definitions),
        "verdict": page_findings.verdict(result.findings),
        "answer": _answer(result, views),
        "headline": _headline(result),
        "why": WORDS.why(result.plan, names),
        "groups": page_findings.groups(result),
        "places": Markup(places_view(views, result.masks, label=WORDS.look_closer)),
        "notes": (*result.notes, *result.plan.notes),
        "stages": _stages(result, views, names),
        "ways": _ways(result),
        "colours": _colours(result),
        "masks": [_mask(result, index, views) for index in range(len(result.masks))],
        "sheets": [
            {
                "picture": Markup(sheets.view(sheet, label=WORDS.sheet_name(sheet.number))),
                "text": WORDS.sheet(sheet, used_share([sheet])),
            }
            for sheet in result.sheets
        ],
        "trials": _trials(result, views),
        "smallest": _smallest(result),
        "islands_picture": _islands_picture(result, views),
        "islands": [WORDS.island(c, names) for c in result.island_changes if c.choice is not IslandRule.KEEP],
        "estimate": [{"name": n, "value": v} for n, v in estimate_rows(result.estimate, job)],
        "assumptions": WORDS.assumptions(result.estimate.assumptions) if result.estimate else (),
    }


def _answer(result: JobResult, views: FaceViews) -> list[dict[str, Any]]:
    """Give the part as it will look beside the artwork; a tube from the front and unrolled."""
    part, predicted = views.part, result.simulation.predicted
    flat = {
        "picture": Markup(views.finished(label=WORDS.as_it_will_look)),
        "caption": WORDS.as_it_will_look,
        "small": WORDS.colours_vary,
    }
    artwork = {
        "picture": Markup(views.artwork(result.regions, label=WORDS.the_artwork)),
        "caption": WORDS.the_artwork,
        "small": "",
    }
    if part.shape is not Shape.TUBE:
        return [flat, artwork]
    front = {
        "picture": Markup(front_view(predicted, part, label=WORDS.from_the_front)),
        "caption": f"{WORDS.as_it_will_look}. {WORDS.from_the_front}",
        "small": WORDS.colours_vary,
    }
    return [front, {**flat, "small": WORDS.unrolled_caption}, {**artwork, "small": WORDS.unrolled_caption}]


def _headline(result: JobResult) -> list[dict[str, str]]:
    sequence, figures = result.plan.sequence, result.estimate
    rows = [
        (WORDS.count_strips, f"{sequence.strips}" + (WORDS.proven if result.plan.optimal else "")),
        (WORDS.count_masks, f"{sequence.masks}"),
        (WORDS.count_baths, f"{sequence.baths}"),
        (WORDS.wrong_colour, WORDS.share_of_face(result.simulation.wrong_share)),
        (WORDS.edges_off, WORDS.fine_mm(result.simulation.edge_mean_mm)),
    ]
    if figures is not None:
        rows.append((WORDS.time_for_all, WORDS.minutes(figures.elapsed_minutes)))
        if figures.total_price is not None:
            rows.append((WORDS.price_for_all, WORDS.money(figures.total_price, result.job)))
    if result.smallest is not None and result.smallest.width_mm is not None:
        rows.append((WORDS.smallest_artwork, WORDS.wide(result.smallest.width_mm)))
    return [{"name": name, "value": value} for name, value in rows]


def _stages(result: JobResult, views: FaceViews, names: dict[str, str]) -> list[dict[str, Any]]:
    rows, before = [], first_stage(result)
    for stage in walk_stages(result):
        rows.append(_stage(result, before, stage, views, names))
        before = stage
    return rows


def _stage(result: JobResult, before: Stage, stage: Stage, views: FaceViews, names: dict[str, str]) -> dict[str, Any]:
    said = step_words(result, before, stage)
    picture = (
        views.finished(label=said.title)
        if stage.sealed
        else views.moment(result.regions, stage.colours, stage.masks_on, label=said.title)
    )
    unrolled = f" {WORDS.unrolled_caption}" if views.part.shape is Shape.TUBE else ""
    return {
        "said": said,
        "picture": Markup(picture),
        "state": WORDS.state(stage.masks_on, [names[key] for key in stage.open_regions]) + unrolled,
    }


def _ways(result: JobResult) -> list[tuple[str, int, int, int, int]]:
    """Give the other plans that no plan beats, where film may be taken off on the way."""
    if len(result.plan.alternatives) < 2:
        return []
    return [
        (WORDS.way(number), way.strips, way.masks, way.baths, way.lifts)
        for number, way in enumerate(result.plan.alternatives, start=1)
    ]


def _colours(result: JobResult) -> list[dict[str, str]]:
    return [
        {
            "name": region.name,
            "source": region.source,
            "predicted": region.predicted,
            "how": WORDS.measured if region.measured else WORDS.predicted,
            "delta_e": f"{region.delta_e:.1f}",
            "recipe": WORDS.recipe(region.recipe),
            "area": f"{region.area_mm2:.1f} mm²" if region.area_mm2 is not None else "",
        }
        for region in result.plan.regions
    ]


def _mask(result: JobResult, index: int, views: FaceViews) -> dict[str, Any]:
    mask, resist = result.masks[index], result.job.resist
    length = sum(length_of(ring) for ring in mask.area.rings)
    picture = views.mask(mask, over_mm=resist.overhang_mm + resist.lap_mm, label=WORDS.mask_name(mask.number))
    loose = WORDS.mask_facts(len(mask.area.pieces), resist.carrier) if resist.carrier is not Carrier.TAPE else ""
    return {
        "picture": Markup(picture),
        "title": f"{mask.number} {mask.name}",
        "text": ". ".join(line for line in (WORDS.to_cut(len(mask.area.pieces), length), loose) if line),
    }


def _trials(result: JobResult, views: FaceViews) -> dict[str, Any] | None:
    trials = result.forgiveness
    if trials is None:
        return None
    picture = Markup(views.plain(trials.worst, label=WORDS.worst_trial)) if trials.worst is not None else ""
    return {"text": WORDS.trials_text(trials), "picture": picture, "caption": WORDS.worst_trial}


def _smallest(result: JobResult) -> dict[str, Any] | None:
    smallest = result.smallest
    if smallest is None:
        return None
    rows = [
        {
            "width": f"{row.width_mm:.1f} mm",
            "findings": str(row.findings),
            "area": f"{row.lost_mm2:.2f} mm²",
            "lost": row.lost,
        }
        for row in smallest.table
    ]
    return {"text": WORDS.smallest_text(smallest), "rows": rows}


def _islands_picture(result: JobResult, views: FaceViews) -> Markup | str:
    changed = [c.at_mm for c in result.island_changes if c.choice is not IslandRule.KEEP]
    return Markup(views.islands(result.regions, changed, label=WORDS.islands)) if changed else ""
