"""What `maskgen check` does with one file, and how it tells the result."""

from __future__ import annotations

import dataclasses
import json
import math
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from maskgen.check.against import MOST_DEVIATION_MM, Comparison, compare
from maskgen.check.cutfile import Analysis, judge
from maskgen.check.mend import Mended, Repair, mend
from maskgen.check.pieces import Polarity
from maskgen.check.settings import CheckSettings
from maskgen.errors import InputError
from maskgen.formats import dxf, hpgl
from maskgen.formats.cutfile import ENDINGS, read_cutfile
from maskgen.formats.findings_json import write_findings
from maskgen.formats.folder import load
from maskgen.formats.records import parse_toml, read_record
from maskgen.formats.svg_mended import write_mended
from maskgen.model.drawing import Drawing, FeatureKind, Source, in_millimetres
from maskgen.model.finding import failed
from maskgen.model.job import Part, Resist
from maskgen.model.masks import CutDrawing
from maskgen.shape.arc_paths import arc_drawing
from maskgen.units import HPGL_UNITS_PER_MM

_SOURCES = {".dxf": Source.DXF, ".plt": Source.HPGL, ".hpgl": Source.HPGL}
_SHEET = re.compile(r"\s*(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)\s*$", re.IGNORECASE)


@dataclass(frozen=True)
class Checked:
    """One file, judged; what was mended and compared; the files to be written for it."""

    analysis: Analysis
    repairs: tuple[Repair, ...]
    comparison: Comparison | None
    written: tuple[tuple[str, bytes], ...]

    @property
    def failed(self) -> bool:
        """Whether an error stands, or the file is not what the job made."""
        different = self.comparison is not None and not self.comparison.same
        return failed(self.analysis.judgement.findings) or different


def read_settings(*, resist: str | None, part: str | None, sheet: str | None, polarity: str) -> CheckSettings:
    """Read the options; a job file given as the profile tells the part, too.

    Raises
    ------
    InputError
        For an option that cannot be understood.
    """
    from maskgen.cli.options import read_part

    limits, of_job = Resist(), None
    if resist is not None:
        table = parse_toml(load(Path(resist), what="resist profile"), name=resist)
        limits = read_record(Resist, table.get("resist", {} if "part" in table else table), where=f"{resist}: resist")
        of_job = read_record(Part, table["part"], where=f"{resist}: part") if "part" in table else None
    if polarity not in set(Polarity):
        raise InputError(f"is {polarity!r}", where="--polarity", mend="write inside or outside")
    size = None
    if sheet is not None:
        match = _SHEET.match(sheet)
        if match is None or not (float(match.group(1)) > 0 and float(match.group(2)) > 0):
            raise InputError(f"{sheet!r} is not a size", where="--sheet", mend="write it like 300x200, in mm")
        size = float(match.group(1)), float(match.group(2))
    return CheckSettings(limits, read_part(part) if part else of_job, size, Polarity(polarity))


def expand(files: Sequence[str]) -> list[tuple[Path, str]]:
    """Give every file with what it is called in the report; folders give the cut files in them.

    Raises
    ------
    InputError
        For a folder without any.
    """
    paths: list[Path] = []
    for file in files:
        path = Path(file)
        if path.is_dir():
            inside = sorted(p for p in path.rglob("*") if p.suffix.lower() in ENDINGS and p.is_file())
            if not inside:
                raise InputError("holds no cut files", where=file, mend="name a folder with .svg, .dxf or .plt files")
            paths.extend(inside)
        else:
            paths.append(path)
    paths = list(dict.fromkeys(paths))
    often = Counter(path.name for path in paths)
    return [(path, path.name if often[path.name] == 1 else str(path)) for path in paths]


def check_one(path: Path, name: str, settings: CheckSettings, *, mend_to: str | None, against: str | None) -> Checked:
    """Judge one file, and mend and compare it when asked."""
    original = load(path, what="cut file")
    drawing = read_cutfile(original, name=name)
    analysis = judge(drawing, name=name, settings=settings)
    comparison = None
    if against is not None:
        comparison = compare(analysis.pieces.polygons, _masks_of(Path(against), settings))
    if mend_to is None:
        return Checked(analysis, (), comparison, ())
    outlines_only = Path(mend_to).suffix.lower() != ".svg"
    mended = mend(drawing, name=name, settings=settings, outlines_only=outlines_only)
    data = mended_bytes(mend_to, mended, drawing, original)
    return Checked(analysis, mended.repairs, comparison, ((mend_to, data),))


