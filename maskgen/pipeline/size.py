"""How large the artwork is and what part it goes on, where the job leaves it open."""

from __future__ import annotations

import dataclasses
import math

from maskgen.errors import InputError
from maskgen.model.job import Artwork, Job, Part, Shape


def settle_size(job: Job, *, aspect: float, drawn_mm: float | None = None) -> Job:
    """Fill in the artwork's width and the part.

    Parameters
    ----------
    job
        The job as stated; it has artwork.
    aspect
        Width over height of the artwork.
    drawn_mm
        How wide a drawing says it is: its width where the job says neither a size nor a part.

    Returns
    -------
    Job
        The same with `artwork.width_mm` and `part` stated. Without a part the artwork is the whole face; without a
        size it fills the part up to the keepout; with both sides given it is as large as both allow, undistorted.

    Raises
    ------
    InputError
        When neither a size nor a part is given.
    """
    assert job.artwork is not None
    width = _width(job.artwork, job.part, aspect=aspect, drawn_mm=drawn_mm)
    part = job.part or Part(Shape.PLATE, width_mm=width, height_mm=width / aspect, keepout_mm=0.0)
    return dataclasses.replace(job, artwork=dataclasses.replace(job.artwork, width_mm=width), part=part)


def _width(artwork: Artwork, part: Part | None, *, aspect: float, drawn_mm: float | None) -> float:
    stated = [w for w in (artwork.width_mm, artwork.height_mm and artwork.height_mm * aspect) if w is not None]
    if stated:
        return min(stated)
    if part is None and drawn_mm is not None:
        return drawn_mm
    if part is None:
        raise InputError("no size is given", where="artwork", mend="say how wide it shall be: --width MM")
    width, height = (side - 2 * part.keepout_mm for side in part.face_mm)
    if min(width, height) <= 0:
        raise InputError(
            f"a keepout of {part.keepout_mm:g} mm leaves no room for artwork", where="part", mend="make it smaller"
        )
    if part.shape is Shape.DISC:
        return width * aspect / math.hypot(aspect, 1.0)
    if part.shape is Shape.TUBE:
        width /= 2.0  # more than half way round is not seen at once
    return min(width, height * aspect)
