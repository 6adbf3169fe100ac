"""What a notebook shows of a value: a take on one screen, figures as a table, a sound to play, weeks and students.

`html` has one function for each kind of value. The pieces are plain HTML that takes the notebook's own font and colours
(light and dark), without scripts and without a style sheet, so that they stay readable where a viewer strips styles.
Whatever comes from files is escaped.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Iterable, Sequence
from functools import singledispatch
from typing import TYPE_CHECKING, Any

from strumclock.errors import printable
from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.journal import Journal
from strumclock.pipeline.comparison import Comparison
from strumclock.pipeline.figures import FIGURES, Figure, named
from strumclock.pipeline.measurement import Measurement, TakeInfo
from strumclock.report import words
from strumclock.report.bar_sound import BarSound
from strumclock.report.comparing import comparison, tuning_table
from strumclock.report.offsets_plot import plot_offsets
from strumclock.report.progress_text import TABLE_NOTE, facts, weeks_table
from strumclock.report.sentences import headline, lines, title
from strumclock.report.text import Row, figures, noted
from strumclock.timing import Estimate, Timing
from strumclock.tuning import OpenStrings
from strumclock.weeks import ExerciseProgress, Progress

if TYPE_CHECKING:
    from markupsafe import Markup

MAIN = tuple(
    named(f"timing.{name}") for name in ("mean_offset_ms", "jitter_ms", "drift_ms_per_min", "within_tolerance.share")
)
"""The figures that a take is shown with; all of them are in `strumclock.table`."""

MOST_LINES = 9
"""Lines of words below the picture, notes included."""

MOST_NOTE = 160
"""Characters of a line's text: two lines of a screen."""

MOST_ROWS = 12
"""Rows of a table of weeks or students: as many fit a screen beside what stands above them."""

MOST_EXERCISES = 2
"""Exercises of a student that are shown, what was played last first."""

LABEL_PT = 9.0
"""Of the upright label: the longest is as long as the picture is high."""

_OUTER = '<div style="max-width: 60em; line-height: 1.35">'
_CELL = "text-align: left; vertical-align: top; padding: 0 1em 0 0"
_HEAD = f"{_CELL}; white-space: nowrap"
_NUMBER = "text-align: right; vertical-align: top; padding: 0 1em 0 0; white-space: nowrap"


@singledispatch
def html(value: object) -> str | None:
    """A value as a piece of HTML for a notebook; None of a kind that there is no view of.

    Examples
    --------
    >>> html(Estimate(value=12.34, low=8.0, high=16.5, u=0.25))
    '<span><strong>12.34</strong> (95 %: 8.00 to 16.50; u 0.25)</span>'
    >>> html("a text") is None
    True
    """
    del value
    return None


@html.register
def _(value: Estimate) -> str:
    said = value.written()
    form = "<span><strong>{}</strong> (95 %: {} to {}; u {})</span>"
    return _filled(form, said["value"], said["low"], said["high"], said["u"])


@html.register
def _(value: Exercise) -> str:
    about = fields_of(Exercise)
    told = [(about[name].word, _told(name, getattr(value, name))) for name in about if getattr(value, name) is not None]
    if not told:
        return "<em>Exercise: nothing is told, all of it is found in the recording.</em>"
    return str(_table((), told))


@html.register
def _(value: Timing) -> str:
    return str(_figures_table(_alone(value), [figure for figure in FIGURES if figure.path.startswith("timing.")]))


@html.register
def _(value: Measurement) -> str:
    said = [(line.topic, _cut(line.text)) for line in lines(value)]
    more = len(said) - MOST_LINES
    if more > 0:
        said = [*said[: MOST_LINES - 1], ("…", f"{more + 1} more lines: print(strumclock.summary(take))")]
    parts = [_markup("<div><strong>{}</strong><br>{}</div>", headline(value), _cut(title(value))), _picture(value)]
    parts += [_table((), said)]
    if value.timing is not None:
        parts += [_figures_table(value, MAIN)]
    return str(_markup("{}{}</div>", _safe(_OUTER), _safe("").join(parts)))


@html.register
def _(value: Comparison) -> str:
    return _filled("<pre>{}</pre>", comparison(value))


@html.register
def _(value: OpenStrings) -> str:
    return _filled("<pre>{}</pre>", tuning_table(value))


@html.register
def _(value: BarSound) -> str:
    data = base64.b64encode(value.compressed()).decode("ascii")
    return _filled(
        '{}<div>{}</div><audio controls preload="auto" aria-label="{}" src="data:audio/mp4;base64,{}"></audio></div>',
        _safe(_OUTER), value.label, value.label, data,
    )  # fmt: skip


@html.register
def _(value: Journal) -> str:
    rows = [
        (row.student, str(row.takes), "–" if row.last_played is None else row.last_played.isoformat())
        for row in value.overview()
    ]
    head = _markup("<div><strong>{}</strong></div>", printable(repr(value)))
    if not rows:
        return str(_markup("{}{}<em>No students yet.</em></div>", _safe(_OUTER), head))
    shown = rows[:MOST_ROWS]
    more = len(rows) - len(shown)
    after = _markup("<div>and {} more</div>", more) if more else ""
    table = _table(("student", "takes", "last played"), shown, numbers={1})
    return str(_markup("{}{}{}{}</div>", _safe(_OUTER), head, table, after))


