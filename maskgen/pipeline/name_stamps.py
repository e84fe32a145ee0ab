"""One cluster of letters taken through masks, baths and checks by itself, to be put down wherever it stands.

Letters that stand farther apart than vinyl and bleach can act on one another do not know of each other. Such a cluster
(mostly a single letter) is worked out once, in the middle of a plate of the colour around it; what it adds to every
drawing, wherever it stands in that colour, is this result moved. Frame: the origin of the cluster's first glyph.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from maskgen.check.lands import mask_findings
from maskgen.formats.path_forms import PathForm, Sketch
from maskgen.model.dyeing import Plan, Recipe
from maskgen.model.finding import Finding
from maskgen.model.job import Hole, IslandRule, Part, Resist, Shape
from maskgen.model.masks import Mask
from maskgen.model.paths import (
    Area,
    Partition,
    Piece,
    Point,
    Region,
    Ring,
    affine,
    area_of,
    bounds,
    length_of,
    node_count,
    rectangle,
    signed_area,
)
from maskgen.pipeline.finish import told_once
from maskgen.plan.bathed import bathe, set_up
from maskgen.plan.edges import Deviations
from maskgen.plan.masks import grow_masks
from maskgen.plan.simulate import compare_edges, draw, wrong_area
from maskgen.shape.cutting import cutting_order
from maskgen.shape.islands import settle_islands

STEP_MM = 1e-5
"""Edge errors are kept to this, the last digit they are told to."""

ColourOf = Callable[[Recipe], str]


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """What a cluster adds to one colour or mask: openings in what lies all around it, and pieces of its own.

    `cut_mm` and `nodes` are those of both together, `sketch` the pieces as a small picture needs them.
    """

    openings: PathForm | None
    pieces: tuple[PathForm, ...]
    sketch: Sketch
    cut_mm: float
    nodes: int


@dataclass(frozen=True, slots=True, eq=False)
class Simulated:
    """What the baths make of a drawing: predicted colours, wrong area, edge errors with their lengths."""

    predicted: Partition
    wrong_mm2: float
    errors: Deviations


@dataclass(frozen=True, slots=True, eq=False)
class Stamp:
    """A cluster's part of every drawing. `looks` are the predicted colours by key, name and colour.

    In `findings` the piece counts among the cluster's own pieces; 0 is what lies around it. `sizes` are what it adds
    to the area of every colour.
    """

    box: tuple[float, float, float, float]
    regions: dict[str, Drawn]
    looks: dict[tuple[str, str, str], Drawn]
    masks: dict[str, Drawn]
    sizes: dict[str, float]
    findings: tuple[Finding, ...]
    wrong_mm2: float
    errors: Deviations


@dataclass(frozen=True, slots=True)
class Letters:
    """What a stamp is made of: the colour of the letters and of what lies around, as the whole drawing has them."""

    letters: Region
    around: Region


def make_stamp(
    lettering: Letters, plan: Plan, *, resist: Resist, margin_mm: float, colour_of: ColourOf
) -> Stamp | None:
    """Work one cluster out; None where its islands are joined to something or grown, which may reach far."""
    area = lettering.letters.area
    left, top, right, bottom = bounds(area)
    back = (left - margin_mm, top - margin_mm)
    width, height = right - left + 2 * margin_mm, bottom - top + 2 * margin_mm
    part = Part(Shape.PLATE, width_mm=width, height_mm=height, keepout_mm=0.0)
    settled = settle_islands(_plate(lettering, back, width, height), resist=resist)
    if any(change.choice in (IslandRule.BRIDGE, IslandRule.GROW) for change in settled.changes):
        return None
    regions = settled.partition
    grown, growth = grow_masks(regions, plan, part=part, resist=resist)
    masks = [dataclasses.replace(m, area=Area(cutting_order(m.area.pieces, home=(0.0, height)))) for m in grown]
    lands = told_once(mask_findings(masks, resist=resist, part=part), growth)
    simulated = simulate_keeping(regions, plan, masks, part=part, resist=resist, colour_of=colour_of)
    around = {mask.number: _around(mask.area, width, height) for mask in masks}
    findings = (*settled.findings, *growth, *lands)
    sizes = {region.key: area_of(region.area) for region in regions.regions}
    sizes[lettering.around.key] = sizes.get(lettering.around.key, 0.0) - width * height

    def drawn(whole: Area) -> Drawn:
        return _drawn(whole, _around(whole, width, height), back)

    return Stamp(
        box=(left, top, right, bottom),
        regions={region.key: drawn(region.area) for region in regions.regions},
        looks={(r.key, r.name, r.colour): drawn(r.area) for r in simulated.predicted.regions},
        masks={mask.number: drawn(mask.area) for mask in masks},
        sizes=sizes,
        findings=tuple(_moved(f, back, around) for f in findings),
        wrong_mm2=simulated.wrong_mm2,
        errors=simulated.errors,
    )


def simulate_keeping(
    regions: Partition,
    plan: Plan,
    masks: Sequence[Mask],
    *,
    part: Part,
    resist: Resist,
    colour_of: ColourOf,
    holes: Sequence[Hole] = (),
) -> Simulated:
    """Simulate the baths and keep the edge errors, so that those of several drawings can be told together.

    Where nothing strays wider than a hair the predicted drawing is the wanted one, curves and all.
    """
    bench = set_up(regions, plan, part=part, resist=resist, holes=holes)
    bathed = bathe(bench, bench.lay(masks))
    shown = bathed.shown()
    deviations, _ = compare_edges(bathed, shown, bench)
    if np.array_equal(shown, bathed.aim):
        looks = {region.key: region.predicted for region in plan.regions}
        drawn = tuple(dataclasses.replace(r, colour=looks[r.key]) for r in regions.regions)
        predicted = dataclasses.replace(regions, regions=drawn)
    else:
        predicted = draw(bathed, shown, regions, plan, colour_of)
    return Simulated(predicted, wrong_area(bathed), binned(deviations))


def binned(deviations: Deviations) -> Deviations:
    """Put edge errors that print the same together: the lengths they stand for add up."""
    steps, which = np.unique(np.rint(deviations.distances / STEP_MM), return_inverse=True)
    weights = np.bincount(which.reshape(-1), weights=deviations.weights, minlength=len(steps)).astype(np.float64)
    return Deviations(np.zeros((len(steps), 2)), steps * STEP_MM, weights)


def _plate(lettering: Letters, back: Point, width: float, height: float) -> Partition:
    """Put the letters in the middle of a plate of what lies around them."""
    letters = lettering.letters.area.mapped(affine(1.0, (-back[0], -back[1])))
    frame = rectangle(0.0, 0.0, width, height)
    around = Piece(frame.outer, tuple(piece.outer.reversed() for piece in letters.pieces))
    counters = tuple(Piece(hole.reversed()) for piece in letters.pieces for hole in piece.holes)
    placed = {
        lettering.letters.key: dataclasses.replace(lettering.letters, area=letters),
        lettering.around.key: dataclasses.replace(lettering.around, area=Area((around, *counters))),
    }
    return Partition(width, height, tuple(placed[key] for key in sorted(placed, key=lambda key: int(key[1:]))))


def _around(area: Area, width: float, height: float) -> int | None:
    """Give the index of the piece that covers the plate to its edges, None where none does."""
    for index, piece in enumerate(area.pieces):
        if signed_area(piece.outer) > 0.999 * width * height:
            return index
    return None


def _drawn(area: Area, around: int | None, back: Point) -> Drawn:
    home = area.mapped(affine(1.0, back))
    own = [piece for index, piece in enumerate(home.pieces) if index != around]
    openings: tuple[Ring, ...] = home.pieces[around].holes if around is not None else ()
    rings = (*openings, *(ring for piece in own for ring in piece.rings))
    return Drawn(
        openings=PathForm.of(openings) if openings else None,
        pieces=tuple(PathForm.of((*piece.holes, piece.outer)) for piece in own),
        sketch=Sketch.of(ring for piece in own for ring in piece.rings),
        cut_mm=sum(length_of(ring) for ring in rings),
        nodes=sum(len(ring.segments) for ring in openings) + node_count(Area(tuple(own))),
    )


def _moved(finding: Finding, back: Point, around: dict[str, int | None]) -> Finding:
    """Bring a finding to the cluster's frame, its piece to the number among the cluster's own."""
    at = None if finding.at_mm is None else (finding.at_mm[0] + back[0], finding.at_mm[1] + back[1])
    piece, skipped = finding.piece, around.get(finding.mask or "")
    if piece is not None and skipped is not None:
        piece = 0 if piece - 1 == skipped else piece - (piece - 1 > skipped)
    return dataclasses.replace(finding, at_mm=at, piece=piece)
