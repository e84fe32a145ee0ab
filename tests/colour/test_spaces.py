"""Spaces and differences against published tables and an independent colour library."""

import numpy as np
import pytest
from coloraide import Color
from hypothesis import given
from hypothesis import strategies as st

from maskgen.colour import spaces
from maskgen.errors import InputError

# Sharma, Wu and Dalal, Color Research and Application 30 (2005) 21-30, table 1: L1 a1 b1 L2 a2 b2 difference.
CIEDE2000_PAIRS = """
50.0000 2.6772 -79.7751 50.0000 0.0000 -82.7485 2.0425
50.0000 3.1571 -77.2803 50.0000 0.0000 -82.7485 2.8615
50.0000 2.8361 -74.0200 50.0000 0.0000 -82.7485 3.4412
50.0000 -1.3802 -84.2814 50.0000 0.0000 -82.7485 1.0000
50.0000 -1.1848 -84.8006 50.0000 0.0000 -82.7485 1.0000
50.0000 -0.9009 -85.5211 50.0000 0.0000 -82.7485 1.0000
50.0000 0.0000 0.0000 50.0000 -1.0000 2.0000 2.3669
50.0000 -1.0000 2.0000 50.0000 0.0000 0.0000 2.3669
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0009 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0010 7.1792
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0011 7.2195
50.0000 2.4900 -0.0010 50.0000 -2.4900 0.0012 7.2195
50.0000 -0.0010 2.4900 50.0000 0.0009 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0010 -2.4900 4.8045
50.0000 -0.0010 2.4900 50.0000 0.0011 -2.4900 4.7461
50.0000 2.5000 0.0000 50.0000 0.0000 -2.5000 4.3065
50.0000 2.5000 0.0000 73.0000 25.0000 -18.0000 27.1492
50.0000 2.5000 0.0000 61.0000 -5.0000 29.0000 22.8977
50.0000 2.5000 0.0000 56.0000 -27.0000 -3.0000 31.9030
50.0000 2.5000 0.0000 58.0000 24.0000 15.0000 19.4535
50.0000 2.5000 0.0000 50.0000 3.1736 0.5854 1.0000
50.0000 2.5000 0.0000 50.0000 3.2972 0.0000 1.0000
50.0000 2.5000 0.0000 50.0000 1.8634 0.5757 1.0000
50.0000 2.5000 0.0000 50.0000 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
PAIRS = np.array([[float(v) for v in row.split()] for row in CIEDE2000_PAIRS.strip().splitlines()])


def test_ciede2000_gives_the_published_pairs_in_both_orders():
    assert len(PAIRS) == 34
    assert np.round(spaces.ciede2000(PAIRS[:, :3], PAIRS[:, 3:6]), 4) == pytest.approx(PAIRS[:, 6], abs=1e-9)
    assert np.round(spaces.ciede2000(PAIRS[:, 3:6], PAIRS[:, :3]), 4) == pytest.approx(PAIRS[:, 6], abs=1e-9)


bytes_ = st.integers(0, 255)
hexes = st.builds("#{:02x}{:02x}{:02x}".format, bytes_, bytes_, bytes_)


@given(hexes, hexes)
def test_spaces_agree_with_an_independent_library(first, second):
    one = Color(first)
    assert spaces.srgb_to_lab(spaces.hex_to_srgb(first)) == pytest.approx(one.convert("lab-d65").coords(), abs=1e-4)
    assert spaces.srgb_to_oklab(spaces.hex_to_srgb(first)) == pytest.approx(one.convert("oklab").coords(), abs=1e-6)
    assert spaces.linear_to_xyz(spaces.srgb_to_linear(spaces.hex_to_srgb(first))) == pytest.approx(
        one.convert("xyz-d65").coords(), abs=1e-6
    )
    assert spaces.contrast_ratio(first, second) == pytest.approx(one.contrast(Color(second), method="wcag21"), abs=2e-3)
    assert spaces.difference(first, second) == pytest.approx(
        one.convert("lab-d65").delta_e(Color(second).convert("lab-d65"), method="2000", space="lab-d65"), abs=1e-3
    )


@given(hexes)
def test_every_8_bit_colour_survives_the_round_trip(colour):
    srgb = spaces.hex_to_srgb(colour)
    assert spaces.srgb_to_hex(srgb) == colour
    assert spaces.srgb_to_hex(spaces.linear_to_srgb(spaces.srgb_to_linear(srgb))) == colour


@pytest.mark.parametrize(
    ("colour", "lab"),
    # CIELAB under D65 of the sRGB primaries, to two decimals (handbook values, from memory).
    [("#ff0000", (53.24, 80.09, 67.20)), ("#00ff00", (87.73, -86.18, 83.18)), ("#0000ff", (32.30, 79.19, -107.86))],
)
def test_primaries_have_their_handbook_lab(colour, lab):
    assert spaces.hex_to_lab(colour) == pytest.approx(lab, abs=0.011)


def test_white_is_d65():
    # CSS Color 4: D65 is X 0.95046, Y 1, Z 1.08906.
    assert spaces.linear_to_xyz([1.0, 1.0, 1.0]) == pytest.approx([0.95046, 1.0, 1.08906], abs=1e-5)


@pytest.mark.parametrize(
    ("colour", "ratio"),
    # Greys on white around the thresholds 4.5:1 and 3:1 of WCAG 2 (1.4.3, 1.4.11); black is 21:1 by definition.
    [("#767676", 4.542), ("#777777", 4.478), ("#949494", 3.033), ("#959595", 2.995), ("#000000", 21.0)],
)
def test_contrast_on_white(colour, ratio):
    assert spaces.contrast_ratio(colour, "#ffffff") == pytest.approx(ratio, abs=6e-4)


def test_arrays_keep_their_shape():
    picture = np.random.default_rng(1).random((4, 5, 3))
    assert spaces.srgb_to_lab(picture).shape == (4, 5, 3)
    assert spaces.ciede2000(picture[:, None] * 50, picture[None] * 50).shape == (4, 4, 5)


@pytest.mark.parametrize("text", ["", "red", "#12345", "#1234567", "123456", "#12345g", "#+12345", "# 12 45"])
def test_what_is_no_colour_is_refused(text):
    with pytest.raises(InputError, match="not a colour"):
        spaces.hex_to_srgb(text)
