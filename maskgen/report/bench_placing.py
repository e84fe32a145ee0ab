"""What a mask's step says and shows of where its film goes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from maskgen.model.dyeing import ApplyMask, Strip
from maskgen.model.job import Carrier, Shape
from maskgen.model.masks import Mask
from maskgen.model.result import JobResult
from maskgen.report.bench_names import box_words, letter_box
from maskgen.report.bench_parts import TEXT
from maskgen.report.part_forms import PartForms
from maskgen.report.pdf_text import paragraph
from maskgen.report.placing import Placing, piece_boxes, placing_of, smallest_piece_mm2
from maskgen.report.placing_film import fine_gaps, hole_opening_mm, lap_all_round, larger_by_mm, looks_turnable
from maskgen.report.placing_key import PlacingKey
from maskgen.report.placing_picture import PlacingPicture
from maskgen.report.words import WORDS

PLACING_HEIGHT = 90 * mm
"""Room for a placing picture: two steps with one still fit a page."""
LISTED = 40
"""Up to so many loose pieces their places are listed."""
SHOWN_MM = 0.5
"""A gap narrower than this on paper is lost between two outlines."""
LARGER_MM = 0.05
"""Film that is larger by less looks like the finished picture."""


def placing_block(
    result: JobResult, mask: Mask, under: Sequence[str], forms: PartForms, width: float
) -> list[Flowable]:
    """Give the words, the picture and its key; `under` is the film that is on already."""
    part, resist = result.job.part, result.job.resist
    assert part is not None
    loose = resist.carrier is Carrier.LOOSE
    picture = PlacingPicture(
        forms,
        mask,
        under=under,
        over_mm=resist.overhang_mm,
        crosses=result.job.sheets.crosses and not loose,
        numbered=loose,
        box=letter_box(result.job.text, part) if result.job.text is not None else None,
        room=(width, PLACING_HEIGHT),
    )
    key = PlacingKey(mask.number, under, check_line=picture.scale == 1.0)
    where = list(_where(result, mask, under, forms))
    looking = [
        *_looking(result, mask, under, forms, picture.scale),
        WORDS.register_marks if picture.crosses else "",
        WORDS.drawn_at(picture.scale),
    ]
    picture.hAlign = key.hAlign = "CENTER"
    said = [paragraph(" ".join(line for line in lines if line), TEXT) for lines in (where, looking)]
    return [*said, picture, key]


def _where(result: JobResult, mask: Mask, under: Sequence[str], forms: PartForms) -> Iterator[str]:
    """Say where the film goes."""
    part = result.job.part
    assert part is not None
    edges = WORDS.tube_edges if part.shape is Shape.TUBE else WORDS.edges
    placing = placing_of(mask, part)
    sides = list(zip(edges, _gaps(placing), strict=True))
    named = result.job.text is not None
    if named:
        yield box_words(result.job)
        yield WORDS.one_of_the_names
    if placing.over_every_edge:
        yield WORDS.even_over(sides)
    elif not named:
        yield WORDS.placing(sides)
        yield from _from_film(result, placing, sides, under)
    if not named:
        lap = lap_all_round(mask.area, [forms.masks[number] for number in under], part)
        if lap is not None:
            yield WORDS.laps([under[n] for n in lap.on], lap.least_mm, even=lap.even)
        if placing.by_opening and placing.opening is not None:
            yield WORDS.by_opening(placing.opening.left, placing.opening.top, edges)
    for hole in result.job.hole:
        opening = hole_opening_mm(mask.area, hole)
        if opening is not None:
            yield WORDS.hole_opening(hole.diameter_mm, *hole.at_mm, edges, opening)
    if part.shape is Shape.TUBE and min(placing.left, placing.right) < 0.0:
        yield WORDS.seam


def _from_film(
    result: JobResult, placing: Placing, sides: Sequence[tuple[str, float]], under: Sequence[str]
) -> Iterator[str]:
    """Say the measures from earlier film where that runs over the edges the new film lies in from."""
    part = result.job.part
    assert part is not None
    for number in under:
        earlier = next(m for m in result.masks if m.number == number)
        overs = [-gap for gap in _gaps(placing_of(earlier, part))]
        hidden = [
            (name, gap + over) for (name, gap), over in zip(sides, overs, strict=True) if gap > 0.05 and over > 0.05
        ]
        if hidden:
            yield WORDS.from_film(number, hidden)


def _looking(result: JobResult, mask: Mask, under: Sequence[str], forms: PartForms, scale: float) -> Iterator[str]:
    """Say what the picture does not show by itself."""
    part, named = result.job.part, result.job.text is not None
    assert part is not None
    boxes = piece_boxes(mask)
    yield WORDS.keep_turnable_up if looks_turnable(mask.area) else WORDS.keep_up
    if result.job.resist.carrier is Carrier.LOOSE and not named and 1 < len(boxes) <= LISTED:
        yield WORDS.loose_places(boxes)
    if len(boxes) > 1 and not named:
        yield WORDS.small_pieces(smallest_piece_mm2(mask))
        count, narrowest = fine_gaps(mask.area, SHOWN_MM / scale)
        yield WORDS.fine_gaps(count, narrowest) if count else ""
    covered = [forms.regions[key] for key in mask.regions if key in forms.regions]
    larger = larger_by_mm(mask.area, covered, [forms.masks[number] for number in under], part)
    if larger >= LARGER_MM:
        yield WORDS.larger(larger, bleached=_bleached_later(result, mask))


def _bleached_later(result: JobResult, mask: Mask) -> bool:
    steps = result.plan.sequence.steps
    laid = next(n for n, step in enumerate(steps) if isinstance(step, ApplyMask) and step.mask == mask.number)
    return any(isinstance(step, Strip) for step in steps[laid:])


def _gaps(placing: Placing) -> tuple[float, float, float, float]:
    return placing.left, placing.top, placing.right, placing.bottom
