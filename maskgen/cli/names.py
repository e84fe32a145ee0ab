"""`maskgen names`: a job for every row of a name list, on shared sheets."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

import click

from maskgen.errors import InputError


@click.command("names")
@click.argument("names", required=False, metavar="LIST.csv")
@click.option("--job", "job_path", metavar="TEMPLATE.toml", help="The job file all names share, with [text].")
@click.option("--out", metavar="DIR", help="The folder to write [the list's name + -names].")
@click.option("--text", metavar="NAME", help="One name, without a list.")
@click.option("--second", default="", metavar="TEXT", help="A second line for --text.")
@click.option("--resume", is_flag=True, help="Go on after an interruption: finished rows are kept.")
@click.option("--workers", type=click.IntRange(1, 64), metavar="N", help="How many rows at a time [one per core].")
@click.option("--shelf", metavar="FILE", help="The dye shelf.")
@click.option("--font-table", is_flag=True, help="Tell how small every font can be cut [font-table.html].")
def command(
    names: str | None,
    job_path: str | None,
    out: str | None,
    text: str | None,
    second: str,
    resume: bool,
    workers: int | None,
    shelf: str | None,
    font_table: bool,
) -> int:
    """Make a job for every row of LIST.csv (or .xlsx): masks and plan of each name, shared sheets and papers."""
    if font_table:
        from maskgen.cli.font_table import print_font_table

        print_font_table(job_path, out)
        return 0
    from maskgen.cli import load
    from maskgen.cli.name_run import NameRun, print_outcome
    from maskgen.formats.folder import load as load_file
    from maskgen.formats.fonts import load_font
    from maskgen.formats.namelist import read_names
    from maskgen.model.names import NameList, NameRow, RowStatus
    from maskgen.pipeline.name_job import Template

    if job_path is None:
        raise InputError("no template", where="names", mend="name a job file with [text]: --job TEMPLATE.toml")
    job = load.load_job(job_path)
    if job.text is None:
        raise InputError("has no [text]", where=job_path, mend="add [text] with font, height_mm, box_mm and colour")
    if text is None and names is None and job.text.text:
        text, second = job.text.text, second or job.text.second
    if (names is None) == (text is None):
        raise InputError("a list or a text is needed", where="names", mend="name a LIST.csv, or write --text NAME")
    if names is not None:
        rows = read_names(load_file(Path(names), what="name list"), name=names, quantity=job.quantity)
    else:
        rows = NameList((NameRow(1, text or "", job.quantity, second),))
    job = replace(job, text=replace(job.text, text="", second=""))
    assert job.text is not None
    folder = Path(out) if out is not None else Path(f"{Path(names).stem if names else 'one'}-names")
    dyes = load.load_shelf(job, job_path=job_path, option=shelf)
    font = load_font(job.text.font, folder=Path(job_path).parent)
    artwork, traced = b"", None
    if job.artwork is not None:
        artwork, traced = load.load_artwork(
            load.beside(job_path, job.artwork.file),
            colours=job.artwork.colours,
            pixel_limit=job.artwork.pixel_limit,
            progress=load.progress_to_terminal(),
        )
    run = NameRun(Template(job, dyes, font, traced), artwork, rows, folder)
    outcome = run.carry_out(resume=resume, workers=workers or len(os.sched_getaffinity(0)))
    print_outcome(outcome, folder)
    return 1 if outcome.errors or outcome.count(RowStatus.REFUSED) else 0
