"""The test piece and what is read from it: plain values."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from maskgen.model.finding import Severity
from maskgen.model.job import Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Point


class Kind(StrEnum):
    """What a row of the measurements is about."""

    CREEP = "creep"
    LINE = "line"
    SLIT = "slit"
    PIECE = "piece"
    PLACE = "place"


@dataclass(frozen=True, slots=True)
class Feature:
    """One thing to measure: the row's id, what it is in words, its size as cut, and where it lies (mm, on the face).

    `unit` is "mm" for a width to be measured, "yes/no" for a question. `family` are the rows that are judged together.
    `strips`: through how many strips it goes (0 where that means nothing).
    """

    key: str
    kind: Kind
    family: str
    words: str
    nominal: float
    unit: str
    at_mm: Point = (0.0, 0.0)
    strips: int = 0


@dataclass(frozen=True, slots=True)
class BlockPlace:
    """A block of features as it lies on the face: its letter on the reading sheet, its words, its box."""

    letter: str
    words: str
    box: tuple[float, float, float, float]
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TestPiece:
    """The piece: its plate, its masks in the order they go on, its blocks and everything to be measured."""

    width_mm: float
    height_mm: float
    masks: tuple[Mask, ...]
    blocks: tuple[BlockPlace, ...]
    features: tuple[Feature, ...]


@dataclass(frozen=True, slots=True)
class Reading:
    """What was measured of a feature: millimetres, or 1 for yes and 0 for no."""

    feature: Feature
    value: float


@dataclass(frozen=True, slots=True)
class Remark:
    """Something about the readings that does not fit, or that limits what they say."""

    severity: Severity
    message: str
    mend: str


@dataclass(frozen=True, slots=True)
class ProfileValue:
    """One value of the resist profile, whether it was measured, and in words where it comes from."""

    key: str
    value: float
    measured: bool
    words: str


@dataclass(frozen=True, slots=True)
class CreepFit:
    """Creep per strip, its standard error and 95 % margin, scatter of the bars, how many counted, which did not."""

    creep_mm: float
    error_mm: float
    margin_mm: float
    scatter_mm: float
    bars: int
    set_aside: tuple[str, ...]
    offset_mm: float = 0.0


@dataclass(frozen=True, slots=True)
class Profile:
    """The resist profile the readings give."""

    resist: Resist
    values: tuple[ProfileValue, ...]
    remarks: tuple[Remark, ...]
    creep: CreepFit | None
