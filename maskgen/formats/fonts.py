"""Fonts: families that come with the tool, or a file; their bytes."""

from __future__ import annotations

import io
from pathlib import Path

from maskgen.errors import InputError, nearest_known
from maskgen.formats.folder import load

FAMILIES = ("Archivo Black", "Fjalla One", "Noto Sans", "Pacifico", "Varela Round")
"""Open fonts that come as packages: a bold sans, a narrow one, one of many alphabets, a script, a rounded one."""
MAX_BYTES = 40_000_000
_OTHERS = {
    ".ttc": "a collection of fonts",
    ".otc": "a collection of fonts",
    ".woff": "a font for web pages",
    ".woff2": "a font for web pages",
    ".pfb": "a font of an old kind",
}


def load_font(name: str, *, folder: Path) -> bytes:
    """Give the bytes of a family that comes with the tool, or of a .ttf or .otf file (relative to `folder`).

    Raises
    ------
    InputError
        When there is no such family or file, or it is no font with outlines.
    """
    family = next((known for known in FAMILIES if known.lower() == name.strip().lower()), None)
    if family is not None:
        import fontpkg

        return load(Path(fontpkg.path(family)), what="font")
    kind = Path(name).suffix.lower()
    if kind in _OTHERS:
        raise InputError(f"is {_OTHERS[kind]}", where=name, mend="name a .ttf or .otf font made from it")
    if kind not in (".ttf", ".otf"):
        raise InputError(f"no font `{name}`", where="[text] font", mend=nearest_known(name, FAMILIES) + ", or a file")
    data = load(folder / name, what="font")
    check_font(data, name=name)
    return data


def check_font(data: bytes, *, name: str) -> None:
    """Make sure that bytes are a font with outlines.

    Raises
    ------
    InputError
        When they are not.
    """
    from fontTools.ttLib import TTFont

    mend = "name a .ttf or .otf font with outlines"
    if len(data) > MAX_BYTES:
        raise InputError(f"is {len(data) / 1e6:.0f} MB", where=name, mend=mend)
    try:
        font = TTFont(io.BytesIO(data), lazy=True, fontNumber=0)
        outlined = bool({"glyf", "CFF ", "CFF2"} & set(font.keys())) and "cmap" in font
        web = font.flavor is not None
        short = any(entry.offset + entry.length > len(data) for entry in font.reader.tables.values())
        sound = font["head"].unitsPerEm > 0 and font["maxp"].numGlyphs > 0
    except Exception as error:  # the library raises whatever a damaged table makes it stumble over
        raise InputError("is no readable font", where=name, mend=mend) from error
    if web:
        raise InputError("is a font for web pages", where=name, mend=mend)
    if short:
        raise InputError("ends before its tables do: the file is not whole", where=name, mend="copy it anew")
    if not (outlined and sound):
        raise InputError("is a font without outlines", where=name, mend=mend)
