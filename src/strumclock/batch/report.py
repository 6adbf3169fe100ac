"""What a batch came to: `BatchReport`, and its summary in plain words."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from strumclock.batch.planning import NEED_DATE, NEED_EXERCISE, NEED_FIT, NEED_TEMPO
from strumclock.errors import printable
from strumclock.journal.copying import KEPT_UP_TO
from strumclock.report.standing_words import AFTER_NEW_TAKES, WITHOUT_NEW_TAKES
from strumclock.showing import Shown

SHOWN = 5
"""Files named under one heading; the others are counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """A recording that could not be measured, and why."""

    path: str
    error: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """What the batch tells while it runs.

    Attributes
    ----------
    done, total : int
        Takes of those that must be measured.
    path : str
        The take that was finished last.
    error : str or None
        Why it could not be measured.
    left_s : float or None
        How long the rest will take; None until there is something to go by.
    """

    done: int
    total: int
    path: str
    error: str | None
    left_s: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """What came from one student, against what was set.

    Attributes
    ----------
    student : str
    new : int
        Takes measured now.
    exercise : str
        What was set last, with its tempo; empty where nothing was.
    state : str
        As `strumclock.weeks.Standing.state` says it; empty where nothing was set.
    due_on : date or None
    """

    student: str
    new: int
    exercise: str = ""
    state: str = ""
    due_on: date | None = None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class BatchReport(Shown):
    """What a batch did.

    Attributes
    ----------
    folder : str
    found, measured, unchanged : int
        Recordings found; takes measured now; takes that were measured before and have not changed.
    failed : tuple of Failure
    twice : tuple of (str, str)
        A file, and the one with the same bytes that stands for both.
    same_sound : tuple of (str, str)
        A file, and an earlier one with the same performance; only that counts.
    needs : mapping of str to tuple of str
        What is unknown, and the files that lack it.
    problems : tuple of str
        What was told and passed over.
    assumed : tuple of (str, str)
        A file whose name says nothing, and the exercise that was set then, which its sound fits.
    gathered : tuple of Gathered
        What came from whom.
    interrupted : bool
        Stopped by hand: what was finished is kept.
    elapsed_s : float
    journal : str
    csv : Path or None
        The readable copy.
    csv_error : str or None
        Why there is no new one.
    csv_left : bool
        There is no new one because the journal is too large to keep one by itself.
    """

    folder: str
    found: int
    measured: int
    unchanged: int
    failed: tuple[Failure, ...] = ()
    twice: tuple[tuple[str, str], ...] = ()
    same_sound: tuple[tuple[str, str], ...] = ()
    needs: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    problems: tuple[str, ...] = ()
    assumed: tuple[tuple[str, str], ...] = ()
    gathered: tuple[Gathered, ...] = ()
    interrupted: bool = False
    elapsed_s: float = 0.0
    journal: str = ""
    csv: Path | None = None
    csv_error: str | None = None
    csv_left: bool = False

    @property
    def ok(self) -> bool:
        """Whether everything was done."""
        return not (self.failed or self.interrupted or self.csv_error)

    def __str__(self) -> str:
        return "\n".join(self.lines())

    def lines(self) -> list[str]:
        """The summary, a line each."""
        takes = f"{self.measured} measured, {self.unchanged} unchanged"
        failed = f", {len(self.failed)} could not be measured" if self.failed else ""
        lines = [f"{_count(self.found, 'recording')}: {takes}{failed}, in {self.elapsed_s:.1f} s"]
        if self.interrupted:
            lines.append("Interrupted: what was finished is kept; run again for the rest.")
        lines += [f"Not measured: {failure.path}: {failure.error}" for failure in self.failed]
        lines += [f"The same file twice, one take: {path} is {first}" for path, first in self.twice]
        lines += [
            f"The same performance in another file: {path} is {other}; one counts" for path, other in self.same_sound
        ]
        lines += [f"Passed over: {problem}" for problem in self.problems]
        by_exercise: dict[str, list[str]] = {}
        for path, exercise in self.assumed:
            by_exercise.setdefault(exercise, []).append(path)
        lines += [f"Taken for “{one}”, which was set then: {_some(paths)}" for one, paths in by_exercise.items()]
        lines += self._from_whom()
        for need, paths in self.needs.items():
            lines.append(f"Needs {need}: {_some(paths)}")
            lines += [f"  such as: {line}" for line in self._command(need, paths[0])]
        if self.csv_error:
            lines.append(self.csv_error)
        if self.csv:
            lines.append(f"Journal: {self.journal}, and as a table: {self.csv.name}")
        elif self.journal:
            lines.append(f"Journal: {self.journal}")
        if self.csv_left:
            lines.append(f"The table beside it is no longer kept by itself: there are more than {KEPT_UP_TO:,} takes.")
        return [printable(line) for line in lines]

    def _from_whom(self) -> list[str]:
        """Who sent what against which assignment; who is missing."""
        came = [one for one in self.gathered if one.new and (one.student or one.exercise)]
        lines = [_came(one) for one in came] if any(one.exercise for one in self.gathered) else []
        for state, head in WITHOUT_NEW_TAKES.items():
            left = [one for one in self.gathered if one.state == state and not one.new]
            if left:
                lines.append(f"{head}: {', '.join(f'{one.student} ({one.exercise})' for one in left)}")
        return lines

    def _command(self, need: str, path: str) -> list[str]:
        """A command that says what a take needs, ready but for the value."""
        if need not in _TOLD_BY:
            return []
        field, value = _TOLD_BY[need]
        return [f"strumclock note {shlex.quote(self.folder)} {value} --take {shlex.quote(path)} --correct {field}"]


_TOLD_BY = {
    NEED_DATE: ("date", "YYYY-MM-DD"),
    NEED_EXERCISE: ("exercise", '"NAME"'),
    NEED_FIT: ("exercise", '"NAME"'),
    NEED_TEMPO: ("bpm", "BPM"),
}
"""The field that tells what a take needs, and what stands for its value."""


def _came(one: Gathered) -> str:
    against = f"; {one.exercise}: {AFTER_NEW_TAKES[one.state]}" if one.exercise else ""
    return f"From {one.student or '(no name)'}: {_count(one.new, 'new take')}{against}"


def _some(paths: Sequence[str]) -> str:
    return ", ".join(paths[:SHOWN]) + (f" and {len(paths) - SHOWN} more" if len(paths) > SHOWN else "")


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"
