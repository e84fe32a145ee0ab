"""What a sheet may hold beside masks: register crosses, a check bar, a weeding frame, relief lines.

A cut file holds closed lines only, and no line twice. So a frame is a narrow band of film, cut along both its edges,
and a relief line a narrow strip: the waste between comes away in the portions they leave. Where both are asked for they
are one piece with windows.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from maskgen.model.paths import Piece, Point, polygon_ring, rectangle

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""

CROSS_MM = 6.0
CROSS_ARM_MM = 1.0
CROSS_AWAY_MM = 3.0
"""Size and arm width of a register cross, and how far it stays from the masks (common practice, no source)."""

BAR_MM = (50.0, 5.0)
"""The check bar: 50 mm is read off any rule to a fifth of a percent or better."""

FRAME_MM = 2.0
RELIEF_MM = 1.0
RELIEF_CLEAR_MM = 0.75
"""Width of the frame's band and of a relief strip, and what a relief strip keeps clear of masks on both sides."""

RELIEF_EVERY_MM = 50.0
"""A portion of waste is at least this high: it tears when it is small, and takes pieces with it when it is large."""


def register_crosses(face: Box, masks: Box) -> tuple[Piece, ...]:
    """Give four crosses: above and below all masks, at a quarter and three quarters of the face's width.

    In the frame of the face; off the part, at the same places for every mask of the job, never over a tube's seam.
    """
    left, _, right, _ = face
    off = CROSS_AWAY_MM + CROSS_MM / 2
    top, bottom = min(face[1], masks[1]) - off, max(face[3], masks[3]) + off
    across = (left + (right - left) * 0.25, left + (right - left) * 0.75)
    return tuple(_cross((x, y)) for y in (top, bottom) for x in across)


def _cross(centre: Point) -> Piece:
    arm, half = CROSS_MM / 2, CROSS_ARM_MM / 2
    corners = [(half, -arm), (half, -half), (arm, -half), (arm, half), (half, half), (half, arm)]
    turned = [(-x, -y) for x, y in corners]
    return Piece(polygon_ring(np.array(corners + turned) + np.array(centre)))


def check_bar(left: float, top: float) -> Piece:
    """Give the check bar with its corner at a place."""
    return rectangle(left, top, left + BAR_MM[0], top + BAR_MM[1])


def waste_lines(
    outside: Box, occupied: Sequence[tuple[float, float]], *, frame: bool, relief: bool
) -> tuple[Piece, ...]:
    """Give the frame within `outside`, and relief strips between the heights (top, bottom) that are `occupied`."""
    left, top, right, bottom = outside
    strips = _strips(occupied) if relief else []
    if not frame:
        return tuple(rectangle(left, y, right, y + RELIEF_MM) for y in strips)
    edges = [top + FRAME_MM, *(e for y in strips for e in (y, y + RELIEF_MM)), bottom - FRAME_MM]
    windows = [
        rectangle(left + FRAME_MM, high, right - FRAME_MM, low).outer.reversed()
        for high, low in zip(edges[::2], edges[1::2], strict=True)
    ]
    return (Piece(rectangle(left, top, right, bottom).outer, tuple(windows)),)


def _strips(occupied: Sequence[tuple[float, float]]) -> list[float]:
    """Give the tops of strips that fit between what is occupied, no closer than a portion of waste shall be."""
    strips: list[float] = []
    begun = reached = None
    for top, bottom in sorted(occupied):
        if reached is None or begun is None:
            begun, reached = top, bottom
            continue
        if top - reached >= RELIEF_MM + 2 * RELIEF_CLEAR_MM and reached - begun >= RELIEF_EVERY_MM:
            strips.append((reached + top - RELIEF_MM) / 2)
            begun = top
        reached = max(reached, bottom)
    return strips
