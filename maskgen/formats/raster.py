"""Read a picture: bytes to upright sRGB pixels with straight alpha.

Pillow reads what has 8 bits; it drops the low byte of 16-bit colour and knows no floating point colour, so deep PNG and
TIFF go through OpenCV. Orientation: Exif 2.32 and TIFF 6.0, tag 0x0112.
"""

from __future__ import annotations

import io
import struct
import warnings
from collections.abc import Mapping
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import BmpImagePlugin, GifImagePlugin, Image, ImageCms, JpegImagePlugin, PngImagePlugin, TiffImagePlugin
from PIL import WebPImagePlugin as WebpImagePlugin

from maskgen.errors import InputError
from maskgen.formats.raster_samples import (
    apply_profile,
    convert_profile,
    opaque,
    to_bytes,
    unpremultiplied,
    with_colour,
)
from maskgen.model.artwork import Picture

PIXEL_LIMIT = 100_000_000
"""Pictures above this are refused unread: 400 MB of pixels is what a bench computer bears."""

_KINDS = "PNG, JPEG, GIF, WebP, TIFF or BMP"
_SAVE_ANEW = "open it in a picture program, save it anew as PNG, and try that file"

# Orientation: mirrored left to right first, then so many quarter turns anticlockwise.
_ORIENTATIONS = {2: (True, 0), 3: (False, 2), 4: (True, 2), 5: (True, 1), 6: (False, 3), 7: (True, 3), 8: (False, 1)}

# TIFF 6.0 tags and values; colour profile: ICC.1:2010 annex B.
_WIDTH, _LENGTH, _BITS, _PHOTOMETRIC, _PLANAR, _EXTRA, _ORIENTATION = 256, 257, 258, 262, 284, 338, 274
_PROFILE = 34675
_WHITE_IS_ZERO, _SEPARATED, _SEPARATE_PLANES, _ASSOCIATED_ALPHA = 0, 5, 2, 1


@dataclass(frozen=True, slots=True)
class _Header:
    """What is known of a picture before any pixel is decoded."""

    kind: str
    size: tuple[int, int]
    deep: bool = False
    tags: Mapping[int, object] | None = None

    def tag(self, number: int, default: int) -> int:
        """First value of a TIFF tag."""
        value = (self.tags or {}).get(number, default)
        value = value[0] if isinstance(value, tuple) and value else value
        return value if isinstance(value, int) else default


def read_picture(data: bytes, *, name: str, pixel_limit: int = PIXEL_LIMIT) -> Picture:
    """Read PNG, JPEG, GIF (first frame), WebP, TIFF or BMP.

    Parameters
    ----------
    data
        The whole file.
    name
        What the file is called, for messages.
    pixel_limit
        Largest number of pixels, checked before any of them is decoded.

    Returns
    -------
    Picture
        (height, width, 4) uint8, sRGB, straight alpha, turned upright, read-only.

    Raises
    ------
    InputError
        When the file is empty, damaged, cut short, no such picture, or too large.
    """
    if not data:
        raise InputError("the file is empty", where=name, mend="save the picture again and check that it has a size")
    kind = _kind_of(data)
    if kind is None:
        raise InputError(f"this is no picture the program reads ({_KINDS})", where=name, mend=f"save it as {_KINDS}")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # damaged metadata is not the person's business while the pixels are sound
        try:
            header = _read_tiff_header(data) if kind == "TIFF" else _read_header(data, kind)
        except Exception as fault:  # decoders of foreign bytes raise nearly anything
            damage = f"the {kind} picture's header is damaged or cut short"
            raise InputError(damage, where=name, mend=_SAVE_ANEW) from fault
        _check_size(header.size, name, pixel_limit)
        try:
            pixels = _decode_deep(data, header) if header.deep else _decode(_open(data, kind))
        except Exception as fault:
            damage = f"the {kind} picture is damaged, cut short or of a rare form ({fault})"
            raise InputError(damage, where=name, mend=_SAVE_ANEW) from fault
    upright = np.ascontiguousarray(pixels)
    upright.setflags(write=False)
    return Picture(upright)


def _kind_of(data: bytes) -> str | None:
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if data.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if data.startswith((b"GIF87a", b"GIF89a")):
        return "GIF"
    if data.startswith(b"RIFF") and data[8:12] == b"WEBP":
        return "WebP"
    if data.startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")):
        return "TIFF"
    return "BMP" if data.startswith(b"BM") else None


def _open(data: bytes, kind: str) -> Image.Image:
    """Open by the class itself: `Image.open` has a limit of its own, which knows nothing of ours."""
    stream = io.BytesIO(data)
    match kind:
        case "PNG":
            return PngImagePlugin.PngImageFile(stream)
        case "JPEG":
            return JpegImagePlugin.JpegImageFile(stream)
        case "GIF":
            return GifImagePlugin.GifImageFile(stream)
        case "WebP":
            return WebpImagePlugin.WebPImageFile(stream)
        case "TIFF":
            return TiffImagePlugin.TiffImageFile(stream)
        case _:
            return BmpImagePlugin.BmpImageFile(stream)


def _read_header(data: bytes, kind: str) -> _Header:
    if kind == "PNG":
        # IHDR comes first; a width of 0 must be seen here, before Pillow divides by it.
        width, height, depth = struct.unpack(">IIB", data[16:25])
        return _Header(kind, (width, height), deep=depth == 16)
    return _Header(kind, _open(data, kind).size)


