"""How much one dye absorbs after a time in its bath, from the swatches of that dye.

The law is A(t) = A_inf (1 - exp(-t / tau)), an estimate: published uptake data follow no single law. tau is fitted to
all swatches; between them absorbance runs straight over 1 - exp(-t / tau), so that every swatch is met exactly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from maskgen.colour.spaces import Floats

TAU_PER_FULL = 1.0 / 3.0
"""Of a dye with one swatch: 95 % of the depth is there at the full time (assumption, no source)."""
SHORTEST_TAU = 1.0 / 5.0
"""Of the first swatch's minutes: below this it is saturated at the first swatch, and nothing more can be told."""
LONGEST_TAU = 20.0
"""Of the last swatch's minutes: above this uptake is straight in time, and nothing more can be told."""
TAU_STEPS = 2000


@dataclass(frozen=True, slots=True, eq=False)
class Uptake:
    """One dye: time constant, and absorbance (natural, double pass) at bare and at each swatch, by rising minutes."""

    tau_minutes: float
    minutes: Floats
    absorbance: Floats

    def at(self, minutes: ArrayLike) -> Floats:
        """Give the absorbance (..., bands) after these minutes (...), 0 at 0; past the last swatch by the law."""
        times = np.asarray(minutes, dtype=np.float64)
        share = self._share(times)
        knots = self._share(self.minutes)
        low = np.clip(np.searchsorted(knots, share, side="right") - 1, 0, len(knots) - 2)
        weight = (share - knots[low]) / (knots[low + 1] - knots[low])
        weight = np.minimum(weight, 1.0)[..., None]
        inside = self.absorbance[low] * (1.0 - weight) + self.absorbance[low + 1] * weight
        beyond = np.maximum(share / knots[-1], 1.0)[..., None]
        return np.asarray(inside * beyond)

    def _share(self, minutes: Floats) -> Floats:
        return np.asarray(-np.expm1(-minutes / self.tau_minutes))


def fit_uptake(minutes: ArrayLike, absorbance: Floats, *, full_minutes: float) -> Uptake:
    """Fit one dye.

    Parameters
    ----------
    minutes
        (n,) times of the swatches, rising, above 0.
    absorbance
        (n, bands) what they absorb beyond the bare oxide.
    full_minutes
        The dye's full time, for the time constant of a dye with one swatch.
    """
    times = np.asarray(minutes, dtype=np.float64)
    tau = full_minutes * TAU_PER_FULL if len(times) == 1 else _fit_tau(times, absorbance)
    return Uptake(
        tau,
        np.concatenate([[0.0], times]),
        np.concatenate([np.zeros((1, absorbance.shape[1])), absorbance]),
    )


def _fit_tau(times: Floats, absorbance: Floats) -> float:
    """Least squares over tau; for each tau the best A_inf is linear (variable projection)."""
    taus = np.geomspace(SHORTEST_TAU * times[0], LONGEST_TAU * times[-1], TAU_STEPS)
    share = -np.expm1(-times / taus[:, None])
    explained = ((share @ absorbance) ** 2).sum(axis=1) / (share**2).sum(axis=1)
    return float(taus[int(explained.argmax())])
