"""`manifest.csv`: how every row of a name list ended and where it lies; safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable

from maskgen.model.names import RowReport

HEADER = (
    "row",
    "id",
    "text",
    "quantity",
    "status",
    "reason",
    "cap_height_mm",
    "narrowest_land_mm",
    "sheet",
    "x_mm",
    "y_mm",
)

_RUN_AS_FORMULA = r"[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]"
"""First characters that spreadsheets take as the start of a formula, full width ones too (OWASP, CSV Injection)."""
_AT_START = re.compile(rf"(?=[\s\u200b-\u200f\u2060\ufeff]*{_RUN_AS_FORMULA})")
_AFTER_SEPARATOR = re.compile(rf"(?<=[;\t])(?=\s*{_RUN_AS_FORMULA})")
"""Where a spreadsheet of another country splits cells: there a semicolon is the separator, and quotes do not help."""
_UNPRINTABLE = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff]")


def write_manifest(reports: Iterable[RowReport]) -> bytes:
    """Write one line for every row, in the order given."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(HEADER)
    for report in reports:
        x, y = report.at_mm if report.at_mm is not None else (None, None)
        writer.writerow(
            [
                report.row.number,
                harmless(report.row.key),
                harmless(report.row.text),
                report.row.quantity or "",
                report.status.value,
                harmless(report.reason),
                _number(report.cap_height_mm),
                _number(report.narrowest_land_mm),
                report.sheet if report.sheet is not None else "",
                _number(x),
                _number(y),
            ]
        )
    return out.getvalue().encode()


def harmless(text: str) -> str:
    """Give a text as a cell that no spreadsheet runs, in one line: an apostrophe before what would be a formula."""
    in_line = re.sub(r"\r\n|\r|\n", " ", text)
    plain = _AFTER_SEPARATOR.sub("'", _UNPRINTABLE.sub("\ufffd", in_line))
    return f"'{plain}" if _AT_START.match(plain) else plain


def _number(value: float | None) -> str:
    return "" if value is None else f"{value + 0.0:.3f}"