def _read_tiff_header(data: bytes) -> _Header:
    """Read the first directory only: Pillow knows no mode for many deep pictures."""
    stream = io.BytesIO(data)
    directory = TiffImagePlugin.ImageFileDirectory_v2(stream.read(16 if data[2:4] in {b"+\0", b"\0+"} else 8))
    stream.seek(directory.next)
    directory.load(stream)
    tags = dict(directory)
    bits = tags.get(_BITS, (1,))
    deep = max(bits if isinstance(bits, tuple) else (bits,)) > 8
    return _Header("TIFF", (int(tags[_WIDTH]), int(tags[_LENGTH])), deep=deep, tags=tags)


def _check_size(size: tuple[int, int], name: str, pixel_limit: int) -> None:
    width, height = size
    if width < 1 or height < 1:
        raise InputError(f"the picture is {width} x {height} px", where=name, mend="save it with at least one pixel")
    if width * height > pixel_limit:
        raise InputError(
            f"the picture is {width} x {height} px, {width * height / 1e6:.1f} megapixels; "
            f"the limit is {pixel_limit / 1e6:g}",
            where=name,
            mend="scale it down, some 2000 px along the longer side are plenty",
        )


def _decode(image: Image.Image) -> NDArray[np.uint8]:
    """Decode 8-bit samples, apply the profile, give straight RGBA, upright."""
    # Pillow turns TIFF upright by itself while it loads.
    orientation = 1 if image.format == "TIFF" else _exif_orientation(image)
    image.load()
    profile, gamma = image.info.get("icc_profile"), image.info.get("gamma")
    see_through = image.mode in {"LA", "PA", "RGBA", "La", "RGBa"} or "transparency" in image.info
    if image.mode == "CMYK":
        pixels = opaque(np.asarray(apply_profile(image, profile)))
    elif image.mode == "LAB":
        pixels = opaque(np.asarray(convert_profile(image, ImageCms.createProfile("LAB"))))
    elif image.mode in {"I", "F", "I;16", "I;16B", "I;16L"}:
        pixels = with_colour(to_bytes(np.asarray(image)), profile, gamma)
    else:
        grey = image.mode in {"1", "L", "LA", "La"}
        samples = np.asarray(image.convert("RGBA" if see_through else "RGB"))
        if grey:
            samples = samples[..., [0, 3]] if see_through else samples[..., 0]
        pixels = with_colour(samples, profile, gamma)
    return _turn_upright(pixels, orientation)


def _exif_orientation(image: Image.Image) -> int:
    try:
        return int(image.getexif().get(_ORIENTATION, 1))
    except Exception:  # damaged Exif: the picture itself may be sound
        return 1


def _decode_deep(data: bytes, header: _Header) -> NDArray[np.uint8]:
    """Decode 16-bit and floating point samples, apply the profile, give 8-bit straight RGBA, upright."""
    if header.kind == "TIFF" and (
        header.tag(_PLANAR, 1) == _SEPARATE_PLANES or header.tag(_PHOTOMETRIC, 1) == _SEPARATED
    ):
        return _decode(_open(data, "TIFF"))  # OpenCV knows neither; Pillow cuts these to the high byte
    samples = _decode_samples(data)
    if header.kind == "PNG":
        image = _open(data, "PNG")
        image.load()  # chunks behind the pixels, and the check that none is missing
        info = image.info
        pixels = with_colour(
            _without_key_colour(samples, info.get("transparency")), info.get("icc_profile"), info.get("gamma")
        )
        return _turn_upright(pixels, _exif_orientation(image))
    # OpenCV turns TIFF upright by itself, and leaves white-is-zero and premultiplied colour as they are.
    if header.tag(_PHOTOMETRIC, 1) == _WHITE_IS_ZERO and np.issubdtype(samples.dtype, np.unsignedinteger):
        samples = np.array(2 ** (8 * samples.dtype.itemsize) - 1, samples.dtype) - samples
    if samples.ndim == 3 and samples.shape[2] == 4 and header.tag(_EXTRA, 2) == _ASSOCIATED_ALPHA:
        samples = unpremultiplied(samples)
    profile = (header.tags or {}).get(_PROFILE)
    return with_colour(to_bytes(samples), profile if isinstance(profile, bytes) else None, None)


def _decode_samples(data: bytes) -> NDArray[np.generic]:
    """Grey (height, width) or RGB(A) samples at their own depth."""
    level = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        flags = cv2.IMREAD_UNCHANGED
        samples = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    finally:
        cv2.utils.logging.setLogLevel(level)
    if samples is None:
        raise ValueError("its samples cannot be read")
    if samples.ndim == 3 and samples.shape[2] >= 3:
        samples = samples[..., [2, 1, 0, 3][: samples.shape[2]]]
    return np.asarray(samples)


def _without_key_colour(samples: NDArray[np.generic], key: object) -> NDArray[np.uint8]:
    """Scale to bytes; samples that equal a PNG's transparent colour (compared at full depth) get alpha 0."""
    scaled = to_bytes(samples)
    if not isinstance(key, tuple | int):
        return scaled
    deep = samples[..., None] if samples.ndim == 2 else samples
    colours = deep[..., :3]
    hidden = np.all(colours == np.array(key, dtype=samples.dtype), axis=-1)
    colour = scaled[..., :3] if scaled.ndim == 3 else scaled
    return np.dstack([colour, np.where(hidden, 0, 255).astype(np.uint8)])


def _turn_upright(pixels: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    mirrored, quarter_turns = _ORIENTATIONS.get(orientation, (False, 0))
    return np.rot90(pixels[:, ::-1] if mirrored else pixels, quarter_turns)
