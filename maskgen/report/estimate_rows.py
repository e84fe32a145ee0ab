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
        ("film", f"{figures.film_mm2 / 100:.0f} cm²"),
        ("cut length", f"{figures.cut_length_mm / 1000:.1f} m"),
        ("pieces to weed", f"{figures.pieces}"),
        ("in the baths", WORDS.minutes(figures.bath_minutes)),
        ("by hand", WORDS.minutes(figures.hand_minutes)),
        ("from start to end", WORDS.minutes(figures.elapsed_minutes)),
    ]
    if figures.total_price is None:
        return rows
    if not apiece:
        return [*rows, ("price for all", WORDS.money(figures.total_price, job))]
    assert figures.setup_price is not None
    assert figures.piece_price is not None
    return [
        *rows,
        ("set-up and baths", WORDS.money(figures.setup_price, job)),
        ("each part", WORDS.money(figures.piece_price, job)),
        ("one part alone", WORDS.money(figures.setup_price + figures.piece_price, job)),
        (f"for {job.quantity}", WORDS.money(figures.total_price, job)),
    ]
