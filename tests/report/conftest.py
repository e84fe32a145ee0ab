"""A small finished job: a gold disc and a blue band on bare metal."""

import dataclasses

import numpy as np
import pytest
from PIL import Image, ImageDraw

from maskgen.formats.shelf import sample_shelf
from maskgen.model.artwork import Picture
from maskgen.model.job import Artwork, ColourEntry, Ground, Job, Part, Rates, Shape
from maskgen.pipeline.artwork import trace_picture
from maskgen.pipeline.convert import convert


@pytest.fixture(scope="session")
def result():
    shelf = sample_shelf()
    image = Image.new("RGBA", (120 * 8, 60 * 8), (0, 0, 0, 0))
    pen = ImageDraw.Draw(image)
    pen.ellipse([8 * 8, 8 * 8, 52 * 8 - 1, 52 * 8 - 1], fill="#e8c81e")
    pen.rectangle([60 * 8, 20 * 8, 112 * 8 - 1, 40 * 8 - 1], fill="#1b3f94")
    pixels = np.asarray(image.resize((120, 60), Image.Resampling.BOX))
    first, second = (dye.name for dye in shelf.dyes[:2])
    job = Job(
        title="Dome <plates> & Ölwanne",
        quantity=3,
        companions=("end cap",),
        part=Part(Shape.PLATE, width_mm=60.0, height_mm=30.0),
        artwork=Artwork("artwork.png", width_mm=50.0),
        colour=(ColourEntry("#e8c81e", "disc", dye=first), ColourEntry("#1b3f94", "band", dye=second)),
        ground=Ground(bare=True),
        rates=Rates(hour=30.0, setup=15.0),
    )
    return dataclasses.replace(convert(job, shelf=shelf, artwork=trace_picture(Picture(pixels))), notes=("A note.",))
