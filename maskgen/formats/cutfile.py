"""A supplied cut file, whatever its format, to a drawing."""

from __future__ import annotations

from pathlib import PurePath

from maskgen.errors import InputError
from maskgen.formats.drawing.dxf import read_dxf
from maskgen.formats.drawing.hpgl import read_hpgl
from maskgen.formats.drawing.svg import read_svg
from maskgen.model.drawing import Drawing

ENDINGS = {
    ".svg": read_svg,
    ".svgz": read_svg,
    ".dxf": read_dxf,
    ".plt": read_hpgl,
    ".hpgl": read_hpgl,
    ".hpg": read_hpgl,
    ".hgl": read_hpgl,
}
"""File endings that are cut files, and who reads them."""


def read_cutfile(data: bytes, *, name: str) -> Drawing:
    """Read a cut file by its ending, or by what is in it where the ending tells nothing.

    Raises
    ------
    InputError
        When it is of no format that is read here, damaged, or over a cap.
    """
    reader = ENDINGS.get(PurePath(name).suffix.lower())
    if reader is None:
        head = data[:4096].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
        if head.startswith(b"\x1f\x8b") or b"<svg" in head or head.startswith(b"<?xml"):
            reader = read_svg
        elif b"section" in head or head.startswith(b"autocad binary dxf"):
            reader = read_dxf
        elif b";" in head and (b"pu" in head or b"in;" in head or b"pd" in head):
            reader = read_hpgl
        else:
            raise InputError("is neither SVG, DXF nor HPGL", where=name, mend="export it as one of these")
    return reader(data, name=name)
