"""A row of a name list to a finished part: lettering on the part, then the same way as any artwork.

What is the same for all rows is done once: the artwork is traced and placed, and every set of colours has one dye
order, found on the first row that has it.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

from maskgen.colour.mix import ColourModel
from maskgen.errors import InputError, nearest_known
from maskgen.model.dyeing import Plan, Shelf
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.job import Job, TextSpec
from maskgen.model.masks import Mask
from maskgen.model.names import NameRow, RowStatus
from maskgen.model.paths import Partition, Point, Region, area_of
from maskgen.model.result import Simulation
from maskgen.pipeline.artwork import TracedArtwork
from maskgen.pipeline.convert import ground_key, hand_work, in_order, named_regions, with_ground, with_ground_colour
from maskgen.pipeline.finish import finish_masks
from maskgen.pipeline.size import settle_size
from maskgen.pipeline.wanted import GROUND, NamedColour, name_artwork_colours, wanted_colours
from maskgen.plan.order import plan_order
from maskgen.shape.face import place_artwork
from maskgen.shape.font_limits import is_fine
from maskgen.shape.glyphs import Font
from maskgen.shape.islands import settle_islands
from maskgen.shape.lettering import Lettering, Unsettable, set_text
from maskgen.shape.widths import narrow_places

WIDEST = 4.0
"""Lands up to this many times the least one are measured; wider ones are told as at least that."""


@dataclass(frozen=True, slots=True)
class Template:
    """What all rows share: the job with its lettering, the shelf, the font's bytes, the artwork where there is some."""

    job: Job
    shelf: Shelf
    font: bytes
    artwork: TracedArtwork | None = None


@dataclass(frozen=True, slots=True)
class MadeRow:
    """One row as far as it came; without masks where it is refused. `colours` are those of its dye order."""

    status: RowStatus
    reason: str = ""
    cap_height_mm: float | None = None
    narrowest_land_mm: float | None = None
    job: Job | None = None
    plan: Plan | None = None
    regions: Partition | None = None
    masks: tuple[Mask, ...] = ()
    simulation: Simulation | None = None
    findings: tuple[Finding, ...] = ()
    name_mask: str = ""


class Refusal(Exception):
    """A row that cannot be made, with what is known of it."""

    def __init__(self, reason: str, cap_height_mm: float | None = None, land_mm: float | None = None) -> None:
        super().__init__(reason)
        self.reason, self.cap_height_mm, self.land_mm = reason, cap_height_mm, land_mm


