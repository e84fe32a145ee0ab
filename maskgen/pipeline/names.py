"""A row of a name list to a finished part.

Letters that stand apart do not know of each other, and the part under them is the same every time. So the part without
letters and every cluster of letters are worked out once, and a row is put together from them; where that cannot be
(letters over the artwork or near an edge, a stencil, islands tied) it is worked out as a whole part.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import shapely

from maskgen.errors import InputError
from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.dyeing import ApplyMask, Plan
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.job import Carrier, Shape
from maskgen.model.names import NameRow, RowStatus
from maskgen.model.paths import Area, Region
from maskgen.pipeline.convert import in_order, neighbours, with_ground_colour
from maskgen.pipeline.name_face import Blank, DrawnMask, DrawnRow, drawn_whole
from maskgen.pipeline.name_job import NameJob, Refusal, Template, WholeRow, lot_of, with_areas
from maskgen.pipeline.name_losses import Losses
from maskgen.pipeline.name_reasons import nothing_left, of_error, refusal, summed_up
from maskgen.pipeline.name_room import Room
from maskgen.pipeline.name_stamps import Letters, Stamp, make_stamp
from maskgen.pipeline.wanted import NamedColour
from maskgen.shape.font_limits import FINE, is_fine
from maskgen.shape.glyphs import CAPITAL
from maskgen.shape.letter_clusters import Cluster, Glyph, clusters, outline
from maskgen.shape.lettering import Lettering, Unsettable
from maskgen.shape.widths import narrow_places

WIDEST = 4.0
"""Lands up to this many times the least one are measured; wider ones are told as at least that."""

MOST_STAMPS = 1024
"""Clusters kept: every letter of a long list at one size, and some 30 MB."""
MOST_LANDS = 20_000
"""Narrowest lands kept: one number each."""

WIDER = 1.25
"""Letters that shrank are measured at full height up to lands wider by whole steps of this."""

ClusterKey: TypeAlias = tuple[str, str, tuple[Glyph, ...]]
"""The letters' colour, the colour around them, the glyphs."""
WorkedOut: TypeAlias = tuple[float, Stamp | None]
_LandKey: TypeAlias = tuple[tuple[Glyph, ...], int]
_Stamped: TypeAlias = tuple[DrawnRow, list[bool]]


@dataclass(frozen=True, slots=True)
class MadeRow:
    """One row as far as it came; without drawings where it is refused."""

    status: RowStatus
    reason: str = ""
    cap_height_mm: float | None = None
    narrowest_land_mm: float | None = None
    plan: Plan | None = None
    drawn: DrawnRow | None = None
    name_mask: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class _Lot:
    """The part without letters as it is with letters of one colour, and the room there is for them."""

    blank: Blank
    looks: dict[str, tuple[str, str]]
    room: Room


