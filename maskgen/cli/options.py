"""Options that win over the keys of a job file."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from enum import Enum
from typing import Any, TypeVar

import click

from maskgen.errors import InputError, nearest_known
from maskgen.model.job import Artwork, ColourEntry, Ground, Job, Part, Shape

Command = TypeVar("Command", bound=Callable[..., Any])

_PART_FORM = "plate:60x30, tube:25x80 (outside diameter x length) or disc:32"


def job_options(command: Command) -> Command:
    """Add every option that has a key in the job file."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


_OPTIONS = (
    click.option("--width", "width_mm", type=float, metavar="MM", help="Width of the artwork on the part."),
    click.option("--height", "height_mm", type=float, metavar="MM", help="Height of the artwork on the part."),
    click.option("--part", metavar="SHAPE", help=f"The part: {_PART_FORM}."),
    click.option("--colours", metavar="N", help="Number of colours in the artwork besides what is clear, or auto."),
    click.option("--pixel-limit", type=int, metavar="N", help="Largest picture read, in pixels [100000000]."),
    click.option(
        "--dye",
        "dyes",
        multiple=True,
        metavar="SOURCE=DYENAME",
        help="What an artwork colour becomes; `bare` leaves the oxide undyed. May be repeated.",
    ),
    click.option("--ground", metavar="bare|DYENAME", help="What the rest of the part becomes."),
    click.option("--overdye", metavar="allow|never", help="May a colour be reached on top of another."),
    click.option("--lift", metavar="allow|never", help="May a mask come off before the seal."),
    click.option(
        "--creep", "creep_mm", type=float, metavar="MM", help="How far bleach gets under an edge in one strip."
    ),
    click.option("--lap", "lap_mm", type=float, metavar="MM", help="How far a mask runs onto the one beside it."),
    click.option("--min-land", "min_land_mm", type=float, metavar="MM", help="Narrowest vinyl that survives."),
    click.option("--min-gap", "min_gap_mm", type=float, metavar="MM", help="Narrowest opening that dye reaches."),
    click.option("--islands", metavar="keep|drop|bridge|grow", help="What becomes of pieces too small to handle."),
    click.option("--carrier", metavar="tape|loose|stencil", help="How the pieces get to the part."),
    click.option("--format", "formats", metavar="LIST", help="Cut files to write: svg,dxf,hpgl,pdf."),
    click.option("--quantity", type=int, metavar="N", help="Number of parts."),
    click.option("--mirror", is_flag=True, default=None, help="Mirrored copies too, for masks weeded from behind."),
    click.option("--parcel", is_flag=True, default=None, help="A zip of the sheets for the cutting service."),
    click.option("--dxf", metavar="r2000|r12", help="Version of DXF files; r12 for old machines."),
    click.option("--shelf", metavar="FILE", help="The dye shelf."),
)


def apply_options(job: Job, *, artwork: str | None, options: dict[str, Any]) -> Job:
    """Give the job with the options that were stated put in.

    Raises
    ------
    InputError
        For an option that is not understood.
    """
    given = {key: value for key, value in options.items() if value is not None and value != ()}
    if artwork is not None:
        job = dataclasses.replace(job, artwork=dataclasses.replace(job.artwork or Artwork(artwork), file=artwork))
    job = _with_artwork_size(job, given)
    if "part" in given:
        job = dataclasses.replace(
            job, part=read_part(given["part"], keepout_mm=job.part.keepout_mm if job.part else None)
        )
    if "dyes" in given:
        job = dataclasses.replace(job, colour=_with_dyes(job.colour, given["dyes"]))
    if "ground" in given:
        bare = given["ground"] == "bare"
        job = dataclasses.replace(job, ground=Ground(bare=True) if bare else Ground(dye=given["ground"]))
    job = _with_rules(job, given)
    changes: dict[str, Any] = {key: given[key] for key in ("quantity", "shelf") if key in given}
    if "formats" in given:
        changes["formats"] = tuple(word.strip().lower() for word in given["formats"].split(","))
    return dataclasses.replace(job, **changes)


