"""Pictures of findings: each place from near, and one drawing of the part in which every place can be looked at."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from maskgen.formats.numbers import fixed
from maskgen.model.finding import Finding, Severity
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition
from maskgen.report.scene import FaceViews, coloured, hatch, ring_at

ZOOM_MM = 6.0
"""Side of the window round a finding."""


def near_hatch() -> str:
    """Give the stripes of film as it is drawn from near."""
    return hatch("film-near", ZOOM_MM / 22)


def finding_view(finding: Finding, regions: Partition, *, label: str) -> str:
    """Draw the place of a finding from near, with a ring round it; nothing where it has no place."""
    if finding.at_mm is None:
        return ""
    x, y = finding.at_mm
    film = _film(finding.mask) if finding.mask else ""
    mark = ring_at(finding.at_mm, ZOOM_MM / 5, dashed=finding.severity is not Severity.ERROR)
    box = " ".join(fixed(v) for v in (x - ZOOM_MM / 2, y - ZOOM_MM / 2, ZOOM_MM, ZOOM_MM))
    return (
        f'<svg viewBox="{box}" role="img" aria-label="{escape(label)}"><use href="#artwork-fills"/>{film}{mark}</svg>'
    )


def fills_definition(regions: Partition) -> str:
    """State the artwork in its colours, for every picture from near."""
    return f'<g id="artwork-fills">{coloured(regions, {r.key: r.colour for r in regions.regions})}</g>'


def places_view(views: FaceViews, masks: Iterable[Mask], *, label: str) -> str:
    """Draw the artwork with the film of every mask to be switched on, and a ring to be moved; the script does both."""
    films = "".join(f'<g data-film="{escape(m.number)}" hidden>{_film(m.number)}</g>' for m in masks)
    ring = f"<g data-ring hidden>{ring_at((0.0, 0.0), ZOOM_MM / 5)}</g>"
    return views.framed(f'<use href="#artwork-fills"/>{films}', label=label, over=ring)


def _film(mask: str) -> str:
    return f'<use href="#mask-{escape(mask)}" fill="url(#film-near)" stroke="#10141c" stroke-width="1"/>'
