"""Edge pixels as mixtures: which two (or three) of the colours nearby a pixel is a blend of, and in what shares.

Renderers blend in encoded sRGB with premultiplied alpha, so a blend lies on the straight line between its colours
there. JPEG keeps colour at half the resolution of lightness (ITU-T T.81, T.871), so there the two may have different
shares: a blend lies anywhere between its colours in lightness, and anywhere between them in hue.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_MOST_IN_TRIPLES = 6
"""Triples are tried among so many colours nearby; more never meet in one pixel."""

_LIGHTNESS = np.array([[0.299, 0.587, 0.114]]) * 3**0.5
_HUE = np.array([[-0.168736, -0.331264, 0.5], [0.5, -0.418688, -0.081312]]) * 3**0.5
"""Rec. 601 as in T.871, scaled so that a misfit stays comparable to a distance in levels."""

_HUE_WEIGHT = 0.6
"""JPEG spoils hue far more than lightness; between colours that are both nearby that is all it can be."""

_LEAST_HUE = 0.45
"""A line keeps this part of its hue at half the resolution."""

_OVERSHOOT = 10.0
"""Levels by which ringing may leave the range between two colours."""


@dataclass(frozen=True, slots=True, eq=False)
class Mixture:
    """Per pixel: the colour with the largest share, the runner-up, that share, the misfit of the mixture (levels)."""

    label: NDArray[np.int64]
    second: NDArray[np.int64]
    share: Floats
    misfit: Floats

    @classmethod
    def none(cls, count: int) -> Mixture:
        """Nothing explained yet."""
        return cls(np.zeros(count, np.int64), np.zeros(count, np.int64), np.ones(count), np.full(count, np.inf))

    def rows(self, rows: NDArray[np.intp]) -> Mixture:
        """Give a copy of some pixels."""
        return Mixture(self.label[rows], self.second[rows], self.share[rows], self.misfit[rows])

    def put(self, rows: NDArray[np.intp], part: Mixture) -> None:
        """Overwrite some pixels."""
        self.label[rows], self.second[rows] = part.label, part.second
        self.share[rows], self.misfit[rows] = part.share, part.misfit

    def better(self, other: Mixture, margin: float = 0.0) -> Mixture:
        """Take the other where it fits closer by more than `margin` levels."""
        take = other.misfit < self.misfit - margin
        return Mixture(
            np.where(take, other.label, self.label),
            np.where(take, other.second, self.second),
            np.where(take, other.share, self.share),
            np.where(take, other.misfit, self.misfit),
        )


@dataclass(frozen=True, slots=True, eq=False)
class Mixer:
    """Colours (k, channels) to mix, and how.

    `tolerance` is the misfit in levels up to which a mixture explains. `overshoot` is the part of a step by which
    sharpening or ringing may go beyond either colour. `bleeding`: hue may have another share than lightness.
    """

    palette: Floats
    tolerance: float
    bleeding: bool = False
    overshoot: float = 0.0

    def with_colour(self, colour: Floats) -> Mixer:
        """Give a mixer that knows one colour more, at the end."""
        return Mixer(np.vstack([self.palette, colour]), self.tolerance, self.bleeding, self.overshoot)

    def one(self, pixels: Floats, label: int) -> Mixture:
        """Explain pixels as one colour."""
        misfit = np.sqrt(np.sum((pixels - self.palette[label]) ** 2, axis=1))
        same = np.full(len(pixels), label, np.int64)
        return Mixture(same, same, np.ones(len(pixels)), misfit)

    def two(self, pixels: Floats, first: int, second: int, least_hue: float = 0.0) -> Mixture:
        """Explain pixels as blends of two colours; what lies beyond either end counts as misfit.

        With bleeding, the share of the first in hue may fall to `least_hue` of its share in lightness.
        """
        way = self.palette[second] - self.palette[first]
        off = pixels - self.palette[first]
        free = off @ way / max(float(way @ way), 1e-9)
        share = np.clip(free, 0.0, 1.0)
        if self.bleeding:
            light = _beyond(off[:, :3] @ _LIGHTNESS.T, way[:3] @ _LIGHTNESS.T, 1.0)
            hue = _beyond(off[:, :3] @ _HUE.T, way[:3] @ _HUE.T, 1.0 - least_hue * (1.0 - share))
            misfit = np.hypot(np.maximum(light - _OVERSHOOT, 0.0), hue if least_hue else _HUE_WEIGHT * hue)
        else:
            reached = np.clip(free, -self.overshoot, 1.0 + self.overshoot)
            misfit = np.sqrt(np.sum((off - reached[:, None] * way) ** 2, axis=1))
        larger = share > 0.5
        return Mixture(
            np.where(larger, second, first), np.where(larger, first, second), np.maximum(share, 1.0 - share), misfit
        )

    def rings(self, colour: Floats, first: int, second: int, most: float) -> bool:
        """Whether a colour is what ringing makes beside an edge: beyond either side by up to `most` of the step."""
        way = self.palette[second] - self.palette[first]
        off = colour - self.palette[first]
        step = (way[:3] @ _LIGHTNESS.T)[0]
        along = float((off[:3] @ _LIGHTNESS.T)[0] / step) if abs(step) > self.tolerance else 0.5
        if not -most <= along <= 1.0 + most or 0.0 <= along <= 1.0:
            return False
        hue = _beyond((off[:3] @ _HUE.T)[None], way[:3] @ _HUE.T, 1.0)[0]
        return bool(_HUE_WEIGHT * hue <= self.tolerance)

    def tints(self, colour: int, own: int, other: int, most: float) -> bool:
        """Whether a colour is another as light, with up to `most` of the step in hue to a third or away from it."""
        apart, way = self.palette[colour] - self.palette[own], self.palette[other] - self.palette[own]
        light = abs(float((apart[:3] @ _LIGHTNESS.T)[0]))
        hue, step = np.linalg.norm(apart[:3] @ _HUE.T), np.linalg.norm(way[:3] @ _HUE.T)
        return light <= self.tolerance / 2 and bool(hue <= most * step)

    def three(self, pixels: Floats, members: tuple[int, int, int]) -> Mixture:
        """Explain pixels as blends of three colours; outside their triangle nothing is explained."""
        names = np.array(members, dtype=np.int64)
        off, ways = pixels - self.palette[names[0]], self.palette[names[1:]] - self.palette[names[0]]
        shares, misfit = _triangle(off, ways)
        order = np.argsort(-shares, axis=0, kind="stable")
        inside = np.all(shares > -0.02, axis=0)
        if self.bleeding:
            hue_shares, misfit = _triangle(off[:, :3] @ _HUE.T, ways[:, :3] @ _HUE.T)
            light = (off[:, :3] @ _LIGHTNESS.T)[:, 0]
            ends = np.append((ways[:, :3] @ _LIGHTNESS.T)[:, 0], 0.0)
            inside = np.all(hue_shares > -0.1, axis=0)
            inside &= (light > ends.min() - _OVERSHOOT) & (light < ends.max() + _OVERSHOOT)
        return Mixture(names[order[0]], names[order[1]], shares.max(axis=0), np.where(inside, misfit, np.inf))

    def explain(self, pixels: Floats, near: NDArray[np.uint64]) -> Mixture:
        """Explain each pixel by the colours near it (bit k: colour k): one, else two, else three of them."""
        result = Mixture.none(len(pixels))
        for members, rows in groups(near):
            part = Mixture.none(len(rows))
            for k in members:
                part = part.better(self.one(pixels[rows], k))
            for first, second in combinations(members, 2):
                part = part.better(self.two(pixels[rows], first, second), self.tolerance / 4)
            triples = list(combinations(members[:_MOST_IN_TRIPLES], 3))
            result.put(rows, self._with_triples(pixels[rows], triples, part))
        return result

    def explain_with(self, pixels: Floats, near: NDArray[np.uint64], extra: int) -> Mixture:
        """Explain each pixel by one further colour and, mixed into it, one or two of the colours near it."""
        result = Mixture.none(len(pixels))
        for members, rows in groups(near):
            others = [k for k in members if k != extra]
            part = self.one(pixels[rows], extra)
            for k in others:
                part = part.better(self.two(pixels[rows], extra, k, _LEAST_HUE))
            triples = [(extra, a, b) for a, b in combinations(others[:_MOST_IN_TRIPLES], 2)]
            result.put(rows, self._with_triples(pixels[rows], triples, part))
        return result

    def _with_triples(self, pixels: Floats, triples: Sequence[tuple[int, int, int]], best: Mixture) -> Mixture:
        """Try triples on the pixels that nothing simpler explains."""
        rest = np.flatnonzero(best.misfit > self.tolerance)
        if not rest.size or not triples:
            return best
        part = best.rows(rest)
        for triple in triples:
            part = part.better(self.three(pixels[rest], triple), self.tolerance / 4)
        best.put(rest, part)
        return best


def groups(near: NDArray[np.uint64]) -> Iterator[tuple[list[int], NDArray[np.intp]]]:
    """Pixels with the same colours nearby: the colours, and which pixels."""
    if not near.size:
        return
    order = np.argsort(near, kind="stable")
    sets, starts = np.unique(near[order], return_index=True)
    for bits, rows in zip(sets, np.split(order, starts[1:]), strict=True):
        yield [k for k in range(64) if int(bits) >> k & 1], rows


def _beyond(off: Floats, way: Floats, most: Floats | float) -> Floats:
    """Distance of points from the stretch between 0 and `most` of `way`."""
    share = np.clip(off @ way / max(float(way @ way), 1e-9), 0.0, most)
    return np.asarray(np.sqrt(np.sum((off - share[:, None] * way) ** 2, axis=1)))


def _triangle(off: Floats, ways: Floats) -> tuple[Floats, Floats]:
    """Shares (3, n) of the corner at 0 and the corners `ways` (2, channels), and the distance from their plane."""
    shares = np.linalg.pinv(ways.T) @ off.T
    misfit = np.sqrt(np.sum((off - shares.T @ ways) ** 2, axis=1))
    return np.vstack([1.0 - shares.sum(axis=0), shares]), misfit
