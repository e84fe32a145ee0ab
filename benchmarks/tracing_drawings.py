"""Drawings not made by us: openly licensed pictograms from an npm package, and words in fonts from PyPI.

They are fetched through npm and pip into `build/` when the benchmark runs, and never become part of the project.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely
import svgelements
from fontTools.pens.svgPathPen import SVGPathPen
from fontTools.ttLib import TTFont
from shapely.geometry.base import BaseGeometry

from benchmarks.tracing_truth import Paint, Truth, flatten_paints

BUILD = Path(__file__).resolve().parent.parent / "build" / "bench"
PICTOGRAMS = "openmoji@15.1.0"
FONTS = ("fjalla-one", "acme", "lobster", "arvo", "questrial", "rubik", "playfair-display", "titan-one")
WORDS = ("Larkmoor", "Sky 1974", "Quartz", "Beacon", "Zephyr &", "Kingfish", "Wxyz 83", "Moths 56")
CHORD = 2e-4
"""Chord error of the truth in units of a 72 unit canvas: 0.0007 px at 256 px."""
UNSUPPORTED = re.compile(r"gradient|opacity|<use|clip-path|<mask|filter|dasharray|<image|<text|style=|<style")


@dataclass(frozen=True, eq=False)
class Drawing:
    """A drawing to render and its true partition, in a square canvas of `truth.size` units."""

    name: str
    svg: str
    truth: Truth


def pictograms(count: int, *, held_out: bool) -> Iterator[Drawing]:
    """Give flat colour drawings; the held out ones are never among the others."""
    folder = BUILD / "package" / "color" / "svg"
    if not folder.is_dir():
        BUILD.mkdir(parents=True, exist_ok=True)
        packed = subprocess.run(
            ["npm", "pack", "--json", PICTOGRAMS], cwd=BUILD, check=True, capture_output=True, text=True
        )
        subprocess.run(["tar", "xzf", json.loads(packed.stdout)[0]["filename"]], cwd=BUILD, check=True)
    names = sorted(p for p in folder.glob("*.svg") if len(p.stem) <= 5)
    order = np.random.default_rng(7).permutation(len(names))
    found = 0
    for place in order[held_out::2]:
        drawing = _pictogram(names[place])
        if drawing is not None:
            yield drawing
            found += 1
        if found == count:
            return


def _pictogram(path: Path) -> Drawing | None:
    text = path.read_text()
    if UNSUPPORTED.search(text):
        return None
    ground = "#ffffff"
    try:
        paints = list(_paints(svgelements.SVG.parse(str(path), reify=True)))
        truth = flatten_paints(paints, size=72.0, ground=ground)
    except (ValueError, shapely.errors.GEOSException, ZeroDivisionError):
        return None
    if len(truth.areas) < 3:
        return None
    svg = re.sub(r"(<svg[^>]*>)", rf'\1<rect width="72" height="72" fill="{ground}"/>', text, count=1)
    return Drawing(path.stem, svg, truth)


def _paints(svg: svgelements.SVG) -> Iterator[Paint]:
    for element in svg.elements():
        if not isinstance(element, svgelements.Shape):
            continue
        path = svgelements.Path(element)
        if not len(path):
            continue
        values = element.values
        lines = [_polyline(s) for s in path.as_subpaths()]
        if element.fill.value is not None:
            rings = [line for line, _, _ in lines if len(line) > 2]
            rule = values.get("fill-rule", "nonzero")
            nodes = [joints for _, joints, _ in lines]
            yield Paint(_filled(rings, rule), element.fill.hexrgb, np.vstack(nodes))
        if element.stroke.value is not None and element.stroke_width:
            yield from _strokes(lines, element)


def _polyline(subpath: svgelements.Subpath) -> tuple[np.ndarray, np.ndarray, bool]:
    """Give the points, the joints and whether the subpath is closed."""
    points: list[np.ndarray] = []
    joints: list[complex] = []
    closed = False
    for segment in svgelements.Path(subpath):
        if isinstance(segment, svgelements.Move):
            points.append(np.array([[segment.end.x, segment.end.y]]))
            joints.append(complex(segment.end.x, segment.end.y))
            continue
        closed |= isinstance(segment, svgelements.Close)
        if segment.end is None or segment.start is None:
            continue
        curves = segment.as_cubic_curves() if isinstance(segment, svgelements.Arc) else (segment,)
        for curve in curves:
            count = _chords(curve)
            t = np.linspace(0, 1, count + 1)[1:]
            points.append(np.array([[p.x, p.y] for p in (curve.point(v) for v in t)]))
            if abs(complex(curve.end.x, curve.end.y) - joints[-1]) > 1e-6:
                joints.append(complex(curve.end.x, curve.end.y))
    line = np.vstack(points)
    keep = np.concatenate([[True], np.hypot(*np.diff(line, axis=0).T) > 1e-9])
    nodes = np.array([[j.real, j.imag] for j in joints])
    return line[keep], nodes, closed


def _chords(curve: object) -> int:
    control = [getattr(curve, n, None) for n in ("start", "control", "control1", "control2", "end")]
    p = np.array([[c.x, c.y] for c in control if c is not None])
    if len(p) < 3:
        return 1
    bend = np.max(np.hypot(*(p[:-2] - 2 * p[1:-1] + p[2:]).T))
    return max(1, int(np.ceil(np.sqrt(0.75 * bend / CHORD))))


def _filled(rings: list[np.ndarray], rule: str) -> BaseGeometry:
    if rule == "evenodd":
        area: BaseGeometry = shapely.Polygon()
        for ring in rings:
            area = shapely.symmetric_difference(area, shapely.make_valid(shapely.Polygon(ring)))
        return area
    return _nonzero(rings)


def _nonzero(rings: list[np.ndarray]) -> BaseGeometry:
    lines = [shapely.LineString(np.vstack([r, r[:1]])) for r in rings]
    faces = shapely.polygonize([shapely.union_all(lines)])
    kept = []
    for face in shapely.get_parts(faces):
        p = shapely.point_on_surface(face)
        if sum(_winding(r, p.x, p.y) for r in rings) != 0:
            kept.append(face)
    return shapely.union_all(kept)


def _winding(ring: np.ndarray, x: float, y: float) -> int:
    a, b = ring, np.roll(ring, -1, axis=0)
    side = (b[:, 0] - a[:, 0]) * (y - a[:, 1]) - (b[:, 1] - a[:, 1]) * (x - a[:, 0])
    up, down = (a[:, 1] <= y) & (b[:, 1] > y), (a[:, 1] > y) & (b[:, 1] <= y)
    return int(np.sum(up & (side > 0)) - np.sum(down & (side < 0)))


def _strokes(lines: list[tuple[np.ndarray, np.ndarray, bool]], element: svgelements.Shape) -> Iterator[Paint]:
    half = element.stroke_width / 2
    values = element.values
    join = values.get("stroke-linejoin", "miter")
    cap = {"butt": "flat"}.get(values.get("stroke-linecap", "butt"), values.get("stroke-linecap", "butt"))
    limit = float(values.get("stroke-miterlimit", 4))
    quarter = max(8, int(np.ceil(np.pi / 4 / np.arccos(1 - min(1.0, CHORD / half)))))
    for line, joints, closed in lines:
        if len(line) < 2:
            if cap == "round" and len(line):
                yield Paint(shapely.Point(line[0]).buffer(half, quad_segs=quarter), element.stroke.hexrgb, line[:0])
            continue
        path: BaseGeometry = shapely.LinearRing(line) if closed and len(line) > 2 else shapely.LineString(line)
        joined = {"miter": "mitre"}.get(join, join)
        polygon = path.buffer(half, quad_segs=quarter, cap_style=cap, join_style=joined, mitre_limit=limit)
        yield Paint(polygon, element.stroke.hexrgb, _side_nodes(line, joints, closed, half))


def _side_nodes(line: np.ndarray, joints: np.ndarray, closed: bool, half: float) -> np.ndarray:
    found = []
    for joint in joints:
        k = int(np.argmin(np.hypot(*(line - joint).T)))
        for a, b in ((k - 1, k), (k, k + 1)):
            if closed:
                a, b = a % len(line), b % len(line)
            if min(a, b) < 0 or max(a, b) >= len(line):
                continue
            along = line[b] - line[a]
            along = along / max(np.hypot(*along), 1e-12)
            normal = np.array([-along[1], along[0]]) * half
            found += [joint + normal, joint - normal]
    return np.array(found).reshape(-1, 2)


def words(*, held_out: bool) -> Iterator[Drawing]:
    """Give words in fonts, two on a canvas, one of them in colour."""
    for place, font_name in enumerate(FONTS):
        if place % 2 != held_out:
            continue
        font = TTFont(_font_file(font_name))
        for turn in (0, 2):
            pair = WORDS[(place + turn) % len(WORDS)], WORDS[(place + turn + 1) % len(WORDS)]
            yield _words(f"{font_name}-{turn}", font, pair)


def _font_file(name: str) -> Path:
    folder = BUILD / "fonts"
    package = folder / f"fontpkg_{name.replace('-', '_')}"
    if not package.is_dir():
        pip = [sys.executable, "-m", "pip", "install", "-q", "--no-deps", "--target", str(folder)]
        subprocess.run([*pip, f"fontpkg-{name}"], check=True)
    files = sorted(p for p in package.rglob("*.[to]tf") if "talic" not in p.name)
    return next((p for p in files if "Regular" in p.name), files[0])


def _words(name: str, font: TTFont, pair: tuple[str, str]) -> Drawing:
    glyphs, cmap = font.getGlyphSet(), font.getBestCmap()
    size, colours = 72.0, ("#20306a", "#c4452c")
    parts, paints = [], []
    for row, (word, colour) in enumerate(zip(pair, colours, strict=True)):
        width = sum(glyphs[cmap[ord(c)]].width for c in word)
        scale = min(66.0 / width, 30.0 / font["head"].unitsPerEm)
        x, base = (size - width * scale) / 2, 30.0 + 34.0 * row
        for c in word:
            glyph = glyphs[cmap[ord(c)]]
            pen = SVGPathPen(glyphs, ntos=lambda v: f"{v:.4f}")
            glyph.draw(pen)
            path = svgelements.Path(pen.getCommands()) * svgelements.Matrix(scale, 0, 0, -scale, x, base)
            path.reify()
            x += glyph.width * scale
            if not len(path):
                continue
            lines = [_polyline(s) for s in path.as_subpaths()]
            rings = [line for line, _, _ in lines if len(line) > 2]
            paints.append(Paint(_nonzero(rings), colour, np.vstack([j for _, j, _ in lines])))
            parts.append(f'<path fill="{colour}" d="{path.d()}"/>')
    ground = "#f4f1e8"
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 72 72"><rect width="72" height="72" fill="{ground}"/>'
        + "".join(parts)
        + "</svg>"
    )
    return Drawing(name, svg, flatten_paints(paints, size=size, ground=ground))
