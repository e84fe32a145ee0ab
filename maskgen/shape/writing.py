"""A line of text to runs of one script and one direction, in the order they are seen.

The directions follow the Unicode Bidirectional Algorithm (UAX 9) for a line without embedding characters: rules P2
and P3, W1 to W7, N1 and N2, I1 and I2, L1 (blanks at the end) and L2.
"""

from __future__ import annotations

import unicodedata
from itertools import groupby

from fontTools import unicodedata as scripts

from maskgen.shape.glyphs import Run

_NEUTRAL = {"B", "S", "WS", "ON"}


def runs_of(text: str) -> list[Run]:
    """Give the runs of a line from left to right as seen; characters within a run stay in their logical order."""
    levels = bidi_levels(text)
    names = _scripts(text)
    runs, start = [], 0
    for (level, script), members in groupby(zip(levels, names, strict=True)):
        count = len(list(members))
        runs.append((level, Run(start, text[start : start + count], script, level % 2 == 1)))
        start += count
    return [run for _, run in _reordered(runs)]


def _reordered(runs: list[tuple[int, Run]]) -> list[tuple[int, Run]]:
    """Rule L2: from the highest level down to the lowest odd one, turn round what stands at it or above."""
    ordered = list(runs)
    odd = [level for level, _ in runs if level % 2]
    for level in range(max((level for level, _ in runs), default=0), min(odd, default=1) - 1, -1):
        turned: list[tuple[int, Run]] = []
        for high, members in groupby(ordered, key=lambda run, level=level: run[0] >= level):  # type: ignore[misc]
            group = list(members)
            turned += group[::-1] if high else group
        ordered = turned
    return ordered


def _scripts(text: str) -> list[str]:
    """Give each character its script; what belongs to all scripts goes with what stands before it, or after it."""
    found = [scripts.script(character) for character in text]
    own = [name if name not in ("Zyyy", "Zinh", "Zzzz") else None for name in found]
    first = next((name for name in own if name), "Latn")
    result = []
    for name in own:
        first = name or first
        result.append(first)
    return result


def bidi_levels(text: str) -> list[int]:
    """Give the embedding level of every character: even reads to the right, odd to the left."""
    kinds = [unicodedata.bidirectional(c) or "L" for c in text]
    kinds = ["ON" if k in {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI", "BN"} else k for k in kinds]
    base = next((0 if kind == "L" else 1 for kind in kinds if kind in {"L", "R", "AL"}), 0)
    edge = "R" if base else "L"
    _weak(kinds, edge)
    _neutral(kinds, edge)
    levels = [_level(kind, base) for kind in kinds]
    for index in range(len(text) - 1, -1, -1):
        if not text[index].isspace():
            break
        levels[index] = base
    return levels


def _weak(kinds: list[str], edge: str) -> None:
    """Rules W1 to W7."""
    before = edge
    for i, kind in enumerate(kinds):  # W1
        if kind == "NSM":
            kinds[i] = before
        before = kinds[i]
    strong = edge
    for i, kind in enumerate(kinds):  # W2
        if kind in {"L", "R", "AL"}:
            strong = kind
        elif kind == "EN" and strong == "AL":
            kinds[i] = "AN"
    kinds[:] = ["R" if kind == "AL" else kind for kind in kinds]  # W3
    for i in range(1, len(kinds) - 1):  # W4
        around = kinds[i - 1], kinds[i + 1]
        if around == ("EN", "EN") and kinds[i] in {"ES", "CS"}:
            kinds[i] = "EN"
        elif around == ("AN", "AN") and kinds[i] == "CS":
            kinds[i] = "AN"
    start = 0
    for kind, members in groupby(list(kinds)):  # W5
        stop = start + len(list(members))
        beside = kinds[start - 1 : start] + kinds[stop : stop + 1]
        if kind == "ET" and "EN" in beside:
            kinds[start:stop] = ["EN"] * (stop - start)
        start = stop
    kinds[:] = ["ON" if kind in {"ES", "ET", "CS"} else kind for kind in kinds]  # W6
    strong = edge
    for i, kind in enumerate(kinds):  # W7
        if kind in {"L", "R"}:
            strong = kind
        elif kind == "EN" and strong == "L":
            kinds[i] = "L"


def _neutral(kinds: list[str], edge: str) -> None:
    """Rules N1 and N2."""
    start = 0
    for neutral, members in groupby([kind in _NEUTRAL for kind in kinds]):
        stop = start + len(list(members))
        if neutral:
            before = _side(kinds[start - 1]) if start else edge
            after = _side(kinds[stop]) if stop < len(kinds) else edge
            kinds[start:stop] = [before if before == after else edge] * (stop - start)
        start = stop


def _side(kind: str) -> str:
    return "R" if kind in {"EN", "AN", "R"} else "L"


def _level(kind: str, base: int) -> int:
    """Rules I1 and I2."""
    if base == 0:
        return {"R": 1, "AN": 2, "EN": 2}.get(kind, 0)
    return {"L": 2, "EN": 2, "AN": 2}.get(kind, 1)