class NameMaker:
    """Makes rows of one template; the same row gives the same result, whatever was made before it."""

    def __init__(self, template: Template, plans: Mapping[str, Plan] | None = None) -> None:
        self.setting = NameJob(template, plans)
        self._full_scale = self.setting.spec.height_mm / CAPITAL
        self._lands: dict[_LandKey, float] = {}
        self._losses = Losses(self.setting)
        self._worked_out: dict[ClusterKey, Stamp | None] = {}
        self._lot_of = lru_cache(maxsize=64)(self._make_lot)
        self._drawn_on = self._artwork_shape()

    def __reduce__(self) -> tuple[type[NameMaker], tuple[Template, Mapping[str, Plan]]]:
        return NameMaker, (self.setting.template, self.setting.plans)

    def clusters_of(self, row: NameRow) -> list[ClusterKey]:
        """Give what has to be worked out for a row; nothing where it will be refused or worked out as a whole."""
        try:
            colour, lettering = self.setting.colour_of(row), self.setting.lettering(row)
        except (Refusal, Unsettable, InputError):
            return []
        lot = self._lot_of(colour.key)
        if lot is None:
            return []
        letters = clusters(lettering, self.setting.box_at(), lot.room.reach_mm)
        around = lot.room.around(letters)
        return [(colour.key, key, c.glyphs) for c, key in zip(letters, around, strict=True)] if around else []

    def work_out(self, key: ClusterKey) -> WorkedOut:
        """Work one cluster out: its narrowest land, and its part of the drawings unless it is too thin."""
        thin = self._too_thin(key[2])
        return self._lands[self._land_key(key[2])], None if thin else self._make_stamp(*key)

    def knows(self, key: ClusterKey) -> bool:
        """Whether a cluster has been worked out, or is known to be too thin."""
        return key in self._worked_out or (self._land_key(key[2]) in self._lands and self._too_thin(key[2]))

    def keep(self, key: ClusterKey, known: WorkedOut) -> None:
        """Take what was worked out elsewhere."""
        land, stamp = known
        self._lands[self._land_key(key[2])] = land
        if not self._too_thin(key[2]):
            self._remember(key, stamp)

    def prepare(self, rows: Iterable[NameRow]) -> Mapping[str, Plan]:
        """Find the dye orders of a list; whoever makes some of its rows is to be given them."""
        return self.setting.find_plans(rows)

    def make(self, row: NameRow) -> MadeRow:
        """Make one row; it comes back refused, with the reason, where it cannot be made."""
        try:
            return self._make(row)
        except Refusal as refused:
            return MadeRow(RowStatus.REFUSED, refused.reason, refused.cap_height_mm, refused.land_mm)
        except (Unsettable, InputError) as error:
            return MadeRow(RowStatus.REFUSED, of_error(error))

    def whole(self, row: NameRow) -> WholeRow:
        """Work a row out as a whole part."""
        return self.setting.whole(row)

    def of_all(self, rows: Iterable[NameRow]) -> tuple[Finding, ...]:
        """Give what is to be said of every part alike: the artwork, and the colours reached; `rows` have one each."""
        found: list[Finding] = []
        for row in rows:
            lot = self._lot_of(self.setting.colour_of(row).key)
            of_lot = lot.blank.findings if lot is not None else self.whole(row).findings
            found += [f for f in of_lot if lot is not None or not self._is_of_letters(f)]
        return in_order(found)

    def blank_picture(self, colour: str) -> tuple[tuple[str, str], ...]:
        """Give a small picture of the part without letters: colour and path data, by the letters' colour."""
        lot = self._lot_of(colour)
        return lot.blank.picture if lot is not None else ()

    def box_over_artwork(self) -> bool:
        """Whether the template's box for letters lies over the artwork."""
        (left, top), (width, height) = self.setting.box_at(), self.setting.spec.box_mm
        return self._drawn_on is not None and bool(
            shapely.intersects(self._drawn_on, shapely.box(left, top, left + width, top + height))
        )

    def _artwork_shape(self) -> shapely.Geometry | None:
        artwork = self.setting.artwork
        if artwork is None:
            return None
        drawn = [to_multipolygon(r.area) for r in artwork.regions if r.key != self.setting.ground]
        shape = shapely.union_all(drawn)
        shapely.prepare(shape)
        return shape

    def _make(self, row: NameRow) -> MadeRow:
        colour = self.setting.colour_of(row)
        lettering = self.setting.lettering(row)
        lot = self._lot_of(colour.key)
        letters = clusters(lettering, self.setting.box_at(), lot.room.reach_mm if lot is not None else 0.0)
        land = self._narrowest(lettering, letters)
        left_out = self._losses.left_out(lettering, letters, land)
        stamped = self._stamped(letters, colour, lot)
        if stamped is not None and lot is not None:
            drawn, telling = stamped
            plan, found = lot.blank.plan, drawn.findings[len(lot.blank.findings) :]
            of_letters = tuple(f for f, told in zip(found, telling, strict=True) if told)
            held = {mask.number for mask in drawn.masks}
        else:
            whole = self.whole(row)
            plan, of_letters = whole.plan, tuple(f for f in whole.findings if self._is_of_letters(f))
            held = {mask.number for mask in whole.finished.masks if mask.area.pieces}
            drawn = drawn_whole(whole.regions, whole.finished.masks, whole.finished.simulation, whole.findings)
        hidden = self._losses.hidden(colour, lettering, plan, land)
        masks = [step.mask for step in plan.sequence.steps if isinstance(step, ApplyMask)]
        if empty := [mask for mask in masks if mask not in held]:
            raise Refusal(nothing_left(empty[0]), lettering.cap_height_mm, land)
        own = [f for f in of_letters if f.severity is Severity.ERROR]
        if own:
            raise Refusal(refusal(own[0]), lettering.cap_height_mm, land)
        errors = [f for f in drawn.findings if f.severity is Severity.ERROR]
        warnings = [*errors, *(f for f in of_letters if f.severity is Severity.WARNING)]
        reasons = (self._over_artwork(lettering, letters), hidden, left_out, summed_up(warnings))
        reason = "; ".join(part for part in reasons if part)
        return MadeRow(
            RowStatus.WARNED if reason else RowStatus.MADE,
            reason,
            lettering.cap_height_mm,
            land,
            with_areas(plan, drawn.sizes),
            dataclasses.replace(drawn, findings=in_order(drawn.findings)),
            _name_mask(drawn.masks, colour.key),
        )

    def _narrowest(self, lettering: Lettering, letters: Sequence[Cluster]) -> float:
        """Give the narrowest stroke.

        Raises
        ------
        Refusal
            When it would fall under the least land.
        """
        least, caps = self.setting.job.resist.min_land_mm, lettering.cap_height_mm
        land = min(self._land_of(cluster.glyphs) for cluster in letters)
        if land < least - 1e-6:
            shrunk = caps < self.setting.spec.height_mm - 1e-6
            why = f"to fit its box the capitals shrink to {caps:.1f} mm; " if shrunk else ""
            raise Refusal(
                f"{why}the thinnest stroke would be {land:.2f} mm, film needs {least:g} mm: "
                "shorten the text, or choose a bolder font, a larger height or a larger box",
                caps,
                land,
            )
        return land

    def _too_thin(self, glyphs: tuple[Glyph, ...]) -> bool:
        return self._land_of(glyphs) < self.setting.job.resist.min_land_mm - 1e-6

    def _land_of(self, glyphs: tuple[Glyph, ...]) -> float:
        """Give the narrowest land of a cluster: widths go with the height, so one measurement serves many heights."""
        key = self._land_key(glyphs)
        if key not in self._lands:
            if len(self._lands) >= MOST_LANDS:
                self._lands.clear()
            self._lands[key] = self._measure_land(*key)
        at_most = WIDEST * self.setting.job.resist.min_land_mm
        return min(self._lands[key] * glyphs[0][1] / self._full_scale, at_most)

    def _land_key(self, glyphs: tuple[Glyph, ...]) -> _LandKey:
        """Give the cluster as it is where its first glyph has scale 1, and how much wider lands are looked for."""
        scale = glyphs[0][1]
        alike = tuple((g, round(s / scale, 9), round(x / scale, 3), round(y / scale, 3)) for g, s, x, y in glyphs)
        return alike, max(0, math.ceil(math.log(self._full_scale / scale, WIDER) - 1e-9))

    def _measure_land(self, alike: tuple[Glyph, ...], steps: int) -> float:
        full = self._full_scale
        glyphs = tuple((g, s * full, x * full, y * full) for g, s, x, y in alike)
        widest = WIDEST * self.setting.job.resist.min_land_mm * WIDER**steps
        places = narrow_places(outline(self.setting.font, glyphs), widest)
        tallest = max(scale for _, scale, _, _ in glyphs) * CAPITAL
        return min((place.width_mm for place in places if not is_fine(place, tallest)), default=widest)

    def _stamped(self, letters: Sequence[Cluster], colour: NamedColour, lot: _Lot | None) -> _Stamped | None:
        """Put a row together from clusters, and say which findings of its letters are worth telling a person.

        None where it has to be worked out as a whole.
        """
        if lot is None or (around := lot.room.around(letters)) is None:
            return None
        stamps = []
        for cluster, key in zip(letters, around, strict=True):
            stamp = self._stamp((colour.key, key, cluster.glyphs))
            if stamp is None:
                return None
            stamps.append((stamp, cluster.at))
        telling = [
            not _is_notch(finding, cluster)
            for (stamp, _), cluster in zip(stamps, letters, strict=True)
            for finding in stamp.findings
        ]
        return lot.blank.with_letters(stamps, lot.looks), telling

    def _make_lot(self, letters: str) -> _Lot | None:
        """Work out the part without letters, for the dye order it has with letters of a colour."""
        setting = self.setting
        job = setting.job
        if job.resist.carrier is Carrier.STENCIL or job.island or letters == setting.ground:
            return None
        bare = setting.without_letters()
        settled = setting.settled(bare)
        regions = settled.partition
        plan = setting.plans.get(lot_of(regions, letters))
        if plan is None:
            return None
        regions = with_ground_colour(regions, plan)
        ground = regions.regions[-1].key
        of_plan = setting.of_the_plan(plan, (*neighbours(regions), (min(letters, ground), max(letters, ground))))
        found = (*setting.placing, *of_plan, *settled.findings)
        blank = Blank.of(regions, plan, job, colour_of=setting.looks, findings=found)
        looks = {c.key: (c.name, c.source) for c in setting.colours if c.key == letters}
        looks |= {region.key: (region.name, region.colour) for region in regions.regions}
        ordered = {key: looks[key] for key in sorted(looks, key=lambda key: int(key[1:]))}
        return _Lot(blank, ordered, Room.on(regions, job, plan, letters=letters))

    def _stamp(self, key: ClusterKey) -> Stamp | None:
        if key not in self._worked_out:
            self._remember(key, self._make_stamp(*key))
        return self._worked_out[key]

    def _remember(self, key: ClusterKey, stamp: Stamp | None) -> None:
        """Keep a stamp, and let the oldest go where there are too many."""
        if len(self._worked_out) >= MOST_STAMPS:
            del self._worked_out[next(iter(self._worked_out))]
        self._worked_out[key] = stamp

    def _make_stamp(self, letters: str, around: str, glyphs: tuple[Glyph, ...]) -> Stamp | None:
        lot = self._lot_of(letters)
        assert lot is not None
        drawn = Region(letters, *lot.looks[letters], outline(self.setting.font, glyphs))
        pair = Letters(drawn, Region(around, *lot.looks[around], Area()))
        resist = self.setting.job.resist
        margin = lot.room.reach_mm + 2 * resist.min_land_mm
        return make_stamp(pair, lot.blank.plan, resist=resist, margin_mm=margin, colour_of=self.setting.looks)

    def _over_artwork(self, lettering: Lettering, letters: Sequence[Cluster]) -> str:
        if self._drawn_on is None or not any(shapely.intersects(self._drawn_on, shapely.box(*c.box)) for c in letters):
            return ""
        shape = to_multipolygon(lettering.moved(self.setting.box_at()))
        return "the letters lie over the artwork" if shapely.intersects(self._drawn_on, shape) else ""

    def _is_of_letters(self, finding: Finding) -> bool:
        """Whether a finding is about the lettering, not about artwork that is the same on every part."""
        if finding.code in (Code.LOW_CONTRAST, Code.COLOUR_UNREACHED):
            return False
        if self.setting.artwork is None or finding.at_mm is None:
            return finding not in self.setting.placing
        (left, top), (width, height) = self.setting.box_at(), self.setting.spec.box_mm
        x, y = finding.at_mm
        beside = self.setting.job.resist.lap_mm
        if self.setting.part.shape is Shape.TUBE:
            x = left - beside + (x - left + beside) % self.setting.part.face_mm[0]
        return left - beside <= x <= left + width + beside and top - beside <= y <= top + height + beside


def _is_notch(finding: Finding, cluster: Cluster) -> bool:
    """Whether a narrow opening is but the bottom of a notch of one letter, which no usual height would save."""
    if finding.code is not Code.NARROW_GAP or finding.value is None or len(cluster.glyphs) > 1:
        return False
    return finding.value < FINE * CAPITAL * cluster.glyphs[0][1]


def _name_mask(masks: tuple[DrawnMask, ...], key: str) -> str:
    """Give the mask that draws the letters: their own, or the one with the longest cut, in which they are openings."""
    own = [mask for mask in masks if key in mask.regions]
    return max(own or masks, key=lambda mask: mask.cut_mm).number if masks else ""
