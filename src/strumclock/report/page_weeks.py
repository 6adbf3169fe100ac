"""Weeks as a page draws them: where each week's marks lie in a small picture that is as wide as a phone.

The drawing's units are those of its view box; the page scales it, so that lettering stays readable from 340 points on.
What the marks mean is told in `strumclock.report.weeks_plots`, which draws the same for print.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

from strumclock.report.cause_words import cause_name
from strumclock.report.weeks_plots import weeks_since

if TYPE_CHECKING:
    from strumclock.weeks import Cause, ExerciseProgress

WIDTH, LEFT, RIGHT = 340.0, 34.0, 8.0
TALL, LOW = 190.0, 84.0
TOP, BOTTOM = 14.0, 20.0
SHOWN_WEEKS = 26
"""Weeks in a picture, the last ones: half a year."""
MOST_DATES = 4  # by eye: dates that fit below the picture
STEPS = (1, 2, 5)  # times a power of ten: a convention of axes
SPARK_WIDTH, SPARK_HEIGHT, SPARK_PAD = 110.0, 26.0, 4.0  # by eye: as high as a row of the table


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A labelled place of an axis."""

    at: float
    label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekMark:
    """One week's mark.

    Attributes
    ----------
    kind : str
        ``"held"``, ``"not-held"``, ``"failed"`` (the lowest tempo above that was not held) or ``"value"``.
    x, y : float
    """

    kind: str
    x: float
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class WeeksChart:
    """One small picture.

    Attributes
    ----------
    height : float
    across, up : tuple of Tick
        Dates below, values on the left.
    marks : tuple of WeekMark
    stems : tuple of (float, float, float)
        Upright lines: x, from y, to y.
    line : str
        The tempo in reach, or what all weeks together tell: points of a polyline; empty where there is none.
    band : str
        Points of its band's outline.
    level : float or None
        A dashed line across: the goal; of a size: zero.
    level_label : str
    said : str
        The picture in words.
    """

    height: float
    across: tuple[Tick, ...]
    up: tuple[Tick, ...]
    marks: tuple[WeekMark, ...]
    stems: tuple[tuple[float, float, float], ...] = ()
    line: str = ""
    band: str = ""
    level: float | None = None
    level_label: str = ""
    said: str = ""


@dataclass(frozen=True, slots=True)
class _Scale:
    first: date
    last: date
    low: float
    high: float
    height: float

    def x(self, monday: date) -> float:
        share = weeks_since(monday, self.first) / max(weeks_since(self.last, self.first), 1.0)
        return LEFT + 6 + share * (WIDTH - LEFT - RIGHT - 12)

    def y(self, value: float) -> float:
        share = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.height - BOTTOM - share * (self.height - TOP - BOTTOM)


def tempo_chart(exercise: ExerciseProgress) -> WeeksChart | None:
    """The tempo held and in reach, week by week; None where no tempo is known."""
    weeks = [w for w in exercise.weeks[-SHOWN_WEEKS:] if w.reached_bpm is not None]
    if not weeks:
        return None
    known = [(monday, span) for monday, span in exercise.reach_known if monday >= weeks[0].monday]
    tempi = [t for w in weeks for t in (w.reached_bpm, w.held_bpm, w.failed_bpm) if t is not None]
    tempi += [span.value for _, span in known] + ([exercise.goal.bpm] if exercise.goal else [])
    room = max(0.1 * (max(tempi) - min(tempi)), 2.0)
    scale = _Scale(weeks[0].monday, weeks[-1].monday, min(tempi) - room, max(tempi) + room, TALL)
    marks, stems = [], []
    for week in weeks:
        x = scale.x(week.monday)
        if week.held_bpm is None:
            marks.append(WeekMark(kind="not-held", x=x, y=scale.y(week.reached_bpm or 0.0)))
            continue
        if week.failed_bpm is not None:
            marks.append(WeekMark(kind="failed", x=x, y=scale.y(week.failed_bpm)))
            stems.append((x, scale.y(week.held_bpm), scale.y(week.failed_bpm)))
        marks.append(WeekMark(kind="held", x=x, y=scale.y(week.held_bpm)))
    outline = [(m, s.low) for m, s in known] + [(m, s.high) for m, s in reversed(known)]
    return WeeksChart(
        height=TALL,
        across=_dates(scale),
        up=_values(scale),
        marks=tuple(marks),
        stems=tuple(stems),
        line=_points(scale, [(m, s.value) for m, s in known]),
        band=_points(scale, outline),
        level=scale.y(exercise.goal.bpm) if exercise.goal else None,
        level_label=f"goal {exercise.goal.bpm:.4g}" if exercise.goal else "",
        said=_said(exercise),
    )


