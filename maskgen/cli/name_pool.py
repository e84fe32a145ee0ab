"""The rows of a list spread over the cores, each written to its folder where it is made."""

from __future__ import annotations

import contextlib
import gc
import multiprocessing
import os
import signal
import sys
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path
from typing import Any

from maskgen.cli.name_rows import row_files, row_mark, row_record
from maskgen.formats.folder import save_folder
from maskgen.formats.shelf import write_shelf
from maskgen.model.job import Job
from maskgen.model.names import NameRow, RowRecord
from maskgen.pipeline.names import MOST_STAMPS, ClusterKey, NameMaker

BATCH = 8
"""Rows handed over at a time: far more work than the handing over."""
AHEAD = 3
"""Batches handed to each worker before its first is back."""
FEW = 6
"""Up to this many rows starting further processes takes longer than it saves."""
BLOCK = 2000
"""Rows looked through together for letters that come again; those are worked out beforehand, once for all workers."""


@dataclass(frozen=True, slots=True)
class RowWriter:
    """Makes rows and writes their folders; `places` are the folders by row, `job` what the rows' own job files say."""

    maker: NameMaker
    home: Path
    places: dict[int, str]
    shared: bytes
    job: Job

    def end(self, row: NameRow) -> RowRecord:
        """Make one row, write it, and give what is kept of it."""
        made = self.maker.make(row)
        if made.drawn is None:
            return row_record(made, "")
        record = row_record(made, self.maker.setting.colour_of(row).key)
        text = self.job.text
        assert text is not None
        spec = replace(text, text=row.text, second=row.second, colour=row.colour or text.colour)
        job = replace(self.job, quantity=row.quantity, text=spec)
        shelf = write_shelf(self.maker.setting.template.shelf)
        files = row_files(made, record, job=job, shelf=shelf, mark=row_mark(row, self.shared))
        save_folder(self.home / self.places[row.number], files)
        return record


def end_rows(
    writer: RowWriter, rows: Sequence[NameRow], workers: int, *, tell_letters: Callable[[int, int], None]
) -> Iterator[tuple[NameRow, RowRecord]]:
    """Make rows, in order, several at a time; `tell_letters` is told how many letters of how many are worked out."""
    if workers == 1 or len(rows) <= FEW:
        yield from ((row, writer.end(row)) for row in rows)
        return
    for begin in range(0, len(rows), BLOCK):
        block = rows[begin : begin + BLOCK]
        if _start_method() == "fork":
            _work_out_beforehand(writer, block, workers, tell_letters)
        with _pool(writer, workers) as pool:
            for batch in _in_turn(pool, _end_batch, _batches(block), workers):
                yield from batch


def _work_out_beforehand(
    writer: RowWriter, rows: Sequence[NameRow], workers: int, tell: Callable[[int, int], None]
) -> None:
    """Work out what comes more than once, so that workers forked after this begin with it."""
    maker = writer.maker
    with _pool(writer, workers) as pool:
        found = Counter(key for keys in _in_turn(pool, _clusters_of_batch, _batches(rows), workers) for key in keys)
        often = [key for key, count in found.most_common(MOST_STAMPS) if count > 1 and not maker.knows(key)]
        for number, (key, known) in enumerate(zip(often, _in_turn(pool, _work_out, often, workers), strict=True), 1):
            maker.keep(key, known)
            tell(number, len(often))


def _batches(rows: Sequence[NameRow]) -> Iterator[list[NameRow]]:
    left = iter(rows)
    return iter(lambda: list(islice(left, BATCH)), [])


def _start_method() -> str:
    """Forked workers share what has been worked out; nothing done in them waits for a thread of the parent."""
    ways = multiprocessing.get_all_start_methods()
    return "fork" if sys.platform == "linux" and "fork" in ways else "spawn"


@contextlib.contextmanager
def _pool(writer: RowWriter, workers: int) -> Iterator[ProcessPoolExecutor]:
    # What has been read and worked out by now stays where it is: collecting garbage would have every worker copy it.
    gc.collect()
    gc.freeze()
    pool = ProcessPoolExecutor(workers, multiprocessing.get_context(_start_method()), _begin, (writer,))
    try:
        yield pool
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        gc.unfreeze()


def _in_turn(pool: ProcessPoolExecutor, work: Any, items: Iterable[Any], workers: int) -> Iterator[Any]:
    """Give results in order, with few handed over ahead."""
    ahead: deque[Future[Any]] = deque()
    for item in items:
        with _undisturbed():
            ahead.append(pool.submit(work, item))
        if len(ahead) >= AHEAD * workers:
            yield ahead.popleft().result()
    while ahead:
        yield ahead.popleft().result()


@contextlib.contextmanager
def _undisturbed() -> Iterator[None]:
    """Keep Ctrl-C waiting while workers start, so that none of them is born into it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextlib.contextmanager
def aside(work: Callable[[], None], workers: int) -> Iterator[None]:
    """Do some work that writes files in a process of its own while the body goes on; where that cannot be, before it.

    Where it fails there it is done again here, and fails where it is seen.
    """
    if workers == 1 or _start_method() != "fork":
        work()
        yield
        return
    process = multiprocessing.get_context("fork").Process(target=_do_aside, args=(work,), daemon=True)
    with _undisturbed():
        process.start()
    try:
        yield
    except BaseException:
        process.kill()
        raise
    finally:
        process.join()
    if process.exitcode != 0:
        work()


def _do_aside(work: Callable[[], None]) -> None:
    _outlive_nothing()
    try:
        work()
    except BaseException:
        os._exit(1)


_WRITER: RowWriter | None = None


def _begin(writer: RowWriter) -> None:
    """Set a worker up: deaf to Ctrl-C, which the main process answers, and gone when that is gone."""
    global _WRITER
    _outlive_nothing()
    _WRITER = writer


def _outlive_nothing() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = os.getppid()
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(1, signal.SIGKILL)  # PR_SET_PDEATHSIG, prctl(2): die with the parent, at once

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(0.5)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _work_out(key: ClusterKey) -> Any:
    assert _WRITER is not None
    return _WRITER.maker.work_out(key)


def _clusters_of_batch(rows: Sequence[NameRow]) -> list[ClusterKey]:
    assert _WRITER is not None
    return [key for row in rows for key in _WRITER.maker.clusters_of(row)]


def _end_batch(rows: Sequence[NameRow]) -> list[tuple[NameRow, RowRecord]]:
    assert _WRITER is not None
    return [(row, _WRITER.end(row)) for row in rows]
