"""The artwork on the part: moved to its size and place, cut at the edge of the developed face, the rest ground.

What runs over a tube's seam goes on at the other side; over the edge of a plate or disc, or over the ends of a tube,
it is cut off and told.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.errors import InputError
from maskgen.geometry.arrangement import arrange, assemble, find_faces
from maskgen.geometry.polygons import to_multipolygon, to_polygon
from maskgen.geometry.segments import circle
from maskgen.model.artwork import CLEAR
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.job import Hole, Part, Shape
from maskgen.model.paths import Area, Partition, Piece, Point, Region, affine, bounds, rectangle

GROUND = "ground"
GROUND_COLOUR = "#c9cccf"
"""Sealed bare oxide as the example shelf has it; whoever knows the job's ground paints it over."""

TOLERANCE_MM = 0.002
"""Twice the chord error: nothing nearer than this counts as over an edge or inside a margin."""


@dataclass(frozen=True, slots=True)
class Placed:
    """The artwork on the face: regions in mm that cover the face once, mm per artwork unit, the artwork's top left."""

    partition: Partition
    scale: float
    at_mm: Point
    findings: tuple[Finding, ...] = ()


def place_artwork(
    artwork: Partition,
    *,
    part: Part,
    width_mm: float | None,
    height_mm: float | None = None,
    at_mm: Point | None = None,
    holes: Sequence[Hole] = (),
    ground_key: str = GROUND,
    ground_colour: str = GROUND_COLOUR,
) -> Placed:
    """Put the artwork on the part's developed face.

    Its proportions stay: with a width and a height it becomes as large as both allow, with neither as large as the
    keepout allows (on a tube: half way round). Without a place it is centred. What is clear in it, and the region
    `ground_key` if it has one, joins the ground, the last region, which is absent where nothing is left for it.
    Only what is not ground counts for the edge, the keepout and the holes.

    Raises
    ------
    InputError
        For a size that is no size, artwork wider than a tube's circumference, or artwork wholly off the face.
    """
    scale = _scale(artwork, part, width_mm, height_mm)
    size = artwork.width * scale, artwork.height * scale
    face_width, face_height = part.face_mm
    at = at_mm or ((face_width - size[0]) / 2, (face_height - size[1]) / 2)
    if part.shape is Shape.TUBE and size[0] > face_width + 1e-9:
        raise InputError(
            f"the artwork is {size[0]:.2f} mm wide, the tube measures {face_width:.2f} mm round",
            where="artwork width",
            mend=f"make it {face_width:.1f} mm or less",
        )
    drawn: list[Region] = []
    ground: list[Region] = []
    for region in artwork.regions:
        laid = Region(region.key, region.name, region.colour, region.area.mapped(affine(scale, at)))
        apart = region.colour == CLEAR or region.key == ground_key
        (ground if apart else drawn).append(laid)
    round_findings = _round_findings(drawn, part)
    if part.shape is Shape.TUBE:
        drawn, ground = _turned(drawn, at[0], size[0], part), _turned(ground, at[0], size[0], part)
    partition = _cut(drawn, ground, part, ground_key, ground_colour)
    if drawn and not any(region.key != ground_key for region in partition.regions):
        raise InputError(
            f"all of the artwork lies beside the part's face of {face_width:.1f} x {face_height:.1f} mm",
            where=f"artwork at {at[0]:.1f}, {at[1]:.1f} mm",
            mend="give a place on the face, or none to have it centred",
        )
    return Placed(partition, scale, at, (*_findings(drawn, part, holes), *round_findings))


def face_piece(part: Part) -> Piece:
    """Give the outline of the developed face."""
    width, height = part.face_mm
    if part.shape is Shape.DISC:
        return Piece(circle((width / 2, height / 2), width))
    return rectangle(0.0, 0.0, width, height)


def _scale(artwork: Partition, part: Part, width_mm: float | None, height_mm: float | None) -> float:
    for name, value in (("artwork width", width_mm), ("artwork height", height_mm), *_sizes(part)):
        if value is not None and not (math.isfinite(value) and value > 0):
            raise InputError(f"{value:g} mm is no size", where=name, mend="give a length above 0 mm")
    if not (artwork.width > 0 and artwork.height > 0):
        raise InputError("the artwork has no size", where="artwork", mend="give a picture with at least one pixel")
    stated = [s / a for s, a in ((width_mm, artwork.width), (height_mm, artwork.height)) if s is not None]
    return min(stated) if stated else _largest(artwork, part)


