"""Where letters may stand so that nothing else on the part acts on them, and how far apart they are as if alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.dyeing import ApplyMask, Plan
from maskgen.model.job import Job, Shape
from maskgen.model.paths import Partition
from maskgen.shape.face import bounded
from maskgen.shape.letter_clusters import Cluster

CLEAR_MM = 0.02
"""What is kept on top of every distance: far above the fitting of outlines, far below what is cut."""


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """The face as letters see it: every colour without the drilled holes, the face without its keepout.

    Clusters `reach_mm` apart, and as far from every other colour, are as if alone.
    """

    reach_mm: float
    colours: dict[str, BaseGeometry]
    inside: BaseGeometry
    widest_mm: float

    @classmethod
    def on(cls, regions: Partition, job: Job, plan: Plan, *, letters: str) -> Room:
        """Measure the room on a part without letters."""
        assert job.part is not None
        holes = [shapely.Point(hole.at_mm).buffer(hole.diameter_mm / 2 + CLEAR_MM) for hole in job.hole]
        drilled = shapely.union_all(holes)
        colours = {r.key: to_multipolygon(r.area).difference(drilled) for r in regions.regions if r.key != letters}
        inside = bounded(job.part, job.part.keepout_mm + CLEAR_MM)
        for shape in (*colours.values(), inside):
            shapely.prepare(shape)
        # Letters more than half way round a tube are told; let the whole part be judged then.
        widest = regions.width / 2 if job.part.shape is Shape.TUBE else np.inf
        return cls(_reach(job, plan, letters), colours, inside, float(widest))

    def around(self, letters: Sequence[Cluster]) -> list[str] | None:
        """Give the colour around every cluster; None where one of them stands too near something else."""
        boxes = np.array([cluster.box for cluster in letters])
        if boxes[:, 2].max() - boxes[:, 0].min() > self.widest_mm:
            return None
        if not shapely.covers(self.inside, shapely.box(*boxes.T)).all():
            return None
        wide = shapely.box(*(boxes + np.array([-1.0, -1.0, 1.0, 1.0]) * self.reach_mm).T)
        within = {key: shapely.covers(shape, wide) for key, shape in self.colours.items()}
        found = [next((key for key, inside in within.items() if inside[i]), None) for i in range(len(letters))]
        return [key for key in found if key is not None] if None not in found else None


def _reach(job: Job, plan: Plan, letters: str) -> float:
    """Give the distance from which on neither growth, laps, creep nor the least widths meet."""
    resist, sequence = job.resist, plan.sequence
    masks = [step.regions for step in sequence.steps if isinstance(step, ApplyMask)]
    reach = resist.creep_mm * sequence.strips
    if len(masks) > 1:
        reach += resist.lap_mm + 2 * resist.creep_mm * sequence.strips
    # Between letters there is film only where something else than they is ever masked.
    film = any(key != letters for regions in masks for key in regions)
    least = max(resist.min_land_mm, resist.min_gap_mm) if film else resist.min_gap_mm
    return 2 * reach + least + CLEAR_MM
