"""Lines that cross or cover one another made into outlines that do neither, everything else left as it is.

Only the lines concerned are taken apart. Of each group of them (those that lie between the same undisturbed lines) the
material inside is what any of its lines encloses, less the openings drawn in it; overlapping pieces and shared edges
thereby become one piece. Where two lines run together without being quite the same, a strip over them closes the crack
between two pieces, or cuts the film of land between a piece and an opening. Curves are kept and cut where they cross.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from maskgen.check.doubles import Doubled
from maskgen.check.lines import CutLine
from maskgen.check.pieces import Nest
from maskgen.geometry.arrangement import Arrangement, arrange, assemble
from maskgen.model.paths import Points, Ring, Segment, polygon_ring
from maskgen.shape.inside import closed_edges, windings

STRIP_MM = 0.006
"""Half the width of a strip: just over the distance within which two lines are one."""
STRIP_STEP_MM = 0.05
SLIVER_MM = 0.006
"""Faces narrower than this lie between two lines that count as one."""


def united_rings(lines: Sequence[CutLine], nest: Nest, disturbed: set[int], doubled: Sequence[Doubled]) -> list[Ring]:
    """Give the outlines that stand for the disturbed lines (numbers of cut lines), some of them `doubled`."""
    place = {line: k for k, line in enumerate(nest.lines)}
    members = sorted(place[k] for k in disturbed if k in place)
    inside_of = set(members)
    groups: dict[int, list[int]] = {}
    for k in members:
        groups.setdefault(_undisturbed_parent(nest, inside_of, k), []).append(k)
    rings: list[Ring] = []
    for _, group in sorted(groups.items()):
        rings.extend(_material(lines, nest, group, _strips(lines, place, set(group), doubled)))
    return rings


def _undisturbed_parent(nest: Nest, inside_of: set[int], place: int) -> int:
    parent = int(nest.parent[place])
    while parent in inside_of:
        parent = int(nest.parent[parent])
    return parent


def _strips(
    lines: Sequence[CutLine], place: dict[int, int], group: set[int], doubled: Sequence[Doubled]
) -> list[tuple[Points, int, int]]:
    """Give a strip over every stretch two lines of a group have in common, and their places in the nest."""
    strips = []
    for one in doubled:
        others = [k for k in one.others if place.get(k) in group and k != one.line]
        if place.get(one.line) not in group or not others or one.length_mm < 2 * STRIP_MM:
            continue
        line = lines[one.line]
        inner = np.linspace(one.begin, one.end, max(2, int(one.length_mm / STRIP_STEP_MM)))
        stretch = shapely.LineString(line.at_shares(inner / line.length_mm % 1.0))
        strip = shapely.buffer(stretch, STRIP_MM, cap_style="flat", join_style="mitre", mitre_limit=2.0)
        if isinstance(strip, Polygon) and not strip.interiors:
            corners = shapely.get_coordinates(strip.exterior)[:-1]
            strips.append((corners, place[one.line], place[others[0]]))
    return strips


def _material(
    lines: Sequence[CutLine], nest: Nest, group: list[int], strips: Sequence[tuple[Points, int, int]]
) -> list[Ring]:
    """Give the outlines of what the lines of a group enclose, of the kind of its outermost lines."""
    rings = {k: lines[nest.lines[k]].ring() for k in group}
    kind = int(min(nest.depth[k] for k in group)) % 2
    segments: list[Segment] = [s for ring in rings.values() for s in ring.segments]
    for corners, _, _ in strips:
        segments.extend(polygon_ring(corners).segments)
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
    for corners, one, other in strips:
        covered = windings(faces.inside, closed_edges([corners])) != 0
        if int(nest.depth[one] - nest.depth[other]) % 2:
            material &= ~covered
        else:
            material |= covered
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
