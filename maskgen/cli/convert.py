"""`maskgen convert`: artwork to a complete job folder."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from maskgen.cli.options import apply_options, job_options
from maskgen.errors import InputError


@click.command("convert")
@click.argument("artwork", required=False)
@click.option("--job", "job_path", metavar="JOB.toml", help="The job file; options win over its keys.")
@click.option("--out", metavar="DIR", help="The job folder to write [artwork's name + -job].")
@job_options
@click.option("--smallest", is_flag=True, help="Say how small it can be made; write a folder only with --out.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
def command(
    artwork: str | None,
    job_path: str | None,
    out: str | None,
    smallest: bool,
    as_json: bool,
    **options: Any,
) -> int:
    """Turn ARTWORK into a job folder: masks, dye order, sheets, report, bench sheet and proof."""
    from maskgen.cli import load
    from maskgen.cli.job_folder import is_ours, job_files, job_findings
    from maskgen.cli.summary import print_smallest, print_summary
    from maskgen.formats.folder import check_folder, save_folder
    from maskgen.formats.jobfile import check_job
    from maskgen.pipeline.convert import convert
    from maskgen.pipeline.wanted import check_recipes

    job = apply_options(load.load_job(job_path), artwork=artwork, options=options)
    if job.artwork is None:
        raise InputError(
            "no artwork", where=job_path or "convert", mend="name an artwork file, or add [artwork] file = ..."
        )
    check_job(job, name=job_path or "the call")
    picture = Path(artwork) if artwork is not None else load.beside(job_path, job.artwork.file)
    folder = Path(out) if out is not None else Path(f"{picture.stem}-job")
    check_folder(folder, ours=is_ours)
    shelf = load.load_shelf(job, job_path=job_path, option=options["shelf"])
    check_recipes(job, shelf)
    progress = load.progress_to_terminal()
    data, traced = load.load_artwork(
        picture, colours=job.artwork.colours, pixel_limit=job.artwork.pixel_limit, progress=progress
    )
    name = load.artwork_name(picture.name)
    result = convert(load.folded(job, artwork=name), shelf=shelf, artwork=traced, progress=progress)
    if smallest:
        print_smallest(result, as_json=as_json)
        if out is None:
            return 0
    progress("writing the job folder")
    save_folder(folder, job_files(result, artwork=(name, data)))
    if smallest:
        return 1 if result.failed else 0
    if as_json:
        click.echo(job_findings(result).decode(), nl=False)
    else:
        print_summary(result, folder)
    return 1 if result.failed else 0
