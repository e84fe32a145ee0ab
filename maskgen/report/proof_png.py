"""The customer's picture as PNG: the laid-out page at `DOTS_PER_MM`, cut off where it ends."""

from __future__ import annotations

import io
from collections.abc import Iterable

import cv2
import numpy as np
from PIL import Image, ImageDraw

from maskgen.model.job import Hole, Part, Shape
from maskgen.model.paths import Area, Partition
from maskgen.model.result import JobResult
from maskgen.report.face_picture import OVERSAMPLE, Pixels, draw_face, fill_area, rgb, seen_from_front
from maskgen.report.proof_layout import Measure, Patch, Proof, Sight, Text, View, lay_out_proof
from maskgen.report.typeface import outlines
from maskgen.units import MM_PER_INCH

DOTS_PER_MM = 8.0
"""203 dots per inch: sharp on a screen, and printed at its size."""

PAGE_MM = (210.0, 297.0)
PAPER, INK, FAINT = (255, 255, 255), (24, 28, 36), (84, 90, 102)
TICK_MM = 1.0


def write_proof(result: JobResult) -> bytes:
    """Give the customer's picture as PNG; the same job gives the same bytes."""
    data = io.BytesIO()
    dots = DOTS_PER_MM * MM_PER_INCH
    draw_proof(result).save(data, "PNG", optimize=True, dpi=(dots, dots))
    return data.getvalue()


def draw_proof(result: JobResult) -> Image.Image:
    """Draw the customer's picture."""
    part = result.job.part
    assert part is not None
    proof = lay_out_proof(result, width_mm=PAGE_MM[0], height_mm=PAGE_MM[1])
    image = Image.new("RGB", (_dots(PAGE_MM[0]), _dots(proof.used_mm)), PAPER)
    pen = ImageDraw.Draw(image)
    for item in proof.items:
        match item:
            case View():
                _view(image, item, result.simulation.predicted, part, result.job.hole)
            case Patch():
                box = [_dots(v) for v in (item.left, item.top, item.left + item.width, item.top + item.height)]
                pen.rectangle(box, fill=rgb(item.colour), outline=FAINT)
            case Measure():
                _measure(pen, item)
            case Text():
                pass
    return Image.fromarray(_lettered(np.array(image), proof))


def _view(image: Image.Image, view: View, predicted: Partition, part: Part, holes: Iterable[Hole]) -> None:
    face_width = part.face_mm[0] * view.scale
    flat = draw_face(predicted, width_px=_dots(face_width) if view.sight is Sight.FRONT else _dots(view.width))
    shown = seen_from_front(_drilled(flat, holes, part)) if view.sight is Sight.FRONT else _drilled(flat, holes, part)
    left, top = _dots(view.left), _dots(view.top)
    image.paste(Image.fromarray(shown), (left, top))
    pen = ImageDraw.Draw(image)
    right, bottom = left + shown.shape[1] - 1, top + shown.shape[0] - 1
    if part.shape is Shape.DISC:
        pen.ellipse([left, top, right, bottom], outline=FAINT)
    else:
        pen.rectangle([left, top, right, bottom], outline=FAINT)


def _drilled(face: Pixels, holes: Iterable[Hole], part: Part) -> Pixels:
    scale = face.shape[1] / part.face_mm[0]
    image = Image.fromarray(face)
    pen = ImageDraw.Draw(image)
    for hole in holes:
        (x, y), radius = hole.at_mm, hole.diameter_mm / 2
        pen.ellipse([(v) * scale for v in (x - radius, y - radius, x + radius, y + radius)], fill=PAPER, outline=FAINT)
    return np.asarray(image)


def _measure(pen: ImageDraw.ImageDraw, item: Measure) -> None:
    (x1, y1), (x2, y2) = item.start, item.end
    level = y1 == y2
    for x, y in (item.start, item.end):
        tick = (x, y - TICK_MM, x, y + TICK_MM) if level else (x - TICK_MM, y, x + TICK_MM, y)
        pen.line([_dots(v) for v in tick], fill=FAINT)
    pen.line([_dots(v) for v in (x1, y1, x2, y2)], fill=FAINT)


def _lettered(pixels: Pixels, proof: Proof) -> Pixels:
    """Set the text: each line drawn large, made small, and laid over the picture as far as it covers."""
    for item in proof.items:
        if not isinstance(item, Text):
            continue
        size = item.size * DOTS_PER_MM
        left, top = int(item.left * DOTS_PER_MM), int(item.baseline * DOTS_PER_MM - 1.3 * size)
        shift = item.left * DOTS_PER_MM - left, item.baseline * DOTS_PER_MM - top
        cover = _cover(outlines(item.line, size, shift), pixels.shape[1] - left, round(1.9 * size))
        place = pixels[top : top + cover.shape[0], left : left + cover.shape[1]]
        ink = np.array(FAINT if item.faint else INK, np.float32)
        share = cover[: place.shape[0], : place.shape[1], None].astype(np.float32) / 255.0
        place[:] = np.round(place * (1.0 - share) + ink * share)
    return pixels


def _cover(glyphs: Iterable[Area], width: int, height: int) -> Pixels:
    canvas = np.zeros((height * OVERSAMPLE, width * OVERSAMPLE, 1), np.uint8)
    for glyph in glyphs:
        fill_area(canvas, glyph, (255, 255, 255), scale=OVERSAMPLE)
    return np.asarray(cv2.resize(canvas, (width, height), interpolation=cv2.INTER_AREA), np.uint8)


def _dots(mm: float) -> int:
    return round(mm * DOTS_PER_MM)
