"""Material, time and price as rows of a report: what it is called, and the figure in words."""

from __future__ import annotations

from maskgen.model.job import Job
from maskgen.model.result import Estimate
from maskgen.report.words import WORDS


def estimate_rows(figures: Estimate | None, job: Job, *, apiece: bool = True) -> list[tuple[str, str]]:
    """Give the rows; none without an estimate.

    `apiece` tells the price of one part too, which says nothing where the parts differ.
    """
    if figures is None:
        return []
    rows = [
        (WORDS.film_used, WORDS.square_cm(figures.film_mm2)),
        (WORDS.cut_length, WORDS.metres(figures.cut_length_mm)),
        (WORDS.pieces_to_weed, f"{figures.pieces}"),
        (WORDS.in_the_baths, WORDS.minutes(figures.bath_minutes)),
        (WORDS.by_hand, WORDS.minutes(figures.hand_minutes)),
        (WORDS.start_to_end, WORDS.minutes(figures.elapsed_minutes)),
    ]
    if figures.total_price is None:
        return rows
    if not apiece:
        return [*rows, (WORDS.price_for_all, WORDS.money(figures.total_price, job))]
    assert figures.setup_price is not None
    assert figures.piece_price is not None
    return [
        *rows,
        (WORDS.set_up_price, WORDS.money(figures.setup_price, job)),
        (WORDS.each_part, WORDS.money(figures.piece_price, job)),
        (WORDS.one_alone, WORDS.money(figures.setup_price + figures.piece_price, job)),
        (WORDS.price_of(job.quantity), WORDS.money(figures.total_price, job)),
    ]
