"""One known fault in each of many clean files: found, in its place, and nothing else claimed.

The files are written by the benchmark's own writers; sizes and places are those put in. `python -m
benchmarks.check_labelled` judges hundred times as many.
"""

import pytest

from benchmarks.check_labelled import PLACE_MM, VALUE_MM, measure


@pytest.mark.parametrize("seed", [3])
def test_a_sixteenth_of_the_faults_is_found_in_its_place_and_nothing_else_is_claimed(seed):
    figures = measure([seed], dialects=1, every=16)
    assert len(figures.counts) > 12
    assert figures.clean > 10
    assert not figures.wrong
    assert max(figures.place.values()) <= PLACE_MM
    assert max(figures.value.values()) <= VALUE_MM
