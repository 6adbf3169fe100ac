"""A class as a table that fits a screen: in order of need, a line a student: tempo, what was set, what is in the way.

The same rows stand in the class's page; `strumclock.weeks.class_frame` has them as numbers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import groupby
from typing import TYPE_CHECKING

from strumclock.report.cause_words import cause_trend, short_day
from strumclock.report.standing_words import IN_A_TABLE
from strumclock.weeks.need import UNHELD_WEEKS, obstacle_of

if TYPE_CHECKING:
    from strumclock.journal import Answer
    from strumclock.weeks import ExerciseProgress, Progress, Standing

NEED_WORDS = {
    "stuck": "the tempo in reach is not rising",
    "falling": "the tempo in reach is falling",
    "silent": "nothing recorded lately",
    "unsure": "the recordings are hard to measure",
    "obstacle": "the same thing stands in the way for weeks",
    "fine": "going on",
}
BLOCKS, PLAIN_BLOCKS = "▁▂▃▄▅▆▇█", "_,-~^"
GAP, NOT_HELD = "·", "×"
PLAIN_GAP, PLAIN_NOT_HELD = ".", "x"
SPARK_WEEKS = 12
LEAST_SPAN_BPM = 8.0
"""Of a line of weeks: a change of less does not fill its height."""
WIDTH, LEAST_WIDTH = 110, 60
NAME_CELLS, LEAST_CELLS = 16, 6
IN_THE_WAY = "in the way (weeks)"
CUT_FIRST = {"student": 10, "set": 15, IN_THE_WAY: 15}
"""Columns of words give way first, down to so many characters; then whichever is widest."""
IN_ASCII = str.maketrans({"→": "->", "–": "-"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What the table says of one student.

    Attributes
    ----------
    name : str
    need : str
        Why they stand where they stand, in words.
    weeks : str
        The tempo of the last weeks as a small line.
    set : str
        What was set last, and what came of it.
    tempo : str
        Held and in reach, bpm.
    way : str
        What stands in the way, and how it changes.
    last : str
        The last take.
    told : str
        When the last answer was written.
    """

    name: str
    need: str
    weeks: str
    set: str
    tempo: str
    way: str
    last: str
    told: str

    def cells(self) -> tuple[tuple[str, str], ...]:
        """Headings and texts, but for the name, the need and the line of weeks."""
        heads = (("set", self.set), ("held / reach", self.tempo), (IN_THE_WAY, self.way), ("last take", self.last))
        return (*heads, ("answered", self.told))


def rows_of(
    students: Sequence[Progress], *, answers: Mapping[str, Answer] | None = None, plain: bool = False
) -> list[Row]:
    """The rows of a class.

    Parameters
    ----------
    students : sequence of Progress
        In the order in which they shall stand.
    answers : mapping of str to Answer, optional
        The last answer to each, by name.
    plain : bool
        Lines of weeks in ASCII.
    """
    return [_row(one, (answers or {}).get(one.student), plain=plain) for one in students]


def _row(progress: Progress, answer: Answer | None, *, plain: bool) -> Row:
    now = progress.exercises[0] if progress.exercises else None
    today = progress.today
    obstacle = obstacle_of(now) if now is not None else None
    cause = obstacle or next((c for c in now.causes if c.stands or c.state == "smaller"), None) if now else None
    told = "" if answer is None else short_day(answer.sent_on or answer.written_on, today=today)
    return Row(
        name=progress.student or "(no name)",
        need=need_in_words(progress),
        weeks=spark(now, plain=plain) if now is not None else "",
        set=_set(progress.standings[0], today) if progress.standings else "",
        tempo=_tempo(now) if now is not None else "",
        way="" if cause is None else cause_trend(cause),
        last=short_day(progress.last_played, today=today) if progress.last_played else "none",
        told=told + (" (not sent)" if answer is not None and answer.sent_on is None else ""),
    )


def need_in_words(progress: Progress) -> str:
    """Why a student stands where they stand."""
    need = progress.need
    now = progress.exercises[0] if progress.exercises else None
    if need == "stuck" and now is not None and now.state not in ("plateau", "level"):
        return f"no tempo was held for {UNHELD_WEEKS} weeks or more"
    missing = any(standing.state(progress.today) == "missing" for standing in progress.standings[:1])
    if need == "silent" and missing:
        return "what was due has not come"
    return NEED_WORDS[need]


def _set(standing: Standing, today: date) -> str:
    given = standing.assignment
    name = str(given.exercise.get("name") or given.label)
    at = "" if given.bpm is None else f" {given.bpm:.4g}"
    return f"{IN_A_TABLE[standing.state(today)]}: {name}{at}"


