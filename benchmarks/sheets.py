"""Sheets: film used against plain rows, the knife's way against plain order and general solvers, cost of 500 masks.

The solvers get the starts we chose and may cut in any order; ours cuts what lies inside first, and mask by mask.
"""

from __future__ import annotations

import math
import multiprocessing
import resource
import time
from collections.abc import Callable, Sequence
from importlib.resources import files

import networkx
import numpy as np
import shapely
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont
from shapely import affinity
from shapely.geometry.base import BaseGeometry

from maskgen.formats import dxf, hpgl, pdf, svg_write
from maskgen.geometry.polygons import from_polygons
from maskgen.model.job import Carrier, DxfVersion, Resist, SheetSettings
from maskgen.model.masks import Mask, Sheet
from maskgen.model.paths import Area, bounds
from maskgen.shape.arc_paths import arc_drawing
from maskgen.shape.cutting import home_of, travel_mm
from maskgen.shape.nest import Wanted, nest, nest_stages, used_share

SETTINGS = SheetSettings()


def run() -> None:
    jobs = sample_jobs()
    print(f"{'film':24} {'masks':>6} {'length mm':>10} {'plain rows':>10} {'saved':>6} {'in pieces':>9}")
    for name, (stages, resist, sheets) in jobs.items():
        length = sum(sheet.drawing.height for sheet in sheets)
        rows = plain_rows(stages, resist)
        count = sum(w.copies for stage in stages for w in stage)
        print(f"{name:24} {count:6} {length:10.0f} {rows:10.0f} {1 - length / rows:6.1%} {used_share(sheets):9.1%}")
    print()
    print(f"{'way, knife up':24} {'rings':>6} {'ours mm':>10} {'as drawn':>10} {'Christofides':>12} {'threshold':>10}")
    for name, (stages, _, sheets) in jobs.items():
        ours, drawn = routes(stages, sheets)
        starts = ring_starts(sheets[0])
        one, other = (general_solver(starts, home_of(sheets[0].drawing), s) for s in (christofides, threshold))
        print(f"{name:24} {len(starts):6} {ours:10.0f} {drawn:10.0f} {one:12.0f} {other:10.0f}")
    print()
    print("501 masks, each line in a fresh process")
    alone, megabytes, sizes = measured(write_all, five_hundred())
    print(f"{'writing alone':24} {alone:6.1f} s          {megabytes:6.0f} MB at most; {sizes}")
    seconds, megabytes, sizes = measured(nest_and_write)
    print(f"{'nesting and writing':24} {seconds:6.1f} s ({seconds / alone:.2f} x) {megabytes:6.0f} MB at most")


def emblem(width: float = 60.0) -> list[Mask]:
    """A crescent and stars over hills, with letters below, as three masks."""
    moon = shapely.Point(45, 9).buffer(6, quad_segs=32).difference(shapely.Point(47.5, 8).buffer(5.2, quad_segs=32))
    places = ((8, 6, 3), (15, 10, 1.8), (22, 5, 2.2), (30, 9, 2.5), (36, 4, 1.5))
    stars = shapely.union_all([star(*place) for place in places])
    hills = shapely.Polygon([(-1, 31), (-1, 19), (10, 14), (22, 20), (35, 15), (50, 21), (61, 17), (61, 31)])
    letters = affinity.translate(word("LARKMOOR", 5.0), 8.0, 23.0)
    sky = shapely.box(-1, -1, 61, 31).difference(hills).difference(shapely.union_all([moon, stars]).buffer(0.1))
    shapes = (shapely.union_all([moon, stars]), hills.difference(letters.buffer(0.1)), sky)
    return [
        Mask(f"M{n}", name, (f"r{n}",), from_polygons(affinity.scale(s, width / 60, width / 60, origin=(0, 0))))
        for n, (name, s) in enumerate(zip(("star", "hill", "sky"), shapes, strict=True), start=1)
    ]