class NameMaker:
    """Makes rows of one template; the same row gives the same result, whatever was made before it."""

    def __init__(self, template: Template) -> None:
        job = template.job
        if job.text is None:
            raise InputError("has no [text]", where="template", mend="add [text] with font, height_mm, box_mm, colour")
        if job.part is None:
            raise InputError("has no [part]", where="template", mend="say what the names go on: [part] shape = ...")
        if template.artwork is not None:
            drawn = template.artwork.partition
            job = settle_size(job, aspect=drawn.width / drawn.height)
        self.job = job
        self.spec: TextSpec = job.text  # type: ignore[assignment]
        self.template = template
        self.model = ColourModel(template.shelf)
        self.font = Font(template.font)
        self._colours = self._known_colours()
        self.entry(self.spec.colour)
        self._artwork = self._placed_artwork()
        self._plans: dict[str, Plan] = {}

    def _known_colours(self) -> tuple[NamedColour, ...]:
        """Give the artwork's colours and all others the template names, with ids that count through."""
        artwork = self.template.artwork
        entries = self.job.colour
        if artwork is None:
            return tuple(
                NamedColour(f"r{i}", e.name or f"colour {i}", e.source.lower(), e) for i, e in enumerate(entries, 1)
            )
        palette = [r.colour for r in artwork.partition.regions if r.colour != "clear"]
        drawn = entries[: len(palette)]
        named = name_artwork_colours(palette, drawn)
        more = [
            NamedColour(f"r{len(named) + i}", e.name or e.source, e.source.lower(), e)
            for i, e in enumerate(entries[len(palette) :], 1)
        ]
        return (*named, *more)

    def entry(self, name: str) -> NamedColour:
        """Find a colour by its name.

        Raises
        ------
        InputError
            When the template has none of that name.
        """
        for colour in self._colours:
            if colour.name.lower() == name.strip().lower():
                return colour
        known = nearest_known(name, [c.name for c in self._colours]) if self._colours else "add a [[colour]]"
        raise InputError(f"no colour is named `{name}`", where="[text] colour", mend=known)

    def _placed_artwork(self) -> Partition | None:
        """Put the artwork on the face, once for all rows."""
        artwork, job = self.template.artwork, self.job
        if artwork is None:
            return None
        assert job.artwork is not None
        assert job.part is not None
        drawn = [c for c in self._colours if c.source in {r.colour for r in artwork.partition.regions} or c.entry]
        placed = place_artwork(
            named_regions(artwork.partition, self._artwork_colours()),
            part=job.part,
            width_mm=job.artwork.width_mm,
            height_mm=job.artwork.height_mm,
            at_mm=job.artwork.at_mm,
            holes=job.hole,
            ground_key=ground_key(job, drawn),
        )
        return placed.partition

    def _artwork_colours(self) -> tuple[NamedColour, ...]:
        assert self.template.artwork is not None
        palette = [r.colour for r in self.template.artwork.partition.regions if r.colour != "clear"]
        return name_artwork_colours(palette, self.job.colour[: len(palette)])

    def make(self, row: NameRow) -> MadeRow:
        """Make one row; it comes back refused, with the reason, where it cannot be made."""
        try:
            return self._make(row)
        except Refusal as refusal:
            return MadeRow(RowStatus.REFUSED, refusal.reason, refusal.cap_height_mm, refusal.land_mm)
        except Unsettable as error:
            return MadeRow(RowStatus.REFUSED, str(error))
        except InputError as error:
            return MadeRow(RowStatus.REFUSED, str(error))

    def _make(self, row: NameRow) -> MadeRow:
        if row.fault:
            raise Refusal(row.fault)
        colour = self.entry(row.colour or self.spec.colour)
        lettering = set_text(row.text, row.second, font=self.font, spec=self.spec)
        land = self._narrowest(lettering, row)
        regions, placing = self._on_the_part(lettering, colour)
        settled = settle_islands(regions, resist=self.job.resist, choices=self.job.island)
        regions = settled.partition
        plan = self._plan(regions, colour)
        regions = with_ground_colour(regions, plan)
        finished = finish_masks(regions, plan, self.job, colour_of=lambda r: self.model.predict(r).colour)
        findings = in_order((*placing, *settled.findings, *finished.findings))
        errors = [f for f in findings if f.severity is Severity.ERROR]
        own = [f for f in errors if self._of_the_letters(f)]
        if own:
            raise Refusal(f"{own[0].message}; {own[0].mend}", lettering.cap_height_mm, land)
        warnings = [*errors, *(f for f in findings if f.severity is Severity.WARNING and self._of_the_letters(f))]
        status = RowStatus.WARNED if warnings else RowStatus.MADE
        return MadeRow(
            status,
            _summed_up(warnings),
            lettering.cap_height_mm,
            land,
            dataclasses.replace(self.job, quantity=row.quantity),
            plan,
            regions,
            finished.masks,
            finished.simulation,
            findings,
            _name_mask(finished.masks, colour.key),
        )

    def _narrowest(self, lettering: Lettering, row: NameRow) -> float:
        """Measure the narrowest stroke.

        Raises
        ------
        Refusal
            When it would fall under the least land.
        """
        least = self.job.resist.min_land_mm
        caps = lettering.cap_height_mm
        places = narrow_places(lettering.area, WIDEST * least)
        land = min((place.width_mm for place in places if not is_fine(place, caps)), default=WIDEST * least)
        if land < least - 1e-6:
            shrunk = caps < self.spec.height_mm - 1e-6
            why = f"to fit its box the capitals shrink to {caps:.1f} mm; " if shrunk else ""
            raise Refusal(
                f"{why}the thinnest stroke would be {land:.2f} mm, film needs {least:g} mm: "
                "shorten the text, or choose a bolder font, a larger height or a larger box",
                caps,
                land,
            )
        return land

    def _on_the_part(self, lettering: Lettering, colour: NamedColour) -> tuple[Partition, tuple[Finding, ...]]:
        """Lay the letters over whatever is on the part."""
        job = self.job
        assert job.part is not None
        width, height = job.part.face_mm
        letters = Region(colour.key, colour.name, colour.source, lettering.moved(self.box_at()))
        ground = ground_key(job, self._colours)
        base = self._artwork
        others = [] if base is None else [r for r in base.regions if r.key != ground]
        placed = place_artwork(
            Partition(width, height, (letters, *others)),
            part=job.part,
            width_mm=width,
            at_mm=(0.0, 0.0),
            holes=job.hole,
            ground_key=ground,
        )
        findings = tuple(f for f in placed.findings)
        return with_ground(placed.partition, self._colours), findings

    def box_at(self) -> Point:
        """Say where the box lies: where the template says, or in the middle of the face."""
        if self.spec.at_mm is not None:
            return self.spec.at_mm
        assert self.job.part is not None
        width, height = self.job.part.face_mm
        return (width - self.spec.box_mm[0]) / 2, (height - self.spec.box_mm[1]) / 2

    def _of_the_letters(self, finding: Finding) -> bool:
        """Whether a finding is about the lettering, not about artwork that is the same on every part."""
        if self._artwork is None or finding.at_mm is None:
            return True
        (left, top), (width, height) = self.box_at(), self.spec.box_mm
        x, y = finding.at_mm
        beside = self.job.resist.lap_mm
        return left - beside <= x <= left + width + beside and top - beside <= y <= top + height + beside

    def _plan(self, regions: Partition, colour: NamedColour) -> Plan:
        present = {region.key: region for region in regions.regions}
        lot = " ".join(sorted(present))
        if lot not in self._plans:
            wanted = wanted_colours(
                [c for c in self._colours if c.key in present],
                self.model,
                self.job,
                ground_key=next((r.key for r in regions.regions if r.name == GROUND), None),
                hand_work={key: hand_work(region.area) for key, region in present.items()},
            )
            self._plans[lot] = plan_order(wanted, self.template.shelf, self.model, finish=self.job.finish)
        plan = self._plans[lot]
        sizes = {key: round(area_of(region.area), 4) for key, region in present.items()}
        return dataclasses.replace(
            plan, regions=tuple(dataclasses.replace(r, area_mm2=sizes[r.key]) for r in plan.regions)
        )


