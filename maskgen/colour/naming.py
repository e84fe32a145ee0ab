"""Short everyday names for colours, from lightness, chroma and hue in Oklch (Ottosson 2020).

The borders between the words are our own, set by eye; a name is a handle for the person, not a measurement.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from maskgen.colour.spaces import hex_to_srgb, srgb_to_oklab
from maskgen.model.artwork import CLEAR

_GREY_CHROMA = 0.025
_TINT_CHROMA = 0.045
_VIVID_SHARE = 0.55
"""Below this share of a hue's usual chroma a colour is called dull."""

# Hue in degrees up to which a word holds, its usual chroma, and the lightness range that needs no further word.
_HUES = (
    (8.0, "pink", 0.19, 0.55, 0.80),
    (36.0, "red", 0.20, 0.47, 0.68),
    (75.0, "orange", 0.16, 0.60, 0.80),
    (120.0, "yellow", 0.16, 0.74, 0.92),
    (158.0, "green", 0.17, 0.45, 0.80),
    (208.0, "turquoise", 0.11, 0.50, 0.82),
    (245.0, "sky blue", 0.12, 0.55, 0.80),
    (282.0, "blue", 0.18, 0.36, 0.62),
    (318.0, "violet", 0.18, 0.38, 0.66),
    (342.0, "magenta", 0.20, 0.45, 0.70),
    (360.0, "pink", 0.17, 0.55, 0.80),
)
_GREYS = (
    (0.25, "black"),
    (0.42, "dark grey"),
    (0.68, "grey"),
    (0.92, "pale grey"),
    (0.985, "off-white"),
    (9.0, "white"),
)
_RIVALS = ("deep", "bright", "soft", "second")


def name_colours(colours: Sequence[str]) -> tuple[str, ...]:
    """Name each `#rrggbb` of a set in everyday words, no name twice; `CLEAR` keeps its own.

    Where two colours would get one name, the darker or lighter of them says so in its name, and numbers settle the
    rest. The names depend on the set, not on its order beyond equal colours.

    Raises
    ------
    InputError
        When an entry is neither `CLEAR` nor `#rrggbb`.
    """
    plain = [CLEAR if colour == CLEAR else _plain_name(*_oklch(colour)) for colour in colours]
    named = list(plain)
    for name in dict.fromkeys(plain):
        rivals = [i for i, other in enumerate(plain) if other == name]
        if len(rivals) > 1:
            rivals.sort(key=lambda i: -1.0 if colours[i] == CLEAR else _oklch(colours[i])[0])
            for place, i in enumerate(rivals):
                named[i] = _ranked(name, place, len(rivals))
    return _all_different(named)


def _oklch(colour: str) -> tuple[float, float, float]:
    lightness, a, b = (float(v) for v in srgb_to_oklab(hex_to_srgb(colour)))
    return lightness, math.hypot(a, b), math.degrees(math.atan2(b, a)) % 360.0


def _plain_name(lightness: float, chroma: float, hue: float) -> str:
    if lightness < 0.17 or (chroma < _GREY_CHROMA and lightness < 0.25):
        return "black"
    if chroma < _GREY_CHROMA or (lightness > 0.93 and chroma < _TINT_CHROMA):
        return next(word for top, word in _GREYS if lightness <= top)
    word, usual, low, high = next(row[1:] for row in _HUES if hue <= row[0])
    brown = _brown(word, lightness, chroma)
    if brown:
        return brown
    if word == "yellow" and lightness < 0.68:
        return "dark olive" if lightness < 0.45 else "olive"
    if word == "sky blue" and lightness < 0.55:
        word, low = "blue", 0.42
    if lightness < low:
        return f"dark {word}"
    if lightness > high:
        return f"pale {word.removeprefix('sky ')}"
    return f"dull {word}" if chroma < usual * _VIVID_SHARE else word


def _brown(word: str, lightness: float, chroma: float) -> str | None:
    """Brown is a dark or dull orange; beige a pale dull one."""
    if word == "orange" and lightness < 0.60:
        return "dark brown" if lightness < 0.40 else "brown"
    if word in {"orange", "yellow"} and chroma < 0.09:
        return "beige" if lightness > 0.78 else "dull brown"
    if word == "red" and chroma < 0.12 and lightness < 0.55:
        return "dark red brown" if lightness < 0.40 else "red brown"
    return None


def _ranked(name: str, place: int, count: int) -> str:
    if place == 0:
        return f"darker {name}"
    if place == count - 1:
        return f"lighter {name}" if count == 2 else f"lightest {name}"
    return f"{name} {place + 1}" if count > 3 else f"middle {name}"


def _all_different(names: Sequence[str]) -> tuple[str, ...]:
    taken: set[str] = set()
    result = []
    for name in names:
        candidate, number = name, 2
        while candidate in taken:
            candidate, number = f"{name} {number}", number + 1
        taken.add(candidate)
        result.append(candidate)
    return tuple(result)
