"""What all rows of a name list share, and a row worked out as a whole part, the same way as any artwork."""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from maskgen.check.resolution import resolution_finding
from maskgen.colour.mix import ColourModel
from maskgen.errors import InputError, NoPlanError, nearest_known
from maskgen.model.artwork import TracedArtwork
from maskgen.model.dyeing import Plan, Recipe, Shelf
from maskgen.model.finding import Finding
from maskgen.model.job import Job, TextSpec
from maskgen.model.names import NameRow
from maskgen.model.paths import Partition, Point, Region, affine, area_of
from maskgen.pipeline.convert import (
    ground_key,
    hand_work,
    in_order,
    named_regions,
    neighbours,
    with_ground,
    with_ground_colour,
)
from maskgen.pipeline.finish import Finished, finish_masks
from maskgen.pipeline.name_reasons import off_the_face
from maskgen.pipeline.ordering import order_dyes
from maskgen.pipeline.size import settle_size
from maskgen.pipeline.wanted import GROUND, NamedColour, matched_keys, name_artwork_colours, wanted_colours
from maskgen.plan.finished import contrast_findings, unreached_findings
from maskgen.shape.face import Placed, place_artwork
from maskgen.shape.glyphs import Font
from maskgen.shape.islands import Settled, settle_islands
from maskgen.shape.lettering import Lettering, Unsettable, set_text

NAME_WORK = 12.0
"""Work of masking a name, as `hand_work` counts it: eight letters with four counters to weed."""
AROUND_WORK = 16.0
"""Work a name adds to masking what lies around it: eight openings to weed, four small counters to place."""


@dataclass(frozen=True, slots=True)
class Template:
    """What all rows share: the job with its lettering, the shelf, the font's bytes, the artwork where there is some."""

    job: Job
    shelf: Shelf
    font: bytes
    artwork: TracedArtwork | None = None


class Refusal(Exception):
    """A row that cannot be made, with what is known of it."""

    def __init__(self, reason: str, cap_height_mm: float | None = None, land_mm: float | None = None) -> None:
        super().__init__(reason)
        self.reason, self.cap_height_mm, self.land_mm = reason, cap_height_mm, land_mm


@dataclass(frozen=True, slots=True)
class WholeRow:
    """A row worked out as a whole part."""

    plan: Plan
    regions: Partition
    finished: Finished
    findings: tuple[Finding, ...]


