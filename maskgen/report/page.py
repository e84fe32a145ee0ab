"""The report: one file to decide by, nothing to fetch."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from maskgen.model.finding import Finding, Severity
from maskgen.model.job import IslandRule
from maskgen.model.paths import length_of
from maskgen.model.result import JobResult
from maskgen.report import scene
from maskgen.report.estimate_rows import estimate_rows
from maskgen.report.stages import Stage, walk_stages
from maskgen.report.words import WORDS
from maskgen.shape.nest import used_share

PICTURES_PER_KIND = 3


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
    part = result.job.part
    assert part is not None
    names = {region.key: region.name for region in result.plan.regions}
    regions = [region for region in result.regions.regions if region.key in names]
    return {
        "words": WORDS,
        "title": result.job.title or WORDS.untitled,
        "size": WORDS.size_of(part),
        "quantity": result.job.quantity,
        "style": Markup(asset("report.css")),
        "script": Markup(asset("report.js")),
        "definitions": Markup(scene.definitions(result.regions, result.simulation.predicted, result.masks)),
        "verdict": _verdict(result.findings),
        "finished": Markup(scene.finished_view(part, label=WORDS.as_it_will_look)),
        "artwork": Markup(
            scene.part_view(result.regions, part, {r.key: r.colour for r in regions}, (), label=WORDS.the_artwork)
        ),
        "headline": _headline(result),
        "why": WORDS.why(result.plan, names),
        "groups": _groups(result),
        "notes": (*result.notes, *result.plan.notes),
        "stages": [_stage(stage, result, names) for stage in walk_stages(result)],
        "colours": _colours(result),
        "masks": [_mask(result, index) for index in range(len(result.masks))],
        "sheets": [
            {
                "picture": Markup(scene.sheet_view(sheet, result.masks, label=f"Sheet {sheet.number}")),
                "text": WORDS.sheet(sheet, used_share([sheet])),
            }
            for sheet in result.sheets
        ],
        "trials": _trials(result),
        "smallest": _smallest(result),
        "islands_picture": _islands_picture(result),
        "islands": [WORDS.island(c, names) for c in result.island_changes if c.choice is not IslandRule.KEEP],
        "estimate": [{"name": n, "value": v} for n, v in estimate_rows(result.estimate, result.job)],
        "assumptions": result.estimate.assumptions if result.estimate else (),
    }


def _verdict(findings: Sequence[Finding]) -> dict[str, str]:
    counts = {severity: sum(f.severity is severity for f in findings) for severity in Severity}
    kind = "bad" if counts[Severity.ERROR] else "look" if counts[Severity.WARNING] else "good"
    return {"kind": kind, "words": WORDS.verdict(counts)}


def _headline(result: JobResult) -> list[dict[str, str]]:
    sequence, figures = result.plan.sequence, result.estimate
    rows = [
        ("strips", f"{sequence.strips}" + (" (proven least)" if result.plan.optimal else "")),
        ("masks on each part", f"{sequence.masks}"),
        ("dye baths", f"{sequence.baths}"),
        ("wrong colour, simulated", f"{100 * result.simulation.wrong_share:.2f} % of the face"),
        ("edges off on average", f"{result.simulation.edge_mean_mm:.3f} mm"),
    ]
    if figures is not None:
        rows.append(("time for all", WORDS.minutes(figures.elapsed_minutes)))
        if figures.total_price is not None:
            rows.append(("price for all", WORDS.money(figures.total_price, result.job)))
    if result.smallest is not None and result.smallest.width_mm is not None:
        rows.append(("smallest artwork", f"{result.smallest.width_mm:.1f} mm wide"))
    return [{"name": name, "value": value} for name, value in rows]


def _groups(result: JobResult) -> list[dict[str, Any]]:
    """Findings of one kind stand together, worst kind first, the worst places with their pictures."""
    groups: dict[tuple[Severity, str], list[Finding]] = {}
    for finding in result.findings:
        groups.setdefault((finding.severity, finding.code), []).append(finding)
    rank = list(Severity)
    rows = []
    for (severity, code), members in sorted(groups.items(), key=lambda item: (rank.index(item[0][0]), item[0][1])):
        members = sorted(members, key=_badness)
        pictures = [Markup(scene.finding_view(f, result.regions, label=f.message)) for f in members[:PICTURES_PER_KIND]]
        rows.append(
            {
                "severity": str(severity),
                "severity_words": WORDS.severity(severity),
                "title": WORDS.code(code, len(members)),
                "message": members[0].message,
                "mend": members[0].mend,
                "pictures": [p for p in pictures if p],
                "rest": [f.message for f in members[1:]],
            }
        )
    return rows


def _badness(finding: Finding) -> float:
    if finding.value is None or not finding.limit:
        return 0.0
    return finding.value / finding.limit


def _stage(stage: Stage, result: JobResult, names: dict[str, str]) -> dict[str, Any]:
    part = result.job.part
    assert part is not None
    title = WORDS.step(stage.step, names)
    if stage.sealed:
        picture = scene.finished_view(part, label=title)
    else:
        picture = scene.part_view(result.regions, part, stage.colours, stage.masks_on, label=title)
    return {
        "title": title,
        "picture": Markup(picture),
        "state": WORDS.state(stage.masks_on, [names[key] for key in stage.open_regions]),
        "watch": WORDS.watch(stage.step, result.job.finish.peel),
    }


def _colours(result: JobResult) -> list[dict[str, str]]:
    return [
        {
            "name": region.name,
            "source": region.source,
            "predicted": region.predicted,
            "how": "measured" if region.measured else "predicted",
            "delta_e": f"{region.delta_e:.1f}",
            "recipe": WORDS.recipe(region.recipe),
            "area": f"{region.area_mm2:.1f} mm²" if region.area_mm2 is not None else "",
        }
        for region in result.plan.regions
    ]


def _mask(result: JobResult, index: int) -> dict[str, Any]:
    mask, part = result.masks[index], result.job.part
    assert part is not None
    length = sum(length_of(ring) for ring in mask.area.rings)
    return {
        "picture": Markup(scene.mask_view(mask, part, result.job.resist, label=f"Mask {mask.number}")),
        "title": f"{mask.number} {mask.name}",
        "text": f"{WORDS.pieces(len(mask.area.pieces))}, {length:.0f} mm to cut",
    }


def _trials(result: JobResult) -> dict[str, Any] | None:
    trials, part = result.forgiveness, result.job.part
    if trials is None:
        return None
    assert part is not None
    picture = (
        Markup(scene.partition_view(trials.worst, part, label=WORDS.worst_trial)) if trials.worst is not None else ""
    )
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


def _islands_picture(result: JobResult) -> Markup | str:
    part = result.job.part
    assert part is not None
    changed = [c.at_mm for c in result.island_changes if c.choice is not IslandRule.KEEP]
    return Markup(scene.islands_view(result.regions, part, changed, label=WORDS.islands)) if changed else ""
