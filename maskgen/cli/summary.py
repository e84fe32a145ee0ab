"""What a finished job says on the terminal."""

from __future__ import annotations

import dataclasses
import json
from collections import Counter
from pathlib import Path

import click
from rich.console import Console
from rich.table import Table
from rich.text import Text

from maskgen.model.finding import Severity
from maskgen.model.result import JobResult
from maskgen.report.plan_table import plan_table
from maskgen.report.words import WORDS


def print_summary(result: JobResult, folder: Path) -> None:
    """Print the dye order, the findings by kind and where the folder is."""
    console = Console(highlight=False)
    console.print(plan_table(result.plan, result.shelf))
    kinds = Counter((finding.severity, finding.code) for finding in result.findings)
    worst_first = list(Severity)
    for (severity, code), count in sorted(kinds.items(), key=lambda item: (worst_first.index(item[0][0]), item[0][1])):
        console.print(Text(f"{severity}: {WORDS.code(code, count)}"))
    for note in result.notes:
        console.print(Text(f"note: {note}"))
    simulation = result.simulation
    console.print(
        Text(
            f"simulated: {100 * simulation.wrong_share:.3f} % of the face in a wrong colour, "
            f"edges {simulation.edge_mean_mm:.3f} mm off on average"
        )
    )
    if result.smallest is not None:
        console.print(Text(WORDS.smallest_text(result.smallest)))
    console.print(Text(f"written to {folder}"))


def print_smallest(result: JobResult, *, as_json: bool) -> None:
    """Print how small the artwork can be made, and what would be lost below that."""
    smallest = result.smallest
    assert smallest is not None
    if as_json:
        click.echo(json.dumps(dataclasses.asdict(smallest), indent=2, ensure_ascii=False))
        return
    table = Table("artwork width", "findings", "lost area", "what would be lost", box=None)
    for row in smallest.table:
        table.add_row(f"{row.width_mm:.1f} mm", str(row.findings), f"{row.lost_mm2:.2f} mm²", row.lost)
    console = Console(highlight=False)
    console.print(Text(WORDS.smallest_text(smallest)))
    console.print(table)
