"""The dye shelf `shelf.toml`: strict reading, writing, and the sample shelf that comes with the tool."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from itertools import pairwise
from typing import Any

import tomli_w

from maskgen.errors import InputError, nearest_known
from maskgen.formats.records import join_key, parse_toml, read_record, write_record
from maskgen.model.dyeing import MINUTES_TOLERANCE, Dye, MeasuredMix, Recipe, Shelf
from maskgen.model.job import Dose

SAMPLE_NAME = "sample shelf"
HOTTEST_C = 100.0
"""Water boils: a higher temperature is a slip of the pen."""

_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")


@dataclass(frozen=True, slots=True)
class _Oxide:
    bare: str
    thickness_um: float


@dataclass(frozen=True, slots=True)
class _Mix:
    dyes: tuple[Dose, ...]
    colour: str


@dataclass(frozen=True, slots=True)
class _ShelfFile:
    oxide: _Oxide
    dye: tuple[Dye, ...]
    mix: tuple[_Mix, ...] = ()


def read_shelf(data: bytes, *, name: str) -> Shelf:
    """Read a dye shelf.

    Raises
    ------
    InputError
        For an unknown key (with the nearest known one), a missing one, a colour that is none, a time or temperature
        that cannot be, a name used twice, a mixture of a dye that is not on the shelf.
    """
    file = read_record(_ShelfFile, parse_toml(data, name=name), where=name)
    _check_colour(file.oxide.bare, where=join_key(name, "oxide.bare"))
    _check_positive(file.oxide.thickness_um, where=join_key(name, "oxide.thickness_um"))
    if not file.dye:
        raise InputError("no dye on the shelf", where=name, mend="add at least one [[dye]]")
    for index, dye in enumerate(file.dye, start=1):
        _check_dye(dye, where=join_key(name, f"dye[{index}]"))
    names = [dye.name for dye in file.dye]
    for index, dye_name in enumerate(names):
        if dye_name in names[:index]:
            raise InputError(f"two dyes are named `{dye_name}`", where=name, mend="give each dye a name of its own")
    mixes: list[MeasuredMix] = []
    for index, mix in enumerate(file.mix, start=1):
        where = join_key(name, f"mix[{index}]")
        _check_mix(mix, names, where=where)
        recipe = Recipe.of({dose.dye: dose.minutes for dose in mix.dyes})
        if any(recipe == other.recipe for other in mixes):
            raise InputError("the same mixture stands twice", where=where, mend="keep the coupon you trust")
        mixes.append(MeasuredMix(recipe, mix.colour.lower()))
    dyes = tuple(_settled(dye) for dye in file.dye)
    return Shelf(file.oxide.bare.lower(), file.oxide.thickness_um, dyes, tuple(mixes))


def write_shelf(shelf: Shelf) -> bytes:
    """Write a shelf so that `read_shelf` gives it back."""
    table: dict[str, Any] = {
        "oxide": {"bare": shelf.bare, "thickness_um": shelf.thickness_um},
        "dye": [write_record(dye) for dye in shelf.dyes],
    }
    if shelf.mixes:
        table["mix"] = [
            {"dyes": [{"dye": d, "minutes": m} for d, m in mix.recipe.doses], "colour": mix.colour}
            for mix in shelf.mixes
        ]
    return tomli_w.dumps(table).encode()


def sample_shelf_bytes() -> bytes:
    """Give the sample shelf that is used when none is named; its values are invented."""
    return (files("maskgen") / "data" / "shelf.toml").read_bytes()


def sample_shelf() -> Shelf:
    """Read the sample shelf."""
    return read_shelf(sample_shelf_bytes(), name=SAMPLE_NAME)


def _settled(dye: Dye) -> Dye:
    """Swatches by rising minutes, colours in small letters."""
    swatch = tuple(type(s)(s.minutes, s.colour.lower()) for s in sorted(dye.swatch, key=lambda s: s.minutes))
    return Dye(dye.name, swatch, dye.strips, dye.temperature_c, dye.full_minutes)


def _check_dye(dye: Dye, *, where: str) -> None:
    if not dye.name.strip() or not dye.name.isprintable():
        raise InputError(f"is {dye.name!r}", where=join_key(where, "name"), mend="give the dye a name in plain letters")
    if dye.name == "bare":
        raise InputError(
            "is `bare`, which stands for the undyed oxide", where=join_key(where, "name"), mend="choose another name"
        )
    if not dye.swatch:
        raise InputError(
            f"dye `{dye.name}` has no swatch",
            where=join_key(where, "swatch"),
            mend="add at least { minutes = ..., colour = ... }",
        )
    for index, swatch in enumerate(dye.swatch, start=1):
        _check_colour(swatch.colour, where=join_key(where, f"swatch[{index}].colour"))
        _check_positive(swatch.minutes, where=join_key(where, f"swatch[{index}].minutes"))
    times = sorted(s.minutes for s in dye.swatch)
    for first, second in pairwise(times):
        if second - first <= MINUTES_TOLERANCE:
            raise InputError(
                f"dye `{dye.name}` has two swatches at {second:g} minutes",
                where=join_key(where, "swatch"),
                mend="keep the one you trust",
            )
    _check_positive(dye.full_minutes, where=join_key(where, "full_minutes"))
    if not 0.0 < dye.temperature_c <= HOTTEST_C:
        raise InputError(
            f"is {dye.temperature_c:g}",
            where=join_key(where, "temperature_c"),
            mend="write degrees Celsius, above 0 and up to 100",
        )


def _check_mix(mix: _Mix, names: Sequence[str], *, where: str) -> None:
    _check_colour(mix.colour, where=join_key(where, "colour"))
    if not mix.dyes:
        raise InputError("has no dyes", where=join_key(where, "dyes"), mend="name the dyes and their minutes")
    for index, dose in enumerate(mix.dyes, start=1):
        if dose.dye not in names:
            raise InputError(
                f"no dye `{dose.dye}` on the shelf",
                where=join_key(where, f"dyes[{index}].dye"),
                mend=nearest_known(dose.dye, names),
            )
        _check_positive(dose.minutes, where=join_key(where, f"dyes[{index}].minutes"))
    if len({dose.dye for dose in mix.dyes}) < len(mix.dyes):
        raise InputError("a dye stands twice", where=join_key(where, "dyes"), mend="add its minutes up")


def _check_colour(colour: str, *, where: str) -> None:
    if not _COLOUR.fullmatch(colour):
        raise InputError(f"{colour!r} is not a colour", where=where, mend="write it as #rrggbb, for example #1b3f94")


def _check_positive(value: float, *, where: str) -> None:
    if value <= MINUTES_TOLERANCE:
        raise InputError(f"is {value:g}", where=where, mend="write a number above 0")
