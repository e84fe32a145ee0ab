"""Name lists: CSV (UTF-8, commas, semicolons or tabs) or a workbook, the first row the column names."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from collections.abc import Iterable, Iterator, Sequence

from maskgen.errors import InputError
from maskgen.model.names import NameList, NameRow

COLUMNS = ("text", "quantity", "second", "colour", "id")
DELIMITERS = (",", ";", "\t")
MAX_BYTES = 20_000_000
MAX_UNPACKED = 200_000_000
MAX_ROWS = 20_000
MAX_QUANTITY = 10_000
MAX_CELL = 1_000
"""More characters than this are no name."""

Cells = Sequence[str]


def read_names(data: bytes, *, name: str, quantity: int = 1) -> NameList:
    """Read a list; a row that cannot be used comes back with its fault.

    Parameters
    ----------
    data
        The file.
    name
        What it is called, for messages.
    quantity
        How many are made of a row that does not say.

    Raises
    ------
    InputError
        When it is no list at all: not UTF-8, no column `text`, too large, a damaged workbook.
    """
    if len(data) > MAX_BYTES:
        raise InputError(f"is {len(data) / 1e6:.0f} MB", where=name, mend=f"a list may have {MAX_BYTES // 10**6} MB")
    lines = _workbook(data, name=name) if data[:4] == b"PK\x03\x04" else _csv(data, name=name)
    header = next(lines, None)
    if header is None:
        raise InputError("is empty", where=name, mend="the first row holds the column names, `text` among them")
    places, notes = _columns(header, name=name)
    rows: list[NameRow] = []
    blank = 0
    for number, cells in enumerate(lines, start=1):
        if number > MAX_ROWS:
            raise InputError(f"has over {MAX_ROWS} rows", where=name, mend="divide it")
        row = _row(number, cells, places, width=len(header), quantity=quantity)
        blank = blank + 1 if not any(cell.strip() for cell in cells) else 0
        rows.append(row)
    return NameList(tuple(rows[: len(rows) - blank]), notes)


def _columns(header: Cells, *, name: str) -> tuple[dict[str, int], tuple[str, ...]]:
    titles = [cell.strip().lower() for cell in header]
    for known in COLUMNS:
        if titles.count(known) > 1:
            raise InputError(f"two columns are called `{known}`", where=name, mend="keep one of them")
    if "text" not in titles:
        shown = ", ".join(f"`{title[:40]}`" for title in titles[:8])
        raise InputError(f"no column `text`; the first row holds {shown}", where=name, mend="name the columns there")
    places = {known: titles.index(known) for known in COLUMNS if known in titles}
    unused = [title for title in titles if title and title not in COLUMNS]
    return places, tuple(f"The column `{title[:40]}` is not used." for title in unused)


def _row(number: int, cells: Cells, places: dict[str, int], *, width: int, quantity: int) -> NameRow:
    def cell(column: str) -> str:
        place = places.get(column)
        return cells[place].strip() if place is not None and place < len(cells) else ""

    count, fault = _quantity(cell("quantity"), quantity)
    if any(extra.strip() for extra in cells[width:]):
        fault = "there are more cells than columns; put a text that holds the separator in quotes"
    if any(len(value) > MAX_CELL for value in cells):
        fault = f"a cell holds over {MAX_CELL} characters"
    return NameRow(
        number,
        cell("text")[:MAX_CELL],
        count,
        cell("second")[:MAX_CELL],
        cell("colour")[:MAX_CELL],
        cell("id")[:MAX_CELL],
        fault,
    )


def _quantity(words: str, usual: int) -> tuple[int, str]:
    if not words:
        return usual, ""
    try:
        number = float(words)
        count = int(number)
    except (ValueError, OverflowError):
        return 0, f"the quantity is {words[:40]!r}, not a whole number"
    if count != number or not 1 <= count <= MAX_QUANTITY:
        return 0, f"the quantity is {words[:40]}; it must be a whole number from 1 to {MAX_QUANTITY}"
    return count, ""


def _csv(data: bytes, *, name: str) -> Iterator[Cells]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"not UTF-8 text (byte {error.start})", where=name, mend="save it as CSV UTF-8") from error
    try:
        yield from csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text))
    except csv.Error as error:
        raise InputError(f"not a readable list: {error}", where=name, mend="save it as CSV again") from error


def _delimiter(text: str) -> str:
    """Choose the separator that makes most known columns of the first line."""
    first = text.lstrip("\r\n").splitlines()[:1]

    def known(delimiter: str) -> int:
        header = next(csv.reader(first, delimiter=delimiter), [])
        return len({cell.strip().lower() for cell in header} & set(COLUMNS))

    return max(DELIMITERS, key=known)


def _workbook(data: bytes, *, name: str) -> Iterator[Cells]:
    from openpyxl import load_workbook

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            unpacked = sum(info.file_size for info in archive.infolist())
        if unpacked > MAX_UNPACKED:
            raise InputError(f"unpacks to {unpacked / 1e6:.0f} MB", where=name, mend="save the list alone as CSV")
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            rows: Iterable[tuple[object, ...]] = book.worksheets[0].iter_rows(values_only=True)
            for row in rows:
                yield [_cell(value) for value in row]
    except InputError:
        raise
    except Exception as error:  # the library raises whatever a damaged part makes it stumble over
        raise InputError("not a readable workbook", where=name, mend="save it as .xlsx or CSV again") from error


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)
