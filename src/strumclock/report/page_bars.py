"""The take bar by bar, as the page draws it: where each strum lies in its bar, and which belong to the obstacle."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from strumclock.report import words
from strumclock.report.places import count_name

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.pipeline.measurement import Strum
    from strumclock.verdict import Obstacle

WIDTH, HEIGHT, TOP, BOTTOM, PAD = 160.0, 120.0, 18.0, 8.0, 10.0
"""Of one bar's drawing, in its own units, with room beside it for a strum before the one; a line of text has 11."""
MIDDLE = TOP + (HEIGHT - TOP - BOTTOM) / 2
"""Where the click, or the own average, lies."""

LEAST_SPAN = 0.24
"""Of a bar, between its first place and its last one, from which its own length is told: a beat of four."""
LEAST_REACH_MS, ROOM = 10.0, 1.15
"""The axis reaches at least so far to either side, and a little beyond the strum that lies furthest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One strum, or a place that was left out, in a bar's drawing.

    Attributes
    ----------
    kind : str
        ``"strum"``, ``"obstacle"`` (a strum that the first obstacle is about), ``"omitted"`` or ``"added"``.
    x, y : float
    time_s : float
        Where to listen, s in the file.
    said : str
        What it is, in words.
    """

    kind: str
    x: float
    y: float
    time_s: float
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One bar.

    Attributes
    ----------
    number : int
    name : str
        What it is called above the drawing and by a screen reader.
    tempo : str
        Written beside the name where the click's tempo steps; empty elsewhere.
    start_s, end_s : float
    edges : tuple of float
        Where the tolerance about the take's own average ends, as far as that lies inside the drawing.
    clicks : tuple of float
        Of a stretch at a tempo of its own: where the click's beats lie across the bar.
    marks : tuple of Mark
    strums : int
    mean, furthest : str
        In words; empty where there is none.
    obstacle : bool
        Whether the first obstacle is worst here.
    """

    number: int
    name: str
    start_s: float
    end_s: float
    marks: tuple[Mark, ...]
    strums: int
    mean: str
    furthest: str
    obstacle: bool = False
    tempo: str = ""
    edges: tuple[float, ...] = ()
    clicks: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """All bars with their common scale.

    Attributes
    ----------
    bars : tuple of Bar
    middle : float
        Where the click, or the take's own average, lies.
    tolerance_said, reach_said : str
    about_click : bool
        Whether the middle is the click; else it is the take's own average.
    """

    bars: tuple[Bar, ...]
    middle: float
    tolerance_said: str
    reach_said: str
    about_click: bool


def chart(m: Measurement) -> Chart | None:
    """The bars of a take; None where no strum lies in one."""
    played = [s for s in m.strums if s.bar is not None and _value(s) is not None]
    if not played or m.timing is None:
        return None
    about_click = m.timing.offset_ms is not None
    values = [value for s in played if (value := _value(s)) is not None]
    reach = reach_ms(values)
    starts, lengths = _bar_lines(m, played)

    def y(value_ms: float) -> float:
        return height_of(value_ms, reach)

    obstacle = m.verdict.obstacles[0] if m.verdict is not None and m.verdict.obstacles else None
    by_bar = defaultdict(list)
    per_beat = m.exercise.per_beat or 1
    tolerance_ms = 1e3 * m.held.tolerance_s if m.held is not None else None
    for s in m.strums:
        bar = s.bar if s.bar is not None else _bar_at(starts, lengths, s.time_s)
        if bar is None or s.left_click:
            continue
        value = _value(s)
        kind = "added" if value is None else "obstacle" if _concerns(obstacle, s, tolerance_ms) else "strum"
        x = across((s.time_s - starts[bar]) / lengths[bar])
        by_bar[bar].append(Mark(kind=kind, x=x, y=y(value or 0.0), time_s=s.time_s, said=_said(s, per_beat)))
    for o in m.omitted:
        x = across((o.time_s - starts[o.bar]) / lengths[o.bar])
        said = f"left out on {count_name(o.beat, o.part, per_beat)}"
        by_bar[o.bar].append(Mark(kind="omitted", x=x, y=MIDDLE, time_s=o.time_s, said=said))
    worst = set(obstacle.where.bars) if obstacle is not None else set()
    steps = _steps(m, tolerance_ms)
    first = {step.first_bar: words.bpm(step.bpm) for step in steps if step.bpm}
    bars = []
    for n in sorted(starts):
        mean, allowed = _about(n, steps, played)
        edges = [edge for edge in (mean + allowed, mean - allowed) if allowed and abs(edge) <= reach]
        bars.append(
            _bar(
                n, starts[n], lengths[n], by_bar[n], played, obstacle=n in worst,
                tempo=f"{first[n]} bpm" if n in first else "", edges=tuple(y(edge) for edge in edges),
            )
        )  # fmt: skip
    told = sorted({step.tolerance_ms for step in steps if step.tolerance_ms})
    return Chart(
        bars=tuple(bars),
        middle=MIDDLE,
        tolerance_said=" to ".join(words.tolerance(ms) for ms in dict.fromkeys([*told[:1], *told[-1:]])),
        reach_said=f"{words.number(reach)} ms",
        about_click=about_click,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """From which bar on, at which tempo (None: one tempo throughout), with which tolerance (0: none)."""

    first_bar: int
    bpm: float | None
    tolerance_ms: float


def _steps(m: Measurement, tolerance_ms: float | None) -> list[_Step]:
    """The steps of a click that steps; else one from the first bar on."""
    if len(m.steps) < 2 or m.held is None:
        return [_Step(first_bar=1, bpm=None, tolerance_ms=tolerance_ms or 0.0)]
    per_beat, standard = m.exercise.per_beat or 1, m.held.standard
    return [
        _Step(first_bar=step.bars[0], bpm=step.bpm, tolerance_ms=1e3 * standard.tolerance_s(60 / step.bpm / per_beat))
        for step in m.steps
        if step.bars is not None
    ]


def _about(bar: int, steps: list[_Step], played: list[Strum]) -> tuple[float, float]:
    """The average that a bar's tolerance lies about, its step's or the take's, and the tolerance itself, ms."""
    begun = [i for i, step in enumerate(steps) if step.first_bar <= bar] or [0]
    step, after = steps[begun[-1]], steps[begun[-1] + 1 :]
    last = after[0].first_bar if after else math.inf
    here = [s for s in played if step.first_bar <= (s.bar or 1) < last] or played
    return float(np.mean([_value(s) or 0.0 for s in here])), step.tolerance_ms