def scatter_chart(exercise: ExerciseProgress) -> WeeksChart | None:
    """How far the strums scatter, ms, week by week; None where it was measured in fewer than two weeks."""
    rows = [(w.monday, w.jitter_ms.value) for w in exercise.weeks[-SHOWN_WEEKS:] if w.jitter_ms is not None]
    return _sizes(rows, None, f"scatter of the strums, ms: {_from_to(rows)}") if len(rows) > 1 else None


def cause_chart(cause: Cause) -> WeeksChart:
    """How large one thing that stands in the way was, week by week."""
    scale = 100.0 if cause.unit == "share" else 1.0
    rows = [(monday, scale * size) for monday, size in cause.weeks[-SHOWN_WEEKS:]]
    ends = [(rows[0][0], scale * cause.first.value), (rows[-1][0], scale * cause.now.value)]
    return _sizes(rows, ends if len(rows) > 1 else None, f"{cause_name(cause)}: {_from_to(rows)}")


def spark(exercise: ExerciseProgress) -> tuple[str, tuple[tuple[float, float], ...]]:
    """The tempo of the weeks as one small line: points of the polyline, and where a tempo was held."""
    weeks = [w for w in exercise.weeks[-SHOWN_WEEKS:] if w.reached_bpm is not None]
    if not weeks:
        return "", ()
    tempi = [w.reached_bpm or 0.0 for w in weeks]
    low, span = min(tempi), max(max(tempi) - min(tempi), 4.0)
    whole = max(weeks_since(weeks[-1].monday, weeks[0].monday), 1.0)
    places = [
        (
            SPARK_PAD + weeks_since(w.monday, weeks[0].monday) / whole * (SPARK_WIDTH - 2 * SPARK_PAD),
            SPARK_HEIGHT - SPARK_PAD - (t - low) / span * (SPARK_HEIGHT - 2 * SPARK_PAD),
        )
        for w, t in zip(weeks, tempi, strict=True)
    ]
    held = tuple(place for place, w in zip(places, weeks, strict=True) if w.held_bpm is not None)
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in places), held


def _sizes(rows: Sequence[tuple[date, float]], line: Sequence[tuple[date, float]] | None, said: str) -> WeeksChart:
    values = [value for _, value in rows] + [value for _, value in line or ()]
    low, high = min(*values, 0.0), max(*values, 0.0)
    room = 0.1 * max(high - low, 1.0)
    low, high = (low - room if low < 0 else low), (high + room if high > 0 else high)
    scale = _Scale(rows[0][0], rows[-1][0], low, max(high, low + 1.0), LOW)
    return WeeksChart(
        height=LOW,
        across=_dates(scale),
        up=_values(scale),
        marks=tuple(WeekMark(kind="value", x=scale.x(monday), y=scale.y(value)) for monday, value in rows),
        line=_points(scale, line or ()),
        level=scale.y(0.0),
        said=said,
    )


def _points(scale: _Scale, rows: Sequence[tuple[date, float]]) -> str:
    return " ".join(f"{scale.x(monday):.1f},{scale.y(value):.1f}" for monday, value in rows)


def _values(scale: _Scale) -> tuple[Tick, ...]:
    """Three to six round values of the axis."""
    span = scale.high - scale.low
    most = 6 if scale.height == TALL else 3
    steps = (step * 10.0**power for power in range(-1, 5) for step in STEPS)
    step = next(s for s in steps if span / s <= most)
    first = int(-(-scale.low // step))
    values = [step * k for k in range(first, int(scale.high // step) + 1)]
    return tuple(Tick(at=scale.y(v), label=f"{v:g}".replace("-", "\N{MINUS SIGN}")) for v in values)


def _dates(scale: _Scale) -> tuple[Tick, ...]:
    """A few Mondays, the first and the last among them."""
    span = round(weeks_since(scale.last, scale.first))
    n = min(span, MOST_DATES - 1)
    at = [round(k * span / n) for k in range(n + 1)] if n else [0]
    mondays = [date.fromordinal(scale.first.toordinal() + 7 * week) for week in at]
    return tuple(Tick(at=scale.x(m), label=f"{m.day} {m:%b}") for m in mondays)


def _said(exercise: ExerciseProgress) -> str:
    held = [w for w in exercise.weeks if w.held_bpm is not None]
    if not held:
        return f"tempo over {len(exercise.weeks)} weeks; none was held by enough takes yet"
    first, last = held[0], held[-1]
    return f"tempo held, from {first.held_bpm:.4g} bpm in {first.name} to {last.held_bpm:.4g} bpm in {last.name}"


def _from_to(rows: Sequence[tuple[date, float]]) -> str:
    return f"{rows[0][1]:.0f} in the week of {rows[0][0]}, {rows[-1][1]:.0f} in the week of {rows[-1][0]}"
