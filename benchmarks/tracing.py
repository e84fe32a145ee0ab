"""How true the traced regions are: against drawings whose outlines are known and were not made by us.

Each row is one way of rendering. Figures are medians over held out drawings (worst in brackets), in px; beside them the
mean error of two general contour routines on the same label map.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable
from dataclasses import astuple, fields

import cv2
import numpy as np
import shapely
from skimage.measure import find_contours

from benchmarks.tracing_drawings import Drawing, pictograms, words
from benchmarks.tracing_figures import Figures, boundary_errors, figures
from benchmarks.tracing_pictures import ROWS, Row, render
from benchmarks.tracing_truth import Truth
from maskgen.colour.quantise import find_flat_colours
from maskgen.model.artwork import FlatPicture, Picture
from maskgen.trace.partition import trace_partition

COUNT = int(os.environ.get("TRACING_DRAWINGS", "60"))
AT_2048 = 8
"""Drawings in the largest row, which is there for the time."""


def run() -> None:
    drawings = [*pictograms(COUNT, held_out=True), *words(held_out=True)]
    for row in ROWS:
        measure(row, drawings[:: len(drawings) // AT_2048] if row.size == 2048 else drawings)


def measure(row: Row, drawings: Iterable[Drawing]) -> None:
    made: list[tuple[float, ...]] = []
    right, seconds, general = 0, [], []
    worst: list[tuple[float, str]] = []
    for drawing in drawings:
        truth = drawing.truth.scaled(row.size)
        flat = find_flat_colours(Picture(render(drawing, row)))
        right += len(flat.palette) == len(truth.areas)
        start = time.perf_counter()
        partition = trace_partition(flat)
        seconds.append((time.perf_counter() - start) / (row.size**2 / 1e6))
        found = figures(partition, truth)
        made.append(astuple(found))
        worst.append((found.mean, drawing.name))
        general.append(general_routines(flat, truth))
    table = np.array(made)
    print(f"-- {row.name}: {len(made)} drawings, colours right {right / len(made):.0%}")
    for name, column in zip((f.name for f in fields(Figures)), table.T, strict=True):
        low = name in ("union", "found", "right")
        print(f"   {name:8s} {np.nanmedian(column):8.4f}  ({(np.nanmin if low else np.nanmax)(column):.4g})")
    print(f"   seconds per megapixel {np.median(seconds):.2f}  ({max(seconds):.2f})")
    contours, traced = np.nanmedian(np.array(general), axis=0)
    print(f"   mean error of skimage find_contours {contours:.3f}, cv2 findContours {traced:.3f}")
    print(f"   worst: {', '.join(name for _, name in sorted(worst, reverse=True)[:5])}", flush=True)


def general_routines(flat: FlatPicture, truth: Truth) -> tuple[float, float]:
    """Mean boundary error of two general routines on the label map."""
    lines: list[list[np.ndarray]] = [[], []]
    for label in range(len(flat.palette)):
        mask = flat.labels == label
        lines[0] += [c[:, ::-1] + 0.5 for c in find_contours(mask.astype(float), 0.5)]
        traced, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
        lines[1] += [np.vstack([c[:, 0], c[:1, 0]]) + 0.5 for c in traced]
    inner = shapely.box(1.0, 1.0, truth.size - 1.0, truth.size - 1.0)
    errors = []
    for routine in lines:
        boundary = shapely.MultiLineString([line for line in routine if len(line) > 2]).intersection(inner)
        errors.append(boundary_errors(boundary, truth)[0])
    return errors[0], errors[1]
