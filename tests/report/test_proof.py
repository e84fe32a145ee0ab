"""The customer's picture: true proportion, predicted colours, nothing of the workshop."""

import dataclasses
import io
import math
import re

import cv2
import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from maskgen.model.job import Hole, Paper, Part, Shape
from maskgen.model.paths import Area, Partition, Region, rectangle
from maskgen.report.face_picture import draw_face, seen_from_front
from maskgen.report.proof_layout import Sight, Text, View, lay_out_proof
from maskgen.report.proof_pdf import write_proof_pdf
from maskgen.report.proof_png import DOTS_PER_MM, draw_proof, write_proof
from maskgen.report.typeface import advance

A4_MM = {"width_mm": 210.0, "height_mm": 297.0}


def with_job(result, **changes):
    return dataclasses.replace(result, job=dataclasses.replace(result.job, **changes))


def test_the_face_shows_the_predicted_colours_in_true_proportion(result):
    face = draw_face(result.simulation.predicted, width_px=600)
    assert face.shape == (300, 600, 3)
    names = {region.name: region for region in result.plan.regions}
    for name, (x_mm, y_mm) in {"disc": (17.5, 15.0), "band": (40.0, 15.0), "ground": (2.0, 2.0)}.items():
        pixel = face[int(y_mm * 10), int(x_mm * 10)]
        assert "#{:02x}{:02x}{:02x}".format(*pixel) == names[name].predicted
    disc = np.all(face == face[150, 175], axis=2).sum() / 100
    assert disc == pytest.approx(np.pi / 4 * (44 * 50 / 120) ** 2, rel=0.02)  # mm2: 44 of 120 px across, 50 mm wide


def test_a_picture_at_actual_size_is_measured_on_paper(result):
    """60 x 30 mm, found in the PNG by its resolution, and in the PDF by its operators."""
    image = Image.open(io.BytesIO(write_proof(result)))
    assert image.info["dpi"] == pytest.approx((203.2, 203.2), abs=0.1)
    views = [i for i in lay_out_proof(result, **A4_MM).items if isinstance(i, View)]
    assert [v.scale == 1.0 for v in views] == [False, True]
    assert (views[1].width, views[1].height) == (60.0, 30.0)
    assert views[0].width / views[0].height == pytest.approx(2.0)
    pixels = np.asarray(image.convert("RGB"))
    blue = next(r.predicted for r in result.plan.regions if r.name == "band")
    mask = np.all(pixels == [int(blue[i : i + 2], 16) for i in (1, 3, 5)], axis=2).astype(np.uint8)
    parts, _, boxes, _ = cv2.connectedComponentsWithStats(mask)
    widths = sorted(boxes[1:parts, cv2.CC_STAT_WIDTH] / 8.0)  # dots per mm
    band = 52 * 50 / 120  # mm: 52 of 120 px, 50 mm wide
    assert any(width == pytest.approx(band, abs=0.3) for width in widths)
    assert DOTS_PER_MM == 8.0


@pytest.mark.parametrize("paper", list(Paper))
def test_nothing_of_the_workshop_is_told(result, paper):
    page = PdfReader(io.BytesIO(write_proof_pdf(with_job(result, paper=paper)))).pages
    assert len(page) == 1
    text = " ".join(page[0].extract_text().split())
    assert "Dome <plates> & Ölwanne" in text
    assert "Predicted colours; dyed metal varies." in text
    for region in result.plan.regions:
        assert region.name in text
    for dye in result.shelf.dyes:
        assert dye.name not in text
    assert not re.search(r"mask|strip|bath|min\b|EUR|M1|film|coupon|quantity|to make", text, re.IGNORECASE)


def test_a_tube_is_seen_from_the_front_and_unrolled(result):
    part = Part(Shape.TUBE, diameter_mm=60.0 / math.pi, length_mm=30.0)
    proof = lay_out_proof(with_job(result, part=part), **A4_MM)
    front, unrolled = [i for i in proof.items if isinstance(i, View)][:2]
    assert (front.sight, unrolled.sight) == (Sight.FRONT, Sight.FACE)
    assert unrolled.width / front.width == pytest.approx(math.pi)
    assert front.height == unrolled.height
    draw_proof(with_job(result, part=part))


def test_a_stripe_on_a_tube_narrows_towards_the_side():
    """A stripe from angle a to b is seen from R sin a to R sin b."""
    around = 400
    regions = [
        Region("r1", "g", "#ffffff", Area((rectangle(0, 0, 400, 20),))),
        Region("r2", "s", "#000000", Area((rectangle(260, 0, 280, 20),))),
    ]
    front = seen_from_front(draw_face(Partition(400, 20, tuple(regions)), width_px=around))
    radius = around / (2 * math.pi)
    dark = np.flatnonzero(front[10, :, 0] < 60)
    expected = [radius + radius * math.sin((x - 200) / radius) for x in (260, 280)]
    assert (dark[0], dark[-1] + 1) == pytest.approx(expected, abs=1.5)


@pytest.mark.parametrize("part", [Part(Shape.PLATE, width_mm=12.0, height_mm=290.0), Part(Shape.DISC, diameter_mm=500)])
def test_every_part_fits_its_page(result, part):
    holes = (Hole((5.0, 5.0), 3.0),)
    for title in ("", "A title without an end " * 12, "見" * 200):
        proof = lay_out_proof(with_job(result, part=part, title=title, hole=holes), **A4_MM)
        assert proof.used_mm <= 297.0
        for item in proof.items:
            if isinstance(item, View):
                assert item.left >= 0
                assert item.left + item.width <= 210
            if isinstance(item, Text):
                assert item.left + advance(item.line, item.size) <= 210.0
