"""Name lists: 1 000 names against shaping and uniting their outlines alone, memory by length, kills and resuming.

The floor is done with the same libraries (HarfBuzz shapes, shapely unites chords within a micrometre), in as many
processes, in the same run; `curves` is the same with curves kept, as masks need them. `NAMES_KIND` runs one kind of
list alone, `NAMES_COUNT` fewer names, `NAMES_LONG=1` a list of 10 000 too, `NAMES_KILLS=20` stops a run at as many
random moments and resumes it.
"""

from __future__ import annotations

import csv
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
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import shapely
import uharfbuzz as hb

from maskgen.formats.fonts import load_font
from maskgen.geometry.polygons import FLATTEN_MM
from maskgen.geometry.unite import unite
from maskgen.model.paths import Ring, affine, flatten
from maskgen.shape.glyphs import CAPITAL, Font
from maskgen.shape.lettering import Line, set_line

WORKERS = 2
TEMPLATE = """
title = "Larkmoor Sky Society, name plates"
[part]
width_mm = 240.0
height_mm = 30.0
[text]
font = "{font}"
height_mm = {height}
box_mm = [{box}, 24.0]
letter_gap_mm = {gap}
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
SPOTS = dict(zip("AEIOU", "ÁÉÍÖÜ", strict=True))


@dataclass(frozen=True)
class Kind:
    """A kind of list: how its names are set, and how many of them have to shrink to the box."""

    name: str
    font: str = "Varela Round"
    height: float = 11.0
    gap: float = 0.5
    two_words: bool = False
    accents: bool = False
    shrunk: float = 0.0
    dyed: bool = False


KINDS = (
    Kind("letters bare"),
    Kind("letters dyed", dyed=True),
    Kind("an eighth shrunk", shrunk=0.125),
    Kind("given and family names", font="Archivo Black", height=14.0, two_words=True),
    Kind("given and family names, a quarter shrunk", font="Archivo Black", height=14.0, two_words=True, shrunk=0.25),
    Kind("accents, a quarter shrunk", accents=True, shrunk=0.25),
    Kind("joined letters", font="Pacifico", height=16.0, gap=0.0),
)


def made_up(count: int, seed: int = 1, *, two_words: bool = False, accents: bool = False) -> list[str]:
    """Make up names of one to three syllables, or of two words with capitals and small letters."""
    chance = random.Random(seed)

    def word(lengths: list[int]) -> str:
        parts = (BEGIN, MIDDLE, END) * chance.choice(lengths)
        return "".join(chance.choice(part) for part in parts)

    def name() -> str:
        if two_words:
            return f"{word([1, 1, 2]).capitalize()} {word([1, 2, 2]).capitalize()}"
        spelled = word([1, 2, 2, 2, 3])
        return "".join(SPOTS.get(c, c) if accents and chance.random() < 0.3 else c for c in spelled)

    return [name() for _ in range(count)]


def set_up(kind: Kind, count: int) -> tuple[list[str], float, str]:
    """Give the names, the width of the box that makes the wanted share shrink, and the template."""
    names = made_up(count, two_words=kind.two_words, accents=kind.accents)
    font = Font(load_font(kind.font, folder=Path()))
    widths = sorted(_width(set_line(name, font=font, gap=kind.gap * CAPITAL / kind.height)) for name in names)
    box = widths[min(int(len(names) * (1 - kind.shrunk)), len(names) - 1)] * kind.height / CAPITAL
    box = round(box + 0.05 if kind.shrunk else min(box + 1.0, 236.0), 2)
    letters, ground = (DYED, BARE) if kind.dyed else (BARE, DYED)
    spec = {"font": kind.font, "height": kind.height, "gap": kind.gap, "box": box, "letters": letters, "ground": ground}
    return names, box, TEMPLATE.format(**spec)


def _width(line: Line) -> float:
    return line.box[2] - line.box[0]


def write_list(folder: Path, count: int, kind: Kind = KINDS[0]) -> list[str]:
    """Write a list and its template; give the call that makes it."""
    names, _, template = set_up(kind, count)
    (folder / "list.csv").write_text("id,text\n" + "".join(f"m{i},{n}\n" for i, n in enumerate(names, 1)))
    (folder / "names.toml").write_text(template)
    shelf = Path(__file__).parents[1] / "samples" / "shelf.toml"
    out = folder / "out"
    return [
        *(sys.executable, "-m", "maskgen", "names", str(folder / "list.csv")),
        *("--job", str(folder / "names.toml"), "--shelf", str(shelf), "--out", str(out), "--workers", str(WORKERS)),
    ]


def floor(names: list[str], kind: Kind, box: float) -> None:
    """Shape names and unite the chords of their outlines, at the height that fits the box."""
    _set(names, kind, box, lambda rings: shapely.union_all([shapely.Polygon(flatten(r, FLATTEN_MM)) for r in rings]))


def curves(names: list[str], kind: Kind, box: float) -> None:
    """Shape names and unite their outlines, curves kept."""
    _set(names, kind, box, unite)


def _set(names: list[str], kind: Kind, box: float, join: Callable[[list[Ring]], object]) -> None:
    data = load_font(kind.font, folder=Path())
    font, reader = hb.Font(hb.Face(data)), Font(data)
    for name in names:
        buffer = hb.Buffer()
        buffer.add_str(name)
        buffer.guess_segment_properties()
        hb.shape(font, buffer)
        length = sum(position.x_advance for position in buffer.glyph_positions) * reader.scale
        scale = min(kind.height / CAPITAL, box / length)
        rings, x = [], 0.0
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
            at = affine(scale, (x, 0.0))
            rings += [r.mapped(at) for r in reader.rings(info.codepoint)]
            x += position.x_advance * reader.scale * scale
        join(rings)


def timed_floor(work: Callable[..., None], names: list[str], kind: Kind, box: float) -> float:
    """Time it in as many processes as the list has workers, everything loaded before."""
    shares = [names[k::WORKERS] for k in range(WORKERS)]
    context = multiprocessing.get_context("fork")
    began = time.perf_counter()
    processes = [context.Process(target=work, args=(share, kind, box)) for share in shares]
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
    """Measure every kind of list, memory by length, and resuming."""
    chosen = os.environ.get("NAMES_KIND")
    for kind in KINDS:
        if chosen is None or chosen == kind.name:
            _compare(kind, int(os.environ.get("NAMES_COUNT", "1000")))
    if chosen is None:
        for count in (100, 1000, *([10_000] if os.environ.get("NAMES_LONG") else [])):
            seconds, peak, _, _ = _made(KINDS[0], count)
            print(f"{count} names: {seconds:.1f} s, {count / seconds:.0f} names a second, at most {peak:.0f} MB")
    if times := int(os.environ.get("NAMES_KILLS", "0")):
        print(json.dumps(dict(zip(("resumed to the same bytes", "of"), kills(times), strict=True))))


def _compare(kind: Kind, count: int) -> None:
    names, box, _ = set_up(kind, count)
    chords, kept = (timed_floor(work, names, kind, box) for work in (floor, curves))
    seconds, peak, refused, heights = _made(kind, count)
    print(
        f"{kind.name}, {count} names ({refused} refused, {heights} heights): {seconds:.1f} s, "
        f"{count / seconds:.0f} names a second, at most {peak:.0f} MB; floor {chords:.1f} s, with curves {kept:.1f} s: "
        f"{seconds / chords:.1f} x the floor, {seconds / kept:.1f} x with curves",
        flush=True,
    )


def _made(kind: Kind, count: int) -> tuple[float, float, int, int]:
    with tempfile.TemporaryDirectory() as folder:
        seconds, peak, _ = watched(write_list(Path(folder), count, kind))
        with (Path(folder) / "out" / "manifest.csv").open(newline="") as manifest:
            rows = list(csv.DictReader(manifest))
    made = [row for row in rows if row["status"] != "refused"]
    return seconds, peak, len(rows) - len(made), len({row["cap_height_mm"] for row in made})
