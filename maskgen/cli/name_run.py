"""A whole name list carried out: rows made in worker processes, written as they finish, then what they share."""

from __future__ import annotations

import dataclasses
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from maskgen.cli import name_rows
from maskgen.cli.cut_output import sheet_files
from maskgen.formats.folder import check_folder, save, save_folder
from maskgen.formats.manifest import write_manifest
from maskgen.model.masks import Sheet
from maskgen.model.names import NameList, NameRow, RowReport, RowStatus
from maskgen.model.paths import bounds, length_of
from maskgen.model.result import JobResult
from maskgen.pipeline.names import MadeRow, NameMaker, Template
from maskgen.plan.estimate import Lot, estimate_lots
from maskgen.report.bench import write_bench_sheets
from maskgen.report.names_page import NamePicture, write_names_report
from maskgen.shape.nest import Wanted, nest_stages

AHEAD = 4
"""Rows handed to each worker before its first is back: enough that none waits, few enough to stay small."""
FEW = 6
"""Up to this many different rows starting further processes takes longer than it saves."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the list ended."""

    reports: tuple[RowReport, ...]
    sheets: int

    @property
    def refused(self) -> int:
        """Number of rows that were not made."""
        return sum(report.status is RowStatus.REFUSED for report in self.reports)


@dataclass(frozen=True, slots=True)
class NameRun:
    """A list, what its rows share, and where it goes."""

    template: Template
    artwork: bytes
    names: NameList
    folder: Path

    def carry_out(self, *, resume: bool, workers: int) -> Outcome:
        """Make what is missing, then the sheets and papers from all row folders."""
        check_folder(self.folder, ours=name_rows.is_ours)
        maker = NameMaker(self.template)
        shared = name_rows.fingerprint(self.template, self.artwork)
        digits = max(4, len(str(len(self.names.rows))))
        places = {row.number: name_rows.folder_name(row, digits=digits) for row in self.names.rows}
        home = self.folder / "names"
        name_rows.clear_others(home, set(places.values()) if resume else set())
        told: dict[int, dict[str, Any]] = {}
        left: list[NameRow] = []
        for row in self.names.rows:
            known = name_rows.finished_row(home / places[row.number], name_rows.row_mark(row, shared))
            if known is not None:
                told[row.number] = known
            else:
                left.append(row)
        groups: dict[tuple[str, str, str, str], list[NameRow]] = {}
        for row in left:
            groups.setdefault((row.text, row.second, row.colour, row.fault), []).append(row)
        tell = _progress(sum(len(g) for g in groups.values()))
        for key, made in _made(maker, [g[0] for g in groups.values()], groups, workers):
            for row in groups[key]:
                mark = name_rows.row_mark(row, shared)
                if made.status is RowStatus.REFUSED:
                    told[row.number] = dataclasses.asdict(_bare(made))
                else:
                    files = name_rows.row_files(made, row, self.template, mark)
                    save_folder(home / places[row.number], files)
                    told[row.number] = known = name_rows.finished_row(home / places[row.number], mark) or {}
                tell()
        kept = {places[n] for n, what in told.items() if what["status"] != RowStatus.REFUSED}
        name_rows.clear_others(home, kept)
        return self._share(maker, told, places)

    def _share(self, maker: NameMaker, told: dict[int, dict[str, Any]], places: dict[int, str]) -> Outcome:
        home, job, shelf = self.folder / "names", maker.job, self.template.shelf
        assert job.part is not None
        good = [row for row in self.names.rows if told[row.number]["status"] != RowStatus.REFUSED]
        masks = {row.number: name_rows.read_masks(home / places[row.number], told[row.number]) for row in good}
        numbers = sorted({m.number for found in masks.values() for m in found}, key=lambda n: int(n[1:]))
        stages = [
            [
                Wanted(mask, row.quantity, str(row.number))
                for row in good
                for mask in masks[row.number]
                if mask.number == number
            ]
            for number in numbers
        ]
        sheets = nest_stages(stages, resist=job.resist, settings=job.sheets, face_mm=job.part.face_mm)
        boxes = {(str(n), m.number): bounds(m.area) for n, ms in masks.items() for m in ms if m.area.pieces}
        spots = _spots(sheets, boxes, {str(n): told[n]["name_mask"] for n in masks})
        twice = _repeated([row.key for row in self.names.rows])
        reports = tuple(_report(row, told[row.number], spots.get(row.number), twice) for row in self.names.rows)
        lots = self._lots(maker, good, masks, sheets)
        parts = sum(row.quantity for row in good)
        whole = dataclasses.replace(job, quantity=max(parts, 1))
        figures = None
        if lots:
            figures = estimate_lots(
                whole,
                [lot for _, lot in lots],
                shelf=shelf,
                film_mm2=sum(s.drawing.width * s.drawing.height for s in sheets),
                cut_length_mm=sum(length_of(r) for s in sheets for p in s.drawing.pieces for r in p.rings),
            )
        files = {name.removeprefix("sheets/"): data for name, data in sheet_files(sheets, job).items()}
        save_folder(self.folder / "sheets", files)
        report = write_names_report(
            whole,
            reports=reports,
            pictures=(
                NamePicture(
                    row.number, row.text, row.quantity, (home / places[row.number] / "predicted.svg").read_bytes()
                )
                for row in good
            ),
            sheets=sheets,
            corners={key: (box[0], (box[1] + box[3]) / 2) for key, box in boxes.items()},
            estimate=figures,
            notes=self.names.notes,
        )
        save(self.folder / "report.html", report)
        title = job.title or "Names"
        save(self.folder / "bench-sheet.pdf", write_bench_sheets([r for r, _ in lots], title=title))
        save(self.folder / "manifest.csv", write_manifest(reports))
        return Outcome(reports, len(sheets))

    def _lots(
        self, maker: NameMaker, good: list[NameRow], masks: dict[int, Any], sheets: tuple[Sheet, ...]
    ) -> list[tuple[JobResult, Lot]]:
        """Give every set of rows of one colour with a row that stands for them in the papers."""
        by_colour: dict[str, list[NameRow]] = {}
        for row in good:
            by_colour.setdefault(maker.entry(row.colour or maker.spec.colour).key, []).append(row)
        lots = []
        for rows in by_colour.values():
            made = maker.make(rows[0])
            assert made.plan is not None
            assert made.regions is not None
            assert made.simulation is not None
            assert made.job is not None
            count = sum(row.quantity for row in rows)
            pieces = sum(row.quantity * len(m.area.pieces) for row in rows for m in masks[row.number])
            result = JobResult(
                job=dataclasses.replace(made.job, quantity=count),
                shelf=self.template.shelf,
                plan=made.plan,
                regions=made.regions,
                masks=made.masks,
                sheets=sheets,
                simulation=made.simulation,
                findings=(),
            )
            lots.append((result, Lot(made.plan, count, pieces)))
        return lots


