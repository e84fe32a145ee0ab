"""What a finished job is made of, before anything is written: reports and writers read it and change nothing."""

from __future__ import annotations

from dataclasses import dataclass

from maskgen.model.artwork import Picture
from maskgen.model.dyeing import Plan, Shelf
from maskgen.model.finding import Finding, failed
from maskgen.model.job import IslandRule, Job
from maskgen.model.masks import Mask, Sheet
from maskgen.model.paths import Partition, Point


@dataclass(frozen=True, slots=True)
class RegionError:
    """How one colour of the simulated part differs from the artwork."""

    key: str
    wrong_mm2: float
    edge_mean_mm: float
    edge_95_mm: float
    edge_max_mm: float


@dataclass(frozen=True, slots=True)
class Simulation:
    """The part as the simulated baths leave it, and how far that is from the artwork."""

    predicted: Partition
    wrong_mm2: float
    wrong_share: float
    edge_mean_mm: float
    edge_95_mm: float
    edge_max_mm: float
    regions: tuple[RegionError, ...] = ()


@dataclass(frozen=True, slots=True)
class Forgiveness:
    """The same baths with every mask put on a little off, many times over."""

    trials: int
    placement_mm: float
    seamless_share: float
    median_wrong_mm2: float
    worst_wrong_mm2: float
    median_edge_mm: float
    worst_edge_mm: float
    worst: Partition | None = None


@dataclass(frozen=True, slots=True)
class IslandChange:
    """What was done to one island."""

    region: str
    at_mm: Point
    area_mm2: float
    choice: IslandRule
    changed_mm2: float


@dataclass(frozen=True, slots=True)
class SizeLoss:
    """What would be lost at one width of the artwork."""

    width_mm: float
    findings: int
    lost_mm2: float
    lost: str


@dataclass(frozen=True, slots=True)
class SmallestSize:
    """The narrowest artwork at which nothing stands in the way, and what does below it."""

    width_mm: float | None
    obstacle: str
    table: tuple[SizeLoss, ...] = ()


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What an estimate counts with; `place_piece_min` is None where no piece is laid by itself."""

    parts: int
    lots: int
    strip_min: float
    seal_min_per_um: float
    oxide_um: float
    set_up_min: float
    weed_piece_min: float
    lay_mask_min: float
    peel_mask_min: float
    rinse_min: float
    place_piece_min: float | None = None


@dataclass(frozen=True, slots=True)
class Estimate:
    """Material, time and money for the whole quantity, with what was assumed; prices are None without rates."""

    film_mm2: float
    cut_length_mm: float
    pieces: int
    bath_minutes: float
    hand_minutes: float
    elapsed_minutes: float
    assumptions: Assumptions
    setup_price: float | None = None
    piece_price: float | None = None
    total_price: float | None = None


@dataclass(frozen=True, slots=True)
class JobResult:
    """A finished job.

    `regions` is the artwork as it should look on the face (section 5 of the formats), `job` the job that repeats this
    run exactly, `artwork` the picture it came from (None for vector artwork or lettering).
    """

    job: Job
    shelf: Shelf
    plan: Plan
    regions: Partition
    masks: tuple[Mask, ...]
    sheets: tuple[Sheet, ...]
    simulation: Simulation
    findings: tuple[Finding, ...]
    artwork: Picture | None = None
    forgiveness: Forgiveness | None = None
    island_changes: tuple[IslandChange, ...] = ()
    smallest: SmallestSize | None = None
    estimate: Estimate | None = None
    notes: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether an error stands."""
        return failed(self.findings)
