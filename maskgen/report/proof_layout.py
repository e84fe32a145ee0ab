"""What stands where in the customer's picture: one page in millimetres, y down, for the PNG and the PDF alike.

The part in its true proportion with its size, the colours by name, and at actual size where it fits. Nothing of the
workshop: no steps, no recipes, no price.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from maskgen.model.dyeing import PlannedRegion
from maskgen.model.job import Part, Shape
from maskgen.model.result import JobResult
from maskgen.report.typeface import advance, wrap
from maskgen.report.words import WORDS

MARGIN_MM = 15.0
TITLE_MM, TEXT_MM, SMALL_MM = 6.4, 4.2, 3.5
"""Type sizes: 18, 12 and 10 points."""
SMALLEST_TITLE_MM = 4.2
LINE = 1.35
"""Distance of lines, in type sizes."""
RULE_MM = 9.0
"""Room beside a picture for a measure."""
GAP_MM = 8.0
LEGEND_ROWS = 12
ACTUAL_MM = (85.0, 62.0)
"""The part is drawn at actual size too where it is no larger than this."""


class Sight(StrEnum):
    """How a part is looked at."""

    FACE = "face"
    FRONT = "front"


@dataclass(frozen=True, slots=True)
class View:
    """The part in a box; `scale` is the picture's millimetres to one of the part."""

    sight: Sight
    left: float
    top: float
    width: float
    height: float
    scale: float


@dataclass(frozen=True, slots=True)
class Text:
    """A line of text that begins on its baseline at a place."""

    line: str
    left: float
    baseline: float
    size: float
    faint: bool = False


@dataclass(frozen=True, slots=True)
class Patch:
    """A patch of colour."""

    colour: str
    left: float
    top: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class Measure:
    """A measure line between two places, level or upright, with a tick at each end."""

    start: tuple[float, float]
    end: tuple[float, float]


Item = View | Text | Patch | Measure


@dataclass(frozen=True, slots=True)
class Proof:
    """A page and what stands on it; `used_mm` is how far down it is used, margin included."""

    title: str
    used_mm: float
    items: tuple[Item, ...]


def lay_out_proof(result: JobResult, *, width_mm: float, height_mm: float) -> Proof:
    """Lay the customer's picture out on a page of a size."""
    part = result.job.part
    assert part is not None
    title = result.job.title or WORDS.proof_title
    room = width_mm - 2 * MARGIN_MM
    items: list[Item] = list(_title(title, room))
    top = items[-1].baseline + 6.0 if isinstance(items[-1], Text) else MARGIN_MM
    regions = [r for r in result.plan.regions if r.area_mm2 is None or r.area_mm2 > 0.0]
    actual = _actual_size(part)
    below = max(_legend_height(regions), actual[1] + 8.0) + 2 * GAP_MM + 4 * TEXT_MM * LINE
    picture, scale, bottom = _pictures(part, top, room, height_mm - top - MARGIN_MM - below - RULE_MM)
    items += picture
    y = bottom + GAP_MM
    items.append(Text(WORDS.size_of(part), MARGIN_MM, y + TEXT_MM, TEXT_MM))
    y += TEXT_MM * LINE + 3.0
    legend, legend_bottom = _legend(regions, y, room - (actual[0] + GAP_MM if actual[0] else 0.0))
    items += legend
    if actual[0] and abs(scale - 1.0) > 0.02:
        left = width_mm - MARGIN_MM - actual[0]
        caption_top = y + actual[1]
        items += [
            View(Sight.FRONT if part.shape is Shape.TUBE else Sight.FACE, left, y, *actual, 1.0),
            *_caption(WORDS.actual_size, left, caption_top, actual[0], width_mm - MARGIN_MM),
        ]
        legend_bottom = max(legend_bottom, caption_top + 5.0)
    y = legend_bottom + GAP_MM
    items.append(Text(WORDS.colours_vary, MARGIN_MM, y, TEXT_MM, faint=True))
    return Proof(title, y + MARGIN_MM, tuple(items))


def _title(title: str, room: float) -> Iterator[Text]:
    """Shrink a title that is too long for two lines, and break it where that is not enough."""
    size = TITLE_MM
    while len(lines := wrap(title, room, size)) > 2 and size > SMALLEST_TITLE_MM:
        size -= 0.4
    for number, line in enumerate(lines):
        yield Text(line, MARGIN_MM, MARGIN_MM + size * (1 + LINE * number), size)


