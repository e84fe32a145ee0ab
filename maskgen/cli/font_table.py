"""`maskgen names --font-table`: how small every font can be cut, in the terminal and as a page with pictures."""

from __future__ import annotations

from pathlib import Path

import click

from maskgen.cli import load
from maskgen.formats.folder import save
from maskgen.formats.fonts import FAMILIES, load_font
from maskgen.model.job import Resist
from maskgen.report.fonts_page import FontMeasure, table_lines, write_fonts_page
from maskgen.shape.font_limits import SETS, measure_letters
from maskgen.shape.glyphs import Font

PAGE = "font-table.html"


def print_font_table(job_path: str | None, out: str | None) -> None:
    """Measure the fonts that come with the tool, and the template's own; print the table and write its page."""
    fonts, resist, folder = list(FAMILIES), Resist(), Path()
    if job_path is not None:
        job = load.load_job(job_path)
        resist, folder = job.resist, Path(job_path).parent
        if job.text is not None and job.text.font.lower() not in (name.lower() for name in fonts):
            fonts.insert(0, job.text.font)
    tell = load.progress_to_terminal()
    measured = []
    for name in fonts:
        tell(f"measuring {name}")
        font = Font(load_font(name, folder=folder))
        measured.append(FontMeasure(name, {key: measure_letters(font, letters) for key, letters in SETS.items()}))
    page = Path(out) if out is not None else Path(PAGE)
    page = page / PAGE if page.is_dir() else page
    save(page, write_fonts_page(measured, resist))
    click.echo(
        f"smallest capitals, mm (letter that decides); film from {resist.min_land_mm:g} mm, openings from "
        f"{resist.min_gap_mm:g} mm, pieces from {resist.min_piece_mm2:g} mm²"
    )
    for line in table_lines(measured, resist):
        click.echo(line)
    click.echo(f"written to {page}")
