"""The job file `job.toml`: strict reading, and writing so that the same job can be repeated exactly."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from typing import Any

import tomli_w

from maskgen.errors import InputError, nearest_known
from maskgen.formats.records import join_key, parse_toml, read_record, write_record
from maskgen.model.job import ColourEntry, Dose, Ground, Job, Part, Shape

CUT_FORMATS = ("svg", "dxf", "hpgl", "pdf")
GROUND = "ground"
"""The plan's name for the part outside the artwork."""

MAX_SIZE_MM = 10_000.0
"""Ten metres: more is a slip of the unit, not a part for this bench."""

_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
_PART_KEYS = {
    Shape.PLATE: ("width_mm", "height_mm"),
    Shape.TUBE: ("diameter_mm", "length_mm"),
    Shape.DISC: ("diameter_mm",),
}


def read_job(data: bytes, *, name: str) -> Job:
    """Read a job file.

    Raises
    ------
    InputError
        For anything not understood or not possible, with the key and the remedy.
    """
    job = read_record(Job, parse_toml(data, name=name), where=name)
    check_job(job, name=name)
    return job


def write_job(job: Job) -> bytes:
    """Write the job file that repeats this job."""
    return tomli_w.dumps(write_record(job)).encode()


def check_job(job: Job, *, name: str) -> None:
    """Check what types alone do not say.

    Raises
    ------
    InputError
        For a value out of its range, a part without its measures, or a colour stated twice over.
    """
    _check_ranges(job, where=name)
    if job.part is not None:
        _check_part(job.part, where=join_key(name, "part"))
    for index, entry in enumerate(job.colour, start=1):
        _check_colour(entry, where=join_key(name, f"colour[{index}]"))
    if job.ground is not None:
        _check_ground(job.ground, job, where=join_key(name, "ground"))
    for wanted in job.formats:
        if wanted not in CUT_FORMATS:
            raise InputError(
                f"unknown format `{wanted}`", where=join_key(name, "formats"), mend="known: " + ", ".join(CUT_FORMATS)
            )
    if not job.formats:
        raise InputError("is empty", where=join_key(name, "formats"), mend="write at least one: svg, dxf, hpgl, pdf")
    if job.artwork is not None:
        _check_artwork_colours(job.artwork.colours, where=join_key(name, "artwork.colours"))
    if job.artwork is None and job.text is None and not job.colour:
        raise InputError("neither artwork nor colours", where=name, mend="add an [artwork] or at least one [[colour]]")
    names = [entry.name for entry in job.colour if entry.name is not None]
    if GROUND in names and (job.artwork is not None or job.text is not None or job.ground is not None):
        raise InputError(
            f"a colour is named `{GROUND}`, as the part outside the artwork is",
            where=join_key(name, f"colour[{[entry.name for entry in job.colour].index(GROUND) + 1}].name"),
            mend="choose another name; what becomes of the rest of the part stands under [ground]",
        )
    twice = sorted({n for n in names if names.count(n) > 1})
    if twice:
        raise InputError(f"two colours are named `{twice[0]}`", where=name, mend="give each colour a name of its own")


_POSITIVE: Callable[[float], bool] = lambda value: value > 0  # noqa: E731 - a table of rules reads better
_NOT_NEGATIVE: Callable[[float], bool] = lambda value: value >= 0  # noqa: E731
_RULES = {
    "above 0": (
        _POSITIVE,
        {
            "quantity",
            "pixel_limit",
            "width_mm",
            "height_mm",
            "diameter_mm",
            "length_mm",
            "minutes",
            "min_land_mm",
            "min_gap_mm",
        }
        | {"bridge_mm", "sheet_width_mm", "sheet_length_mm", "second_height_mm", "box_mm", "match_delta_e"},
    ),
    "0 or more": (
        _NOT_NEGATIVE,
        {"keepout_mm", "creep_mm", "lap_mm", "placement_mm", "min_piece_mm2", "overhang_mm"}
        | {"margin_mm", "spacing_mm", "overcut_mm", "knife_offset_mm", "hour", "film_m2", "setup", "bath"},
    ),
}
_MOST = {"quantity": 10_000, "creep_mm": 5.0}
"""Beyond these it is a slip: more parts than a bench sees in a year, bleach that runs under all of the film."""
_RANGE_OF = {key: (words, rule) for words, (rule, keys) in _RULES.items() for key in keys}


