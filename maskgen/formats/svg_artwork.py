"""SVG artwork: what is painted, ready to be flattened to regions."""

from __future__ import annotations

from maskgen.errors import InputError
from maskgen.formats.drawing.svg import read_svg
from maskgen.model.drawing import Drawing


def read_svg_artwork(data: bytes, *, name: str) -> Drawing:
    """Read SVG or SVGZ artwork, in units of its viewBox.

    Raises
    ------
    InputError
        When it is no SVG, holds nothing that could be painted, declares entities, or is over a cap.
    """
    drawing = read_svg(data, name=name)
    if not drawing.paths:
        raise InputError("nothing in it is painted", where=name, mend="export the artwork with its shapes")
    return drawing
