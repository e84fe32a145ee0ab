"""Sizes the job leaves open are settled as a person expects."""

import math

import pytest

from maskgen.errors import InputError
from maskgen.formats.svg_artwork import read_svg_artwork
from maskgen.model.job import Artwork, Job, Part, Shape
from maskgen.pipeline.artwork import flatten_drawing
from maskgen.pipeline.size import settle_size

PLATE = Part(Shape.PLATE, width_mm=60.0, height_mm=30.0)


def settled(artwork=None, part=None, aspect=2.0):
    return settle_size(Job(artwork=artwork or Artwork("a.png"), part=part), aspect=aspect)


def test_a_stated_width_stays():
    assert settled(Artwork("a.png", width_mm=40.0), PLATE).artwork.width_mm == 40.0


def test_a_stated_height_gives_the_width():
    assert settled(Artwork("a.png", height_mm=10.0), PLATE).artwork.width_mm == 20.0


def test_between_two_stated_sides_the_artwork_is_not_distorted():
    assert settled(Artwork("a.png", width_mm=40.0, height_mm=10.0), PLATE).artwork.width_mm == 20.0
    assert settled(Artwork("a.png", width_mm=16.0, height_mm=10.0)).part.face_mm == (16.0, 8.0)


@pytest.mark.parametrize(("aspect", "width"), [(2.0, 56.0), (4.0, 58.0), (1.0, 28.0)])
def test_without_a_size_the_artwork_fills_the_plate_up_to_the_keepout(aspect, width):
    assert settled(part=PLATE, aspect=aspect).artwork.width_mm == pytest.approx(width)


def test_on_a_disc_the_corners_touch_the_keepout():
    width = settled(part=Part(Shape.DISC, diameter_mm=32.0), aspect=1.5).artwork.width_mm
    assert math.hypot(width, width / 1.5) == pytest.approx(30.0)


def test_on_a_tube_no_more_than_half_way_round():
    part = Part(Shape.TUBE, diameter_mm=25.0, length_mm=80.0)
    assert settled(part=part, aspect=4.0).artwork.width_mm == pytest.approx((25 * math.pi - 2) / 2)


def test_without_a_part_the_artwork_is_the_face():
    job = settled(Artwork("a.png", width_mm=40.0))
    assert job.part.face_mm == (40.0, 20.0)
    assert job.part.keepout_mm == 0.0


def test_without_size_and_part_the_person_is_asked():
    with pytest.raises(InputError, match="--width"):
        settled()


def test_a_keepout_larger_than_the_part_is_refused():
    with pytest.raises(InputError, match="no room"):
        settled(part=Part(Shape.PLATE, width_mm=10.0, height_mm=4.0, keepout_mm=2.0))


@pytest.mark.parametrize(
    ("width", "height", "wide"),
    [
        ("60mm", "40mm", 60.0),
        ("2in", "1.5in", 50.8),
        ("6cm", "4cm", 60.0),
        ("300", "200", None),
        ("300px", "200px", None),
    ],
)
def test_a_drawing_that_says_how_wide_it_is_needs_no_other_size(width, height, wide):
    """Units of length as CSS has them (CSS Values 4, 6.2); pixels say nothing of a part."""
    text = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" viewBox="0 0 30 20">'
    text += '<rect width="30" height="20" fill="#1b3f94"/></svg>'
    artwork = flatten_drawing(read_svg_artwork(text.encode(), name="a.svg"))
    assert artwork.width_mm == wide
    if wide is not None:
        job = settle_size(Job(artwork=Artwork("a.svg")), aspect=1.5, drawn_mm=wide)
        assert job.artwork.width_mm == wide
        assert job.part.face_mm == pytest.approx((wide, wide / 1.5))
        job = settle_size(Job(artwork=Artwork("a.svg", width_mm=20.0)), aspect=1.5, drawn_mm=wide)
        assert job.artwork.width_mm == 20.0
