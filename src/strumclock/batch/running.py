"""Takes measured side by side, on any executor; a worker that dies takes one take with it, not the batch."""

from __future__ import annotations

import os
import signal
from collections import deque
from collections.abc import Callable, Generator, Mapping, Sequence
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

from strumclock.batch.files import local_copy
from strumclock.batch.planning import Plan
from strumclock.errors import StrumclockError
from strumclock.grid import Exercise
from strumclock.journal import TakeEntry

AHEAD = 2
"""Takes handed out for each worker: one in work, one waiting. More would only fill memory."""

UNFIT = frozenset({"poor-fit"})
"""Warnings with which a recording is no take of an exercise that nobody named."""

MOST_ODD, TEMPO_FACTOR = 0.3, 1.25
"""Of such a take: the share of places that may be empty, or strums that may have none; and how far its tempo may lie
from the one set, as a factor (a beginner's week at a metronome; common practice, no source)."""

THREAD_LIMITS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")

Measure = Callable[[str, Exercise, Mapping[str, Any]], Mapping[str, Any]]
"""From a path, an exercise and options to the JSON of a take. It must be importable by the workers."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """What came of one take: a measurement, or the reason why there is none.

    Attributes
    ----------
    plan : Plan
    measurement : mapping or None
    error : str or None
    retry : bool
        The reason may pass: another try, even of the same file, may succeed.
    """

    plan: Plan
    measurement: Mapping[str, Any] | None = None
    error: str | None = None
    retry: bool = False

    def entry(self, *, version: str, **told: Any) -> TakeEntry:
        """What the journal is to keep of it; what is told besides wins over the plan."""
        plan = self.plan
        fields: dict[str, Any] = {
            "identity": plan.identity,
            "student": plan.student,
            "path": plan.name,
            "played_on": plan.played_on,
            "played_at": plan.played_at,
            "date_source": plan.date_source,
            "equipment": plan.equipment,
            "remark": plan.remark,
            "excluded": plan.excluded,
            "exercise": plan.told,
            "measurement": self.measurement,
            "error": self.error,
            "retry": self.retry,
            "settings": plan.settings,
            "version": version,
        }
        return TakeEntry(**fields | told)


def measure_file(path: str, exercise: Exercise, options: Mapping[str, Any]) -> Mapping[str, Any]:
    """Measure one file: the JSON of schema ``strumclock.take/2``."""
    from strumclock.pipeline import measure
    from strumclock.report.schema import to_dict

    return to_dict(measure(path, exercise, **options))


def attempt(plan: Plan, measure: Measure) -> Outcome:
    """Measure one take; whatever goes wrong with it becomes its row. Runs in the worker."""
    try:
        with local_copy(plan.path) as path:
            measurement = dict(measure(path, plan.exercise, plan.options))
            if plan.assumed is not None and plan.otherwise is not None and not fits(measurement, plan.assumed.bpm):
                plan = plan.otherwise
                measurement = dict(measure(path, plan.exercise, plan.options))
        measurement["take"] = {**measurement["take"], "path": plan.path}
        return Outcome(plan=plan, measurement=measurement)
    except StrumclockError as error:
        return Outcome(plan=plan, error=str(error), retry=isinstance(error, OSError) and not os.path.exists(plan.path))
    except OSError as error:
        said = error.strerror or str(error)
        return Outcome(plan=plan, error=f"the file must be readable, but the system said: {said}", retry=True)
    except MemoryError:
        return Outcome(plan=plan, error="there must be memory for the whole take, but there is not", retry=True)
    except Exception as error:  # a defect of ours must not stop the other takes, and must be seen
        said = " ".join(str(error).split())
        return Outcome(
            plan=plan, error=f"measuring it failed ({type(error).__name__}: {said}); please report this", retry=True
        )


def fits(measurement: Mapping[str, Any], bpm: float | None) -> bool:
    """Whether a recording can be a take of the exercise that it was measured as.

    Parameters
    ----------
    measurement : mapping
        JSON of the take.
    bpm : float or None
        The tempo that was set; a student may practise slower or faster than that, but not at another tempo altogether.
    """
    timing, heard = measurement["timing"], measurement["exercise"].get("bpm")
    if timing is None or UNFIT & {warning["code"] for warning in measurement["warnings"]}:
        return False
    added = sum(strum["slot"] is None for strum in measurement["strums"])
    if max(len(measurement["omitted"]), added) > MOST_ODD * (timing["n"] + len(measurement["omitted"])):
        return False
    return bpm is None or heard is None or 1 / TEMPO_FACTOR <= heard / bpm <= TEMPO_FACTOR


def cores() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def run(
    plans: Sequence[Plan], measure: Measure, *, executor: Executor | None = None, workers: int | None = None
) -> Generator[Outcome]:
    """Measure takes, and give each outcome as it comes.

    Parameters
    ----------
    plans : sequence of Plan
    measure : callable
    executor : Executor, optional
        Where they run; own processes by default.
    workers : int, optional
        Processes, or takes at a time on the executor that was given; all cores by default.

    Notes
    -----
    An interruption calls off what has not begun, waits for what has and gives it out, and is then raised again.
    """
    count = workers or cores()
    if executor is not None:
        yield from _on(executor, plans, measure, ahead=AHEAD * count)
    elif plans:
        yield from _own_processes(plans, measure, min(count, len(plans)))


def _on(executor: Executor, plans: Sequence[Plan], measure: Measure, *, ahead: int) -> Generator[Outcome, None, None]:
    """On somebody's executor; it looks after its own workers."""
    waiting: dict[Future[Outcome], Plan] = {}
    todo = iter(plans)
    try:
        while True:
            while len(waiting) < ahead and (plan := next(todo, None)) is not None:
                waiting[executor.submit(attempt, plan, measure)] = plan
            if not waiting:
                return
            for future in _finished(waiting):
                yield _outcome(future, waiting.pop(future))
    finally:
        for future in waiting:
            future.cancel()


