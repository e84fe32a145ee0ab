"""The baths replayed over the face: every place with the recipe it ends with.

The face is cut once along the outlines of all that the baths reach and of the wanted regions; every face of that
drawing has one history. Vector all through: exact within the flattening of the outlines. Frame of the face, mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from maskgen.errors import InputError
from maskgen.geometry.polygons import FLATTEN_MM, to_multipolygon
from maskgen.model.dyeing import DyeBath, Plan, Recipe, Step
from maskgen.model.job import Hole, Part, Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition, Point
from maskgen.plan.growth import dilate, offset
from maskgen.plan.reach import GRID_MM, wet_areas
from maskgen.plan.surface import Surface, lay_out

HAIR = 4.0
"""A face of the drawing narrower than this many chord errors lies between an outline and its own flattening."""

Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """What stays the same from one set of masks to the next: the face, what is wanted on it, the steps.

    `recipes` are those of the regions in the order of `keys`; `drilled` the holes; `tolerance_mm` the chord error all
    outlines are flattened with.
    """

    surface: Surface
    keys: tuple[str, ...]
    recipes: tuple[Recipe, ...]
    steps: tuple[Step, ...]
    creep_mm: float
    drilled: tuple[BaseGeometry, ...]
    tolerance_mm: float

    def lay(self, masks: Sequence[Mask], displacements: Sequence[Point] | None = None) -> dict[str, BaseGeometry]:
        """Put masks on, each off its place by its displacement."""
        shifts = displacements if displacements is not None else [(0.0, 0.0)] * len(masks)
        return {
            mask.number: self.surface.spread(
                affinity.translate(to_multipolygon(mask.area, tolerance=self.tolerance_mm), *shift)
            )
            for mask, shift in zip(masks, shifts, strict=True)
        }


@dataclass(frozen=True, slots=True, eq=False)
class Bathed:
    """The faces of the drawing after all baths.

    `shapes` polygons, `areas` mm2, `wanted` index of the region each lies in, `aim` index into `recipes` of the recipe
    wanted there, `got` the one reached (in a hole: the one wanted), `on_face` false in the margins of a tube. What is
    narrower than `hair_mm` is told apart from nothing.
    """

    shapes: NDArray[np.object_]
    areas: NDArray[np.float64]
    wanted: Indices
    aim: Indices
    got: Indices
    on_face: Flags
    recipes: tuple[Recipe, ...]
    hair_mm: float

    @property
    def wrong(self) -> Flags:
        """Faces of the part itself that ended with another recipe than they should."""
        wrong: Flags = self.on_face & (self.aim != self.got)
        return wrong

    def shown(self) -> Indices:
        """Give the recipe each face is drawn with: what is wrong nowhere wider than a hair is drawn as wanted."""
        shown = self.got.copy()
        wrong = self.aim != self.got
        for aim, got in np.unique(np.column_stack([self.aim, self.got])[wrong], axis=0):
            here = np.flatnonzero(wrong & (self.aim == aim) & (self.got == got))
            patches = shapely.get_parts(shapely.coverage_union_all(self.shapes[here]))
            hairs = shapely.STRtree(patches[shapely.is_empty(offset(patches, -self.hair_mm / 2))])
            found = hairs.query(shapely.point_on_surface(self.shapes[here]), predicate="within")[0]
            shown[here[found]] = aim
        return shown


def set_up(
    regions: Partition,
    plan: Plan,
    *,
    part: Part,
    resist: Resist,
    holes: Sequence[Hole] = (),
    tolerance_mm: float = FLATTEN_MM,
) -> Bench:
    """Lay out the face and the steps.

    Raises
    ------
    InputError
        When the plan has no recipe for one of the regions.
    """
    depth = resist.creep_mm * plan.sequence.strips
    margin = min(regions.width / 2, 2.0 + 2 * depth)
    surface = lay_out(regions, part, overhang_mm=0.0, margin_mm=margin, tolerance_mm=tolerance_mm)
    recipe_of = {region.key: region.recipe for region in plan.regions}
    keys = tuple(region.key for region in regions.regions)
    unplanned = [region.name or region.key for region in regions.regions if region.key not in recipe_of]
    if unplanned:
        raise InputError(f"no recipe for {', '.join(unplanned)}", where="plan", mend="plan every colour of the artwork")
    drilled = tuple(surface.spread(dilate(shapely.Point(hole.at_mm), hole.diameter_mm / 2)) for hole in holes)
    recipes = tuple(recipe_of[key] for key in keys)
    return Bench(surface, keys, recipes, plan.sequence.steps, resist.creep_mm, drilled, tolerance_mm)


def bathe(bench: Bench, vinyl: Mapping[str, BaseGeometry]) -> Bathed:
    """Replay the steps over the faces that the baths' reach and the regions cut the window into.

    Raises
    ------
    InputError
        When the steps put a mask on twice or lift one that is not on.
    """
    surface = bench.surface
    regions = [surface.regions[key] for key in bench.keys]
    wet = wet_areas(bench.steps, vinyl, window=surface.window, creep_mm=bench.creep_mm)
    reaches = {id(reach): reach for _, reach in wet}
    outlined = [shape for shape in (*regions, *reaches.values(), *bench.drilled, surface.face) if not shape.is_empty]
    lines = shapely.union_all([shape.boundary for shape in outlined], grid_size=GRID_MM)
    shapes = shapely.get_parts(shapely.polygonize(shapely.get_parts(lines)))
    places = shapely.get_coordinates(shapely.point_on_surface(shapes))

    def lies_in(shape: BaseGeometry) -> Flags:
        shapely.prepare(shape)
        return np.asarray(shapely.contains_xy(shape, *places.T), dtype=np.bool_)

    found = np.array([lies_in(shape) for shape in regions])
    book = _Book(bench.recipes)
    got = np.full(len(shapes), book.index(Recipe()))
    inside = {key: lies_in(reach) for key, reach in reaches.items()}
    for step, reach in wet:
        here = inside[id(reach)]
        after = np.arange(len(book.recipes))
        for old in np.unique(got[here]):
            before = book.recipes[old]
            after[old] = book.index(before.plus(step.dye, step.minutes) if isinstance(step, DyeBath) else Recipe())
        got = np.where(here, after[got], got)
    wanted = found.argmax(axis=0)
    aim = np.array([book.index(recipe) for recipe in bench.recipes])[wanted]
    for hole in bench.drilled:
        got = np.where(lies_in(hole), aim, got)
    keep = found.any(axis=0)
    return Bathed(
        shapes[keep],
        shapely.area(shapes[keep]),
        wanted[keep],
        aim[keep],
        got[keep],
        lies_in(surface.face)[keep],
        tuple(book.recipes),
        HAIR * bench.tolerance_mm,
    )


class _Book:
    """Numbers recipes; those equal within the tolerance of minutes have one number."""

    def __init__(self, recipes: Sequence[Recipe]) -> None:
        self.recipes: list[Recipe] = []
        for recipe in recipes:
            self.index(recipe)

    def index(self, recipe: Recipe) -> int:
        """Give the number of a recipe, a new one if it is not yet in the book."""
        for number, known in enumerate(self.recipes):
            if known.within(recipe) and recipe.within(known):
                return number
        self.recipes.append(recipe)
        return len(self.recipes) - 1
