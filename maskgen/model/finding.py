"""Findings: what is wrong with a drawing or a job, where, by how much, and how to mend it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from maskgen.model.paths import Point


class Severity(StrEnum):
    """How bad a finding is."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


class Code(StrEnum):
    """Every kind of finding."""

    OPEN_PATH = "open-path"
    SELF_CROSSING = "self-crossing"
    DOUBLED_LINE = "doubled-line"
    CROSSING_PIECES = "crossing-pieces"
    BACKING_PANEL = "backing-panel"
    LIVE_TEXT = "live-text"
    PICTURE = "picture"
    PEN_STROKE = "pen-stroke"
    OFF_SHEET = "off-sheet"
    SCALE_DOUBT = "scale-doubt"
    THIN_LAND = "thin-land"
    NARROW_GAP = "narrow-gap"
    SMALL_PIECE = "small-piece"
    LOOSE_ISLAND = "loose-island"
    NODE_CROWD = "node-crowd"
    STRAY_POINT = "stray-point"
    UNREAD = "unread"
    LOW_CONTRAST = "low-contrast"
    COLOUR_UNREACHED = "colour-unreached"
    LOW_RESOLUTION = "low-resolution"
    NO_FLAT_COLOURS = "no-flat-colours"
    OFF_PART = "off-part"
    CREEP_OVERRUN = "creep-overrun"


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding; `at_mm` in the drawing's own frame, y down; `piece` counts from 1 within its mask or file."""

    code: Code
    severity: Severity
    message: str
    mend: str
    at_mm: Point | None = None
    mask: str | None = None
    piece: int | None = None
    value: float | None = None
    limit: float | None = None


def failed(findings: tuple[Finding, ...]) -> bool:
    """Whether an error stands."""
    return any(f.severity is Severity.ERROR for f in findings)
