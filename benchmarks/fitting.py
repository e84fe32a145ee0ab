"""Noisy points to curves: error, nodes and corners, beside two general routines on the same points.

The truth is known and not drawn by us: letters of the installed font at several sizes, and circles, stars and rounded
rectangles by formula. Points lie about a pixel apart, rounded off within a pixel and a half of corners as a pixel grid
does, with independent or mildly correlated noise square to the outline. References: `shapely` simplification and a
`scipy` smoothing spline, both told the noise. Then exact polygons: nodes and deviation against their vertices.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import fontpkg_fjalla_one
import numpy as np
import shapely
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont
from numpy.typing import NDArray
from scipy.interpolate import splev, splprep

from maskgen.geometry.exact import fit_area_exact
from maskgen.geometry.fitting import fit_closed
from maskgen.model.paths import Line, Ring, flatten, node_count

Points = NDArray[np.float64]

LETTERS, SIZES_PX = "aBeKgS8&MRw", (30.0, 80.0, 180.0)
SIGMAS, CORRELATIONS = (0.01, 0.03, 0.1, 0.29), (0.0, 0.5)
CORNER = np.radians(25.0)
"""A break of direction by more is a corner, in the truth and in the fit."""
NEAR_PX = 2.0
"""A corner counts as found within this distance."""
ROUNDED_PX, WINDOW_PX = 1.5, 0.45
OFFSETS_MM, TOLERANCE_MM = (0.0, 0.1, -0.1, 0.3), 0.003


@dataclass(frozen=True, eq=False)
class Truth:
    """A dense outline, the number of nodes it was drawn with, and its corners."""

    outline: Points
    nodes: int
    corners: Points


def run() -> None:
    truths = [*_letters(), *_shapes()]
    print(
        f"{len(truths)} outlines; errors in sigma (median outline), mean / 95 %; crossing: rings that cross themselves"
    )
    print("sigma correlated  method      mean   95 %  nodes/drawn  corners found/true of made  crossing  us per point")
    for sigma in SIGMAS:
        for correlation in CORRELATIONS:
            for name, fit in METHODS.items():
                _row(truths, sigma, correlation, name, fit)
    _exact()


def _row(
    truths: list[Truth], sigma: float, correlation: float, name: str, fit: Callable[[Points, float], Points | Ring]
) -> None:
    mean, high, nodes, drawn, found, true, right, made, crossing, count = [], [], 0, 0, 0, 0, 0, 0, 0, 0
    spent = 0.0
    for number, truth in enumerate(truths):
        points = _sampled(truth, sigma, correlation, np.random.default_rng([number, round(1000 * sigma)]))
        started = time.process_time()
        fitted = fit(points, sigma)
        spent += time.process_time() - started
        count += len(points)
        outline = flatten(fitted, 0.002) if isinstance(fitted, Ring) else fitted
        ring = shapely.LinearRing(outline)
        error = shapely.distance(ring.interpolate(np.arange(0, ring.length, 0.5)), shapely.LinearRing(truth.outline))
        mean.append(error.mean() / sigma)
        high.append(np.quantile(error, 0.95) / sigma)
        nodes += len(fitted.segments) if isinstance(fitted, Ring) else len(fitted)
        drawn += truth.nodes
        corners = _breaks(fitted) if isinstance(fitted, Ring) else fitted[np.abs(_turns(fitted)) > CORNER]
        found += int(_near(truth.corners, corners).sum())
        true += len(truth.corners)
        right += int(_near(corners, truth.corners).sum())
        made += len(corners)
        crossing += not ring.is_simple
    print(
        f"{sigma:5.2f} {correlation:7.1f}     {name:9s} {np.median(mean):6.2f} {np.median(high):6.2f}"
        f" {nodes / drawn:9.2f} {found / true:15.2f} / {right / max(made, 1):.2f}"
        f" {crossing:16d} {1e6 * spent / count:12.0f}"
    )


def _simplified(points: Points, sigma: float) -> Points:
    return shapely.get_coordinates(shapely.LinearRing(points).simplify(2.5 * sigma))[:-1]


def _smoothed(points: Points, sigma: float) -> Points:
    closed = np.vstack([points, points[:1]])
    spline, _ = splprep(closed.T, s=2 * len(points) * sigma**2, per=True)
    return np.column_stack(splev(np.linspace(0, 1, 6 * len(points), endpoint=False), spline))


METHODS: dict[str, Callable[[Points, float], Points | Ring]] = {
    "ours": lambda points, sigma: fit_closed(points, sigma=sigma),
    "simplify": _simplified,
    "spline": _smoothed,
}


# --- truths -----------------------------------------------------------------------------------------------------------


def _letters() -> Iterator[Truth]:
    for size in SIZES_PX:
        for letter in LETTERS:
            for dense, nodes in _contours(letter, size):
                yield _truth(dense, len(nodes))


def _contours(letter: str, size: float) -> list[tuple[Points, Points]]:
    font = TTFont(next((Path(fontpkg_fjalla_one.__file__).parent / "files").glob("*.ttf")))
    pen = DecomposingRecordingPen(font.getGlyphSet())
    pen.glyphSet[font.getBestCmap()[ord(letter)]].draw(pen)
    scale = size / font["head"].unitsPerEm
    t = np.linspace(0, 1, 33)[1:, None]
    found: list[tuple[Points, Points]] = []
    for operator, points in pen.value:
        if operator == "moveTo":
            dense, nodes = [np.array(points, dtype=float)], [points[0]]
        elif operator == "lineTo":
            dense.append(np.array(points, dtype=float))
            nodes.append(points[0])
        elif operator == "qCurveTo":
            for k, control in enumerate(points[:-1]):
                end = points[-1] if k == len(points) - 2 else tuple((np.array(control) + points[k + 1]) / 2)
                dense.append((1 - t) ** 2 * nodes[-1] + 2 * t * (1 - t) * np.array(control) + t * t * np.array(end))
                nodes.append(end)
        else:
            outline = np.vstack(dense)
            closing = int(np.allclose(outline[0], outline[-1]))
            found.append((outline[: len(outline) - closing] * scale, np.array(nodes[: len(nodes) - closing]) * scale))
    return found


def _shapes() -> Iterator[Truth]:
    for radius in (2.5, 6.0, 15.0, 40.0):
        yield _truth(shapely.get_coordinates(shapely.Point(0.3, 0.1).buffer(radius, quad_segs=120).exterior)[:-1], 4)
    for outer in (6.0, 15.0, 50.0):
        turn = np.arange(10) * np.pi / 5 + 0.3
        reach = np.where(np.arange(10) % 2, 0.42 * outer, outer)
        yield _truth(np.column_stack([reach * np.cos(turn), reach * np.sin(turn)]), 10)
    for width, height, radius in ((30, 20, 3), (60, 35, 6), (100, 80, 15)):
        plate = shapely.box(radius, radius, width - radius, height - radius).buffer(radius, quad_segs=60)
        yield _truth(shapely.get_coordinates(plate.exterior)[:-1], 8)


def _truth(outline: Points, nodes: int) -> Truth:
    return Truth(outline, nodes, outline[np.abs(_turns(outline)) > CORNER])


def _turns(outline: Points) -> Points:
    edge = np.roll(outline, -1, axis=0) - outline
    before = np.roll(edge, 1, axis=0)
    return np.asarray(np.arctan2(before[:, 0] * edge[:, 1] - before[:, 1] * edge[:, 0], (before * edge).sum(axis=1)))


def _breaks(ring: Ring) -> Points:
    found = []
    for before, after in zip(ring.segments[-1:] + ring.segments[:-1], ring.segments, strict=True):
        a = np.subtract(before.end, before.start if isinstance(before, Line) else before.control2)
        b = np.subtract(after.end if isinstance(after, Line) else after.control1, after.start)
        if abs(np.arctan2(a[0] * b[1] - a[1] * b[0], a @ b)) > CORNER:
            found.append(after.start)
    return np.array(found).reshape(-1, 2)


def _near(places: Points, others: Points) -> NDArray[np.bool_]:
    if len(others) == 0:
        return np.zeros(len(places), dtype=bool)
    return np.asarray(np.hypot(*(places[:, None] - others).transpose(2, 0, 1)).min(axis=1) < NEAR_PX)


def _sampled(truth: Truth, sigma: float, correlation: float, rng: np.random.Generator) -> Points:
    ring = shapely.LinearRing(truth.outline)
    count = max(6, round(ring.length))
    at = (np.arange(count) + rng.uniform(-0.25, 0.25, count) + 0.5) * ring.length / count

    def along(shift: float) -> Points:
        return np.asarray(shapely.get_coordinates(ring.interpolate((at + shift) % ring.length)))

    places = along(0.0)
    window = np.linspace(-3 * WINDOW_PX, 3 * WINDOW_PX, 15)
    weights = np.exp(-0.5 * (window / WINDOW_PX) ** 2)
    rounded = sum(w * along(shift) for w, shift in zip(weights / weights.sum(), window, strict=True))
    if len(truth.corners):
        near = np.hypot(*(places[:, None] - truth.corners).transpose(2, 0, 1)).min(axis=1) < ROUNDED_PX
        places = np.where(near[:, None], rounded, places)
    tangent = along(0.2) - along(-0.2)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    noise = rng.normal(0, 1, count)
    for k in range(1, count if correlation else 0):
        noise[k] = correlation * noise[k - 1] + np.sqrt(1 - correlation**2) * noise[k]
    return places + sigma * noise[:, None] * np.column_stack([-tangent[:, 1], tangent[:, 0]])


# --- exact polygons ---------------------------------------------------------------------------------------------------


def _exact() -> None:
    print(f"\nexact polygons, letters 8 mm high, tolerance {TOLERANCE_MM} mm")
    print("offset mm  vertices  nodes  lines  largest deviation mm  ms per letter")
    for offset in OFFSETS_MM:
        vertices, nodes, lines, deviation, spent = 0, 0, 0, 0.0, 0.0
        for letter in LETTERS:
            whole = shapely.Polygon()
            for dense, _ in _contours(letter, 8.0):
                whole = whole.symmetric_difference(shapely.Polygon(dense))
            grown = whole.buffer(offset, quad_segs=16) if offset else whole
            started = time.process_time()
            area = fit_area_exact(grown, tolerance=TOLERANCE_MM)
            spent += time.process_time() - started
            vertices += shapely.get_num_coordinates(grown)
            nodes += node_count(area)
            lines += sum(isinstance(s, Line) for ring in area.rings for s in ring.segments)
            fitted = shapely.MultiLineString([shapely.LinearRing(flatten(r, 1e-4)) for r in area.rings])
            deviation = max(deviation, shapely.hausdorff_distance(fitted, grown.boundary, densify=0.02))
        print(f"{offset:8.1f} {vertices:9d} {nodes:6d} {lines:6d} {deviation:18.4f} {1e3 * spent / len(LETTERS):16.0f}")


if __name__ == "__main__":
    run()
