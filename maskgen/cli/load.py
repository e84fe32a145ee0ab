"""Files a command names, as values."""

from __future__ import annotations

import dataclasses
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from maskgen.formats.folder import load
from maskgen.formats.jobfile import read_job
from maskgen.formats.shelf import read_shelf, sample_shelf
from maskgen.model.artwork import TracedArtwork
from maskgen.model.dyeing import Shelf
from maskgen.model.job import Job

Progress = Callable[[str], None]


def load_job(path: str | None) -> Job:
    """Read a job file; without one, a job that leaves everything open."""
    return Job() if path is None else read_job(load(Path(path), what="job file"), name=path)


def load_shelf(job: Job, *, job_path: str | None, option: str | None) -> Shelf:
    """Read the shelf: the option's, the job's (beside the job file), or the general sample shelf."""
    if option is not None:
        return read_shelf(load(Path(option), what="dye shelf"), name=option)
    if job.shelf is not None:
        path = beside(job_path, job.shelf)
        return read_shelf(load(path, what="dye shelf"), name=str(path))
    return sample_shelf()


def beside(job_path: str | None, file: str) -> Path:
    """Find a file a job names: relative names start from the job file's folder."""
    return Path(job_path).parent / file if job_path is not None else Path(file)


def load_artwork(
    path: Path, *, colours: int | str, pixel_limit: int, progress: Progress
) -> tuple[bytes, TracedArtwork]:
    """Read and trace artwork: a drawing by its content, everything else as a picture."""
    data = load(path, what="artwork file")
    if is_drawing(data):
        from maskgen.formats.svg_artwork import read_svg_artwork
        from maskgen.pipeline.artwork import flatten_drawing

        progress("reading the drawing")
        return data, flatten_drawing(read_svg_artwork(data, name=str(path)), colours=colours)
    from maskgen.formats.raster import read_picture
    from maskgen.pipeline.artwork import trace_picture

    progress("reading the picture")
    picture = read_picture(data, name=str(path), pixel_limit=pixel_limit)
    progress("finding colours and tracing their boundaries")
    return data, trace_picture(picture, colours=colours)


def is_drawing(data: bytes) -> bool:
    """Whether bytes are an SVG drawing (plain or compressed), told by how they begin."""
    head = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    return data[:2] == b"\x1f\x8b" or (head.startswith(b"<") and b"<svg" in data[:65536])


def artwork_name(path: str) -> str:
    """Name the artwork's copy in the job folder."""
    suffix = Path(path).suffix.lower()
    return "artwork" + (suffix if suffix[1:].isascii() and suffix[1:].isalnum() and len(suffix) <= 6 else ".img")


def folded(job: Job, *, artwork: str | None) -> Job:
    """Give the job as it stands in its folder, next to its shelf and artwork."""
    return dataclasses.replace(
        job,
        shelf="shelf.toml",
        artwork=dataclasses.replace(job.artwork, file=artwork) if job.artwork and artwork else job.artwork,
    )


def progress_to_terminal() -> Progress:
    """Say each step on standard error, if that is a terminal."""
    if not sys.stderr.isatty():
        return lambda step: None
    from rich.console import Console

    console: Any = Console(stderr=True)
    return lambda step: console.print(f"[dim]{step} ...[/dim]", highlight=False)
