"""Samples of any depth and colour profile to 8-bit sRGB with straight alpha.

Colour: ICC profiles through Little CMS, relative colorimetric with black point compensation; PNG `gAMA` (PNG
specification, third edition, 11.3.2.2) where no profile stands.
"""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

_SRGB_CLOSE = 2
"""A profile that moves no test colour by more than this many levels is sRGB under another name."""


def to_bytes(samples: NDArray[np.generic]) -> NDArray[np.uint8]:
    """Scale any sample type to 0..255, rounded; floating point counts as 0..1, or what its largest value needs."""
    if samples.dtype == np.uint8:
        return samples.astype(np.uint8)
    if samples.dtype == np.uint16:
        wide = samples.astype(np.uint32)
        return np.asarray((wide + 128) // 257, dtype=np.uint8)
    real = np.nan_to_num(samples.astype(np.float32), nan=0.0, posinf=0.0, neginf=0.0)
    largest = float(real.max(initial=0.0))
    full = next((f for f in (1.0, 255.0, 65535.0) if largest <= f), 4294967295.0)
    return np.asarray(np.clip(np.rint(real * (255.0 / full)), 0, 255), dtype=np.uint8)


def with_colour(samples: NDArray[np.uint8], profile: bytes | None, gamma: float | None) -> NDArray[np.uint8]:
    """Grey (2-D or with alpha) or colour samples to sRGB RGBA."""
    if samples.ndim == 2:
        samples = samples[..., None]
    channels = samples.shape[2]
    alpha = samples[..., -1] if channels in {2, 4} else None
    colour = samples[..., 0] if channels <= 2 else samples[..., :3]
    if profile:
        image = Image.fromarray(np.ascontiguousarray(colour))
        colour = np.asarray(apply_profile(image, profile))
    elif gamma:
        colour = _gamma_table(gamma)[colour]
    return opaque(colour) if alpha is None else np.dstack([_three(colour), alpha])


def _three(colour: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return np.repeat(colour[..., None], 3, axis=2) if colour.ndim == 2 else colour


def opaque(colour: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Grey or RGB to RGBA with full alpha."""
    pixels = np.full((*colour.shape[:2], 4), 255, np.uint8)
    pixels[..., :3] = _three(colour)
    return pixels


def _gamma_table(gamma: float) -> NDArray[np.uint8]:
    """Levels to sRGB for samples encoded as light ** gamma; 1/2.2 (0.45455) stands for sRGB itself."""
    levels = np.arange(256, dtype=np.float64)
    if not 0.05 < gamma < 10 or abs(gamma * 2.2 - 1) < 0.05:
        return levels.astype(np.uint8)
    light = (levels / 255) ** (1 / gamma)
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(255 * encoded), dtype=np.uint8)


def apply_profile(image: Image.Image, profile: bytes | None) -> Image.Image:
    """Convert to sRGB; a profile that is damaged or made for other channels counts as absent."""
    if not profile:
        return image.convert("RGB")
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if image.mode == "RGB" and _is_srgb(source):
            return image
        return convert_profile(image, source)
    except (ImageCms.PyCMSError, OSError, ValueError):
        return image.convert("RGB")


def convert_profile(image: Image.Image, source: object) -> Image.Image:
    """Convert from one profile to sRGB, relative colorimetric.

    Raises
    ------
    ImageCms.PyCMSError
        When the profile is not made for these channels.
    """
    converted = ImageCms.profileToProfile(
        image,
        source,  # type: ignore[arg-type]
        ImageCms.createProfile("sRGB"),
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        outputMode="RGB",
        flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
    )
    assert converted is not None
    return converted


def _is_srgb(source: object) -> bool:
    steps = np.arange(0, 256, 51, dtype=np.uint8)
    grid = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(1, -1, 3)
    moved = np.asarray(convert_profile(Image.fromarray(np.ascontiguousarray(grid)), source))
    return int(np.abs(moved.astype(int) - grid.astype(int)).max()) <= _SRGB_CLOSE


def unpremultiplied(samples: NDArray[np.generic]) -> NDArray[np.float32]:
    """Divide the colour of (height, width, 4) samples by their alpha, as floating point 0..1 of the same full range."""
    whole = np.issubdtype(samples.dtype, np.unsignedinteger)
    full = 2.0 ** (8 * samples.dtype.itemsize) - 1.0 if whole else 1.0
    shares = samples.astype(np.float32) / np.float32(full)
    alpha = shares[..., 3:]
    colour = np.where(alpha > 0, shares[..., :3] / np.where(alpha > 0, alpha, 1), 0)
    return np.dstack([np.clip(colour, 0, 1), alpha]).astype(np.float32)
