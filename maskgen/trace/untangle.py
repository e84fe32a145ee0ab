"""Curves that cross give way, the shorter first, until the partition is exact.

An arc's curve steps down a ladder: the curves offered for it, best first; then the line through the middles of its
cracks between its junctions as placed, with few corners; then with all of them; then the same with its junctions back
on their lattice points. Lines of the last kind meet no others except at junctions, so the ladder always ends.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from maskgen.model.paths import Line, Point, Points
from maskgen.trace.assemble import Curve, crossing_pairs, ends_moved, ill_faces
from maskgen.trace.cracks import CrackGraph
from maskgen.trace.mend import mended
from maskgen.trace.plain import polyline, with_few_corners

MOST_CLIMBS = 24
"""Arcs that are tried for a better curve again: it takes time, and few are ever wanted."""
NEAR_PX = 4.0
"""A curve stays this near its cracks."""


def untangled(graph: CrackGraph, offered: Sequence[Sequence[Curve]]) -> list[Curve]:
    """Choose a curve for every arc, from the lists offered (best first) or plainer, so that none crosses another.

    All lists must end their curves at the same junction places; the faces built from the answer are valid.
    """
    ladder = _Ladder(graph, offered)
    while ladder.give_way():
        ladder.curves = mended(graph, ladder.curves)
    ladder.climb()
    return ladder.curves


class _Ladder:
    def __init__(self, graph: CrackGraph, offered: Sequence[Sequence[Curve]]) -> None:
        self.graph = graph
        self.offered = offered
        self.curves = list(offered[0])
        self.step = [0] * len(graph.arcs)
        self.places: dict[int, Point] = {}
        self.closed = [arc.closed for arc in graph.arcs]
        self.lattice = len(offered) + 2

    def give_way(self) -> bool:
        """Step down once for everything that is wrong; False when nothing is, or nothing can give way."""
        down: set[int] = set()
        for a, b in crossing_pairs(self.curves, closed=self.closed):
            down.add(min((a, b), key=self._firmness))
        if not down:
            for faulty in ill_faces(self.graph, self.curves):
                down.add(min(faulty, key=self._firmness))
        down = {n for n in down if self.step[n] < self.lattice}
        for number in down:
            self.step[number] += 1
            if self.step[number] == self.lattice:
                self._reset(number)
        for number in down:
            self._lay(number)
        return bool(down)

    def climb(self) -> None:
        """Give arcs better curves again where what they gave way to has since given way itself; longest first.

        A curve is taken only where it crosses nothing and spoils no face, so the partition stays exact.
        """
        lowered = [n for n, step in enumerate(self.step) if step > 0 and not self.graph.arcs[n].on_border]
        lowered.sort(key=lambda n: (-len(self.graph.arcs[n].points), n))
        boxes = np.array([[*arc.points.min(axis=0), *arc.points.max(axis=0)] for arc in self.graph.arcs], np.float64)
        for number in lowered[:MOST_CLIMBS]:
            low, high = boxes[number, :2] - NEAR_PX, boxes[number, 2:] + NEAR_PX
            near = np.flatnonzero(np.all((boxes[:, :2] <= high) & (boxes[:, 2:] >= low), axis=1)).tolist()
            kept_step, kept_curve = self.step[number], self.curves[number]
            for step in range(min(kept_step, len(self.offered) + 1)):
                self.step[number] = step
                self._lay(number)
                clear = not any(
                    number in (near[a], near[b])
                    for a, b in crossing_pairs([self.curves[n] for n in near], closed=[self.closed[n] for n in near])
                )
                if clear and not ill_faces(self.graph, self.curves):
                    break
            else:
                self.step[number], self.curves[number] = kept_step, kept_curve

    def _firmness(self, number: int) -> tuple[int, int, int]:
        """Order in which arcs give way: those already lowest on the ladder last, then the shortest first."""
        arc = self.graph.arcs[number]
        spent = self.step[number] >= self.lattice or arc.on_border
        return (int(spent), len(arc.points), number)

    def _reset(self, number: int) -> None:
        """Put an arc's junctions back on the lattice, and with them the ends of all arcs that meet there."""
        ends = {self.graph.arcs[number].start, self.graph.arcs[number].end} - {-1}
        for junction in ends:
            x, y = self.graph.junctions[junction].tolist()
            self.places[junction] = (float(x), float(y))
        for other, arc in enumerate(self.graph.arcs):
            if ends & {arc.start, arc.end}:
                self._lay(other)

    def _lay(self, number: int) -> None:
        step, arc = self.step[number], self.graph.arcs[number]
        start = self.places.get(arc.start, self.curves[number][0].start)
        end = self.places.get(arc.end, self.curves[number][-1].end)
        if step < len(self.offered):
            offered = self.offered[step][number]
            self.curves[number] = offered if arc.closed else ends_moved(offered, start, end)
            return
        points = arc.points.astype(np.float64)
        middles = 0.5 * (points[:-1] + points[1:])
        if arc.on_border:
            self.curves[number] = (Line(start, end),)
        elif arc.closed:
            self.curves[number] = self._plain(np.vstack([middles, middles[:1]]), step)
        else:
            self.curves[number] = self._plain(np.vstack([start, middles, end]), step)

    def _plain(self, points: Points, step: int) -> Curve:
        return polyline(with_few_corners(points) if step == len(self.offered) else points)
