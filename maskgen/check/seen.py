"""What is in the drawing beside cut lines: letters, pictures, wide strokes, effects, clips that hide something."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from maskgen.check.drawn_lines import CutLines
from maskgen.check.lines import FLATTEN_MM
from maskgen.geometry.polygons import polygonal
from maskgen.model.drawing import Clip, Drawing, DrawnPath, FeatureKind, FillRule, flattened
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.paths import Point, Points

HIDDEN_MM = 0.01
"""A clip that hides less of a line than this changes nothing."""
PEN_LIMIT_MM = 0.3


def feature_findings(drawing: Drawing) -> Iterator[Finding]:
    """Find what a reader named; see-through paint changes no cut line."""
    for feature in drawing.features:
        if feature.kind is FeatureKind.TEXT:
            yield Finding(
                Code.LIVE_TEXT, Severity.ERROR, f"letters still typed: '{feature.name[:60]}' ({feature.place})",
                "turn the letters into outlines in the program they were typed in", feature.at,
            )  # fmt: skip
        elif feature.kind is FeatureKind.PICTURE:
            yield Finding(
                Code.PICTURE, Severity.ERROR, f"{feature.name} ({feature.place}); a picture cannot be cut",
                "trace it first, or delete it", feature.at,
            )  # fmt: skip
        elif feature.kind is FeatureKind.UNREAD:
            yield Finding(
                Code.UNREAD, Severity.WARNING, f"not understood: {feature.name} ({feature.place})",
                "draw it with plain outlines, or delete it", feature.at,
            )  # fmt: skip


def stroke_findings(found: CutLines) -> Iterator[Finding]:
    """Find lines drawn with a width."""
    for number in found.wide:
        path = found.drawing.paths[number]
        assert path.stroke is not None
        yield Finding(
            Code.PEN_STROKE, Severity.ERROR,
            f"a line {path.stroke.width:.2f} mm wide is drawn with a pen, not as an outline ({path.place})",
            "turn the stroke into an outline", _middle(path), value=path.stroke.width, limit=PEN_LIMIT_MM,
        )  # fmt: skip


def stray_findings(found: CutLines) -> Iterator[Finding]:
    """Find paths of no length."""
    for stray in found.strays:
        yield Finding(
            Code.STRAY_POINT, Severity.NOTE, f"a path of no length ({stray.place})", "delete it", stray.at, value=0.0
        )


def clip_findings(drawing: Drawing) -> Iterator[Finding]:
    """Find clips that hide a part of what they clip."""
    regions: dict[int, shapely.Geometry] = {}
    for path in drawing.paths:
        for clip in path.clips:
            if id(clip) not in regions:
                regions[id(clip)] = shapely.buffer(clip_region(clip), HIDDEN_MM)
            at = _hidden(path, regions[id(clip)])
            if at is not None:
                yield Finding(
                    Code.UNREAD, Severity.WARNING, f"not understood: a clip path hides a part of {path.place}",
                    "cut the shape itself to what shall be seen", at,
                )  # fmt: skip
                break


def clip_region(clip: Clip) -> shapely.Geometry:
    """Give what a clip leaves to be seen."""
    parts = []
    for shape in clip.shapes:
        loops = [p for p in (flattened(run, FLATTEN_MM)[0] for run in shape.subpaths) if len(p) > 2]
        polygons = [polygonal(shapely.make_valid(shapely.Polygon(p))) for p in loops]
        if shape.rule is FillRule.EVENODD:
            whole = shapely.Polygon()
            for polygon in polygons:
                whole = whole.symmetric_difference(polygon)
            parts.append(whole)
        else:
            parts.extend(polygons)
    return shapely.union_all(parts)


def _hidden(path: DrawnPath, region: shapely.Geometry) -> Point | None:
    points = [flattened(run, FLATTEN_MM)[0] for run in path.subpaths]
    runs = [shapely.linestrings(p) for p in points if len(p) > 1]
    if not runs:
        return None
    lines = shapely.multilinestrings(runs)
    rest = shapely.difference(lines, region)
    if rest.is_empty:
        return None
    x, y = shapely.get_coordinates(shapely.line_interpolate_point(shapely.get_parts(rest)[:1], 0.5, normalized=True))[0]
    return float(x), float(y)


def _middle(path: DrawnPath) -> Point:
    points: Points = max((flattened(run, FLATTEN_MM)[0] for run in path.subpaths), key=len)
    steps = np.hypot(*np.diff(points, axis=0).T)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    half = along[-1] / 2
    return float(np.interp(half, along, points[:, 0])), float(np.interp(half, along, points[:, 1]))
