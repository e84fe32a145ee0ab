"""The picture for the customer: the part in its true proportion, the colours by name, nothing of the workshop."""

from __future__ import annotations

import io
import math

import cv2
import fontpkg
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from maskgen.model.job import Part, Shape
from maskgen.model.paths import Partition, flatten
from maskgen.model.result import JobResult
from maskgen.report.words import TEXT_FONT, WORDS

FACE_PX = 1400
"""Longest side of the part in the picture: sharp on a screen and 120 mm wide in print at 300 dpi."""

MARGIN_PX, LINE_PX, TEXT_PX = 60, 44, 30
SUBPIXEL_BITS = 4
OVERSAMPLE = 4
PAPER, INK, FAINT = (255, 255, 255), (24, 28, 36), (92, 98, 110)

Pixels = NDArray[np.uint8]


def draw_face(partition: Partition, *, width_px: int, part: Part | None = None) -> Pixels:
    """Draw a partition of the face, (height, width, 3) sRGB; what lies outside a disc is paper."""
    scale = width_px * OVERSAMPLE / partition.width
    height_px = max(1, round(partition.height * width_px / partition.width))
    canvas = np.full((height_px * OVERSAMPLE, width_px * OVERSAMPLE, 3), 255, np.uint8)
    for region in partition.regions:
        rings = [
            np.round((flatten(ring, 0.2 / scale) * scale - 0.5) * 2**SUBPIXEL_BITS).astype(np.int32)
            for ring in region.area.rings
        ]
        if rings:
            cv2.fillPoly(canvas, rings, _rgb(region.colour), shift=SUBPIXEL_BITS)
    return np.asarray(cv2.resize(canvas, (width_px, height_px), interpolation=cv2.INTER_AREA), np.uint8)


def seen_from_front(face: Pixels) -> Pixels:
    """Give the half of a developed tube that is seen from the front, as it looks: narrowing towards both sides."""
    height, around = face.shape[:2]
    width = round(around / math.pi)
    across = (np.arange(width) + 0.5) / width * 2.0 - 1.0
    column = around / 2.0 + np.arcsin(across) / math.pi * around / 2.0
    map_x = np.broadcast_to((column - 0.5).astype(np.float32), (height, width))
    map_y = np.broadcast_to(np.arange(height, dtype=np.float32)[:, None], (height, width))
    bent = cv2.remap(face, np.ascontiguousarray(map_x), np.ascontiguousarray(map_y), cv2.INTER_LINEAR)
    shade = 0.72 + 0.28 * np.sqrt(1.0 - across**2)
    return np.asarray(np.round(bent * shade[None, :, None]), np.uint8)


def draw_proof(result: JobResult) -> Image.Image:
    """Draw the customer's picture."""
    part = result.job.part
    assert part is not None
    face = _face_picture(result.simulation.predicted, part)
    regions = result.plan.regions
    text_lines = 4 + len(regions)
    width = max(face.width, 900) + 2 * MARGIN_PX
    image = Image.new("RGB", (width, face.height + 3 * MARGIN_PX + text_lines * LINE_PX), PAPER)
    pen = ImageDraw.Draw(image)
    title, plain = _font(TEXT_PX + 10), _font(TEXT_PX)
    pen.text((MARGIN_PX, MARGIN_PX - 24), result.job.title or WORDS.proof_title, font=title, fill=INK)
    top = MARGIN_PX + LINE_PX
    image.paste(face, ((width - face.width) // 2, top))
    y = top + face.height + MARGIN_PX // 2
    pen.text((MARGIN_PX, y), WORDS.size_of(part), font=plain, fill=INK)
    for region in regions:
        y += LINE_PX
        pen.rectangle([MARGIN_PX, y + 4, MARGIN_PX + 56, y + TEXT_PX + 2], fill=_rgb(region.predicted), outline=FAINT)
        pen.text((MARGIN_PX + 74, y), region.name, font=plain, fill=INK)
    pen.text((MARGIN_PX, y + LINE_PX + 8), WORDS.colours_vary, font=plain, fill=FAINT)
    return image


def write_proof(result: JobResult) -> bytes:
    """Give the customer's picture as PNG."""
    data = io.BytesIO()
    draw_proof(result).save(data, "PNG", optimize=True)
    return data.getvalue()


def _face_picture(predicted: Partition, part: Part) -> Image.Image:
    longest = max(predicted.width, predicted.height)
    width = max(1, round(FACE_PX * predicted.width / longest))
    flat = draw_face(predicted, width_px=width)
    if part.shape is not Shape.TUBE:
        return Image.fromarray(flat)
    front = seen_from_front(flat)
    both = np.full((flat.shape[0], flat.shape[1] + MARGIN_PX + front.shape[1], 3), 255, np.uint8)
    both[:, : front.shape[1]] = front
    both[:, front.shape[1] + MARGIN_PX :] = flat
    return Image.fromarray(both)


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def _font(size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(fontpkg.path(TEXT_FONT)), size)
