"""Reflectance spectra of sRGB colours.

Infinitely many spectra give one colour; taken is the smoothest that stays between 0 and 1. Method: least hyperbolic
tangent slope squared, after Burns, "Numerical methods for smoothest reflectance reconstruction", Color Research and
Application 45 (2020) 8-21: with R = (tanh z + 1) / 2, the squared differences of neighbouring z are least under the
condition that R has the colour asked for. Newton's method on the Lagrangian, all colours at once.
"""

from __future__ import annotations

import numpy as np

from maskgen.colour.observer import BANDS, SPECTRUM_TO_LINEAR
from maskgen.colour.spaces import Floats
from maskgen.errors import MaskgenError

DARKEST = 1e-4
"""Darker channels are taken as this: no smooth spectrum is exactly black (off by at most 0.3 in CIEDE2000)."""
LIGHTEST = 1.0 - 2e-3
"""The same for white (0.05 in CIEDE2000)."""
MAX_STEPS = 100
CONVERGED = 1e-10
MAX_STRIDE = 2.0
"""The largest change of z in one step: holds Newton's method together for saturated colours."""


def _slope_matrix() -> Floats:
    slope = 4.0 * np.eye(BANDS) - 2.0 * (np.eye(BANDS, k=1) + np.eye(BANDS, k=-1))
    slope[0, 0] = slope[-1, -1] = 2.0
    return np.asarray(slope, dtype=np.float64)


_SLOPE = _slope_matrix()


def recover_spectra(linear: Floats) -> Floats:
    """Give the smoothest reflectances with these colours.

    Parameters
    ----------
    linear
        (n, 3) linear sRGB, 0 to 1; held between `DARKEST` and `LIGHTEST`.

    Returns
    -------
    (n, bands), strictly between 0 and 1.
    """
    wanted = np.clip(linear, DARKEST, LIGHTEST)
    z = np.repeat(np.arctanh(2.0 * wanted.mean(axis=1, keepdims=True) - 1.0), BANDS, axis=1)
    multiplier = np.zeros_like(wanted)
    system = np.zeros((len(wanted), BANDS + 3, BANDS + 3))
    bands = np.arange(BANDS)
    for _ in range(MAX_STEPS):
        tangent = np.tanh(z)
        half_slope = (1.0 - tangent**2) / 2.0
        pull = multiplier @ SPECTRUM_TO_LINEAR
        stationary = z @ _SLOPE + half_slope * pull
        missed = ((tangent + 1.0) / 2.0) @ SPECTRUM_TO_LINEAR.T - wanted
        residual = np.concatenate([stationary, missed], axis=1)
        if np.abs(residual).max(initial=0.0) < CONVERGED:
            return np.asarray((tangent + 1.0) / 2.0)
        coupling = half_slope[:, :, None] * SPECTRUM_TO_LINEAR.T
        system[:, :BANDS, :BANDS] = _SLOPE
        system[:, bands, bands] -= 2.0 * half_slope * tangent * pull
        system[:, :BANDS, BANDS:] = coupling
        system[:, BANDS:, :BANDS] = coupling.transpose(0, 2, 1)
        step = np.linalg.solve(system, -residual[:, :, None])[:, :, 0]
        step *= np.minimum(1.0, MAX_STRIDE / np.abs(step[:, :BANDS]).max(axis=1, keepdims=True))
        z = z + step[:, :BANDS]
        multiplier = multiplier + step[:, BANDS:]
    raise MaskgenError("the spectrum of a colour was not found")