def _pictures(part: Part, top: float, room: float, height: float) -> tuple[list[Item], float, float]:
    """Give the large pictures with their measures, their scale, and where they end."""
    face_width, face_height = part.face_mm
    if part.shape is not Shape.TUBE:
        scale = _scale(min((room - 2 * RULE_MM) / face_width, height / face_height))
        left = MARGIN_MM + (room - face_width * scale) / 2
        view = View(Sight.FACE, left, top, face_width * scale, face_height * scale, scale)
        return [view, *_measures(view, part)], scale, top + view.height + RULE_MM
    assert part.diameter_mm is not None
    scale = _scale(min((room - 3 * RULE_MM) / (face_width + part.diameter_mm), (height - 6.0) / face_height))
    across, around, tall = part.diameter_mm * scale, face_width * scale, face_height * scale
    left = MARGIN_MM + (room - across - around - RULE_MM) / 2
    front = View(Sight.FRONT, left, top, across, tall, scale)
    unrolled = View(Sight.FACE, left + across + RULE_MM, top, around, tall, scale)
    captions = [
        caption
        for view, words in ((front, WORDS.from_the_front), (unrolled, WORDS.unrolled))
        for caption in _caption(words, view.left, top + tall + 6.0, view.width, MARGIN_MM + room)
    ]
    measures = [*_level(front, WORDS.mm(part.diameter_mm)), *_measures(unrolled, part)]
    return [front, unrolled, *measures, *captions], scale, top + tall + RULE_MM + 5.0


def _scale(fits: float) -> float:
    """Draw at actual size where that is nearly the size that fits; a small part is not blown up without end."""
    return 1.0 if 1.0 <= fits < 1.12 else min(fits, 5.0)


def _measures(view: View, part: Part) -> list[Item]:
    width, height = part.face_mm
    upright = view.left + view.width + 3.0
    words = WORDS.mm(height)
    across = WORDS.mm_round(width) if part.shape is Shape.TUBE else WORDS.mm(width)
    return [
        *_level(view, across),
        Measure((upright, view.top), (upright, view.top + view.height)),
        Text(words, upright + 1.2, view.top + view.height / 2 + SMALL_MM / 3, SMALL_MM, faint=True),
    ]


def _level(view: View, words: str) -> list[Item]:
    y = view.top + view.height + 3.0
    middle = view.left + view.width / 2 - advance(words, SMALL_MM) / 2
    return [
        Measure((view.left, y), (view.left + view.width, y)),
        Text(words, middle, y + SMALL_MM + 0.6, SMALL_MM, faint=True),
    ]


def _caption(words: str, left: float, top: float, width: float, right: float) -> Iterator[Text]:
    """Centre a caption under a picture, within the page."""
    long = advance(words, SMALL_MM)
    begin = min(max(left + width / 2 - long / 2, MARGIN_MM), right - long)
    yield Text(words, begin, top + SMALL_MM * 1.5, SMALL_MM, faint=True)


def _actual_size(part: Part) -> tuple[float, float]:
    """Give the size of the part as seen from the front; nothing where it would take too much of the page."""
    width, height = part.face_mm
    if part.shape is Shape.TUBE:
        width = width / math.pi
    return (width, height) if width <= ACTUAL_MM[0] and height <= ACTUAL_MM[1] else (0.0, 0.0)


def _legend_height(regions: Sequence[PlannedRegion]) -> float:
    return min(len(regions), LEGEND_ROWS) * TEXT_MM * LINE * 1.15


def _legend(regions: Sequence[PlannedRegion], top: float, room: float) -> tuple[list[Item], float]:
    """Give the colours by name, in columns of up to `LEGEND_ROWS`, and where they end."""
    items: list[Item] = []
    pitch = TEXT_MM * LINE * 1.15
    columns = math.ceil(len(regions) / LEGEND_ROWS) or 1
    width = room / columns
    for number, region in enumerate(regions):
        left = MARGIN_MM + number // LEGEND_ROWS * width
        y = top + number % LEGEND_ROWS * pitch
        words, size = WORDS.colour_of(region.name, bare=not region.recipe.doses), TEXT_MM
        while advance(words, size) > width - 11.0 and size > 2.0:
            size -= 0.2
        words = wrap(words, width - 11.0, size)[0]
        items += [Patch(region.predicted, left, y, 8.0, TEXT_MM), Text(words, left + 10.0, y + TEXT_MM * 0.86, size)]
    return items, top + min(len(regions), LEGEND_ROWS) * pitch
