"""Flat colours of pictures not drawn by us: how often the palette is right, how many labels are, and how fast.

Pictograms and words as in `tracing_drawings`, rendered by resvg. The truth is the same drawing rendered without edge
smoothing at eight times the size: its colours of 4 px and more, and the pixels that lie wholly within one of them.
"""

from __future__ import annotations

import io
import re
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import resvg_py
from numpy.typing import NDArray
from PIL import Image
from scipy.optimize import linear_sum_assignment

from benchmarks.tracing_drawings import pictograms, words
from maskgen.colour.quantise import find_flat_colours
from maskgen.colour.spaces import ciede2000, hex_to_lab
from maskgen.model.artwork import CLEAR, Picture

PICTOGRAMS = 60
FINE = 2048
LEAST_AREA_PX = 4
MATCH = 5.0
"""CIEDE2000 within which a colour counts as found."""

GROUNDS = ("#ffffff", "#ffffff", "#f6f3ea", None)
Pixels = NDArray[np.uint8]


@dataclass(frozen=True, eq=False)
class Truth:
    """The colours of a drawing and, per pixel, which one it lies wholly within (-1: on an edge)."""

    palette: list[str]
    labels: NDArray[np.int64]


def run() -> None:
    rng = np.random.default_rng(5)
    figures: dict[str, list[tuple[bool, float]]] = {}
    seconds: dict[str, list[float]] = {}
    drawings = [d.svg for d in pictograms(PICTOGRAMS, held_out=True)] + [d.svg for d in words(held_out=True)]
    for number, drawn in enumerate(drawings):
        ground = GROUNDS[number % len(GROUNDS)]
        svg = re.sub(r'<rect width="72" height="72" fill="[^"]*"/>', "", drawn, count=1) if ground is None else drawn
        for kind, pixels, truth in _pictures(svg, ground, rng):
            started = time.perf_counter()
            flat = find_flat_colours(Picture(pixels))
            seconds.setdefault(kind, []).append((time.perf_counter() - started) / pixels[..., 0].size * 1e6)
            figures.setdefault(kind, []).append(_judge(flat.palette, flat.labels, truth))
    print("picture              colours right   labels right off edges: mean, worst   s per megapixel")
    for kind, rows in figures.items():
        right, labels = np.array([r for r, _ in rows]), np.array([share for _, share in rows])
        print(
            f"{kind:20} {right.mean():10.1%} of {len(rows)}   {labels.mean():10.2%}, {labels.min():8.2%}"
            f"   {np.median(seconds[kind]):20.2f}"
        )
    _speed(drawings[0], rng)


def _pictures(svg: str, ground: str | None, rng: np.random.Generator) -> Iterator[tuple[str, Pixels, Truth]]:
    fine = _render(svg, FINE, ground, "crisp_edges")
    for size in (256, 128):
        yield f"smooth {size}", _render(svg, size, ground), _truth(fine, size)
    step = FINE // 256
    yield "no smoothing 256", np.ascontiguousarray(fine[step // 2 :: step, step // 2 :: step]), _truth(fine, 256)
    solid = _render(svg, FINE, ground or "#ffffff", "crisp_edges")
    smooth = _render(svg, 512, ground or "#ffffff")
    yield "grain, JPEG 60, 512", _jpeg(_grain(smooth, rng)), _truth(solid, 512)
    yield "JPEG 60, grain, 512", _grain(_jpeg(smooth), rng), _truth(solid, 512)


def _render(svg: str, size: int, ground: str | None, shape: str = "geometric_precision") -> Pixels:
    png = resvg_py.svg_to_bytes(svg_string=svg, width=size, height=size, background=ground, shape_rendering=shape)
    return np.array(Image.open(io.BytesIO(bytes(png))).convert("RGBA"))


def _grain(pixels: Pixels, rng: np.random.Generator) -> Pixels:
    spoilt = pixels.copy()
    spoilt[..., :3] = np.clip(np.rint(pixels[..., :3] + rng.normal(0.0, 4.0, pixels[..., :3].shape)), 0, 255)
    return spoilt


def _jpeg(pixels: Pixels) -> Pixels:
    stream = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels[..., :3])).save(stream, "JPEG", quality=60)
    return np.array(Image.open(io.BytesIO(stream.getvalue())).convert("RGBA"))


def _truth(fine: Pixels, size: int) -> Truth:
    step = FINE // size
    shown = np.where(fine[..., 3:] > 0, fine, 0).astype(np.uint32)
    packed = (shown[..., 3] << 24) | (shown[..., 0] << 16) | (shown[..., 1] << 8) | shown[..., 2]
    values, index, count = np.unique(packed, return_inverse=True, return_counts=True)
    index = index.reshape(packed.shape)
    palette, labels = [], np.full((size, size), -1, np.int64)
    for value in np.flatnonzero(count >= LEAST_AREA_PX * step * step):
        whole = (index == value).reshape(size, step, size, step).all(axis=(1, 3))
        labels[whole] = len(palette)
        palette.append(CLEAR if values[value] >> 24 < 128 else f"#{values[value] & 0xFFFFFF:06x}")
    return Truth(palette, labels)


def _judge(palette: tuple[str, ...], labels: Pixels, truth: Truth) -> tuple[bool, float]:
    """Whether the palettes match one to one, and the share of pixels off the edges with the right label."""
    gaps = np.array([[_gap(a, b) for b in palette] for a in truth.palette])
    rows, columns = linear_sum_assignment(gaps)
    found = gaps[rows, columns] < MATCH
    meaning = np.full(len(palette), -2)
    meaning[columns[found]] = rows[found]
    sure = truth.labels >= 0
    right = bool(found.all()) and len(palette) == len(truth.palette)
    return right, float((meaning[labels[sure]] == truth.labels[sure]).mean())


def _gap(one: str, other: str) -> float:
    if CLEAR in (one, other):
        return 0.0 if one == other else 100.0
    return float(ciede2000(hex_to_lab(one), hex_to_lab(other)))


def _speed(svg: str, rng: np.random.Generator) -> None:
    """Seconds per megapixel at 2048 px, and as a ratio to plain k-means of OpenCV on the same pixels."""
    import cv2

    def timed(work: Callable[[], object]) -> float:
        started = time.perf_counter()
        work()
        return time.perf_counter() - started

    pixels = _render(svg, FINE, "#ffffff")
    plain = pixels[..., :3].reshape(-1, 3).astype(np.float32)
    stop = (cv2.TERM_CRITERIA_MAX_ITER, 10, 0.0)
    kmeans = timed(lambda: cv2.kmeans(plain, 6, np.zeros(0, np.int32), stop, 1, cv2.KMEANS_PP_CENTERS))
    for kind, picture in (("clean", pixels), ("JPEG 60", _jpeg(pixels)), ("grain", _grain(pixels, rng))):
        ours = timed(lambda picture=picture: find_flat_colours(Picture(picture)))  # type: ignore[misc]
        print(f"2048 px, {kind}: {ours / 4.194:.2f} s per megapixel, {ours / kmeans:.2f} of k-means (6 colours, told)")
