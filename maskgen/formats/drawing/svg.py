"""SVG to a drawing: what would be seen, as painted paths in painting order, in the units of the viewBox.

A walk over the tree that carries position, style and clips; definitions count only where they are used, hidden things
not at all. What is seen but not read (text, pictures, gradients, filters, masks, patterns, markers, foreign objects,
reference to other files) is named with its place. Nothing outside the file is ever opened.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from maskgen.errors import InputError
from maskgen.formats.drawing.limits import (
    MAX_REFERENCES,
    check_size,
    too_much,
    unzipped,
)
from maskgen.formats.drawing.paint import Painter
from maskgen.formats.drawing.shapes import SHAPES, shape_of
from maskgen.formats.drawing.styles import style_of
from maskgen.formats.drawing.svg_clips import clipped
from maskgen.formats.drawing.svg_page import Page
from maskgen.formats.drawing.svg_reading import TEXTS, Reading, State
from maskgen.formats.drawing.values import (
    LARGEST,
    fit_window,
    read_fraction,
    read_length,
    read_reference,
    read_window,
    shift,
)
from maskgen.formats.drawing.xml_tree import Element, parse_xml
from maskgen.model.drawing import (
    IDENTITY,
    Clip,
    ClipShape,
    Drawing,
    DrawnPath,
    Fade,
    Feature,
    FeatureKind,
    FillRule,
    Matrix,
    Source,
    apply,
    combine,
)
from maskgen.model.paths import Point
from maskgen.units import MM_PER_CSS_PX

_GROUPS = frozenset(("g", "a", "svg", "switch"))
_SILENT = frozenset(
    (
        *("", "defs", "symbol", "clipPath", "mask", "pattern", "marker", "linearGradient", "radialGradient"),
        *("meshgradient", "filter", "style", "script", "title", "desc", "metadata", "view", "cursor", "font"),
        *("font-face", "solidcolor", "hatch"),
    )
)
_ANIMATIONS = frozenset(("animate", "animateTransform", "animateMotion", "set"))


def read_svg(data: bytes, *, name: str) -> Drawing:
    """Read an SVG or a zipped one.

    Parameters
    ----------
    data
        The bytes of the file.
    name
        What to call it in messages.

    Returns
    -------
    Drawing
        In units of the viewBox, y down; `scale` and `units` from the width the file states.

    Raises
    ------
    InputError
        When it is no SVG, declares entities, or asks too much of the machine.
    """
    root = parse_xml(unzipped(check_size(data, name=name), name=name), name=name)
    if root.tag != "svg":
        raise InputError("is XML, but no SVG drawing", where=name, mend="export it as SVG")
    page = Page.of(root)
    if not all(0.0 < scale < LARGEST for scale in page.scale):
        raise InputError("its viewBox and its size do not go together", where=name, mend="export it in millimetres")
    try:
        with np.errstate(over="ignore", invalid="ignore"):  # what overflows is turned away by its size
            walk = _Walk.over(root, name=name, page=page)
            walk.enter(root, State(width=page.window.width, height=page.window.height), IDENTITY, whole=True)
    except RecursionError as error:
        raise too_much("references are nested too deeply", MAX_REFERENCES, name=name) from error
    except (OverflowError, ZeroDivisionError) as error:
        raise InputError("numbers beyond any sheet", where=name, mend="delete what lies so far out") from error
    features = [
        *(Feature(FeatureKind.UNREAD, what, "style sheet") for what in walk.reading.sheet.unread),
        *walk.reading.features,
    ]
    return Drawing(Source.SVG, tuple(walk.paths), tuple(features), page.stated_window, page.scale, page.units)


@dataclass(slots=True)
class _Walk:
    """Collects paths and features."""

    reading: Reading
    painter: Painter
    paths: list[DrawnPath] = field(default_factory=list)
    fades: int = 0

    @classmethod
    def over(cls, root: Element, *, name: str, page: Page) -> _Walk:
        """Get ready."""
        reading = Reading.of(root, name=name)
        unit_px = MM_PER_CSS_PX / math.sqrt(page.scale[0] * page.scale[1])
        return cls(reading, Painter(reading.by_id, reading.sheet, unit_px))

    def enter(self, element: Element, state: State, frame: Matrix, *, whole: bool = False) -> None:
        """Walk an element; `whole` for the outermost one, whose window is the page."""
        self.reading.counted()
        tag = element.tag
        if tag in _SILENT:
            return
        style = style_of(element, list(state.ancestors), self.reading.sheet, state.style)
        opacity = read_fraction(style.get("opacity"))
        if style.get("display") == "none" or opacity == 0.0:
            return
        moved = self.reading.moved(element, style, frame)
        if moved is None:
            return
        if opacity < 1.0:
            self.fades += 1
            state = replace(state, fades=(*state.fades, Fade(self.fades, opacity)))
        inner = replace(state, style=style, ancestors=(*state.ancestors, element))
        before = len(self.paths), len(self.reading.features)
        self._draw(element, clipped(self.reading, element, style, inner, moved), moved, whole=whole)
        if (len(self.paths), len(self.reading.features)) != before:
            self._note_effects(element, style, self.paths[before[0] :], opacity)

    def _draw(self, element: Element, state: State, frame: Matrix, *, whole: bool) -> None:
        tag = element.tag
        if tag in SHAPES:
            self._shape(element, state, frame)
        elif tag in _GROUPS:
            if tag == "svg" and not whole:
                opened = self._viewport(element, element, state, frame)
                if opened is None:
                    return
                state, frame = opened
            for child in _chosen(element) if tag == "switch" else element.children:
                self.enter(child, state, frame)
        elif tag == "use":
            self._use(element, state, frame)
        elif tag in TEXTS:
            self._text(element, state, frame)
        elif tag == "image":
            self._image(element, state, frame)
        elif state.style.get("visibility", "visible") == "visible":
            kind = "animation" if tag in _ANIMATIONS else f"<{tag}>"
            self.reading.features.append(
                Feature(FeatureKind.UNREAD, kind, element.place, self._corner(element, state, frame))
            )

    def _shape(self, element: Element, state: State, frame: Matrix) -> None:
        if state.style.get("visibility", "visible") != "visible":
            return
        drawn = self.reading.outline(element, state)
        fill, fill_unread = self.painter.fill(state.style)
        stroke, stroke_unread = self.painter.stroke(state.style, frame, (state.width, state.height))
        if element.tag == "line":
            fill = None
        if fill is None and stroke is None and not (fill_unread or stroke_unread):
            return
        subpaths = tuple(self.reading.checked(s.mapped(frame), element) for s in drawn.subpaths)
        at = subpaths[0].start if subpaths else None
        if drawn.trouble is not None:
            what = f"path data that breaks off at {drawn.trouble}" if element.tag == "path" else drawn.trouble
            broken = subpaths[-1].end if subpaths else None
            self.reading.features.append(Feature(FeatureKind.UNREAD, what, element.place, broken))
        if not subpaths:
            return
        self.reading.note({*fill_unread, *stroke_unread, *self._markers(element, state)}, element, at)
        if fill is not None or stroke is not None:
            self.paths.append(
                DrawnPath(
                    subpaths,
                    element.place,
                    fill,
                    stroke,
                    state.clips,
                    state.fades,
                    layer=_layer_of(state.ancestors),
                    stroke_first=state.style.get("paint-order", "").strip().startswith("stroke"),
                )
            )

    def _markers(self, element: Element, state: State) -> Iterator[str]:
        if element.tag in ("path", "line", "polyline", "polygon"):
            for side in ("start", "mid", "end"):
                reference = read_reference(state.style.get(f"marker-{side}"))
                if reference is not None and reference[0] in self.reading.by_id:
                    yield "marker"

    def _text(self, element: Element, state: State, frame: Matrix) -> None:
        words = element.all_text()
        fill, _ = self.painter.fill(state.style)
        stroke, _ = self.painter.stroke(state.style, frame, (state.width, state.height))
        if not words or (fill is None and stroke is None) or state.style.get("visibility", "visible") != "visible":
            return
        spans = [e for e in element.walk() if "x" in e.attributes or "y" in e.attributes]
        at = self._corner(spans[0] if spans else element, state, frame)
        self.reading.features.append(Feature(FeatureKind.TEXT, words, element.place, at))

    def _image(self, element: Element, state: State, frame: Matrix) -> None:
        target = element.attributes.get("href", "")
        sizes = [read_length(element.attributes.get(k)) for k in ("width", "height")]
        if not target or any(s is not None and s.value <= 0 for s in sizes):
            return
        if state.style.get("visibility", "visible") != "visible":
            return
        kind = "embedded picture" if target.startswith("data:") else f"picture in another file ({target[:60]})"
        self.reading.features.append(
            Feature(FeatureKind.PICTURE, kind, element.place, self._corner(element, state, frame))
        )

    def _corner(self, element: Element, state: State, frame: Matrix) -> Point:
        place = []
        for key, whole in (("x", state.width), ("y", state.height)):
            length = read_length(element.attributes.get(key, "0").replace(",", " ").split(" ")[0])
            place.append((length.pixels(whole=whole) if length else None) or 0.0)
        x, y = apply(frame, np.array([place]))[0]
        return float(x), float(y)

    def _use(self, element: Element, state: State, frame: Matrix) -> None:
        target = element.attributes.get("href", "").strip()
        if not target.startswith("#"):
            if target:
                what = f"reference to another file ({target[:60]})"
                at = self._corner(element, state, frame)
                self.reading.features.append(Feature(FeatureKind.UNREAD, what, element.place, at))
            return
        key = target[1:]
        found = self.reading.by_id.get(key)
        if found is None:
            return
        if key in state.references or found in state.ancestors or len(state.references) >= MAX_REFERENCES:
            self.reading.features.append(Feature(FeatureKind.UNREAD, f"use of #{key} within itself", element.place))
            return
        state = replace(state, references=(*state.references, key))
        x, y = (
            (length.pixels(whole=whole) if length else None) or 0.0
            for length, whole in (
                (read_length(element.attributes.get("x")), state.width),
                (read_length(element.attributes.get("y")), state.height),
            )
        )
        frame = combine(frame, shift(x, y))
        if found.tag not in ("symbol", "svg"):
            self.enter(found, state, frame)
            return
        style = style_of(found, list(state.ancestors), self.reading.sheet, state.style)
        if style.get("display") == "none":
            return
        opened = self._viewport(found, element, replace(state, style=style), frame)
        if opened is not None:
            inner, frame = opened
            inner = replace(inner, ancestors=(*inner.ancestors, found))
            for child in found.children:
                self.enter(child, inner, frame)

    def _viewport(
        self, element: Element, sized_by: Element, state: State, frame: Matrix
    ) -> tuple[State, Matrix] | None:
        """Open an inner viewport: place, scale and clip."""

        def measure(key: str, whole: float, default: float) -> float:
            text = element.attributes.get(key)
            if key in ("width", "height"):
                text = sized_by.attributes.get(key) or text
            length = read_length(text)
            value = length.pixels(whole=whole) if length else None
            return default if value is None else value

        width, height = measure("width", state.width, state.width), measure("height", state.height, state.height)
        if width <= 0 or height <= 0:
            return None
        frame = combine(frame, shift(measure("x", state.width, 0.0), measure("y", state.height, 0.0)))
        clips = state.clips
        if element.attributes.get("overflow", "hidden") not in ("visible", "auto"):
            run = shape_of("rect", {"width": repr(width), "height": repr(height)}, width=1, height=1, em=1).subpaths
            clips = (*clips, Clip((ClipShape(tuple(s.mapped(frame) for s in run), FillRule.NONZERO),)))
        box = read_window(element.attributes.get("viewBox"))
        if box is not None:
            frame = combine(frame, fit_window(box, width, height, element.attributes.get("preserveAspectRatio")))
            width, height = box.width, box.height
        return replace(state, clips=clips, width=width, height=height), frame

    def _note_effects(self, element: Element, style: Mapping[str, str], paths: list[DrawnPath], opacity: float) -> None:
        """Name effects on something that is seen."""
        at = paths[0].subpaths[0].start if paths else None
        for key in ("mask", "filter"):
            if style.get(key, "none") not in ("none", ""):
                self.reading.note({key}, element, at)
        if style.get("mix-blend-mode", "normal") != "normal":
            self.reading.note({"mix-blend-mode"}, element, at)
        if opacity < 1.0:
            self.reading.features.append(Feature(FeatureKind.BLENDED, "opacity", element.place, at))


def _chosen(switch: Element) -> list[Element]:
    """Give the child of a switch that a viewer without extensions draws."""
    for child in switch.children:
        language = child.attributes.get("systemLanguage", "en").lower()
        if child.tag not in _SILENT and not child.attributes.get("requiredExtensions") and "en" in language:
            return [child]
    return []


def _layer_of(ancestors: tuple[Element, ...]) -> str:
    return next((e.attributes["id"] for e in reversed(ancestors) if e.tag == "g" and "id" in e.attributes), "")