def _tempo(now: ExerciseProgress) -> str:
    held = [week.held_bpm for week in now.weeks if week.held_bpm is not None]
    once = max((w.once_held_bpm for w in now.weeks if w.once_held_bpm is not None), default=None)
    said = f"{held[-1]:.4g}" if held else f"{once:.4g} once" if once is not None else "–"
    if now.beyond_bpm is not None:
        return f"{said} / more"
    return f"{said} / {now.reach.now.value:.0f}" if now.reach is not None else f"{said} / –"


def spark(exercise: ExerciseProgress, *, plain: bool = False) -> str:
    """The tempo held in the last weeks as one line of blocks: a cross where none was held, a dot where nothing came.

    Parameters
    ----------
    exercise : ExerciseProgress
    plain : bool
        In ASCII.
    """
    weeks = {week.monday: week for week in exercise.weeks}
    held = [week.held_bpm for week in exercise.weeks[-SPARK_WEEKS:] if week.held_bpm is not None]
    if not weeks:
        return ""
    blocks, gap, not_held = (PLAIN_BLOCKS, PLAIN_GAP, PLAIN_NOT_HELD) if plain else (BLOCKS, GAP, NOT_HELD)
    low = min(held, default=0.0)
    span = max(max(held, default=0.0) - low, LEAST_SPAN_BPM)
    first, last = min(weeks), max(weeks)
    marks = []
    for back in reversed(range(SPARK_WEEKS)):
        monday = last - timedelta(weeks=back)
        if monday in weeks and (bpm := weeks[monday].held_bpm) is not None:
            level = (min(max(bpm - low, 0.0), span)) / span
            marks.append(blocks[round(level * (len(blocks) - 1))])
        elif monday >= first:
            marks.append(not_held if monday in weeks else gap)
    return "".join(marks)


def class_table(
    students: Sequence[Progress],
    *,
    answers: Mapping[str, Answer] | None = None,
    width: int = WIDTH,
    plain: bool = False,
) -> str:
    """The class as text: under each need its students, a line each.

    Parameters
    ----------
    students : sequence of Progress
        In order of need.
    answers : mapping of str to Answer, optional
        The last answer to each, by name.
    width : int
        Characters a line; what does not fit is cut off with a mark.
    plain : bool
        In ASCII, for a terminal that has no more.
    """
    if not students:
        return "Nobody is in the practice record yet."
    rows = rows_of(students, answers=answers, plain=plain)
    if plain:
        rows = [replace(row, tempo=row.tempo.translate(IN_ASCII), way=row.way.translate(IN_ASCII)) for row in rows]
    columns = _columns(rows, max(width, LEAST_WIDTH), "..." if plain else "…")
    lines = ["  ".join(fit(head) for head, _, fit in columns).rstrip()]
    for need, group in groupby(rows, key=lambda row: row.need):
        lines += ["", f"{need[:1].upper()}{need[1:]}"]
        lines += ["  ".join(fit(text(row)) for _, text, fit in columns).rstrip() for row in group]
    return "\n".join(lines)


Column = tuple[str, Callable[[Row], str], Callable[[str], str]]


def _columns(rows: Sequence[Row], width: int, mark: str) -> list[Column]:
    """Headings, what stands in them, and how it is fitted: as wide as needed, the widest cut where there is no room."""
    from rich.cells import cell_len

    texts: list[tuple[str, Callable[[Row], str]]] = [
        ("student", lambda row: row.name),
        ("weeks", lambda row: row.weeks),
        ("set", lambda row: row.set),
        ("held / reach", lambda row: row.tempo),
        (IN_THE_WAY, lambda row: row.way),
        ("last take", lambda row: row.last),
        ("answered", lambda row: row.told),
    ]
    texts = [(head, text) for head, text in texts if head == "student" or any(text(row) for row in rows)]
    cells = [max(cell_len(head), *(cell_len(text(row)) for row in rows)) for head, text in texts]
    cells[0] = min(cells[0], NAME_CELLS)
    while sum(cells) + 2 * (len(cells) - 1) > width and max(cells) > LEAST_CELLS:
        words = [i for i, (head, _) in enumerate(texts) if cells[i] > CUT_FIRST.get(head, width)]
        cells[max(words or range(len(cells)), key=lambda i: cells[i])] -= 1
    return [(head, text, _fitted(size, mark)) for (head, text), size in zip(texts, cells, strict=True)]


def _fitted(size: int, mark: str) -> Callable[[str], str]:
    from rich.cells import cell_len, set_cell_size

    def fit(text: str) -> str:
        if cell_len(text) <= size:
            return text + " " * (size - cell_len(text))
        return set_cell_size(text, size - len(mark)) + mark

    return fit
