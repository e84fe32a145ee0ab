"""A picture with its flat colours found to regions that cover the canvas once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from maskgen.model.artwork import FlatPicture
from maskgen.model.paths import Partition
from maskgen.trace.assemble import assemble
from maskgen.trace.cracks import CrackGraph, crack_graph
from maskgen.trace.curves import Course, cut_arcs, fit_courses
from maskgen.trace.evidence import QUANTISED_SIGMA_PX, gather, palette_colours
from maskgen.trace.ghosts import LEAST_AREA_PX2, NOISY_AREA_PX2, ghosts, without_faces, without_ghosts
from maskgen.trace.mend import mended
from maskgen.trace.refine import LARGE_PX2, refine
from maskgen.trace.round_ends import with_round_ends
from maskgen.trace.specks import CLEAN_NOISE, flat_noise, without_specks
from maskgen.trace.untangle import untangled

TOLERANCE_SIGMAS = 3.0
"""Largest distance of evidence from a fit, in its own standard deviations."""
LEAST_TOLERANCE_PX = 0.05
"""Fits are not asked to follow evidence closer than this: the bias of a column sum at the tightest usual curves."""
MOST_ROUNDS = 3
"""Faces given up change what lies beside them: it is looked at anew so many times."""


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    """Boundaries of a picture's labels: as fitted to their evidence, and as refined against the pixels."""

    graph: CrackGraph
    courses: Sequence[Course]
    refined: Sequence[Course]
    places: NDArray[np.float64]
    smooth: bool


def trace_partition(flat: FlatPicture) -> Partition:
    """Trace the regions of a picture, in pixel units: pixel (0, 0) covers [0, 1] x [0, 1], y down.

    Returns
    -------
    Partition
        Width and height of the picture in pixels; one region for each palette entry, in its order, with key `c1`,
        `c2`, ... and no name. Neighbours share their boundary segment for segment.
    """
    noisy = flat_noise(flat, palette_colours(flat.palette)) >= CLEAN_NOISE
    least = NOISY_AREA_PX2 if noisy else LEAST_AREA_PX2
    flat = replace(flat, labels=without_specks(flat))
    fit = _fitted(flat)
    for _ in range(MOST_ROUNDS):
        given = ghosts(fit.graph, cut_arcs(fit.graph, fit.refined, fit.places), least)
        if not given:
            break
        flat = replace(flat, labels=without_faces(flat.labels, fit.graph, given))
        fit = _fitted(flat)
    graph, refined, places = fit.graph, fit.refined, fit.places
    if fit.smooth and graph.width * graph.height < LARGE_PX2:
        refined, places = with_round_ends(flat, graph, refined, places)
    offered = [mended(graph, cut_arcs(graph, refined, places)), cut_arcs(graph, fit.courses, places)]
    graph, curves = without_ghosts(flat.labels, graph, untangled(graph, offered), least)
    return assemble(graph, curves, flat.palette)


def _fitted(flat: FlatPicture) -> _Fit:
    graph = crack_graph(flat.labels)
    evidence, base = gather(flat, graph.arcs)
    smooth = base < QUANTISED_SIGMA_PX
    tolerance = max(LEAST_TOLERANCE_PX, TOLERANCE_SIGMAS * base) if smooth else 0.6
    courses, places = fit_courses(graph, evidence, tolerance=tolerance)
    refined, moved = refine(flat, graph, courses, places)
    return _Fit(graph, courses, refined, moved, smooth)
