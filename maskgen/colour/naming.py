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
_PALE_SHARE = 0.85
"""Above this share of a hue's usual chroma a light colour is bright, not pale."""

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
    (0.74, "grey"),
    (0.92, "pale grey"),
    (0.985, "off-white"),
    (9.0, "white"),
)


def name_colours(colours: Sequence[str]) -> tuple[str, ...]:
    """Name each `#rrggbb` of a set in everyday words, no name twice; `CLEAR` keeps its own.

    Where several colours would get one name, they are told apart by lightness. The names depend on the set, not on
    its order (beyond which of two equal entries comes first).

    Raises
    ------
    InputError
        When an entry is neither `CLEAR` nor `#rrggbb`.
    """
    order = sorted(range(len(colours)), key=lambda i: _place(colours[i]))
    plain = {i: CLEAR if colours[i] == CLEAR else _plain_name(*_oklch(colours[i])) for i in order}
    named: dict[int, str] = {}
    for name in dict.fromkeys(plain.values()):
        rivals = [i for i in order if plain[i] == name]
        for place, i in enumerate(rivals):
            named[i] = _ranked(name, place, len(rivals))
    taken: set[str] = set()
    for i in order:
        candidate, number = named[i], 2
        while candidate in taken:
            candidate, number = f"{named[i]} {number}", number + 1
        taken.add(candidate)
        named[i] = candidate
    return tuple(named[i] for i in range(len(colours)))


def _place(colour: str) -> tuple[float, str]:
    """Darkest first."""
    return (-1.0 if colour == CLEAR else _oklch(colour)[0], colour)


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
    if lightness > high and chroma < usual * _PALE_SHARE:
        return f"pale {word.removeprefix('sky ')}"
    return f"dull {word}" if chroma < usual * _VIVID_SHARE else word


def _brown(word: str, lightness: float, chroma: float) -> str | None:
    """Brown is a dark or dull orange; beige a pale dull one."""
    if word == "orange" and (lightness < 0.60 or (lightness < 0.66 and chroma < 0.12)):
        return "dark brown" if lightness < 0.40 else "brown"
    if word in {"orange", "yellow"} and chroma < 0.09:
        return "beige" if lightness > 0.78 else "dull brown"
    if word == "red" and chroma < 0.12 and lightness < 0.55:
        return "dark red brown" if lightness < 0.40 else "red brown"
    return None


def _ranked(name: str, place: int, count: int) -> str:
    if count == 1 or (place == 0 and name in {"black", CLEAR}) or (place == count - 1 and name == "white"):
        return name
    if count == 2 or (count == 3 and place != 1):
        return f"{'lighter' if place else 'darker'} {name}"
    return f"middle {name}" if count == 3 else f"{name} {place + 1}"
