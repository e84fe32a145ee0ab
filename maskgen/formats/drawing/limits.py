"""How much a drawing may ask of the machine before it is turned away.

The caps keep reading and judging within some 20 s and 2 GB; a drawing for one small part is far below each of them.
"""

from __future__ import annotations

import gzip
import io
import zlib

from maskgen.errors import InputError

MAX_BYTES = 64 * 2**20
MAX_ELEMENTS = 100_000
"""Elements met while walking a drawing, every repetition by reference counted."""
MAX_NODES = 400_000
MAX_DEPTH = 200
"""Elements inside one another; the walk recurses."""
MAX_REFERENCES = 24
"""References inside references (`use`, blocks)."""
MAX_COORDINATE = 1e7
"""Units; ten kilometres of millimetres."""


def too_much(what: str, limit: float, *, name: str) -> InputError:
    """Make the refusal of a drawing that is over a cap."""
    return InputError(f"{what} (the limit is {limit:,.0f})", where=name, mend="simplify the drawing or split it")


def check_size(data: bytes, *, name: str) -> bytes:
    """Let bytes of a bearable length through.

    Raises
    ------
    InputError
        For an empty or an oversized file.
    """
    if not data.strip(b"\0 \t\r\n"):
        raise InputError("the file is empty", where=name, mend="export the drawing again")
    if len(data) > MAX_BYTES:
        raise too_much(f"the file has {len(data):,} bytes", MAX_BYTES, name=name)
    return data


def unzipped(data: bytes, *, name: str) -> bytes:
    """Unpack gzip (an `.svgz`); other bytes pass as they are.

    Raises
    ------
    InputError
        For a broken archive, or one that unpacks to more than a drawing may have.
    """
    if not data.startswith(b"\x1f\x8b"):
        return data
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as stream:
            out = stream.read(MAX_BYTES + 1)
    except (OSError, EOFError, zlib.error) as error:
        raise InputError(f"cannot be unpacked: {error}", where=name, mend="export the drawing again") from error
    if len(out) > MAX_BYTES:
        raise too_much("the file unpacks to too many bytes", MAX_BYTES, name=name)
    return out
