"""What is on every part of a list before its name is, and the drawings of a part with its letters put down on it."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from maskgen.check.lands import mask_findings
from maskgen.formats.path_forms import PathForm, Sketch
from maskgen.formats.svg_write import path_data
from maskgen.geometry.polygons import to_polygon
from maskgen.model.dyeing import ApplyMask, Plan
from maskgen.model.finding import Finding
from maskgen.model.job import Job
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, Partition, Point, area_of, length_of, node_count
from maskgen.model.result import Simulation
from maskgen.pipeline.finish import told_once
from maskgen.pipeline.name_stamps import ColourOf, Drawn, Simulated, Stamp, simulate_keeping
from maskgen.plan.edges import Deviations
from maskgen.plan.masks import grow_masks
from maskgen.shape.cutting import cutting_order, whole_runs
from maskgen.shape.window import mask_window

Box = tuple[float, float, float, float]

_SPOT = re.compile(r"at -?\d+\.\d, -?\d+\.\d mm")


@dataclass(frozen=True, slots=True)
class DrawnMask:
    """A mask as path data, piece by piece in cutting order.

    `runs` count what belongs together, what lies inside first. `window` is left, top, width, height of its drawing,
    `box` left, top, right, bottom of its vinyl.
    """

    number: str
    name: str
    regions: tuple[str, ...]
    paths: tuple[str, ...]
    runs: tuple[int, ...]
    window: Box
    box: Box
    cut_mm: float
    nodes: int


@dataclass(frozen=True, slots=True)
class DrawnRow:
    """A finished part as drawings in path data; colours are name, colour, data. `picture` is a small one of it.

    `over_blank` says whether the picture is to be laid over that of the part without letters.
    """

    regions: tuple[tuple[str, str, str], ...]
    looks: tuple[tuple[str, str, str], ...]
    masks: tuple[DrawnMask, ...]
    picture: tuple[tuple[str, Sketch], ...]
    over_blank: bool
    sizes: dict[str, float]
    findings: tuple[Finding, ...]
    figures: dict[str, float]


@dataclass(frozen=True, slots=True, eq=False)
class _BlankMask:
    pieces: tuple[PathForm, ...]
    shapes: tuple[BaseGeometry, ...]
    runs: tuple[int, ...]
    window: tuple[float, float, float, float]
    cut_mm: float
    nodes: int


@dataclass(frozen=True, slots=True, eq=False)
class Blank:
    """The part without letters, through all baths of the plan it has with them."""

    partition: Partition
    plan: Plan
    names: dict[str, str]
    simulated: Simulated
    masks: dict[str, _BlankMask]
    findings: tuple[Finding, ...]
    face_mm2: float

    @classmethod
    def of(
        cls, regions: Partition, plan: Plan, job: Job, *, colour_of: ColourOf, findings: Sequence[Finding] = ()
    ) -> Blank:
        """Work out the part without letters; `findings` is what is known of it already."""
        assert job.part is not None
        part, resist = job.part, job.resist
        width, height = part.face_mm
        grown, growth = grow_masks(regions, plan, part=part, resist=resist, holes=job.hole)
        masks = [_in_order(mask, (width, height)) for mask in grown]
        simulated = simulate_keeping(
            regions, plan, masks, part=part, resist=resist, holes=job.hole, colour_of=colour_of
        )
        lands = told_once(mask_findings(masks, resist=resist, part=part), growth)
        return cls(
            partition=regions,
            plan=plan,
            names={region.key: region.name for region in plan.regions},
            simulated=simulated,
            masks={mask.number: _blank_mask(mask, (width, height)) for mask in masks},
            findings=(*findings, *growth, *lands),
            face_mm2=sum(area_of(region.area) for region in regions.regions),
        )

    @property
    def picture(self) -> tuple[tuple[str, str], ...]:
        """A small picture of the part without letters: colour and path data."""
        return tuple((region.colour, Sketch.of(region.area.rings).data) for region in self.simulated.predicted.regions)

    def with_letters(self, stamps: Sequence[tuple[Stamp, Point]], looks: dict[str, tuple[str, str]]) -> DrawnRow:
        """Put letters down; `looks` are name and colour of every region, with letters, in order."""
        regions = tuple(
            (name, colour, data)
            for key, (name, colour) in looks.items()
            if (data := _coloured(_of(self.partition, key), [(s.regions.get(key), at) for s, at in stamps]))
        )
        seen = {(r.key, r.name, r.colour): r.area for r in self.simulated.predicted.regions}
        kinds = dict.fromkeys((*seen, *(kind for stamp, _ in stamps for kind in stamp.looks)))
        order = sorted(kinds, key=lambda kind: (kind[0].startswith("stray"), int(re.sub(r"\D", "", kind[0]) or 0)))
        shown = tuple(
            (kind[1], kind[2], data)
            for kind in order
            if (data := _coloured(seen.get(kind, Area()), [(s.looks.get(kind), at) for s, at in stamps]))
        )
        masks, offsets = [], {}
        for step in self.plan.sequence.steps:
            if isinstance(step, ApplyMask):
                drawn, offset = self._mask(step, stamps)
                offsets[step.mask] = offset
                if drawn.paths:
                    masks.append(drawn)
        sizes = {region.key: area_of(region.area) for region in self.partition.regions}
        for stamp, _ in stamps:
            for key, size in stamp.sizes.items():
                sizes[key] = sizes.get(key, 0.0) + size
        wrong = self.simulated.wrong_mm2 + sum(stamp.wrong_mm2 for stamp, _ in stamps)
        errors = Deviations.pooled([self.simulated.errors, *(stamp.errors for stamp, _ in stamps)])
        return DrawnRow(
            regions=regions,
            looks=shown,
            masks=tuple(masks),
            picture=_picture(stamps),
            over_blank=True,
            sizes=sizes,
            findings=tuple(_placed_findings(self.findings, stamps, offsets)),
            figures=figures_of(wrong, wrong / self.face_mm2 if self.face_mm2 else 0.0, errors.figures()),
        )

    def _mask(self, step: ApplyMask, stamps: Sequence[tuple[Stamp, Point]]) -> tuple[DrawnMask, list[int]]:
        """Give a mask, and for every stamp how many pieces come before its own."""
        blank = self.masks.get(step.mask, _BlankMask((), (), (), (0.0, 0.0, *self._size), 0.0, 0))
        paths: list[str] = []
        boxes = [piece.box for piece in blank.pieces]
        offsets, runs = [], []
        holes: dict[int, list[str]] = {}
        cut, nodes = blank.cut_mm, blank.nodes
        for stamp, at in stamps:
            drawn = stamp.masks.get(step.mask)
            offsets.append(len(paths))
            if drawn is None:
                continue
            paths += [piece.at(at) for piece in drawn.pieces]
            boxes += [_shifted(piece.box, at) for piece in drawn.pieces]
            runs.append(len(drawn.pieces))
            cut, nodes = cut + drawn.cut_mm, nodes + drawn.nodes
            if drawn.openings is not None:
                holes.setdefault(_around(blank.shapes, stamp, at), []).append(drawn.openings.at(at))
        paths += ["".join(holes.get(k, ())) + piece.at() for k, piece in enumerate(blank.pieces)]
        # What lies in an opening is cut before the opening: with openings everything is one run.
        together = (len(paths),) if holes else tuple(run for run in (*runs, *blank.runs) if run)
        name = " and ".join(self.names.get(key, key) for key in step.regions)
        box = _enclosing(boxes) if boxes else (0.0, 0.0, 0.0, 0.0)
        mask = DrawnMask(step.mask, name, step.regions, tuple(paths), together, blank.window, box, cut, nodes)
        return mask, offsets

    @property
    def _size(self) -> tuple[float, float]:
        return self.partition.width, self.partition.height


def drawn_whole(
    regions: Partition, masks: Sequence[Mask], simulation: Simulation, findings: tuple[Finding, ...]
) -> DrawnRow:
    """Give a part that was worked out as a whole in the same form."""
    ordered = [_in_order(mask, (regions.width, regions.height)) for mask in masks]
    forms = [(mask, _blank_mask(mask, (regions.width, regions.height))) for mask in ordered]
    return DrawnRow(
        regions=tuple((r.name, r.colour, path_data(r.area.rings)) for r in regions.regions),
        looks=tuple((r.name, r.colour, path_data(r.area.rings)) for r in simulation.predicted.regions),
        masks=tuple(
            DrawnMask(
                mask.number,
                mask.name,
                mask.regions,
                tuple(piece.at() for piece in form.pieces),
                form.runs,
                form.window,
                _enclosing([piece.box for piece in form.pieces]),
                form.cut_mm,
                form.nodes,
            )
            for mask, form in forms
            if form.pieces
        ),
        picture=tuple((r.colour, Sketch.of(r.area.rings)) for r in simulation.predicted.regions),
        over_blank=False,
        sizes={region.key: area_of(region.area) for region in regions.regions},
        findings=findings,
        figures=figures_of(
            simulation.wrong_mm2,
            simulation.wrong_share,
            (simulation.edge_mean_mm, simulation.edge_95_mm, simulation.edge_max_mm),
        ),
    )


def figures_of(wrong_mm2: float, wrong_share: float, edges: tuple[float, float, float]) -> dict[str, float]:
    """Give what the simulated baths say, for `plan.json`."""
    return {
        "wrong_share": round(wrong_share, 6),
        "wrong_mm2": round(wrong_mm2, 4),
        "edge_mean_mm": round(edges[0], 5),
        "edge_95_mm": round(edges[1], 5),
        "edge_max_mm": round(edges[2], 4),
    }


def _in_order(mask: Mask, size: tuple[float, float]) -> Mask:
    return dataclasses.replace(mask, area=Area(cutting_order(mask.area.pieces, home=(0.0, size[1]))))


def _blank_mask(mask: Mask, size: tuple[float, float]) -> _BlankMask:
    pieces = mask.area.pieces
    return _BlankMask(
        pieces=tuple(PathForm.of((*piece.holes, piece.outer)) for piece in pieces),
        shapes=tuple(to_polygon(piece) for piece in pieces),
        runs=tuple(whole_runs(pieces)),
        window=mask_window(mask.area, size),
        cut_mm=sum(length_of(ring) for ring in mask.area.rings),
        nodes=node_count(mask.area),
    )


def _shifted(box: Box, by: Point) -> Box:
    return box[0] + by[0], box[1] + by[1], box[2] + by[0], box[3] + by[1]


def _enclosing(boxes: Sequence[Box]) -> Box:
    lefts, tops, rights, bottoms = zip(*boxes, strict=True)
    return min(lefts), min(tops), max(rights), max(bottoms)


def _of(partition: Partition, key: str) -> Area:
    return next((region.area for region in partition.regions if region.key == key), Area())


def _coloured(area: Area, added: Sequence[tuple[Drawn | None, Point]]) -> str:
    """Give all of one colour: what is there without letters, opened for them, and their own pieces."""
    words = [path_data(area.rings)]
    for drawn, at in added:
        if drawn is not None:
            words += [drawn.openings.at(at)] if drawn.openings is not None else []
            words += [piece.at(at) for piece in drawn.pieces]
    return "".join(words)


def _around(shapes: Sequence[BaseGeometry], stamp: Stamp, at: Point) -> int:
    if len(shapes) == 1:
        return 0
    left, top, right, bottom = stamp.box
    middle = shapely.Point((left + right) / 2 + at[0], (top + bottom) / 2 + at[1])
    return int(np.argmin(shapely.distance(np.array(shapes), middle)))


def _picture(stamps: Sequence[tuple[Stamp, Point]]) -> tuple[tuple[str, Sketch], ...]:
    """Draw the letters alone, to be laid over what lies around them."""
    return tuple(
        (colour, drawn.sketch.moved(at))
        for stamp, at in stamps
        for (_, _, colour), drawn in stamp.looks.items()
        if drawn.openings is None and drawn.sketch.steps
    )


def _placed_findings(
    blank: Sequence[Finding], stamps: Sequence[tuple[Stamp, Point]], offsets: dict[str, list[int]]
) -> list[Finding]:
    own = {
        mask: before[-1] + len(stamps[-1][0].masks[mask].pieces) if mask in stamps[-1][0].masks else before[-1]
        for mask, before in offsets.items()
    }
    found = [dataclasses.replace(f, piece=f.piece + own.get(f.mask or "", 0)) if f.piece else f for f in blank]
    for index, (stamp, at) in enumerate(stamps):
        for finding in stamp.findings:
            found.append(_put_down(finding, at, index, offsets, own))
    return found


def _put_down(finding: Finding, at: Point, index: int, offsets: dict[str, list[int]], own: dict[str, int]) -> Finding:
    spot, message, piece = finding.at_mm, finding.message, finding.piece
    if spot is not None:
        spot = (round(spot[0] + at[0], 4), round(spot[1] + at[1], 4))
        message = _SPOT.sub(f"at {spot[0]:.1f}, {spot[1]:.1f} mm", message, count=1)
    if piece is not None and finding.mask in offsets:
        piece = piece + offsets[finding.mask][index] if piece else own[finding.mask] + 1
    return dataclasses.replace(finding, at_mm=spot, message=message, piece=piece)
