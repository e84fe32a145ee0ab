"""A supplied cut file judged: every rule once, in one order, with what was found kept for mending and drawing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from maskgen.check.crossings import Crossing, overlaps, self_crossings
from maskgen.check.doubles import Doubled, find_doubled, is_copy
from maskgen.check.drawn_lines import CutLines, find_lines
from maskgen.check.lands import polygon_findings
from maskgen.check.lines import CutLine
from maskgen.check.near import NEAR_MM, Chords, near_pairs
from maskgen.check.nodes import TOO_MANY, crowded
from maskgen.check.panels import Panel, find_panels
from maskgen.check.pieces import Nest, Polarity, nest
from maskgen.check.seen import clip_findings, feature_findings, stray_findings, stroke_findings
from maskgen.check.settings import CheckSettings
from maskgen.check.sizes import extent_of, scale_findings, sheet_findings
from maskgen.errors import InputError
from maskgen.model.drawing import Drawing, Source, in_millimetres
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.judgement import Judgement
from maskgen.model.paths import Point

GAP_LIMIT_MM = 0.05
MOST_OUTLINE_MM = 60_000.0
MOST_PIECES = 10_000
"""Beyond it widths are not measured: a full sheet of film is far below, a drawing in a wrong scale is not."""
PINCHED_MM, AT_CROSSING_MM = 0.05, 0.5
"""A width under the first, within the second of a crossing, is the crossing itself."""
NEARBY_GAP_MM = 2.0
"""Up to this a gap is told at its middle, beyond it at the end of the line."""

_WIDTHS = frozenset({Code.THIN_LAND, Code.NARROW_GAP, Code.SMALL_PIECE})
"""What tells whether a bare rectangle around everything is a frame or the edge of a piece."""

_ORDER = {code: k for k, code in enumerate(Code)}
_RANK = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}


@dataclass(frozen=True, eq=False)
class Gap:
    """An open place: between an end of `line` and an end of `other` (often the same line)."""

    line: int
    other: int
    ends: tuple[Point, Point]
    width_mm: float


@dataclass(frozen=True, eq=False)
class Analysis:
    """What was found in a file; `copies` are lines that lie on others wholly, left out of the pieces like panels."""

    found: CutLines
    gaps: tuple[Gap, ...]
    doubled: tuple[Doubled, ...]
    copies: frozenset[int]
    crossings: tuple[Crossing, ...]
    panels: tuple[Panel, ...]
    pieces: Nest
    judgement: Judgement

    @property
    def lines(self) -> tuple[CutLine, ...]:
        """The cut lines."""
        return self.found.lines


def judge(drawing: Drawing, *, name: str, settings: CheckSettings, lands: bool = True) -> Analysis:
    """Judge a drawing.

    Parameters
    ----------
    drawing
        As read, in any unit.
    name
        The file, for the judgement.
    settings
        Limits, part, sheet, polarity.
    lands
        Whether to look for narrow places, small pieces and islands.

    Returns
    -------
    Analysis
        The judgement (findings sorted: errors first, then in the order of the codes, then by place) and what it rests
        on; places in millimetres in the drawing's own frame, y down.

    Raises
    ------
    InputError
        When the lines lie on one another beyond all use.
    """
    drawing = in_millimetres(drawing)
    found = find_lines(drawing)
    lines = found.lines
    chords = Chords.of(lines)
    try:
        pairs = near_pairs(chords)
        doubled = find_doubled(chords, pairs)
        copies = frozenset(d.line for d in doubled if d.others != (d.line,) and is_copy(d, chords))
        panels = find_panels(lines, [len(p.subpaths) for p in drawing.paths], set(copies))
        left_out = {*copies, *(panel.line for panel in panels)}
        crossings = (*self_crossings(chords, pairs), *overlaps(lines, chords, pairs, left_out))
        apart = frozenset((c.first, c.second) for c in crossings if c.first != c.second)
        pieces = nest(lines, left_out, settings.polarity, overlapping=apart)
    except InputError as error:
        raise InputError(error.what, where=name, mend=error.mend) from error
    crossings = _clear_of_doubles(crossings, doubled, lines)
    gaps = _gaps(lines, copies)
    land_findings: tuple[Finding, ...] = ()
    as_piece = False
    if lands:
        land_findings = tuple(_land_findings(pieces, crossings, bool(doubled), settings))
        bare = {p.line for p in panels if not (p.filled and drawing.source is Source.SVG)}
        if bare and any(f.code in _WIDTHS for f in land_findings):
            other = nest(lines, left_out - bare, settings.polarity, overlapping=apart)
            others = tuple(_land_findings(other, crossings, bool(doubled), settings))
            if sum(f.code in _WIDTHS for f in others) < sum(f.code in _WIDTHS for f in land_findings):
                pieces, land_findings, as_piece = other, others, True
    findings = (
        *_gap_findings(gaps, lines),
        *_crossing_findings(crossings, lines, drawing),
        *_doubled_findings(doubled, lines),
        *_panel_findings(panels, lines, drawing.source),
        *feature_findings(drawing),
        *clip_findings(drawing),
        *stroke_findings(found),
        *stray_findings(found),
        *sheet_findings(drawing, lines, settings),
        *scale_findings(drawing, lines, settings),
        *land_findings,
        *_node_findings(lines),
    )
    judgement = _judgement(drawing, lines, pieces, findings, panels, name=name, as_piece=as_piece)
    return Analysis(found, gaps, doubled, copies, crossings, panels, pieces, judgement)


def _judgement(
    drawing: Drawing,
    lines: Sequence[CutLine],
    pieces: Nest,
    findings: Sequence[Finding],
    panels: Sequence[Panel],
    *,
    name: str,
    as_piece: bool,
) -> Judgement:
    extent = extent_of(lines)
    page = drawing.page
    return Judgement(
        file=name,
        units=drawing.units,
        size_mm=extent.size if extent else (0.0, 0.0),
        pieces=len(pieces.pieces),
        cut_length_mm=sum(line.length_mm for line in lines),
        nodes=sum(line.nodes for line in lines),
        findings=tuple(sorted(map(_rounded, findings), key=_sort_key)),
        notes=tuple(_notes(pieces, panels, drawing, as_piece=as_piece)),
        page_mm=None if page is None else (page.width, page.height),
    )


def _notes(pieces: Nest, panels: Sequence[Panel], drawing: Drawing, *, as_piece: bool) -> Iterator[str]:
    if pieces.polarity is Polarity.INSIDE:
        yield (
            "What the outermost lines enclose was taken as vinyl that stays, the next lines inside as openings, and so "
            "on: the usual way to draw masks. Say --polarity outside where it is the other way round."
        )
    else:
        yield "What the outermost lines enclose was taken as openings, as --polarity outside says."
    if as_piece:
        yield (
            "The bare rectangle around everything was taken as the edge of a piece with openings: so read, fewer "
            "places are too narrow or too small than with the rectangle as a frame."
        )
    elif panels:
        yield "A rectangle around everything was left out of the pieces."
    if drawing.source is not Source.SVG:
        yield "Places are told with y down, as in all reports: y in the file is the negative of it."


def _rounded(finding: Finding) -> Finding:
    at = finding.at_mm
    return finding if at is None else replace(finding, at_mm=(round(at[0], 4) + 0.0, round(at[1], 4) + 0.0))


def _sort_key(finding: Finding) -> tuple[int, int, float, float, str]:
    x, y = finding.at_mm or (0.0, 0.0)
    return _RANK[finding.severity], _ORDER[finding.code], y, x, finding.message


def _gaps(lines: Sequence[CutLine], copies: frozenset[int]) -> tuple[Gap, ...]:
    """Pair every loose end with the nearest one: of its own line, or of another where that is nearer."""
    open_lines = [k for k, line in enumerate(lines) if not line.closed and k not in copies]
    if not open_lines:
        return ()
    ends = np.array([lines[k].ends for k in open_lines]).reshape(-1, 2)
    owner = np.repeat(open_lines, 2)
    gaps: dict[tuple[int, int], Gap] = {}
    tree = shapely.STRtree(shapely.points(ends))
    number, nearest = tree.query_nearest(shapely.points(ends), exclusive=True, all_matches=False)
    for a, b in zip(number.tolist(), nearest.tolist(), strict=True):
        own = a ^ 1
        if float(np.hypot(*(ends[a] - ends[own]))) <= float(np.hypot(*(ends[a] - ends[b]))) + 1e-12:
            b = own
        key = (min(a, b), max(a, b))
        pair = ((float(ends[a, 0]), float(ends[a, 1])), (float(ends[b, 0]), float(ends[b, 1])))
        gaps.setdefault(key, Gap(int(owner[a]), int(owner[b]), pair, float(np.hypot(*(ends[a] - ends[b])))))
    return tuple(gaps.values())


def _gap_findings(gaps: Sequence[Gap], lines: Sequence[CutLine]) -> Iterator[Finding]:
    for gap in gaps:
        (ax, ay), (bx, by) = gap.ends
        at = ((ax + bx) / 2, (ay + by) / 2) if gap.width_mm <= NEARBY_GAP_MM else gap.ends[0]
        yield Finding(
            Code.OPEN_PATH, Severity.ERROR,
            f"a cut line does not close: {gap.width_mm:.2f} mm are missing ({lines[gap.line].place})",
            "close the path", at, value=gap.width_mm, limit=GAP_LIMIT_MM,
        )  # fmt: skip


def _clear_of_doubles(
    crossings: Sequence[Crossing], doubled: Sequence[Doubled], lines: Sequence[CutLine]
) -> tuple[Crossing, ...]:
    """Drop the crossings of a line with its own doubled stretch: rounding, told once already."""
    own = {d.line: d for d in doubled if d.others == (d.line,)}
    stretches = {
        k: lines[k].at_shares(np.linspace(d.begin, d.end, 200) / lines[k].length_mm % 1.0) for k, d in own.items()
    }
    kept = []
    for crossing in crossings:
        stretch = own.get(crossing.first) if crossing.first == crossing.second else None
        if stretch is not None:
            away = float(np.hypot(*(stretches[crossing.first] - np.array(crossing.at)).T).min())
            if away <= 4 * NEAR_MM + stretch.length_mm / 400:
                continue
        kept.append(crossing)
    return tuple(kept)


def _crossing_findings(crossings: Sequence[Crossing], lines: Sequence[CutLine], drawing: Drawing) -> Iterator[Finding]:
    for crossing in crossings:
        first, second = lines[crossing.first], lines[crossing.second]
        if crossing.first == crossing.second or set(first.paths) & set(second.paths):
            yield Finding(
                Code.SELF_CROSSING, Severity.ERROR, f"a boundary crosses itself ({first.place})",
                "unite the path with itself", crossing.at,
            )  # fmt: skip
        else:
            yield Finding(
                Code.CROSSING_PIECES, Severity.ERROR, f"two pieces overlap partly ({first.place}; {second.place})",
                "unite them, or move them apart", crossing.at,
            )  # fmt: skip


def _doubled_findings(doubled: Sequence[Doubled], lines: Sequence[CutLine]) -> Iterator[Finding]:
    for one in doubled:
        line = lines[one.line]
        middle = (one.begin + one.end) / 2 / line.length_mm % 1.0
        other = "itself" if one.others == (one.line,) else lines[one.others[0]].place
        yield Finding(
            Code.DOUBLED_LINE, Severity.ERROR,
            f"{one.length_mm:.2f} mm of line would be cut twice ({line.place}, on {other})",
            "delete one of the two", line.at_share(middle), value=one.length_mm, limit=NEAR_MM,
        )  # fmt: skip


def _panel_findings(panels: Sequence[Panel], lines: Sequence[CutLine], source: Source) -> Iterator[Finding]:
    for panel in panels:
        line = lines[panel.line]
        at = line.at_share(0.0)
        if panel.filled and source is Source.SVG:
            yield Finding(
                Code.BACKING_PANEL, Severity.ERROR,
                f"a filled rectangle lies behind everything ({line.place}): all would come off as one sheet",
                "delete it", at,
            )  # fmt: skip
        else:
            yield Finding(
                Code.BACKING_PANEL, Severity.WARNING,
                f"a rectangle goes around everything ({line.place}): a weeding frame, or a backing panel",
                "keep it as a frame for weeding, or delete it", at,
            )  # fmt: skip


def _land_findings(
    pieces: Nest, crossings: Sequence[Crossing], doubled: bool, settings: CheckSettings
) -> Iterator[Finding]:
    """Judge the vinyl; what is pinched to nothing where outlines cross or lie on one another was told already."""
    places = np.array([crossing.at for crossing in crossings]).reshape(-1, 2)
    outline = sum(polygon.length for polygon in pieces.polygons)
    if outline > MOST_OUTLINE_MM:
        yield Finding(
            Code.UNREAD, Severity.WARNING,
            f"{outline / 1000:.0f} m of outline are too much to look for narrow places and small pieces in",
            "check the scale, or check it in parts", value=outline, limit=MOST_OUTLINE_MM,
        )  # fmt: skip
        return
    if len(pieces.polygons) > MOST_PIECES:
        yield Finding(
            Code.UNREAD, Severity.WARNING,
            f"{len(pieces.polygons)} separate pieces are more than anybody weeds: narrow places were not looked for",
            "if it is a halftone, draw it anew in flat areas; else check it in parts",
            value=float(len(pieces.polygons)), limit=float(MOST_PIECES),
        )  # fmt: skip
        return
    polygons = shapely.get_parts(pieces.vinyl).tolist() if crossings else pieces.polygons
    for finding in polygon_findings(polygons, resist=settings.resist):
        if doubled and finding.code in (Code.THIN_LAND, Code.NARROW_GAP) and (finding.value or 0.0) < 2 * NEAR_MM:
            continue
        pinched = finding.code in (Code.THIN_LAND, Code.NARROW_GAP) and (finding.value or 0.0) < PINCHED_MM
        if pinched and finding.at_mm is not None and len(places):
            away = np.hypot(*(places - np.array(finding.at_mm)).T).min()
            if away < AT_CROSSING_MM:
                continue
        yield finding


def _node_findings(lines: Sequence[CutLine]) -> Iterator[Finding]:
    for number, needed in crowded(lines).items():
        line = lines[number]
        yield Finding(
            Code.NODE_CROWD, Severity.NOTE,
            f"{line.nodes} nodes where {needed} would do ({line.place}): it cuts slowly and in steps",
            "thin the nodes out within 0.01 mm", line.at_share(0.0), value=float(line.nodes),
            limit=float(TOO_MANY * needed),
        )  # fmt: skip
