"""The test piece as a finished job: the same dye before every mask, a strip after it, and the seal."""

from __future__ import annotations

import dataclasses

import shapely

from maskgen.colour.mix import ColourModel
from maskgen.errors import InputError, nearest_known
from maskgen.geometry.polygons import from_polygons, to_multipolygon
from maskgen.model.coupon import TestPiece
from maskgen.model.dyeing import ApplyMask, DyeBath, Plan, PlannedRegion, Recipe, Seal, Sequence, Shelf, Step, Strip
from maskgen.model.job import Job, Part, Shape
from maskgen.model.paths import Partition, Region
from maskgen.model.result import JobResult
from maskgen.plan.estimate import estimate
from maskgen.plan.simulate import simulate
from maskgen.shape.coupon import make_test_piece
from maskgen.shape.nest import nest

WIDTH_MM, HEIGHT_MM = 76.2, 25.4
"""A teaching coupon of 3 x 1 in (Donahue and Exline, J. Chem. Educ. 2014, abstract)."""
TITLE = "Test piece: read the film before you peel it (reading-sheet.pdf)"


def make_coupon(job: Job, *, shelf: Shelf, strips: int, dye: str | None = None) -> tuple[TestPiece, JobResult]:
    """Make the test piece with everything a job has: masks, steps, sheets, simulated baths.

    Parameters
    ----------
    job
        Its part, resist profile, formats, paper and sheet settings count; without a part it is a plate of 3 x 1 in.
    shelf
        The dyes.
    strips
        How many strips the most exposed film goes through.
    dye
        The dye to use; left out, the darkest that bleach takes out again.

    Raises
    ------
    InputError
        For a part that is no plate or too small, or a dye that is not on the shelf or does not strip.
    """
    part = job.part or Part(Shape.PLATE, width_mm=WIDTH_MM, height_mm=HEIGHT_MM)
    if part.shape is not Shape.PLATE:
        raise InputError(
            f"a test piece is cut on a plate, not on a {part.shape}", where="--part", mend="plate:76.2x25.4"
        )
    piece = make_test_piece(*part.face_mm, strips=strips)
    model = ColourModel(shelf)
    bath = _bath(shelf, model, dye)
    job = dataclasses.replace(
        job, title=TITLE, part=part, artwork=None, colour=(), ground=None, hole=(), island=(), text=None, companions=()
    )
    regions = _regions(
        piece, model.predict(Recipe()).colour, model.predict(Recipe().plus(bath.dye, bath.minutes)).colour
    )
    plan = _plan(piece, bath, regions)
    simulation = simulate(
        regions, plan, piece.masks, part=part, resist=job.resist, colour_of=lambda r: model.predict(r).colour
    )
    sheets = nest(piece.masks, quantity=job.quantity, resist=job.resist, settings=job.sheets, face_mm=part.face_mm)
    result = JobResult(
        job=job,
        shelf=shelf,
        plan=plan,
        regions=regions,
        masks=piece.masks,
        sheets=sheets,
        simulation=simulation,
        findings=(),
        estimate=estimate(job, plan=plan, shelf=shelf, masks=piece.masks, sheets=sheets),
    )
    return piece, result


def _bath(shelf: Shelf, model: ColourModel, name: str | None) -> DyeBath:
    strippable = [dye for dye in shelf.dyes if dye.strips]
    if not strippable:
        raise InputError("no dye of the shelf comes out in bleach", where="shelf", mend="a test piece needs one")
    if name is None:
        chosen = min(strippable, key=lambda d: model.predict(Recipe().plus(d.name, d.full_minutes)).lab[0])
        return DyeBath(chosen.name, chosen.full_minutes)
    known = {dye.name: dye for dye in shelf.dyes}
    if name not in known:
        raise InputError(f"no dye is named `{name}`", where="--dye", mend=nearest_known(name, known))
    if not known[name].strips:
        raise InputError(
            f"`{name}` does not come out in bleach, so nothing would be measured",
            where="--dye",
            mend="choose one of " + ", ".join(dye.name for dye in strippable),
        )
    return DyeBath(name, known[name].full_minutes)


def _regions(piece: TestPiece, bare: str, dyed: str) -> Partition:
    """Cover the face: what each mask keeps, and the bare rest."""
    kept = [to_multipolygon(mask.area) for mask in piece.masks]
    rest = shapely.box(0.0, 0.0, piece.width_mm, piece.height_mm).difference(shapely.union_all(kept))
    regions = [
        Region(mask.regions[0], mask.name, dyed, from_polygons(area))
        for mask, area in zip(piece.masks, kept, strict=True)
    ]
    ground = Region(f"r{len(kept) + 1}", "ground", bare, from_polygons(rest))
    return Partition(piece.width_mm, piece.height_mm, (*regions, ground))


def _plan(piece: TestPiece, bath: DyeBath, regions: Partition) -> Plan:
    steps: list[Step] = []
    for mask in piece.masks:
        steps += [bath, ApplyMask(mask.number, mask.regions), Strip()]
    dyed = Recipe().plus(bath.dye, bath.minutes)
    planned = tuple(
        PlannedRegion(r.key, r.name, r.colour, Recipe() if r.name == "ground" else dyed, r.colour, 0.0)
        for r in regions.regions
    )
    return Plan(planned, Sequence((*steps, Seal())), optimal=False, lower_bound=0)