def star(x: float, y: float, radius: float) -> shapely.Polygon:
    angle = np.arange(10) * math.pi / 5 - math.pi / 2
    away = np.where(np.arange(10) % 2, radius * 0.4, radius)
    return shapely.Polygon(np.column_stack([x + away * np.cos(angle), y + away * np.sin(angle)]))


def word(text: str, height: float) -> BaseGeometry:
    """Letters of the font that comes with the tool, by the even-odd rule, curves as chords."""
    font = TTFont(str(files("fontpkg_fjalla_one") / "files" / "FjallaOne-Regular.ttf"))
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    scale, x, shape = height / font["OS/2"].sCapHeight, 0.0, shapely.Polygon()
    for letter in text:
        pen = DecomposingRecordingPen(glyphs)
        glyphs[names[ord(letter)]].draw(pen)
        for contour in contours(pen.value):
            points = [((px + x) * scale, height - py * scale) for px, py in contour]
            shape = shape.symmetric_difference(shapely.Polygon(points))
        x += glyphs[names[ord(letter)]].width
    return shape


def contours(recorded: Sequence[tuple[str, tuple[tuple[float, float], ...]]]) -> list[list[tuple[float, float]]]:
    found: list[list[tuple[float, float]]] = []
    for operation, points in recorded:
        if operation == "moveTo":
            found.append([points[0]])
        elif operation == "lineTo":
            found[-1].append(points[0])
        elif operation == "qCurveTo":
            for k, control in enumerate(points[:-1]):
                follower = points[k + 1]
                last = k == len(points) - 2
                end = follower if last else ((control[0] + follower[0]) / 2, (control[1] + follower[1]) / 2)
                start = found[-1][-1]
                found[-1] += [
                    (
                        (1 - t) ** 2 * start[0] + 2 * t * (1 - t) * control[0] + t * t * end[0],
                        (1 - t) ** 2 * start[1] + 2 * t * (1 - t) * control[1] + t * t * end[1],
                    )
                    for t in np.linspace(0, 1, 9)[1:].tolist()
                ]
    return found


Job = tuple[list[list[Wanted]], Resist, tuple[Sheet, ...]]


def sample_jobs() -> dict[str, Job]:
    plate, tag = emblem(), emblem(28.0)
    names = [
        Mask("M1", f"name {k}", ("r1",), from_polygons(word(text, 8.0))) for k, text in enumerate(list_of_names(25))
    ]
    whole = {
        "6 plates": ([[Wanted(m, 6)] for m in plate], Resist()),
        "6 tags, piece by piece": ([[Wanted(m, 6)] for m in tag], Resist(carrier=Carrier.LOOSE)),
        "9 plates, 200 mm film": ([[Wanted(m, 9)] for m in plate], Resist(sheet_width_mm=200.0)),
        "25 names": ([[Wanted(m) for m in names]], Resist()),
    }
    return {n: (s, r, nest_stages(s, resist=r, settings=SETTINGS)) for n, (s, r) in whole.items()}


def list_of_names(count: int) -> list[str]:
    random = np.random.default_rng(11)
    return ["".join(random.choice(list("ABDEGHIKLMNORSTUV"), random.integers(3, 10))) for _ in range(count)]


def plain_rows(stages: list[list[Wanted]], resist: Resist) -> float:
    """Length of film with everything side by side as it comes, sheets as long as they may be."""
    room = resist.sheet_width_mm - 2 * SETTINGS.margin_mm
    used = left = height = 0.0
    for wanted in (w for stage in stages for w in stage for _ in range(w.copies)):
        pieces = wanted.mask.area.pieces
        for area in [Area((p,)) for p in pieces] if resist.carrier is Carrier.LOOSE else [wanted.mask.area]:
            x0, y0, x1, y1 = bounds(area)
            if left and left + x1 - x0 > room:
                used, left, height = used + height + SETTINGS.spacing_mm, 0.0, 0.0
            left, height = left + x1 - x0 + SETTINGS.spacing_mm, max(height, y1 - y0)
    usable = SETTINGS.sheet_length_mm - 2 * SETTINGS.margin_mm
    return used + height + 2 * SETTINGS.margin_mm * math.ceil((used + height) / usable)


