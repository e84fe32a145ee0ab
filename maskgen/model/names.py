"""A name list: its rows as read, and how each of them ended."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class RowStatus(StrEnum):
    """How a row ended."""

    MADE = "made"
    WARNED = "warned"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class NameRow:
    """One row of the list; `number` counts from 1 below the column names, `fault` says why it cannot be read."""

    number: int
    text: str
    quantity: int = 1
    second: str = ""
    colour: str = ""
    key: str = ""
    fault: str = ""


@dataclass(frozen=True, slots=True)
class NameList:
    """The rows, and plain sentences on what was noticed while reading."""

    rows: tuple[NameRow, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RowReport:
    """How a row ended, with what the manifest tells; lengths mm, the place that of the name's top left on its sheet."""

    row: NameRow
    status: RowStatus
    reason: str = ""
    cap_height_mm: float | None = None
    narrowest_land_mm: float | None = None
    sheet: int | None = None
    at_mm: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True)
class MaskRecord:
    """A mask of a finished row: its file, its extent (left, top, right, bottom), how many pieces belong together."""

    number: str
    file: str
    box: tuple[float, float, float, float]
    runs: tuple[int, ...]
    cut_mm: float


@dataclass(frozen=True, slots=True)
class RowRecord:
    """What is kept of a row once it has ended; `colour` is the id of the letters' colour, `errors` those that stand."""

    status: RowStatus
    reason: str = ""
    cap_height_mm: float | None = None
    narrowest_land_mm: float | None = None
    colour: str = ""
    errors: int = 0
    name_mask: str = ""
    masks: tuple[MaskRecord, ...] = ()
