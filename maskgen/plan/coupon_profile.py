"""What was read from a test piece, back into a resist profile: how every value is known, and what does not fit."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.stats import t as student

from maskgen.model.coupon import CreepFit, Kind, Profile, ProfileValue, Reading, Remark
from maskgen.model.finding import Severity
from maskgen.model.job import Resist

READING_MM = 0.1 / math.sqrt(12)
"""Standard deviation of a reading rounded to a tenth (a uniform error over one division): no fit counts as surer."""
TUKEY = 4.685
"""Standard deviations at which the biweight gives a bar up: 95 % efficient on normal errors (from memory)."""
SURE = 0.975
"""Both tails cut, 95 % are left (Student's t); of fewer than four bars the scatter is not taken to be less known."""
LEAST_FREE = 3
SHARED = 4.0
"""Standard errors a difference all bars share must come to: a wrongly seen one costs the creep its sureness."""
STEP_MM = 0.05
LEAST_PLACEMENT_MM = 0.1
OVER_PLACEMENT_MM = 0.2
"""Lap beyond the placement: what the profile's own defaults keep (0.5 to 0.3)."""
READ_TO_MM = 0.05
"""What a careful eye makes of a reticle of 0.1 mm: no bar is given up for less than a few of these."""
FALLS = 3.0
"""Standard errors by which bars of more strips must have lost less to be no chance."""
UNLIKE_MM = 0.25
"""Widths and heights of one target's gaps add up to the same; further apart than this, one was misread."""

Floats = NDArray[np.float64]


def resist_profile(readings: Sequence[Reading], *, base: Resist) -> Profile:
    """Give the profile the readings make; what was not measured, or cannot be trusted, stays as in `base`."""
    remarks: list[Remark] = []
    fit, creep = _creep([r for r in readings if r.feature.kind is Kind.CREEP], base, remarks)
    placement, lap = _placement([r for r in readings if r.feature.kind is Kind.PLACE], base, remarks)
    values = (
        creep,
        lap,
        placement,
        _limit("min_land_mm", Kind.LINE, "line", readings, base, remarks),
        _limit("min_gap_mm", Kind.SLIT, "slit", readings, base, remarks),
        _limit("min_piece_mm2", Kind.PIECE, "piece", readings, base, remarks),
    )
    changed: dict[str, Any] = {value.key: value.value for value in values}
    resist = dataclasses.replace(base, **changed)
    return Profile(resist, values, tuple(remarks), fit)


def fit_creep(strips: Floats, lost: Floats, *, offset: bool = False) -> tuple[Floats, Floats, float, NDArray[np.bool_]]:
    """Fit `lost = 2 strips creep (+ offset)` by least squares with Tukey's biweight.

    Parameters
    ----------
    strips, lost
        Strips every bar went through, and by how much its colour is narrower than it was cut, mm; (n,).
    offset
        Whether to fit a difference all bars share, too.

    Returns
    -------
    tuple
        Creep (and offset), their standard errors, the scatter of the bars, which bars were kept.
    """
    columns = np.stack([2 * strips, np.ones_like(strips)], axis=1)[:, : 2 if offset else 1]
    found: Floats = np.zeros(columns.shape[1])
    found[0] = np.median(lost / (2 * strips))
    kept = np.ones(len(lost), dtype=np.bool_)
    for _ in range(50):
        rest = lost - columns @ found
        scale = max(READ_TO_MM, 1.4826 * float(np.median(np.abs(rest))))
        weight = np.clip(1 - (rest / (TUKEY * scale)) ** 2, 0, None) ** 2
        kept = weight > 0
        root = np.sqrt(weight)
        new: Floats = np.asarray(np.linalg.lstsq(columns * root[:, None], lost * root, rcond=None)[0], dtype=np.float64)
        if np.allclose(new, found, atol=1e-9):
            break
        found = new
    rest = (lost - columns @ found)[kept]
    free = max(1, len(rest) - columns.shape[1])
    scatter = max(READING_MM, math.sqrt(float(rest @ rest) / free))
    errors = scatter * np.sqrt(np.diag(np.linalg.pinv(columns[kept].T @ columns[kept])))
    return found, errors, scatter, kept


def _creep(bars: Sequence[Reading], base: Resist, remarks: list[Remark]) -> tuple[CreepFit | None, ProfileValue]:
    gone = [r.feature.key for r in bars if r.value == 0]
    if gone:
        remarks.append(
            Remark(
                Severity.WARNING,
                f"no colour left on {', '.join(gone)}: they only say that creep is large, and are not counted",
                "see whether the film came loose there",
            )
        )
    bars = [r for r in bars if r.value > 0]
    if not bars:
        return None, _kept("creep_mm", base, "no bar was measured")
    strips = np.array([r.feature.strips for r in bars], dtype=np.float64)
    lost = np.array([r.feature.nominal - r.value for r in bars])
    (creep, *_), (error, *_), scatter, kept = fit_creep(strips, lost)
    shared = 0.0
    if len(set(strips[kept])) > 1 and len(bars) >= 6:
        both, errors, scatter_both, kept_both = fit_creep(strips, lost, offset=True)
        if abs(both[1]) > max(SHARED * errors[1], READING_MM):
            creep, shared, error, scatter, kept = both[0], float(both[1]), errors[0], scatter_both, kept_both
            remarks.append(
                Remark(
                    Severity.WARNING,
                    f"all bars are {abs(shared):.2f} mm {'narrower' if shared > 0 else 'wider'} than creep explains, "
                    "however many strips: the cutter or the reading is off by that; it is taken out of the creep",
                    "measure a bar of film before it is laid, and the check of your rule",
                )
            )
    aside = tuple(r.feature.key for r, k in zip(bars, kept, strict=True) if not k)
    free = max(LEAST_FREE, int(kept.sum()) - (2 if shared else 1))
    margin = float(error) * float(student.ppf(SURE, free))
    fit = CreepFit(float(creep), float(error), margin, float(scatter), int(kept.sum()), aside, shared)
    if aside:
        remarks.append(
            Remark(
                Severity.WARNING,
                f"{', '.join(aside)} lie{'s' if len(aside) == 1 else ''} far off the other bars and "
                f"{'is' if len(aside) == 1 else 'are'} not counted",
                "measure again, and look whether the film was loose there",
            )
        )
    if len(bars) < 4 or 2 * len(aside) >= len(bars):
        remarks.append(
            Remark(Severity.WARNING, f"creep rests on {fit.bars} of {len(bars)} bars", "measure more of the bars")
        )
    trust = _trusted(fit, strips, lost, kept, remarks)
    if not trust:
        return fit, _kept("creep_mm", base, "the bars contradict each other")
    value = _up(max(fit.creep_mm, 0.0) + fit.margin_mm, 0.01)
    words = (
        f"measured {fit.creep_mm:.3f} ± {fit.margin_mm:.3f} mm a strip on {fit.bars} bars "
        f"(scatter {fit.scatter_mm:.2f} mm); upper end, rounded up to 0.01"
    )
    return fit, ProfileValue("creep_mm", value, True, words)


def _trusted(fit: CreepFit, strips: Floats, lost: Floats, kept: NDArray[np.bool_], remarks: list[Remark]) -> bool:
    trust = True
    if fit.creep_mm < -fit.margin_mm:
        trust = False
        remarks.append(
            Remark(
                Severity.ERROR,
                f"creep comes out negative ({fit.creep_mm:.3f} mm): colour wider than the film that kept it",
                "see whether `measured` holds widths of colour, not of film or of gaps, and whether the cutter is true",
            )
        )
    groups = {n: lost[kept & (strips == n)] for n in sorted(set(strips[kept]))}
    squares = sum(float(((group - group.mean()) ** 2).sum()) for group in groups.values())
    within = max(READING_MM, math.sqrt(squares / max(1, int(kept.sum()) - len(groups))))
    for (n, less), (more, group) in itertools.pairwise(groups.items()):
        first, second = float(less.mean()), float(group.mean())
        if first - second > FALLS * within * math.sqrt(1 / len(less) + 1 / len(group)):
            trust = False
            remarks.append(
                Remark(
                    Severity.ERROR,
                    f"bars of {more:g} strips have lost {second:.2f} mm, those of {n:g} "
                    f"{first:.2f} mm: creep cannot fall",
                    "count the dashes below the bars: rows may be changed over, or a mask went on at another step",
                )
            )
    return trust


def _placement(gaps: Sequence[Reading], base: Resist, remarks: list[Remark]) -> tuple[ProfileValue, ProfileValue]:
    targets: dict[str, dict[str, float]] = defaultdict(dict)
    for reading in gaps:
        targets[reading.feature.family][reading.feature.key.rsplit("-", 1)[1]] = reading.value
    off: list[float] = []
    for family, sides in targets.items():
        if len(sides) < 4:
            remarks.append(
                Remark(Severity.WARNING, f"{family}: {len(sides)} of 4 gaps measured; not counted", "measure all four")
            )
            continue
        across, down = sides["left"] + sides["right"], sides["top"] + sides["bottom"]
        if abs(across - down) > UNLIKE_MM:
            remarks.append(
                Remark(
                    Severity.WARNING,
                    f"{family}: left and right add up to {across:.2f} mm, top and bottom to {down:.2f} mm; not counted",
                    "one of the four is misread: they should add up to the same",
                )
            )
            continue
        off.append(math.hypot(sides["left"] - sides["right"], sides["top"] - sides["bottom"]) / 2)
    if not off:
        why = "no target was measured"
        return _kept("placement_mm", base, why), _kept("lap_mm", base, why)
    placement = max(LEAST_PLACEMENT_MM, _up(max(off), STEP_MM))
    count = f"{len(off)} target" + ("s" if len(off) > 1 else "")
    words = f"measured: squares lie up to {max(off):.2f} mm off on {count}; the largest, rounded up to {STEP_MM}"
    lap = _up(placement + OVER_PLACEMENT_MM, STEP_MM)
    return (
        ProfileValue("placement_mm", placement, True, words),
        ProfileValue(
            "lap_mm", lap, True, f"from the measured placement: {placement:g} and {OVER_PLACEMENT_MM} mm more"
        ),
    )


def _limit(
    key: str, kind: Kind, word: str, readings: Sequence[Reading], base: Resist, remarks: list[Remark]
) -> ProfileValue:
    """Give the smallest size that held while every larger one of its family held too, of the family that is worst."""
    families: dict[str, dict[float, bool]] = defaultdict(dict)
    for reading in readings:
        if reading.feature.kind is kind:
            families[reading.feature.family][reading.feature.nominal] = reading.value > 0
    if not families:
        return _kept(key, base, f"no {word} was judged")
    worst, smallest = 0.0, 0.0
    for family, held in families.items():
        sizes = sorted(held, reverse=True)
        fails = [size for size in sizes if not held[size]]
        if fails and fails[0] == sizes[0]:
            remarks.append(
                Remark(
                    Severity.ERROR,
                    f"{family}: the largest judged, {sizes[0]:g}, failed",
                    "the limit lies above what was judged: mend the cutting or the film and cut the piece again",
                )
            )
            return _kept(key, base, f"the largest {word} failed")
        odd = [size for size in sizes if held[size] and fails and size < fails[0]]
        if odd:
            remarks.append(
                Remark(
                    Severity.WARNING,
                    f"{family}: {', '.join(f'{s:g}' for s in odd)} held although {fails[0]:g} failed; chance is not "
                    "counted on",
                    "look at both again; cut a second piece to be surer",
                )
            )
        least = min(size for size in sizes if not fails or size > fails[0])
        worst, smallest = max(worst, least), max(smallest, sizes[-1])
    if worst == smallest:
        words = f"measured: the smallest {word} judged held; it may be smaller still"
    else:
        words = f"measured: the smallest {word} that held while every larger one held too"
    names = ", ".join(families)
    return ProfileValue(key, worst, True, f"{words} ({names})")


def _kept(key: str, base: Resist, why: str) -> ProfileValue:
    value = getattr(base, key)
    origin = "default" if value == getattr(Resist(), key) else "as in the job"
    return ProfileValue(key, value, False, f"{origin}, not measured: {why}")


def _up(value: float, step: float) -> float:
    return round(math.ceil(value / step - 1e-9) * step, 6)
