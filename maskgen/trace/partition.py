"""A picture with its flat colours found to regions that cover the canvas once."""

from __future__ import annotations

from dataclasses import replace

from maskgen.model.artwork import FlatPicture
from maskgen.model.paths import Partition
from maskgen.trace.assemble import assemble
from maskgen.trace.cracks import crack_graph
from maskgen.trace.curves import cut_arcs, fit_courses
from maskgen.trace.evidence import QUANTISED_SIGMA_PX, gather
from maskgen.trace.mend import mended
from maskgen.trace.refine import LARGE_PX2, refine
from maskgen.trace.round_ends import with_round_ends
from maskgen.trace.specks import without_specks
from maskgen.trace.untangle import untangled

TOLERANCE_SIGMAS = 3.0
"""Largest distance of evidence from a fit, in its own standard deviations."""
LEAST_TOLERANCE_PX = 0.05
"""Fits are not asked to follow evidence closer than this: the bias of a column sum at the tightest usual curves."""


def trace_partition(flat: FlatPicture) -> Partition:
    """Trace the regions of a picture, in pixel units: pixel (0, 0) covers [0, 1] x [0, 1], y down.

    Returns
    -------
    Partition
        Width and height of the picture in pixels; one region for each palette entry, in its order, with key `c1`,
        `c2`, ... and no name. Neighbours share their boundary segment for segment.
    """
    flat = replace(flat, labels=without_specks(flat))
    graph = crack_graph(flat.labels)
    evidence, base = gather(flat, graph.arcs)
    tolerance = max(LEAST_TOLERANCE_PX, TOLERANCE_SIGMAS * base) if base < QUANTISED_SIGMA_PX else 0.6
    courses, places = fit_courses(graph, evidence, tolerance=tolerance)
    refined, places = refine(flat, graph, courses, places)
    if base < QUANTISED_SIGMA_PX and graph.width * graph.height < LARGE_PX2:
        refined, places = with_round_ends(flat, graph, refined, places)
    offered = [mended(graph, cut_arcs(graph, refined, places)), cut_arcs(graph, courses, places)]
    return assemble(graph, untangled(graph, offered), flat.palette)
