"""Widths of lands and gaps: error on shapes of known width, time beside an opening by buffers and pixels."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from scipy import ndimage
from shapely.geometry.base import BaseGeometry
from skimage.morphology import medial_axis

from maskgen.geometry.arrangement import arrange, assemble, find_faces
from maskgen.geometry.polygons import to_multipolygon
from maskgen.geometry.segments import circle
from maskgen.model.paths import Area, Piece, area_of, rectangle
from maskgen.shape.widths import narrow_places

LIMIT_MM = 0.8
PIXEL_MM = 0.02


def run() -> None:
    _known_necks()
    _large_mask()
    _overlay()


def _disc(x: float, y: float, radius: float) -> BaseGeometry:
    return shapely.Point(x, y).buffer(radius, quad_segs=96)


def _pixel_width(shape: BaseGeometry) -> float:
    """Least width of a dumb-bell's neck by a medial axis of pixels: the least ridge between the two centres."""
    left, top, right, bottom = shape.bounds
    x, y = np.meshgrid(np.arange(left - 0.1, right + 0.1, PIXEL_MM), np.arange(top - 0.1, bottom + 0.1, PIXEL_MM))
    ridge, distance = medial_axis(shapely.contains_xy(shape, x, y), return_distance=True, rng=0)
    core = ndimage.binary_dilation(ridge) & (distance * PIXEL_MM < LIMIT_MM / 2)
    middle = np.hypot(x - x.mean(), y - y.mean()) < 1.0
    return float(2 * PIXEL_MM * distance[core & middle & ridge].min())


def _known_necks() -> None:
    random = np.random.default_rng(1)
    ours, pixels, places = [], [], []
    for _ in range(60):
        width, angle = random.uniform(0.05, 0.75), random.uniform(0, 180)
        bell = _disc(0, 0, 2.5).union(_disc(8, 0, 2.5)).union(shapely.box(0, -width / 2, 8, width / 2))
        bell = shapely.affinity.rotate(bell, angle, origin=(4, 0))
        found = narrow_places(bell, LIMIT_MM)
        places.append(len(found))
        ours.append(abs(found[0].width_mm - width))
        pixels.append(abs(_pixel_width(bell) - width))
    print(f"60 dumb-bells of known neck: {places.count(1)} found once; error of the width at most {max(ours):.5f} mm")
    print(f"  medial axis of {PIXEL_MM} mm pixels: at most {max(pixels):.3f} mm")


def _large_mask() -> None:
    random = np.random.default_rng(0)
    spots, radii = random.uniform(0, 100, (150, 2)), random.uniform(1, 6, 150)
    mask = shapely.union_all([shapely.Point(p).buffer(r, quad_segs=60) for p, r in zip(spots, radii, strict=True)])
    count = len(shapely.get_coordinates(mask))
    lands, land_s = _timed(lambda: narrow_places(mask, LIMIT_MM))
    gaps, gap_s = _timed(lambda: narrow_places(mask, LIMIT_MM, openings=True))
    _, buffer_s = _timed(lambda: mask.difference(mask.buffer(-LIMIT_MM / 2).buffer(LIMIT_MM / 2)))
    x, y = np.meshgrid(np.arange(-7, 107, PIXEL_MM), np.arange(-7, 107, PIXEL_MM))
    shapely.prepare(mask)
    inside = shapely.contains_xy(mask, x[::5, ::5], y[::5, ::5]).repeat(5, axis=0).repeat(5, axis=1)
    _, pixel_s = _timed(lambda: ndimage.distance_transform_edt(inside))
    print(f"mask of {count} vertices: {len(lands)} lands and {len(gaps)} gaps under {LIMIT_MM} mm")
    print(f"  lands {land_s:.2f} s, gaps {gap_s:.2f} s; an opening by buffers (no widths) {buffer_s:.2f} s;")
    print(f"  a distance transform alone of its {inside.shape[1]} x {inside.shape[0]} pixels {pixel_s:.2f} s")


def _overlay() -> None:
    """Cut curves along curves, and the same as polygons by the library underneath."""
    random = np.random.default_rng(2)
    plate = rectangle(0, 0, 100, 100)
    rings = [circle((float(x), float(y)), float(d)) for x, y, d in random.uniform((5, 5, 4), (95, 95, 25), (80, 3))]
    segments = [s for ring in (plate.outer, *rings) for s in ring.segments]

    def curves() -> dict[int, Area]:
        arrangement = arrange(segments)
        inside = find_faces(arrangement, [to_multipolygon(Area((Piece(ring),))) for ring in rings])
        on_plate = find_faces(arrangement, [shapely.box(0, 0, 100, 100)]) == 0
        return assemble(arrangement, [int(k >= 0) if on else None for k, on in zip(inside, on_plate, strict=True)])

    areas, curve_s = _timed(curves)
    polygons = [to_multipolygon(Area((Piece(ring),))) for ring in rings]
    flat, flat_s = _timed(lambda: shapely.union_all(polygons).intersection(shapely.box(0, 0, 100, 100)))
    whole = sum(area_of(a) for a in areas.values())
    nodes = sum(len(ring.segments) for ring in areas[1].rings)
    off = abs(whole - 1e4)
    print(f"80 discs on a plate: curves kept {curve_s:.2f} s, {nodes} nodes, covers the plate within {off:.1e} mm2")
    points = len(shapely.get_coordinates(flat))
    print(f"  polygons only {flat_s:.2f} s, {points} nodes; area differs {_apart(areas[1], flat)}")


def _apart(area: Area, flat: BaseGeometry) -> str:
    return f"by {abs(area_of(area) - flat.area) / flat.area:.1e}"


def _timed(work: Callable[[], Any]) -> tuple[Any, float]:
    start = time.perf_counter()
    result = work()
    return result, time.perf_counter() - start
