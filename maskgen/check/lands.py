"""What vinyl may not be able to do: lands that tear, openings nothing reaches, pieces too small or loose."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from maskgen.geometry.polygons import polygonal, to_polygon
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.job import Carrier, Part, Resist
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, Point
from maskgen.shape.face import face_piece
from maskgen.shape.widths import NarrowPlace, narrow_places


def mask_findings(masks: Sequence[Mask], *, resist: Resist, part: Part) -> tuple[Finding, ...]:
    """Judge the vinyl of every mask: thin lands, narrow gaps on the face, small pieces, loose islands."""
    face = to_polygon(face_piece(part))
    return tuple(f for mask in masks for f in area_findings(mask.area, resist=resist, mask=mask.number, window=face))


def area_findings(
    area: Area, *, resist: Resist, mask: str | None = None, window: BaseGeometry | None = None
) -> tuple[Finding, ...]:
    """Judge the pieces of one mask or cut file.

    Parameters
    ----------
    area
        The vinyl; pieces are numbered from 1 in its order.
    resist
        The limits, and the carrier.
    mask
        Its number, for the findings.
    window
        Openings count only where their narrowest spot lies in here.
    """
    return polygon_findings([to_polygon(piece) for piece in area.pieces], resist=resist, mask=mask, window=window)


def polygon_findings(
    polygons: Sequence[Polygon], *, resist: Resist, mask: str | None = None, window: BaseGeometry | None = None
) -> tuple[Finding, ...]:
    """Judge pieces given as polygons; else as `area_findings`."""
    vinyl = shapely.MultiPolygon(polygons) if polygons else shapely.MultiPolygon()
    vinyl = vinyl if vinyl.is_valid else polygonal(shapely.make_valid(vinyl))
    lands = narrow_places(vinyl, resist.min_land_mm)
    gaps = narrow_places(vinyl, resist.min_gap_mm, openings=True, window=window)
    return (
        *(_land(place, piece, mask, resist) for place, piece in zip(lands, _pieces_at(polygons, lands), strict=True)),
        *(_gap(place, piece, mask, resist) for place, piece in zip(gaps, _pieces_at(polygons, gaps), strict=True)),
        *_small_pieces(polygons, mask, resist),
        *_loose_islands(polygons, mask, resist),
    )


def _pieces_at(polygons: Sequence[Polygon], places: Sequence[NarrowPlace]) -> list[int]:
    """Give the numbers of the pieces whose outlines are the walls."""
    if not places:
        return []
    tree = shapely.STRtree([polygon.boundary for polygon in polygons])
    numbers: list[int] = (1 + tree.nearest(shapely.points([place.walls[0] for place in places]))).tolist()
    return numbers


def _spot(at: Point) -> str:
    return f"at {at[0]:.1f}, {at[1]:.1f} mm"


def _prefix(mask: str | None) -> str:
    return f"{mask}: " if mask else ""


def _rounded(at: Point) -> Point:
    return (round(at[0], 4), round(at[1], 4))


def _land(place: NarrowPlace, piece: int, mask: str | None, resist: Resist) -> Finding:
    along = f" along {place.length_mm:.1f} mm" if place.length_mm >= 0.1 else ""
    return Finding(
        Code.THIN_LAND,
        Severity.WARNING,
        f"{_prefix(mask)}vinyl only {place.width_mm:.2f} mm wide{along} {_spot(place.at)}; "
        f"under {resist.min_land_mm:g} mm it tears in weeding or lifts in the baths",
        "make the artwork larger, or thicken this place in it",
        _rounded(place.at),
        mask,
        piece,
        round(place.width_mm, 4),
        resist.min_land_mm,
    )


def _gap(place: NarrowPlace, piece: int, mask: str | None, resist: Resist) -> Finding:
    along = f" along {place.length_mm:.1f} mm" if place.length_mm >= 0.1 else ""
    return Finding(
        Code.NARROW_GAP,
        Severity.WARNING,
        f"{_prefix(mask)}opening only {place.width_mm:.2f} mm wide{along} {_spot(place.at)}; "
        f"under {resist.min_gap_mm:g} mm dye and bleach may not reach into it",
        "make the artwork larger, or widen this place in it",
        _rounded(place.at),
        mask,
        piece,
        round(place.width_mm, 4),
        resist.min_gap_mm,
    )


def _small_pieces(polygons: Sequence[Polygon], mask: str | None, resist: Resist) -> list[Finding]:
    found = []
    for number, polygon in enumerate(polygons, 1):
        if polygon.area >= resist.min_piece_mm2 - 1e-6:
            continue
        at = _inside(polygon)
        found.append(
            Finding(
                Code.SMALL_PIECE,
                Severity.WARNING,
                f"{_prefix(mask)}piece of {polygon.area:.2f} mm² {_spot(at)}; under {resist.min_piece_mm2:g} mm² it is "
                "lost in weeding",
                "make the artwork larger, or have islands dropped, grown or bridged",
                at,
                mask,
                number,
                round(polygon.area, 4),
                resist.min_piece_mm2,
            )
        )
    return found


def _loose_islands(polygons: Sequence[Polygon], mask: str | None, resist: Resist) -> list[Finding]:
    """Tell every piece that lies inside a hole of another."""
    found = []
    for number in islands_in_holes(polygons):
        polygon = polygons[number - 1]
        at = _inside(polygon)
        says, mend = _support(polygon.area, resist)
        found.append(
            Finding(
                Code.LOOSE_ISLAND,
                Severity.ERROR if resist.carrier is Carrier.STENCIL else Severity.WARNING,
                f"{_prefix(mask)}piece of {polygon.area:.1f} mm² {_spot(at)} is free inside a hole of another; {says}",
                mend,
                at,
                mask,
                number,
                round(polygon.area, 4),
                resist.min_piece_mm2,
            )
        )
    return found


def islands_in_holes(polygons: Sequence[Polygon]) -> list[int]:
    """Give the numbers, from 1, of the polygons that lie inside a hole of another."""
    holes = [Polygon(ring) for polygon in polygons for ring in polygon.interiors]
    if not holes:
        return []
    spots = shapely.point_on_surface(np.array(polygons))
    inside, _ = shapely.STRtree(np.array(holes)).query(spots, predicate="within")
    # A hole with a piece in it lies itself in the filled outline of its own piece, never the other way round.
    return sorted({int(k) + 1 for k in inside})


def _support(area_mm2: float, resist: Resist) -> tuple[str, str]:
    """Say what holds an island under this carrier, and what to do."""
    if resist.carrier is Carrier.STENCIL:
        return "a stencil cannot hold it", "have it bridged, or use transfer tape"
    if resist.carrier is Carrier.LOOSE:
        return "it has to be placed by hand", "place it against the drawing, or use transfer tape"
    if area_mm2 >= resist.min_piece_mm2:
        return "transfer tape holds it in register", "move this mask with transfer tape, in one go"
    return "it is too small even for transfer tape to hold surely", "have islands dropped, grown or bridged"


def _inside(polygon: Polygon) -> Point:
    point = polygon.representative_point()
    return _rounded((float(point.x), float(point.y)))
