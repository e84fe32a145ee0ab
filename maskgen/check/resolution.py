"""Whether the picture is fine enough for the size asked."""

from __future__ import annotations

from maskgen.model.artwork import FlatPicture
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.job import Resist

EDGE_MM = 0.03
"""How well an edge has to be known: a third of the usual creep, or correcting for creep would be guesswork."""

SMOOTH_EDGE_PX, NOISY_EDGE_PX, HARD_EDGE_PX = 0.06, 0.12, 0.2
"""Mean error of a traced edge: smoothed, blurred or noisy, and unsmoothed pictures (docs/tracing.md)."""

PIXELS_PER_LAND = 2.5
"""The narrowest land or gap must span this many pixels to be told from its neighbours (sampling theory asks for 2)."""

BLURRED_PX = 0.6
"""Blur across edges (standard deviation) beyond which a picture is softer than smoothing alone makes it."""


def sharp_width_mm(flat: FlatPicture, *, resist: Resist) -> float:
    """Give the width up to which the picture is sharp enough."""
    blur = flat.edge_blur_px
    error = HARD_EDGE_PX if blur == 0 else SMOOTH_EDGE_PX if blur <= BLURRED_PX else NOISY_EDGE_PX
    softness = max(1.0, blur / BLURRED_PX)
    pixel_mm = min(EDGE_MM / error, min(resist.min_land_mm, resist.min_gap_mm) / PIXELS_PER_LAND / softness)
    return flat.picture.width * pixel_mm


def resolution_finding(flat: FlatPicture, *, width_mm: float, resist: Resist) -> tuple[Finding, ...]:
    """Give the finding `low-resolution` where the artwork is asked wider than it is sharp; `value` is that width."""
    limit = sharp_width_mm(flat, resist=resist)
    if width_mm <= limit:
        return ()
    needed = int(flat.picture.width * width_mm / limit) + 1
    return (
        Finding(
            Code.LOW_RESOLUTION,
            Severity.WARNING,
            f"The picture is {flat.picture.width} px wide: sharp up to {limit:.1f} mm, asked for {width_mm:g} mm.",
            f"Ask for a picture at least {needed} px wide, or a drawing; or make the artwork smaller.",
            value=round(limit, 2),
            limit=width_mm,
        ),
    )
