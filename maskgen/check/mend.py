"""A supplied cut file put right as far as that can be done without asking: every repair listed with its place.

Wide strokes become outlines, small gaps are closed, copies, stray points and a backing panel go, what crosses or
overlaps is united, crowded lines are thinned out. All else keeps its own lines and curves. What would need to be known
(letters without their font, pictures, large gaps) stays as it is and is said to.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from maskgen.check.cutfile import Analysis, judge
from maskgen.check.lines import CutLine, line_of_ring, run_of_ring
from maskgen.check.mend_strokes import outlined
from maskgen.check.mend_union import united_rings
from maskgen.check.nodes import MOST_CORNERS, WITHIN_MM, crowded, thinned
from maskgen.check.settings import CheckSettings
from maskgen.errors import InputError
from maskgen.geometry.fitting import fit_exact
from maskgen.geometry.rings import pieces_from_rings
from maskgen.model.drawing import Drawing, DrawnPath, Fill, FillRule, Source, SubPath, in_millimetres
from maskgen.model.finding import Code
from maskgen.model.masks import CutDrawing
from maskgen.model.paths import Point, Points, Ring, polygon_ring, signed_area

CLOSED_GAP_MM = 2.0
"""The largest gap that is closed."""
CRACK_MM = 0.006
"""Walls within twice this of one another after uniting are one line."""
MOST_PEN_NODES = 5_000
"""Nodes of wide strokes that are turned into outlines, at some 5 ms each."""
MOST_ROUNDS = 3
"""How often what was united is looked at again."""
NO_AREA_MM2 = 1e-4
"""Outlines of less are dust from uniting."""
NO_LENGTH_MM = 0.02
GAP_SHARE = 0.25
"""No gap is closed that is longer than this share of its line."""

_LEFT = {
    Code.LIVE_TEXT: "letters stay letters: their font is not in the file",
    Code.PICTURE: "the picture is left out of the mended file: it would have to be traced",
    Code.UNREAD: "not understood, so not carried over into the mended file",
    Code.OFF_SHEET: "left where it is",
    Code.OPEN_PATH: "the gap is too large to be closed by guessing: the line stays open",
}
_OUTLINES_ONLY = _LEFT | {
    Code.LIVE_TEXT: "letters are left out of the mended file, which holds outlines only: their font is not known",
    Code.OPEN_PATH: "the gap is too large to be closed by guessing: the line is left out of the mended file, which "
    "holds closed outlines only",
}
"""What is said where the mended file is of a format written with closed outlines alone."""


@dataclass(frozen=True, slots=True)
class Repair:
    """One thing done (or, with `done` false, left undone) and where."""

    code: Code
    what: str
    at: Point | None
    done: bool = True


@dataclass(frozen=True, slots=True)
class Mended:
    """The drawing put right: closed pieces, lines kept open or bare (frames, gaps too large), and what was done."""

    drawing: CutDrawing
    bare: tuple[tuple[SubPath, ...], ...]
    repairs: tuple[Repair, ...]


def mend(drawing: Drawing, *, name: str, settings: CheckSettings, outlines_only: bool = False) -> Mended:
    """Put a drawing right.

    Parameters
    ----------
    drawing
        As read, in any unit.
    name
        The file, for reasons given.
    settings
        Limits, part, sheet, polarity.
    outlines_only
        Whether what is written of it holds closed outlines alone (DXF, HPGL), no letters and no bare lines.

    Returns
    -------
    Mended
        In millimetres, in the drawing's own frame; what was left undone is listed after what was done.
    """
    drawing = in_millimetres(drawing)
    repairs: list[Repair] = []
    drawing = _without_strokes(drawing, judge(drawing, name=name, settings=settings, lands=False), repairs)
    analysis = judge(drawing, name=name, settings=settings, lands=False)
    repairs.extend(Repair(Code.STRAY_POINT, "stray point removed", s.at) for s in analysis.found.strays)
    drawing = _drawn(drawing, _closed(analysis, repairs))
    analysis = judge(drawing, name=name, settings=settings, lands=False)
    rings, bare = _united(analysis, repairs)
    for _ in range(MOST_ROUNDS):
        # What was united may lie within a hair of something else, or of itself.
        again = judge(_of_rings(drawing, rings), name=name, settings=settings, lands=False)
        if not again.doubled and not again.crossings:
            break
        rings, _bare = _united(replace(again, panels=()), repairs)
        tangled = {d.line for d in again.doubled if d.others == (d.line,)}
        rings = [
            _without_cracks(ring) if any(_same_box(ring, again.lines[k]) for k in tangled) else ring for ring in rings
        ]
    rings = _thinned(rings, repairs)
    area = pieces_from_rings(_oriented(rings))
    repairs.extend(_left(analysis, _OUTLINES_ONLY if outlines_only else _LEFT))
    if outlines_only:
        what = "a bare frame or a line without area is left out of the mended file, which holds closed outlines only"
        closed = [line for line in bare if line.closed]
        repairs.extend(Repair(Code.BACKING_PANEL, what, line.at_share(0.0), done=False) for line in closed)
    left, top, right, bottom = _window(drawing, rings, bare)
    pieces = CutDrawing(left, top, right - left, bottom - top, area.pieces)
    return Mended(pieces, tuple(line.runs for line in bare), tuple(repairs))


def _same_box(ring: Ring, line: CutLine) -> bool:
    points = line_of_ring(ring).points
    return bool(
        np.abs(points.min(axis=0) - line.points.min(axis=0)).max() < CRACK_MM
        and np.abs(points.max(axis=0) - line.points.max(axis=0)).max() < CRACK_MM
    )


def _without_cracks(ring: Ring) -> Ring:
    """Close cracks and cut off spikes that are thinner than a line."""
    outline = line_of_ring(ring).outline()
    for away in (CRACK_MM, -2 * CRACK_MM, CRACK_MM):
        outline = shapely.buffer(outline, away, join_style="mitre", mitre_limit=2.0)
    parts = [p for p in shapely.get_parts(outline) if p.area > NO_AREA_MM2]
    if len(parts) != 1 or len(parts[0].interiors):
        return ring
    return fit_exact(shapely.get_coordinates(parts[0].exterior)[:-1], tolerance=CRACK_MM)


def _of_rings(drawing: Drawing, rings: Sequence[Ring]) -> Drawing:
    fill = Fill("#000000", 1.0, FillRule.EVENODD)
    paths = tuple(DrawnPath((run_of_ring(ring),), "mended", fill) for ring in rings)
    return replace(drawing, paths=paths, features=())


def _without_strokes(drawing: Drawing, analysis: Analysis, repairs: list[Repair]) -> Drawing:
    paths = list(drawing.paths)
    nodes = sum(len(run.straight) for number in analysis.found.wide for run in paths[number].subpaths)
    if nodes > MOST_PEN_NODES:
        raise InputError(
            f"lines drawn with a pen have {nodes} nodes (the limit is {MOST_PEN_NODES})",
            where=analysis.judgement.file,
            mend="turn them into outlines in the program they were drawn in",
        )
    for number in analysis.found.wide:
        path = paths[number]
        outline = outlined(path)
        at = path.subpaths[0].start
        if outline is None:
            repairs.append(Repair(Code.PEN_STROKE, "a wide stroke that cannot be outlined is left", at, done=False))
        else:
            assert path.stroke is not None
            what = f"stroke of {path.stroke.width:.2f} mm turned into its outline"
            repairs.append(Repair(Code.PEN_STROKE, what, at))
            paths[number] = outline
    return replace(drawing, paths=tuple(paths))


def _closed(analysis: Analysis, repairs: list[Repair]) -> list[CutLine]:
    """Close gaps: nearest ends first, a straight run across each."""
    lines = list(analysis.lines)
    open_lines = [k for k, line in enumerate(lines) if not line.closed]
    bridged: dict[tuple[int, bool], tuple[int, bool]] = {}
    for gap in sorted(analysis.gaps, key=lambda g: (g.width_mm, g.ends)):
        longest = GAP_SHARE * (lines[gap.line].length_mm + (lines[gap.other].length_mm if gap.other != gap.line else 0))
        if gap.width_mm > min(CLOSED_GAP_MM, longest):
            continue
        first = (gap.line, _is_end(lines[gap.line], gap.ends[0]))
        second = (gap.other, _is_end(lines[gap.other], gap.ends[1]))
        if gap.line == gap.other:
            second = (gap.other, not first[1])
        if first in bridged or second in bridged:
            continue
        bridged[first], bridged[second] = second, first
        (ax, ay), (bx, by) = gap.ends
        what = f"gap of {gap.width_mm:.2f} mm closed"
        repairs.append(Repair(Code.OPEN_PATH, what, ((ax + bx) / 2, (ay + by) / 2)))
    return [line for line in lines if line.closed] + _walked(lines, open_lines, bridged)


def _is_end(line: CutLine, at: Point) -> bool:
    """Tell the end of an open line from its beginning."""
    begin, end = line.ends
    return bool(np.hypot(end[0] - at[0], end[1] - at[1]) < np.hypot(begin[0] - at[0], begin[1] - at[1]))


def _walked(
    lines: Sequence[CutLine], open_lines: list[int], bridged: dict[tuple[int, bool], tuple[int, bool]]
) -> list[CutLine]:
    used: set[int] = set()
    result = []
    free = [(k, side) for k in open_lines for side in (False, True) if (k, side) not in bridged]
    for start in [*free, *((k, False) for k in open_lines)]:
        if start[0] in used:
            continue
        chain: list[tuple[int, bool]] = []
        current: tuple[int, bool] | None = start
        while current is not None and current[0] not in used:
            used.add(current[0])
            chain.append(current)
            current = bridged.get((current[0], not current[1]))
        result.append(_chained(lines, chain, closed=current is not None))
    return result


def _chained(lines: Sequence[CutLine], chain: list[tuple[int, bool]], *, closed: bool) -> CutLine:
    runs: list[SubPath] = []
    points: list[Points] = []
    for number, backwards in chain:
        line = lines[number]
        runs.extend(line.turned().runs if backwards else line.runs)
        points.append(line.points[::-1] if backwards else line.points)
    first = lines[chain[0][0]]
    return replace(first, runs=tuple(runs), points=np.vstack(points), closed=closed)


def _drawn(drawing: Drawing, lines: Iterable[CutLine]) -> Drawing:
    """Give the drawing anew from its lines; runs of one path stay together."""
    by_path: dict[int, list[CutLine]] = {}
    for line in lines:
        by_path.setdefault(line.paths[0], []).append(line)
    paths = []
    for number, members in sorted(by_path.items()):
        path = drawing.paths[number]
        closed = [line for line in members if line.closed]
        if closed:
            paths.append(replace(path, subpaths=tuple(run_of_ring(line.ring()) for line in closed)))
        for line in members:
            if not line.closed:
                paths.append(DrawnPath(line.runs, path.place, None, path.stroke, path.clips, layer=path.layer))
    return replace(drawing, paths=tuple(paths))


def _united(analysis: Analysis, repairs: list[Repair]) -> tuple[list[Ring], list[CutLine]]:
    """Give the closed outlines, none of which crosses or covers another, and the lines that stay bare."""
    lines = analysis.lines
    filled = {p.line for p in analysis.panels if p.filled and analysis.found.drawing.source is Source.SVG}
    frames = {p.line for p in analysis.panels} - filled
    for number in sorted(filled):
        repairs.append(Repair(Code.BACKING_PANEL, "backing panel removed", lines[number].at_share(0.0)))
    disturbed: set[int] = set()
    for doubled in analysis.doubled:
        place = lines[doubled.line].at_share((doubled.begin + doubled.end) / 2 / lines[doubled.line].length_mm % 1.0)
        if doubled.line in analysis.copies:
            repairs.append(Repair(Code.DOUBLED_LINE, "second copy of a line removed", place))
            continue
        repairs.append(Repair(Code.DOUBLED_LINE, f"{doubled.length_mm:.2f} mm of doubled line removed", place))
        disturbed |= {doubled.line, *doubled.others}
    for crossing in analysis.crossings:
        code = Code.SELF_CROSSING if crossing.first == crossing.second else Code.CROSSING_PIECES
        repairs.append(Repair(code, "crossing outlines united", crossing.at))
        disturbed |= {crossing.first, crossing.second}
    disturbed -= filled | frames | set(analysis.copies)
    kept = [
        k
        for k, line in enumerate(lines)
        if line.closed and k not in disturbed and k not in filled and k not in frames and k not in analysis.copies
    ]
    flat = {k for k in kept if len(lines[k].points) < 3 or lines[k].outline().area <= NO_AREA_MM2}
    dots = {k for k in flat if lines[k].length_mm < NO_LENGTH_MM}
    repairs.extend(Repair(Code.STRAY_POINT, "outline of no size removed", lines[k].at_share(0.0)) for k in sorted(dots))
    rings = [lines[k].ring() for k in kept if k not in flat]
    if disturbed:
        united = united_rings(lines, analysis.pieces, disturbed, analysis.doubled)
        rings.extend(ring for ring in united if abs(signed_area(ring)) > NO_AREA_MM2)
    copies_of_open = [k for k, line in enumerate(lines) if not line.closed and k not in analysis.copies]
    return rings, [lines[k] for k in sorted({*frames, *(flat - dots), *copies_of_open})]


def _thinned(rings: list[Ring], repairs: list[Repair]) -> list[Ring]:
    result = list(rings)
    as_lines = [line_of_ring(ring) for ring in rings]
    for number, needed in crowded(as_lines).items():
        line = as_lines[number]
        ring = _fewer_nodes(line)
        if len(ring.segments) * 2 < line.nodes:
            what = f"{line.nodes} nodes thinned out to {len(ring.segments)} (about {needed} are needed)"
            repairs.append(Repair(Code.NODE_CROWD, what, line.at_share(0.0)))
            result[number] = ring
    return result


def _fewer_nodes(line: CutLine) -> Ring:
    choices = [polygon_ring(thinned(line))]
    if len(line.points) <= MOST_CORNERS:
        choices.append(fit_exact(line.points, tolerance=WITHIN_MM))
    return min(choices, key=lambda ring: len(ring.segments))


def _oriented(rings: list[Ring]) -> list[Ring]:
    """Turn outlines by their depth: outer ones positive, holes negative."""
    if not rings:
        return []
    polygons = np.array([line.outline() for line in map(line_of_ring, rings)])
    size = shapely.area(polygons)
    tree = shapely.STRtree(polygons)
    inner, outer = tree.query(shapely.point_on_surface(polygons), predicate="within")
    around = size[outer] > size[inner]
    depth = np.bincount(inner[around], minlength=len(rings))
    return [
        ring if (signed_area(ring) > 0) == (d % 2 == 0) else ring.reversed()
        for ring, d in zip(rings, depth.tolist(), strict=True)
    ]


def _left(analysis: Analysis, said: dict[Code, str]) -> list[Repair]:
    return [
        Repair(f.code, f"{f.message}: {said[f.code]}", f.at_mm, done=False)
        for f in analysis.judgement.findings
        if f.code in said
    ]


def _window(drawing: Drawing, rings: Sequence[Ring], bare: Sequence[CutLine]) -> tuple[float, float, float, float]:
    """Give the page; without one what is drawn, from the file's own origin where that is below and left of all."""
    if drawing.page is not None:
        page = drawing.page
        return page.left, page.top, page.left + page.width, page.top + page.height
    points = [line_of_ring(ring).points for ring in rings] + [line.points for line in bare]
    if not points:
        return 0.0, 0.0, 1.0, 1.0
    (left, top), (right, bottom) = np.vstack(points).min(axis=0), np.vstack(points).max(axis=0)
    return min(0.0, float(left)), float(top), float(right), max(0.0, float(bottom))
