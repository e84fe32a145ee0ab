"""Files with four faults each, mended: is what was mended gone, is the rest where it was, does a second time change it?

Clean drawings and faults come from the labelled set; outlines are compared with shapely.
"""

from __future__ import annotations

import random
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import shapely
from shapely.geometry.base import BaseGeometry

from benchmarks.check_dxf_hpgl import DXF, HPGL
from benchmarks.check_fault import Fault, X, Y
from benchmarks.check_faults import faults
from benchmarks.check_shapes import Shape, clean_shapes
from benchmarks.check_svg import WRITERS as SVG
from maskgen.check.cutfile import judge
from maskgen.check.mend import mend
from maskgen.check.settings import CheckSettings
from maskgen.cli.check_files import mended_bytes
from maskgen.formats.cutfile import read_cutfile

SPOTS = ((74.0, 17.0), (97.0, 17.0), (74.0, 63.0), (97.0, 63.0))
"""Where faults go: nothing of a clean drawing lies within `REACH` mm."""
REACH = 14.0
MENDABLE = frozenset(
    ("open-path", "self-crossing", "doubled-line", "crossing-pieces", "pen-stroke", "stray-point", "node-crowd")
)
ENDINGS = {"svg": ".svg", "dxf": ".dxf", "hpgl": ".plt"}
SAME_MM = 0.02


@dataclass
class Mending:
    """What was counted."""

    files: int = 0
    gone: int = 0
    again: int = 0
    kept: int = 0
    away_mm: float = 0.0


def _files(seed: int) -> Iterator[tuple[str, str, bytes, float, Sequence[Shape], list[Fault]]]:
    chance = random.Random(f"mending {seed}")
    able = [f for f in faults(chance) if f.code in MENDABLE and f.expected and not f.whole and f.shapes]
    able = [f for f in able if "gap 3" not in f.size and "alone" not in f.size]
    clean = clean_shapes(chance)
    for kind, names in (("svg", SVG), ("dxf", DXF), ("hpgl", HPGL)):
        for name in chance.sample(sorted(names), 2):
            chosen = chance.sample([f for f in able if kind in f.formats and name not in f.but], len(SPOTS))
            shapes = list(clean)
            for fault, (x, y) in zip(chosen, SPOTS, strict=True):
                shapes += [shape.mapped((1, 0, 0, 1, x - X, y - Y)) for shape in fault.shapes]
            if kind == "svg":
                yield kind, name, SVG[name](shapes, ""), 0.0, clean, chosen
            else:
                write, shift = (DXF if kind == "dxf" else HPGL)[name]
                yield kind, name, write(shapes, ()), shift, clean, chosen


def lines_of(data: bytes, file: str) -> tuple[BaseGeometry, list[str]]:
    """Give the outlines of a file, and the codes found in it."""
    analysis = judge(read_cutfile(data, name=file), name=file, settings=CheckSettings())
    runs = [shapely.linestrings([*line.points, *line.points[: int(line.closed)]]) for line in analysis.lines]
    return shapely.union_all(runs), [str(f.code) for f in analysis.judgement.findings]


def mended(data: bytes, file: str) -> tuple[bytes, float]:
    """Mend a file to one of its own format; tell by how much the result lies higher."""
    drawing = read_cutfile(data, name=file)
    result = mend(drawing, name=file, settings=CheckSettings(), outlines_only=file != "a.svg")
    bottom = result.drawing.top + result.drawing.height
    return mended_bytes(file, result, drawing, data), 0.0 if file == "a.svg" else -bottom


def measure(seeds: Sequence[int]) -> tuple[Mending, list[str]]:
    """Mend all files; what went wrong comes in words."""
    counts, wrong = Mending(), []
    for seed in seeds:
        for kind, name, data, shift, clean, chosen in _files(seed):
            file = "a" + ENDINGS[kind]
            label = f"seed {seed}, {kind} {name}, {[f'{f.code} {f.size}' for f in chosen]}"
            once, higher = mended(data, file)
            twice, _ = mended(once, file)
            found, codes = lines_of(once, file)
            left = MENDABLE.intersection(codes)
            counts.files += 1
            counts.gone += not left
            counts.again += once == twice
            if left:
                wrong.append(f"{label}: left {sorted(left)}")
            if once != twice:
                wrong.append(f"{label}: a second mending changes it")
            moved = shapely.union_all([run.line() for shape in clean for run in shape.runs])
            zones = shapely.union_all([shapely.Point(spot).buffer(REACH) for spot in SPOTS])
            # A mended SVG keeps the frame; DXF and HPGL are written from the lower left, nothing below zero.
            dx, dy = (-5.0, -5.0) if name == "prefixed, one path" else (0.0, shift + higher)
            moved, zones = (shapely.affinity.translate(g, dx, dy) for g in (moved, zones))
            rest = shapely.difference(found, zones)
            if name == "R2018 blocks":
                rest = shapely.intersection(rest, moved.buffer(1.0))
            away = max(shapely.hausdorff_distance(moved, rest, densify=0.05), shapely.hausdorff_distance(rest, moved))
            counts.away_mm = max(counts.away_mm, away)
            counts.kept += away <= SAME_MM
            if away > SAME_MM:
                wrong.append(f"{label}: {away:.3f} mm away from where it was")
    return counts, wrong


def run(seeds: int = 10, first: int = 0) -> None:
    """Print the figures."""
    counts, wrong = measure(range(first, first + seeds))
    print(
        f"{counts.files} files with {len(SPOTS)} faults each: {counts.gone} passed once mended, {counts.again} stayed"
    )
    print(
        f"the same when mended again, {counts.kept} kept within {SAME_MM} mm elsewhere (worst {counts.away_mm:.4f} mm)"
    )
    print("\n".join(wrong))


if __name__ == "__main__":
    run(*(int(word) for word in sys.argv[1:]))
