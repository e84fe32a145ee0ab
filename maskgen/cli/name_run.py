"""A whole name list carried out: rows made and written as they are finished, then what they share."""

from __future__ import annotations

import dataclasses
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from maskgen.cli import name_rows
from maskgen.cli.cut_output import parcel_of
from maskgen.cli.load import artwork_name
from maskgen.cli.name_pool import RowWriter, aside, end_rows
from maskgen.cli.name_sheets import Laid, ListedMask, ListSheets
from maskgen.formats.folder import check_folder, save, save_folder, save_parts
from maskgen.formats.fonts import FAMILIES
from maskgen.formats.manifest import write_manifest
from maskgen.model.job import Job
from maskgen.model.names import NameList, NameRow, RowRecord, RowReport, RowStatus
from maskgen.model.result import Estimate, JobResult
from maskgen.pipeline.name_job import Template
from maskgen.pipeline.names import NameMaker
from maskgen.plan.estimate import Lot, estimate_lots
from maskgen.report.bench import write_bench_sheets
from maskgen.report.bench_names import NamedMask, NamedPart
from maskgen.report.contact_sheet import write_contact_sheet
from maskgen.report.names_page import NameLot, NamePicture, SheetPicture, write_names_report
from maskgen.report.words import WORDS
from maskgen.shape.nest import placed_box

MOST_ASIDE = 2000
"""Of longer lists two processes at work on the papers would hold too much twice."""
OVER_ARTWORK = "The box for the letters lies over the artwork; names that reach it are told below."


@dataclass(frozen=True, slots=True)
class Outcome:
    """How the list ended."""

    reports: tuple[RowReport, ...]
    sheets: int
    errors: int
    notes: tuple[str, ...]

    def count(self, status: RowStatus) -> int:
        """Number of rows that ended so."""
        return sum(report.status is status for report in self.reports)


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
        maker.prepare(self.names.rows)
        digits = max(4, len(str(len(self.names.rows))))
        places = {row.number: name_rows.folder_name(row, digits=digits) for row in self.names.rows}
        shared = name_rows.fingerprint(self.template, self.artwork)
        job, files = self._shared_files(maker.setting.job)
        writer = RowWriter(maker, self.folder / "names", places, shared, job)
        name_rows.clear_half_made(self.folder)
        name_rows.clear_others(writer.home, set(places.values()) if resume else set())
        records: dict[int, RowRecord] = {}
        for row in self.names.rows if resume else ():
            known = name_rows.finished_row(writer.home / places[row.number], name_rows.row_mark(row, shared))
            if known is not None:
                records[row.number] = known
        left = [row for row in self.names.rows if row.number not in records]
        tell = _progress(len(left))
        for row, record in end_rows(writer, left, workers, tell_letters=_tell_letters):
            records[row.number] = record
            tell()
        kept = {places[number] for number, record in records.items() if record.status is not RowStatus.REFUSED}
        name_rows.clear_others(writer.home, kept)
        self.folder.mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            save(self.folder / name, data)
        return _Sharing(self, writer, records).share(workers)

    def _shared_files(self, job: Job) -> tuple[Job, dict[str, bytes]]:
        """Give the job as the rows' own job files have it, and the files they name beside the row folders."""
        files: dict[str, bytes] = {}
        text = job.text
        assert text is not None
        job = dataclasses.replace(job, shelf="shelf.toml")
        if text.font.strip().lower() not in (family.lower() for family in FAMILIES):
            name = "template" + Path(text.font).suffix.lower()
            files[name] = self.template.font
            job = dataclasses.replace(job, text=dataclasses.replace(text, font=f"../../{name}"))
        if job.artwork is not None:
            name = artwork_name(job.artwork.file)
            files[name] = self.artwork
            job = dataclasses.replace(job, artwork=dataclasses.replace(job.artwork, file=f"../../{name}"))
        return job, files


