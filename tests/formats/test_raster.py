import io
import struct
import zlib

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from maskgen.errors import InputError
from maskgen.formats.raster import read_picture

RNG = np.random.default_rng(7)
SMALL = RNG.integers(0, 256, (5, 7, 3), dtype=np.uint8)
SMALL_ALPHA = RNG.integers(0, 256, (5, 7, 4), dtype=np.uint8)


def opaque(rgb):
    return np.dstack([rgb, np.full(rgb.shape[:2], 255, np.uint8)])


def chunk(kind, body):
    return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))


def png(rows, *, size, depth, kind, extra=b""):
    """A PNG written by hand (PNG specification, third edition): filter 0 on every row."""
    head = struct.pack(">IIBBBBB", *size, depth, kind, 0, 0, 0)
    raw = b"".join(b"\0" + row for row in rows)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + extra + chunk(b"IDAT", zlib.compress(raw)) + chunk(b"IEND", b"")
    )


def encoded(kind, array, *parameters):
    done, data = cv2.imencode(kind, array, list(parameters))
    assert done
    return data.tobytes()


def tiff(array, **options):
    stream = io.BytesIO()
    tifffile.imwrite(stream, array, **options)
    return stream.getvalue()


def exif_orientation(value):
    """TIFF header with one IFD entry: tag 0x0112, SHORT (Exif 2.32, 4.6.4)."""
    return b"II*\0" + struct.pack("<IHHHIHHI", 8, 1, 0x0112, 3, 1, value, 0, 0)


def pillow(image, kind, **options):
    stream = io.BytesIO()
    image.save(stream, kind, **options)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("kind", "parameters"),
    [(".png", ()), (".bmp", ()), (".tiff", ()), (".webp", (cv2.IMWRITE_WEBP_QUALITY, 101))],
)
def test_lossless_kinds_come_back_exactly(kind, parameters):
    picture = read_picture(encoded(kind, SMALL[..., ::-1], *parameters), name="a")
    assert np.array_equal(picture.pixels, opaque(SMALL))
    assert not picture.pixels.flags.writeable


def test_jpeg_is_read_as_opencv_reads_it():
    smooth = cv2.GaussianBlur(RNG.integers(0, 256, (40, 50, 3), dtype=np.uint8), (0, 0), 5)
    data = encoded(".jpg", smooth, cv2.IMWRITE_JPEG_QUALITY, 90)
    expected = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)[..., ::-1]
    assert np.abs(read_picture(data, name="a").pixels[..., :3].astype(int) - expected).max() <= 3


def test_alpha_stays_straight():
    for data in (
        png([row.tobytes() for row in SMALL_ALPHA], size=(7, 5), depth=8, kind=6),
        tiff(SMALL_ALPHA, photometric="rgb", extrasamples=["unassalpha"]),
    ):
        assert np.array_equal(read_picture(data, name="a").pixels, SMALL_ALPHA)


def test_grey_with_alpha():
    rows = SMALL_ALPHA[..., 2:]
    picture = read_picture(png([row.tobytes() for row in rows], size=(7, 5), depth=8, kind=4), name="a")
    assert np.array_equal(picture.pixels, SMALL_ALPHA[..., [2, 2, 2, 3]])


def test_one_bit():
    picture = read_picture(png([b"\xa0", b"\x40"], size=(3, 2), depth=1, kind=0), name="a")
    assert picture.pixels[..., 0].tolist() == [[255, 0, 255], [0, 255, 0]]
    assert (picture.pixels[..., 3] == 255).all()


def test_palette_with_transparent_entries():
    palette = chunk(b"PLTE", bytes([10, 20, 30, 40, 50, 60, 70, 80, 90])) + chunk(b"tRNS", bytes([0, 128]))
    picture = read_picture(png([b"\0\1\2"], size=(3, 1), depth=8, kind=3, extra=palette), name="a")
    assert picture.pixels.tolist() == [[[10, 20, 30, 0], [40, 50, 60, 128], [70, 80, 90, 255]]]


def test_transparent_colour_key_of_8_and_16_bits():
    key8 = chunk(b"tRNS", struct.pack(">HHH", 1, 2, 3))
    picture = read_picture(png([bytes([1, 2, 3, 1, 2, 4])], size=(2, 1), depth=8, kind=2, extra=key8), name="a")
    assert picture.pixels[0, :, 3].tolist() == [0, 255]
    key16 = chunk(b"tRNS", struct.pack(">HHH", 300, 2, 65535))
    row = struct.pack(">HHHHHH", 300, 2, 65535, 301, 2, 65535)
    picture = read_picture(png([row], size=(2, 1), depth=16, kind=2, extra=key16), name="a")
    assert picture.pixels[0, :, 3].tolist() == [0, 255]


