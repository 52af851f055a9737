"""How do the reports of a whole class get made at once?

Each trial is one job: it opens the kitchen for itself, and its failure is told and stops no other.
Jobs run in processes of their own that share nothing, so that two cores make twice as many.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from tracker.workflow.files import file_name
from tracker.workflow.options import Options
from tracker.workflow.report_workers import begun_workers
from tracker.workflow.reporting import Beside, Look, Written, report_trial, require_reader


@dataclass(frozen=True, kw_only=True)
class Wish:
    """What is wished for each of the trials."""

    responses: tuple[str, ...] = ()
    options: Options = field(default_factory=Options)
    look: Look = field(default_factory=Look)
    beside: Beside = field(default_factory=Beside)


@dataclass(frozen=True, kw_only=True)
class Failure:
    """An error of ours in plain values, which travel between processes."""

    what: str
    where: str
    try_this: str
    exit_code: int

    def to_json(self) -> dict[str, Any]:
        return {"what": self.what, "where": self.where, "try": self.try_this, "exit_code": self.exit_code}


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one trial: ``written`` or ``failure``."""

    trial: str
    written: Written | None = None
    failure: Failure | None = None

    @property
    def exit_code(self) -> int:
        return self.failure.exit_code if self.failure else 0

    def to_json(self) -> dict[str, Any]:
        document: dict[str, Any] = {"trial": self.trial}
        if self.written is not None:
            document |= self.written.to_json()
        if self.failure is not None:
            document["error"] = self.failure.to_json()
        return document


@dataclass(frozen=True, kw_only=True)
class Job:
    """One report: where the kitchen is, which trial, where its file goes, and what is wished."""

    kitchen: str
    trial: str
    path: Path
    wish: Wish


def report_many(
    kitchen: str,
    trials: Sequence[str],
    folder: Path,
    wish: Wish,
    *,
    suffix: str = ".html",
    jobs: int | None = None,
    workers: Executor | None = None,
    step: Callable[[str], None] = lambda words: None,
) -> list[Outcome]:
    """A report of each trial into ``folder``, ``jobs`` at a time (one for each core); ``step`` is told each name.

    ``workers`` that have begun take the work. Outcomes stand in the order of ``trials``. Raises UsageError for a
    reader whom no report is made for.
    """
    require_reader(wish.look.reader)
    work = _jobs(kitchen, trials, folder, wish, suffix)
    if workers is not None:
        return list(_at_once(work, workers, step))
    at_once = min(jobs or os.cpu_count() or 1, len(work))
    if at_once <= 1:
        return list(_in_turn(work, step))
    with begun_workers(at_once) as pool:
        return list(_at_once(work, pool, step))


def _jobs(kitchen: str, trials: Sequence[str], folder: Path, wish: Wish, suffix: str) -> list[Job]:
    """Every trial once, with a file of its own; its pictures and tables go into a folder of its own."""
    taken: set[str] = set()
    work = []
    for trial in dict.fromkeys(trials):
        stem = file_name(trial, "")
        name = stem
        number = 1
        while name in taken:
            number += 1
            name = f"{stem}-{number}"
        taken.add(name)
        work.append(Job(kitchen=kitchen, trial=trial, path=folder / f"{name}{suffix}", wish=_own(wish, name)))
    return work


def _own(wish: Wish, name: str) -> Wish:
    beside = wish.beside
    pictures = beside.pictures / name if beside.pictures else None
    tables = beside.tables
    if tables is not None:
        book = tables.suffix.lower() == ".xlsx"
        tables = tables.with_name(f"{tables.stem}-{name}{tables.suffix}") if book else tables / name
    return replace(wish, beside=replace(beside, pictures=pictures, tables=tables))


def _in_turn(work: Sequence[Job], step: Callable[[str], None]) -> Iterator[Outcome]:
    for job in work:
        step(job.trial)
        yield make(job)


def _at_once(work: Sequence[Job], pool: Executor, step: Callable[[str], None]) -> Iterator[Outcome]:
    from concurrent.futures.process import BrokenProcessPool

    waiting = [_submitted(pool, job) for job in work]
    for job, future in zip(work, waiting, strict=True):
        step(job.trial)
        try:
            yield future.result()
        except BrokenProcessPool:  # killed from outside, or no memory was left
            yield Outcome(trial=job.trial, failure=_ended(job))


def _submitted(pool: Executor, job: Job) -> Future[Outcome]:
    """A pool that broke meanwhile takes no more jobs, and says so in the same place as for the others."""
    try:
        return pool.submit(make, job)
    except RuntimeError as broken:
        refused: Future[Outcome] = Future()
        refused.set_exception(broken)
        return refused


def make(job: Job) -> Outcome:
    """One report, or why there is none."""
    from tracker.workflow.kitchens import opened

    wish = job.wish
    try:
        with opened(job.kitchen) as store:
            written = report_trial(
                store,
                job.trial,
                job.path,
                responses=wish.responses,
                options=wish.options,
                look=wish.look,
                beside=wish.beside,
            )
    except Exception as error:
        return Outcome(trial=job.trial, failure=_failure(error, job))
    return Outcome(trial=job.trial, written=written)


def _failure(error: Exception, job: Job) -> Failure:
    if all(hasattr(error, part) for part in ("exit_code", "what", "where", "try_this")):  # ours
        return Failure(
            what=error.what,  # type: ignore[attr-defined]
            where=error.where,  # type: ignore[attr-defined]
            try_this=error.try_this,  # type: ignore[attr-defined]
            exit_code=error.exit_code,  # type: ignore[attr-defined]
        )
    return Failure(
        what=f"Something went wrong that Crumbwise did not foresee ({type(error).__name__}).",
        where=f'trial "{job.trial}"',
        try_this=f'crumbwise trial report "{job.trial}" alone, which keeps the trace in a file',
        exit_code=1,
    )


def _ended(job: Job) -> Failure:
    return Failure(
        what="A process that makes reports ended before it was done; this report was not made.",
        where=f'trial "{job.trial}"',
        try_this="--jobs 1, which needs less memory",
        exit_code=1,
    )
