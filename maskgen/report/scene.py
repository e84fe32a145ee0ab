"""Drawings of the part for the page, as SVG: outlines are stated once and used in every picture."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape

from maskgen.formats.numbers import fixed
from maskgen.model.job import Hole, Part, Shape
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition, Point
from maskgen.report.outline_data import outline_data, plain_data
from maskgen.report.placing import label_place

MARGIN_MM = 1.5

# A hair of the same colour closes the light seams that smoothing leaves between neighbours on a screen.
_SEAMLESS = 'stroke="{0}" stroke-width="0.6"'
_STEADY = 'vector-effect="non-scaling-stroke"'


def hatch(key: str, pitch_mm: float) -> str:
    """Give film on the part as a pattern: told by its stripes, light and dark, on every colour."""
    pitch, dark = fixed(pitch_mm), fixed(0.3 * pitch_mm)
    return (
        f'<pattern id="{key}" width="{pitch}" height="{pitch}" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="{pitch}" height="{pitch}" fill="#f4f6f8" fill-opacity="0.45"/>'
        f'<rect width="{dark}" height="{pitch}" fill="#10141c" fill-opacity="0.8"/></pattern>'
    )


def definitions(regions: Partition, predicted: Partition, masks: Iterable[Mask]) -> str:
    """State every outline once, for `use`."""
    paths = [(f"region-{r.key}", outline_data(r.area.rings)) for r in regions.regions]
    paths += [(f"mask-{m.number}", outline_data(m.area.rings)) for m in masks]
    drawn = "".join(f'<path id="{escape(key)}" fill-rule="evenodd" {_STEADY} d="{d}"/>' for key, d in paths)
    pitch = max(regions.width, regions.height) / 45
    return f'{hatch("film", pitch)}{drawn}<g id="finished">{painted(predicted)}</g>'


def painted(partition: Partition) -> str:
    """Fill a partition that is not stated for `use`."""
    return "".join(
        f'<path fill-rule="evenodd" fill="{r.colour}" {_SEAMLESS.format(r.colour)} {_STEADY} d="{plain_data(r.area)}"/>'
        for r in partition.regions
    )


def coloured(regions: Partition, colours: Mapping[str, str]) -> str:
    """Fill the stated regions."""
    return "".join(
        f'<use href="#region-{escape(r.key)}" fill="{colours[r.key]}" {_SEAMLESS.format(colours[r.key])}/>'
        for r in regions.regions
        if r.key in colours
    )


def face_outline(part: Part, holes: Iterable[Hole] = ()) -> str:
    """Draw the edge of the face and of the holes in it."""
    width, height = part.face_mm
    style = f'fill="none" stroke="currentColor" stroke-width="1" {_STEADY}'
    drilled = "".join(_circle(h.at_mm, h.diameter_mm / 2, f'class="hole" {_STEADY}') for h in holes)
    if part.shape is Shape.DISC:
        return _circle((width / 2, height / 2), width / 2, style) + drilled
    return f'<rect width="{fixed(width)}" height="{fixed(height)}" {style}/>{drilled}'


def _circle(centre: Point, radius_mm: float, style: str) -> str:
    return f'<circle cx="{fixed(centre[0])}" cy="{fixed(centre[1])}" r="{fixed(radius_mm)}" {style}/>'


class FaceViews:
    """The pictures of one part, each with its outline and holes."""

    def __init__(self, part: Part, holes: Iterable[Hole], masks: Iterable[Mask]) -> None:
        self.part, self.edge = part, face_outline(part, holes)
        self.labels = {m.number: label_place(m.area) for m in masks if m.area.pieces}
        self.type_mm = max(part.face_mm) / 26

    def finished(self, *, label: str) -> str:
        """Draw the part as the simulated baths leave it."""
        return self.framed('<use href="#finished"/>', label=label)

    def plain(self, partition: Partition, *, label: str) -> str:
        """Draw a partition of the face that is used nowhere else."""
        return self.framed(painted(partition), label=label)

    def artwork(self, regions: Partition, *, label: str, marks: str = "") -> str:
        """Draw the artwork as it should look, with marks over it."""
        return self.framed(coloured(regions, {r.key: r.colour for r in regions.regions}), label=label, over=marks)

    def moment(self, regions: Partition, colours: Mapping[str, str], masks_on: Iterable[str], *, label: str) -> str:
        """Draw the part between two steps: every region in its colour of the moment, film striped and numbered."""
        on = [m for m in masks_on if m in self.labels]
        film = "".join(
            f'<use href="#mask-{escape(m)}" fill="url(#film)" stroke="#10141c" stroke-width="1.2"/>' for m in on
        )
        numbers = "".join(number_at(m, self.labels[m], self.type_mm) for m in on)
        return self.framed(coloured(regions, colours) + film + numbers, label=label)

    def mask(self, mask: Mask, *, over_mm: float, label: str) -> str:
        """Draw one mask over the outline of the face."""
        film = f'<use href="#mask-{escape(mask.number)}" class="vinyl"/>'
        return self.framed(film, label=label, margin_mm=over_mm + 0.5)

    def islands(self, regions: Partition, places: Iterable[Point], *, label: str) -> str:
        """Draw the artwork with a ring round every island that was changed."""
        marks = "".join(ring_at(place, self.type_mm * 0.65) for place in places)
        return self.artwork(regions, label=label, marks=marks)

    def framed(self, content: str, *, label: str, margin_mm: float = MARGIN_MM, over: str = "") -> str:
        """Frame what is drawn on the face, its edge over it, and `over` that."""
        width, height = self.part.face_mm
        box = " ".join(fixed(v) for v in (-margin_mm, -margin_mm, width + 2 * margin_mm, height + 2 * margin_mm))
        return f'<svg viewBox="{box}" role="img" aria-label="{escape(label)}">{content}{self.edge}{over}</svg>'


def number_at(words: str, place: Point, size_mm: float) -> str:
    """Write a number at a place."""
    x, y = place
    return f'<text class="number" x="{fixed(x)}" y="{fixed(y)}" font-size="{fixed(size_mm)}">{escape(words)}</text>'


def ring_at(place: Point, radius_mm: float, *, dashed: bool = False) -> str:
    """Draw a ring round a place, seen on every colour."""
    style = f'fill="none" {_STEADY}'
    dashes = ' stroke-dasharray="5 3"' if dashed else ""
    return _circle(place, radius_mm, f'{style} stroke="#fff" stroke-width="5"') + _circle(
        place, radius_mm, f'{style} stroke="#b3001b" stroke-width="2.5"{dashes}'
    )
