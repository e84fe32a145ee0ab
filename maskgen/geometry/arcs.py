"""Rings as straight runs and circular arcs, for machines and formats that know arcs but no cubics.

A vertex carries the bulge of the run that leaves it: the tangent of a quarter of the arc's included angle, 0 for a
straight run, 1 for a half circle (LWPOLYLINE group code 42 of the DXF reference). Here, with y down, a bulge is
positive when the arc turns towards +y from +x, that is clockwise as seen, as an outer ring runs; the bulge of a
drawing flipped to y up has the opposite sign.

A cubic becomes biarcs: two arcs with a common tangent, tangent to the cubic at both ends; cut in half where that is
not near enough. Arcs of one circle that follow each other are joined again, so that a circle comes out as two arcs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from maskgen.geometry.cubics import Floats, Places, bezier, dot
from maskgen.model.paths import Line, Point, Points, Ring, Segment

CHECKS = 17
"""Places at which a cubic is compared with its arcs."""
MOST_HALVINGS = 10
STRAIGHT_SHARE = 0.05
"""An arc that rises less than this share of the tolerance over its chord is written as straight."""
MOST_MEANT, MEANT_SHARE = np.radians(95.0), 3e-3
"""A symmetrical cubic of up to a quarter circle whose handles are an arc's within this share is taken for the arc."""
JOIN_SHARE = 0.4
"""Share of the tolerance that joining arcs of one circle may add."""
MOST_ANGLE = np.pi * 1.0001
"""Joined arcs stay within a half circle: larger bulges lose precision."""


@dataclass(frozen=True, slots=True)
class Arc:
    """A run from start to end; `bulge` is 0 when straight."""

    start: Point
    end: Point
    bulge: float


def as_arcs(ring: Ring, *, tolerance: float) -> tuple[Arc, ...]:
    """Turn a ring into straight runs and arcs.

    Parameters
    ----------
    ring
        Lines and cubics; each arc starts exactly where the one before ends, the last ends at the first's start.
    tolerance
        Largest distance of the arcs from the ring.

    Returns
    -------
    tuple of Arc
        In the order of the ring. A full circle within tolerance is two arcs.
    """
    found: list[Arc] = []
    for segment in ring.segments:
        found += _arcs_of(segment, (1 - JOIN_SHARE) * tolerance)
    return _joined(found, JOIN_SHARE * tolerance)


def arc_points(arc: Arc, count: int) -> Points:
    """Places along an arc, (count, 2), both ends included; for checking and drawing."""
    start, end = complex(*arc.start), complex(*arc.end)
    share = np.linspace(0.0, 1.0, count)
    if arc.bulge == 0.0:
        places = start + share * (end - start)
    else:
        middle, sweep = _centre(arc)
        places = middle + (start - middle) * np.exp(1j * sweep * share)
    return np.column_stack([places.real, places.imag])


def _centre(arc: Arc) -> tuple[complex, float]:
    """Centre and signed included angle (positive towards +y from +x)."""
    start, chord = complex(*arc.start), complex(*arc.end) - complex(*arc.start)
    sweep = 4 * float(np.arctan(arc.bulge))
    # Seen from the chord's middle the centre lies at half the chord over tan(half the angle), to the turning side.
    return start + chord / 2 + 1j * chord * (1 - arc.bulge**2) / (4 * arc.bulge), sweep


def _arcs_of(segment: Segment, tolerance: float) -> list[Arc]:
    if isinstance(segment, Line):
        return [Arc(segment.start, segment.end, 0.0)] if segment.start != segment.end else []
    control = np.array([complex(*p) for p in (segment.start, segment.control1, segment.control2, segment.end)])
    points = _biarcs(control, tolerance, MOST_HALVINGS)
    places = [segment.start, *((p.real, p.imag) for p, _ in points[:-1]), segment.end]
    return [Arc(a, b, bulge) for a, b, (_, bulge) in zip(places[:-1], places[1:], points, strict=True) if a != b]