def scaled16(samples):
    """PNG specification 13.12: linear scaling of the sample depth, rounded."""
    return np.floor(samples.astype(np.float64) * 255 / 65535 + 0.5).astype(np.uint8)


@pytest.mark.parametrize(("channels", "kind"), [(1, 0), (2, 4), (3, 2), (4, 6)])
def test_16_bit_png_is_rounded_not_cut(channels, kind):
    samples = RNG.integers(0, 65536, (4, 6, channels), dtype=np.uint16)
    data = png([row.astype(">u2").tobytes() for row in samples], size=(6, 4), depth=16, kind=kind)
    pixels = read_picture(data, name="a").pixels
    order = {1: [0, 0, 0], 2: [0, 0, 0, 1], 3: [0, 1, 2], 4: [0, 1, 2, 3]}[channels]
    assert np.array_equal(pixels[..., : len(order)], scaled16(samples)[..., order])


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("options", [{}, {"compression": "zlib"}, {"rowsperstrip": 2}])
def test_16_bit_tiff(byteorder, options):
    colour = RNG.integers(0, 65536, (4, 6, 3), dtype=np.uint16)
    pixels = read_picture(tiff(colour, photometric="rgb", byteorder=byteorder, **options), name="a").pixels
    assert np.array_equal(pixels, opaque(scaled16(colour)))
    grey = colour[..., 0]
    pixels = read_picture(tiff(grey, photometric="minisblack", byteorder=byteorder, **options), name="a").pixels
    assert np.array_equal(pixels[..., 1], scaled16(grey))
    pixels = read_picture(tiff(grey, photometric="miniswhite", byteorder=byteorder, **options), name="a").pixels
    assert np.array_equal(pixels[..., 1], scaled16(65535 - grey))


def test_16_bit_tiff_with_alpha_of_both_kinds():
    samples = RNG.integers(0, 65536, (4, 6, 4), dtype=np.uint16)
    straight = read_picture(tiff(samples, photometric="rgb", extrasamples=["unassalpha"]), name="a").pixels
    assert np.array_equal(straight, scaled16(samples))
    alpha = np.array([[65535, 32768, 13107]], dtype=np.uint16)
    colour = np.stack([alpha // 2, alpha // 4, alpha, alpha], axis=-1)
    pixels = read_picture(tiff(colour, photometric="rgb", extrasamples=["assocalpha"]), name="a").pixels
    assert np.abs(pixels[0, :, :3].astype(int) - [128, 64, 255]).max() <= 2
    assert np.array_equal(pixels[..., 3], scaled16(alpha))


def test_premultiplied_8_bit_tiff_becomes_straight():
    colour = np.array([[[100, 50, 0, 200], [0, 0, 0, 0]]], dtype=np.uint8)
    pixels = read_picture(tiff(colour, photometric="rgb", extrasamples=["assocalpha"]), name="a").pixels
    assert np.abs(pixels[0, 0].astype(int) - [127.5, 63.75, 0, 200]).max() <= 1
    assert pixels[0, 1, 3] == 0


@pytest.mark.parametrize("top", [1.0, 255.0, 65535.0])
def test_floating_point_tiff(top):
    share = RNG.random((4, 6, 3)).astype(np.float32)
    share[0, 0] = 1.0
    pixels = read_picture(tiff(share * np.float32(top), photometric="rgb"), name="a").pixels
    assert np.abs(pixels[..., :3] - share * 255).max() <= 0.51
    grey = read_picture(tiff(share[..., 0] * np.float32(top)), name="a").pixels
    assert np.abs(grey[..., 0] - share[..., 0] * 255).max() <= 0.51


# Exif 2.32, tag Orientation: which side of the scene the 0th row and the 0th column show.
TURNS = {
    1: lambda a: a,
    2: np.fliplr,
    3: lambda a: a[::-1, ::-1],
    4: np.flipud,
    5: lambda a: np.swapaxes(a, 0, 1),
    6: lambda a: np.swapaxes(a, 0, 1)[:, ::-1],
    7: lambda a: np.swapaxes(a, 0, 1)[::-1, ::-1],
    8: lambda a: np.swapaxes(a, 0, 1)[::-1],
}


@pytest.mark.parametrize("value", sorted(TURNS))
def test_every_orientation(value):
    upright = opaque(TURNS[value](SMALL))
    body = [row.tobytes() for row in SMALL]
    data = png(body, size=(7, 5), depth=8, kind=2, extra=chunk(b"eXIf", exif_orientation(value)))
    assert np.array_equal(read_picture(data, name="a").pixels, upright)
    for array in (SMALL, SMALL.astype(np.uint16) * 257):
        data = tiff(array, photometric="rgb", extratags=[(274, 3, 1, value, True)])
        assert np.array_equal(read_picture(data, name="a").pixels, upright)


@pytest.mark.parametrize("value", sorted(TURNS))
def test_orientation_of_jpeg(value):
    upright = np.zeros((16, 32, 3), np.uint8)
    upright[:, :8], upright[:4] = 255, 128  # bright at the left, grey at the top
    inverse = {6: 8, 8: 6}.get(value, value)
    stored = np.ascontiguousarray(TURNS[inverse](upright))
    jpeg = encoded(".jpg", stored, cv2.IMWRITE_JPEG_QUALITY, 100)
    exif = b"Exif\0\0" + exif_orientation(value)
    data = jpeg[:2] + b"\xff\xe1" + struct.pack(">H", len(exif) + 2) + exif + jpeg[2:]
    pixels = read_picture(data, name="a").pixels
    assert pixels.shape[:2] == upright.shape[:2]
    assert np.abs(pixels[..., :3].astype(int) - upright).max() <= 24


def test_profile_is_applied():
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))  # a profile made for other channels counts as absent
    data = pillow(Image.fromarray(SMALL), "PNG", icc_profile=lab.tobytes())
    assert np.array_equal(read_picture(data, name="a").pixels, opaque(SMALL))
    srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    data = pillow(Image.fromarray(SMALL), "PNG", icc_profile=srgb)
    assert np.array_equal(read_picture(data, name="a").pixels, opaque(SMALL))


