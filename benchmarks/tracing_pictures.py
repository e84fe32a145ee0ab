"""Drawings as the pictures a customer might send: six ways of rendering."""

from __future__ import annotations

import io
import zlib
from dataclasses import dataclass

import numpy as np
import resvg_py
from PIL import Image

from benchmarks.tracing_drawings import Drawing


@dataclass(frozen=True)
class Row:
    """One way of rendering; `over` is how many times finer the renderer works before a box average."""

    name: str
    size: int
    over: int = 1
    smooth: bool = True
    jpeg: bool = False


ROWS = (
    Row("smooth 256", 256, over=8),
    Row("smooth 256 direct", 256),
    Row("smooth 128", 128, over=8),
    Row("smooth 128 direct", 128),
    Row("smooth 512", 512, over=4),
    Row("no smoothing 256", 256, smooth=False),
    Row("JPEG60+noise 512", 512, jpeg=True),
    Row("smooth 2048", 2048),
)


def render(drawing: Drawing, row: Row) -> np.ndarray:
    """(size, size, 4) uint8, opaque."""
    shape = "geometric_precision" if row.smooth else "crisp_edges"
    size = row.size * row.over
    png = resvg_py.svg_to_bytes(svg_string=drawing.svg, width=size, height=size, shape_rendering=shape)
    pixels = np.asarray(Image.open(io.BytesIO(bytes(png))).convert("RGBA"))
    if row.over > 1:
        pixels = pixels.reshape(row.size, row.over, row.size, row.over, 4).mean(axis=(1, 3)).round().astype(np.uint8)
    if row.jpeg:
        rng = np.random.default_rng(zlib.crc32(drawing.name.encode()))
        noisy = pixels[..., :3] + rng.normal(0, 4.0, (*pixels.shape[:2], 3))
        stream = io.BytesIO()
        Image.fromarray(noisy.clip(0, 255).round().astype(np.uint8)).save(stream, "JPEG", quality=60)
        pixels = np.asarray(Image.open(io.BytesIO(stream.getvalue())).convert("RGBA"))
    return np.ascontiguousarray(pixels)
