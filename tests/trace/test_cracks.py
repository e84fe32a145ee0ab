"""The crack graph against counts made another way."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import ndimage

from maskgen.trace.cracks import CrackGraph, Side, crack_graph

label_maps = arrays(np.uint8, st.tuples(st.integers(1, 14), st.integers(1, 14)), elements=st.integers(0, 2))


def ring_points(graph: CrackGraph, ring: tuple[Side, ...]) -> np.ndarray:
    chains = [graph.arcs[s.arc].points if s.forward else graph.arcs[s.arc].points[::-1] for s in ring]
    return np.vstack([c[:-1] for c in chains])


def shoelace(points: np.ndarray) -> float:
    x, y = points.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


@given(label_maps)
@settings(max_examples=80, deadline=None)
def test_every_crack_lies_in_one_arc_and_areas_are_pixel_counts(labels):
    graph = crack_graph(labels)
    padded = np.pad(labels.astype(int), 1, constant_values=-1)
    cracks = np.sum(padded[1:] != padded[:-1]) + np.sum(padded[:, 1:] != padded[:, :-1])
    steps = np.vstack([np.hstack([a.points[:-1], a.points[1:]]) for a in graph.arcs])
    assert len(steps) == cracks
    assert len(np.unique(np.sort(steps.reshape(-1, 2, 2), axis=1).reshape(-1, 4), axis=0)) <= cracks
    for label in range(3):
        areas = [shoelace(ring_points(graph, r)) for f in graph.faces if f.label == label for r in f.rings]
        assert sum(areas) == np.sum(labels == label)


@given(label_maps)
@settings(max_examples=80, deadline=None)
def test_faces_lie_between_four_and_eight_connected_pieces(labels):
    graph = crack_graph(labels)
    for label in range(3):
        _, four = ndimage.label(labels == label)
        _, eight = ndimage.label(labels == label, structure=np.ones((3, 3)))
        assert eight <= sum(f.label == label for f in graph.faces) <= four


def test_rarer_colour_stays_connected_over_diagonals():
    labels = np.eye(6, dtype=np.uint8)
    faces = crack_graph(labels).faces
    assert sorted(f.label for f in faces) == [0, 0, 1]


def test_junction_where_three_labels_meet():
    labels = np.array([[0, 0, 1, 1], [0, 0, 1, 1], [2, 2, 2, 2]], dtype=np.uint8)
    graph = crack_graph(labels)
    inner = [tuple(p) for p in graph.junctions if 0 < p[0] < 4 and 0 < p[1] < 3]
    assert inner == [(2, 2)]
    assert len(graph.arcs) == 3 + 4 + 3  # inner arcs, corners to corners split by the three border junctions
