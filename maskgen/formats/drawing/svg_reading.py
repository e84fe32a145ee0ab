"""What is kept while an SVG is walked: definitions, styles, what is handed down, what was met, and the caps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from maskgen.errors import InputError
from maskgen.formats.drawing.limits import MAX_COORDINATE, MAX_ELEMENTS, MAX_NODES, too_much
from maskgen.formats.drawing.path_data import PathReading
from maskgen.formats.drawing.shapes import shape_of
from maskgen.formats.drawing.styles import StyleSheet
from maskgen.formats.drawing.values import EM_PX, about, read_length, read_transform
from maskgen.formats.drawing.xml_tree import Element
from maskgen.model.drawing import Clip, Fade, Feature, FeatureKind, Matrix, SubPath, combine
from maskgen.model.paths import Point

TEXTS = frozenset(("text", "flowRoot"))
MAX_FRAME = 1e15
"""Largest number of a transform, all of them together."""


@dataclass(frozen=True, slots=True)
class State:
    """What an element hands down to those in it."""

    width: float
    height: float
    style: Mapping[str, str] = field(default_factory=dict)
    clips: tuple[Clip, ...] = ()
    fades: tuple[Fade, ...] = ()
    ancestors: tuple[Element, ...] = ()
    references: tuple[str, ...] = ()


@dataclass(slots=True)
class Reading:
    """Definitions by their key, the style sheet, features met, elements and nodes counted."""

    name: str
    by_id: dict[str, Element]
    sheet: StyleSheet
    features: list[Feature] = field(default_factory=list)
    count: int = 0
    nodes: int = 0

    @classmethod
    def of(cls, root: Element, *, name: str) -> Reading:
        """Collect definitions and style sheets; turn away what references would blow up."""
        by_id: dict[str, Element] = {}
        sheet = StyleSheet()
        for element in root.walk():
            if "id" in element.attributes:
                by_id.setdefault(element.attributes["id"], element)
            if element.tag == "style" and element.attributes.get("type", "text/css").strip() in ("", "text/css"):
                sheet.add(element.text)
        _refuse_bombs(root, by_id, name)
        return cls(name, by_id, sheet)

    def counted(self) -> None:
        """Count an element."""
        self.count += 1
        if self.count > MAX_ELEMENTS:
            raise too_much("too many elements, references counted", MAX_ELEMENTS, name=self.name)

    def moved(self, element: Element, style: Mapping[str, str], frame: Matrix) -> Matrix | None:
        """Give the frame inside an element; None where it is squeezed to nothing."""
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

    def outline(self, element: Element, state: State) -> PathReading:
        """Give the outline of a shape in its own units."""
        length = read_length(state.style.get("font-size"))
        em = (length.pixels(whole=EM_PX) if length else None) or EM_PX
        return shape_of(element.tag, element.attributes, width=state.width, height=state.height, em=em)

    def checked(self, subpath: SubPath, element: Element) -> SubPath:
        """Let a run through that is within the caps."""
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

    def note(self, names: set[str], element: Element, at: Point | None) -> None:
        """Name what was met; opacity is of no weight for a cut line."""
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
