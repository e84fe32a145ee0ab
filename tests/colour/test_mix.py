"""Recipes to colours: hand-computed stacks, exact swatches, an independent library's light and eye."""

import math
import warnings

import numpy as np
import pytest
from coloraide import Color
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.colour.mix import ROUGH_DELTA_E, ColourModel
from maskgen.colour.observer import SPECTRUM_TO_LINEAR, WAVELENGTHS_NM
from maskgen.colour.spaces import ciede2000
from maskgen.colour.spectra import recover_spectra
from maskgen.colour.uptake import fit_uptake
from maskgen.formats.shelf import sample_shelf
from maskgen.model.dyeing import Dye, MeasuredMix, Recipe, Shelf, Swatch

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it misses a plotting library nobody needs here
    import colour as colour_science

SAMPLE = ColourModel(sample_shelf())
bytes_ = st.integers(0, 255)
hexes = st.builds("#{:02x}{:02x}{:02x}".format, bytes_, bytes_, bytes_)


def grey(linear):
    """The 8 bit grey of a linear light, by the independent library."""
    return Color("srgb-linear", [linear] * 3).convert("srgb").to_string(hex=True, fit=False)


def delta_e(first, second):
    return Color(first).delta_e(Color(second), method="2000", space="lab-d65")


def spectrum_to_lab(spectrum):
    """CIELAB D65 of a reflectance spectrum, by the independent library with its own tables, 5 nm interpolated."""
    distribution = colour_science.SpectralDistribution(spectrum, WAVELENGTHS_NM)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it says that it extrapolates beyond 730 nm
        xyz = colour_science.sd_to_XYZ(
            distribution,
            colour_science.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"],
            colour_science.SDS_ILLUMINANTS["D65"],
        )
    return colour_science.XYZ_to_Lab(xyz / 100.0, colour_science.CCS_ILLUMINANTS["cie_2_1931"]["D65"])


@settings(max_examples=60, deadline=None)
@given(hexes)
def test_spectra_give_back_their_colour_through_another_librarys_eye(colour):
    linear = np.array([Color(colour).convert("srgb-linear").coords()])
    spectrum = recover_spectra(linear)[0]
    assert ((spectrum > 0) & (spectrum < 1)).all()
    back = Color("lab-d65", spectrum_to_lab(spectrum).tolist())
    # 0.5 is promised on the own 10 nm table; another table and its interpolation move saturated colours a little more.
    assert back.delta_e(Color(colour), method="2000", space="lab-d65") < 0.75


@settings(deadline=None)
@given(st.lists(hexes, min_size=1, max_size=8))
def test_spectra_give_back_their_colour(colours):
    linear = np.array([Color(c).convert("srgb-linear").coords() for c in colours])
    for colour, back in zip(colours, recover_spectra(linear) @ SPECTRUM_TO_LINEAR.T, strict=True):
        assert Color("srgb-linear", back.tolist()).delta_e(Color(colour), method="2000", space="lab-d65") < 0.5


def test_observer_and_light_are_those_of_the_independent_library():
    ones = np.ones(len(WAVELENGTHS_NM))
    assert SPECTRUM_TO_LINEAR @ ones == pytest.approx([1.0, 1.0, 1.0], abs=1e-12)
    for band in range(5, 30, 6):
        narrow = np.exp(-(((np.arange(len(ones)) - band) / 3.0) ** 2))
        ours = Color("srgb-linear", (SPECTRUM_TO_LINEAR @ narrow).tolist()).convert("lab-d65").coords()
        assert np.linalg.norm(np.array(ours) - spectrum_to_lab(narrow)) < 1.0


def test_grey_dyes_stack_by_hand():
    # Beer-Lambert: bare 0.6; one dye passes 1/2 of it, the other 1/3; both together 1/6. Flat spectra stay flat.
    shelf = Shelf(
        grey(0.6),
        18.0,
        (Dye("half", (Swatch(10.0, grey(0.3)),)), Dye("third", (Swatch(10.0, grey(0.2)),))),
    )
    model = ColourModel(shelf)
    both = model.predict(Recipe.of({"half": 10.0, "third": 10.0}))
    assert delta_e(both.colour, grey(0.1)) < 0.5
    assert not both.measured