def _bare(made: MadeRow) -> MadeRow:
    return MadeRow(made.status, made.reason, made.cap_height_mm, made.narrowest_land_mm)


def _report(row: NameRow, told: dict[str, Any], spot: Any, twice: set[str]) -> RowReport:
    status, reason = RowStatus(told["status"]), told["reason"]
    if row.key in twice and status is not RowStatus.REFUSED:
        status = RowStatus.WARNED
        reason = "; ".join(part for part in (f"the id {row.key} stands in the list more than once", reason) if part)
    sheet, at = spot if spot is not None else (None, None)
    return RowReport(row, status, reason, told["cap_height_mm"], told["narrowest_land_mm"], sheet, at)


def _repeated(keys: Iterable[str]) -> set[str]:
    seen: set[str] = set()
    twice: set[str] = set()
    for key in keys:
        (twice if key and key in seen else seen).add(key)
    return twice


def _spots(
    sheets: Iterable[Sheet], boxes: dict[tuple[str, str], Any], name_masks: dict[str, str]
) -> dict[int, tuple[int, tuple[float, float]]]:
    """Tell where the first copy of the mask that draws every row's name lies."""
    spots: dict[int, tuple[int, tuple[float, float]]] = {}
    for sheet in sheets:
        for placement in sheet.placements:
            row = int(placement.row)
            if row in spots or placement.mask != name_masks[placement.row]:
                continue
            left, top, right, bottom = boxes[placement.row, placement.mask]
            (x0, y0), (x1, y1) = placement.place((left, top)), placement.place((right, bottom))
            spots[row] = (sheet.number, (min(x0, x1), min(y0, y1)))
    return spots


_MAKER: NameMaker | None = None


def _begin(template: Template) -> None:
    """Set a worker up: deaf to Ctrl-C, which the main process answers, and gone when that is gone."""
    global _MAKER
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
    _MAKER = NameMaker(template)


def _make(row: NameRow) -> MadeRow:
    assert _MAKER is not None
    return _MAKER.make(row)


def _made(
    maker: NameMaker, rows: list[NameRow], groups: dict[tuple[str, str, str, str], list[NameRow]], workers: int
) -> Iterator[tuple[tuple[str, str, str, str], MadeRow]]:
    """Make rows, in order, several at a time."""
    keys = list(groups)
    if workers == 1 or len(rows) <= FEW:
        yield from ((key, maker.make(row)) for key, row in zip(keys, rows, strict=True))
        return
    pool = ProcessPoolExecutor(
        workers, multiprocessing.get_context("spawn"), initializer=_begin, initargs=(maker.template,)
    )
    try:
        ahead: deque[tuple[tuple[str, str, str, str], Future[MadeRow]]] = deque()
        for key, row in zip(keys, rows, strict=True):
            ahead.append((key, pool.submit(_make, row)))
            if len(ahead) >= AHEAD * workers:
                done, future = ahead.popleft()
                yield done, future.result()
        while ahead:
            done, future = ahead.popleft()
            yield done, future.result()
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _progress(count: int) -> Callable[[], None]:
    """Say on a terminal how far it is and how long it will take."""
    if not sys.stderr.isatty() or count == 0:
        return lambda: None
    began, done = time.monotonic(), 0

    def tell() -> None:
        nonlocal done
        done += 1
        left = (time.monotonic() - began) / done * (count - done)
        words = (
            f"{done} of {count} names, about {left / 60:.0f} min to go"
            if left >= 90
            else (f"{done} of {count} names, about {left:.0f} s to go")
        )
        click.echo(f"\r{words}\x1b[K" + ("\n" if done == count else ""), nl=False, err=True)

    return tell


def print_outcome(outcome: Outcome, folder: Path) -> None:
    """Print totals and what was refused."""
    counts = {status: sum(r.status is status for r in outcome.reports) for status in RowStatus}
    for report in outcome.reports:
        if report.status is RowStatus.REFUSED:
            shown = "".join(c if c.isprintable() else "\ufffd" for c in report.row.text[:40])
            click.echo(f"row {report.row.number} {shown}: {report.reason}")
    click.echo(
        f"{counts[RowStatus.MADE]} made, {counts[RowStatus.WARNED]} made with something to look at, "
        f"{counts[RowStatus.REFUSED]} refused; sheets: {outcome.sheets}"
    )
    click.echo(f"written to {folder}")
