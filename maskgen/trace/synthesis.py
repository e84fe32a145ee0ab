"""The picture that given boundaries would make: exact area coverage, pixel by pixel.

Green's theorem turns the area of a region within a pixel into a sum over the boundary inside that pixel; summed along
the row it gives the colour of every pixel to the right. Curves are cut into chords, chords at pixel edges; everything
is arrays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def bernstein(t: Floats) -> Floats:
    """Weights of a cubic's four control points at parameters t, (n, 4)."""
    s = 1.0 - t
    return np.stack([s**3, 3 * s * s * t, 3 * s * t * t, t**3], axis=1)


def chords(control: Floats, tolerance: float, longest: float, breaks: Floats) -> tuple[Ints, Floats, Floats]:
    """Cut cubics into chords within `tolerance` and no longer than `longest` px.

    Parameters
    ----------
    control
        (m, 4, 2) control points.
    breaks
        Further places to cut, as segment number + parameter.

    Returns
    -------
    segment, start, end
        For every chord its segment and the two parameters, in order.
    """
    second = control[:, :-2] - 2 * control[:, 1:-1] + control[:, 2:]
    bend = np.sqrt((second**2).sum(axis=2)).max(axis=1)
    length = np.sqrt((np.diff(control, axis=1) ** 2).sum(axis=2)).sum(axis=1)
    count = np.maximum(np.sqrt(0.75 * bend / tolerance), length / longest)
    count = np.ceil(count).clip(1, 4096).astype(np.int64)
    segment = np.repeat(np.arange(len(control)), count)
    step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    places = np.unique(np.concatenate([segment + step / count[segment], breaks, [float(len(control))]]))
    start, end = places[:-1], places[1:]
    segment = np.minimum(np.floor(start + 1e-12).astype(np.int64), len(control) - 1)
    return segment, start - segment, end - segment


def paint(tail: Floats, head: Floats, jump: Floats, *, width: int, height: int) -> Floats:
    """Paint what lies between directed chords.

    Parameters
    ----------
    tail, head
        (n, 2) ends of every chord; together they close every region, the canvas edge included.
    jump
        (n, c) colour on the left of a chord, as seen when walking it (y down), less that on its right.

    Returns
    -------
    numpy.ndarray
        (height, width, c): the mean colour of each pixel.
    """
    size = np.array([width, height], dtype=np.float64)
    tail, head = tail.clip(0.0, size), head.clip(0.0, size)
    upright = tail[:, 1] != head[:, 1]
    tail, head, jump = tail[upright], head[upright], jump[upright]
    chord, t = _grid_cuts(tail, head)
    last = np.append(chord[1:] != chord[:-1], True) if len(chord) else np.zeros(0, dtype=bool)
    following = np.where(last, 1.0, np.append(t[1:], 1.0))
    course = head - tail
    middle = tail[chord] + (0.5 * (t + following))[:, None] * course[chord]
    drop = (following - t) * course[chord, 1]
    column = np.floor(middle[:, 0]).astype(np.int64).clip(0, width)
    row = np.floor(middle[:, 1]).astype(np.int64).clip(0, height - 1)
    beside = middle[:, 0] - column
    cell = row * (width + 2) + column
    layers = []
    for channel in range(jump.shape[1]):
        value = drop * jump[chord, channel]
        total = np.bincount(cell, weights=value * (1.0 - beside), minlength=height * (width + 2))
        total += np.bincount(cell + 1, weights=value * beside, minlength=height * (width + 2))
        layers.append(np.cumsum(total.reshape(height, width + 2), axis=1)[:, :width])
    return np.stack(layers, axis=2)


def _grid_cuts(tail: Floats, head: Floats) -> tuple[Ints, Floats]:
    """Chord number and parameter of the start of every part of a chord within one pixel, in order."""
    numbers, places = [np.arange(len(tail))], [np.zeros(len(tail))]
    for axis in (0, 1):
        a, b = tail[:, axis], head[:, axis]
        low = np.floor(np.minimum(a, b)).astype(np.int64)
        count = (np.ceil(np.maximum(a, b)).astype(np.int64) - low - 1).clip(min=0)
        chord = np.repeat(np.arange(len(tail)), count)
        step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        line = low[chord] + 1 + step
        numbers.append(chord)
        places.append((line - a[chord]) / (b - a)[chord])
    number, place = np.concatenate(numbers), np.concatenate(places)
    order = np.argsort(number + place.clip(0.0, 1.0 - 1e-9), kind="stable")
    return number[order], place[order]
