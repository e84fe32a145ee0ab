"""Fill and stroke of an SVG element, with what of them could not be read.

A gradient becomes its mean colour, a pattern its fallback: the best plain effect, named all the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from maskgen.formats.drawing.styles import StyleSheet, style_of
from maskgen.formats.drawing.values import (
    EM_PX,
    Colour,
    read_colour,
    read_fraction,
    read_length,
    read_reference,
)
from maskgen.formats.drawing.xml_tree import Element
from maskgen.model.drawing import Cap, Fill, FillRule, Join, Matrix, Stroke

_GRADIENTS = ("linearGradient", "radialGradient", "meshgradient")
_CAPS = {cap.value: cap for cap in Cap}
_JOINS = {join.value: join for join in Join}
_LONGEST_CHAIN = 16
_BLACK = Colour("#000000", 1.0)


@dataclass(frozen=True, slots=True)
class Painter:
    """Reads paint; `unit_px` is the number of drawing units in a CSS pixel (for pens that do not scale)."""

    by_id: Mapping[str, Element]
    sheet: StyleSheet
    unit_px: float

    def fill(self, style: Mapping[str, str]) -> tuple[Fill | None, set[str]]:
        """Give the fill, and the names of what is in it but not read."""
        colour, unread = self._paint(style.get("fill", "black"), style)
        if colour is None:
            return None, unread
        opacity = colour.opacity * read_fraction(style.get("fill-opacity"))
        if opacity == 0.0:
            return None, set()
        rule = FillRule.EVENODD if style.get("fill-rule") == "evenodd" else FillRule.NONZERO
        if opacity < 1.0:
            unread = unread | {"opacity"}
        return Fill(colour.hexadecimal, opacity, rule), unread

    def stroke(
        self, style: Mapping[str, str], frame: Matrix, viewport: tuple[float, float]
    ) -> tuple[Stroke | None, set[str]]:
        """Give the stroke, its pen moved by `frame`, and the names of what is in it but not read."""
        text = style.get("stroke", "none")
        if text == "none":
            return None, set()
        width, height = viewport
        whole = float(np.hypot(width, height) / np.sqrt(2.0))
        colour, unread = self._paint(text, style)
        length = read_length(style.get("stroke-width", "1"))
        pen = (length.pixels(whole=whole, em=_em(style)) if length else None) if length else 1.0
        if colour is None or pen is None or pen <= 0.0:
            return None, unread if pen is None or pen > 0.0 else set()
        opacity = colour.opacity * read_fraction(style.get("stroke-opacity"))
        if opacity == 0.0:
            return None, set()
        if opacity < 1.0:
            unread = unread | {"opacity"}
        if style.get("vector-effect") == "non-scaling-stroke":
            frame = np.array([[self.unit_px, 0.0, 0.0], [0.0, self.unit_px, 0.0]])
        dashes = self._dashes(style, whole)
        limit = read_length(style.get("stroke-miterlimit"))
        offset = read_length(style.get("stroke-dashoffset"))
        return Stroke(
            colour=colour.hexadecimal,
            opacity=opacity,
            width=pen * float(np.sqrt(abs(np.linalg.det(frame[:, :2])))),
            pen_width=pen,
            cap=_CAPS.get(style.get("stroke-linecap", ""), Cap.BUTT),
            join=_JOINS.get(style.get("stroke-linejoin", ""), Join.MITER),
            miter_limit=max(1.0, limit.value) if limit else 4.0,
            dashes=dashes,
            dash_offset=(offset.pixels(whole=whole) if offset else None) or 0.0,
            frame=frame,
        ), unread  # fmt: skip

    def _dashes(self, style: Mapping[str, str], whole: float) -> tuple[float, ...]:
        words = style.get("stroke-dasharray", "none").replace(",", " ").split()
        lengths = [read_length(word) for word in words]
        values = [v.pixels(whole=whole, em=_em(style)) if v else None for v in lengths]
        dashes = [v for v in values if v is not None and v >= 0.0]
        if len(dashes) != len(words) or not sum(dashes) > 0.0:
            return ()
        return tuple(dashes * 2 if len(dashes) % 2 else dashes)

    def _paint(self, text: str, style: Mapping[str, str]) -> tuple[Colour | None, set[str]]:
        if text == "none":
            return None, set()
        if text.lower() == "currentcolor":
            return read_colour(style.get("color", "black")) or _BLACK, set()
        reference = read_reference(text)
        if reference is None:
            colour = read_colour(text)
            return (colour, set()) if colour else (_BLACK, {f"paint '{text[:40]}'"})
        key, fallback = reference
        server = self.by_id.get(key)
        if server is not None and server.tag in _GRADIENTS:
            mean = self._mean_colour(server)
            return mean, {"gradient"} if mean is None or mean.opacity > 0 else set()
        if server is not None and server.tag == "solidcolor":
            return read_colour(server.attributes.get("solid-color", "black")) or _BLACK, set()
        colour = None if fallback in ("", "none") else self._paint(fallback, style)[0]
        if server is None:
            return colour, set() if key else {"paint from another file"}
        return colour, {server.tag}

    def _mean_colour(self, gradient: Element) -> Colour | None:
        """Give the mean of a gradient's colours, each weighted by the share of the way it stands for."""
        stops = self._stops(gradient)
        if not stops:
            return None
        places: list[float] = []
        rows: list[tuple[float, float, float, float]] = []
        for stop in stops:
            style = style_of(stop, [], self.sheet)
            colour = read_colour(style.get("stop-color", "black")) or _BLACK
            opacity = colour.opacity * read_fraction(style.get("stop-opacity"))
            places.append(max(read_fraction(stop.attributes.get("offset"), 0.0), places[-1] if places else 0.0))
            value = int(colour.hexadecimal[1:], 16)
            rows.append((value >> 16, value >> 8 & 255, value & 255, opacity))
        edges = np.array([0.0, *places, 1.0])
        steps = np.diff(edges)
        weight = steps[:-1] / 2 + steps[1:] / 2
        weight[0] += steps[0] / 2
        weight[-1] += steps[-1] / 2
        colours = np.array(rows, dtype=np.float64)
        opacity = float(weight @ colours[:, 3])
        if opacity <= 0.0:
            return Colour("#000000", 0.0)
        red, green, blue = np.rint((weight * colours[:, 3]) @ colours[:, :3] / opacity).astype(int)
        return Colour(f"#{red:02x}{green:02x}{blue:02x}", opacity)

    def _stops(self, gradient: Element) -> list[Element]:
        """Find the stops, which may stand in a gradient this one refers to."""
        current: Element | None = gradient
        for _ in range(_LONGEST_CHAIN):
            if current is None:
                break
            stops = [e for e in current.walk() if e.tag == "stop"]
            if stops:
                return stops
            current = self.by_id.get(current.attributes.get("href", "").lstrip("#"))
        return []


def _em(style: Mapping[str, str]) -> float:
    length = read_length(style.get("font-size"))
    return (length.pixels(whole=EM_PX) if length else None) or EM_PX