def ring_starts(sheet: Sheet) -> np.ndarray:
    return np.array([r.segments[0].start for p in sheet.drawing.pieces for r in (*p.holes, p.outer)])


def routes(stages: list[list[Wanted]], sheets: Sequence[Sheet]) -> tuple[float, float]:
    """Our way on the first sheet, and that of the same masks placed as drawn, in the order they were laid."""
    sheet = sheets[0]
    masks = {(w.mask.number, w.row): w.mask for stage in stages for w in stage}
    plain = []
    names = iter([w.mask for stage in stages for w in stage for _ in range(w.copies)])
    several = len(masks) < sum(len(stage) for stage in stages)
    for placement in sheet.placements:
        area = (next(names) if several else masks[placement.mask, placement.row]).area
        pieces = area.pieces if placement.piece is None else (area.pieces[placement.piece - 1],)
        plain += [piece.mapped(placement.place) for piece in pieces]
    home = home_of(sheet.drawing)
    return travel_mm(sheet.drawing.pieces, home=home), travel_mm(plain, home=home)


Solver = Callable[[networkx.Graph], list[int]]


def christofides(graph: networkx.Graph) -> list[int]:
    return list(networkx.approximation.christofides(graph))


def threshold(graph: networkx.Graph) -> list[int]:
    first = networkx.approximation.greedy_tsp(graph, source=0)
    return list(
        networkx.approximation.threshold_accepting_tsp(graph, first, source=0, seed=1, max_iterations=30, N_inner=2000)
    )


def general_solver(starts: np.ndarray, home: tuple[float, float], solver: Solver) -> float:
    """A tour through the starts we chose and home, free to cut in any order, less its longest hop next to home."""
    points = np.vstack([[home], starts])
    apart = np.hypot(*(points[:, None] - points[None]).transpose(2, 0, 1)) + 1e-9
    tour = solver(networkx.from_numpy_array(apart))
    at = tour.index(0) % (len(tour) - 1)
    ring = tour[:-1]
    hops = [apart[ring[k - 1], ring[k]] for k in range(len(ring))]
    return float(sum(hops) - max(hops[at], hops[(at + 1) % len(ring)]))


def five_hundred() -> tuple[Sheet, ...]:
    return nest(emblem(), quantity=167, resist=Resist(), settings=SETTINGS)


def written(sheets: Sequence[Sheet]) -> dict[str, int]:
    sizes = dict.fromkeys(("svg", "dxf", "dxf r12", "plt", "pdf"), 0)
    for sheet in sheets:
        sizes["svg"] += len(svg_write.write_cut(sheet.drawing))
        arcs = arc_drawing(sheet.drawing)
        sizes["dxf"] += len(dxf.write_cut(arcs))
        sizes["dxf r12"] += len(dxf.write_cut(arcs, version=DxfVersion.R12))
        sizes["plt"] += len(hpgl.write_cut(sheet.drawing))
        sizes["pdf"] += len(pdf.write_cut(sheet.drawing))
    return sizes


Result = tuple[float, float, str]


def nest_and_write() -> Result:
    begin = time.perf_counter()
    _, megabytes, sizes = write_all(five_hundred())
    return time.perf_counter() - begin, megabytes, sizes


def write_all(sheets: tuple[Sheet, ...]) -> Result:
    """Seconds, peak megabytes of this process, and what came out."""
    begin = time.perf_counter()
    sizes = written(sheets)
    text = ", ".join(f"{name} {size / 1e6:.1f}" for name, size in sizes.items()) + " MB"
    return time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, text


def measured(job: Callable[..., Result], *arguments: object) -> Result:
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        return pool.apply(job, arguments)
