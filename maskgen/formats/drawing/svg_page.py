"""The outermost viewport of an SVG: its window in units of the viewBox, and how large a unit is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from maskgen.formats.drawing.styles import StyleSheet, style_of
from maskgen.formats.drawing.values import fit_window, read_length, read_window
from maskgen.formats.drawing.xml_tree import Element
from maskgen.model.drawing import Window
from maskgen.units import MM_PER_CSS_PX


@dataclass(frozen=True, slots=True)
class Page:
    """The outermost viewport; `stated_window` only where the file states a size."""

    window: Window
    stated_window: Window | None
    scale: tuple[float, float]
    units: str

    @classmethod
    def of(cls, root: Element) -> Page:
        """Read it from the outermost element."""
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