def _with_artwork_size(job: Job, given: dict[str, Any]) -> Job:
    changes: dict[str, Any] = {key: given[key] for key in ("width_mm", "height_mm", "pixel_limit") if key in given}
    if "colours" in given:
        word = given["colours"]
        changes["colours"] = int(word) if word.isdecimal() else word
    if not changes:
        return job
    if job.artwork is None:
        raise InputError("says something of artwork, and there is none", where="call", mend="name an artwork file")
    if len({"width_mm", "height_mm"} & changes.keys()) == 1:
        changes = {"width_mm": None, "height_mm": None} | changes
    return dataclasses.replace(job, artwork=dataclasses.replace(job.artwork, **changes))


def _with_rules(job: Job, given: dict[str, Any]) -> Job:
    for section in ("finish", "resist", "sheets"):
        record: Any = getattr(job, section)
        changes = {}
        for field in dataclasses.fields(record):
            if field.name in given:
                changes[field.name] = _same_kind(getattr(record, field.name), given[field.name], option=field.name)
        if changes:
            job = dataclasses.replace(job, **{section: dataclasses.replace(record, **changes)})
    return job


def _same_kind(old: Any, word: Any, *, option: str) -> Any:
    if not isinstance(old, Enum):
        return word
    choices = [str(member.value) for member in type(old)]
    if word not in choices:
        raise InputError(f"is {word!r}", where=f"--{option}", mend="write one of: " + ", ".join(choices))
    return type(old)(word)


def read_part(words: str, *, keepout_mm: float | None = None) -> Part:
    """Read `plate:60x30`, `tube:25x80` or `disc:32`.

    Raises
    ------
    InputError
        For anything else.
    """
    shape, _, sizes = words.partition(":")
    try:
        numbers = [float(size) for size in sizes.lower().split("x")]
        kind = Shape(shape)
        keys = {Shape.PLATE: ("width_mm", "height_mm"), Shape.TUBE: ("diameter_mm", "length_mm")}.get(
            kind, ("diameter_mm",)
        )
        measures = dict(zip(keys, numbers, strict=True))
    except ValueError as error:
        raise InputError(f"{words!r} is not a part", where="--part", mend=f"write {_PART_FORM}") from error
    return Part(kind, keepout_mm=1.0 if keepout_mm is None else keepout_mm, **measures)


def _with_dyes(entries: tuple[ColourEntry, ...], dyes: tuple[str, ...]) -> tuple[ColourEntry, ...]:
    """Put `SOURCE=DYENAME` in: over the entry of that source or name where there is one, else as a new entry."""
    result = list(entries)
    for words in dyes:
        source, equals, dye = (part.strip() for part in words.partition("="))
        if not equals or not source or not dye:
            raise InputError(
                f"{words!r} is not understood", where="--dye", mend="write SOURCE=DYENAME, as #1b3f94=lemon"
            )
        place = next(
            (i for i, e in enumerate(result) if source.lower() in (e.source.lower(), (e.name or "").lower())), None
        )
        colour = result[place].source if place is not None else read_colour(source, names=[e.name for e in entries])
        entry = ColourEntry(colour, result[place].name if place is not None else None)
        entry = dataclasses.replace(entry, bare=True) if dye == "bare" else dataclasses.replace(entry, dye=dye)
        if place is None:
            result.append(entry)
        else:
            result[place] = entry
    return tuple(result)


def read_colour(word: str, *, names: list[str | None]) -> str:
    """Read a colour as `#rrggbb`, `rrggbb`, or a name of the web standard.

    Raises
    ------
    InputError
        When it is none of them.
    """
    from PIL import ImageColor

    for candidate in (word, f"#{word}"):
        try:
            return "#{:02x}{:02x}{:02x}".format(*ImageColor.getrgb(candidate)[:3])
        except ValueError:
            continue
    known = [name for name in names if name]
    hint = nearest_known(word, known) + " or write it as #rrggbb" if known else "write it as #rrggbb"
    raise InputError(f"{word!r} is not a colour", where="--dye", mend=hint)
