"""A folder of recordings becomes a practice record: find, plan, measure what is new, write down."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Collection
from concurrent.futures import Executor
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from strumclock.batch.cache import KnownFiles, KnownTakes
from strumclock.batch.files import Found, find_recordings, is_remote, shown_url
from strumclock.batch.gathering import gather
from strumclock.batch.planning import NEED_FIT, NEED_TEMPO, Plan, Planner
from strumclock.batch.report import BatchReport, Failure, Step
from strumclock.batch.running import Measure, Outcome, measure_file, run
from strumclock.errors import AudioFileError, JournalError, UsageError
from strumclock.journal import Journal, plain
from strumclock.journal.known import exercise_names
from strumclock.weeks import class_list

if TYPE_CHECKING:
    from strumclock.verdict import Standard

LEARN_FROM = 2  # takes finished before an estimate of the rest is worth anything


def measure_folder(
    folder: str | os.PathLike[str],
    *,
    journal: Journal | str | os.PathLike[str] | None = None,
    executor: Executor | None = None,
    workers: int | None = None,
    progress: Callable[[Step], None] | None = None,
    standard: str | Standard | None = None,
    changes: bool | None = None,
    tuning: bool | None = None,
    copy: bool = False,
    measure: Measure = measure_file,
) -> BatchReport:
    """Measure what is new in a folder and below, and write it into the journal.

    Parameters
    ----------
    folder : path or URL
        Where the recordings lie; anything that fsspec reaches, such as ``s3://lessons/anna``.
    journal : Journal, path or URL, optional
        By default the one that the folder belongs to: see `strumclock.journal.find_journal`.
    executor : concurrent.futures.Executor, optional
        Where takes are measured: a Dask client's, for example. By default processes of this machine.
    workers : int, optional
        Processes, or takes at a time on `executor`; all cores by default.
    progress : callable, optional
        Told about each take that is finished.
    standard : str or Standard, optional
        What counts as held; wins over practice.toml.
    changes, tuning : bool, optional
        Whether to measure chord changes and tuning too; win over practice.toml.
    copy : bool
        Write the journal's readable copy also where it has too many takes to keep one by itself.
    measure : callable
        The measuring itself; must be importable where the takes are measured.

    Returns
    -------
    BatchReport

    Raises
    ------
    UsageError
        If there is no such folder, or a practice.toml or takes.csv cannot be understood.
    JournalError
        If the journal cannot be opened or written; finished takes are kept.

    Examples
    --------
    >>> import tempfile
    >>> from concurrent.futures import ThreadPoolExecutor
    >>> with ThreadPoolExecutor(1) as pool, tempfile.TemporaryDirectory() as folder:
    ...     (Path(folder) / "2026-11-28 two chords @80.wav").write_bytes(b"no sound")
    ...     report = measure_folder(folder, executor=pool)
    8
    >>> report.found, report.measured, len(report.failed)
    (1, 0, 1)
    """
    began = time.monotonic()
    root = str(folder) if is_remote(folder) else os.path.abspath(folder)
    closed: list[str] = []
    found = find_recordings(folder, closed=closed)
    book = _journal(root, journal)
    files, takes = KnownFiles(book, root), KnownTakes(book)
    planner = Planner(
        root.rstrip("/"),
        edits=book.edits(),
        name_of=book.name_of,
        container_time=files.container_time,
        former=exercise_names(book),
        standard=standard,
        changes=changes,
        tuning=tuning,
    )
    planner.settings.of(root)  # a mistake in it concerns every take: say so before anything is read
    plans, failed, twice = _plans(found, files, planner, book)
    files.write(found, plans)
    todo, tally = takes.still_to_do(plans)
    failed += tally.failed
    assumed, unfit = list[tuple[str, str]](), list(tally.unfit)
    fresh: dict[str, int] = {}
    failed += [Failure(path=one, error="this folder must be readable, but it is not") for one in closed]
    guessed = {plan.name for plan in todo if plan.assumed is not None}
    measured, interrupted, started = 0, False, time.monotonic()
    try:
        with closing(run(todo, measure, executor=executor, workers=workers)) as outcomes:
            for done, outcome in enumerate(outcomes, start=1):
                takes.write(outcome, files)
                fresh[outcome.plan.student] = fresh.get(outcome.plan.student, 0) + (outcome.error is None)
                measured += outcome.error is None
                if outcome.plan.assumed is not None:
                    assumed.append((outcome.plan.name, outcome.plan.assumed.exercise))
                elif outcome.plan.name in guessed:
                    unfit.append(outcome.plan.name)
                if outcome.error:
                    failed.append(Failure(path=outcome.plan.name, error=outcome.error))
                if progress:
                    progress(_step(done, len(todo), outcome, time.monotonic() - started))
    except KeyboardInterrupt:
        interrupted = True
    folders = {f.path: f.folder for f in found}
    takes.set_standards(planner.settings, plans, folders)
    gathered = gather(book, planner, root, {plan.student: folders[plan.path] for plan in plans}, takes, fresh)
    if fresh and not interrupted:
        class_list(book, students=list(fresh))  # concluded now, so that nobody waits for it at the lesson
    csv, csv_error = _copy(book, asked=copy)
    return BatchReport(
        folder=root,
        found=len(found),
        measured=measured,
        unchanged=tally.unchanged,
        failed=tuple(sorted(failed, key=lambda failure: failure.path)),
        twice=tuple(twice),
        same_sound=takes.same_sound(plans),
        needs=_needs(plans, failed, takes.without_tempo(plans), unfit),
        assumed=tuple(sorted(assumed)),
        gathered=gathered,
        problems=tuple(f"{plan.name}: {problem}" for plan in plans for problem in plan.problems),
        interrupted=interrupted,
        elapsed_s=time.monotonic() - began,
        journal=str(book),
        csv=csv,
        csv_error=csv_error,
        csv_left=book.root is not None and csv is None and csv_error is None and found != [],
    )


def _journal(root: str, journal: Journal | str | os.PathLike[str] | None) -> Journal:
    if isinstance(journal, Journal):
        return journal
    if journal is not None:
        return Journal(journal)
    if is_remote(root):
        raise UsageError(
            f"a folder elsewhere ({shown_url(root)}) needs a journal of its own; give a file or a postgresql:// URL"
        )
    return Journal(root)


def _plans(
    found: list[Found], files: KnownFiles, planner: Planner, journal: Journal
) -> tuple[list[Plan], list[Failure], list[tuple[str, str]]]:
    """A plan for each take; of files with the same bytes, in one student's hands, the one that says most stands for
    all."""
    copies: dict[tuple[str, str], list[Plan]] = {}
    plans: list[Plan] = []
    failed: list[Failure] = []
    twice: list[tuple[str, str]] = []
    for one in found:
        try:
            several = planner.plans(one, files.sha256(one))
        except AudioFileError as error:
            failed.append(Failure(path=journal.name_of(one.path), error=str(error)))
            continue
        for plan in several:
            copies.setdefault((plain(plan.student), plan.identity), []).append(plan)
    for same in copies.values():
        best = min(same, key=lambda plan: len(plan.needs))  # of equals the first
        plans.append(best)
        twice += [(plan.name, best.name) for plan in same if plan is not best]
    return plans, failed, twice


def _step(done: int, total: int, outcome: Outcome, elapsed_s: float) -> Step:
    left_s = elapsed_s / done * (total - done) if done >= LEARN_FROM else None
    return Step(done=done, total=total, path=outcome.plan.name, error=outcome.error, left_s=left_s)


def _needs(
    plans: list[Plan], failed: Collection[Failure], without_tempo: set[str], unfit: Collection[str]
) -> dict[str, tuple[str, ...]]:
    """What is unknown of the takes that did not fail, with the files that lack it."""
    needs: dict[str, list[str]] = {}
    broken = {failure.path for failure in failed}
    for plan in plans:
        if plan.name in broken:
            continue
        more = (NEED_TEMPO,) if plan.identity in without_tempo else ()
        more = (*more, NEED_FIT) if plan.name in unfit else more
        for need in (*plan.needs, *more):
            needs.setdefault(need, []).append(plan.name)
    return {need: tuple(names) for need, names in needs.items()}


def _copy(journal: Journal, *, asked: bool) -> tuple[Path | None, str | None]:
    """The readable copy beside a journal that is a file; written only where it is not current."""
    try:
        return journal.mend_copy(asked=asked), None
    except JournalError as error:
        return None, str(error)
