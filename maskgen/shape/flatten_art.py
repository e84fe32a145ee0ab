"""Vector artwork to an exact partition: what is painted over what is settled once, face by face.

All outlines (fills, the ink of strokes, clips, the canvas) cut the plane into faces; each face gets the colour that
painting in order leaves there; faces of one colour become a region. Outlines stay the lines and cubics they were, cut
only where something else crosses them, and neighbours share theirs to the last bit.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from maskgen.errors import InputError
from maskgen.geometry.arrangement import Arrangement, arrange, assemble
from maskgen.model.artwork import CLEAR
from maskgen.model.drawing import (
    Clip,
    Drawing,
    DrawnPath,
    Fade,
    FeatureKind,
    FillRule,
    SubPath,
    Window,
    flattened,
)
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.paths import (
    Line,
    Partition,
    Points,
    Region,
    Ring,
    Segment,
    affine,
    flatten,
    flatten_segment,
    rectangle,
)
from maskgen.shape.inside import closed_edges, inside
from maskgen.shape.strokes import ink_of

WORKING_SIZE = 128.0
"""The canvas is scaled (by a power of two, so without rounding) to about this before its faces are found."""
TOLERANCE = 1e-3
"""Chord error while finding faces, and of the outlines of strokes: 1/128 000 of the canvas, 0.0003 mm at 40 mm."""
SLIVER = 0.005
"""Faces narrower than this, in the working size, are gaps and laps of rounding: at 40 mm 1.6 micrometres."""
TOUCHING = 1e-6
"""How near the outline of its union a piece of a stroke counts as part of it, in the working size."""
HALF_SEEN = 0.5 - 1e-9
"""Less paint than this over a clear canvas counts as clear."""

Flags = NDArray[np.bool_]


def flatten_artwork(drawing: Drawing) -> tuple[Partition, tuple[Finding, ...]]:
    """Flatten a drawing in its painting order.

    Returns
    -------
    Partition
        In the drawing's units with the page's top left at the origin; one region per colour in painting order, what is
        not painted a region named and coloured `clear`.
    findings
        What was not read, with its place in the same frame (`at_mm` is in the drawing's units here).

    Raises
    ------
    InputError
        When there is no page, or nothing of the drawing lies on it.
    """
    page = drawing.page or _reach_of(drawing)
    if not (page.width > 0 and page.height > 0):
        raise InputError("the artwork has no size", mend="give it a width, a height or a viewBox")
    scale = 2.0 ** math.floor(math.log2(WORKING_SIZE / max(page.width, page.height)))
    matrix = np.array([[scale, 0.0, -page.left * scale], [0.0, scale, -page.top * scale]])
    canvas = rectangle(0.0, 0.0, page.width * scale, page.height * scale).outer
    unread: list[str] = []
    layers = [layer for path in drawing.paths for layer in _layers(path.mapped(matrix), unread)]
    faces = _cut_faces(canvas, layers)
    colours = _without_slivers(faces, _painted(faces.inside, layers, canvas))
    areas = assemble(faces, colours)
    order = _painting_order(colours, faces)
    back = affine(1.0 / scale)
    regions = tuple(
        Region(f"r{k}", colour, colour, areas[colour].mapped(back)) for k, colour in enumerate(order, start=1)
    )
    return Partition(page.width, page.height, regions), (*_findings(drawing, page), *map(_unread, unread))


@dataclass(frozen=True, slots=True, eq=False)
class _Layer:
    """One coat of paint: the outlines, the edges that decide what is in it, colour, clips and groups."""

    segments: tuple[Segment, ...]
    edges: NDArray[np.float64]
    rule: FillRule
    colour: str
    opacity: float
    clips: tuple[Clip, ...]
    fades: tuple[Fade, ...]


def _layers(path: DrawnPath, unread: list[str]) -> Iterator[_Layer]:
    coats = [_fill_layer(path), _stroke_layer(path, unread)]
    yield from (coat for coat in (reversed(coats) if path.stroke_first else coats) if coat is not None)


def _fill_layer(path: DrawnPath) -> _Layer | None:
    if path.fill is None:
        return None
    rings = tuple(ring for ring in map(closed_ring, path.subpaths) if ring is not None)
    edges = closed_edges([flatten(ring, TOLERANCE) for ring in rings])
    segments = tuple(s for ring in rings for s in ring.segments)
    return _Layer(segments, edges, path.fill.rule, path.fill.colour, path.fill.opacity, path.clips, path.fades)


def _stroke_layer(path: DrawnPath, unread: list[str]) -> _Layer | None:
    stroke = path.stroke
    if stroke is None:
        return None
    try:
        rings = tuple(loop for run in path.subpaths for loop in ink_of(run, stroke, tolerance=TOLERANCE))
    except ValueError as error:
        unread.append(f"stroke at {path.place}: {error}")
        return None
    outlines, edges = _outer_lines(rings)
    return _Layer(outlines, edges, FillRule.EVENODD, stroke.colour, stroke.opacity, path.clips, path.fades)


def _outer_lines(rings: tuple[Ring, ...]) -> tuple[tuple[Segment, ...], NDArray[np.float64]]:
    """Keep of overlapping loops what bounds their union, and give the edges of that union."""
    if not rings:
        return (), closed_edges([])
    loops = [shapely.Polygon(flatten(ring, TOLERANCE)) for ring in rings]
    union = shapely.union_all([loop if loop.is_valid else shapely.make_valid(loop) for loop in loops])
    outline = shapely.boundary(union)
    shapely.prepare(outline)
    segments = [s for ring in rings for s in ring.segments]
    runs = [np.vstack([s.start, flatten_segment(s, TOLERANCE)]) for s in segments]
    lines = shapely.linestrings(np.concatenate(runs), indices=np.repeat(np.arange(len(runs)), [len(r) for r in runs]))
    kept = shapely.dwithin(lines, outline, TOUCHING)
    corners = [np.asarray(line.coords)[:-1] for line in shapely.get_parts(outline)]
    return tuple(s for s, keep in zip(segments, kept.tolist(), strict=True) if keep), closed_edges(corners)


def closed_ring(subpath: SubPath) -> Ring | None:
    """Give a run as a ring, closed with a straight line where it does not close itself; None where it has no inside."""
    segments: tuple[Segment, ...] = subpath.segments()
    if not segments:
        return None
    start, end = segments[0].start, segments[-1].end
    return Ring(segments if start == end else (*segments, Line(end, start)))


def _cut_faces(canvas: Ring, layers: list[_Layer]) -> Arrangement:
    segments = [*canvas.segments]
    clips: dict[int, Clip] = {}
    for layer in layers:
        segments.extend(layer.segments)
        clips.update((id(clip), clip) for clip in layer.clips)
    for clip in clips.values():
        rings = (closed_ring(run) for shape in clip.shapes for run in shape.subpaths)
        segments.extend(s for ring in rings if ring is not None for s in ring.segments)
    return arrange(segments)


def _painted(points: Points, layers: list[_Layer], canvas: Ring) -> list[str | None]:
    """Give the colour of every face: None off the canvas."""
    right, bottom = canvas.segments[1].end
    on_canvas = (points > 0).all(axis=1) & (points[:, 0] < right) & (points[:, 1] < bottom)
    within: dict[int, Flags] = {}
    stack: list[tuple[Fade | None, NDArray[np.float64]]] = [(None, np.zeros((len(points), 4)))]
    for layer in layers:
        _settle(stack, layer.fades)
        seen = on_canvas & inside(points, layer.edges, layer.rule)
        for clip in layer.clips:
            if id(clip) not in within:
                within[id(clip)] = _clip_covers(points, clip)
            seen &= within[id(clip)]
        _cover(stack[-1][1], seen, np.array([*_rgb(layer.colour), 1.0]) * layer.opacity)
    _settle(stack, ())
    paint = stack[0][1]
    named: list[str | None] = []
    for (r, g, b, a), on in zip(paint.tolist(), on_canvas.tolist(), strict=True):
        if not on:
            named.append(None)
        elif a < HALF_SEEN:
            named.append(CLEAR)
        else:
            named.append("#{:02x}{:02x}{:02x}".format(*(min(255, round(v / a)) for v in (r, g, b))))
    return named


def _clip_covers(points: Points, clip: Clip) -> Flags:
    covered = np.zeros(len(points), dtype=np.bool_)
    for shape in clip.shapes:
        loops = [flattened(run, TOLERANCE)[0] for run in shape.subpaths]
        covered |= inside(points, closed_edges(loops), shape.rule)
    return covered


def _settle(stack: list[tuple[Fade | None, NDArray[np.float64]]], fades: tuple[Fade, ...]) -> None:
    """Close the groups that are over, open those that begin."""
    shared = 0
    while shared < min(len(stack) - 1, len(fades)) and stack[shared + 1][0] == fades[shared]:
        shared += 1
    while len(stack) - 1 > shared:
        fade, paint = stack.pop()
        assert fade is not None
        _cover(stack[-1][1], paint[:, 3] > 0, paint * fade.opacity)
    for fade in fades[shared:]:
        stack.append((fade, np.zeros_like(stack[0][1])))


def _cover(paint: NDArray[np.float64], where: Flags, coat: NDArray[np.float64]) -> None:
    """Lay paint (premultiplied) over what is there."""
    over = coat if coat.ndim == 1 else coat[where]
    paint[where] = over + paint[where] * (1.0 - over[..., 3:])


def _rgb(colour: str) -> tuple[int, int, int]:
    value = int(colour[1:], 16)
    return value >> 16, value >> 8 & 255, value & 255


def _without_slivers(faces: Arrangement, colours: list[str | None]) -> list[str | None]:
    """Give faces too narrow to be meant the colour they share most of their outline with."""
    length = np.hypot(*(faces.vertices[faces.edges[:, 1]] - faces.vertices[faces.edges[:, 0]]).T)
    count = len(faces.inside)
    perimeter = np.zeros(count + 1)
    for side in faces.beside.T:
        np.add.at(perimeter, side, length)
    narrow = 2 * faces.face_areas < SLIVER * perimeter[:count]
    narrow &= np.array([c is not None for c in colours], dtype=np.bool_)
    named = list(colours)
    pairs = [(faces.beside[:, 0], faces.beside[:, 1]), (faces.beside[:, 1], faces.beside[:, 0])]
    waiting = narrow.copy()
    while waiting.any():
        shares: dict[int, Counter[str]] = {}
        for own, other in pairs:
            use = (own >= 0) & (other >= 0) & waiting[own] & ~waiting[other]
            for a, b, share in zip(own[use].tolist(), other[use].tolist(), length[use].tolist(), strict=True):
                colour = named[b]
                if colour is not None:
                    shares.setdefault(a, Counter())[colour] += share
        if not shares:
            break
        for face, share in shares.items():
            named[face] = max(sorted(share), key=lambda c: share[c])
            waiting[face] = False
    return named


def _painting_order(colours: list[str | None], faces: Arrangement) -> list[str]:
    """Give the largest colour first, which keeps the order of a drawing's regions steady."""
    size: Counter[str] = Counter()
    for colour, area in zip(colours, faces.face_areas.tolist(), strict=True):
        if colour is not None:
            size[colour] += area
    return sorted(size, key=lambda c: (-round(size[c], 6), c))


def _reach_of(drawing: Drawing) -> Window:
    points = np.vstack([flattened(run, TOLERANCE)[0] for path in drawing.paths for run in path.subpaths])
    (left, top), (right, bottom) = points.min(axis=0), points.max(axis=0)
    return Window(float(left), float(top), float(right - left), float(bottom - top))


def _findings(drawing: Drawing, page: Window) -> Iterator[Finding]:
    """Name what was not read, each kind once with its number and the first place."""
    names = Counter((f.kind, f.name) for f in drawing.features)
    for (kind, name), number in names.items():
        first = next(f for f in drawing.features if (f.kind, f.name) == (kind, name))
        at = None if first.at is None else (first.at[0] - page.left, first.at[1] - page.top)
        place = f"{first.place}{f' and {number - 1} more' if number > 1 else ''}"
        if kind is FeatureKind.TEXT:
            message, mend = f"letters still typed, left out: '{name[:60]}'", "turn the letters into outlines"
            yield Finding(Code.LIVE_TEXT, Severity.ERROR, f"{message} ({place})", mend, at_mm=at)
        else:
            message, mend = _EFFECTS.get(name, (f"{name} is not understood and left out", "draw it with plain fills"))
            yield Finding(Code.UNREAD, Severity.WARNING, f"{message} ({place})", mend, at_mm=at)


_EFFECTS = {
    "opacity": ("see-through paint is taken as the colour it makes with what lies below", "use solid colours"),
    "gradient": ("a gradient is taken as its mean colour", "use flat colours"),
    "filter": ("a filter is left out, the shape taken plain", "draw the effect as shapes"),
    "mask": ("a mask is left out, the shape taken whole", "cut the shape with a clip path"),
    "marker": ("markers are left out", "draw them as shapes"),
    "pattern": ("a pattern is left out", "use flat colours"),
    "embedded picture": ("an embedded picture is left out", "trace it by itself first"),
}


def _unread(what: str) -> Finding:
    return Finding(Code.UNREAD, Severity.WARNING, what, "outline the stroke in the drawing program")
