"""TOML tables to frozen dataclasses and back: strict about keys and types, clear about what is wrong where.

The field names of the dataclass are the keys; a field without a default must be there. Nothing is guessed: a whole
number may stand for a decimal one, everything else has to be of its type.
"""

from __future__ import annotations

import dataclasses
import math
import tomllib
import types
import typing
from collections.abc import Mapping
from enum import Enum
from typing import Any, TypeVar

from maskgen.errors import InputError, nearest_known

Record = TypeVar("Record")


def parse_toml(data: bytes, *, name: str) -> dict[str, Any]:
    """Parse TOML bytes (UTF-8, with or without a byte order mark).

    Raises
    ------
    InputError
        When it is not UTF-8 or not TOML; the message names line and column.
    """
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise InputError(
            f"not UTF-8 text (byte {error.start})", where=name, mend="save it as UTF-8 and try again"
        ) from error
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(f"not valid TOML: {error}", where=name, mend="correct that line") from error


def read_record(kind: type[Record], table: object, *, where: str) -> Record:
    """Make a `kind` (a dataclass) from a parsed table.

    Raises
    ------
    InputError
        For an unknown key (with the nearest known one), a missing key, or a value of the wrong type.
    """
    if not isinstance(table, Mapping):
        raise InputError(f"is {_kind_of(table)}", where=where, mend="write it as a table with keys")
    fields = {f.name: f for f in dataclasses.fields(typing.cast(Any, kind))}
    for key in table:
        if key not in fields:
            raise InputError(f"unknown key `{key}`", where=where, mend=nearest_known(key, fields))
    hints = typing.get_type_hints(kind)
    values = {}
    for key, field in fields.items():
        if key in table:
            values[key] = _convert(hints[key], table[key], where=join_key(where, key))
        elif field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING:
            raise InputError(f"key `{key}` is missing", where=where, mend=f"add `{key} = ...`")
    return kind(**values)


def join_key(where: str, key: str) -> str:
    """Name a key within a place: `job.toml: resist.creep_mm`."""
    return f"{where}.{key}" if ": " in where else f"{where}: {key}"


def write_record(record: object) -> dict[str, Any]:
    """Give the table of a dataclass, leaving out what is None or empty; the inverse of `read_record`."""
    table = {}
    for field in dataclasses.fields(typing.cast(Any, record)):
        value = _plain(getattr(record, field.name))
        if value is not None and value != [] and value != {}:
            table[field.name] = value
    return table


def _plain(value: object) -> Any:
    if dataclasses.is_dataclass(value):
        return write_record(value)
    if isinstance(value, tuple):
        return [_plain(v) for v in value]
    if isinstance(value, Enum):
        return value.value
    return value


def _convert(hint: Any, value: object, *, where: str) -> Any:
    origin, arguments = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        return _convert_union(arguments, value, where=where)
    if origin is tuple:
        return _convert_tuple(arguments, value, where=where)
    if isinstance(hint, type) and dataclasses.is_dataclass(hint):
        return read_record(hint, value, where=where)
    if isinstance(hint, type) and issubclass(hint, Enum):
        choices = [str(member.value) for member in hint]
        if value not in choices:
            raise InputError(f"is {value!r}", where=where, mend="write one of: " + ", ".join(choices))
        return hint(value)
    return _convert_scalar(hint, value, where=where)


def _convert_union(arguments: tuple[Any, ...], value: object, *, where: str) -> Any:
    choices = [a for a in arguments if a is not type(None)]
    if len(choices) == 1:
        return _convert(choices[0], value, where=where)
    for choice in choices:
        try:
            return _convert(choice, value, where=where)
        except InputError:
            continue
    wanted = " or ".join(_NAMES.get(c, str(c)) for c in choices)
    raise InputError(f"is {_kind_of(value)}", where=where, mend=f"write {wanted}")


def _convert_tuple(arguments: tuple[Any, ...], value: object, *, where: str) -> tuple[Any, ...]:
    if not isinstance(value, list):
        raise InputError(f"is {_kind_of(value)}", where=where, mend="write a list in [ ]")
    if arguments[-1] is Ellipsis:
        return tuple(_convert(arguments[0], v, where=f"{where}[{i}]") for i, v in enumerate(value, start=1))
    if len(value) != len(arguments):
        raise InputError(f"has {len(value)} values", where=where, mend=f"write {len(arguments)} of them")
    return tuple(_convert(a, v, where=where) for a, v in zip(arguments, value, strict=True))


_NAMES = {float: "a number", int: "a whole number", str: "text in quotes", bool: "true or false"}


def _convert_scalar(hint: Any, value: object, *, where: str) -> Any:
    if hint is float and isinstance(value, int | float) and not isinstance(value, bool):
        if not math.isfinite(value):
            raise InputError("is not a finite number", where=where, mend="write a number")
        return float(value)
    if type(value) is hint:
        return value
    raise InputError(f"is {_kind_of(value)}", where=where, mend=f"write {_NAMES[hint]}")


def _kind_of(value: object) -> str:
    match value:
        case bool():
            return f"`{str(value).lower()}`"
        case str():
            return f"the text {value!r}"
        case int() | float():
            return f"the number {value}"
        case list():
            return "a list"
        case Mapping():
            return "a table"
        case _:
            return f"{value}"
