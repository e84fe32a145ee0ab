"""A picture to flat colour regions, in pixels."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from maskgen.colour.naming import name_colours
from maskgen.colour.quantise import find_flat_colours
from maskgen.model.artwork import FlatPicture, Picture
from maskgen.model.drawing import Drawing
from maskgen.model.finding import Finding
from maskgen.model.paths import Partition, affine
from maskgen.shape.flatten_art import flatten_artwork
from maskgen.trace.partition import trace_partition


@dataclass(frozen=True, slots=True)
class TracedArtwork:
    """Artwork as regions in its own units, with what was noticed on the way.

    `flat` is the picture it was traced from, None for artwork that came as outlines. Places in `findings` are in the
    artwork's own units.
    """

    partition: Partition
    flat: FlatPicture | None = None
    findings: tuple[Finding, ...] = ()
    notes: tuple[str, ...] = ()


def trace_picture(picture: Picture, *, colours: int | str = "auto") -> TracedArtwork:
    """Find the flat colours of a picture and trace their regions."""
    flat = find_flat_colours(picture, count=None if isinstance(colours, str) else colours)
    return TracedArtwork(trace_partition(flat), flat, flat.findings, flat.notes)


def flatten_drawing(drawing: Drawing) -> TracedArtwork:
    """Flatten a drawing in its painting order; its colours are those it is painted with.

    Raises
    ------
    InputError
        When nothing of it would be seen.
    """
    partition, findings = flatten_artwork(drawing)
    return TracedArtwork(partition, None, findings)


def named_layers(partition: Partition, *, width: float | None) -> Partition:
    """Give the regions everyday names, scaled to `width` when there is one; empty colours are left out."""
    scale = 1.0 if width is None else width / partition.width
    kept = [region for region in partition.regions if region.area.pieces]
    names = name_colours([region.colour for region in kept])
    regions = tuple(
        dataclasses.replace(region, name=name, area=region.area.mapped(affine(scale)))
        for region, name in zip(kept, names, strict=True)
    )
    return Partition(partition.width * scale, partition.height * scale, regions)
