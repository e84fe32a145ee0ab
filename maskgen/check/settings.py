"""What a cut file is judged against."""

from __future__ import annotations

from dataclasses import dataclass, field

from maskgen.check.pieces import Polarity
from maskgen.model.job import Part, Resist


@dataclass(frozen=True, slots=True)
class CheckSettings:
    """Limits of the vinyl, the part the masks are for, the sheet they are cut from, what the lines enclose.

    `sheet_mm` None: a roll of `resist.sheet_width_mm`.
    """

    resist: Resist = field(default_factory=Resist)
    part: Part | None = None
    sheet_mm: tuple[float, float] | None = None
    polarity: Polarity = Polarity.INSIDE
