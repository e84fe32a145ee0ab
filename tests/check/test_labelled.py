"""One known fault in each of many clean files: found, in its place, and nothing else claimed.

The files are written by the benchmark's own writers; sizes and places are those put in.
"""

from benchmarks.check_labelled import measure


def test_one_drawing_with_every_fault_in_every_format():
    counts, worst, wrong = measure([3])
    assert len(counts) > 40
    assert not wrong
    assert max(worst.values()) <= 0.2
