"""Paths by the grammar of SVG 2 (9.3.9): nothing that does not belong there is passed over in silence."""

import pytest

from maskgen.formats.drawing.path_data import read_path

SOUND = ["M1 2L3 4 5 6h7v8H9V1z", "m-1-2.5.5,3c1 2 3 4 5 6s7 8 9 1q2 3 4 5t6 7", "M1 2a3 4 5 016 7zM8 9 1e1 2E-1Z"]
GARBAGE = ["x", "n", "#", "\u00a0", "\u0663", "NaN", ";", "%", "?", "\u2212", "'", "M5n", "\0"]


def fingerprint(reading):
    return [(run.start, run.control.tolist(), run.closed) for run in reading.subpaths]


@pytest.mark.parametrize("data", SOUND)
def test_sound_paths_are_read_whole(data):
    assert read_path(data).trouble is None
    assert read_path(f" \t\r\n\f{data}\n").trouble is None


@pytest.mark.parametrize("garbage", GARBAGE)
@pytest.mark.parametrize("data", SOUND)
def test_garbage_at_any_place_is_told(data, garbage):
    whole = fingerprint(read_path(data))
    for place in range(len(data) + 1):
        reading = read_path(data[:place] + garbage + data[place:])
        assert reading.trouble is not None, place
        assert len(fingerprint(reading)) <= len(whole) + 1


@pytest.mark.parametrize("data", SOUND)
def test_a_character_that_is_dropped_or_doubled_changes_what_is_read(data):
    """Numbers may run together and still be a path, but then a different one; only blanks may go unnoticed."""
    whole = fingerprint(read_path(data))
    for place, character in enumerate(data):
        for other in (data[:place] + data[place + 1 :], data[:place] + character + data[place:]):
            reading = read_path(other)
            same = reading.trouble is None and fingerprint(reading) == whole
            assert not same or character in " ,z" + "LZ" + "0.E-", (place, other)