@html.register
def _(value: Progress) -> str:
    shown = [str(html(exercise)) for exercise in value.exercises[:MOST_EXERCISES]]
    more = len(value.exercises) - len(shown)
    left_out = f", {value.n_not_counted} of them not counted" if value.n_not_counted else ""
    takes = f"{words.count(value.n_takes, 'take')}{left_out}" + (f"; {more} more exercises" if more > 0 else "")
    head = _markup("<div><strong>{}</strong>: {}</div>", printable(value.student or "(no name)"), takes)
    return str(_markup("{}{}{}</div>", _safe(_OUTER), head, _safe("".join(shown))))


@html.register
def _(value: ExerciseProgress) -> str:
    said = facts(value)[:MOST_LINES]
    items = _safe("").join(_markup("<li>{}</li>", line) for line in said)
    header, *rows = weeks_table(value)
    left = len(rows) - MOST_ROWS
    note = TABLE_NOTE + (f"; the {left} weeks before are in to_frame()" if left > 0 else "")
    table = _table(header, rows[-MOST_ROWS:], numbers=range(1, len(header)))
    label = _markup("<div style='margin-top: 0.6em'><em>{}</em></div>", printable(value.label))
    return str(_markup("{}<ul style='margin: 0.2em 0'>{}</ul>{}<div>{}</div>", label, items, table, note))


def _picture(m: Measurement) -> Markup:
    """Every strum, as a PNG picture that holds all of its data."""
    if m.timing is None or not m.strums:
        return _safe("")
    from strumclock.report.drawing import new_figure, save

    figure = new_figure(8.0, 2.8)
    axes = plot_offsets(m, figure.add_axes((0.08, 0.2, 0.9, 0.74)), legend=False)
    axes.yaxis.label.set_fontsize(LABEL_PT)
    out = io.BytesIO()
    save(figure, out, "png")
    data = base64.b64encode(out.getvalue()).decode("ascii")
    return _markup(
        '<img alt="every strum over the bars: {}" '
        'style="width: 800px; max-width: 100%" src="data:image/png;base64,{}">',
        headline(m), data,
    )  # fmt: skip


def _alone(timing: Timing) -> Measurement:
    """A take of which only the timing is known, as the table of figures takes it."""
    nothing = TakeInfo(path=None, sha256=None, duration_s=0.0, sample_rate_hz=None, channels=None)
    exercise = Exercise(per_beat=max(1, *(group.place for group in timing.by_part), 1))
    return Measurement(take=nothing, exercise=exercise, timing=timing, absent=timing.absent)


def _figures_table(m: Measurement, chosen: Iterable[Figure]) -> Markup:
    """Figures with interval and uncertainty; what is absent with its reason below."""
    rows, notes = noted(figures(m, chosen))
    return _table(("", "value", "95 % interval", "u", ""), rows, numbers={1, 2, 3}) + _safe("").join(
        _markup("<div>{}</div>", note) for note in notes
    )


def _table(heads: Sequence[str], rows: Iterable[Row | Sequence[Any]], *, numbers: Iterable[int] = ()) -> Markup:
    """A table; the first cell of a row is its head."""
    numbers = frozenset(numbers)

    def cell(i: int, text: object) -> Markup:
        kind, style = ("th", _HEAD) if i == 0 else ("td", _NUMBER if i in numbers else _CELL)
        return _markup("<{} style='{}'>{}</{}>", _safe(kind), _safe(style), text, _safe(kind))

    head = _safe("").join(
        _markup("<th style='{}'>{}</th>", _safe(_NUMBER if i in numbers else _CELL), text)
        for i, text in enumerate(heads)
    )
    body = _safe("").join(
        _markup("<tr>{}</tr>", _safe("").join(cell(i, text) for i, text in enumerate(row))) for row in rows
    )
    above = _markup("<thead><tr>{}</tr></thead>", head) if heads else _safe("")
    return _markup("<table style='margin: 0.4em 0'>{}<tbody>{}</tbody></table>", above, body)


def _told(name: str, value: object) -> str:
    if isinstance(value, tuple):
        return printable(" ".join(value))
    return f"{value:g}{' bpm' if name == 'bpm' else ''}" if isinstance(value, float) else printable(str(value))


def _cut(text: str) -> str:
    return text if len(text) <= MOST_NOTE else f"{text[: MOST_NOTE - 1].rstrip()}…"


def _safe(text: str) -> Markup:
    """Text of our own that stands as it is."""
    from markupsafe import Markup

    return Markup(text)


def _markup(form: str, *values: object) -> Markup:
    """A form filled in, each value escaped unless it is markup."""
    return _safe(form).format(*values)


def _filled(form: str, *values: object) -> str:
    return str(_markup(form, *values))
