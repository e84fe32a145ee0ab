"""The list a person fills in at the test piece: one row per thing to measure; comma, semicolon or tab."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Mapping

from maskgen.errors import InputError, nearest_known
from maskgen.model.coupon import Feature, Reading

COLUMNS = ("id", "block", "what", "as_cut", "unit", "measured")
MOST_BYTES = 1_000_000
_NEEDED = ("id", "measured")
_NUMBER = re.compile(r"([+-]?\d*[.,]?\d+|[+-]?\d+[.,])\s*(mm)?", re.IGNORECASE)
_ANSWERS = {"yes": 1.0, "y": 1.0, "1": 1.0, "true": 1.0, "no": 0.0, "n": 0.0, "0": 0.0, "false": 0.0}


def write_measured(rows: Iterable[tuple[str, Feature]]) -> bytes:
    """Write the list to fill in; every row is the letter of its block on the reading sheet and the feature."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for letter, feature in rows:
        unit = "mm2" if feature.key.startswith("piece-") else "mm"
        asked = feature.unit if feature.unit == "mm" else f"{feature.unit} ({unit} as cut)"
        writer.writerow([feature.key, letter, feature.words, f"{feature.nominal:g}", asked, ""])
    return out.getvalue().encode()


def read_measured(data: bytes, *, name: str, known: Mapping[str, Feature]) -> tuple[Reading, ...]:
    """Read a filled list; rows without a measurement are left out, rows may be missing or stand in any order.

    Raises
    ------
    InputError
        With the row and the remedy, for whatever cannot be understood.
    """
    if len(data) > MOST_BYTES:
        raise InputError(f"is {len(data) / 1e6:.0f} MB", where=name, mend="give the filled measured.csv")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"not UTF-8 text (byte {error.start})", where=name, mend="save it as CSV UTF-8") from error
    try:
        lines = list(csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text)))
    except csv.Error as error:
        raise InputError(f"not a readable list: {error}", where=name, mend="save it as CSV again") from error
    filled = [(number, cells) for number, cells in enumerate(lines, start=1) if any(c.strip() for c in cells)]
    if not filled:
        raise InputError("is empty", where=name, mend="give the filled measured.csv")
    titles = [cell.strip().lower() for cell in filled[0][1]]
    for wanted in _NEEDED:
        if titles.count(wanted) != 1:
            raise InputError(
                f"the first row has {titles.count(wanted)} columns `{wanted}`",
                where=name,
                mend="keep the first row as it was written: " + ", ".join(COLUMNS),
            )
    found: dict[str, tuple[int, Reading | None]] = {}
    for number, cells in filled[1:]:
        where = f"{name}, row {number}"
        if any(cell.strip() for cell in cells[len(titles) :]):
            raise InputError(
                "has more cells than the first row",
                where=where,
                mend="write 1.8, or put a number with a comma in quotes",
            )
        row = dict(zip(titles, (cell.strip() for cell in cells), strict=False))
        key = row.get("id", "")
        if key not in known:
            raise InputError(f"no such id {key[:40]!r}", where=where, mend=nearest_known(key, known))
        if key in found:
            raise InputError(
                f"`{key}` stands in row {found[key][0]} too", where=where, mend="keep one; one list per test piece"
            )
        _same_cut(row.get("as_cut", ""), known[key], where=where)
        words = row.get("measured", "")
        found[key] = number, Reading(known[key], _value(words, known[key], where=where)) if words else None
    readings = tuple(reading for _, reading in found.values() if reading is not None)
    if not readings:
        raise InputError("nothing is filled in", where=name, mend="write into the column `measured`")
    return readings


def _delimiter(text: str) -> str:
    """Choose the separator that parts the first line into most known columns."""
    first = text.lstrip("\r\n").splitlines()[:1]

    def parted(delimiter: str) -> int:
        header = next(csv.reader(first, delimiter=delimiter), [])
        return len({cell.strip().lower() for cell in header} & set(COLUMNS))

    return max((",", ";", "\t"), key=parted)


def _same_cut(words: str, feature: Feature, *, where: str) -> None:
    if not words:
        return
    match = _NUMBER.fullmatch(words)
    if match is None or not math.isclose(float(match[1].replace(",", ".")), feature.nominal, abs_tol=0.006):
        raise InputError(
            f"`{feature.key}` was cut {feature.nominal:g}, the list says {words[:20]!r}",
            where=where,
            mend="the column `as_cut` is not to be changed; what you read belongs under `measured`",
        )


def _value(words: str, feature: Feature, *, where: str) -> float:
    if feature.unit != "mm":
        answer = _ANSWERS.get(words.lower())
        if answer is None:
            raise InputError(f"{words[:20]!r} is no answer", where=where, mend="write yes or no, or leave it empty")
        return answer
    match = _NUMBER.fullmatch(words)
    if match is None:
        raise InputError(f"{words[:20]!r} is no width in mm", where=where, mend="write it like 1.8, or leave it empty")
    value, most = float(match[1].replace(",", ".")), 2 * feature.nominal + 1.0
    if not 0 <= value <= most:
        raise InputError(
            f"is {value:g} mm; `{feature.key}` was cut {feature.nominal:g} mm",
            where=where,
            mend=f"it must be from 0 to {most:g} mm: see whether the unit and the row are right",
        )
    return value