def s15(value):
    return struct.pack(">i", round(value * 65536))


def matrix_profile(columns, gamma):
    """A matrix and curve display profile (ICC.1:2001-04, 6.3.1.2) with these XYZ columns under D50."""
    tags = {b"wtpt": b"XYZ \0\0\0\0" + s15(0.9642) + s15(1.0) + s15(0.8249)}
    for name, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), columns, strict=True):
        tags[name] = b"XYZ \0\0\0\0" + b"".join(s15(v) for v in column)
    for name in (b"rTRC", b"gTRC", b"bTRC"):
        tags[name] = b"curv\0\0\0\0" + struct.pack(">IH", 1, round(gamma * 256)) + b"\0\0"
    tags[b"desc"] = b"desc\0\0\0\0" + struct.pack(">I", 5) + b"test\0" + b"\0" * 78
    tags[b"cprt"] = b"text\0\0\0\0none\0\0\0\0"
    place, table, body = 132 + 12 * len(tags), b"", b""
    for name, value in tags.items():
        padded = value + b"\0" * (-len(value) % 4)
        table += name + struct.pack(">II", place + len(body), len(value))
        body += padded
    head = struct.pack(">I4sI4s4s4s", place + len(body), b"lcms", 0x02100000, b"mntr", b"RGB ", b"XYZ ")
    head += b"\0" * 12 + b"acsp" + b"\0" * 28 + s15(0.9642) + s15(1.0) + s15(0.8249) + b"\0" * 48
    return head + struct.pack(">I", len(tags)) + table + body


def test_wide_gamut_profile_against_its_equation():
    # Adobe RGB (1998) under D50 (gamma 563/256), and sRGB's primaries under D50: both from memory.
    adobe = np.array([[0.60974, 0.20528, 0.14919], [0.31111, 0.62567, 0.06322], [0.01947, 0.06087, 0.74457]])
    srgb = np.array([[0.43607, 0.38515, 0.14307], [0.22249, 0.71687, 0.06061], [0.01392, 0.09708, 0.71410]])
    inside = RNG.integers(90, 170, (6, 6, 3), dtype=np.uint8)
    light = (inside / 255.0) ** (563 / 256) @ (np.linalg.inv(srgb) @ adobe).T
    expected = 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.abs(light) ** (1 / 2.4) - 0.055)
    data = pillow(Image.fromarray(inside), "PNG", icc_profile=matrix_profile(adobe.T, 563 / 256))
    pixels = read_picture(data, name="a").pixels[..., :3]
    assert np.abs(expected - inside).max() > 5
    assert np.abs(pixels - expected).max() <= 1.6


def test_png_gamma_without_a_profile():
    row = bytes([0, 55, 188, 255])
    data = png([row], size=(4, 1), depth=8, kind=0, extra=chunk(b"gAMA", struct.pack(">I", 100000)))
    light = np.frombuffer(row, np.uint8) / 255
    expected = 255 * np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    assert np.abs(read_picture(data, name="a").pixels[0, :, 0] - expected).max() <= 0.51


