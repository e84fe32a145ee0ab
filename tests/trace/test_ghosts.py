"""Small pictures: what compression makes is given up, what somebody drew is kept."""

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from maskgen.formats.raster import read_picture
from maskgen.model.paths import signed_area
from maskgen.pipeline.artwork import trace_picture

LOGO = Path(__file__).parents[2] / "samples" / "logo.png"


def traced(image, kind, **options):
    data = io.BytesIO()
    image.save(data, kind, **options)
    return trace_picture(read_picture(data.getvalue(), name="a")).partition


def pieces_of(partition):
    return [(region.colour, piece) for region in partition.regions for piece in region.area.pieces]


@pytest.mark.parametrize(("width", "quality"), [(160, 60), (200, 40)])
def test_a_small_compressed_logo_has_no_specks(width, quality, exact):
    """Before, 0.03 to 0.4 of a pixel stood between its letters, and came as pieces of a mask."""
    logo = Image.open(LOGO).convert("RGB")
    small = logo.resize((width, round(logo.height * width / logo.width)), Image.Resampling.LANCZOS)
    partition = traced(small, "JPEG", quality=quality)
    sizes = [sum(signed_area(ring) for ring in piece.rings) for _, piece in pieces_of(partition)]
    assert min(sizes) >= 0.5
    exact(partition)


def test_a_star_of_one_pixel_and_a_line_of_one_are_kept():
    pixels = np.full((60, 80, 3), (27, 63, 148), dtype=np.uint8)
    pixels[10, 10] = pixels[10, 30] = (232, 200, 30)  # stars
    pixels[40, 5:70] = (232, 200, 30)  # a line
    pixels[20:30, 40:52] = (232, 200, 30)
    pixels[17, 46] = (232, 200, 30)  # a dot over it
    partition = traced(Image.fromarray(pixels), "PNG")
    stars = [piece for colour, piece in pieces_of(partition) if colour == "#e8c81e"]
    assert len(stars) == 5
    sizes = sorted(sum(signed_area(r) for r in p.rings) for p in stars)
    assert sizes == pytest.approx([1, 1, 1, 65, 120], rel=0.12)  # a line without smoothing loses its corners