def _biarcs(control: Places, tolerance: float, halvings: int) -> list[tuple[complex, float]]:
    """End place and bulge of each arc along a cubic."""
    p0, p1, p2, p3 = (complex(p) for p in control)
    chord = p3 - p0
    if abs(chord) < 1e-12 and max(abs(p1 - p0), abs(p2 - p0)) < 1e-9:
        return [(p3, 0.0)]
    start = _direction(p1 - p0, p2 - p0, chord)
    end = _direction(p3 - p2, p3 - p1, chord)
    rise = max(abs((start.conjugate() * chord).imag), abs((end.conjugate() * chord).imag))
    flat = abs(chord) > 0 and max(abs((d * chord.conjugate()).imag) for d in (p1 - p0, p2 - p0)) / abs(chord)
    if flat is not False and flat < STRAIGHT_SHARE * tolerance and rise < 4 * tolerance:
        return [(p3, 0.0)]
    meant = _meant_as_arc((p0, p1, p2, p3), start, end)
    if meant is not None:
        return [(p3, meant)]
    pair = _biarc(p0, start, p3, end)
    if pair is not None and (halvings == 0 or _near(control, p0, pair, tolerance)):
        return pair
    if halvings == 0:
        return [(p3, 0.0)]
    a, b, c = (p0 + p1) / 2, (p1 + p2) / 2, (p2 + p3) / 2
    d, e = (a + b) / 2, (b + c) / 2
    middle = (d + e) / 2
    first = _biarcs(np.array([p0, a, d, middle]), tolerance, halvings - 1)
    return first + _biarcs(np.array([middle, e, c, p3]), tolerance, halvings - 1)


def _meant_as_arc(control: tuple[complex, ...], start: complex, end: complex) -> float | None:
    """Bulge where a cubic is the usual stand-in for an arc (handles 4/3 tan(a/4) r), which is off it by 3e-4 of r."""
    p0, p1, p2, p3 = control
    sweep = float(np.angle(end * start.conjugate()))
    if not 0.01 < abs(sweep) < MOST_MEANT or abs(_bulge(start, p3 - p0) - np.tan(sweep / 4)) > MEANT_SHARE:
        return None
    handle = 2 / 3 * np.tan(abs(sweep) / 4) / np.sin(abs(sweep) / 2) * abs(p3 - p0)
    off = max(abs(abs(p1 - p0) - handle), abs(abs(p3 - p2) - handle))
    return float(np.tan(sweep / 4)) if off < MEANT_SHARE * handle else None


def _direction(*choices: complex) -> complex:
    largest = max(abs(c) for c in choices)
    return next((c / abs(c) for c in choices if abs(c) > 1e-9 * largest and abs(c) > 0), 1.0 + 0j)


def _biarc(p0: complex, t0: complex, p3: complex, t3: complex) -> list[tuple[complex, float]] | None:
    """Two arcs tangent to t0 at p0 and to t3 at p3, with equal tangent lengths; None where there are none."""
    v = p3 - p0
    t = t0 + t3
    vt = (v * t.conjugate()).real
    a = 2 * (1 - (t0 * t3.conjugate()).real)
    vv = abs(v) ** 2
    if a < 1e-12:
        along = (v * t0.conjugate()).real
        if along <= 0:
            return None
        length = vv / (4 * along)
    else:
        length = (-vt + float(np.sqrt(vt * vt + a * vv))) / a
    if not 0 < length < 100 * abs(v):
        return None
    joint = (p0 + length * t0 + p3 - length * t3) / 2
    return [(joint, _bulge(t0, joint - p0)), (p3, -_bulge(-t3, joint - p3))]


def _bulge(tangent: complex, chord: complex) -> float:
    """Bulge of the arc that leaves along `tangent` and ends at `chord`: half its angle lies between them."""
    if abs(chord) == 0:
        return 0.0
    return float(np.tan(np.angle(chord * tangent.conjugate()) / 2))


