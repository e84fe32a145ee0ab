"""Drawings for the page, as SVG: outlines are stated once and used in every picture."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape

from maskgen.formats.numbers import fixed
from maskgen.formats.svg_write import path_data
from maskgen.model.finding import Finding, Severity
from maskgen.model.job import Part, Resist, Shape
from maskgen.model.masks import Mask, Sheet
from maskgen.model.paths import Area, Partition, Point, bounds

ZOOM_MM = 6.0
"""Side of the window round a finding."""

# A hair of the same colour closes the light seams that smoothing leaves between neighbours on a screen.
_SEAMLESS = 'stroke="{0}" stroke-width="0.6"'


def _hatch(key: str, pitch_mm: float) -> str:
    """Film on the part: told by its stripes, not by a colour."""
    pitch, stripe = fixed(pitch_mm), fixed(0.28 * pitch_mm)
    return (
        f'<pattern id="{key}" width="{pitch}" height="{pitch}" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="{pitch}" height="{pitch}" fill="#f4f6f8" fill-opacity="0.38"/>'
        f'<rect width="{stripe}" height="{pitch}" fill="#10141c" fill-opacity="0.75"/></pattern>'
    )


def definitions(regions: Partition, predicted: Partition, masks: Iterable[Mask]) -> str:
    """State every outline once, for `use`."""
    paths = [(f"region-{r.key}", path_data(r.area.rings)) for r in regions.regions]
    paths += [(f"mask-{m.number}", path_data(m.area.rings)) for m in masks]
    drawn = "".join(
        f'<path id="{escape(key)}" fill-rule="evenodd" vector-effect="non-scaling-stroke" d="{d}"/>' for key, d in paths
    )
    looks = _painted(predicted)
    hatches = _hatch("film", regions.width / 40) + _hatch("film-near", ZOOM_MM / 30)
    return f'{hatches}{drawn}<g id="finished">{looks}</g>'


def _painted(partition: Partition) -> str:
    return "".join(
        f'<path fill-rule="evenodd" fill="{r.colour}" {_SEAMLESS.format(r.colour)} '
        f'vector-effect="non-scaling-stroke" d="{path_data(r.area.rings)}"/>'
        for r in partition.regions
    )


def face_outline(part: Part) -> str:
    """Draw the edge of the face."""
    width, height = part.face_mm
    style = 'fill="none" stroke="currentColor" stroke-width="0.8" vector-effect="non-scaling-stroke"'
    if part.shape is Shape.DISC:
        return f'<circle cx="{fixed(width / 2)}" cy="{fixed(height / 2)}" r="{fixed(width / 2)}" {style}/>'
    return f'<rect width="{fixed(width)}" height="{fixed(height)}" {style}/>'


def part_view(
    regions: Partition, part: Part, colours: Mapping[str, str], masks_on: Iterable[str], *, label: str
) -> str:
    """Draw the part between two steps: each region in its colour of the moment, film hatched over it."""
    fills = "".join(
        f'<use href="#region-{escape(r.key)}" fill="{colours[r.key]}" {_SEAMLESS.format(colours[r.key])}/>'
        for r in regions.regions
        if r.key in colours
    )
    film = "".join(
        f'<use href="#mask-{escape(m)}" fill="url(#film)" stroke="#10141c" stroke-width="1"/>' for m in masks_on
    )
    return _svg(part, fills + film + face_outline(part), label=label, margin_mm=1.5)


def finished_view(part: Part, *, label: str) -> str:
    """Draw the part as the simulated baths leave it."""
    return _svg(part, f'<use href="#finished"/>{face_outline(part)}', label=label, margin_mm=1.5)


def partition_view(partition: Partition, part: Part, *, label: str) -> str:
    """Draw a partition of the face that is used nowhere else."""
    fills = _painted(partition)
    return _svg(part, fills + face_outline(part), label=label, margin_mm=1.5)


def mask_view(mask: Mask, part: Part, resist: Resist, *, label: str) -> str:
    """Draw one mask over the outline of the face."""
    film = f'<use href="#mask-{escape(mask.number)}" class="vinyl"/>'
    return _svg(part, film + face_outline(part), label=label, margin_mm=resist.overhang_mm + resist.lap_mm + 0.5)


def sheet_view(sheet: Sheet, masks: Iterable[Mask], *, label: str) -> str:
    """Draw a sheet with the number of its mask on every group of film; numbers are never in the cut file."""
    drawing = sheet.drawing
    paths = "".join(f'<path fill-rule="evenodd" d="{path_data(p.rings)}"/>' for p in drawing.pieces)
    box = " ".join(fixed(v) for v in (drawing.left, drawing.top, drawing.width, drawing.height))
    return (
        f'<svg viewBox="{box}" role="img" aria-label="{escape(label)}" data-mm="1"><g class="vinyl">{paths}</g>'
        f"{_placing_guide(sheet, masks)}"
        f'<rect x="{fixed(drawing.left)}" y="{fixed(drawing.top)}" width="{fixed(drawing.width)}" '
        f'height="{fixed(drawing.height)}" fill="none" stroke="currentColor" stroke-dasharray="4 3" '
        'vector-effect="non-scaling-stroke"/></svg>'
    )


def _placing_guide(sheet: Sheet, masks: Iterable[Mask]) -> str:
    areas = {mask.number: mask.area for mask in masks}
    words = []
    for placement in sheet.placements:
        area = areas[placement.mask]
        if placement.piece is not None:
            area = Area((area.pieces[placement.piece - 1],))
        left, top, right, bottom = bounds(area)
        x, y = placement.place(((left + right) / 2, (top + bottom) / 2))
        text = placement.mask if placement.piece is None else f"{placement.mask}.{placement.piece}"
        words.append(
            f'<text class="number" x="{fixed(x)}" y="{fixed(y)}" font-size="{fixed(sheet.drawing.width / 60)}">'
            f"{escape(text)}</text>"
        )
    return "".join(words)


def islands_view(regions: Partition, part: Part, places: Iterable[Point], *, label: str) -> str:
    """Draw the artwork with a ring round every island that was changed."""
    width, height = part.face_mm
    marks = "".join(
        f'<circle cx="{fixed(x)}" cy="{fixed(y)}" r="{fixed(max(width, height) / 40)}" fill="none" stroke="{colour}" '
        f'stroke-width="{stroke}" vector-effect="non-scaling-stroke"/>'
        for x, y in places
        for colour, stroke in (("#fff", 5), ("#b3001b", 2.5))
    )
    return _svg(part, _painted(regions) + marks + face_outline(part), label=label, margin_mm=1.5)


def finding_view(finding: Finding, regions: Partition, *, label: str) -> str:
    """Draw the place of a finding, zoomed, with a mark round it; nothing where it has no place."""
    if finding.at_mm is None:
        return ""
    x, y = finding.at_mm
    fills = "".join(
        f'<use href="#region-{escape(r.key)}" fill="{r.colour}" {_SEAMLESS.format(r.colour)}/>' for r in regions.regions
    )
    film = (
        f'<use href="#mask-{escape(finding.mask)}" fill="url(#film-near)" stroke="#10141c" stroke-width="1"/>'
        if finding.mask
        else ""
    )
    dashes = "" if finding.severity is Severity.ERROR else ' stroke-dasharray="5 3"'
    mark = (
        f'<circle cx="{fixed(x)}" cy="{fixed(y)}" r="{fixed(ZOOM_MM / 5)}" fill="none" stroke="#fff" '
        'stroke-width="5" vector-effect="non-scaling-stroke"/>'
        f'<circle cx="{fixed(x)}" cy="{fixed(y)}" r="{fixed(ZOOM_MM / 5)}" fill="none" stroke="#b3001b" '
        f'stroke-width="2.5"{dashes} vector-effect="non-scaling-stroke"/>'
    )
    box = " ".join(fixed(v) for v in (x - ZOOM_MM / 2, y - ZOOM_MM / 2, ZOOM_MM, ZOOM_MM))
    return f'<svg viewBox="{box}" role="img" aria-label="{escape(label)}">{fills}{film}{mark}</svg>'


def _svg(part: Part, content: str, *, label: str, margin_mm: float) -> str:
    width, height = part.face_mm
    box = " ".join(fixed(v) for v in (-margin_mm, -margin_mm, width + 2 * margin_mm, height + 2 * margin_mm))
    return f'<svg viewBox="{box}" role="img" aria-label="{escape(label)}" data-mm="1">{content}</svg>'