@dataclass(frozen=True, slots=True)
class _Sharing:
    """What is made of all rows together: sheets, report, bench sheet, manifest."""

    run: NameRun
    writer: RowWriter
    records: dict[int, RowRecord]

    def share(self, workers: int) -> Outcome:
        """Write it, one sheet and one name at a time; the papers in a process of their own."""
        run, maker = self.run, self.writer.maker
        job, folder = maker.setting.job, run.folder
        good = [row for row in run.names.rows if self.records[row.number].status is not RowStatus.REFUSED]
        sheets = ListSheets(self._stages(good), job)
        laid = sheets.laid()
        twice = {key for key, count in Counter(row.key for row in run.names.rows).items() if key and count > 1}
        spots = self._spots(laid)
        reports = tuple(self._report(row, spots, twice) for row in run.names.rows)
        lots = self._lots(good, laid)
        whole = dataclasses.replace(job, quantity=max(sum(row.quantity for row in good), 1))
        notes = run.names.notes + ((OVER_ARTWORK,) if maker.box_over_artwork() else ())
        notes += run.template.artwork.notes if run.template.artwork is not None else ()
        blanks = {colour: maker.blank_picture(colour) for colour in {r.colour for r in self.records.values()}}
        results, _, named = zip(*lots.values(), strict=True) if lots else ((), (), ())
        refused = [r for r in reports if r.status is RowStatus.REFUSED]

        def papers() -> None:
            save(folder / "bench-sheet.pdf", write_bench_sheets(results, title=job.title or "Names", names=named))
            proof = write_contact_sheet(
                whole,
                blanks=dict(sorted(blanks.items())),
                pictures=self._pictures(good),
                not_made=[f"{WORDS.name_caption(r.row.number, _whole(r.row), 1)}: {r.reason}" for r in refused],
            )
            save(folder / "proof.pdf", proof)

        with aside(papers, workers if len(good) <= MOST_ASIDE else 1):
            save_folder(folder / "sheets", sheets.files())
            save_parts(
                folder / "report.html",
                write_names_report(
                    whole,
                    reports=reports,
                    findings=maker.of_all({self.records[row.number].colour: row for row in good[::-1]}.values()),
                    blanks=blanks,
                    pictures=self._pictures(good),
                    sheets=self._sheet_pictures(laid),
                    sheet_count=len(laid),
                    lots=[NameLot(colour, lot.parts, lot.plan) for colour, (_, lot, _) in lots.items()],
                    estimate=self._estimate(whole, [lot for _, lot, _ in lots.values()], laid, good),
                    notes=notes,
                ),
            )
        if job.sheets.parcel:
            cut = {f"sheets/{path.name}": path.read_bytes() for path in sorted((folder / "sheets").iterdir())}
            save(folder / "parcel.zip", parcel_of(cut, [one.empty_sheet for one in laid], whole))
        save(folder / "manifest.csv", write_manifest(reports))
        return Outcome(reports, len(laid), sum(record.errors for record in self.records.values()), notes)

    def _stages(self, good: Sequence[NameRow]) -> list[list[ListedMask]]:
        """Give all masks, those that go on together in one stage."""
        stages: dict[str, list[ListedMask]] = {}
        for row in good:
            for mask in self.records[row.number].masks:
                place = self.writer.home / self.writer.places[row.number]
                stages.setdefault(mask.number, []).append(ListedMask(row.number, place, mask, row.quantity))
        return [stages[number] for number in sorted(stages, key=lambda n: int(n[1:]))]

    def _spots(self, laid: Sequence[Laid]) -> dict[int, tuple[int, tuple[float, float]]]:
        """Tell where the first copy of the mask that draws every row's name lies."""
        spots: dict[int, tuple[int, tuple[float, float]]] = {}
        for sheet in laid:
            for placement, box in zip(sheet.placements, sheet.boxes, strict=True):
                row = int(placement.row)
                record = self.records[row]
                if row in spots or placement.mask != record.name_mask:
                    continue
                # The box of a whole mask may hold register crosses too.
                whole = placement.piece is None and placement.tile is None
                own = next(mask.box for mask in record.masks if mask.number == placement.mask)
                left, top, _, _ = placed_box(own, placement) if whole else box
                spots[row] = (sheet.number, (left, top))
        return spots

    def _report(self, row: NameRow, spots: dict[int, tuple[int, tuple[float, float]]], twice: set[str]) -> RowReport:
        record = self.records[row.number]
        status, reason = record.status, record.reason
        if row.key in twice and status is not RowStatus.REFUSED:
            status = RowStatus.WARNED
            reason = "; ".join(part for part in (f"the id {row.key} stands in the list more than once", reason) if part)
        sheet, at = spots.get(row.number, (None, None))
        return RowReport(row, status, reason, record.cap_height_mm, record.narrowest_land_mm, sheet, at)

    def _pictures(self, good: Iterable[NameRow]) -> Iterator[NamePicture]:
        for row in good:
            over, outlines = name_rows.read_picture(self.writer.home / self.writer.places[row.number])
            blank = self.records[row.number].colour if over else ""
            yield NamePicture(row.number, _whole(row), row.quantity, blank, tuple(outlines))

    def _sheet_pictures(self, laid: Sequence[Laid]) -> Iterator[SheetPicture]:
        several = any(len(record.masks) > 1 for record in self.records.values())
        for sheet in laid:
            path = self.run.folder / "sheets" / f"sheet-{sheet.number:02d}.svg"
            rows = tuple(int(placement.row) for placement in sheet.placements)
            masks = tuple(placement.mask if several else "" for placement in sheet.placements)
            yield SheetPicture(sheet.number, sheet.width, sheet.height, rows, masks, sheet.boxes, path.read_bytes())

    def _lots(self, good: Sequence[NameRow], laid: Sequence[Laid]) -> dict[str, tuple[JobResult, Lot, list[NamedPart]]]:
        """Give every set of rows of one colour, by its id, with a row that stands for them in the papers."""
        maker = self.writer.maker
        by_colour: dict[str, list[NameRow]] = {}
        for row in good:
            by_colour.setdefault(self.records[row.number].colour, []).append(row)
        lots = {}
        sheets = self._sheets_of(laid)
        for number, (colour, rows) in enumerate(by_colour.items(), start=1):
            whole = maker.whole(rows[0])
            count = sum(row.quantity for row in rows)
            masks = ((row.quantity, mask) for row in rows for mask in self.records[row.number].masks)
            job = dataclasses.replace(maker.setting.job, quantity=count)
            if len(by_colour) > 1:
                letters = maker.setting.colour_of(rows[0]).name
                job = dataclasses.replace(job, title=WORDS.lot_title(job.title, letters, number, len(by_colour)))
            used = {
                one
                for row in rows
                for mask in self.records[row.number].masks
                for one in sheets[row.number, mask.number]
            }
            result = JobResult(
                job=job,
                shelf=self.run.template.shelf,
                plan=whole.plan,
                regions=whole.regions,
                masks=whole.finished.masks,
                sheets=tuple(one.empty_sheet for one in laid if one.number in used),
                simulation=whole.finished.simulation,
                findings=(),
            )
            lot = Lot(whole.plan, count, sum(copies * sum(mask.runs) for copies, mask in masks))
            lots[colour] = (result, lot, [self._named(row, sheets) for row in rows])
        return lots

    def _sheets_of(self, laid: Sequence[Laid]) -> dict[tuple[int, str], tuple[int, ...]]:
        """Tell on which sheets the copies of every mask lie, by row and mask."""
        found: dict[tuple[int, str], tuple[int, ...]] = {}
        for sheet in laid:
            for key in {(int(placement.row), placement.mask) for placement in sheet.placements}:
                found[key] = (*found.get(key, ()), sheet.number)
        return found

    def _named(self, row: NameRow, sheets: Mapping[tuple[int, str], tuple[int, ...]]) -> NamedPart:
        masks = tuple(
            NamedMask(mask.number, sheets[row.number, mask.number], sum(mask.runs), mask.box[0], mask.box[1])
            for mask in self.records[row.number].masks
        )
        return NamedPart(row.number, _whole(row), row.quantity, masks)

    def _estimate(
        self, job: Job, lots: Sequence[Lot], laid: Sequence[Laid], good: Sequence[NameRow]
    ) -> Estimate | None:
        if not lots:
            return None
        cut = sum(row.quantity * mask.cut_mm for row in good for mask in self.records[row.number].masks)
        film = sum(sheet.width * sheet.height for sheet in laid)
        return estimate_lots(job, lots, shelf=self.run.template.shelf, film_mm2=film, cut_length_mm=cut)


