"""Name lists: 1 000 names against shaping and uniting their outlines alone, memory by length, kills and resuming.

The floor is done with the same libraries (HarfBuzz shapes, shapely unites chords within a micrometre), in as many
processes, in the same run; `curves` is the same with curves kept, as masks need them. `NAMES_LONG=1` also runs a list
of 10 000, `NAMES_KILLS=20` stops a run at as many random moments and resumes it.
"""

from __future__ import annotations

import hashlib
import json
import multiprocessing
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import shapely
import uharfbuzz as hb

from maskgen.formats.fonts import load_font
from maskgen.geometry.polygons import FLATTEN_MM
from maskgen.geometry.unite import unite
from maskgen.model.paths import affine, flatten
from maskgen.shape.glyphs import Font

WORKERS = 2
FONT, HEIGHT_MM = "Varela Round", 11.0
TEMPLATE = """
title = "Larkmoor Sky Society, name plates"
[part]
width_mm = 170.0
height_mm = 24.0
[text]
font = "{font}"
height_mm = {height}
box_mm = [164.0, 18.0]
letter_gap_mm = 0.5
colour = "silver"
[[colour]]
source = "#c9cccf"
name = "silver"
{letters}
[ground]
{ground}
"""
BARE, DYED = "bare = true", 'recipe = [ { dye = "sea blue", minutes = 4.0 } ]'
BEGIN = ["", "B", "BR", "C", "D", "F", "G", "H", "J", "L", "M", "N", "P", "R", "S", "T", "TH", "V", "W"]
MIDDLE, END = ["A", "E", "I", "O", "U", "EA", "IE"], ["", "L", "N", "R", "S", "T", "M", "ND"]


def made_up(count: int, seed: int = 1) -> list[str]:
    """Make up names of one to three syllables."""
    chance = random.Random(seed)
    return [
        "".join(chance.choice(part) for _ in range(chance.choice([1, 2, 2, 2, 3])) for part in (BEGIN, MIDDLE, END))
        for _ in range(count)
    ]


def write_list(folder: Path, count: int, *, letters: str = BARE, ground: str = DYED) -> list[str]:
    (folder / "list.csv").write_text("id,text\n" + "".join(f"m{i},{n}\n" for i, n in enumerate(made_up(count), 1)))
    (folder / "names.toml").write_text(TEMPLATE.format(font=FONT, height=HEIGHT_MM, letters=letters, ground=ground))
    shelf = Path(__file__).parents[1] / "samples" / "shelf.toml"
    out = folder / "out"
    return [
        *(sys.executable, "-m", "maskgen", "names", str(folder / "list.csv")),
        *("--job", str(folder / "names.toml"), "--shelf", str(shelf), "--out", str(out), "--workers", str(WORKERS)),
    ]


def floor(names: list[str]) -> None:
    """Shape names and unite the chords of their outlines."""
    data = load_font(FONT, folder=Path())
    font, reader = hb.Font(hb.Face(data)), Font(data)
    scale = HEIGHT_MM / 10.0
    for name in names:
        buffer = hb.Buffer()
        buffer.add_str(name)
        buffer.guess_segment_properties()
        hb.shape(font, buffer)
        shapes, x = [], 0.0
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            at = affine(scale, (x, 0.0))
            shapes += [shapely.Polygon(flatten(r.mapped(at), FLATTEN_MM)) for r in reader.rings(info.codepoint)]
            x += position.x_advance * reader.scale * scale
        shapely.union_all(shapes)


def curves(names: list[str]) -> None:
    """Shape names and unite their outlines, curves kept."""
    reader = Font(load_font(FONT, folder=Path()))
    for name in names:
        buffer = hb.Buffer()
        buffer.add_str(name)
        buffer.guess_segment_properties()
        hb.shape(reader._font, buffer)
        rings, x = [], 0.0
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            rings += [r.mapped(affine(HEIGHT_MM / 10.0, (x, 0.0))) for r in reader.rings(info.codepoint)]
            x += position.x_advance * reader.scale * HEIGHT_MM / 10.0
        unite(rings)