def _check_ranges(record: Any, *, where: str) -> None:
    for field in dataclasses.fields(record):
        value, place = getattr(record, field.name), join_key(where, field.name)
        for index, item in enumerate(value if isinstance(value, tuple) else (value,), start=1):
            if dataclasses.is_dataclass(item):
                _check_ranges(item, where=f"{place}[{index}]" if isinstance(value, tuple) else place)
            elif isinstance(item, int | float) and not isinstance(item, bool):
                _check_number(item, field.name, where=place)


def _check_number(value: float, key: str, *, where: str) -> None:
    words, rule = _RANGE_OF.get(key, ("", lambda value: True))
    if not rule(value):
        raise InputError(f"is {value:g}", where=where, mend=f"it must be {words}")
    if value > _MOST.get(key, value):
        raise InputError(f"is {value:g}", where=where, mend=f"it must not be over {_MOST[key]:g}")
    if key.endswith("_mm") and abs(value) > MAX_SIZE_MM:
        raise InputError(f"is {value:g} mm", where=where, mend=f"it must not be over {MAX_SIZE_MM:g} mm")


def _check_part(part: Part, *, where: str) -> None:
    needed = _PART_KEYS[part.shape]
    for key in ("width_mm", "height_mm", "diameter_mm", "length_mm"):
        given = getattr(part, key) is not None
        if given and key not in needed:
            raise InputError(
                f"`{key}` means nothing for a {part.shape}", where=where, mend="it has " + " and ".join(needed)
            )
        if not given and key in needed:
            raise InputError(f"a {part.shape} needs `{key}`", where=where, mend=f"add `{key} = ...`")


def _check_colour(entry: ColourEntry, *, where: str) -> None:
    if not _COLOUR.fullmatch(entry.source):
        raise InputError(
            f"{entry.source!r} is not a colour", where=join_key(where, "source"), mend='write it as "#rrggbb"'
        )
    _check_one_way(entry.dye, entry.recipe, entry.bare, where=where)


def _check_ground(ground: Ground, job: Job, *, where: str) -> None:
    _check_one_way(ground.dye, ground.recipe, ground.bare, ground.colour, where=where)
    names = [entry.name for entry in job.colour if entry.name is not None]
    if ground.colour is not None and ground.colour not in names:
        raise InputError(
            f"no colour is named `{ground.colour}`",
            where=join_key(where, "colour"),
            mend=nearest_known(ground.colour, names) if names else "name one of the [[colour]] entries",
        )


def _check_one_way(
    dye: str | None, recipe: tuple[Dose, ...] | None, bare: bool, colour: str | None = None, *, where: str
) -> None:
    given = [
        key
        for key, stands in {"dye": dye, "recipe": recipe, "bare": bare or None, "colour": colour}.items()
        if stands is not None
    ]
    if len(given) > 1:
        raise InputError(f"has {' and '.join(given)}", where=where, mend="keep only one of them")
    if recipe is not None:
        if not recipe:
            raise InputError(
                "is empty", where=join_key(where, "recipe"), mend="name a dye and minutes, or write `bare = true`"
            )
        names = [dose.dye for dose in recipe]
        twice = sorted({n for n in names if names.count(n) > 1})
        if twice:
            raise InputError(
                f"`{twice[0]}` stands in it twice", where=join_key(where, "recipe"), mend="add the minutes up"
            )


def _check_artwork_colours(colours: int | str, *, where: str) -> None:
    if isinstance(colours, str) and colours != "auto":
        raise InputError(f"is {colours!r}", where=where, mend='write "auto" or a whole number')
    if isinstance(colours, int) and not 1 <= colours <= 60:
        raise InputError(f"is {colours}", where=where, mend="it must be from 1 to 60")
