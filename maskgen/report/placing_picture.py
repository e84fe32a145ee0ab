"""The placing picture of one mask: the part, the film that is on already, the new film, and measures to the edges."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from reportlab.lib import colors
from reportlab.platypus import Flowable

from maskgen.geometry.polygons import from_polygons, to_multipolygon
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, bounds
from maskgen.report.part_forms import FRESH, LIGHT, PartForms
from maskgen.report.placing import FLUSH_MM, label_circle, placing_of
from maskgen.report.typeface import PLAIN
from maskgen.report.words import WORDS
from maskgen.shape.sheet_extras import CROSS_MM, register_crosses
from maskgen.units import MM_PER_POINT

MM = 1.0 / MM_PER_POINT
TYPE = 7.5
LABEL = 11.0
SMALLEST = 4.5
"""Type of a number on a small loose piece; smaller pieces are told by their places: a number would hide them."""
CHAIN_MM = 5.0
"""How far a chain of measures stands off the part."""
SIDE_MM = 24.0
"""Room for the words of a measure beside the part."""
SMALL_FACE_MM = 42.0
"""A part smaller than this is drawn twice as large, so that measures find room."""
SCALES = (1.0, 1 / 1.5, 1 / 2, 1 / 2.5, 1 / 3, 1 / 4, 1 / 5, 1 / 6, 1 / 8, 1 / 10, 1 / 15, 1 / 20, 1 / 30, 1 / 50)
NUMBERED = 150
"""Up to so many loose pieces their numbers can still be read."""


class PlacingPicture(Flowable):
    """A mask's place on the part; at actual size where the room allows."""

    def __init__(
        self,
        forms: PartForms,
        mask: Mask,
        *,
        under: Sequence[str],
        over_mm: float,
        crosses: bool,
        numbered: bool,
        box: tuple[float, float, float, float] | None = None,
        room: tuple[float, float],
    ) -> None:
        super().__init__()
        self.forms, self.mask, self.under = forms, mask, under
        self.placing = placing_of(mask, forms.part)
        self.crosses = register_crosses(_face_box(forms), _all_masks(forms)) if crosses else ()
        self.box = box
        self.numbered = numbered and len(mask.area.pieces) <= NUMBERED
        self.over_mm = max(over_mm, CROSS_MM + 4.0 if self.crosses else 0.0)
        width, height = forms.face_mm
        fits = min(
            (room[0] / MM - 2 * SIDE_MM) / (width + 2 * self.over_mm),
            (room[1] / MM - 5 * CHAIN_MM) / (height + 2 * self.over_mm),
        )
        self.head_mm = 3 * CHAIN_MM if self._chained_above else CHAIN_MM
        doubled = max(width, height) < SMALL_FACE_MM and fits >= 2.0
        self.scale = 2.0 if doubled else next((scale for scale in SCALES if scale <= fits), SCALES[-1])

    @property
    def _chained_above(self) -> bool:
        return self.placing.opening is not None and self.placing.by_opening

    @property
    def _size_mm(self) -> tuple[float, float]:
        width, height = self.forms.face_mm
        over = 2 * self.over_mm
        return (width + over) * self.scale + 2 * SIDE_MM, (height + over) * self.scale + 2 * CHAIN_MM + self.head_mm

    def wrap(self, *_: float) -> tuple[float, float]:
        """Say its size."""
        width, height = self._size_mm
        return width * MM, height * MM

    def draw(self) -> None:
        """Draw it: origin at the face's bottom left from here on, in points."""
        canvas: Any = self.canv
        canvas.saveState()
        canvas.translate((SIDE_MM + self.over_mm * self.scale) * MM, (2 * CHAIN_MM + self.over_mm * self.scale) * MM)
        canvas.saveState()
        canvas.scale(self.scale * MM, self.scale * MM)
        for number in self.under:
            self.forms.draw_film(canvas, number, pitch_mm=1.6 / self.scale)
        self.forms.draw_solid(canvas, self.mask.number, line=0.25 / self.scale)
        self.forms.draw_edge(canvas, line=0.3 / self.scale)
        self._draw_crosses(canvas)
        canvas.restoreState()
        if self.box is not None:
            self._draw_box(canvas, *self.box)
        self._draw_numbers(canvas)
        self._draw_chains(canvas)
        self._draw_top(canvas)
        canvas.restoreState()

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return x * self.scale * MM, (self.forms.face_mm[1] - y) * self.scale * MM

    def _draw_crosses(self, canvas: Any) -> None:
        canvas.setLineWidth(0.25 / self.scale)
        for piece in self.crosses:
            points = [self.forms.at(s.start) for s in piece.outer.segments]
            path = canvas.beginPath()
            path.moveTo(*points[0])
            for point in points[1:]:
                path.lineTo(*point)
            path.close()
            canvas.drawPath(path, stroke=1, fill=0)

    def _draw_box(self, canvas: Any, left: float, top: float, width: float, height: float) -> None:
        x, y = self._at(left, top + height)
        canvas.setStrokeColor(colors.black)
        canvas.setLineWidth(0.6)
        canvas.setDash([3, 2])
        canvas.rect(x, y, width * self.scale * MM, height * self.scale * MM, stroke=1, fill=0)
        canvas.setDash([])

    def _draw_numbers(self, canvas: Any) -> None:
        """Write the mask's number on its film; where pieces are laid one by one, each one's own if it fits."""
        if self.numbered:
            for count, piece in enumerate(self.mask.area.pieces, start=1):
                middle, reach = label_circle(Area((piece,)))
                size = next((size for size in (TYPE, SMALLEST) if reach * self.scale * MM >= 0.6 * size), None)
                if size is not None:
                    _label(canvas, *self._at(*middle), str(count), size)
            return
        for number in self.under:
            self._number(canvas, self._seen(number), number, TYPE)
        self._number(canvas, self.mask.area, self.mask.number, LABEL)

    def _seen(self, number: str) -> Area:
        """Give what the new film leaves to be seen of earlier film."""
        earlier, new = (
            to_multipolygon(area, tolerance=FLUSH_MM) for area in (self.forms.masks[number], self.mask.area)
        )
        return from_polygons(earlier.difference(new))

    def _number(self, canvas: Any, area: Area, words: str, size: float) -> None:
        """Write a number on its film where it hides nothing of it that matters; the key names the film anyway."""
        if not area.pieces:
            return
        middle, reach = label_circle(area)
        if reach * self.scale * MM >= 0.75 * size:
            plate = FRESH if words == self.mask.number else LIGHT
            _label(canvas, *self._at(*middle), words, size, plate=plate)

    def _draw_top(self, canvas: Any) -> None:
        """Draw an arrow above the part that says which way is up."""
        width, height = self.forms.face_mm
        x, y = width * self.scale * MM / 2, (height + self.over_mm) * self.scale * MM + 1.2 * MM
        if self._chained_above:
            y += 2 * CHAIN_MM * MM
        canvas.setFillColor(colors.black)
        path = canvas.beginPath()
        path.moveTo(x - 1.3 * MM, y)
        path.lineTo(x + 1.3 * MM, y)
        path.lineTo(x, y + 3.0 * MM)
        path.close()
        canvas.drawPath(path, stroke=0, fill=1)
        canvas.setFont(PLAIN, TYPE)
        canvas.drawString(x + 2.4 * MM, y + 0.4 * MM, WORDS.top_of_part)

    def _draw_chains(self, canvas: Any) -> None:
        """Draw the film's measures below and at the right, those of its opening above and at the left."""
        width, height = self.forms.face_mm
        placing = self.placing
        left, top, right, bottom = placing.box
        out = (self.over_mm * self.scale + CHAIN_MM) * MM
        foot, side = -out, width * self.scale * MM + out
        self._level(canvas, foot, (0.0, left, right, width), _words(placing.left, placing.right, right - left))
        self._upright(canvas, side, (0.0, top, bottom, height), _words(placing.top, placing.bottom, bottom - top))
        if placing.opening is not None and placing.by_opening:
            hole = placing.opening
            head = height * self.scale * MM + out
            self._level(canvas, head, (0.0, hole.left), (WORDS.mm_measured(hole.left),), at_y=hole.level)
            self._upright(canvas, -out, (0.0, hole.top), (WORDS.mm_measured(hole.top),), at_x=hole.upright)

    def _level(
        self, canvas: Any, y: float, xs: Sequence[float], words: Sequence[str], *, at_y: float | None = None
    ) -> None:
        places = [x * self.scale * MM for x in xs]
        _line(canvas, min(places), y, max(places), y)
        reach = self._at(0.0, at_y if at_y is not None else (self.placing.box[1] + self.placing.box[3]) / 2)[1]
        for x in places:
            _line(canvas, x, y - MM, x, y + MM)
            _line(canvas, x, y, x, reach if x not in (places[0], places[-1]) or at_y is not None else y, faint=True)
        canvas.setFont(PLAIN, TYPE)
        if len(words) == 1:
            canvas.drawCentredString((places[0] + places[1]) / 2, y + 1.3 * MM, words[0])
            return
        first, last, middle = words
        canvas.drawRightString(min(places) - 1.2 * MM, y - TYPE / 3, first)
        canvas.drawString(max(places) + 1.2 * MM, y - TYPE / 3, last)
        narrow = canvas.stringWidth(middle, PLAIN, TYPE) > max(places) - min(places)
        canvas.drawCentredString((places[1] + places[2]) / 2, y - TYPE * (1.9 if narrow else 1.0) - 0.6, middle)

    def _upright(
        self, canvas: Any, x: float, ys: Sequence[float], words: Sequence[str], *, at_x: float | None = None
    ) -> None:
        places = [self._at(0.0, y)[1] for y in ys]
        _line(canvas, x, min(places), x, max(places))
        reach = self._at(at_x if at_x is not None else (self.placing.box[0] + self.placing.box[2]) / 2, 0.0)[0]
        for y in places:
            _line(canvas, x - MM, y, x + MM, y)
            _line(canvas, x, y, reach if y not in (places[0], places[-1]) or at_x is not None else x, y, faint=True)
        canvas.setFont(PLAIN, TYPE)
        if len(words) == 1:
            canvas.drawRightString(x - 1.2 * MM, (places[0] + places[1]) / 2 - TYPE / 3, words[0])
            return
        first, last, middle = words
        canvas.drawString(x + 1.2 * MM, max(places) - TYPE / 3, first)
        canvas.drawString(x + 1.2 * MM, min(places) - TYPE / 3, last)
        canvas.drawString(x + 1.6 * MM, (max(places) + min(places)) / 2 - TYPE / 3, middle)


