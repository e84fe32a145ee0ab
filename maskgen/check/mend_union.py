"""Lines that cross or cover one another made into outlines that do neither, everything else left as it is.

Only the lines concerned are taken apart. Of each group of them (those that lie between the same undisturbed lines) the
material inside is what any of its lines encloses, less the openings drawn in it; overlapping pieces and shared edges
thereby become one piece. Curves are kept and cut where they cross.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from maskgen.check.lines import CutLine
from maskgen.check.pieces import Nest
from maskgen.geometry.arrangement import Arrangement, arrange, assemble
from maskgen.model.paths import Ring, Segment
from maskgen.shape.inside import closed_edges, windings

SLIVER_MM = 0.006
"""Faces narrower than this lie between two lines that count as one."""


def united_rings(lines: Sequence[CutLine], nest: Nest, disturbed: set[int]) -> list[Ring]:
    """Give the outlines that stand for the disturbed lines (numbers of cut lines)."""
    place = {line: k for k, line in enumerate(nest.lines)}
    members = sorted(place[k] for k in disturbed if k in place)
    inside_of = set(members)
    groups: dict[int, list[int]] = {}
    for k in members:
        groups.setdefault(_undisturbed_parent(nest, inside_of, k), []).append(k)
    rings: list[Ring] = []
    for _, group in sorted(groups.items()):
        rings.extend(_material(lines, nest, group))
    return rings


def _undisturbed_parent(nest: Nest, inside_of: set[int], place: int) -> int:
    parent = int(nest.parent[place])
    while parent in inside_of:
        parent = int(nest.parent[parent])
    return parent


def _material(lines: Sequence[CutLine], nest: Nest, group: list[int]) -> list[Ring]:
    """Give the outlines of what the lines of a group enclose, of the kind of its outermost lines."""
    rings = {k: lines[nest.lines[k]].ring() for k in group}
    kind = int(min(nest.depth[k] for k in group)) % 2
    segments: list[Segment] = [s for ring in rings.values() for s in ring.segments]
    faces = arrange(segments)
    held = {k: windings(faces.inside, closed_edges([lines[nest.lines[k]].points])) != 0 for k in group}
    material = np.zeros(len(faces.inside), dtype=np.bool_)
    for k in group:
        if int(nest.depth[k]) % 2 != kind:
            continue
        within = held[k].copy()
        for child in group:
            if int(nest.parent[child]) == k:
                within &= ~held[child]
        material |= within
    material = _without_slivers(faces, material)
    areas = assemble(faces, ["material" if m else None for m in material.tolist()])
    return [ring for area in areas.values() for ring in area.rings]


def _without_slivers(faces: Arrangement, material: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Give faces between lines that count as one the state most of their outline borders on."""
    ends = faces.vertices[faces.edges]
    length = np.hypot(*(ends[:, 1] - ends[:, 0]).T)
    count = len(faces.inside)
    perimeter = np.zeros(count + 1)
    inked = np.zeros(count + 1)
    state = np.r_[material, False]
    narrow = np.zeros(count + 1, dtype=np.bool_)
    for side in faces.beside.T:
        np.add.at(perimeter, side, length)
    narrow[:count] = 2 * faces.face_areas < SLIVER_MM * perimeter[:count]
    solid = np.zeros(count + 1)
    for own, other in ((0, 1), (1, 0)):
        a, b = faces.beside[:, own], faces.beside[:, other]
        usable = ~narrow[b]
        np.add.at(solid, a[usable], length[usable])
        np.add.at(inked, a[usable & state[b]], length[usable & state[b]])
    changed = narrow & (solid > 0)
    state[changed] = inked[changed] > solid[changed] / 2
    result: NDArray[np.bool_] = state[:count]
    return result
