"""Runs of a boundary: what is known about one fitted with a line, an arc or a cubic, and averages along runs.

Samples within a step or so of a cut count little, since a pixel grid rounds corners off there: a corner is later
found where its two runs meet, not where the samples are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from maskgen.geometry.cubics import Flags, Floats, Places
from maskgen.geometry.samples import Samples

Indices = NDArray[np.int_]

LINE, ARC, CUBIC = 0, 1, 2
"""Kinds of run."""
ROUNDED_END, ROUNDED_NEXT = 0.3, 0.06
"""How far (steps) a pixel grid may pull the sample at a corner, and the one beside it, off the true outline."""
BINS = 14
"""Samples of a run are averaged into this many bins; a bin's bow is allowed for by its curvature."""


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """What a fit says about its run's end: offset from the sample there, direction, and their information matrix.

    Attributes
    ----------
    offset : (m,)
        Distance of the curve from the sample at the cut, positive on the side +i times the direction.
    angle : (m,)
        Direction of travel, radians.
    bend : (m,)
        Curvature, positive towards +i times the direction.
    info : (m, 3)
        Inverse covariance of (offset, angle): offset-offset, offset-angle, angle-angle.
    """

    offset: Floats
    angle: Floats
    bend: Floats
    info: Floats

    def take(self, chosen: Indices | Flags) -> Ends:
        """Give some of them."""
        return Ends(self.offset[chosen], self.angle[chosen], self.bend[chosen], self.info[chosen])


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Runs from cut to cut with their best line or cubic.

    Attributes
    ----------
    first, last : (m,)
        Sample at start and end; when closed, `last` may exceed the number of samples.
    kind : (m,)
        LINE, ARC or CUBIC.
    misfit : (m,)
        Chi-square beyond what noise explains.
    control : (m, 4)
        Control points; of a line, its ends and thirds; of an arc, the cubic nearest to it.
    start, end : Ends
    """

    first: Indices
    last: Indices
    kind: NDArray[np.int8]
    misfit: Floats
    control: Places
    start: Ends
    end: Ends

    def take(self, chosen: Indices | Flags) -> Candidates:
        """Give some of them."""
        return Candidates(
            self.first[chosen],
            self.last[chosen],
            self.kind[chosen],
            self.misfit[chosen],
            self.control[chosen],
            self.start.take(chosen),
            self.end.take(chosen),
        )


def joined(parts: list[Candidates]) -> Candidates:
    """Put lists of candidates together."""

    def ends(chosen: list[Ends]) -> Ends:
        return Ends(
            *(np.concatenate([getattr(e, name) for e in chosen]) for name in ("offset", "angle", "bend", "info"))
        )

    def column(name: str) -> NDArray[Any]:
        return np.concatenate([getattr(part, name) for part in parts])

    return Candidates(
        column("first"),
        column("last"),
        column("kind"),
        column("misfit"),
        column("control"),
        ends([part.start for part in parts]),
        ends([part.end for part in parts]),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Bins:
    """Averages along runs: (m, k) place, weight, arc position from the start, extent."""

    places: Places
    weights: Floats
    along: Floats
    extent: Floats
    length: Floats

    def take(self, chosen: Flags) -> Bins:
        """Give those of some runs."""
        return Bins(
            self.places[chosen], self.weights[chosen], self.along[chosen], self.extent[chosen], self.length[chosen]
        )


class Sums:
    """Running sums over the samples (two laps when closed) for averages over any stretch."""

    def __init__(self, samples: Samples) -> None:
        laps = 2 if samples.closed else 1
        count = len(samples.places)
        index = np.arange(laps * count)
        self.origin = samples.places.mean()
        self.places = samples.take(index) - self.origin
        self.variance = np.tile(samples.sigma**2, laps)
        self.arc = samples.arc_at(index)
        weights = 1.0 / self.variance
        moments = [weights, weights * self.places.real, weights * self.places.imag, weights * self.arc]
        moments += [
            weights * self.places.real**2,
            weights * self.places.imag**2,
            weights * self.places.real * self.places.imag,
        ]
        self.sums = np.zeros((len(index) + 1, len(moments)))
        np.cumsum(np.stack(moments, axis=1), axis=0, out=self.sums[1:])

    def bins(self, first: Indices, last: Indices) -> Bins:
        """Average each run's samples: first and last two singly, the others in even shares."""
        inner = np.maximum(last - first - 3, 0)
        edges = first[:, None] + 2 + np.rint(np.linspace(0, 1, BINS - 3) * inner[:, None]).astype(int)
        edges = np.minimum(edges, last[:, None])
        sums = np.diff(self.sums[edges], axis=1)
        single = np.stack([first, first + 1, last - 1, last], axis=1)
        weight = 1.0 / (self.variance[single] + np.array([ROUNDED_END, ROUNDED_NEXT, ROUNDED_NEXT, ROUNDED_END]) ** 2)
        short = last - first
        weight[short == 1, 1:3] = 0.0
        weight[short == 2, 2] = 0.0
        weights = np.concatenate([weight[:, :2], sums[..., 0], weight[:, 2:]], axis=1)
        safe = np.maximum(sums[..., 0], 1e-300)
        middle = (sums[..., 1] + 1j * sums[..., 2]) / safe
        ends = self.places[single]
        places = np.concatenate([ends[:, :2], middle, ends[:, 2:]], axis=1)
        arc = np.concatenate([self.arc[single[:, :2]], sums[..., 3] / safe, self.arc[single[:, 2:]]], axis=1)
        begin = self.arc[first][:, None]
        length = self.arc[last] - self.arc[first]
        extent = np.zeros(weights.shape)
        # The spread of m evenly spaced samples is that of a stretch of sqrt(m^2 - 1) spacings.
        within = np.sqrt(np.maximum(np.diff(edges, axis=1) ** 2 - 1, 0))
        extent[:, 2:-2] = within * (length / np.maximum(short, 1))[:, None]
        along = np.where(weights > 0, arc - begin, 0.0)
        return Bins(np.where(weights > 0, places, places[:, :1]), weights, along, extent, length)

    def straightness(self, first: Indices, last: Indices) -> Floats:
        """Chi-square of the best line through the samples strictly inside each run, about."""
        w, x, y, _, xx, yy, xy = (self.sums[last] - self.sums[first + 1]).T
        safe = np.maximum(w, 1e-300)
        a, b, c = xx - x * x / safe, yy - y * y / safe, xy - x * y / safe
        return np.asarray(0.5 * (a + b - np.sqrt((a - b) ** 2 + 4 * c * c)))