def _whole(row: NameRow) -> str:
    return WORDS.whole_name(row.text, row.second)


def _tell_letters(done: int, count: int) -> None:
    """Say on a terminal how many of the letters that come again are worked out."""
    if sys.stderr.isatty() and (done % 10 == 0 or done == count):
        click.echo(f"\rletters that come again: {done} of {count}\x1b[K", nl=False, err=True)


def _progress(count: int) -> Callable[[], None]:
    """Say on a terminal how far it is and how long it will take."""
    if not sys.stderr.isatty() or count == 0:
        return lambda: None
    began, done, told = time.monotonic(), 0, 0.0

    def tell() -> None:
        nonlocal done, told
        done += 1
        now = time.monotonic()
        if now - told < 0.1 and done < count:
            return
        told = now
        left = (now - began) / done * (count - done)
        words = f"about {left / 60:.0f} min to go" if left >= 90 else f"about {left:.0f} s to go"
        click.echo(f"\r{done} of {count} names, {words}\x1b[K" + ("\n" if done == count else ""), nl=False, err=True)

    return tell


def print_outcome(outcome: Outcome, folder: Path) -> None:
    """Print totals and what was refused."""
    for report in outcome.reports:
        if report.status is RowStatus.REFUSED:
            shown = "".join(c if c.isprintable() else "\ufffd" for c in report.row.text[:40])
            click.echo(f"row {report.row.number} {shown}: {report.reason}")
    for note in outcome.notes:
        click.echo(note)
    if outcome.errors:
        click.echo("an error stands: see the report")
    click.echo(
        f"{outcome.count(RowStatus.MADE)} made, {outcome.count(RowStatus.WARNED)} made with something to look at, "
        f"{outcome.count(RowStatus.REFUSED)} refused; sheets: {outcome.sheets}"
    )
    click.echo(f"written to {folder}")
