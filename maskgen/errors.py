"""The one error tree. Faults in a drawing are findings; these are for runs that cannot go on."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class MaskgenError(Exception):
    """Root of everything this package raises on purpose."""


class InputError(MaskgenError):
    """The input or the call is unusable; the command line ends with status 2.

    Parameters
    ----------
    what
        What is wrong, with the measured value and the limit where there are any.
    where
        The file, the key or the option it is wrong in.
    mend
        How to put it right.
    """

    def __init__(self, what: str, *, where: str = "", mend: str = "") -> None:
        self.what, self.where, self.mend = what, where, mend
        head = f"{where}: {what}" if where else what
        super().__init__(" ".join((f"{head}; {mend}" if mend else head).split()))


class NoPlanError(InputError):
    """No order of baths gives these colours; the message names the ones that stand in each other's way."""


def nearest_known(word: str, known: Iterable[str]) -> str:
    """Say which known word comes nearest, or list them all."""
    known = sorted(known)
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    return f"did you mean `{near[0]}`?" if near else "known: " + ", ".join(known)
