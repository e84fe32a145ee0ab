"""A job as its file states it. Field names are the keys of `job.toml`; lengths mm, times minutes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from maskgen.model.paths import Point


class Shape(StrEnum):
    """Kinds of part."""

    PLATE = "plate"
    TUBE = "tube"
    DISC = "disc"


class Carrier(StrEnum):
    """How the pieces of a mask get to the part."""

    TAPE = "tape"
    LOOSE = "loose"
    STENCIL = "stencil"


class IslandRule(StrEnum):
    """What becomes of an island too small to handle."""

    KEEP = "keep"
    DROP = "drop"
    BRIDGE = "bridge"
    GROW = "grow"


class Paper(StrEnum):
    """What the bench sheet is printed on."""

    A4 = "a4"
    LETTER = "letter"


class Permission(StrEnum):
    """Whether something may be done."""

    ALLOW = "allow"
    NEVER = "never"


class Peel(StrEnum):
    """When the film comes off."""

    BEFORE_SEAL = "before-seal"
    BETWEEN_SEALS = "between-seals"


@dataclass(frozen=True, slots=True)
class Part:
    """The part; its face is developed flat (a tube's width is its circumference, its height its length)."""

    shape: Shape = Shape.PLATE
    width_mm: float | None = None
    height_mm: float | None = None
    diameter_mm: float | None = None
    length_mm: float | None = None
    keepout_mm: float = 1.0

    @property
    def face_mm(self) -> tuple[float, float]:
        """Width and height of the developed face."""
        if self.shape is Shape.PLATE:
            assert self.width_mm is not None
            assert self.height_mm is not None
            return self.width_mm, self.height_mm
        assert self.diameter_mm is not None
        if self.shape is Shape.DISC:
            return self.diameter_mm, self.diameter_mm
        assert self.length_mm is not None
        return math.pi * self.diameter_mm, self.length_mm


@dataclass(frozen=True, slots=True)
class Artwork:
    """The picture and where it lies on the face; a picture of more pixels than the limit is not read."""

    file: str
    width_mm: float | None = None
    height_mm: float | None = None
    at_mm: Point | None = None
    colours: int | str = "auto"
    pixel_limit: int = 100_000_000


@dataclass(frozen=True, slots=True)
class Dose:
    """Time in one dye."""

    dye: str
    minutes: float


@dataclass(frozen=True, slots=True)
class ColourEntry:
    """What an artwork colour shall become: a dye, a recipe, bare, or (none of them) matched."""

    source: str
    name: str | None = None
    dye: str | None = None
    recipe: tuple[Dose, ...] | None = None
    bare: bool = False


@dataclass(frozen=True, slots=True)
class Ground:
    """What the part outside the artwork becomes."""

    bare: bool = False
    dye: str | None = None
    recipe: tuple[Dose, ...] | None = None
    colour: str | None = None


@dataclass(frozen=True, slots=True)
class Finish:
    """Rules for the dye order."""

    overdye: Permission = Permission.ALLOW
    lift: Permission = Permission.NEVER
    match_delta_e: float = 3.0
    peel: Peel = Peel.BEFORE_SEAL


@dataclass(frozen=True, slots=True)
class Resist:
    """What the vinyl and the bleach do: the resist profile."""

    creep_mm: float = 0.10
    lap_mm: float = 0.5
    placement_mm: float = 0.3
    min_land_mm: float = 0.8
    min_gap_mm: float = 0.5
    min_piece_mm2: float = 1.5
    bridge_mm: float = 0.8
    carrier: Carrier = Carrier.TAPE
    islands: IslandRule = IslandRule.KEEP
    overhang_mm: float = 1.0
    sheet_width_mm: float = 300.0


@dataclass(frozen=True, slots=True)
class IslandChoice:
    """One island decided by hand."""

    at_mm: Point
    choice: IslandRule


@dataclass(frozen=True, slots=True)
class Hole:
    """A hole drilled in the part."""

    at_mm: Point
    diameter_mm: float


@dataclass(frozen=True, slots=True)
class Rates:
    """What things cost, for a price."""

    currency: str = "EUR"
    hour: float = 0.0
    film_m2: float = 0.0
    setup: float = 0.0
    bath: float = 0.0


class DxfVersion(StrEnum):
    """Which DXF is written."""

    R2000 = "r2000"
    R12 = "r12"


@dataclass(frozen=True, slots=True)
class SheetSettings:
    """How masks are laid out on sheets and what the cutter needs; the sheet's width is `resist.sheet_width_mm`.

    The margin keeps clear of the pinch rollers, the spacing leaves waste enough to weed (both common practice, no
    source); 800 mm is what 16 bit plotter units hold (32767 / 40 = 819 mm).
    """

    margin_mm: float = 10.0
    spacing_mm: float = 3.0
    sheet_length_mm: float = 800.0
    tile: bool = False
    weeding_frame: bool = False
    relief_lines: bool = False
    crosses: bool = False
    check_bar: bool = False
    mirror: bool = False
    parcel: bool = False
    film: str = "cast vinyl film, 50 µm"
    overcut_mm: float = 0.0
    knife_offset_mm: float = 0.0
    dxf: DxfVersion = DxfVersion.R2000


class Align(StrEnum):
    """Where lettering stands in its box."""

    LEFT = "left"
    CENTRE = "centre"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class TextSpec:
    """Lettering of a name list; `at_mm` is the top left of its box on the face.

    `text` and `second` are the one name of a finished row's own job file.
    """

    font: str
    height_mm: float
    box_mm: tuple[float, float]
    colour: str
    second_height_mm: float | None = None
    align: Align = Align.CENTRE
    letter_gap_mm: float = 0.0
    at_mm: Point | None = None
    text: str = ""
    second: str = ""


@dataclass(frozen=True, slots=True)
class Job:
    """Everything needed to repeat a job."""

    part: Part | None = None
    title: str = ""
    quantity: int = 1
    shelf: str | None = None
    companions: tuple[str, ...] = ()
    formats: tuple[str, ...] = ("svg",)
    paper: Paper = Paper.A4
    artwork: Artwork | None = None
    colour: tuple[ColourEntry, ...] = ()
    ground: Ground | None = None
    finish: Finish = Finish()
    resist: Resist = Resist()
    sheets: SheetSettings = SheetSettings()
    island: tuple[IslandChoice, ...] = ()
    hole: tuple[Hole, ...] = ()
    rates: Rates | None = None
    text: TextSpec | None = None