def _masks_of(folder: Path, settings: CheckSettings) -> list[tuple[str, Any]]:
    files = sorted((folder / "masks").glob("*.svg"))
    if not files:
        raise InputError("holds no masks/*.svg", where=str(folder), mend="name the folder of a finished job")
    masks = []
    for file in files:
        drawing = read_cutfile(load(file, what="mask"), name=str(file))
        masks.append(
            (file.stem, judge(drawing, name=str(file), settings=CheckSettings(settings.resist)).pieces.polygons)
        )
    return masks


def mended_bytes(path: str, mended: Mended, drawing: Drawing, original: bytes) -> bytes:
    """Give a mended drawing in the format of a path; a DXF or plot in which nothing was to be mended as it was."""
    suffix = Path(path).suffix.lower()
    if suffix == ".svg":
        features = in_millimetres(drawing).features
        letters = [(f.name, f.at) for f in features if f.kind is FeatureKind.TEXT]
        return write_mended(mended.drawing, bare=mended.bare, letters=letters)
    if not mended.repairs and _SOURCES.get(suffix) is drawing.source:
        return original
    if suffix == ".dxf":
        return dxf.write_cut(arc_drawing(mended.drawing))
    if suffix in (".plt", ".hpgl"):
        return hpgl.write_cut(_in_whole_units(mended.drawing))
    raise InputError(f"{path!r} is neither .svg, .dxf nor .plt", where="--mend", mend="name such a file")


def _in_whole_units(drawing: CutDrawing) -> CutDrawing:
    """Give the window room, to the right and above, for what the grid of HPGL rounds up; no place in it moves."""
    width, height = (
        math.ceil(side * HPGL_UNITS_PER_MM - 1e-6) / HPGL_UNITS_PER_MM for side in (drawing.width, drawing.height)
    )
    return dataclasses.replace(drawing, top=drawing.top - (height - drawing.height), width=width, height=height)


def tell(done: Sequence[Checked], *, as_json: bool, several: bool, written: Sequence[str]) -> None:
    """Print the results."""
    if as_json:
        objects = [json.loads(write_findings(r.analysis.judgement, **_more(r))) for r in done]
        document = objects if several else objects[0]
        click.echo(json.dumps(document, indent=2, ensure_ascii=False))
        return
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from maskgen.report.check_page import comparison_sentences, figures, place_of, repair_sentence

    console = Console()
    for result in done:
        judgement = result.analysis.judgement
        good = judgement.verdict == "pass"
        console.print(Text(f"{judgement.file}: {judgement.verdict}", style="bold green" if good else "bold red"))
        console.print("  " + ", ".join(f"{name} {value}" for name, value in figures(result.analysis)), markup=False)
        if judgement.findings:
            table = Table("#", "finding", "place, mm", "what", "remedy")
            for number, f in enumerate(judgement.findings, 1):
                style = {"error": "red", "warning": "yellow"}.get(f.severity.value, "")
                kind = Text(f"{f.code.value} ({f.severity.value})", style=style)
                table.add_row(str(number), kind, place_of(f), Text(f.message), Text(f.mend))
            console.print(table)
        sentences = [repair_sentence(r) for r in result.repairs]
        sentences += comparison_sentences(result.comparison) if result.comparison else []
        for sentence in [*sentences, *judgement.notes]:
            console.print(f"  {sentence}", markup=False)
    for name in written:
        console.print(f"  written: {name}", markup=False)


def _more(result: Checked) -> dict[str, Any]:
    more: dict[str, Any] = {}
    if result.written:
        repairs = [
            {"code": r.code.value, "done": r.done, "what": r.what, "at_mm": None if r.at is None else _rounded(r.at)}
            for r in result.repairs
        ]
        more["mended"] = {"file": result.written[0][0], "repairs": repairs}
    c = result.comparison
    if c is not None:
        more["against"] = {
            "same": c.same,
            "scale": round(c.scale, 6),
            "mistake": c.mistake,
            "mirrored": c.mirrored,
            "deviation_limit_mm": MOST_DEVIATION_MM,
            "masks": [
                {
                    "mask": m.mask,
                    "pieces": m.pieces,
                    "found": m.found,
                    "copies": m.copies,
                    "moved_mm": m.moved_mm,
                    "turned_degrees": m.turned_degrees,
                    "missing_at_mm": m.missing,
                    "deviation_mm": None if m.deviation_mm is None else round(m.deviation_mm, 4),
                    "deviation_at_mm": None if m.deviation_at is None else _rounded(m.deviation_at),
                }
                for m in c.masks
            ],
            "extra_at_mm": c.extra,
        }
    return more


def _rounded(at: tuple[float, float]) -> list[float]:
    return [round(at[0], 4) + 0.0, round(at[1], 4) + 0.0]