def _words(before: float, after: float, extent: float) -> tuple[str, str, str]:
    return _gap(before), _gap(after), WORDS.film_measure(extent)


def _gap(gap: float) -> str:
    return WORDS.runs_over(-gap) if gap <= -FLUSH_MM else WORDS.mm_measured(max(gap, 0.0))


def _line(canvas: Any, x1: float, y1: float, x2: float, y2: float, *, faint: bool = False) -> None:
    canvas.setStrokeColor(colors.grey if faint else colors.black)
    canvas.setLineWidth(0.3 if faint else 0.6)
    canvas.setDash([1, 1.6] if faint else [])
    canvas.line(x1, y1, x2, y2)
    canvas.setDash([])


def _label(canvas: Any, x: float, y: float, words: str, size: float, *, plate: Any = FRESH) -> None:
    """Write on a plate of the film's own colour: it is read over stripes, and is not taken for an opening."""
    canvas.setFont(PLAIN, size)
    width = canvas.stringWidth(words, PLAIN, size)
    canvas.setFillColor(plate)
    canvas.rect(x - width / 2 - 1.2, y - size * 0.46, width + 2.4, size * 0.96, stroke=0, fill=1)
    canvas.setFillColor(colors.black)
    canvas.drawCentredString(x, y - size * 0.35, words)


def _face_box(forms: PartForms) -> tuple[float, float, float, float]:
    return (0.0, 0.0, *forms.face_mm)


def _all_masks(forms: PartForms) -> tuple[float, float, float, float]:
    boxes: Iterable[tuple[float, float, float, float]] = [bounds(area) for area in forms.masks.values()]
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return min(lefts), min(tops), max(rights), max(bottoms)
