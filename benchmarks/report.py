"""The papers of a job: their size, and their time against the job itself and against drawing the regions alone.

Two jobs: a logo of six colours on 20 plates, and 500 pieces on 40 plates. References in the same run: the time the job
takes to compute (of the second only its sheets are), and the general library `resvg` drawing the same regions once at
300 dots per inch. What is asked for: the report of the logo under 3 MB, and under 1 s on one core.
"""

from __future__ import annotations

import dataclasses
import math
import random
import time
from collections.abc import Callable

import numpy as np
import resvg_py
from PIL import Image, ImageDraw

from maskgen.formats.shelf import sample_shelf
from maskgen.formats.svg_write import write_regions
from maskgen.model.artwork import Picture
from maskgen.model.job import Artwork, ColourEntry, Job, Part, Shape
from maskgen.model.paths import Area, Piece, polygon_ring
from maskgen.model.result import JobResult
from maskgen.pipeline.artwork import trace_picture
from maskgen.pipeline.convert import convert
from maskgen.report.bench import write_bench_sheet
from maskgen.report.page import write_report
from maskgen.report.proof_pdf import write_proof_pdf
from maskgen.report.proof_png import write_proof
from maskgen.shape.nest import nest

COLOURS = {
    "lemon": "#e8c81e",
    "blue": "#1b3f94",
    "rust": "#b5482a",
    "green": "#2f7d4b",
    "violet": "#6a2c80",
    "ink": "#20242c",
}
PAPERS: dict[str, Callable[[JobResult], bytes]] = {
    "report": write_report,
    "bench sheet": write_bench_sheet,
    "proof, PNG": write_proof,
    "proof, PDF": write_proof_pdf,
}
PIECES, COPIES = 500, 40


def run() -> None:
    begin = time.process_time()
    logo = logo_job()
    _print("logo of six colours, 20 plates", logo, time.process_time() - begin)
    begin = time.process_time()
    crowd = crowded(logo)
    _print(f"{PIECES} pieces, {COPIES} plates", crowd, time.process_time() - begin)


def _print(name: str, result: JobResult, computed: float) -> None:
    drawing = write_regions(result.regions).decode()
    begin = time.process_time()
    resvg_py.svg_to_bytes(svg_string=drawing, dpi=300, background="white")
    drawn = time.process_time() - begin
    print(f"{name}: computed in {computed:.2f} s; resvg draws its regions in {drawn:.3f} s")
    print(f"{'paper':>12} {'kB':>7} {'s':>6} {'of the job %':>13} {'x resvg':>8}")
    for paper, write in PAPERS.items():
        write(result)  # fonts and templates are read once
        begin = time.process_time()
        data = write(result)
        spent = time.process_time() - begin
        print(f"{paper:>12} {len(data) / 1000:7.0f} {spent:6.2f} {100 * spent / computed:13.1f} {spent / drawn:8.1f}")


def logo_job() -> JobResult:
    """Make a wheel of six colours between two rows of stars."""
    scale = 4
    image = Image.new("RGBA", (560 * scale, 400 * scale), (0, 0, 0, 0))
    pen = ImageDraw.Draw(image)
    for number, colour in enumerate(COLOURS.values()):
        box = [v * scale for v in (100, 20, 460, 380)]
        pen.pieslice(box, number * 60, number * 60 + 60, fill=colour)
    for number in range(24):
        x, y = 40 + number % 12 * 45, 20 if number < 12 else 380
        corners = [(x * scale + dx, y * scale + dy) for dx, dy in _star(14 * scale)]
        pen.polygon(corners, fill=list(COLOURS.values())[number % 6])
    picture = Picture(np.asarray(image.resize((560, 400), Image.Resampling.BOX)))
    job = Job(
        title="Larkmoor Sky Society, colour wheel",
        quantity=20,
        part=Part(Shape.PLATE, width_mm=120.0, height_mm=90.0),
        artwork=Artwork("artwork.png", width_mm=110.0),
        colour=tuple(ColourEntry(colour, name) for name, colour in COLOURS.items()),
    )
    return convert(job, shelf=sample_shelf(), artwork=trace_picture(picture))


def crowded(logo: JobResult) -> JobResult:
    """Put 500 stars on the first mask of a finished job, and lay 40 of every mask on sheets."""
    chance = random.Random(7)
    pieces = []
    for number in range(PIECES):
        x, y = 4 + number % 25 * 4.6 + chance.uniform(-0.4, 0.4), 4 + number // 25 * 4.2 + chance.uniform(-0.4, 0.4)
        pieces.append(Piece(polygon_ring(np.array(_star(1.6)) + np.array([x, y]))))
    masks = (dataclasses.replace(logo.masks[0], area=Area(tuple(pieces))), *logo.masks[1:])
    job = dataclasses.replace(logo.job, quantity=COPIES)
    sheets = nest(masks, quantity=COPIES, resist=job.resist, settings=job.sheets, face_mm=job.part.face_mm)
    return dataclasses.replace(logo, job=job, masks=masks, sheets=sheets)


def _star(radius: float) -> list[tuple[float, float]]:
    return [
        (r * math.cos(a), r * math.sin(a))
        for n in range(10)
        for r, a in [(radius if n % 2 == 0 else 0.42 * radius, n * math.pi / 5 - math.pi / 2)]
    ]


if __name__ == "__main__":
    run()
