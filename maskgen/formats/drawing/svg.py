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
    MAX_COORDINATE,
    MAX_ELEMENTS,
    MAX_NODES,
    MAX_REFERENCES,
    check_size,
    too_much,
    unzipped,
)
from maskgen.formats.drawing.paint import Painter
from maskgen.formats.drawing.path_data import PathReading
from maskgen.formats.drawing.shapes import SHAPES, shape_of
from maskgen.formats.drawing.styles import StyleSheet, style_of
from maskgen.formats.drawing.values import (
    EM_PX,
    about,
    fit_window,
    read_fraction,
    read_length,
    read_reference,
    read_transform,
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
    SubPath,
    Window,
    apply,
    combine,
)
from maskgen.model.paths import Point
from maskgen.units import MM_PER_CSS_PX

MAX_FRAME = 1e15
"""Largest number of a transform, all of them together."""
_GROUPS = frozenset(("g", "a", "svg", "switch"))
_SILENT = frozenset(
    (
        *("", "defs", "symbol", "clipPath", "mask", "pattern", "marker", "linearGradient", "radialGradient"),
        *("meshgradient", "filter", "style", "script", "title", "desc", "metadata", "view", "cursor", "font"),
        *("font-face", "solidcolor", "hatch"),
    )
)
_TEXTS = frozenset(("text", "flowRoot"))
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
    page = _Page.of(root)
    try:
        with np.errstate(over="ignore", invalid="ignore"):  # what overflows is turned away by its size
            walk = _Walk.over(root, name=name, page=page)
            walk.enter(root, _State(width=page.window.width, height=page.window.height), IDENTITY, whole=True)
    except RecursionError as error:
        raise too_much("references are nested too deeply", MAX_REFERENCES, name=name) from error
    except (OverflowError, ZeroDivisionError) as error:
        raise InputError("numbers beyond any sheet", where=name, mend="delete what lies so far out") from error
    features = [*(Feature(FeatureKind.UNREAD, what, "style sheet") for what in walk.sheet.unread), *walk.features]
    return Drawing(Source.SVG, tuple(walk.paths), tuple(features), page.stated_window, page.scale, page.units)


@dataclass(frozen=True, slots=True)
class _Page:
    """The outermost viewport in units of the viewBox, and how large a unit is."""

    window: Window
    stated_window: Window | None
    scale: tuple[float, float]
    units: str

    @classmethod
    def of(cls, root: Element) -> _Page:
        style = style_of(root, [], StyleSheet())
        width, height = (read_length(style.get(k) or root.attributes.get(k)) for k in ("width", "height"))
        box = read_window(root.attributes.get("viewBox"))
        sizes = [None if v is None or v.value <= 0 else v.millimetres for v in (width, height)]
        units = next((v.unit for v, s in zip((width, height), sizes, strict=True) if v and s is not None), "") or "none"
        w, h = (None if s is None else s / MM_PER_CSS_PX for s in sizes)
        if box is None:
            stated = w is not None and h is not None
            window = Window(0.0, 0.0, w or 100.0, h or 100.0)
            return cls(window, window if stated else None, (MM_PER_CSS_PX, MM_PER_CSS_PX), units)
        if w is None and h is None:
            return cls(box, box, (MM_PER_CSS_PX, MM_PER_CSS_PX), "none")
        w = w if w is not None else (h or 0.0) * box.width / box.height
        h = h if h is not None else w * box.height / box.width
        fit = fit_window(box, w, h, root.attributes.get("preserveAspectRatio"))
        sx, sy = float(fit[0, 0]), float(fit[1, 1])
        window = Window(-float(fit[0, 2]) / sx, -float(fit[1, 2]) / sy, w / sx, h / sy)
        if np.allclose([window.left, window.top, window.width, window.height],
                       [box.left, box.top, box.width, box.height], rtol=1e-9, atol=1e-9):  # fmt: skip
            window = box
        return cls(window, window, (sx * MM_PER_CSS_PX, sy * MM_PER_CSS_PX), units)


@dataclass(frozen=True, slots=True)
class _State:
    """What an element hands down to those in it."""

    width: float
    height: float
    style: Mapping[str, str] = field(default_factory=dict)
    clips: tuple[Clip, ...] = ()
    fades: tuple[Fade, ...] = ()
    ancestors: tuple[Element, ...] = ()
    references: tuple[str, ...] = ()


