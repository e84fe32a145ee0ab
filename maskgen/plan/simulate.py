"""The baths simulated on the masks as cut: every place of the face with the recipe it ends with.

The face is cut once along the outlines of all that the baths reach and of the wanted regions; every face of that
drawing has one history. Vector all through: exact within the flattening of the outlines. Frame of the face, mm.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import FLATTEN_MM, from_polygons, to_multipolygon
from maskgen.model.dyeing import DyeBath, Plan, Recipe
from maskgen.model.job import Hole, Part, Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Partition, Point, Region
from maskgen.model.result import RegionError, Simulation
from maskgen.plan.edges import Deviations, Outline
from maskgen.plan.growth import dilate
from maskgen.plan.reach import GRID_MM, wet_areas
from maskgen.plan.surface import Surface, lay_out

HAIR_MM = 0.004
"""A face of the drawing narrower than this lies between an outline and its own flattening; it is drawn as wanted."""
FOREIGN = "#ff00ff"
"""Colour of a recipe nobody asked for, where nobody says how it looks."""

Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Bathed:
    """The faces of the drawing after all baths.

    `shapes` polygons, `areas` mm2, `wanted` index of the region each lies in, `aim` index into `recipes` of the recipe
    wanted there, `got` the one reached (in a hole: the one wanted), `on_face` false in the margins of a tube.
    """

    shapes: NDArray[np.object_]
    areas: NDArray[np.float64]
    wanted: Indices
    aim: Indices
    got: Indices
    on_face: Flags
    recipes: tuple[Recipe, ...]

    @property
    def wrong(self) -> Flags:
        """Faces of the part itself that ended with another recipe than they should."""
        return self.on_face & (self.aim != self.got)

    def shown(self) -> Indices:
        """Give the recipe each face is drawn with: hairs along an outline as wanted."""
        hair = 2 * self.areas < HAIR_MM * shapely.length(self.shapes)
        return np.where(hair, self.aim, self.got)


def simulate(
    regions: Partition,
    plan: Plan,
    masks: Sequence[Mask],
    *,
    part: Part,
    resist: Resist,
    holes: Sequence[Hole] = (),
    displacements: Sequence[Point] | None = None,
    colour_of: Callable[[Recipe], str] | None = None,
) -> Simulation:
    """Put the masks through the plan's steps and compare the finished face with the regions.

    Parameters
    ----------
    regions
        The colours wanted on the developed face, mm; keys as in the plan, which says the recipe each should have.
    masks
        The vinyl as cut, found by number; its outlines alone count, not how they were made.
    displacements
        How far off each mask is put on, in the order of `masks`, mm.
    colour_of
        Tells how a recipe looks that no region has; without it such places are shown in magenta.

    Returns
    -------
    Simulation
        `predicted` covers the face once, a region for every recipe found, those of no region named by their doses.
        Wrong areas count everything, hairs too; edge errors are measured along the edges of every recipe's area, from
        the wanted to the predicted ones and back. Holes have no oxide: nothing in them is wrong.

    Raises
    ------
    InputError
        When the steps put a mask on twice or lift one that is not on.
    """
    surface = _surface(regions, part, resist, plan)
    vinyl = _vinyl(masks, surface, displacements)
    bathed = bathe(regions, plan, vinyl, surface=surface, creep_mm=resist.creep_mm, holes=holes)
    total = float(bathed.areas[bathed.on_face].sum())
    wrong = float(bathed.areas[bathed.wrong].sum())
    deviations, errors = _edge_errors(bathed, regions, surface, holes)
    mean, at_95, largest = deviations.figures()
    predicted = _predicted(bathed, regions, plan, colour_of)
    return Simulation(predicted, wrong, wrong / total if total else 0.0, mean, at_95, largest, errors)


def bathe(
    regions: Partition,
    plan: Plan,
    vinyl: Mapping[str, BaseGeometry],
    *,
    surface: Surface,
    creep_mm: float,
    holes: Sequence[Hole] = (),
    grid_mm: float = GRID_MM,
) -> Bathed:
    """Replay the steps over the faces that the baths' reach and the regions cut the window into."""
    recipe_of = {region.key: region.recipe for region in plan.regions}
    keys = [region.key for region in regions.regions]
    wanted_shapes = [surface.regions[key] for key in keys]
    wet = wet_areas(plan.sequence.steps, vinyl, window=surface.window, creep_mm=creep_mm)
    reaches = {id(reach): reach for _, reach in wet}
    drilled = [surface.spread(dilate(shapely.Point(hole.at_mm), hole.diameter_mm / 2)) for hole in holes]
    lines = [
        shape.boundary for shape in (*wanted_shapes, *reaches.values(), *drilled, surface.face) if not shape.is_empty
    ]
    shapes = shapely.get_parts(shapely.polygonize(shapely.get_parts(shapely.union_all(lines, grid_size=grid_mm))))
    places = shapely.get_coordinates(shapely.point_on_surface(shapes))

    def lies_in(shape: BaseGeometry) -> Flags:
        shapely.prepare(shape)
        return np.asarray(shapely.contains_xy(shape, *places.T))

    wanted = _first(np.array([lies_in(shape) for shape in wanted_shapes]))
    keep = wanted >= 0
    book = _Book([recipe_of.get(key, Recipe()) for key in keys])
    got = np.full(len(shapes), book.index(Recipe()))
    inside = {key: lies_in(reach) for key, reach in reaches.items()}
    for step, reach in wet:
        here = inside[id(reach)]
        for old in np.unique(got[here]):
            before = book.recipes[old]
            after = before.plus(step.dye, step.minutes) if isinstance(step, DyeBath) else Recipe()
            got[here & (got == old)] = -1 - book.index(after)
        got = np.where(got < 0, -1 - got, got)
    aim = np.array([book.index(recipe_of.get(key, Recipe())) for key in keys])[wanted]
    for hole in drilled:
        got = np.where(lies_in(hole), aim, got)
    on_face = lies_in(surface.face)
    areas = shapely.area(shapes)
    return Bathed(shapes[keep], areas[keep], wanted[keep], aim[keep], got[keep], on_face[keep], tuple(book.recipes))


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


