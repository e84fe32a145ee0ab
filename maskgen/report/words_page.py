"""The words of the report: headings, captions, and what its drawings say when they are used."""

from __future__ import annotations

from typing import ClassVar

from maskgen.model.finding import Code, Finding, Severity
from maskgen.report.words_bench import BenchWords
from maskgen.report.words_estimate import EstimateWords

_NAMES = {
    Code.THIN_LAND: "Vinyl too narrow",
    Code.NARROW_GAP: "Opening too narrow",
    Code.SMALL_PIECE: "Piece too small to handle",
    Code.LOOSE_ISLAND: "Loose piece inside an opening",
    Code.LOW_CONTRAST: "Colours hard to tell apart",
    Code.COLOUR_UNREACHED: "Colour out of reach",
    Code.LOW_RESOLUTION: "Picture too coarse for this size",
    Code.NO_FLAT_COLOURS: "Picture without flat colours",
    Code.OFF_PART: "Artwork over the edge, in the keepout or over a hole",
    Code.CREEP_OVERRUN: "Bleach would eat through",
    Code.UNREAD: "Not understood in the drawing",
}
_UNITS = {
    Code.THIN_LAND: "mm wide",
    Code.NARROW_GAP: "mm wide",
    Code.CREEP_OVERRUN: "mm wide",
    Code.SMALL_PIECE: "mm²",
    Code.LOOSE_ISLAND: "mm²",
}


class PageWords(BenchWords, EstimateWords):
    """The words in English."""

    language = "en"
    as_it_will_look = "As it will look"
    the_artwork = "The artwork on the part"
    unrolled_caption = "Unrolled: the seam is at the left and right edge, the front in the middle."
    figures_name = "The job in figures"
    findings = "What to look at before cutting"
    no_findings = "Nothing was found that stands in the way."
    look_closer = "The place from near"
    look_closer_hint = "The film there is drawn striped."
    walk = "Step by step"
    walk_role = "step by step pictures"
    step_back = "step back"
    step_on = "step on"
    key_film = "striped, with its number: covered by film"
    key_open = "plain: open to the bath"
    arrow_hint = "The arrow keys step too."
    colour_heads = ("colour", "wanted", "reached", "difference (CIEDE2000)", "recipe", "area")
    masks = "Masks"
    look_hint = (
        "Zoom with the buttons, with + and −, or with Ctrl and the wheel; drag to move. To measure in mm choose two points, "
        "or move the cross with the arrow keys (with Shift 0.1 mm at a time) and set both with Enter."
    )
    sheets = "Sheets for the cutter"
    trials = "Masks placed a little off"
    small_title = "How small it can be made"
    small_heads = ("artwork width", "findings", "lost area", "what would be lost")
    lifting = "Other ways, with film taken off on the way"
    lifting_heads = ("way", "strips", "masks", "dye baths", "lifts")
    count_masks = "masks on each part"
    count_baths = "dye baths"
    count_strips = "strips in bleach"
    proven = " (proven least)"
    wrong_colour = "wrong colour, simulated"
    edges_off = "edges off on average"
    time_for_all = "time for all"
    smallest_artwork = "smallest artwork"

    script: ClassVar[dict[str, str]] = {
        "step": "step {0} of {1}",
        "closer": "closer",
        "further": "further away",
        "whole": "whole",
        "drawing": "drawing to look at closely",
        "second": "from {0}, {1} mm: now the second point",
        "at": "{0}, {1} mm",
        "measured": "{0} mm apart ({1} across, {2} down)",
    }
    """What the page's script says; numbers stand for what it fills in."""

    def code(self, code: Code, count: int) -> str:
        """Name a kind of finding."""
        name = _NAMES.get(code, code.replace("-", " "))
        return name if count == 1 else f"{name}: {count} places"

    def severity(self, severity: Severity) -> str:
        """Name a severity."""
        return {Severity.ERROR: "must be mended", Severity.WARNING: "look at this", Severity.NOTE: "note"}[severity]

    def place(self, finding: Finding) -> str:
        """Say a finding in short, where its kind has been said already."""
        unit = _UNITS.get(finding.code)
        if unit is None or finding.at_mm is None or finding.value is None or finding.limit is None:
            return finding.message
        x, y = finding.at_mm
        mask = f"{finding.mask} at " if finding.mask else ""
        least = f"{finding.limit:g} mm" if unit.startswith("mm ") else f"{finding.limit:g} {unit}"
        return f"{mask}{x:.1f}, {y:.1f} mm: {finding.value:.2f} {unit}, {least} wanted"

    def more_of_these(self, count: int) -> str:
        """Offer the rest of a list."""
        return f"all {count} of this kind"

    def sheet_name(self, number: int) -> str:
        """Name a sheet."""
        return f"Sheet {number}"

    def mask_name(self, number: str) -> str:
        """Name a mask's drawing."""
        return f"Mask {number}"

    def to_cut(self, pieces: int, length_mm: float) -> str:
        """Say what there is to cut of a mask."""
        return f"{self.pieces(pieces)}, {length_mm:.0f} mm to cut"

    def way(self, number: int) -> str:
        """Name one of several plans."""
        return "this one" if number == 1 else f"way {number}"
