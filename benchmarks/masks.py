"""Masks and baths: growth against a geometry library, the simulation against pixels, what growth and laps bring."""

from __future__ import annotations

import time

import numpy as np
import pyclipper
import shapely
from scipy import ndimage
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import from_polygons, to_multipolygon
from maskgen.model.dyeing import ApplyMask, DyeBath, Plan, PlannedRegion, Recipe, Seal, Sequence, Step, Strip
from maskgen.model.job import Part, Resist, Shape
from maskgen.model.paths import Partition, Region, node_count
from maskgen.plan.forgiveness import forgive
from maskgen.plan.masks import grow_masks
from maskgen.plan.simulate import simulate

WIDTH, HEIGHT = 60.0, 30.0
PLATE = Part(Shape.PLATE, width_mm=WIDTH, height_mm=HEIGHT)
FACE = shapely.box(0, 0, WIDTH, HEIGHT)
RESIST = Resist()
PIXEL_MM = 0.02


def run() -> None:
    _growth()
    _baths()
    _pixels()
    _trials()


def star(x: float, y: float, radius: float, points: int) -> BaseGeometry:
    angle = np.pi * np.arange(2 * points) / points - np.pi / 2
    reach = np.where(np.arange(2 * points) % 2, 0.42 * radius, radius)
    return shapely.Polygon(np.column_stack([x + reach * np.cos(angle), y + reach * np.sin(angle)]))


def disc(x: float, y: float, radius: float) -> BaseGeometry:
    return shapely.Point(x, y).buffer(radius, quad_segs=48)


def emblem() -> list[BaseGeometry]:
    """Stars and a crescent in a round sky, over hills, in a ring, on bare ground: in the order they are finished."""
    sky, ring = disc(20, 15, 11), disc(20, 15, 13)
    stars = [star(26, 9, 2.4, 5), star(23, 16, 1.6, 5), star(28, 14, 1.3, 4), star(19, 7, 1.2, 4)]
    stars.append(disc(16, 11, 5).difference(disc(18, 10, 4.4)))
    hills = shapely.union_all([disc(14, 29, 10), disc(28, 31, 11)]).intersection(sky)
    bright = shapely.union_all(stars).difference(hills)
    shapes = [bright, hills, sky.difference(bright).difference(hills), FACE.difference(ring), ring.difference(sky)]
    return shapes


def job(shapes: list[BaseGeometry], strips: int) -> tuple[Partition, Plan]:
    """Dye, mask, strip for every shape but the last."""
    regions, steps, planned = [], list[Step](), []
    for k, shape in enumerate(shapes, start=1):
        regions.append(Region(f"r{k}", f"colour {k}", f"#{40 * k:02x}8080", from_polygons(shape)))
        planned.append(PlannedRegion(f"r{k}", f"colour {k}", "#000000", Recipe.of({f"d{k}": 1.0}), "#000000", 0.0))
        steps.append(DyeBath(f"d{k}", 1.0))
        if k < len(shapes):
            steps += [ApplyMask(f"M{k}", (f"r{k}",)), *[Strip()] * strips]
    sequence = Sequence((*steps, Seal()))
    return Partition(WIDTH, HEIGHT, tuple(regions)), Plan(tuple(planned), sequence, True, 0)


def _growth() -> None:
    print(f"{'grown by 0.3 mm':16} {'area':>9} {'farthest':>9} {'nodes':>6} {'mask':>8} {'pyclipper':>9}")
    for name, shape in (("star", star(30, 15, 9, 5)), ("disc", disc(30, 15, 9)), ("crescent", emblem()[0])):
        partition, plan = job([shape, FACE.difference(shape)], strips=3)
        begin = time.perf_counter()
        (mask,), _ = grow_masks(partition, plan, part=PLATE, resist=RESIST)
        took = time.perf_counter() - begin
        begin = time.perf_counter()
        expected = _clipper_offset(shape, 0.3)
        reference = time.perf_counter() - begin
        vinyl = to_multipolygon(mask.area)
        apart = shapely.hausdorff_distance(vinyl.boundary, expected.boundary, densify=0.02)
        print(
            f"{name:16} {100 * (vinyl.area / expected.area - 1):+8.4f}% {1000 * apart:6.1f} um "
            f"{node_count(mask.area):6} {1000 * took:5.0f} ms {1000 * reference:6.1f} ms"
        )