def _first(flags: Flags) -> Indices:
    return np.where(flags.any(axis=0), flags.argmax(axis=0), -1)


def _surface(regions: Partition, part: Part, resist: Resist, plan: Plan) -> Surface:
    depth = resist.creep_mm * plan.sequence.strips
    return lay_out(regions, part, overhang_mm=0.0, margin_mm=min(regions.width / 2, 2.0 + 2 * depth))


def _vinyl(masks: Sequence[Mask], surface: Surface, displacements: Sequence[Point] | None) -> dict[str, BaseGeometry]:
    shifts = displacements or [(0.0, 0.0)] * len(masks)
    return {
        mask.number: surface.spread(affinity.translate(to_multipolygon(mask.area, tolerance=FLATTEN_MM), *shift))
        for mask, shift in zip(masks, shifts, strict=True)
    }


def _edge_errors(
    bathed: Bathed, regions: Partition, surface: Surface, holes: Sequence[Hole]
) -> tuple[Deviations, tuple[RegionError, ...]]:
    rim = surface.window.boundary
    shown = bathed.shown()
    parts: list[Deviations] = []
    of_region: list[tuple[int, Deviations]] = []
    for recipe in np.unique(bathed.aim):
        aimed, reached = bathed.aim == recipe, shown == recipe
        if np.array_equal(aimed, reached) and aimed.all():
            continue
        wanted, found = (Outline.of(shapely.coverage_union_all(bathed.shapes[f]), rim) for f in (aimed, reached))
        radius = float(np.sqrt(bathed.areas[aimed].sum() / np.pi))
        deviations = Deviations.between(wanted, found, missing_mm=radius)
        deviations = deviations.where(_once(deviations, surface))
        parts.append(deviations)
        of_region += _shared_out(deviations, bathed, int(recipe), surface, regions)
    figures = dict(of_region)
    empty = Deviations.pooled([])
    wrong = bathed.wrong
    errors = tuple(
        RegionError(
            region.key,
            float(bathed.areas[wrong & (bathed.wanted == index)].sum()),
            *figures.get(index, empty).figures(),
        )
        for index, region in enumerate(regions.regions)
    )
    return Deviations.pooled(parts), errors


def _once(deviations: Deviations, surface: Surface) -> Flags:
    """Leave out what a tube's margins show a second time."""
    if surface.round_mm is None:
        return np.ones(len(deviations.distances), dtype=np.bool_)
    x = deviations.points[:, 0]
    return np.asarray((x >= 0) & (x < surface.round_mm))


def _shared_out(
    deviations: Deviations, bathed: Bathed, recipe: int, surface: Surface, regions: Partition
) -> list[tuple[int, Deviations]]:
    """Give each region of a recipe the deviations nearest to it."""
    owners = np.unique(bathed.wanted[bathed.aim == recipe])
    if len(owners) == 1:
        return [(int(owners[0]), deviations)]
    points = shapely.points(deviations.points)
    away = np.array([shapely.distance(points, surface.regions[regions.regions[k].key]) for k in owners])
    nearest = owners[away.argmin(axis=0)]
    return [(int(k), deviations.where(nearest == k)) for k in owners]


def _predicted(bathed: Bathed, regions: Partition, plan: Plan, colour_of: Callable[[Recipe], str] | None) -> Partition:
    """Draw the face as it comes out: each region where its recipe is found, then the recipes of no region."""
    shown = bathed.shown()
    looks = {region.key: region.predicted for region in plan.regions}
    drawn: list[Region] = []
    aims = {int(w): int(a) for w, a in zip(bathed.wanted, bathed.aim, strict=True)}
    right = shown == bathed.aim
    used = np.zeros(len(shown), dtype=np.bool_)
    for index, region in enumerate(regions.regions):
        recipe = aims.get(index, -1)
        first = recipe not in [aims.get(k) for k in range(index)]
        own = (bathed.wanted == index) & right
        strayed = (shown == recipe) & ~right if first else np.zeros_like(own)
        chosen = bathed.on_face & (own | strayed)
        used |= chosen
        if chosen.any():
            drawn.append(_region(region.key, region.name, looks.get(region.key, region.colour), bathed, chosen))
    for recipe in np.unique(shown[bathed.on_face & ~used]):
        doses = bathed.recipes[recipe]
        name = " + ".join(f"{dye} {minutes:g} min" for dye, minutes in doses.doses) or "bare"
        colour = colour_of(doses) if colour_of else FOREIGN
        chosen = bathed.on_face & ~used & (shown == recipe)
        drawn.append(_region(f"stray-{len(drawn) + 1}", name, colour, bathed, chosen))
    return Partition(regions.width, regions.height, tuple(drawn))


def _region(key: str, name: str, colour: str, bathed: Bathed, chosen: Flags) -> Region:
    return Region(key, name, colour, from_polygons(shapely.coverage_union_all(bathed.shapes[chosen])))
