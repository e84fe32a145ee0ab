"""Size, pieces and cut length against other libraries, and what is claimed of drawings not made by us.

Openly licensed icons (MIT) from an npm package are read by svgelements and measured with shapely; DXF of the labelled
set by ezdxf's own flattening. They are fetched into `build/` when the benchmark runs and never part of the project.
"""

from __future__ import annotations

import io
import json
import random
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

import ezdxf
import ezdxf.disassemble
import ezdxf.path
import numpy as np
import shapely
import svgelements

from benchmarks.check_dxf_hpgl import DXF
from benchmarks.check_shapes import clean_shapes
from benchmarks.tracing_drawings import BUILD
from maskgen.check.cutfile import judge
from maskgen.check.settings import CheckSettings
from maskgen.formats.cutfile import read_cutfile

ICONS = "bootstrap-icons@1.11.3"
SIDE_MM = 80.0
SHARE = 0.002
WIDTHS = frozenset({"thin-land", "narrow-gap", "small-piece", "loose-island"})
"""What a drawing in a random size may well have; all else is compared or told."""


@dataclass
class Measured:
    """What was compared."""

    files: int = 0
    alike: int = 0
    worst: float = 0.0
    claims: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def compare(self, name: str, data: bytes, file: str, rings: Sequence[np.ndarray], flip: float = 1.0) -> None:
        """Judge a file and compare it with rings read by another library (mm)."""
        judgement = judge(read_cutfile(data, name=file), name=file, settings=CheckSettings()).judgement
        points = np.vstack(rings)
        size = np.ptp(points, axis=0)
        length = sum(float(np.hypot(*np.diff(ring, axis=0).T).sum()) for ring in rings)
        ours, theirs = (*judgement.size_mm, judgement.cut_length_mm), (*size, length)
        off = max(abs(a / b - 1) for a, b in zip(ours, theirs, strict=True))
        pieces = _pieces(rings)
        hard = {str(f.code) for f in judgement.findings} - WIDTHS
        self.files += 1
        self.claims.update(hard)
        tangled = bool(hard & {"self-crossing", "crossing-pieces", "doubled-line", "backing-panel"})
        alike = off <= SHARE and (tangled or pieces == judgement.pieces)
        self.alike += alike
        self.worst = max(self.worst, off)
        if not alike:
            self.wrong.append(f"{name}: {off:.2%} off, {judgement.pieces} pieces, not {pieces}; {sorted(hard)}")
        if bool(hard & {"self-crossing", "crossing-pieces"}) != _crossed(rings) and not hard & {"doubled-line"}:
            self.wrong.append(f"{name}: {sorted(hard)}, but shapely finds {'a' if _crossed(rings) else 'no'} crossing")
        outside = points.min() < -0.01 or points.max() > SIDE_MM + 0.01
        if file == "a.svg" and ("off-sheet" in hard) != outside:
            self.wrong.append(f"{name}: off-sheet {'off-sheet' in hard}, bounds say {outside}")


def _pieces(rings: Sequence[np.ndarray]) -> int:
    """Count rings at even depth."""
    polygons = [shapely.make_valid(shapely.Polygon(ring)) for ring in rings]
    spots = [p.representative_point() for p in polygons]
    depth = [sum(q.contains(s) and q.area > p.area for q in polygons) for p, s in zip(polygons, spots, strict=True)]
    return sum(d % 2 == 0 for d in depth)


def _crossed(rings: Sequence[np.ndarray], noise: float = 0.02) -> bool:
    """Tell whether rings cross one another by more than rounding, or one itself (touching is no crossing)."""
    for k, ring in enumerate(rings):
        polygon = shapely.Polygon(ring)
        x, y = (ring - ring[0]).T
        signed = abs(float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))) / 2
        if abs(signed - shapely.make_valid(polygon).area) > noise:
            return True  # parts that are walked round twice, or the other way
        for other in rings[k + 1 :]:
            if shapely.LinearRing(ring).crosses(shapely.LinearRing(other)):
                a, b = shapely.make_valid(polygon), shapely.make_valid(shapely.Polygon(other))
                if all(not g.buffer(-noise).is_empty for g in (a & b, a - b, b - a)):
                    return True
    return False


def icons(count: int, measured: Measured) -> None:
    """Compare icons drawn with fills."""
    folder = BUILD / "icons" / "package" / "icons"
    if not folder.is_dir():
        (BUILD / "icons").mkdir(parents=True, exist_ok=True)
        packed = subprocess.run(["npm", "pack", "--json", ICONS], cwd=BUILD / "icons", check=True, capture_output=True)
        name = json.loads(packed.stdout)[0]["filename"]
        subprocess.run(["tar", "xzf", name], cwd=BUILD / "icons", check=True)
    files = sorted(folder.glob("*.svg"))
    for place in np.random.default_rng(5).permutation(len(files))[:count].tolist():
        text = files[place].read_text()
        text = re.sub(r'<svg[^>]*viewBox="0 0 16 16"', f'<svg xmlns="http://www.w3.org/2000/svg" width="{SIDE_MM}mm" '
                      f'height="{SIDE_MM}mm" viewBox="0 0 16 16"', text, count=1)  # fmt: skip
        rings = []
        for element in svgelements.SVG.parse(io.StringIO(text), reify=False).elements():
            if isinstance(element, svgelements.Shape):
                for subpath in svgelements.Path(element).as_subpaths():
                    rings.append(_flat(svgelements.Path(subpath)))
        rings = [ring * (SIDE_MM / 16) for ring in rings if len(ring) > 3]
        measured.compare(files[place].stem, text.encode(), "a.svg", rings)


def _flat(path: svgelements.Path) -> np.ndarray:
    points = []
    for segment in path:
        if isinstance(segment, svgelements.Move):
            points.append(segment.end)
        elif isinstance(segment, (svgelements.Line, svgelements.Close)):
            if segment.end is not None:
                points.append(segment.end)
        else:
            points.extend(segment.point(t) for t in np.linspace(0, 1, 41)[1:])
    ring = np.array([(float(p.x), float(p.y)) for p in points])
    return ring if np.array_equal(ring[0], ring[-1]) else np.vstack([ring, ring[:1]])


def drawings(count: int, measured: Measured) -> None:
    """Compare clean DXF, flattened by ezdxf."""
    for seed in range(count):
        name = sorted(DXF)[seed % len(DXF)]
        if name == "R2010 in, chains":
            continue
        data = DXF[name][0](clean_shapes(random.Random(f"dxf {seed}")), ())
        document = ezdxf.read(io.StringIO(data.decode()))
        rings = []
        for entity in ezdxf.disassemble.recursive_decompose(document.modelspace()):
            corners = [(v.x, -v.y) for v in ezdxf.path.make_path(entity).flattening(0.0005)]
            rings.append(np.array(corners if corners[0] == corners[-1] else [*corners, corners[0]]))
        measured.compare(f"{name} {seed}", data, "a.dxf", rings)


def run(count: int = 150) -> None:
    """Print the figures."""
    for name, measure in (("icons", icons), ("DXF", drawings)):
        measured = Measured()
        measure(count if name == "icons" else count // 5, measured)
        print(
            f"{name}: {measured.alike} of {measured.files} alike in size, length and pieces, worst {measured.worst:.3%}"
        )
        print(f"  claimed: {dict(measured.claims)}")
        print("\n".join(measured.wrong))


if __name__ == "__main__":
    run(*(int(word) for word in sys.argv[1:]))