def _clipper_offset(shape: BaseGeometry, distance: float) -> BaseGeometry:
    scale = 1e5
    offset = pyclipper.PyclipperOffset(arc_tolerance=0.0002 * scale)
    for ring in shapely.get_rings(shapely.get_parts(shape)):
        path = np.rint(np.asarray(ring.coords)[:-1] * scale).astype(int).tolist()
        offset.AddPath(path, pyclipper.JT_ROUND, pyclipper.ET_CLOSEDPOLYGON)
    grown: BaseGeometry = shapely.Polygon()
    for path in offset.Execute(distance * scale):
        grown = grown.symmetric_difference(shapely.Polygon(np.array(path) / scale))
    return grown


def _baths() -> None:
    heads = f"{'wrong':>8} {'edges: mean':>11} {'95 %':>8} {'largest':>8} {'grow':>7} {'baths':>7}"
    print(f"\n{'emblem, five colours':22} {heads}")
    for strips in (1, 2):
        partition, plan = job(emblem(), strips)
        for name, resist in (("grown", RESIST), ("not grown", Resist(creep_mm=0.0)), ("no lap", Resist(lap_mm=0.0))):
            begin = time.perf_counter()
            masks, _ = grow_masks(partition, plan, part=PLATE, resist=resist)
            middle = time.perf_counter()
            told = simulate(partition, plan, masks, part=PLATE, resist=RESIST)
            end = time.perf_counter()
            print(
                f"{f'{strips} strip, {name}':22} {100 * told.wrong_share:7.3f}% {told.edge_mean_mm:8.4f} mm "
                f"{told.edge_95_mm:8.4f} {told.edge_max_mm:8.4f} {middle - begin:5.1f} s {end - middle:5.1f} s"
            )


def _pixels() -> None:
    """The same baths on pixels of 0.02 mm: a distance transform for every strip, the least a raster has to do."""
    partition, plan = job(emblem(), 1)
    masks, _ = grow_masks(partition, plan, part=PLATE, resist=RESIST)
    begin = time.perf_counter()
    simulate(partition, plan, masks, part=PLATE, resist=RESIST)
    vector = time.perf_counter() - begin
    begin = time.perf_counter()
    x = (np.arange(round(WIDTH / PIXEL_MM)) + 0.5) * PIXEL_MM
    y = (np.arange(round(HEIGHT / PIXEL_MM)) + 0.5) * PIXEL_MM
    grid = np.meshgrid(x, y)
    covered = np.zeros(grid[0].shape, dtype=bool)
    for mask in masks:
        covered |= shapely.contains_xy(to_multipolygon(mask.area), *grid)
        ndimage.distance_transform_edt(covered)
    pixels = time.perf_counter() - begin
    times = f"{pixels / vector:.1f} times"
    print(f"\nbaths in vectors {vector:.2f} s, distance transforms alone at {PIXEL_MM} mm {pixels:.2f} s: {times}")


def _trials() -> None:
    print(f"\n{'masks up to 0.3 mm off':22} {'seamless':>8} {'wrong, median':>13} {'worst':>9} {'edges, median':>13}")
    partition, plan = job(emblem(), 1)
    for lap in (0.0, 0.3, 0.5, 0.7):
        resist = Resist(lap_mm=lap)
        masks, _ = grow_masks(partition, plan, part=PLATE, resist=resist)
        begin = time.perf_counter()
        told = forgive(partition, plan, masks, part=PLATE, resist=resist)
        took = (time.perf_counter() - begin) / told.trials
        print(
            f"{f'lap {lap} mm':22} {100 * told.seamless_share:7.0f}% {told.median_wrong_mm2:9.1f} mm2 "
            f"{told.worst_wrong_mm2:5.1f} mm2 {told.median_edge_mm:10.3f} mm   ({1000 * took:.0f} ms a trial)"
        )
