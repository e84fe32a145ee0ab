"""Judging cut files: time against parsing the file alone, growth with the number of nodes, memory.

The reference is the path parser of the general library `svgelements` on the same path data, in the same run.
"""

from __future__ import annotations

import math
import time
import tracemalloc

from svgelements import Path

from maskgen.check.cutfile import judge
from maskgen.check.settings import CheckSettings
from maskgen.formats.cutfile import read_cutfile
from maskgen.model.job import Resist

SIZES = (1_000, 10_000, 100_000, 300_000)
NODES_PER_PIECE = 100
PITCH_MM = 8.0


def drawing_of(nodes: int) -> tuple[bytes, list[str]]:
    """Make pieces of a hundred nodes in a square, each a little different."""
    count = nodes // NODES_PER_PIECE
    across = math.ceil(math.sqrt(count))
    paths = []
    for k in range(count):
        x, y = 5 + PITCH_MM * (k % across), 5 + PITCH_MM * (k // across)
        corners = []
        for j in range(NODES_PER_PIECE):
            angle = 2 * math.pi * j / NODES_PER_PIECE
            radius = 2.6 + 0.3 * math.sin((3 + k % 4) * angle)
            corners.append(f"{x + radius * math.cos(angle):.4f} {y + radius * math.sin(angle):.4f}")
        paths.append(f"M{'L'.join(corners)}Z")
    side = PITCH_MM * across + 10
    body = "".join(f'<path d="{path}"/>' for path in paths)
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{side}mm" height="{side}mm" viewBox="0 0 {side} {side}">'
    return f"{head}{body}</svg>".encode(), paths


def run() -> None:
    print(
        f"{'nodes':>8} {'read s':>8} {'judge s':>8} {'us/node':>8} {'library parse s':>16} {'ratio':>6} {'peak MB':>8}"
    )
    settings = CheckSettings(resist=Resist(sheet_width_mm=10_000.0))
    for nodes in SIZES:
        data, paths = drawing_of(nodes)
        begin = time.process_time()
        for path in paths:
            Path(path)
        parsed = time.process_time() - begin
        begin = time.process_time()
        drawing = read_cutfile(data, name="bench.svg")
        read = time.process_time() - begin
        begin = time.process_time()
        judge(drawing, name="bench.svg", settings=settings)
        judged = time.process_time() - begin
        peak = _peak_mb(data, settings) if nodes <= 100_000 else float("nan")
        total = read + judged
        print(
            f"{nodes:8d} {read:8.2f} {judged:8.2f} {1e6 * total / nodes:8.1f} {parsed:16.2f} "
            f"{total / parsed:6.1f} {peak:8.0f}"
        )


def _peak_mb(data: bytes, settings: CheckSettings) -> float:
    """Give the most memory Python and numpy hold while reading and judging."""
    tracemalloc.start()
    judge(read_cutfile(data, name="bench.svg"), name="bench.svg", settings=settings)
    peak = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    return peak


if __name__ == "__main__":
    run()