def _name_mask(masks: tuple[Mask, ...], key: str) -> str:
    """Give the mask that draws the letters: their own, or the largest, in which they are openings."""
    own = [mask for mask in masks if key in mask.regions]
    return max(own or masks, key=lambda mask: area_of(mask.area)).number if masks else ""


def _summed_up(warnings: list[Finding]) -> str:
    """Say in one line what a person should look at."""
    words = {
        Code.NARROW_GAP: "notches or openings narrower than dye and bleach surely reach",
        Code.SMALL_PIECE: "pieces small enough to be lost in weeding",
        Code.LOOSE_ISLAND: "loose pieces inside letters",
        Code.THIN_LAND: "thin or pointed film",
        Code.OFF_PART: "letters close to the part's edge or a hole",
        Code.CREEP_OVERRUN: "bleach creeps through",
    }
    kinds: dict[str, list[Finding]] = {}
    for finding in warnings:
        kinds.setdefault(words.get(finding.code, finding.code.value), []).append(finding)
    parts = []
    for kind, members in kinds.items():
        values = [f.value for f in members if f.value is not None and f.code is not Code.LOOSE_ISLAND]
        parts.append(f"{kind} ({len(members)}" + (f", least {min(values):.2f})" if values else ")"))
    return "; ".join(parts)