def _finished(waiting: Mapping[Future[Outcome], Plan]) -> list[Future[Outcome]]:
    """Wait for at least one; those that are finished, in the order in which they were handed out."""
    done = wait(waiting, return_when=FIRST_COMPLETED).done
    return [future for future in waiting if future in done]


def _outcome(future: Future[Outcome], plan: Plan) -> Outcome:
    try:
        return future.result()
    except (CancelledError, Exception) as error:  # the cluster's own errors: a worker lost again and again
        said = " ".join(str(error).split())
        return Outcome(plan=plan, error=f"its worker was lost ({type(error).__name__}: {said}); run again", retry=True)


def _own_processes(plans: Sequence[Plan], measure: Measure, count: int) -> Generator[Outcome, None, None]:
    """In processes of our own. When one dies, the takes in work are tried one by one: who dies alone is the cause."""
    todo = deque(plans)
    while todo:
        waiting: dict[Future[Outcome], Plan] = {}
        with _pool(count) as pool:
            try:
                while todo or waiting:
                    while todo and len(waiting) < AHEAD * count:
                        waiting[pool.submit(attempt, todo[0], measure)] = todo[0]
                        todo.popleft()
                    for future in _finished(waiting):
                        outcome = future.result()
                        del waiting[future]
                        yield outcome
            except BrokenExecutor:
                pass
            except KeyboardInterrupt:
                for future in list(waiting):
                    future.cancel()
                for future in wait(waiting).done:
                    if not future.cancelled() and future.exception() is None:
                        yield future.result()
                raise
            finally:
                pool.shutdown(wait=True, cancel_futures=True)
        for plan in waiting.values():
            yield _alone(plan, measure)


def _alone(plan: Plan, measure: Measure) -> Outcome:
    """One take in a process of its own."""
    with _pool(1) as pool:
        try:
            return pool.submit(attempt, plan, measure).result()
        except BrokenExecutor:
            error = "its process must live to the end, but it died (for want of memory, perhaps); measure a part of it"
            return Outcome(plan=plan, error=error, retry=True)


def _pool(count: int) -> ProcessPoolExecutor:
    """Fresh processes, no copies of this one with its threads and locks; one thread of algebra each."""
    for name in THREAD_LIMITS:
        os.environ.setdefault(name, "1")
    return ProcessPoolExecutor(max_workers=count, mp_context=get_context("spawn"), initializer=_ignore_interrupts)


def _ignore_interrupts() -> None:
    """Ctrl-C goes to the whole group of processes: the first one decides, the others finish their take."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
