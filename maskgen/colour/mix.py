"""Recipes to colours: dyes in clear oxide over metal, light passing twice, so absorbances add over the bare oxide.

A_d(t) = -ln(R_swatch / R_bare), R = R_bare exp(-sum A_d(t_d)). Where a swatch is brighter than the bare oxide its
absorbance is negative; dye cannot add light twice, so of these only the largest gain counts, not their sum.

A measured colour (a swatch at its time, a coupon of a mixture at its times, the bare oxide) is taken as it is. Near a
coupon of the same dyes the prediction is drawn towards it: the coupon's own residual counts in full at its times and
fades to nothing where any time is half or double. Colours are those of 8 bit sRGB throughout, so that a difference
stated is the difference of the two colours stated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from maskgen.colour.observer import SPECTRUM_TO_LINEAR
from maskgen.colour.spaces import (
    Floats,
    hexes_to_srgb,
    linear_to_srgb,
    linear_to_xyz,
    srgb_to_lab,
    srgb_to_linear,
    xyz_to_lab,
)
from maskgen.colour.spectra import recover_spectra
from maskgen.colour.uptake import Uptake, fit_uptake
from maskgen.model.dyeing import MINUTES_TOLERANCE, Recipe, Shelf

COUPON_REACH = np.log(2.0)
"""How far a coupon's residual reaches, as the logarithm of the ratio of times: to half and to double (assumption)."""
ROUGH_DELTA_E = 1.0
"""What rounding to 8 bit can move a colour by, with room to spare; most in deep shades."""


