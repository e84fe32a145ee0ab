"""How small the artwork can be: the narrowest at which its masks hold, what fails below, what would be lost.

Widths of lands, openings and pieces go with the size, but growth, laps and creep do not. So the answer is searched for
on masks made anew at every size looked at; the worst place at each tells how far off it is, and so where to look next.
The regions stay as they are, at the wanted width: a size s times as large is looked at with every limit divided by s.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import MultiPolygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import polygonal, to_multipolygon
from maskgen.model.job import Resist
from maskgen.model.paths import Partition, Point
from maskgen.model.result import SizeLoss, SmallestSize
from maskgen.shape.widths import NarrowPlace, narrow_places

LOOK_AHEAD = 1.3
"""How far over the limits widths are measured, to tell how much room there is."""

FINE = 0.015
"""The answer is this near, as a share of itself."""

MOST_LOOKS = 12

LARGEST, LARGEST_MM = 6.0, 300.0
"""The search ends at this many times the wanted width, or at this width where that is more: what is too narrow even
there, the tip of a crescent, counts as lost at any size."""

CHORD_MM = 0.004
"""Chord error of the outlines here."""

STEPS = (1.0, 0.75, 0.5, 0.25)
"""Widths of the table, as shares of the wanted one."""


@dataclass(frozen=True, slots=True)
class Stage:
    """One mask as far as it matters here: its number, the regions it covers, the most it is grown against creep."""

    number: str
    keys: tuple[str, ...]
    growth_mm: float


@dataclass(frozen=True, slots=True)
class _Obstacle:
    """The worst that stands in the way at one size: its share of the limit (1 and more: nothing does), and words."""

    share: float
    text: str


def smallest_size(regions: Partition, stages: Sequence[Stage], *, wanted_mm: float, resist: Resist) -> SmallestSize:
    """Search for the narrowest width of the artwork at which nothing is thin, narrow or small.

    Masks are made as the job makes them, but with one growth all round.

    Parameters
    ----------
    regions
        The artwork on the face at the wanted width.
    stages
        The masks in the order they go on; regions in none of them stay open to the end.
    wanted_mm
        The width of the artwork in `regions`; the search starts there.
    resist
        The limits and the lap.

    Returns
    -------
    SmallestSize
        The width is rounded up to 0.1 mm, None when nothing works up to six times the wanted width, or 300 mm. Tips
        that taper to nothing are too thin at any size: they are told with the obstacle, but do not count.
    """
    largest_mm = max(LARGEST * wanted_mm, LARGEST_MM)
    scene = _Scene.of(regions, stages, resist, largest=largest_mm / wanted_mm)
    looks: dict[float, _Obstacle] = {}

    def look(width: float) -> _Obstacle:
        looks[width] = scene.worst(width / wanted_mm)
        return looks[width]

    width = _search(look, wanted_mm, largest_mm)
    failing = [w for w, obstacle in looks.items() if obstacle.share < 1 and (width is None or w < width)]
    below = f"at {max(failing):.1f} mm {looks[max(failing)].text}" if failing else "nothing that was looked at fails"
    rows = sorted({round(wanted_mm * step, 1) for step in STEPS} | ({width} if width else set()), reverse=True)
    table = tuple(scene.loss(w, w / wanted_mm) for w in rows if w > 0)
    return SmallestSize(width, below + scene.tips_note(), table)


def _search(look: Callable[[float], _Obstacle], wanted_mm: float, largest_mm: float) -> float | None:
    """Close in on the width between failing and working, guided by the worst place at each."""
    fails, works, width = (0.0, 0.0), (np.inf, np.inf), wanted_mm  # a width, and the share of the limit kept there
    for _ in range(MOST_LOOKS):
        share = look(width).share
        if share >= 1:
            works = min(works, (width, share))
        else:
            fails = max(fails, (width, share))
        if works[0] <= fails[0] * (1 + FINE) + 0.05:
            break
        if not np.isfinite(works[0]) and width >= largest_mm:
            return None
        width = min(_next_width(fails, works, (width, share)), largest_mm)
    return float(np.ceil(works[0] * 10 - 1e-6) / 10) if np.isfinite(works[0]) else None


def _next_width(fails: tuple[float, float], works: tuple[float, float], last: tuple[float, float]) -> float:
    """Guess where the limit is reached: between two near it on a straight line, else as widths go with the size."""
    if fails[1] > 1 / LOOK_AHEAD and works[1] < LOOK_AHEAD:
        crossing = fails[0] + (works[0] - fails[0]) * (1 - fails[1]) / (works[1] - fails[1])
        # A little to the other side of a width known to be near closes the gap between the two.
        return min(max(crossing, fails[0] * (1 + FINE / 3)), max(works[0] * (1 - FINE / 3), fails[0] * (1 + FINE / 3)))
    width, share = last
    # The guess lies a little to the safe side.
    guess = width / max(share, 0.05) * (1 + FINE / 2 if share < 1 else 1 - FINE / 2 if share < LOOK_AHEAD else 1.0)
    if fails[0] < guess < works[0]:
        return float(guess)
    return (fails[0] + works[0]) / 2 if np.isfinite(works[0]) else 2 * fails[0]


@dataclass(frozen=True, slots=True)
class _Scene:
    """The regions as polygons, the masks' cores with what is covered before each, and the hopeless places of each."""

    regions: tuple[tuple[str, str, MultiPolygon], ...]
    stages: tuple[tuple[Stage, MultiPolygon, BaseGeometry], ...]
    face: BaseGeometry
    resist: Resist
    hopeless: tuple[tuple[Point, ...], ...] = ()

    @classmethod
    def of(cls, regions: Partition, stages: Sequence[Stage], resist: Resist, *, largest: float) -> _Scene:
        shapes = {r.key: to_multipolygon(r.area, tolerance=CHORD_MM) for r in regions.regions}
        covered: BaseGeometry = MultiPolygon()
        laid = []
        for stage in stages:
            core = polygonal(shapely.union_all([shapes[key] for key in stage.keys if key in shapes]))
            laid.append((stage, core, covered))
            covered = shapely.union_all([covered, core])
        named = tuple((r.key, r.name or r.key, shapes[r.key]) for r in regions.regions)
        face = shapely.union_all(list(shapes.values())).envelope
        bare = cls(named, tuple(laid), face, resist)
        return cls(named, tuple(laid), face, resist, tuple(bare._hopeless(k, largest) for k in range(len(laid))))

    def _hopeless(self, index: int, largest: float) -> tuple[Point, ...]:
        return tuple(place.at for _, _, place in self._narrow(index, largest, 1.0))

    def _vinyl(self, index: int, scale: float) -> MultiPolygon:
        """Grow the core of a mask, and lap it onto what is covered already."""
        stage, core, covered = self.stages[index]
        lap = core.buffer(self.resist.lap_mm / scale).intersection(covered)
        return polygonal(shapely.union_all([core.buffer(stage.growth_mm / scale), lap]))

    def _narrow(self, index: int, scale: float, ahead: float) -> Iterator[tuple[str, float, NarrowPlace]]:
        """Give lands of a mask where it covers its regions, and openings in all vinyl that is on by then."""
        stage, core, covered = self.stages[index]
        vinyl = self._vinyl(index, scale)
        land, gap = self.resist.min_land_mm / scale, self.resist.min_gap_mm / scale
        # Where a lap ends on vinyl that lies there already it may well end in a point.
        there = core.buffer(stage.growth_mm / scale + CHORD_MM)
        yield from (("land", land, p) for p in narrow_places(vinyl, ahead * land, window=there))
        on = polygonal(shapely.union_all([vinyl, covered]))
        yield from (("opening", gap, p) for p in narrow_places(on, ahead * gap, openings=True, window=self.face))

    def worst(self, scale: float) -> _Obstacle:
        """Judge one size by its worst place."""
        worst = _Obstacle(LOOK_AHEAD, "")
        for index, (stage, _, _) in enumerate(self.stages):
            for share, text in self._shares(index, scale):
                if share < worst.share:
                    worst = _Obstacle(share, f"{stage.number} {text}")
        return worst

    def _shares(self, index: int, scale: float) -> Iterator[tuple[float, str]]:
        """Give what may be too small or too narrow in a mask, as a share of its limit."""
        for piece in self._vinyl(index, scale).geoms:
            size = float(piece.area) * scale**2
            # The width of a piece, over that of the least one, goes with the root of its area.
            at = piece.representative_point()
            yield float(np.sqrt(size / self.resist.min_piece_mm2)), f"has a piece of {size:.2f} mm2{_near(at.x, at.y)}"
        growth = self.stages[index][0].growth_mm / scale
        for name, limit, place in self._narrow(index, scale, LOOK_AHEAD):
            width = self._without_tip(place, index, limit + 2 * growth)
            if width is not None:
                article = "an" if name == "opening" else "a"
                yield width / limit, f"has {article} {name} of {width * scale:.2f} mm{_near(*place.at)}"

    def _without_tip(self, place: NarrowPlace, index: int, reach: float) -> float | None:
        """Give a place's width; of a strip that ends in a tip the strip's; None where it is nothing but a tip."""
        if place.length_mm < 10 * CHORD_MM and place.width_mm < 2 * CHORD_MM:
            return None  # what joining chords leaves
        tips = self.hopeless[index]
        if not any(np.hypot(x - place.at[0], y - place.at[1]) < reach for x, y in tips):
            return place.width_mm
        low, _, high = place.quartiles_mm
        # Along a taper widths spread evenly between the tip's and the limit; along a strip they are much the same.
        tapers = high - place.width_mm > 1.5 * (low - place.width_mm) + CHORD_MM
        return None if tapers or place.length_mm == 0 else low

    def tips_note(self) -> str:
        """Tell how many places are too narrow at any size."""
        count = sum(len(tips) for tips in self.hopeless)
        if not count:
            return ""
        return f"; {count} tip{'s' if count > 1 else ''} or hair-fine places are lost at any size"

    def loss(self, width: float, scale: float) -> SizeLoss:
        """Tell what is too small or too thin at one width."""
        masked = {key for stage, _, _ in self.stages for key in stage.keys}
        found, lost, words = 0, 0.0, []
        for key, name, shape in self.regions:
            limit = (self.resist.min_land_mm if key in masked else self.resist.min_gap_mm) / scale
            least = self.resist.min_piece_mm2 / scale**2
            gone = [p.area < least or p.buffer(-0.99 * limit / 2).is_empty for p in shape.geoms]
            left = MultiPolygon([p for p, lose in zip(shape.geoms, gone, strict=True) if not lose])
            thin = narrow_places(left, limit)
            found += sum(gone) + len(thin)
            lost += sum(p.area for p, lose in zip(shape.geoms, gone, strict=True) if lose)
            lost += sum(place.length_mm * place.quartiles_mm[1] for place in thin)
            said = [
                f"{n} {what}{'s' if n > 1 else ''}"
                for n, what in ((sum(gone), "piece"), (len(thin), "thin place"))
                if n
            ]
            if said:
                words.append(f"{name}: {' and '.join(said)}")
        return SizeLoss(width, found, round(lost * scale**2, 2), "; ".join(words) or "nothing")


def _near(x: float, y: float) -> str:
    """Say where, on the face at the wanted size."""
    return f" (what is at {x:.1f}, {y:.1f} mm at the size asked for)"
