"""The dye shelf in the terminal and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from maskgen.colour.mix import ColourModel
from maskgen.colour.shelf_check import Remark
from maskgen.model.dyeing import Dye, Recipe

PATCH = "██"


def shelf_table(model: ColourModel, remarks: Sequence[Remark], *, title: str) -> RenderableType:
    """Draw the shelf: every dye with its swatches as patches, coupons, remarks."""
    shelf = model.shelf
    table = Table(box=None, pad_edge=False)
    for heading in ("dye", "°C", "full", "tau", "swatches: minutes, colour"):
        table.add_column(heading)
    for dye in shelf.dyes:
        table.add_row(
            dye.name if dye.strips else f"{dye.name} (lasts)",
            f"{dye.temperature_c:g}",
            f"{dye.full_minutes:g}",
            f"{model.tau_minutes(dye.name):.1f}" if len(dye.swatch) > 1 else "?",
            _swatches(dye),
        )
    parts: list[RenderableType] = [
        Text(title),
        Text.assemble("bare oxide ", (PATCH, shelf.bare), f" {shelf.bare}, {shelf.thickness_um:g} µm"),
        Text(),
        table,
        Text("full: minutes of a recipe that names no time; tau: minutes to 63 % of the depth, ? where not fitted"),
    ]
    if shelf.mixes:
        parts += [Text(), Text("mixtures measured:")]
    for mix in shelf.mixes:
        words = " + ".join(f"{dye} {minutes:g} min" for dye, minutes in mix.recipe.doses)
        parts.append(Text.assemble((PATCH, mix.colour), f" {mix.colour} {words}"))
    if remarks:
        parts.append(Text())
    parts += [Text(f"{r.severity.value}: {r.message}; {r.mend}") for r in remarks]
    return Group(*parts)


def _swatches(dye: Dye) -> Text:
    return Text("  ").join(Text.assemble(f"{s.minutes:g} ", (PATCH, s.colour), f" {s.colour}") for s in dye.swatch)


def shelf_document(model: ColourModel, remarks: Sequence[Remark], *, name: str) -> dict[str, Any]:
    """Give the shelf as plain values for JSON."""
    shelf = model.shelf
    return {
        "file": name,
        "verdict": "fail" if any(r.severity.value == "error" for r in remarks) else "pass",
        "bare": shelf.bare,
        "thickness_um": shelf.thickness_um,
        "dyes": [_dye(dye, model) for dye in shelf.dyes],
        "mixes": [
            {"dyes": [{"dye": d, "minutes": m} for d, m in mix.recipe.doses], "colour": mix.colour}
            for mix in shelf.mixes
        ],
        "findings": [
            {"code": r.code, "severity": r.severity.value, "message": r.message, "mend": r.mend} for r in remarks
        ],
    }


def _dye(dye: Dye, model: ColourModel) -> dict[str, Any]:
    full = model.predict(Recipe.of({dye.name: dye.full_minutes}))
    return {
        "name": dye.name,
        "strips": dye.strips,
        "temperature_c": dye.temperature_c,
        "full_minutes": dye.full_minutes,
        "tau_minutes": round(model.tau_minutes(dye.name), 3),
        "full_colour": full.colour,
        "full_measured": full.measured,
        "swatch": [{"minutes": s.minutes, "colour": s.colour} for s in dye.swatch],
    }
