"""The plan in the terminal: one row per step, then why it cannot be done with fewer strips, then what to mind."""

from __future__ import annotations

from collections.abc import Sequence as Many

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from maskgen.colour.mix import ColourModel
from maskgen.model.dyeing import ApplyMask, DyeBath, Lift, Plan, Seal, Sequence, Shelf, Step, Strip
from maskgen.plan.finished import recipe_text
from maskgen.plan.replay import Moment, replay

PATCH = "██"


def plan_table(plan: Plan, shelf: Shelf) -> RenderableType:
    """Draw the plan for the terminal."""
    names = {region.key: region.name for region in plan.regions}
    parts: list[RenderableType] = [
        _colours(plan),
        Text(),
        _steps(plan.sequence, names, shelf),
        Text(counts(plan.sequence)),
    ]
    parts += [Text(), Text(why_sentence(plan))]
    parts += [Text(f"- {note}") for note in plan.notes]
    others = [s for s in plan.alternatives if s != plan.sequence]
    if others:
        parts += [Text(), Text("Other plans that no plan beats on all four counts:")]
    for number, sequence in enumerate(others, start=2):
        parts += [Text(), Text(f"Plan {number}: {counts(sequence)}"), _steps(sequence, names, shelf)]
    return Group(*parts)


def counts(sequence: Sequence) -> str:
    """Say what a sequence costs: `1 strip, 2 masks, 3 baths`."""
    said = [
        _number(sequence.strips, "strip"),
        _number(sequence.masks, "mask"),
        _number(sequence.baths, "dye bath"),
    ]
    if sequence.lifts:
        said.append(_number(sequence.lifts, "lift"))
    return ", ".join(said)


def why_sentence(plan: Plan) -> str:
    """Say in one sentence, naming the colours, why fewer strips are not possible."""
    if not plan.optimal:
        return "Not proven: there may be an order with fewer strips."
    if plan.lower_bound == 0:
        return "No strip is needed, so no order has fewer."
    names = [region.name for key in plan.why for region in plan.regions if region.key == key]
    apart = f"{_listed(names)} cannot" if len(names) == 2 else f"no two of {_listed(names)} can"
    return (
        f"No order has fewer than {_number(plan.lower_bound, 'strip')}: {apart} come out of one run, for whichever "
        f"comes first, the open metal then holds dye the other must not have; and {len(names)} runs have "
        f"{_number(plan.lower_bound, 'strip')} between them."
    )


def _number(count: int, word: str) -> str:
    return f"{count} {word}" if count == 1 else f"{count or 'no'} {word}s"


def _listed(words: Many[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def _patch(colour: str) -> Text:
    return Text.assemble((PATCH, colour), " ", colour)


def _colours(plan: Plan) -> Table:
    table = Table(box=None, pad_edge=False, show_edge=False)
    for heading in ("colour", "wanted", "becomes", "recipe", "difference"):
        table.add_column(heading)
    for region in plan.regions:
        table.add_row(
            region.name,
            _patch(region.source),
            _patch(region.predicted),
            recipe_text(region.recipe),
            f"{region.delta_e:.1f} {'measured' if region.measured else 'predicted'}",
        )
    return table


def _steps(sequence: Sequence, names: dict[str, str], shelf: Shelf) -> Table:
    table = Table(box=None, pad_edge=False, show_edge=False)
    table.add_column("step", justify="right")
    table.add_column("what to do")
    table.add_column("bath")
    table.add_column("°C", justify="right")
    table.add_column("minutes", justify="right")
    table.add_column("covered now")
    table.add_column("open metal after it")
    model = ColourModel(shelf)
    moments = replay(sequence.steps, list(names))
    for number, (step, moment) in enumerate(zip(sequence.steps, moments, strict=True), start=1):
        sealed = isinstance(step, Seal)
        covered = "-" if sealed else _covered(moment, names)
        colours = Text("every colour as above") if sealed else _open_colours(moment, model)
        table.add_row(str(number), *_said(step, names, shelf), covered, colours)
    return table


def _said(step: Step, names: dict[str, str], shelf: Shelf) -> tuple[str, str, str, str]:
    match step:
        case DyeBath(dye, minutes):
            return "dye", dye, f"{shelf.dye(dye).temperature_c:g}", f"{minutes:g}"
        case ApplyMask(mask, regions):
            return f"mask {mask} over {_listed([names[key] for key in regions])}", "", "", ""
        case Strip():
            return "strip", "bleach", "", ""
        case Lift(masks):
            return f"take off {_listed(masks)}", "", "", ""
        case Seal():
            return "peel and seal", "", "", ""


def _covered(moment: Moment, names: dict[str, str]) -> str:
    return ", ".join(names[key] for key, mask in moment.mask.items() if mask is not None) or "-"


def _open_colours(moment: Moment, model: ColourModel) -> Text:
    recipes = list(dict.fromkeys(moment.recipe[key] for key in moment.open))
    patches = [_patch(model.predict(recipe).colour) for recipe in recipes]
    return Text("\n").join(patches) if patches else Text("-")