def timed_floor(work, names: list[str]) -> float:
    """Time it in as many processes as the list has workers, everything loaded before."""
    shares = [names[k::WORKERS] for k in range(WORKERS)]
    context = multiprocessing.get_context("fork")
    began = time.perf_counter()
    processes = [context.Process(target=work, args=(share,)) for share in shares]
    for process in processes:
        process.start()
    for process in processes:
        process.join()
    return time.perf_counter() - began


def watched(call: list[str]) -> tuple[float, float, int]:
    """Give seconds, the most memory all processes held together (MB, shared pages once), and the exit status."""
    began = time.perf_counter()
    process = subprocess.Popen(call, stdout=subprocess.DEVNULL)
    peak, done = 0.0, threading.Event()

    def watch() -> None:
        nonlocal peak
        while not done.wait(0.1):
            peak = max(peak, sum(_memory(pid) for pid in _family(process.pid)))

    watcher = threading.Thread(target=watch)
    watcher.start()
    status = process.wait()
    done.set()
    watcher.join()
    return time.perf_counter() - began, peak, status


def _family(pid: int) -> list[int]:
    try:
        below = Path(f"/proc/{pid}/task/{pid}/children").read_text().split()
    except OSError:
        return []
    return [pid, *(other for child in below for other in _family(int(child)))]


def _memory(pid: int) -> float:
    try:
        lines = Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    return sum(int(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024


def digest(folder: Path) -> str:
    """Give one digest of all files of a folder and their names."""
    whole = hashlib.sha256()
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        whole.update(path.relative_to(folder).as_posix().encode() + b"\0" + path.read_bytes())
    return whole.hexdigest()


def kills(times: int, count: int = 150) -> tuple[int, int]:
    """Stop a run at random moments and resume it; give how often the bytes were those of an unbroken run."""
    chance = random.Random(7)
    with tempfile.TemporaryDirectory() as whole, tempfile.TemporaryDirectory() as broken:
        call, other = write_list(Path(whole), count), write_list(Path(broken), count)
        seconds, _, _ = watched(call)
        wanted, same = digest(Path(whole) / "out"), 0
        for k in range(times):
            process = subprocess.Popen(
                [*other, *(["--resume"] if k % 3 else [])], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
            time.sleep(chance.uniform(0.5, seconds))
            process.send_signal(chance.choice([signal.SIGKILL, signal.SIGINT]))
            process.wait()
            subprocess.run([*other, "--resume"], stdout=subprocess.DEVNULL, check=False)
            same += digest(Path(broken) / "out") == wanted
        return same, times


def run() -> None:
    lengths = [100, 1000, *([10_000] if os.environ.get("NAMES_LONG") else [])]
    names = made_up(1000)
    chords, kept = timed_floor(floor, names), timed_floor(curves, names)
    print(f"1 000 names, {WORKERS} processes: floor {chords:.2f} s, with curves kept {kept:.2f} s")
    ways = {"letters bare": (BARE, DYED), "letters dyed": (DYED, BARE)}
    for way, (letters, ground) in ways.items():
        for count in lengths if way == "letters bare" else [1000]:
            with tempfile.TemporaryDirectory() as folder:
                call = write_list(Path(folder), count, letters=letters, ground=ground)
                seconds, peak, status = watched(call)
                rows = (Path(folder) / "out" / "manifest.csv").read_text().splitlines()[1:]
                refused = sum(",refused," in row for row in rows)
                over = (
                    f"; {seconds / chords:.1f} x the floor, {seconds / kept:.1f} x with curves" if count == 1000 else ""
                )
                print(
                    f"{way}, {count} names ({refused} refused, status {status}): {seconds:.1f} s, "
                    f"{count / seconds:.0f} names a second, at most {peak:.0f} MB{over}"
                )
    if times := int(os.environ.get("NAMES_KILLS", "0")):
        print(json.dumps(dict(zip(("resumed to the same bytes", "of"), kills(times), strict=True))))
