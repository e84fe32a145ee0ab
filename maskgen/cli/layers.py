"""`maskgen layers`: the artwork as flat colour regions."""

from __future__ import annotations

from pathlib import Path

import click

from maskgen.errors import InputError


@click.command("layers")
@click.argument("artwork")
@click.option("--out", required=True, metavar="FILE.svg", help="The drawing to write.")
@click.option("--colours", default="auto", metavar="N", help="Number of colours besides what is clear, or auto.")
@click.option("--width", "width_mm", type=float, metavar="MM", help="Width of the drawing; without it 1 px is 1 unit.")
@click.option(
    "--pixel-limit", type=int, metavar="N", default=100_000_000, help="Largest picture read, in pixels [100000000]."
)
def command(artwork: str, out: str, colours: str, width_mm: float | None, pixel_limit: int) -> int:
    """Trace ARTWORK to one outline per flat colour; together they cover it once."""
    from maskgen.cli import load
    from maskgen.formats.folder import save
    from maskgen.formats.svg_write import write_regions
    from maskgen.model.finding import failed
    from maskgen.pipeline.artwork import named_layers

    number = read_colour_count(colours)
    if width_mm is not None and not 0 < width_mm <= 10_000:
        raise InputError(f"is {width_mm:g}", where="--width", mend="it must be above 0 and at most 10000 mm")
    target = Path(out)
    if not target.parent.is_dir():
        raise InputError("no such folder", where=str(target.parent), mend="make it first")
    _, traced = load.load_artwork(
        Path(artwork), colours=number, pixel_limit=pixel_limit, progress=load.progress_to_terminal()
    )
    layers = named_layers(traced.partition, width=width_mm)
    save(target, write_regions(layers, unit="" if width_mm is None else "mm"))
    for region in layers.regions:
        click.echo(f"{region.colour}  {region.name}")
    for finding in traced.findings:
        click.echo(f"{finding.severity}: {finding.message} {finding.mend}")
    for note in traced.notes:
        click.echo(f"note: {note}")
    return 1 if failed(traced.findings) else 0


def read_colour_count(words: str) -> int | str:
    """Read a number of colours or `auto`.

    Raises
    ------
    InputError
        For anything else.
    """
    if words == "auto":
        return words
    if words.isdecimal() and 1 <= int(words) <= 60:
        return int(words)
    raise InputError(f"is {words!r}", where="--colours", mend="write auto or a whole number from 1 to 60")