def test_cmyk_jpeg_is_not_read_inverted():
    # Adobe Technical Note 5116: CMYK in JPEG is stored inverted; Pillow writes it so, with the APP14 marker.
    paper, solid_cyan, key = Image.new("CMYK", (16, 16)), Image.new("CMYK", (16, 16), (255, 0, 0, 0)), 255
    black = Image.new("CMYK", (16, 16), (0, 0, 0, key))
    seen = [read_picture(pillow(i, "JPEG", quality=95), name="a").pixels[8, 8, :3] for i in (paper, solid_cyan, black)]
    assert np.abs(np.array(seen).astype(int) - [[255] * 3, [0, 255, 255], [0] * 3]).max() <= 6


def test_cmyk_tiff():
    samples = np.zeros((2, 3, 4), np.uint8)
    samples[0, 0] = (0, 255, 255, 0)
    samples[0, 1] = (0, 0, 0, 255)
    pixels = read_picture(tiff(samples, photometric="separated"), name="a").pixels[0, :, :3]
    assert np.abs(pixels.astype(int) - [[255, 0, 0], [0, 0, 0], [255, 255, 255]]).max() <= 3


def test_first_frame_of_a_gif():
    frames = [Image.new("RGB", (4, 3), colour) for colour in ("#c81e28", "#1e28c8")]
    data = pillow(frames[0], "GIF", save_all=True, append_images=frames[1:])
    assert (read_picture(data, name="a").pixels == [200, 30, 40, 255]).all()


def test_transparent_gif():
    # GIF89a, 17 to 25: two pixels, entry 1 transparent; LZW codes clear, 0, 1, end of 3 bits.
    data = (
        b"GIF89a" + struct.pack("<HHBBB", 2, 1, 0x80, 0, 0) + bytes([9, 8, 7, 200, 100, 50])
        + b"\x21\xf9\x04\x01\0\0\x01\0" + b"\x2c" + struct.pack("<HHHHB", 0, 0, 2, 1, 0) + b"\x02\x02\x44\x0a\0\x3b"
    )  # fmt: skip
    pixels = read_picture(data, name="a").pixels
    assert pixels[0, 0].tolist() == [9, 8, 7, 255]
    assert pixels[0, 1, 3] == 0


def header_only_png(width, height):
    return png([], size=(width, height), depth=8, kind=2)


def test_too_large_is_refused_from_the_header():
    with pytest.raises(InputError, match=r"huge\.png: the picture is 50000 x 50000 px, 2500\.0 megapixels"):
        read_picture(header_only_png(50000, 50000), name="huge.png")
    with pytest.raises(InputError, match="limit is 3e-05"):
        read_picture(encoded(".png", SMALL), name="a", pixel_limit=30)
    read_picture(encoded(".png", SMALL), name="a", pixel_limit=35)


GOOD = {
    "png": encoded(".png", SMALL),
    "jpg": encoded(".jpg", SMALL),
    "bmp": encoded(".bmp", SMALL),
    "webp": encoded(".webp", SMALL),
    "tiff": encoded(".tiff", SMALL),
    "gif": pillow(Image.fromarray(RNG.integers(0, 255, (40, 40), dtype=np.uint8)), "GIF"),
    "png16": encoded(".png", SMALL.astype(np.uint16) * 257),
    "tiff16": tiff(SMALL.astype(np.uint16) * 257, photometric="rgb"),
}


@pytest.mark.parametrize("kind", sorted(GOOD))
@pytest.mark.parametrize("share", [0.1, 0.4, 0.75])
def test_cut_short_is_one_line_with_a_remedy(kind, share):
    data = GOOD[kind][: max(9, int(len(GOOD[kind]) * share))]
    with pytest.raises(InputError) as caught:
        read_picture(data, name="logo")
    assert str(caught.value).startswith("logo: ")
    assert "\n" not in str(caught.value)
    assert caught.value.mend


@pytest.mark.parametrize(
    "data", [b"", b"hello, this is text", b"\x89PNG\r\n\x1a\n", b"BM", b"GIF89a", b"%PDF-1.4 x" * 9]
)
def test_what_is_no_picture_is_refused(data):
    with pytest.raises(InputError, match=r"^letter: "):
        read_picture(data, name="letter")


def test_zero_size_is_refused():
    with pytest.raises(InputError):
        read_picture(header_only_png(0, 5), name="a")


@pytest.mark.parametrize("kind", sorted(GOOD))
def test_damaged_bytes_end_in_a_picture_or_one_clear_error(kind):
    rng, lines = np.random.default_rng(3), []
    for _ in range(60):
        data = bytearray(GOOD[kind])
        for place in rng.integers(8, len(data), 4):
            data[place] = rng.integers(0, 256)
        try:
            assert read_picture(bytes(data), name="a", pixel_limit=10**6).pixels.shape[2] == 4
        except InputError as fault:
            lines.append(str(fault))
    assert all("\n" not in line and line.startswith("a: ") for line in lines)
