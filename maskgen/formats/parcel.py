"""What goes to a cutting service: one zip with the sheets, an order note on one page, and a list of checksums."""

from __future__ import annotations

import hashlib
import io
import textwrap
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePosixPath

from maskgen.model.masks import Sheet

NOTE = "order-note.txt"
CHECKSUMS = "SHA256SUMS.txt"

_EPOCH = (1980, 1, 1, 0, 0, 0)
"""The earliest date a zip can state; a parcel's bytes shall not depend on the day."""

_WIDTH = 88
"""Characters per line: fits a printed page."""


@dataclass(frozen=True, slots=True)
class Order:
    """What the order note says.

    `pieces` are those on each of the sheets, `check_bar_mm` is the length to measure after cutting, where there is one.
    """

    title: str
    quantity: int
    film: str
    sheets: tuple[Sheet, ...]
    pieces: tuple[int, ...]
    check_bar_mm: float | None = None
    mirrored: bool = False


def write_parcel(files: Mapping[str, bytes], order: Order) -> bytes:
    """Pack files (name in the zip to bytes) with the note and the checksums; same input, same bytes.

    Raises
    ------
    ValueError
        For a name that would leave the folder the zip is unpacked in, or one the parcel keeps for itself.
    """
    for name in files:
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts or "\\" in name or str(path) != name or name in (NOTE, CHECKSUMS):
            raise ValueError(f"{name!r} is no name for a file of a parcel")
    contents = dict(sorted(files.items())) | {NOTE: order_note(order, sorted(files)).encode()}
    sums = "".join(f"{hashlib.sha256(data).hexdigest()}  {name}\n" for name, data in contents.items())
    zipped = io.BytesIO()
    with zipfile.ZipFile(zipped, "w") as archive:
        for name, data in {**contents, CHECKSUMS: sums.encode()}.items():
            entry = zipfile.ZipInfo(name, _EPOCH)
            entry.compress_type, entry.create_system = zipfile.ZIP_DEFLATED, 3
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data, compresslevel=9)
    return zipped.getvalue()


def order_note(order: Order, names: Sequence[str]) -> str:
    """Give the note as plain text, one page."""
    points = [
        f"Cut every sheet once. Together they are the masks for {order.quantity} "
        f"{'part' if order.quantity == 1 else 'parts'}; the quantity is already laid out.",
        f"Film: {order.film}.",
        "Size: the drawings are in millimetres at 1:1. Do not resize, fit to page or rearrange.",
        "Cut only the lines in the files. Add no backing panel, border or cut marks of your own.",
        "Cut through the film and not through the liner. Do not weed and put on no transfer tape, unless agreed.",
    ]
    if order.check_bar_mm is not None:
        points.append(
            f"Every sheet has a bar, cut first, that must measure {order.check_bar_mm:g} mm. Please measure it before "
            "the rest; if it is off by more than 0.2 mm, stop and tell us."
        )
    if order.mirrored:
        points.append("The sheets are mirrored on purpose, to be weeded from behind. Do not mirror them back.")
    points.append(f"{CHECKSUMS} lists what each file must be, to see that nothing was changed on the way.")
    table = [
        f"  sheet {sheet.number}: {sheet.drawing.width:.1f} x {sheet.drawing.height:.1f} mm, {pieces} pieces"
        for sheet, pieces in zip(order.sheets, order.pieces, strict=True)
    ]
    lines = [
        *textwrap.wrap(f"Order: {' '.join(order.title.split()) or 'cut vinyl masks'}", _WIDTH),
        "",
        *(
            line
            for point in points
            for line in textwrap.wrap(point, _WIDTH, initial_indent="- ", subsequent_indent="  ")
        ),
        "",
        f"Sheets: {len(order.sheets)}, {sum(order.pieces)} pieces in all",
        *table,
        "",
        "Files (the same sheets in each format, use the one your cutter takes best):",
        *textwrap.wrap(", ".join(names), _WIDTH, initial_indent="  ", subsequent_indent="  "),
        "",
    ]
    return "\n".join(lines)