class NameJob:
    """A template made ready: artwork placed, colours named, the dye order of every set of colours found once."""

    def __init__(self, template: Template, plans: Mapping[str, Plan] | None = None) -> None:
        job = template.job
        if job.text is None:
            raise InputError("has no [text]", where="template", mend="add [text] with font, height_mm, box_mm, colour")
        if job.part is None:
            raise InputError("has no [part]", where="template", mend="say what the names go on: [part] shape = ...")
        if template.artwork is not None:
            drawn = template.artwork.partition
            job = settle_size(job, aspect=drawn.width / drawn.height)
        assert job.part is not None
        self.job, self.part = job, job.part
        self.spec: TextSpec = job.text  # type: ignore[assignment]
        self.template = template
        self.model = ColourModel(template.shelf)
        self.font = Font(template.font)
        self.colours = self._known_colours()
        self.letters = self.entry(self.spec.colour)
        self.ground = ground_key(job, self.colours)
        self.artwork, self.placing = self._placed_artwork()
        self.plans = dict(plans or {})

    def find_plans(self, rows: Iterable[NameRow]) -> Mapping[str, Plan]:
        """Find the dye order of every colour the rows name; whoever makes the rows is given these, to save the time."""
        first: dict[str, Partition] = {}
        for row in rows:
            name = (row.colour or self.spec.colour).strip().lower()
            if name not in first and (settled := self._standing(row)) is not None:
                first[name] = settled
        for name, regions in first.items():
            letters = self.entry(name).key
            # Colours that have no order refuse their own rows, when those are made.
            with contextlib.suppress(NoPlanError):
                self.plans.setdefault(lot_of(regions, letters), self._new_plan(regions, letters))
        return self.plans

    def _standing(self, row: NameRow) -> Partition | None:
        """Give the part with a row's name on it, where something of the name is left on it."""
        try:
            colour = self.colour_of(row)
            regions, _ = self.on_the_part(self.lettering(row), colour)
        except (Refusal, Unsettable, InputError):
            return None
        settled = settle_islands(regions, resist=self.job.resist).partition
        return settled if any(region.key == colour.key for region in settled.regions) else None

    def _known_colours(self) -> tuple[NamedColour, ...]:
        """Give the artwork's colours and all others the template names, with ids that count through."""
        entries = self.job.colour
        if self.template.artwork is None:
            return tuple(
                NamedColour(f"r{i}", e.name or f"colour {i}", e.source.lower(), e) for i, e in enumerate(entries, 1)
            )
        named = self._artwork_colours()
        more = [
            NamedColour(f"r{len(named) + i}", e.name or e.source, e.source.lower(), e)
            for i, e in enumerate(entries[len(named) :], 1)
        ]
        return (*named, *more)

    def _artwork_colours(self) -> tuple[NamedColour, ...]:
        assert self.template.artwork is not None
        palette = [r.colour for r in self.template.artwork.partition.regions if r.colour != "clear"]
        return name_artwork_colours(palette, self.job.colour[: len(palette)])

    def entry(self, name: str) -> NamedColour:
        """Find a colour by its name.

        Raises
        ------
        InputError
            When the template has none of that name.
        """
        for colour in self.colours:
            if colour.name.lower() == name.strip().lower():
                return colour
        known = nearest_known(name, [c.name for c in self.colours]) if self.colours else "add a [[colour]]"
        raise InputError(f"no colour is named `{name}`", where="[text] colour", mend=known)

    def colour_of(self, row: NameRow) -> NamedColour:
        """Give the colour of a row's letters."""
        return self.entry(row.colour or self.spec.colour)

    def lettering(self, row: NameRow) -> Lettering:
        """Set a row's text.

        Raises
        ------
        Refusal, Unsettable
            When it cannot be read or set.
        """
        if row.fault:
            raise Refusal(row.fault)
        return set_text(row.text, row.second, font=self.font, spec=self.spec)

    def looks(self, recipe: Recipe) -> str:
        """Give the predicted colour of a recipe."""
        return self.model.predict(recipe).colour

    def box_at(self) -> Point:
        """Say where the box lies: where the template says, or in the middle of the face."""
        if self.spec.at_mm is not None:
            return self.spec.at_mm
        width, height = self.part.face_mm
        return (width - self.spec.box_mm[0]) / 2, (height - self.spec.box_mm[1]) / 2

    def _placed_artwork(self) -> tuple[Partition | None, tuple[Finding, ...]]:
        """Put the artwork on the face, once for all rows."""
        artwork, job = self.template.artwork, self.job
        if artwork is None:
            return None, ()
        assert job.artwork is not None
        placed = place_artwork(
            named_regions(artwork.partition, self._artwork_colours()),
            part=self.part,
            width_mm=job.artwork.width_mm,
            height_mm=job.artwork.height_mm,
            at_mm=job.artwork.at_mm,
            holes=job.hole,
            ground_key=self.ground,
        )
        move = affine(placed.scale, placed.at_mm)
        found = tuple(
            dataclasses.replace(f, at_mm=move(f.at_mm)) if f.at_mm is not None else f for f in artwork.findings
        )
        coarse: tuple[Finding, ...] = ()
        if artwork.flat is not None:
            width = placed.scale * artwork.partition.width
            coarse = resolution_finding(artwork.flat, width_mm=width, resist=job.resist)
        return placed.partition, (*found, *coarse, *placed.findings)

    def without_letters(self) -> Partition:
        """Give the colours of the part without letters."""
        if self.artwork is not None:
            return with_ground(self.artwork, self.colours)
        width, height = self.part.face_mm
        bare = Partition(width, height, ())
        return with_ground(self._on_face(bare, width).partition, self.colours)

    def on_the_part(self, lettering: Lettering, colour: NamedColour) -> tuple[Partition, tuple[Finding, ...]]:
        """Lay the letters over whatever is on the part; what is found is about the letters."""
        width, height = self.part.face_mm
        letters = Region(colour.key, colour.name, colour.source, lettering.moved(self.box_at()))
        others = [] if self.artwork is None else [r for r in self.artwork.regions if r.key != self.ground]
        try:
            alone = self._on_face(Partition(width, height, (letters,)), width)
        except InputError as error:
            raise Refusal(off_the_face((width, height)), lettering.cap_height_mm) from error
        placed = self._on_face(Partition(width, height, (letters, *others)), width) if others else alone
        return with_ground(placed.partition, self.colours), alone.findings

    def _on_face(self, drawn: Partition, width: float) -> Placed:
        return place_artwork(
            drawn, part=self.part, width_mm=width, at_mm=(0.0, 0.0), holes=self.job.hole, ground_key=self.ground
        )

    def settled(self, regions: Partition) -> Settled:
        """Settle the islands as the template says."""
        return settle_islands(regions, resist=self.job.resist, choices=self.job.island)

    def plan(self, regions: Partition, letters: str) -> Plan:
        """Give the dye order of a set of colours with letters in one of them: one for all rows that have them."""
        return self.plans.get(lot_of(regions, letters)) or self._new_plan(regions, letters)

    def _new_plan(self, regions: Partition, letters: str) -> Plan:
        """Order the dyes by the colours and the part alone, so that a row made again by itself has the same order."""
        present = {region.key: region for region in regions.regions}
        ground = next((r.key for r in regions.regions if r.name == GROUND), None)
        work = dict.fromkeys(present, 0.0) | {r.key: hand_work(r.area) for r in self.without_letters().regions}
        for key, more in ((letters, NAME_WORK), (ground, AROUND_WORK)):
            if key in work:
                work[key] += more
        wanted = wanted_colours(
            [c for c in self.colours if c.key in present],
            self.model,
            self.job,
            ground_key=ground,
            hand_work={key: work[key] for key in present},
        )
        return order_dyes(wanted, self.model, finish=self.job.finish, matched=matched_keys(self.colours))

    def of_the_plan(self, plan: Plan, beside: Sequence[tuple[str, str]]) -> tuple[Finding, ...]:
        """Judge the colours a plan reaches; `beside` are the regions that share a boundary, by id."""
        matched = matched_keys([c for c in self.colours if any(r.key == c.key for r in plan.regions)])
        unreached = unreached_findings(plan, matched=matched, tolerance_delta_e=self.job.finish.match_delta_e)
        return (*unreached, *contrast_findings(plan, beside))

    def whole(self, row: NameRow) -> WholeRow:
        """Work a row out as a whole part.

        Raises
        ------
        MaskgenError, Refusal
            When it cannot be made.
        """
        regions, placing = self.on_the_part(self.lettering(row), self.colour_of(row))
        settled = self.settled(regions)
        plan = self.plan(settled.partition, self.colour_of(row).key)
        sizes = {r.key: round(area_of(r.area), 4) for r in settled.partition.regions}
        plan = with_areas(plan, sizes)
        regions = with_ground_colour(settled.partition, plan)
        finished = finish_masks(regions, plan, self.job, colour_of=self.looks)
        of_plan = self.of_the_plan(plan, neighbours(regions))
        found = (*self.placing, *of_plan, *placing, *settled.findings, *finished.findings)
        return WholeRow(plan, regions, finished, in_order(found))


def lot_of(regions: Partition, letters: str) -> str:
    """Name a set of colours with letters in one of them."""
    return f"{letters} on " + " ".join(sorted({letters, *(region.key for region in regions.regions)}))


def with_areas(plan: Plan, sizes: Mapping[str, float]) -> Plan:
    """Give a plan with the areas of one row's regions."""
    regions = tuple(dataclasses.replace(r, area_mm2=round(sizes.get(r.key, 0.0), 4)) for r in plan.regions)
    return dataclasses.replace(plan, regions=regions)
