"""Cut files with one known fault each: how many are found, how exactly, and what is claimed that is not there.

Clean drawings are written in 18 dialects of SVG, DXF and HPGL by writers that share nothing with the project, one fault
of known size and place is put in, and the file is judged. Printed: recall, worst place and worst value by code and
format, and everything that went wrong.
"""

from __future__ import annotations

import random
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import shapely

from benchmarks.check_dxf_hpgl import DXF, HPGL
from benchmarks.check_fault import Fault
from benchmarks.check_faults import faults
from benchmarks.check_shapes import Shape, clean_shapes
from benchmarks.check_svg import WRITERS as SVG
from maskgen.check.cutfile import judge
from maskgen.check.settings import CheckSettings
from maskgen.formats.cutfile import read_cutfile
from maskgen.model.job import Carrier, Part, Resist

PLACE_MM, VALUE_MM = 0.2, 0.03
SHIFTED = frozenset({"prefixed, one path"})
"""Its viewBox begins at -5, -5, and so do its places."""
UNITLESS = frozenset({"R12 polylines", "no unit, inner viewport"})
COARSE = frozenset({"absolute"})
"""Whole steps of 0.025 mm."""


@dataclass
class Figures:
    """What was counted: (found, of) and the worst place and value by code and format, and what went wrong."""

    counts: dict[tuple[str, str], list[int]] = field(default_factory=lambda: defaultdict(lambda: [0, 0]))
    place: dict[tuple[str, str], float] = field(default_factory=lambda: defaultdict(float))
    value: dict[tuple[str, str], float] = field(default_factory=lambda: defaultdict(float))
    wrong: list[str] = field(default_factory=list)
    clean: int = 0
    passed: int = 0


def written(
    fault: Fault, clean: Sequence[Shape], dialects: int, chance: random.Random
) -> Iterator[tuple[str, str, bytes, float]]:
    """Give the format, the dialect, the bytes, and what is added to y where places are told."""
    beside = [] if fault.whole else list(clean)
    shapes = [*fault.shapes, *beside] if fault.behind else [*beside, *fault.shapes]
    unable = fault.but | (COARSE if fault.fine else frozenset())
    for kind, names in (("svg", SVG), ("dxf", DXF), ("hpgl", HPGL)):
        able = [name for name in names if name not in unable] if kind in fault.formats else []
        for name in chance.sample(able, min(dialects, len(able))):
            if kind == "svg":
                yield kind, name, SVG[name](shapes, fault.more_svg), 0.0
            else:
                write, shift = (DXF if kind == "dxf" else HPGL)[name]
                yield kind, name, write(shapes, fault.extras), shift


def settings_of(fault: Fault) -> CheckSettings:
    """Give the checker's settings a fault asks for."""
    settings = CheckSettings()
    for key, value in fault.options:
        if key == "carrier":
            settings = replace(settings, resist=replace(Resist(), carrier=Carrier(value)))
        elif key == "part":
            settings = replace(settings, part=Part(width_mm=value[0], height_mm=value[1]))
        else:
            settings = replace(settings, **{key: value})
    return settings


def judge_all(fault: Fault, clean: Sequence[Shape], figures: Figures, label: str, dialects: int) -> None:
    """Judge one fault in some of the dialects of every format it can be said in."""
    for kind, name, data, shift in written(fault, clean, dialects, random.Random(label)):
        file = {"svg": "a.svg", "dxf": "a.dxf", "hpgl": "a.plt"}[kind]
        findings = judge(read_cutfile(data, name=file), name=file, settings=settings_of(fault)).judgement.findings
        if name in UNITLESS:
            findings = tuple(f for f in findings if f.code != "scale-doubt")
        hits = [f for f in findings if f.code == fault.code]
        words = f"{label}, {kind} {name}, {fault.code} {fault.size}"
        others = [f for f in findings if f.code != fault.code and f.code not in fault.allowed]
        if others:
            figures.wrong.append(f"{words}: false {[(str(f.code), f.at_mm, f.value) for f in others][:3]}")
        if not fault.expected:
            figures.clean += 1
            figures.passed += not hits and not others
            if hits:
                figures.wrong.append(f"{words}: told beyond its limit {[(f.at_mm, f.value) for f in hits]}")
            continue
        key = fault.code, kind
        figures.counts[key][1] += 1
        figures.counts[key][0] += bool(hits)
        if not hits:
            figures.wrong.append(f"{words}: missed")
            continue
        if fault.severity and all(f.severity != fault.severity for f in hits):
            figures.wrong.append(f"{words}: severity {hits[0].severity}")
        if fault.where is not None:
            where = shapely.affinity.translate(fault.where, *((-5.0, -5.0) if name in SHIFTED else (0.0, shift)))
            away = max(9.9 if f.at_mm is None else float(shapely.distance(where, shapely.Point(f.at_mm))) for f in hits)
            figures.place[key] = max(figures.place[key], away)
            if away > PLACE_MM:
                figures.wrong.append(f"{words}: {away:.2f} mm from its place, told at {[f.at_mm for f in hits]}")
        if fault.value is not None:
            off = min(9.9 if f.value is None else abs(f.value - fault.value) for f in hits)
            figures.value[key] = max(figures.value[key], off)
            if off > VALUE_MM:
                figures.wrong.append(f"{words}: value {[f.value for f in hits]}, not {fault.value:.3f}")


def measure(seeds: Sequence[int], *, dialects: int = 2, every: int = 1) -> Figures:
    """Judge every fault (or one in `every`, others for other seeds) beside a clean drawing of its own."""
    figures = Figures()
    for seed in seeds:
        for number, fault in enumerate(faults(random.Random(seed))):
            if (number + seed) % every == 0:
                label = f"seed {seed} fault {number}"
                judge_all(fault, clean_shapes(random.Random(label)), figures, label, dialects)
        label = f"seed {seed} clean"
        judge_all(Fault("", "clean", False), clean_shapes(random.Random(label)), figures, label, len(SVG))
    return figures


def run(seeds: int = 3, first: int = 0) -> None:
    """Print the table."""
    figures = measure(range(first, first + seeds))
    for key, (found, of) in sorted(figures.counts.items()):
        code, kind = key
        print(f"{code:16} {kind:5} {found:4d}/{of:<4d} worst place {figures.place[key]:.3f} mm, "
              f"worst value {figures.value[key]:.3f}")  # fmt: skip
    print(f"within their limits: {figures.passed} of {figures.clean} files without a false word")
    print("\n".join(figures.wrong) or "nothing missed, nothing claimed falsely")


if __name__ == "__main__":
    run(*(int(word) for word in sys.argv[1:]))