def _near(control: Places, start: complex, pair: list[tuple[complex, float]], tolerance: float) -> bool:
    """Whether places of the cubic lie within the tolerance of the two arcs, each in the arc's own sector."""
    (joint, first), (end, second) = pair
    if max(abs(first), abs(second)) > 1.0:
        return False
    places = bezier(control[None], np.linspace(0.0, 1.0, CHECKS)[None])[0]
    # The line through the joint across both arcs tells which place belongs to which.
    across = (joint - start) * np.exp(2j * np.arctan(first)) if joint != start else end - joint
    beyond = dot(places - joint, np.full(places.shape, across)) > 0
    off_first = _off(places, start, joint, first)
    off_second = _off(places, joint, end, second)
    return bool(np.where(beyond, off_second, off_first).max() <= tolerance)


def _off(places: Places, start: complex, end: complex, bulge: float) -> Floats:
    chord = end - start
    if abs(chord) == 0:
        return np.asarray(np.abs(places - start))
    if abs(bulge) < 1e-9:
        return np.asarray(np.abs(((places - start) * np.conj(chord)).imag) / abs(chord))
    middle = start + chord / 2 + 1j * chord * (1 - bulge**2) / (4 * bulge)
    return np.asarray(np.abs(np.abs(places - middle) - abs(start - middle)))


def _joined(arcs: Sequence[Arc], tolerance: float) -> tuple[Arc, ...]:
    """Join neighbours that lie on one circle."""
    if len(arcs) < 3:
        return tuple(arcs)
    circle = _whole_circle(arcs, tolerance)
    if circle is not None:
        return circle
    # Begin where two neighbours do not join, so that no joinable pair is split by the ring's start.
    begin = next((k for k in range(len(arcs)) if _join([arcs[k - 1], arcs[k]], tolerance) is None), 0)
    ordered = [*arcs[begin:], *arcs[:begin]]
    result: list[Arc] = []
    group = [ordered[0]]
    whole = ordered[0]
    for arc in ordered[1:]:
        wider = _join([*group, arc], tolerance)
        if wider is None:
            result.append(whole)
            group, whole = [arc], arc
        else:
            group.append(arc)
            whole = wider
    result.append(whole)
    return tuple(result)


def _whole_circle(arcs: Sequence[Arc], tolerance: float) -> tuple[Arc, Arc] | None:
    """Two half circles, where all arcs lie on one circle and go round it once."""
    sweep = sum(4 * float(np.arctan(a.bulge)) for a in arcs)
    if abs(abs(sweep) - 2 * np.pi) > 0.01 or any(a.bulge * sweep <= 0 for a in arcs):
        return None
    points = np.vstack([arc_points(a, 7)[:-1] for a in arcs])
    places = points[:, 0] + 1j * points[:, 1]
    # Algebraic circle: |z|^2 = 2 Re(conj(m) z) + c.
    rows = np.column_stack([2 * points, np.ones(len(points))])
    x, y, c = np.linalg.lstsq(rows, np.abs(places) ** 2, rcond=None)[0]
    middle, radius = complex(x, y), float(np.sqrt(c + x * x + y * y))
    if np.abs(np.abs(places - middle) - radius).max() > tolerance:
        return None
    out = (places[0] - middle) / abs(places[0] - middle) * radius
    ends = [(float(p.real), float(p.imag)) for p in (middle + out, middle - out)]
    turn = float(np.sign(sweep))
    return Arc(ends[0], ends[1], turn), Arc(ends[1], ends[0], turn)


def _join(group: list[Arc], tolerance: float) -> Arc | None:
    """One arc in place of several, through their outer ends and the middle of their length, if all lie on it."""
    if any(a.bulge * group[0].bulge <= 0 for a in group):
        return None
    sweep = sum(4 * float(np.arctan(a.bulge)) for a in group)
    if abs(sweep) > MOST_ANGLE:
        return None
    whole = Arc(group[0].start, group[-1].end, float(np.tan(sweep / 4)))
    middle, _ = _centre(whole)
    radius = abs(complex(*whole.start) - middle)
    for arc in group:
        points = arc_points(arc, 5)
        away = np.hypot(points[:, 0] - middle.real, points[:, 1] - middle.imag)
        if np.abs(away - radius).max() > tolerance:
            return None
    return whole
