"""What of a name would not be on the part: letters dropped as islands, letters of the colour they lie on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import Polygon

from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.dyeing import Plan
from maskgen.model.job import IslandRule
from maskgen.pipeline.name_job import NameJob, Refusal
from maskgen.pipeline.name_reasons import lost_letters, lost_parts, unseen
from maskgen.pipeline.wanted import NamedColour
from maskgen.shape.islands import is_island
from maskgen.shape.letter_clusters import Cluster, Glyph, outline
from maskgen.shape.lettering import Lettering

UNREADABLE = 0.5
"""A name of which so much cannot be seen cannot be read."""
HIDDEN = 0.01
"""Letters may lie with so much of their area on their own colour: what placing artwork beside them costs."""


@dataclass(frozen=True, slots=True)
class _Loss:
    """What of a cluster is dropped as islands: whole letters, pieces, openings that are filled."""

    letters: int
    pieces: int
    counters: int


class Losses:
    """Finds what would be missing of the names of one template; every cluster of letters is looked at once."""

    def __init__(self, setting: NameJob) -> None:
        self._setting = setting
        self._known: dict[tuple[Glyph, ...], _Loss] = {}
        self._alike_by_colour: dict[str, shapely.Geometry | None] = {}
        self._face = shapely.box(0.0, 0.0, *setting.part.face_mm)

    def left_out(self, lettering: Lettering, letters: Sequence[Cluster], land: float) -> str:
        """Say what of the letters is dropped as islands; nothing where none are, or where it is decided by hand.

        Raises
        ------
        Refusal
            When a whole letter would be.
        """
        resist = self._setting.job.resist
        if resist.islands is not IslandRule.DROP or self._setting.job.island:
            return ""
        losses = [self._loss_of(cluster.glyphs) for cluster in letters]
        lost = sum(loss.letters for loss in losses)
        if lost:
            raise Refusal(lost_letters(lost, resist.min_piece_mm2), lettering.cap_height_mm, land)
        return lost_parts(sum(loss.pieces for loss in losses), sum(loss.counters for loss in losses))

    def hidden(self, colour: NamedColour, lettering: Lettering, plan: Plan, land: float) -> str:
        """Say how much of the letters has the recipe of what they lie on; nothing where that is next to nothing.

        Raises
        ------
        Refusal
            When it is more than half of them.
        """
        alike = self._alike(colour, plan)
        if alike is None:
            return ""
        shape = to_multipolygon(lettering.moved(self._setting.box_at()))
        hidden = alike.intersection(shape).area
        if colour.key == self._setting.ground:
            # Beside the face there is nothing to be seen either.
            hidden = shape.area - shape.intersection(self._face.difference(alike)).area
        share = hidden / shape.area
        if share > UNREADABLE:
            raise Refusal(unseen(share), lettering.cap_height_mm, land)
        return unseen(share) if share > HIDDEN else ""

    def _alike(self, colour: NamedColour, plan: Plan) -> shapely.Geometry | None:
        """Give what of the part without letters has their recipe, None where nothing has."""
        if colour.key not in self._alike_by_colour:
            recipes = {region.key: region.recipe for region in plan.regions}
            own = recipes.get(colour.key)
            bare = self._setting.without_letters()
            alike = [r for r in bare.regions if r.key == colour.key or (own is not None and recipes.get(r.key) == own)]
            self._alike_by_colour[colour.key] = (
                shapely.union_all([to_multipolygon(r.area) for r in alike]) if alike else None
            )
        return self._alike_by_colour[colour.key]

    def _loss_of(self, glyphs: tuple[Glyph, ...]) -> _Loss:
        if glyphs not in self._known:
            self._known[glyphs] = self._find_loss(glyphs)
        return self._known[glyphs]

    def _find_loss(self, glyphs: tuple[Glyph, ...]) -> _Loss:
        resist, font = self._setting.job.resist, self._setting.font
        shapes = to_multipolygon(outline(font, glyphs)).geoms
        dropped = [shape for shape in shapes if is_island(shape, resist)]
        counters = [Polygon(hole) for shape in shapes if shape not in dropped for hole in shape.interiors]
        gone = shapely.union_all(dropped)
        whole = [to_multipolygon(outline(font, (glyph,))) for glyph in glyphs]
        letters = sum(not shape.is_empty and shape.difference(gone).area < 1e-3 * shape.area for shape in whole)
        return _Loss(letters, len(dropped), sum(is_island(counter, resist) for counter in counters))
