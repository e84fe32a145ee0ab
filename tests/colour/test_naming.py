import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from maskgen.colour.naming import name_colours
from maskgen.errors import InputError
from maskgen.model.artwork import CLEAR

# The basic colour keywords of CSS Color 4, section 6.1, that everyone calls by the same word.
KEYWORDS = {
    "#000000": "black",
    "#ffffff": "white",
    "#808080": "grey",
    "#ff0000": "red",
    "#ffa500": "orange",
    "#ffff00": "yellow",
    "#008000": "green",
    "#0000ff": "blue",
    "#40e0d0": "turquoise",
    "#ee82ee": "violet|magenta|pink",
    "#ffc0cb": "pink",
    "#a52a2a": "brown|red",
    "#f5f5dc": "off-white|beige",
    "#000080": "dark blue",
    "#800000": "dark red|brown",
    "#87ceeb": "blue",
    "#ff00ff": "magenta",
    "#00ffff": "turquoise",
    "#ffd700": "yellow|orange",
    "#800080": "violet|magenta",
    "#add8e6": "pale blue|pale turquoise",
    "#006400": "dark green",
    "#a9a9a9": "grey",
    "#d2691e": "orange|brown",
}


@pytest.mark.parametrize(("colour", "word"), KEYWORDS.items())
def test_plain_colours_have_their_plain_names(colour, word):
    (name,) = name_colours([colour])
    assert re.search(rf"\b({word})$", name)


def test_clear_keeps_its_name_beside_others():
    assert name_colours([CLEAR, "#ffffff"]) == (CLEAR, "white")


def test_two_of_one_kind_are_told_apart_by_lightness():
    assert name_colours(["#2f7d4b", "#4fa86e"]) == ("darker green", "lighter green")


def test_a_shade_of_black_is_called_by_what_it_is():
    assert name_colours(["#000000", "#1c1c1c"]) == ("black", "lighter black")


colours = st.tuples(*[st.integers(0, 255)] * 3).map(lambda c: "#" + bytes(c).hex())


@given(st.lists(colours | st.just(CLEAR), min_size=1, max_size=30, unique=True))
def test_names_are_short_and_unique_and_do_not_depend_on_order(palette):
    names = name_colours(palette)
    assert len(set(names)) == len(palette)
    assert all(re.fullmatch(r"[a-z][a-z0-9 -]{2,28}", name) for name in names)
    backwards = name_colours(palette[::-1])[::-1]
    assert names == backwards


def test_one_colour_twice_gets_two_names():
    assert len(set(name_colours(["#123456", "#123456"]))) == 2


def test_other_text_is_refused():
    with pytest.raises(InputError):
        name_colours(["red"])
