"""Name lists: CSV (UTF-8, commas, semicolons or tabs) or a workbook, the first row the column names."""

from __future__ import annotations

import re
from collections.abc import Sequence

from maskgen.errors import InputError
from maskgen.formats.list_lines import Line, read_lines
from maskgen.model.names import NameList, NameRow

COLUMNS = ("text", "quantity", "second", "colour", "id")
MAX_BYTES = 20_000_000
MAX_ROWS = 20_000
MAX_QUANTITY = 10_000
MAX_CELL = 1_000
"""More characters than this are no name."""

BROKEN = (
    "the text runs over several lines: put a second line in the column `second`, and see that every quote is closed"
)

_WHOLE = re.compile(r"\d+(?:\.0*)?(?:e\+?\d)?", re.IGNORECASE)


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
    lines, notes = read_lines(data, columns=COLUMNS, name=name)
    header = next((line.cells for line in lines if any(cell.strip() for cell in line.cells)), None)
    if header is None:
        raise InputError("is empty", where=name, mend="the first row holds the column names, `text` among them")
    places, unused = _columns(header, name=name)
    rows: list[NameRow] = []
    blank = 0
    for number, line in enumerate(lines, start=1):
        if number > MAX_ROWS:
            raise InputError(f"has over {MAX_ROWS} rows", where=name, mend="divide it")
        row = _row(number, line, places, width=len(header), quantity=quantity)
        blank = 0 if row.fault or any(cell.strip() for cell in line.cells) else blank + 1
        rows.append(row)
    return NameList(tuple(rows[: len(rows) - blank]), (*notes, *unused))


def _columns(header: Sequence[str], *, name: str) -> tuple[dict[str, int], tuple[str, ...]]:
    titles = [cell.strip().lower() for cell in header]
    for known in COLUMNS:
        if titles.count(known) > 1:
            raise InputError(f"two columns are called `{known}`", where=name, mend="keep one of them")
    if "text" not in titles:
        shown = ", ".join(f"`{title[:40]}`" for title in titles if title)[:200]
        raise InputError(f"no column `text`; the first row holds {shown}", where=name, mend="name the columns there")
    places = {known: titles.index(known) for known in COLUMNS if known in titles}
    unused = [title for title in titles if title and title not in COLUMNS]
    return places, tuple(f"The column `{title[:40]}` is not used." for title in unused)


def _row(number: int, line: Line, places: dict[str, int], *, width: int, quantity: int) -> NameRow:
    cells = line.cells

    def cell(column: str) -> str:
        place = places.get(column)
        return cells[place].strip() if place is not None and place < len(cells) else ""

    count, fault = _quantity(cell("quantity"), quantity)
    if any(re.search(r"[\r\n]", cell(column)) for column in ("text", "second")):
        fault = BROKEN
    odd = [line.odd[place] for column, place in places.items() if column != "id" and place in line.odd]
    fault = line.fault or next(iter(odd), fault)
    if not line.fault and any(extra.strip() for extra in cells[width:]):
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
    if count != number or not 1 <= count <= MAX_QUANTITY or not _WHOLE.fullmatch(words):
        return 0, f"the quantity is {words[:40]}; it must be a whole number from 1 to {MAX_QUANTITY}"
    return count, ""