def reach_ms(values: list[float]) -> float:
    """How far the axis reaches to either side."""
    return max([LEAST_REACH_MS, *(ROOM * abs(value) for value in values)])


def height_of(value_ms: float, reach: float) -> float:
    """Where in the drawing a strum lies that is so late; later is higher."""
    return MIDDLE - value_ms / reach * (HEIGHT - TOP - BOTTOM) / 2


def across(share: float) -> float:
    """Where in the drawing a share of the bar lies."""
    return min(max(WIDTH * share, -PAD), WIDTH + PAD)


def _value(s: Strum) -> float | None:
    """How late a strum is: against the click where that is known, else against the take's own average, ms."""
    return s.offset_ms if s.offset_ms is not None else s.deviation_ms


def _line_s(s: Strum) -> float:
    """Where a strum belonged, s in the file; with a fitted grid by the take's own average."""
    return s.time_s - (_value(s) or 0.0) / 1000


def _bar_lines(m: Measurement, played: list[Strum]) -> tuple[dict[int, float], dict[int, float]]:
    """When each bar begins and how long it is, s: by a straight line through the bar's own places of the grid.

    Bars with one place take the length of all bars together; a click whose tempo steps has bars of several lengths.
    """
    beats = int((m.exercise.meter or "4/4").split("/")[0])
    beats = beats // 3 if (m.exercise.per_beat or 1) == 3 and beats in (6, 9, 12) else beats
    per_beat = m.exercise.per_beat or 1
    in_bar = np.array([((s.beat or 1) - 1 + ((s.part or 1) - 1) / per_beat) / beats for s in played])
    bar = np.array([s.bar or 1 for s in played])
    grid_s = np.array([_line_s(s) for s in played])
    usual_s = beats * 60 / m.exercise.bpm if m.exercise.bpm else 2.0
    if np.ptp(bar + in_bar) > 1:
        usual_s = float(np.polyfit(bar + in_bar, grid_s, 1)[0])
    starts: dict[int, float] = {}
    lengths: dict[int, float] = {}
    for number in sorted(set(bar.tolist())):
        here = bar == number
        several = here.sum() > 1 and np.ptp(in_bar[here]) >= LEAST_SPAN
        lengths[number] = float(np.polyfit(in_bar[here], grid_s[here], 1)[0]) if several else usual_s
        starts[number] = float(np.median(grid_s[here] - in_bar[here] * lengths[number]))
    for o in m.omitted:
        if o.bar not in starts:
            lengths[o.bar] = usual_s
            starts[o.bar] = o.time_s - (o.beat - 1 + (o.part - 1) / per_beat) / beats * usual_s
    return starts, lengths


def _bar_at(starts: dict[int, float], lengths: dict[int, float], time_s: float) -> int | None:
    """The bar in which a strum without a slot lies."""
    return next((bar for bar, start_s in starts.items() if start_s <= time_s < start_s + lengths[bar]), None)


def _concerns(obstacle: Obstacle | None, s: Strum, tolerance_ms: float | None) -> bool:
    """Whether a strum is one of those that the obstacle is about."""
    if obstacle is None:
        return False
    if obstacle.kind == "changes":
        return s.at_change
    if obstacle.kind == "place":
        where = obstacle.where
        return s.beat == where.beat if where.beat is not None else s.part == where.part
    if obstacle.kind == "scatter":
        return tolerance_ms is not None and s.deviation_ms is not None and abs(s.deviation_ms) > tolerance_ms
    return False


def _said(s: Strum, per_beat: int) -> str:
    value = _value(s)
    if value is None:
        return "a strum more than the pattern has"
    place = count_name(s.beat or 1, s.part or 1, per_beat)
    return f"beat {place}: {words.side(value)}{', at a chord change' if s.at_change else ''}"


def _bar(number: int, start_s: float, bar_s: float, marks: list[Mark], played: list[Strum], **more: Any) -> Bar:
    values = [value for s in played if s.bar == number and (value := _value(s)) is not None]
    return Bar(
        number=number,
        name=f"bar {number}",
        start_s=start_s,
        end_s=start_s + bar_s,
        marks=tuple(sorted(marks, key=lambda mark: mark.time_s)),
        strums=len(values),
        mean=words.side(float(np.mean(values))) if values else "",
        furthest=words.side(max(values, key=abs)) if values else "",
        **more,
    )
