"""How far the outlines of one picture lie from those of another: sampled along both, measured to the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import STRtree
from shapely.geometry.base import BaseGeometry

from maskgen.model.paths import Points

SAMPLE_MM = 0.05
"""Spacing of samples along an outline: several to the narrowest detail that is ever cut."""
RIM_MM = 2e-6
"""An outline this near the rim of the picture is the rim and no edge between colours: twice the noding grid."""

FAR_MM = 1.0
"""No edge moves as far as this by creep and a misplaced mask together."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """The edges of one colour inside a picture: ends of every straight run, (n, 2) each."""

    starts: Points
    ends: Points

    @classmethod
    def of(cls, shape: BaseGeometry, rim: BaseGeometry) -> Outline:
        """Take a colour's boundary without the stretches along the rim of the picture."""
        rings = shapely.get_rings(shapely.get_parts(shape))
        coordinates, ring = shapely.get_coordinates(rings, return_index=True)
        follows = ring[1:] == ring[:-1]
        starts, ends = coordinates[:-1][follows], coordinates[1:][follows]
        shapely.prepare(rim)
        inside = ~shapely.dwithin(shapely.points((starts + ends) / 2), rim, RIM_MM)
        return cls(starts[inside], ends[inside])

    @classmethod
    def along(cls, lines: Sequence[BaseGeometry]) -> Outline:
        """Take lines as they are."""
        coordinates, line = shapely.get_coordinates(shapely.get_parts(list(lines)), return_index=True)
        follows = line[1:] == line[:-1]
        return cls(coordinates[:-1][follows], coordinates[1:][follows])

    @property
    def empty(self) -> bool:
        """Whether the colour meets no other."""
        return len(self.starts) == 0

    def joined(self, other: Outline) -> Outline:
        """Give both outlines together."""
        return Outline(np.vstack([self.starts, other.starts]), np.vstack([self.ends, other.ends]))

    def samples(self, spacing_mm: float = SAMPLE_MM) -> tuple[Points, Floats]:
        """Give points along the outline and the length each stands for."""
        length = np.hypot(*(self.ends - self.starts).T)
        count = np.maximum(1, np.ceil(length / spacing_mm)).astype(np.int64)
        run = np.repeat(np.arange(len(count)), count)
        place = np.arange(len(run)) - np.repeat(np.cumsum(count) - count, count)
        share = ((place + 0.5) / count[run])[:, None]
        return self.starts[run] * (1 - share) + self.ends[run] * share, (length / count)[run]

    def distances(self, points: Points) -> Floats:
        """Give the distance of points to the outline."""
        tree = STRtree(shapely.linestrings(np.stack([self.starts, self.ends], axis=1)))
        (asked, _), distance = tree.query_nearest(shapely.points(points), return_distance=True, all_matches=False)
        found = np.empty(len(points))
        found[asked] = distance
        return found


@dataclass(frozen=True, slots=True, eq=False)
class Deviations:
    """Distances between outlines, the length each stands for, and where they were measured."""

    points: Points
    distances: Floats
    weights: Floats

    @classmethod
    def between(
        cls, wanted: Outline, found: Outline, *, ends: Outline, missing_mm: float, spacing_mm: float = SAMPLE_MM
    ) -> Deviations:
        """Measure from either outline to the other; `missing_mm` where there is nothing to measure to.

        `ends` is where the picture ends: a found edge far from every wanted one has moved in from there.
        """
        parts = []
        for here, there in ((wanted, found), (found, wanted)):
            if here.empty:
                continue
            points, weights = here.samples(spacing_mm)
            distances = np.full(len(points), missing_mm) if there.empty else there.distances(points)
            far = distances > FAR_MM
            if here is found and far.any():
                distances[far] = np.minimum(distances[far], ends.distances(points[far]))
            parts.append(cls(points, distances, weights))
        return cls.pooled(parts)

    @classmethod
    def none(cls, outline: Outline, *, spacing_mm: float = SAMPLE_MM) -> Deviations:
        """Give what there is between an outline and itself: no distance, all the way, both ways."""
        points, weights = outline.samples(spacing_mm)
        here = cls(points, np.zeros(len(points)), weights)
        return cls.pooled([here, here])

    @classmethod
    def pooled(cls, parts: list[Deviations]) -> Deviations:
        """Put several together."""
        if not parts:
            return cls(np.zeros((0, 2)), np.zeros(0), np.zeros(0))
        return cls(
            np.vstack([p.points for p in parts]),
            np.concatenate([p.distances for p in parts]),
            np.concatenate([p.weights for p in parts]),
        )

    def where(self, chosen: NDArray[np.bool_]) -> Deviations:
        """Keep some of them."""
        return Deviations(self.points[chosen], self.distances[chosen], self.weights[chosen])

    def figures(self) -> tuple[float, float, float]:
        """Give the mean, the 95th percentile and the largest by length of outline; zeros where there is none."""
        if len(self.distances) == 0:
            return 0.0, 0.0, 0.0
        order = np.argsort(self.distances)
        sorted_mm, total = self.distances[order], np.cumsum(self.weights[order])
        at_95 = int(np.searchsorted(total, 0.95 * total[-1]))
        mean = float(np.average(self.distances, weights=self.weights))
        return mean, float(sorted_mm[min(at_95, len(sorted_mm) - 1)]), float(sorted_mm[-1])