@dataclass(slots=True)
class _Walk:
    """Collects paths and features."""

    name: str
    by_id: dict[str, Element]
    sheet: StyleSheet
    unit_px: float
    painter: Painter
    paths: list[DrawnPath] = field(default_factory=list)
    features: list[Feature] = field(default_factory=list)
    count: int = 0
    nodes: int = 0
    fades: int = 0

    @classmethod
    def over(cls, root: Element, *, name: str, page: _Page) -> _Walk:
        by_id: dict[str, Element] = {}
        sheet = StyleSheet()
        for element in root.walk():
            if "id" in element.attributes:
                by_id.setdefault(element.attributes["id"], element)
            if element.tag == "style" and element.attributes.get("type", "text/css").strip() in ("", "text/css"):
                sheet.add(element.text)
        _refuse_bombs(root, by_id, name)
        unit_px = MM_PER_CSS_PX / math.sqrt(page.scale[0] * page.scale[1])
        return cls(name, by_id, sheet, unit_px, Painter(by_id, sheet, unit_px))

    def enter(self, element: Element, state: _State, frame: Matrix, *, whole: bool = False) -> None:
        """Walk an element; `whole` for the outermost one, whose window is the page."""
        self.count += 1
        if self.count > MAX_ELEMENTS:
            raise too_much("too many elements, references counted", MAX_ELEMENTS, name=self.name)
        tag = element.tag
        if tag in _SILENT:
            return
        style = style_of(element, list(state.ancestors), self.sheet, state.style)
        opacity = read_fraction(style.get("opacity"))
        if style.get("display") == "none" or opacity == 0.0:
            return
        moved = self._moved(element, style, state, frame)
        if moved is None:
            return
        if opacity < 1.0:
            self.fades += 1
            state = replace(state, fades=(*state.fades, Fade(self.fades, opacity)))
        inner = replace(state, style=style, ancestors=(*state.ancestors, element))
        before = len(self.paths), len(self.features)
        self._draw(element, self._clipped(element, style, inner, moved), moved, whole=whole)
        if (len(self.paths), len(self.features)) != before:
            self._note_effects(element, style, self.paths[before[0] :], opacity)

    def _draw(self, element: Element, state: _State, frame: Matrix, *, whole: bool) -> None:
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
        elif tag in _TEXTS:
            self._text(element, state, frame)
        elif tag == "image":
            self._image(element, state, frame)
        elif state.style.get("visibility", "visible") == "visible":
            kind = "animation" if tag in _ANIMATIONS else f"<{tag}>"
            self.features.append(Feature(FeatureKind.UNREAD, kind, element.place, self._corner(element, state, frame)))

    def _moved(self, element: Element, style: Mapping[str, str], state: _State, frame: Matrix) -> Matrix | None:
        text = style.get("transform")
        if text is None:
            return frame
        matrix = read_transform(text)
        if matrix is None:
            self.features.append(Feature(FeatureKind.UNREAD, f"transform '{text[:60]}'", element.place))
            return frame
        if "transform-origin" in style:
            origin = [read_length(v) for v in style["transform-origin"].split()[:2]]
            places = [v.pixels(whole=0.0) if v and v.unit != "%" else None for v in origin]
            if len(places) == 2 and places[0] is not None and places[1] is not None:
                matrix = about(matrix, (places[0], places[1]))
            else:
                self.features.append(Feature(FeatureKind.UNREAD, "transform-origin in words", element.place))
        if abs(matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0]) < 1e-18:
            return None  # squeezed to nothing: not drawn
        moved = combine(frame, matrix)
        if not np.all(np.abs(moved) < MAX_FRAME):
            raise InputError("a transform beyond any sheet", where=f"{self.name}, {element.place}", mend="remove it")
        return moved

    def _shape(self, element: Element, state: _State, frame: Matrix) -> None:
        if state.style.get("visibility", "visible") != "visible":
            return
        drawn = self._outline(element, state)
        fill, fill_unread = self.painter.fill(state.style)
        stroke, stroke_unread = self.painter.stroke(state.style, frame, (state.width, state.height))
        if element.tag == "line":
            fill = None
        if fill is None and stroke is None and not (fill_unread or stroke_unread):
            return
        subpaths = tuple(self._checked(s.mapped(frame), element) for s in drawn.subpaths)
        at = subpaths[0].start if subpaths else None
        if drawn.trouble is not None:
            what = f"path data that breaks off at {drawn.trouble}" if element.tag == "path" else drawn.trouble
            broken = subpaths[-1].end if subpaths else None
            self.features.append(Feature(FeatureKind.UNREAD, what, element.place, broken))
        if not subpaths:
            return
        self._note({*fill_unread, *stroke_unread, *self._markers(element, state)}, element, at)
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

    def _outline(self, element: Element, state: _State) -> PathReading:
        length = read_length(state.style.get("font-size"))
        em = (length.pixels(whole=EM_PX) if length else None) or EM_PX
        return shape_of(element.tag, element.attributes, width=state.width, height=state.height, em=em)

    def _markers(self, element: Element, state: _State) -> Iterator[str]:
        if element.tag in ("path", "line", "polyline", "polygon"):
            for side in ("start", "mid", "end"):
                reference = read_reference(state.style.get(f"marker-{side}"))
                if reference is not None and reference[0] in self.by_id:
                    yield "marker"

    def _checked(self, subpath: SubPath, element: Element) -> SubPath:
        self.nodes += len(subpath.straight)
        if self.nodes > MAX_NODES:
            raise too_much("too many nodes", MAX_NODES, name=self.name)
        reach = np.abs(subpath.control).max(initial=0.0)
        if not max(reach, abs(subpath.start[0]), abs(subpath.start[1])) <= MAX_COORDINATE:
            raise InputError(
                f"a coordinate beyond {MAX_COORDINATE:.0e} units", where=f"{self.name}, {element.place}",
                mend="delete or move what lies so far out",
            )  # fmt: skip
        return subpath

    def _text(self, element: Element, state: _State, frame: Matrix) -> None:
        words = element.all_text()
        fill, _ = self.painter.fill(state.style)
        stroke, _ = self.painter.stroke(state.style, frame, (state.width, state.height))
        if not words or (fill is None and stroke is None) or state.style.get("visibility", "visible") != "visible":
            return
        spans = [e for e in element.walk() if "x" in e.attributes or "y" in e.attributes]
        at = self._corner(spans[0] if spans else element, state, frame)
        self.features.append(Feature(FeatureKind.TEXT, words, element.place, at))

    def _image(self, element: Element, state: _State, frame: Matrix) -> None:
        target = element.attributes.get("href", "")
        sizes = [read_length(element.attributes.get(k)) for k in ("width", "height")]
        if not target or any(s is not None and s.value <= 0 for s in sizes):
            return
        if state.style.get("visibility", "visible") != "visible":
            return
        kind = "embedded picture" if target.startswith("data:") else f"picture in another file ({target[:60]})"
        self.features.append(Feature(FeatureKind.PICTURE, kind, element.place, self._corner(element, state, frame)))

    def _corner(self, element: Element, state: _State, frame: Matrix) -> Point:
        place = []
        for key, whole in (("x", state.width), ("y", state.height)):
            length = read_length(element.attributes.get(key, "0").replace(",", " ").split(" ")[0])
            place.append((length.pixels(whole=whole) if length else None) or 0.0)
        x, y = apply(frame, np.array([place]))[0]
        return float(x), float(y)

    def _use(self, element: Element, state: _State, frame: Matrix) -> None:
        target = element.attributes.get("href", "").strip()
        if not target.startswith("#"):
            if target:
                what = f"reference to another file ({target[:60]})"
                at = self._corner(element, state, frame)
                self.features.append(Feature(FeatureKind.UNREAD, what, element.place, at))
            return
        key = target[1:]
        found = self.by_id.get(key)
        if found is None:
            return
        if key in state.references or found in state.ancestors or len(state.references) >= MAX_REFERENCES:
            self.features.append(Feature(FeatureKind.UNREAD, f"use of #{key} within itself", element.place))
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
        style = style_of(found, list(state.ancestors), self.sheet, state.style)
        if style.get("display") == "none":
            return
        opened = self._viewport(found, element, replace(state, style=style), frame)
        if opened is not None:
            inner, frame = opened
            inner = replace(inner, ancestors=(*inner.ancestors, found))
            for child in found.children:
                self.enter(child, inner, frame)

    def _viewport(
        self, element: Element, sized_by: Element, state: _State, frame: Matrix
    ) -> tuple[_State, Matrix] | None:
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

    def _clipped(self, element: Element, style: Mapping[str, str], state: _State, frame: Matrix) -> _State:
        reference = read_reference(style.get("clip-path"))
        if reference is None:
            if style.get("clip-path", "none") != "none":
                what = f"clip-path '{style['clip-path'][:60]}'"
                self.features.append(Feature(FeatureKind.UNREAD, what, element.place))
            return state
        clip_element = self.by_id.get(reference[0])
        if clip_element is None or clip_element.tag != "clipPath":
            return state
        clips = self._clip(clip_element, element, state, frame, ())
        return replace(state, clips=(*state.clips, *clips))

    def _clip(
        self, clip: Element, user: Element, state: _State, frame: Matrix, within: tuple[Element, ...]
    ) -> tuple[Clip, ...]:
        if clip in within:
            self.features.append(Feature(FeatureKind.UNREAD, "clip path within itself", clip.place))
            return ()
        style = style_of(clip, [], self.sheet)
        if clip.attributes.get("clipPathUnits") == "objectBoundingBox":
            box = self._box_frame(user, state)
            if box is None:
                self.features.append(Feature(FeatureKind.UNREAD, "clip path in units of a group", user.place))
                return ()
            frame = combine(frame, box)
        frame = combine(frame, read_transform(style.get("transform")) or IDENTITY) if "transform" in style else frame
        clips: list[Clip] = []
        outer = read_reference(style.get("clip-path"))
        if outer is not None and outer[0] in self.by_id and self.by_id[outer[0]].tag == "clipPath":
            clips.extend(self._clip(self.by_id[outer[0]], user, state, frame, (*within, clip)))
        shapes: list[ClipShape] = []
        for child in clip.children:
            shapes.extend(self._clip_shapes(child, clip, state, frame, style))
        return (*clips, Clip(tuple(shapes)))

    def _clip_shapes(
        self, child: Element, clip: Element, state: _State, frame: Matrix, inherited: Mapping[str, str]
    ) -> Iterator[ClipShape]:
        self.count += 1
        if self.count > MAX_ELEMENTS:
            raise too_much("too many elements, references counted", MAX_ELEMENTS, name=self.name)
        style = style_of(child, [clip], self.sheet, inherited)
        if style.get("display") == "none" or style.get("visibility", "visible") != "visible":
            return
        moved = self._moved(child, style, state, frame)
        if moved is None:
            return
        if child.tag == "use":
            target = self.by_id.get(child.attributes.get("href", "").lstrip("#"))
            if target is not None and target.tag in SHAPES:
                x, y = (read_length(child.attributes.get(k)) for k in "xy")
                place = shift(x.value if x else 0.0, y.value if y else 0.0)
                yield from self._clip_shapes(target, clip, state, combine(moved, place), style)
        elif child.tag in SHAPES:
            if style.get("clip-path", "none") != "none":
                self.features.append(Feature(FeatureKind.UNREAD, "clip path on a shape of a clip path", child.place))
            rule = FillRule.EVENODD if style.get("clip-rule") == "evenodd" else FillRule.NONZERO
            runs = tuple(self._checked(s.mapped(moved), child) for s in self._outline(child, state).subpaths)
            yield ClipShape(runs, rule)
        elif child.tag in _TEXTS:
            self.features.append(Feature(FeatureKind.UNREAD, "text in a clip path", child.place))

    def _box_frame(self, user: Element, state: _State) -> Matrix | None:
        if user.tag not in SHAPES:
            return None
        runs = self._outline(user, state).subpaths
        points = np.vstack([s.control.reshape(-1, 2) for s in runs]) if runs else np.zeros((0, 2))
        if not len(points):
            return None
        (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
        return np.array([[right - left, 0.0, left], [0.0, bottom - top, top]])

    def _note_effects(self, element: Element, style: Mapping[str, str], paths: list[DrawnPath], opacity: float) -> None:
        """Name effects on something that is seen."""
        at = paths[0].subpaths[0].start if paths else None
        for key in ("mask", "filter"):
            if style.get(key, "none") not in ("none", ""):
                self._note({key}, element, at)
        if style.get("mix-blend-mode", "normal") != "normal":
            self._note({"mix-blend-mode"}, element, at)
        if opacity < 1.0:
            self.features.append(Feature(FeatureKind.BLENDED, "opacity", element.place, at))

    def _note(self, names: set[str], element: Element, at: Point | None) -> None:
        for what in sorted(names):
            kind = FeatureKind.BLENDED if what == "opacity" else FeatureKind.UNREAD
            self.features.append(Feature(kind, what, element.place, at))


def _refuse_bombs(root: Element, by_id: Mapping[str, Element], name: str) -> None:
    """Count what references make of a drawing before any of it is drawn."""
    counted: dict[int, int] = {}

    def count(element: Element) -> int:
        key = id(element)
        if key not in counted:
            counted[key] = 1  # stands while the element is being counted: a circle adds nothing more
            total = 1 + sum(count(child) for child in element.children)
            if element.tag == "use":
                target = by_id.get(element.attributes.get("href", "").strip()[1:])
                total += count(target) if target is not None else 0
            counted[key] = total
        return counted[key]

    if count(root) > 2 * MAX_ELEMENTS:
        raise too_much("too many elements, references counted", MAX_ELEMENTS, name=name)


def _chosen(switch: Element) -> list[Element]:
    """Give the child of a switch that a viewer without extensions draws."""
    for child in switch.children:
        language = child.attributes.get("systemLanguage", "en").lower()
        if child.tag not in _SILENT and not child.attributes.get("requiredExtensions") and "en" in language:
            return [child]
    return []


def _layer_of(ancestors: tuple[Element, ...]) -> str:
    return next((e.attributes["id"] for e in reversed(ancestors) if e.tag == "g" and "id" in e.attributes), "")
