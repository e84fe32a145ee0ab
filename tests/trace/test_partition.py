"""Whatever the labels, the regions cover the canvas once."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from maskgen.trace.partition import trace_partition

ALMOST_ALL = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])

AWKWARD = {
    "one pixel": ["a"],
    "one row": ["aab"],
    "single colour": ["aaa", "aaa"],
    "checkerboard": ["abab", "baba", "abab"],
    "four colours in a point": ["aabb", "aabb", "ccdd", "ccdd"],
    "touching corners": ["aaaaaa", "abbaaa", "abbaaa", "aaabba", "aaabba", "aaaaaa"],
    "ring in ring": ["aaaaaaa", "abbbbba", "abaaaba", "abacaba", "abaaaba", "abbbbba", "aaaaaaa"],
    "hole touching its outside": ["aaaaa", "abbba", "abab" + "a", "abbab", "aaaba"],
    "diagonal line": ["baaaa", "abaaa", "aabaa", "aaaba", "aaaab"],
    "three in a point": ["aaab", "aabb", "cccc", "cccc"],
    "pixel at the border": ["aba", "aaa"],
}


def labels_of(rows: list[str]) -> np.ndarray:
    return np.array([[ord(c) - ord("a") for c in row] for row in rows], dtype=np.uint8)


@pytest.mark.parametrize("name", AWKWARD)
def test_awkward_label_maps_are_covered_once(name, paint, exact):
    labels = labels_of(AWKWARD[name])
    partition = trace_partition(paint(labels))
    exact(partition)
    assert [r.key for r in partition.regions] == [f"c{n + 1}" for n in range(int(labels.max()) + 1)]


@given(arrays(np.uint8, st.tuples(st.integers(1, 12), st.integers(1, 12)), elements=st.integers(0, 3)))
@ALMOST_ALL
def test_any_label_map_is_covered_once(paint, exact, labels):
    exact(trace_partition(paint(labels)))
