"""One line on the terminal that is written again and again: how far a batch is, how loud a microphone.

Words and plain characters only, no colours: it reads alike on black and white, on paper and aloud. It is on standard
error, only where that is a terminal that can go back to a line's start, and never wider than it.
"""

from __future__ import annotations

import math
import os
import shutil
import sys
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from strumclock.errors import printable

if TYPE_CHECKING:
    from strumclock.batch import Step
    from strumclock.recording import Moment

USUAL_COLUMNS = 80  # of a terminal that does not say: a convention
METER_STEPS = 12  # with the words before it the line fits 60 columns
LOWEST_DB, STEP_DB = -60.0, 5.0  # of the level meter: below, a microphone's own noise is seen
LOUD_DB, SOFT_DB = -3.0, -40.0
"""Peaks above: a harder stroke would be cut off; below: the room is nearly as loud. Common practice in recording."""
HELD_MOMENTS = 40
"""Of `record_take`, which come every 50 ms: what is said of the level is of the last two seconds, since between two
strums every microphone is quiet."""


class Line:
    """The line; `show` replaces what it says."""

    def __init__(self) -> None:
        self._shown = 0

    def show(self, text: str) -> None:
        """Say something else."""
        width = shutil.get_terminal_size((USUAL_COLUMNS, 24)).columns - 1  # a full last column would break the line
        text = printable(text)[:width]
        sys.stderr.write("\r" + text.ljust(min(self._shown, width)))
        sys.stderr.flush()
        self._shown = len(text)

    def clear(self) -> None:
        """Leave the line empty."""
        if self._shown:
            self.show("")
            sys.stderr.write("\r")
            sys.stderr.flush()


@contextmanager
def live_line() -> Iterator[Line | None]:
    """A line to write on, which is gone at the end; None where no terminal shows one."""
    if not (sys.stderr.isatty() and os.environ.get("TERM", "") not in ("", "dumb")):
        yield None
        return
    line = Line()
    try:
        yield line
    finally:
        line.clear()


@contextmanager
def progress_line() -> Iterator[Callable[[Step], None] | None]:
    """How many takes are measured and about how long the rest will take."""
    with live_line() as line:
        if line is None:
            yield None
            return

        def show(step: Step) -> None:
            line.show(progress_text(step.done, step.total, step.left_s))

        yield show


def progress_text(done: int, total: int, left_s: float | None) -> str:
    """How far a batch is, in words.

    Examples
    --------
    >>> progress_text(12, 40, 95.0)
    'measuring: 12 of 40 takes done, about 2 minutes left'
    >>> progress_text(39, 40, 3.2), progress_text(0, 1, None)
    ('measuring: 39 of 40 takes done, a few seconds left', 'measuring: 0 of 1 take done')
    """
    return f"measuring: {done} of {total} take{'' if total == 1 else 's'} done{_left(left_s)}"


def _left(seconds: float | None) -> str:
    if seconds is None:
        return ""
    if seconds < 10:
        return ", a few seconds left"
    if seconds < 60:
        return f", about {10 * round(seconds / 10)} seconds left"
    if seconds < 5400:
        minutes = round(seconds / 60)
        return f", about {minutes} minute{'' if minutes == 1 else 's'} left"
    return f", about {seconds / 3600:.1f} hours left"


class Level:
    """How loud a recording is, moment by moment.

    Examples
    --------
    >>> from strumclock.recording import Moment
    >>> level = Level()
    >>> level.text(Moment(stage="take", bar=3, beat=2, bars=16, peak=0.1))
    'bar 3 of 16, beat 2: level good              [########....]'
    """

    def __init__(self) -> None:
        self._peaks_db: deque[float] = deque(maxlen=HELD_MOMENTS)

    def text(self, moment: Moment) -> str:
        """Where the recording stands, what is to be done about its level, and last the meter, which may be cut off."""
        self._peaks_db.append(math.inf if moment.too_loud else moment.peak_db)
        steps = min(max(round((moment.peak_db - LOWEST_DB) / STEP_DB), 0), METER_STEPS) if moment.peak > 0 else 0
        said = f"{_where(moment)}: {'SAMPLES LOST, ' if moment.lost else ''}{self._word(moment)}"
        return f"{said:44s} [{'#' * steps}{'.' * (METER_STEPS - steps)}]"

    def _word(self, moment: Moment) -> str:
        loudest_db = max(self._peaks_db)
        if loudest_db == math.inf:
            return "TOO LOUD, turn it down"
        if loudest_db > LOUD_DB:
            return "nearly too loud"
        if loudest_db > SOFT_DB:
            return "level good"
        listened = moment.stage == "take" and moment.bar and len(self._peaks_db) == HELD_MOMENTS
        return "too soft, come nearer" if listened else "listening"


def _where(moment: Moment) -> str:
    if moment.stage == "loop":
        return "test sounds"
    if not moment.bar:
        return f"counting in, {moment.beat}" if moment.beat else "now"
    return f"bar {moment.bar} of {moment.bars}, beat {moment.beat}"
