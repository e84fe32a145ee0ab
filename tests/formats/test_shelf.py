"""The dye shelf: what is read, what comes back, what is refused and how."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from maskgen.errors import InputError
from maskgen.formats.shelf import read_shelf, sample_shelf, sample_shelf_bytes, write_shelf
from maskgen.model.dyeing import Dye, MeasuredMix, Recipe, Shelf, Swatch

GOOD = """
[oxide]
bare = "#c9cccf"
thickness_um = 18.0

[[dye]]
name = "lemon"
swatch = [ { minutes = 15.0, colour = "#CDB60F" }, { minutes = 1, colour = "#cac8a3" } ]

[[dye]]
name = "sea blue"
strips = false
temperature_c = 55.0
full_minutes = 12.0
swatch = [ { minutes = 4.0, colour = "#4d6ca1" } ]

[[mix]]
dyes = [ { dye = "sea blue", minutes = 2.0 }, { dye = "lemon", minutes = 5.0 } ]
colour = "#2e7d4f"
"""


def test_a_shelf_is_read():
    assert read_shelf(GOOD.encode(), name="shelf.toml") == Shelf(
        "#c9cccf",
        18.0,
        (
            Dye("lemon", (Swatch(1.0, "#cac8a3"), Swatch(15.0, "#cdb60f"))),
            Dye("sea blue", (Swatch(4.0, "#4d6ca1"),), False, 55.0, 12.0),
        ),
        (MeasuredMix(Recipe((("lemon", 5.0), ("sea blue", 2.0))), "#2e7d4f"),),
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('bare = "#c9cccf"\n', "", "oxide: key `bare` is missing"),
        ("[oxide]", "[oxid]", "unknown key `oxid`; did you mean `oxide`?"),
        ("thickness_um", "thicknes_um", "did you mean `thickness_um`?"),
        ("thickness_um = 18.0", "thickness_um = 0", "oxide.thickness_um: is 0; write a number above 0"),
        ('"#c9cccf"', '"grey"', "oxide.bare: 'grey' is not a colour; write it as #rrggbb"),
        ('"#4d6ca1"', '"#4d6ca"', "dye[2].swatch[1].colour: '#4d6ca' is not a colour"),
        ('name = "lemon"', 'nmae = "lemon"', "did you mean `name`?"),
        ('name = "lemon"', 'name = ""', "dye[1].name"),
        ('name = "lemon"', 'name = "bare"', "stands for the undyed oxide"),
        ('name = "lemon"', 'name = "sea blue"', "two dyes are named `sea blue`"),
        ("minutes = 15.0", "minutes = 1.0", "dye `lemon` has two swatches at 1 minutes"),
        ("minutes = 15.0", "minutes = -1", "is -1; write a number above 0"),
        ("minutes = 15.0", "minutes = nan", "not a finite number"),
        ("minutes = 15.0", 'minutes = "15"', "write a number"),
        ("strips = false", 'strips = "no"', "dye[2].strips: is the text 'no'; write true or false"),
        ("temperature_c = 55.0", "temperature_c = 140", "dye[2].temperature_c: is 140"),
        ("full_minutes = 12.0", "full_minutes = 0", "dye[2].full_minutes: is 0"),
        ('swatch = [ { minutes = 4.0, colour = "#4d6ca1" } ]', "swatch = []", "dye `sea blue` has no swatch"),
        (
            '{ dye = "lemon"',
            '{ dye = "lemmon"',
            "mix[1].dyes[2].dye: no dye `lemmon` on the shelf; did you mean `lemon`?",
        ),
        ('{ dye = "sea blue", minutes = 2.0 }', '{ dye = "lemon", minutes = 2.0 }', "a dye stands twice"),
        ("[[mix]]", "[[mixes]]", "did you mean `mix`?"),
        ("thickness_um = 18.0", "thickness_um = ", "not valid TOML"),
    ],
)
def test_what_is_wrong_is_said_with_place_and_remedy(old, new, said):
    assert old in GOOD
    with pytest.raises(InputError) as caught:
        read_shelf(GOOD.replace(old, new, 1).encode(), name="shelf.toml")
    assert str(caught.value).startswith("shelf.toml")
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_shelf_without_dyes_is_refused():
    with pytest.raises(InputError, match="no dye on the shelf"):
        read_shelf(b'dye = []\n[oxide]\nbare = "#c9cccf"\nthickness_um = 18\n', name="shelf.toml")


colours = st.integers(0, 0xFFFFFF).map("#{:06x}".format)
minutes = st.floats(0.25, 120.0).map(lambda t: round(t, 2))
swatches = st.lists(st.builds(Swatch, minutes, colours), min_size=1, max_size=4, unique_by=lambda s: s.minutes)
names = st.text(st.characters(codec="utf-8", categories=["L", "N"]), min_size=1).filter(lambda n: n != "bare")
dyes = st.builds(
    Dye, names, swatches.map(lambda s: tuple(sorted(s, key=lambda w: w.minutes))), st.booleans(),
    st.floats(1.0, 100.0), minutes
)  # fmt: skip


@settings(deadline=None)
@given(colours, st.floats(1.0, 60.0), st.lists(dyes, min_size=1, max_size=4, unique_by=lambda d: d.name), st.data())
def test_what_is_written_is_read_back(bare, thickness, shelf_dyes, data):
    shelf_names = st.sampled_from([d.name for d in shelf_dyes])
    recipes = st.dictionaries(shelf_names, minutes, min_size=1).map(Recipe.of)
    mixes = data.draw(st.lists(st.builds(MeasuredMix, recipes, colours), max_size=3, unique_by=lambda m: m.recipe))
    shelf = Shelf(bare, thickness, tuple(shelf_dyes), tuple(mixes))
    assert read_shelf(write_shelf(shelf), name="shelf.toml") == shelf


def test_the_sample_shelf_says_that_it_is_invented():
    shelf = sample_shelf()
    assert 8 <= len(shelf.dyes) <= 12
    assert any(not dye.strips for dye in shelf.dyes)
    assert "INVENTED" in sample_shelf_bytes().decode()
