"""What a batch came to: `BatchReport`, and its summary in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from strumclock.errors import printable
from strumclock.journal.copying import KEPT_UP_TO

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
class BatchReport:
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
        for need, paths in self.needs.items():
            shown = ", ".join(paths[:SHOWN]) + (f" and {len(paths) - SHOWN} more" if len(paths) > SHOWN else "")
            lines.append(f"Needs {need}: {shown}")
        if self.csv_error:
            lines.append(self.csv_error)
        if self.csv:
            lines.append(f"Journal: {self.journal}, and as a table: {self.csv.name}")
        elif self.journal:
            lines.append(f"Journal: {self.journal}")
        if self.csv_left:
            lines.append(f"The table beside it is no longer kept by itself: there are more than {KEPT_UP_TO:,} takes.")
        return [printable(line) for line in lines]


def _count(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"