def test_uptake_follows_the_law_by_hand():
    # tau = 4 min: after 4 min 1 - 1/e of the final depth, after 8 min 1 - 1/e^2.
    final = np.linspace(0.5, 3.0, 36)
    depth = {t: final * (1.0 - math.exp(-t / 4.0)) for t in (2.0, 12.0)}
    uptake = fit_uptake([2.0, 12.0], np.array(list(depth.values())), full_minutes=99.0)
    assert uptake.tau_minutes == pytest.approx(4.0, rel=0.01)
    assert uptake.at(4.0) == pytest.approx(final * (1.0 - 1.0 / math.e), rel=0.01)
    assert uptake.at(30.0) == pytest.approx(final * (1.0 - math.exp(-7.5)), rel=0.01)
    assert uptake.at(0.0) == pytest.approx(np.zeros(36), abs=1e-12)


def test_odd_swatches_are_still_met():
    for depths in ([1.0, 0.8], [1.0, 4.0, 4.5], [0.2, 2.0], [-0.1, 0.5]):
        times = [1.0, 5.0, 20.0][: len(depths)]
        absorbance = np.array(depths)[:, None] * np.ones(36)
        uptake = fit_uptake(times, absorbance, full_minutes=15.0)
        assert uptake.at(times) == pytest.approx(absorbance, abs=1e-9)
        assert np.isfinite(uptake.at([0.5, 3.0, 60.0])).all()


def test_every_swatch_and_coupon_is_itself():
    shelf = SAMPLE.shelf
    for dye in shelf.dyes:
        for swatch in dye.swatch:
            seen = SAMPLE.predict(Recipe.of({dye.name: swatch.minutes}))
            assert (seen.colour, seen.measured) == (swatch.colour, True)
            near = SAMPLE.predict(Recipe.of({dye.name: swatch.minutes * 1.0001}))
            assert not near.measured
            assert delta_e(near.colour, swatch.colour) < 1.0
    for mix in shelf.mixes:
        seen = SAMPLE.predict(mix.recipe)
        assert (seen.colour, seen.measured) == (mix.colour, True)
    assert SAMPLE.predict(Recipe()).colour == shelf.bare


def test_near_a_coupon_the_prediction_is_drawn_to_it_and_far_away_it_is_not():
    plain = Shelf(SAMPLE.shelf.bare, 18.0, SAMPLE.shelf.dyes)
    recipe = Recipe.of({"lemon": 4.0, "turquoise": 4.0})
    odd = ColourModel(Shelf(plain.bare, 18.0, plain.dyes, (MeasuredMix(recipe, "#aa3388"),)))
    plain = ColourModel(plain)
    near, far = Recipe.of({"lemon": 4.01, "turquoise": 4.0}), Recipe.of({"lemon": 8.0, "turquoise": 4.0})
    assert delta_e(odd.predict(near).colour, "#aa3388") < 2.0
    assert odd.predict(far).colour == plain.predict(far).colour
    other = Recipe.of({"lemon": 4.0, "rose": 4.0})
    assert odd.predict(other).colour == plain.predict(other).colour


@settings(deadline=None)
@given(st.sampled_from([d.name for d in SAMPLE.shelf.dyes]), st.floats(0.5, 14.0), st.floats(0.5, 5.0))
def test_more_time_is_never_lighter(dye, minutes, more):
    first, then = (SAMPLE.predict(Recipe.of({dye: t})).lab[0] for t in (minutes, minutes + more))
    assert then <= first + 0.5


def test_many_at_once_and_roughly_are_what_one_by_one_is():
    minutes = np.array([[a, b, c] for a in (1.0, 6.0) for b in (2.0, 15.0) for c in (3.0, 9.0)])
    dyes = ("lemon", "scarlet", "sea blue")
    many = SAMPLE.predict_doses(dyes, minutes)
    rough = SAMPLE.rough_labs(dyes, [(1.0, 6.0), (2.0, 15.0), (3.0, 9.0)])
    for row, colour in zip(minutes, many.colours, strict=True):
        assert SAMPLE.predict(Recipe.of(dict(zip(dyes, row, strict=True)))).colour == colour
    assert (ciede2000(many.lab, rough) < ROUGH_DELTA_E).all()
