"""Clip paths of an SVG: the windows an element is seen through, in the drawing's units."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from maskgen.formats.drawing.shapes import SHAPES
from maskgen.formats.drawing.styles import style_of
from maskgen.formats.drawing.svg_reading import TEXTS, Reading, State
from maskgen.formats.drawing.values import read_length, read_reference, read_transform, shift
from maskgen.formats.drawing.xml_tree import Element
from maskgen.model.drawing import IDENTITY, Clip, ClipShape, Feature, FeatureKind, FillRule, Matrix, combine


def clipped(reading: Reading, element: Element, style: Mapping[str, str], state: State, frame: Matrix) -> State:
    """Give the state with the clips of an element added."""
    reference = read_reference(style.get("clip-path"))
    if reference is None:
        if style.get("clip-path", "none") != "none":
            what = f"clip-path '{style['clip-path'][:60]}'"
            reading.features.append(Feature(FeatureKind.UNREAD, what, element.place))
        return state
    clip_element = reading.by_id.get(reference[0])
    if clip_element is None or clip_element.tag != "clipPath":
        return state
    clips = _clip(reading, clip_element, element, state, frame, ())
    return replace(state, clips=(*state.clips, *clips))


def _clip(
    reading: Reading, clip: Element, user: Element, state: State, frame: Matrix, within: tuple[Element, ...]
) -> tuple[Clip, ...]:
    if clip in within:
        reading.features.append(Feature(FeatureKind.UNREAD, "clip path within itself", clip.place))
        return ()
    style = style_of(clip, [], reading.sheet)
    if clip.attributes.get("clipPathUnits") == "objectBoundingBox":
        box = _box_frame(reading, user, state)
        if box is None:
            reading.features.append(Feature(FeatureKind.UNREAD, "clip path in units of a group", user.place))
            return ()
        frame = combine(frame, box)
    frame = combine(frame, read_transform(style.get("transform")) or IDENTITY) if "transform" in style else frame
    clips: list[Clip] = []
    outer = read_reference(style.get("clip-path"))
    if outer is not None and outer[0] in reading.by_id and reading.by_id[outer[0]].tag == "clipPath":
        clips.extend(_clip(reading, reading.by_id[outer[0]], user, state, frame, (*within, clip)))
    shapes: list[ClipShape] = []
    for child in clip.children:
        shapes.extend(_clip_shapes(reading, child, clip, state, frame, style))
    return (*clips, Clip(tuple(shapes)))


def _clip_shapes(
    reading: Reading, child: Element, clip: Element, state: State, frame: Matrix, inherited: Mapping[str, str]
) -> Iterator[ClipShape]:
    reading.counted()
    style = style_of(child, [clip], reading.sheet, inherited)
    if style.get("display") == "none" or style.get("visibility", "visible") != "visible":
        return
    moved = reading.moved(child, style, frame)
    if moved is None:
        return
    if child.tag == "use":
        target = reading.by_id.get(child.attributes.get("href", "").lstrip("#"))
        if target is not None and target.tag in SHAPES:
            x, y = (read_length(child.attributes.get(k)) for k in "xy")
            place = shift(x.value if x else 0.0, y.value if y else 0.0)
            yield from _clip_shapes(reading, target, clip, state, combine(moved, place), style)
    elif child.tag in SHAPES:
        if style.get("clip-path", "none") != "none":
            reading.features.append(Feature(FeatureKind.UNREAD, "clip path on a shape of a clip path", child.place))
        rule = FillRule.EVENODD if style.get("clip-rule") == "evenodd" else FillRule.NONZERO
        runs = tuple(reading.checked(s.mapped(moved), child) for s in reading.outline(child, state).subpaths)
        yield ClipShape(runs, rule)
    elif child.tag in TEXTS:
        reading.features.append(Feature(FeatureKind.UNREAD, "text in a clip path", child.place))


def _box_frame(reading: Reading, user: Element, state: State) -> Matrix | None:
    if user.tag not in SHAPES:
        return None
    runs = reading.outline(user, state).subpaths
    points = np.vstack([s.control.reshape(-1, 2) for s in runs]) if runs else np.zeros((0, 2))
    if not len(points):
        return None
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return np.array([[right - left, 0.0, left], [0.0, bottom - top, top]])
