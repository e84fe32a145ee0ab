"""Small partitions and plans made by hand, for the tests of masks and baths."""

import itertools

import numpy as np
import pytest
import shapely

from maskgen.geometry.polygons import from_polygons, to_multipolygon
from maskgen.model.dyeing import ApplyMask, DyeBath, Plan, PlannedRegion, Recipe, Seal, Sequence, Strip
from maskgen.model.job import Part, Shape
from maskgen.model.paths import Partition, Region

COLOURS = ("#c98a1b", "#2f7d4b", "#1b3f94", "#b5482a", "#884488", "#c9cccf", "#222222", "#77aacc")


class Hand:
    """Builders; a region is a shapely polygon, a plan a list of groups of regions in the order they are finished."""

    @staticmethod
    def plate(width, height):
        return Part(Shape.PLATE, width_mm=width, height_mm=height)

    @staticmethod
    def partition(width, height, shapes):
        """Make regions r1, r2, ... of polygons that cover the face."""
        regions = [
            Region(f"r{k}", f"colour {k}", COLOURS[(k - 1) % 8], from_polygons(shape))
            for k, shape in enumerate(shapes, start=1)
        ]
        return Partition(width, height, tuple(regions))

    @staticmethod
    def plan(groups, *, strips=1):
        """Dye, mask, strip (so many times) for every group but the last, which is only dyed."""
        steps, planned = [], []
        for k, group in enumerate(groups, start=1):
            steps.append(DyeBath(f"dye {k}", 1.0 + k))
            planned += [(key, Recipe.of({f"dye {k}": 1.0 + k})) for key in group]
            if k < len(groups):
                steps.append(ApplyMask(f"M{k}", tuple(group)))
                steps += [Strip()] * strips
        return Hand.plan_of(dict(planned), [*steps, Seal()])

    @staticmethod
    def plan_of(recipes, steps):
        regions = tuple(
            PlannedRegion(key, f"colour {key[1:]}", "#000000", recipe, COLOURS[k % 8], 0.0)
            for k, (key, recipe) in enumerate(recipes.items())
        )
        return Plan(regions, Sequence(tuple(steps)), True, 0)

    @staticmethod
    def stripes(edges, height):
        """Cut a face of upright stripes at the given x."""
        return [shapely.box(a, 0, b, height) for a, b in itertools.pairwise(edges)]

    @staticmethod
    def disc(x, y, radius):
        return shapely.Point(x, y).buffer(radius, quad_segs=64)

    @staticmethod
    def voronoi(width, height, count, seed):
        """Cut a face into the cells of seeded points."""
        generator = np.random.default_rng(seed)
        points = shapely.MultiPoint(generator.random((count, 2)) * (width, height))
        face = shapely.box(0, 0, width, height)
        cells = shapely.get_parts(shapely.voronoi_polygons(points, extend_to=face))
        return [cell.intersection(face) for cell in cells]

    @staticmethod
    def vinyl(masks):
        return [to_multipolygon(mask.area) for mask in masks]


@pytest.fixture(scope="session")
def hand():
    return Hand