def _sizes(part: Part) -> list[tuple[str, float | None]]:
    names = {
        Shape.PLATE: ("width_mm", "height_mm"),
        Shape.TUBE: ("diameter_mm", "length_mm"),
        Shape.DISC: ("diameter_mm",),
    }
    return [(f"part {name}", getattr(part, name)) for name in names[part.shape]]


def _largest(artwork: Partition, part: Part) -> float:
    """Give the scale at which the artwork just keeps out of the margin."""
    width, height = part.face_mm
    inner = width - 2 * part.keepout_mm, height - 2 * part.keepout_mm
    if min(inner) <= 0:
        raise InputError(
            f"a keepout of {part.keepout_mm:g} mm leaves nothing of the face of {width:.1f} x {height:.1f} mm",
            where="part keepout_mm",
            mend="give a smaller keepout or the artwork's width",
        )
    if part.shape is Shape.DISC:
        return inner[0] / math.hypot(artwork.width, artwork.height)
    across = width / 2 if part.shape is Shape.TUBE else inner[0]
    return min(across / artwork.width, inner[1] / artwork.height)


def _turned(regions: list[Region], left: float, width: float, part: Part) -> list[Region]:
    """Bring a tube's regions to its first turn; what runs over the seam is there once more, a turn earlier."""
    round_mm = part.face_mm[0]
    first = -(left // round_mm) * round_mm
    turns = [first, first - round_mm] if left + first + width > round_mm else [first]
    return [
        Region(
            r.key, r.name, r.colour, Area(tuple(p.mapped(affine(1.0, (t, 0.0))) for t in turns for p in r.area.pieces))
        )
        for r in regions
    ]


def _cut(drawn: list[Region], ground: list[Region], part: Part, ground_key: str, ground_colour: str) -> Partition:
    width, height = part.face_mm
    face = face_piece(part)
    outlines = [*face.rings, *(ring for region in (*drawn, *ground) for ring in region.area.rings)]
    arrangement = arrange(segment for ring in outlines for segment in ring.segments)
    on_face = find_faces(arrangement, [to_polygon(face)]) == 0
    owner = find_faces(arrangement, [to_multipolygon(region.area) for region in drawn])
    names = [*(region.key for region in drawn), ground_key]  # -1, found in none, is the last
    labels = [names[k] if on else None for k, on in zip(owner.tolist(), on_face.tolist(), strict=True)]
    areas = assemble(arrangement, labels)
    own = [region for region in ground if region.key == ground_key]
    base = own[0] if own else Region(ground_key, ground_key, ground_colour, Area())
    regions = [
        Region(region.key, region.name, region.colour, areas[region.key])
        for region in (*drawn, base)
        if areas.get(region.key, Area()).pieces
    ]
    return Partition(width, height, tuple(regions))


def _findings(drawn: list[Region], part: Part, holes: Sequence[Hole]) -> tuple[Finding, ...]:
    shapes = [(region, to_multipolygon(region.area)) for region in drawn]
    found: list[Finding] = []
    for region, shape in shapes:
        if not shape.is_empty:
            found.extend(_edge_findings(region, shape, part))
    for hole in holes:
        found.extend(_hole_finding(hole, shapes, part))
    return tuple(found)


def _called(region: Region) -> str:
    return region.name or f"{region.key} ({region.colour})"


def bounded(part: Part, inset_mm: float) -> Polygon:
    """Give the face less a margin; a tube has no edge along its seam, so there it goes on."""
    width, height = part.face_mm
    if part.shape is Shape.DISC:
        inner = circle((width / 2, width / 2), width - 2 * inset_mm)
        return Polygon() if 2 * inset_mm >= width else to_polygon(Piece(inner))
    aside = width if part.shape is Shape.TUBE else -inset_mm
    if 2 * inset_mm >= height or (aside < 0 and 2 * inset_mm >= width):
        return Polygon()
    return shapely.box(-aside, inset_mm, width + aside, height - inset_mm)


def _edge_findings(region: Region, shape: MultiPolygon, part: Part) -> Iterator[Finding]:
    """Tell of every stretch that runs over the edge, and of every other one inside the keepout."""
    over = []
    for beyond in _outside(shape, bounded(part, 0.0)):
        over_mm, at = _reach(beyond, bounded(part, 0.0))
        if over_mm > TOLERANCE_MM:
            over.append(beyond)
            yield Finding(
                Code.OFF_PART,
                Severity.ERROR,
                f"{_called(region)} runs {over_mm:.2f} mm over the part's edge at {at[0]:.1f}, {at[1]:.1f} mm",
                "make the artwork smaller or move it onto the part; what runs over is cut off",
                at,
                value=round(over_mm, 4),
                limit=0.0,
            )
    for beyond in _outside(shape, bounded(part, part.keepout_mm)):
        inside_mm, at = _reach(beyond, bounded(part, part.keepout_mm))
        if inside_mm <= TOLERANCE_MM or any(beyond.intersects(told) for told in over):
            continue
        clear_mm = max(0.0, part.keepout_mm - inside_mm)
        yield Finding(
            Code.OFF_PART,
            Severity.WARNING,
            f"{_called(region)} comes within {clear_mm:.2f} mm of the part's edge at {at[0]:.1f}, {at[1]:.1f} mm; "
            f"the keepout is {part.keepout_mm:g} mm",
            "make the artwork smaller, move it, or state a smaller keepout",
            at,
            value=round(clear_mm, 4),
            limit=part.keepout_mm,
        )


def _outside(shape: MultiPolygon, allowed: Polygon) -> list[BaseGeometry]:
    """Give the separate stretches of a shape that lie outside; one round a corner is one."""
    return [part for part in shapely.get_parts(shape.difference(allowed)) if part.area > 0.0]


def _reach(shape: BaseGeometry, allowed: Polygon) -> tuple[float, Point]:
    """Tell how far a shape reaches out of a convex polygon, and where it does most."""
    points = shapely.points(shapely.get_coordinates(shape))
    if allowed.is_empty:
        return math.inf, (float(points[0].x), float(points[0].y))
    away = shapely.distance(points, allowed)
    most = int(away.argmax())
    return float(away[most]), (round(float(points[most].x), 6), round(float(points[most].y), 6))


def _hole_finding(hole: Hole, shapes: Sequence[tuple[Region, BaseGeometry]], part: Part) -> list[Finding]:
    disc = to_polygon(Piece(circle(hole.at_mm, hole.diameter_mm)))
    if not disc.intersects(bounded(part, 0.0)):
        x, y = hole.at_mm
        where = f"the {hole.diameter_mm:g} mm hole at {x:.1f}, {y:.1f} mm lies off the part"
        return [Finding(Code.OFF_PART, Severity.WARNING, where, "state its place from the top left corner", hole.at_mm)]
    least = TOLERANCE_MM * hole.diameter_mm
    over = [_called(region) for region, shape in shapes if shape.intersection(disc).area > least]
    if not over:
        return []
    x, y = hole.at_mm
    return [
        Finding(
            Code.OFF_PART,
            Severity.WARNING,
            f"{', '.join(over)} would lie over the {hole.diameter_mm:g} mm hole at {x:.1f}, {y:.1f} mm",
            "move the artwork, or accept that the hole takes a bite out of it",
            hole.at_mm,
        )
    ]


def _round_findings(drawn: list[Region], part: Part) -> tuple[Finding, ...]:
    """Tell when no view of a tube shows all of the artwork: it goes more than half way round."""
    extents = [bounds(region.area) for region in drawn if region.area.pieces]
    if part.shape is not Shape.TUBE or not extents:
        return ()
    left, top = min(e[0] for e in extents), min(e[1] for e in extents)
    right, bottom = max(e[2] for e in extents), max(e[3] for e in extents)
    round_mm = part.face_mm[0]
    if right - left <= round_mm / 2 + TOLERANCE_MM:
        return ()
    return (
        Finding(
            Code.OFF_PART,
            Severity.WARNING,
            f"the artwork goes {right - left:.1f} mm round a tube of {round_mm:.1f} mm: its ends are not seen at once",
            f"make it {round_mm / 2:.1f} mm wide or less if it has to be seen whole",
            (round((left + right) / 2 % round_mm, 6), round((top + bottom) / 2, 6)),
            value=round(right - left, 4),
            limit=round(round_mm / 2, 4),
        ),
    )
