"""The lines of a name list as cells of text: CSV (UTF-8, commas, semicolons or tabs) or a workbook."""

from __future__ import annotations

import csv
import datetime
import io
import re
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import repeat

from maskgen.errors import InputError

DELIMITERS = (",", ";", "\t")
MAX_UNPACKED = 200_000_000

UNCLOSED = "a quote is not closed, or stands within the text: write it twice, or leave it out"
FORMULA = "the cell holds a formula without its result: open the list, save it again, or write the text itself"
_DATE = "the cell holds a date or a time, {0}, which may have been a name: write it as text"
_ERROR = "the cell holds the spreadsheet's error {0}: write the text itself"
_ERRORS = frozenset({"#N/A", "#REF!", "#NAME?", "#VALUE!", "#DIV/0!", "#NULL!", "#NUM!"})

_SEPARATOR_LINE = re.compile(r"sep=(.)\r?\n?", re.IGNORECASE)
_FORMULAS = re.compile(rb"<(?:\w+:)?f[ />]")


@dataclass(frozen=True, slots=True)
class Line:
    """One line: its cells, what makes all of it unusable, and what makes single cells so, by place."""

    cells: Sequence[str]
    fault: str = ""
    odd: dict[int, str] = field(default_factory=dict)


def read_lines(data: bytes, *, columns: Sequence[str], name: str) -> tuple[Iterator[Line], tuple[str, ...]]:
    """Read a list; `columns` are the names looked for in its first line. Give the lines, and what is to be said of it.

    Raises
    ------
    InputError
        When it is neither, at the call or while the lines are read.
    """
    if data[:2] == b"PK":
        return _workbook(data, name=name)
    return _csv(_text(data, name=name), columns=columns), ()


def _text(data: bytes, *, name: str) -> str:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise InputError("is UTF-16 text", where=name, mend="save it as CSV UTF-8")
    if data[:4] == b"\xd0\xcf\x11\xe0":
        raise InputError("is a workbook of the old kind (.xls)", where=name, mend="save it as .xlsx or as CSV UTF-8")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        begin = max(data.rfind(b"\n", 0, error.start), data.rfind(b"\r", 0, error.start)) + 1
        line = len(re.findall(rb"\r\n|\r|\n", data[:begin])) + 1
        near = data[max(begin, error.start - 20) : error.start + 20].decode("latin-1")
        shown = "".join(c if c.isprintable() else "\ufffd" for c in near.splitlines()[0])
        raise InputError(
            f"is not UTF-8 text (line {line}, `{shown}`)", where=name, mend="save it as CSV UTF-8"
        ) from error


def _csv(text: str, *, columns: Sequence[str]) -> Iterator[Line]:
    """Read line by line; one that cannot be read as it stands ends with its own line break, and says so."""
    said = _SEPARATOR_LINE.match(text)
    text = text[said.end() :] if said else text
    lines = list(io.StringIO(text, newline=""))
    delimiter = said[1] if said else _delimiter(lines, columns)
    at = 0
    while at < len(lines):
        reader = csv.reader(iter(lines[at:]), delimiter=delimiter, strict=True)
        read = 0
        try:
            for cells in reader:
                read = reader.line_num
                yield Line(cells)
            return
        except csv.Error:
            at += read
            plain = csv.reader([lines[at]], delimiter=delimiter, quoting=csv.QUOTE_NONE)
            yield Line(next(plain, []), UNCLOSED)
            at += 1


def _delimiter(lines: Sequence[str], columns: Sequence[str]) -> str:
    """Choose the separator that makes most known columns of the first line with words."""
    first = next(([line] for line in lines if line.strip()), [])

    def known(delimiter: str) -> int:
        header = next(csv.reader(first, delimiter=delimiter), [])
        return len({cell.strip().lower() for cell in header} & set(columns))

    return max(DELIMITERS, key=known)


def _workbook(data: bytes, *, name: str) -> tuple[Iterator[Line], tuple[str, ...]]:
    from openpyxl import load_workbook

    mend = "save it as .xlsx or CSV again"
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(info.file_size for info in archive.infolist())
            if unpacked > MAX_UNPACKED:
                raise InputError(f"unpacks to {unpacked / 1e6:.0f} MB", where=name, mend="save the list alone as CSV")
            sheets = [info for info in archive.infolist() if info.filename.startswith("xl/worksheets/")]
            formulas = any(_FORMULAS.search(archive.read(info)) for info in sheets)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            asked = load_workbook(io.BytesIO(data), read_only=True) if formulas else None
        seen = [index for index, sheet in enumerate(book.worksheets) if sheet.sheet_state == "visible"]
    except InputError:
        raise
    except Exception as error:  # the library raises whatever a damaged part makes it stumble over
        raise InputError("not a readable workbook", where=name, mend=mend) from error
    if not seen:
        raise InputError("has no sheet with a list", where=name, mend=mend)
    sheet = book.worksheets[seen[0]]
    others = len(seen) - 1
    notes = (
        (f"Of the workbook only the sheet `{sheet.title[:40]}` is read; there are {others} more.",) if others else ()
    )

    def lines() -> Iterator[Line]:
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                values: Iterable[tuple[object, ...]] = sheet.iter_rows(values_only=True)
                wanted = asked.worksheets[seen[0]].iter_rows(values_only=True) if asked else repeat(())
                for row, written in zip(values, wanted, strict=False):
                    yield _line(row, written)
        except Exception as error:  # the same library, the same reason
            raise InputError("not a readable workbook", where=name, mend=mend) from error

    return lines(), notes


def _line(values: Sequence[object], written: Sequence[object]) -> Line:
    odd: dict[int, str] = {}
    for place, value in enumerate(values):
        if value is None and place < len(written) and written[place] is not None:
            odd[place] = FORMULA
        elif isinstance(value, datetime.date | datetime.time | datetime.timedelta):
            odd[place] = _DATE.format(_cell(value))
        elif value in _ERRORS:
            odd[place] = _ERROR.format(value)
    return Line([_cell(value) for value in values], odd=odd)


def _cell(value: object) -> str:
    """Give a cell as a person would have typed it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    if isinstance(value, datetime.datetime) and value.time() == datetime.time():
        return str(value.date())
    return str(value)
