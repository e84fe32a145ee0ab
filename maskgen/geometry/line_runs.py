"""The best straight line through each of many runs."""

from __future__ import annotations

import numpy as np

from maskgen.geometry.cubics import Floats, Places, cross, dot, unit
from maskgen.geometry.runs import LINE, Candidates, Ends, Indices, Sums


def fit_lines(sums: Sums, first: Indices, last: Indices) -> Candidates:
    """Total least squares: distances square to the line."""
    bins = sums.bins(first, last)
    weight = bins.weights
    total = weight.sum(axis=1)
    centre = (weight * bins.places).sum(axis=1) / total
    offset = bins.places - centre[:, None]
    # The doubled angle of the main axis, turned to run along.
    axis = np.sqrt((weight * offset**2).sum(axis=1))
    chord = sums.places[last] - sums.places[first]
    axis = unit(np.where(np.abs(axis) > 1e-12, axis, chord))
    axis = np.where(dot(axis, chord) < 0, -axis, axis)
    square = cross(axis[:, None], offset)
    chi = (weight * square**2).sum(axis=1)
    along = dot(axis[:, None], offset)
    spread = np.maximum((weight * along**2).sum(axis=1), 1e-12)
    begin = dot(axis, sums.places[first] - centre)
    finish = dot(axis, sums.places[last] - centre)
    p0, p3 = centre + begin * axis, centre + finish * axis
    control = np.stack([p0, p0 + (p3 - p0) / 3, p3 - (p3 - p0) / 3, p3], axis=1)
    used = (weight > 0).sum(axis=1)

    def ends(at: Floats, place: Places, sample: Places) -> Ends:
        # Covariance of (centre offset, angle) is diagonal: 1/total, 1/spread; moved along by `at`.
        info = np.stack([total, -at * total, spread + at * at * total], axis=1)
        return Ends(dot(place - sample, 1j * axis), np.angle(axis), np.zeros(len(at)), info)

    return Candidates(
        first,
        last,
        np.full(len(first), LINE, dtype=np.int8),
        np.maximum(chi - np.maximum(used - 4, 0), 0.0),
        control,
        ends(begin, p0, sums.places[first]),
        ends(finish, p3, sums.places[last]),
    )
