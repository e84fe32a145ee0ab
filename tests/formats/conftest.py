"""Drawings every writer is tried on."""

import math

import numpy as np
import pytest

from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Area, Cubic, Line, Piece, Ring, polygon_ring, rectangle

QUARTER = 4 / 3 * math.tan(math.pi / 8)
"""Arm of the cubic nearest to a quarter circle."""


def circle(x, y, radius):
    """A circle of four cubics, within 0.03 % of its radius."""
    at = [(math.cos(a), math.sin(a)) for a in np.arange(4) * math.pi / 2]
    runs = []
    for (c, s), (c2, s2) in zip(at, at[1:] + at[:1], strict=True):
        points = [(c, s), (c - QUARTER * s, s + QUARTER * c), (c2 + QUARTER * s2, s2 - QUARTER * c2), (c2, s2)]
        runs.append(Cubic(*[(x + radius * px, y + radius * py) for px, py in points]))
    runs[-1] = Cubic(runs[-1].start, runs[-1].control1, runs[-1].control2, runs[0].start)
    return Ring(tuple(runs))


def blob(seed, x, y, radius):
    """A smooth wavy outline through random points."""
    random = np.random.default_rng(seed)
    count = 9
    angle = np.arange(count) * 2 * np.pi / count
    reach = radius * random.uniform(0.6, 1.0, count)
    corner = np.column_stack([x + reach * np.cos(angle), y + reach * np.sin(angle)])
    slope = (np.roll(corner, -1, axis=0) - np.roll(corner, 1, axis=0)) / 6
    runs = [
        Cubic(
            tuple(map(float, corner[k])),
            tuple(map(float, corner[k] + slope[k])),
            tuple(map(float, corner[(k + 1) % count] - slope[(k + 1) % count])),
            tuple(map(float, corner[(k + 1) % count])),
        )
        for k in range(count)
    ]
    return Ring(tuple(runs))


def bow(x, y):
    """Straight and curved runs in one ring, with sharp corners."""
    return Ring(
        (
            Line((x, y), (x + 12, y)),
            Cubic((x + 12, y), (x + 9, y + 3), (x + 9, y + 5), (x + 12, y + 8)),
            Line((x + 12, y + 8), (x + 1 / 3, y + 8)),
            Cubic((x + 1 / 3, y + 8), (x + 3, y + 5), (x + 3, y + 3), (x, y)),
        )
    )


DRAWINGS = {
    "square": CutDrawing(0.0, 0.0, 100.0, 100.0, (rectangle(0.0, 0.0, 100.0, 100.0),)),
    "past the edge": CutDrawing(-1.0, -1.5, 32.0, 23.0, (rectangle(-1.0, -1.5, 31.0, 21.5),)),
    "ring": CutDrawing(0.0, 0.0, 60.0, 40.0, (Piece(circle(30, 20, 15), (circle(30, 20, 9).reversed(),)),)),
    "ring in ring": CutDrawing(
        0.0,
        0.0,
        60.0,
        60.0,
        (
            Piece(circle(30, 30, 25), (circle(30, 30, 20).reversed(),)),
            Piece(circle(30, 30, 15), (circle(26, 30, 4).reversed(), circle(36.5, 30, 3).reversed())),
        ),
    ),
    "touching corners": CutDrawing(0.0, 0.0, 20.0, 20.0, (rectangle(0, 0, 10, 10), rectangle(10, 10, 20, 20))),
    "blobs": CutDrawing(
        -2.0,
        -3.0,
        90.0,
        50.0,
        tuple(Piece(blob(k, 10 + 20 * k, 20, 9), (circle(10 + 20 * k, 20, 2.5).reversed(),)) for k in range(4)),
    ),
    "bow": CutDrawing(0.0, 0.0, 30.0, 20.0, (Piece(bow(4.0, 5.0)),)),
    "thousand corners": CutDrawing(
        0.0,
        0.0,
        50.0,
        50.0,
        (
            Piece(
                polygon_ring(
                    np.array([(25 + 20 * math.cos(a), 25 + 20 * math.sin(a)) for a in np.arange(1000) * math.pi / 500])
                )
            ),
        ),
    ),
}


@pytest.fixture(params=DRAWINGS)
def drawing(request):
    return DRAWINGS[request.param]


def shape_of(drawing):
    """The drawing's area as its own pieces, for the model's exact measures."""
    return Area(drawing.pieces)