@dataclass(frozen=True, slots=True)
class Prediction:
    """The colour of a recipe, `#rrggbb`; whether a swatch or coupon of just this recipe was measured; CIELAB D65."""

    colour: str
    measured: bool
    lab: tuple[float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Predictions:
    """Many at once: `srgb` (n, 3) rounded to 8 bit, `lab` (n, 3), `measured` (n,)."""

    srgb: Floats
    lab: Floats
    measured: NDArray[np.bool_]

    @property
    def colours(self) -> list[str]:
        """All of them as `#rrggbb`."""
        levels = np.rint(self.srgb * 255.0).astype(np.int64) @ np.array([1 << 16, 1 << 8, 1])
        return [f"#{level:06x}" for level in levels.tolist()]


@dataclass(frozen=True, slots=True, eq=False)
class _Coupon:
    """A measured mixture: log minutes in the order of its dyes, and what the sum of its dyes misses."""

    log_minutes: Floats
    residual: Floats


class ColourModel:
    """Predicts colours over one shelf; made once, asked often."""

    def __init__(self, shelf: Shelf) -> None:
        self.shelf = shelf
        swatches = [(d, s) for d in shelf.dyes for s in sorted(d.swatch, key=lambda s: s.minutes)]
        srgb = hexes_to_srgb([shelf.bare, *(s.colour for _, s in swatches), *(m.colour for m in shelf.mixes)])
        spectra = recover_spectra(srgb_to_linear(srgb))
        self._bare = spectra[0]
        absorbance = -np.log(spectra / self._bare)
        self._measured: dict[Recipe, Floats] = {Recipe(): srgb[0]}
        self._uptake: dict[str, Uptake] = {}
        self._coupons: dict[tuple[str, ...], list[_Coupon]] = {}
        for dye in shelf.dyes:
            rows = [row for row, (owner, _) in enumerate(swatches, start=1) if owner is dye]
            times = [swatches[row - 1][1].minutes for row in rows]
            self._uptake[dye.name] = fit_uptake(times, absorbance[rows], full_minutes=dye.full_minutes)
            self._measured |= {Recipe.of({dye.name: t}): srgb[row] for t, row in zip(times, rows, strict=True)}
        for row, mix in enumerate(shelf.mixes, start=1 + len(swatches)):
            self._measured[mix.recipe] = srgb[row]
            self._add_coupon(mix.recipe, absorbance[row])

    def _add_coupon(self, recipe: Recipe, absorbance: Floats) -> None:
        dyes = tuple(dye for dye, _ in recipe.doses)
        minutes = np.array([[m for _, m in recipe.doses]])
        residual = absorbance - self._sum_absorbance(dyes, minutes)[0]
        self._coupons.setdefault(dyes, []).append(_Coupon(np.log(minutes[0]), residual))

    def tau_minutes(self, dye: str) -> float:
        """Give the fitted time constant of a dye."""
        return self._uptake[dye].tau_minutes

    def measured_recipes(self) -> tuple[Recipe, ...]:
        """List every recipe whose colour was measured: bare, swatches, coupons."""
        return tuple(self._measured)

    def predict(self, recipe: Recipe) -> Prediction:
        """Predict the colour of one recipe.

        Raises
        ------
        KeyError
            For a dye that is not on the shelf.
        """
        many = self.predict_many([recipe])
        l, a, b = (float(v) for v in many.lab[0])  # noqa: E741 - the channel's name
        return Prediction(many.colours[0], bool(many.measured[0]), (l, a, b))

    def predict_many(self, recipes: Sequence[Recipe]) -> Predictions:
        """Predict many recipes of any dyes."""
        srgb = np.zeros((len(recipes), 3))
        measured = np.zeros(len(recipes), dtype=bool)
        by_dyes: dict[tuple[str, ...], list[int]] = {}
        for index, recipe in enumerate(recipes):
            by_dyes.setdefault(tuple(dye for dye, _ in recipe.doses), []).append(index)
        for dyes, rows in by_dyes.items():
            minutes = np.array([[m for _, m in recipes[r].doses] for r in rows]).reshape(len(rows), len(dyes))
            some = self.predict_doses(dyes, minutes)
            srgb[rows], measured[rows] = some.srgb, some.measured
        return Predictions(srgb, srgb_to_lab(srgb), measured)

    def predict_doses(self, dyes: tuple[str, ...], minutes: Floats) -> Predictions:
        """Predict recipes of the same dyes (sorted by name): `minutes` is (n, number of dyes), all above 0."""
        absorbance = self._sum_absorbance(dyes, minutes)
        if dyes in self._coupons:
            absorbance = absorbance + _drawn_to(self._coupons[dyes], np.log(minutes))
        linear = (self._bare * np.exp(-absorbance)) @ SPECTRUM_TO_LINEAR.T
        srgb = np.rint(np.clip(linear_to_srgb(linear), 0.0, 1.0) * 255.0) / 255.0
        measured = np.zeros(len(srgb), dtype=bool)
        for recipe, known in self._measured.items():
            if tuple(dye for dye, _ in recipe.doses) == dyes:
                same = (np.abs(minutes - [m for _, m in recipe.doses]) <= MINUTES_TOLERANCE).all(axis=1)
                srgb[same], measured[same] = known, True
        return Predictions(srgb, srgb_to_lab(srgb), measured)

    def rough_labs(self, dyes: tuple[str, ...], levels: Sequence[Sequence[float]]) -> NDArray[np.float32]:
        """Predict every combination of times (in C order), before rounding to 8 bit and without single measurements.

        For looking through very many recipes: within `ROUGH_DELTA_E` of what `predict_doses` says, except where a
        coupon or swatch says otherwise.
        """
        if dyes in self._coupons or not dyes:
            axes = np.meshgrid(*(np.asarray(steps) for steps in levels), indexing="ij")
            minutes = np.stack([a.ravel() for a in axes], axis=1) if dyes else np.zeros((1, 0))
            return self.predict_doses(dyes, minutes).lab.astype(np.float32)
        absorbance = [
            self._uptake[d].at(np.asarray(steps)).astype(np.float32) for d, steps in zip(dyes, levels, strict=True)
        ]
        passed = _products([np.exp(-np.maximum(a, 0.0)) for a in absorbance], np.multiply)
        if any(a.min() < 0.0 for a in absorbance):
            passed *= _products([np.exp(-np.minimum(a, 0.0)) for a in absorbance], np.maximum)
        linear = passed @ (self._bare[:, None] * SPECTRUM_TO_LINEAR.T).astype(np.float32)
        return xyz_to_lab(linear_to_xyz(np.clip(linear, 0.0, 1.0))).astype(np.float32)

    def _sum_absorbance(self, dyes: tuple[str, ...], minutes: Floats) -> Floats:
        total = np.zeros((len(minutes), len(self._bare)))
        gain = np.zeros_like(total)
        for column, dye in enumerate(dyes):
            times, place = np.unique(minutes[:, column], return_inverse=True)
            absorbance = self._uptake[dye].at(times)
            total += np.maximum(absorbance, 0.0)[place]
            gain = np.minimum(gain, np.minimum(absorbance, 0.0)[place])
        return np.asarray(total + gain)


def _products(factors: Sequence[NDArray[np.float32]], combine: np.ufunc) -> NDArray[np.float32]:
    """Combine every row of each factor with every row of the others, in C order."""
    combined = factors[0]
    for factor in factors[1:]:
        combined = np.asarray(combine(combined[:, None], factor[None])).reshape(-1, factor.shape[1])
    return combined


def _drawn_to(coupons: Sequence[_Coupon], log_minutes: Floats) -> Floats:
    """Blend the residuals of coupons by nearness (Shepard, with the reach of Franke and Little)."""
    far = np.stack([np.abs(log_minutes - c.log_minutes).max(axis=1) for c in coupons], axis=1) / COUPON_REACH
    near = np.maximum(1.0 - far, 0.0)
    weight = (near / np.maximum(far, 1e-9)) ** 2
    total = weight.sum(axis=1, keepdims=True)
    share = np.divide(weight, total, out=np.zeros_like(weight), where=total > 0.0)
    residual = np.stack([c.residual for c in coupons])
    return np.asarray((share @ residual) * near.max(axis=1, keepdims=True))
