"""One student's weeks of one exercise: what is held, whether it rises by more than luck, what comes next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from strumclock.timing.held import CLOSE_ENOUGH, next_tempo, settable_bpm
from strumclock.weeks.breaks import Jump, jump
from strumclock.weeks.goal import TREND_WEEKS, Outlook, outlook
from strumclock.weeks.plateau import MIN_WEEKS, STILL_CLIMBS_PER_WEEK, plateau
from strumclock.weeks.trend import MannKendall, Slope, mann_kendall, theil_sen
from strumclock.weeks.variation import Variation, t_quantile, variation
from strumclock.weeks.week import TAKES_TO_HOLD, Point, Week, by_week, summarise_week

PLATEAU_WEEKS = 26
TREND_P = 0.05
LEANING_TAKES = 8  # the latest takes that are asked whether they pull ahead
JUMP_P = 0.01  # looked for in every exercise: one false alarm in a hundred is enough
MIN_JUMP_WEEKS = 6
MIN_JUMP_SHARE = 0.025  # of the beat: what can be heard (Friberg & Sundberg 1995)
MIN_TREND_WEEKS = 6  # with fewer no 95 % interval exists

STATES = ("stuck", "level", "falling", "rising", "unclear", "early")


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A figure over the latest weeks.

    Attributes
    ----------
    since, until : date
        Mondays of the first and the last week in it.
    n_weeks : int
    slope : Slope
        A week; the interval is of 95 %.
    test : MannKendall
    """

    since: date
    until: date
    n_weeks: int
    slope: Slope
    test: MannKendall

    @property
    def line(self) -> tuple[float, float]:
        """The line's values in the first and the last week."""
        span = (self.until - self.since).days / 7
        return self.slope.intercept, self.slope.intercept + span * self.slope.per_unit

    @property
    def rises(self) -> bool:
        """Whether slope and test both say so."""
        return self.test.p <= TREND_P and self.slope.low is not None and self.slope.low > 0

    @property
    def falls(self) -> bool:
        """Whether slope and test both say so."""
        return self.test.p <= TREND_P and self.slope.high is not None and self.slope.high < 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Stuck:
    """A plateau that the weeks support."""

    since: date
    bpm: float
    before_per_week: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaning:
    """Most of the latest takes pull ahead of the click, or fall behind it, by more than can be heard.

    Attributes
    ----------
    n, of : int
        How many takes do, and of how many.
    drift_ms_per_min : float
        Median of their drifts; positive = falling behind.
    """

    n: int
    of: int
    drift_ms_per_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """The mean offset stepped from one level to another: often a phone or speaker in another place."""

    in_week: date
    by_share: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ExerciseProgress:
    """One exercise of one student, over weeks.

    Attributes
    ----------
    label : str
        Its name for people.
    beats_per_change : float or None
    points : tuple of Point
        Takes that count, in order.
    weeks : tuple of Week
        Weeks with takes; the others are gaps.
    state : str
        ``"stuck"`` (a plateau), ``"level"`` (unchanged throughout), ``"falling"``, ``"rising"``, ``"unclear"`` or
        ``"early"`` (fewer than six weeks that hold a tempo).
    takes_to_hold : int
        Takes of one calendar week that must hold a tempo for the week to have held it.
    highest_held_bpm, highest_held_in : float, date or None
        Highest tempo that a week ever held, and that week's Monday.
    tempo : Trend or None
        Of the tempo held.
    reached : Trend or None
        Of the tempo reached: weeks that hold none count with what was tried.
    evenness : Trend or None
        Of the jitter as a share of the beat; falling is better.
    jitter, offset : Variation or None
        Take to take against week to week: of the mean offset as a share of the beat, of the logarithm of the jitter.
    leaning : Leaning or None
    stuck : Stuck or None
    moved : Moved or None
    goal : Outlook or None
    next_bpm : float or None
        By the standard, from the last takes; a whole number.
    subdivide : bool
        Whether to let the click sound between the beats rather than go slower.
    """

    label: str
    beats_per_change: float | None
    points: tuple[Point, ...]
    weeks: tuple[Week, ...]
    state: str
    takes_to_hold: int
    highest_held_bpm: float | None
    highest_held_in: date | None
    tempo: Trend | None
    reached: Trend | None
    evenness: Trend | None
    jitter: Variation | None
    offset: Variation | None
    leaning: Leaning | None
    stuck: Stuck | None
    moved: Moved | None
    goal: Outlook | None
    next_bpm: float | None
    subdivide: bool

    @property
    def evenness_improved(self) -> bool:
        """Whether the jitter falls, and by more than luck from take to take moves a weekly mean."""
        if self.evenness is None or self.jitter is None or not self.evenness.falls:
            return False
        first, *_, last = [w.jitter_share for w in self.weeks if w.jitter_share and w.monday >= self.evenness.since]
        luck = t_quantile(self.jitter.within_dof) * self.jitter.within_sd * math.sqrt(1 / first.n + 1 / last.n)
        before, after = self.evenness.line
        return after > 0 and math.log(before / after) > luck


def exercise_progress(
    label: str,
    points: Sequence[Point],
    *,
    beats_per_change: float | None = None,
    goal_bpm: float | None = None,
    goal_by: date | None = None,
    takes_to_hold: int = TAKES_TO_HOLD,
) -> ExerciseProgress:
    """Put the takes of one exercise together.

    Parameters
    ----------
    points : sequence of Point
        Takes that count.
    goal_bpm, goal_by : float, date, optional
        The tempo wanted, and by when.
    takes_to_hold : int
        Takes of a week that must hold a tempo.
    """
    groups = by_week(points)
    jitter = variation([[math.log(p.jitter_share) for p in g if p.jitter_share] for g in groups.values()])
    offset = variation([[p.offset_share for p in g if p.offset_share is not None] for g in groups.values()])
    weeks = tuple(
        summarise_week(monday, group, takes_to_hold=takes_to_hold, jitter=jitter, offset=offset)
        for monday, group in groups.items()
    )
    held = [(w.monday, w.held_bpm) for w in weeks if w.held_bpm is not None]
    reached = [(w.monday, w.reached_bpm) for w in weeks if w.reached_bpm is not None]
    tempo = _trend(held)
    reached_trend = _trend(reached)
    stuck = _stuck(reached)
    best = max(held, key=lambda week: week[1], default=None)
    ordered = sorted(points, key=lambda p: (p.played_on, p.take))
    following, subdivide = _next(ordered)
    return ExerciseProgress(
        label=label,
        beats_per_change=beats_per_change,
        points=tuple(ordered),
        weeks=weeks,
        state=_state(stuck, tempo, reached_trend, reached),
        takes_to_hold=takes_to_hold,
        highest_held_bpm=best[1] if best else None,
        highest_held_in=best[0] if best else None,
        tempo=tempo,
        reached=reached_trend,
        evenness=_trend([(w.monday, w.jitter_share.value) for w in weeks if w.jitter_share]),
        jitter=jitter,
        offset=offset,
        leaning=_leaning(ordered),
        stuck=stuck,
        moved=_moved([(w.monday, w.offset_share.value) for w in weeks if w.offset_share]),
        goal=outlook(
            goal_bpm,
            by=goal_by,
            held=held,
            played=sum(w.monday >= tempo.since for w in weeks) if tempo else len(weeks),
            slope=tempo.slope if tempo else None,
            stuck=stuck is not None,
        )
        if goal_bpm is not None
        else None,
        next_bpm=following,
        subdivide=subdivide,
    )


Series = Sequence[tuple[date, float]]


def week_numbers(series: Series) -> list[float]:
    """Weeks since the first, so that gaps keep their length."""
    return [(monday - series[0][0]).days / 7 for monday, _ in series]


def _trend(series: Series) -> Trend | None:
    latest = series[-TREND_WEEKS:]
    if len(latest) < MIN_TREND_WEEKS:
        return None
    values = [value for _, value in latest]
    return Trend(
        since=latest[0][0],
        until=latest[-1][0],
        n_weeks=len(latest),
        slope=theil_sen(week_numbers(latest), values),
        test=mann_kendall(values),
    )


def _stuck(series: Series) -> Stuck | None:
    latest = series[-PLATEAU_WEEKS:]
    if len(latest) < MIN_WEEKS:
        return None
    found = plateau(week_numbers(latest), [value for _, value in latest])
    if found is None:
        return None
    return Stuck(
        since=latest[0][0] + timedelta(weeks=round(found.since_week)),
        bpm=found.bpm,
        before_per_week=found.before_per_week,
        p=found.p,
    )


def _state(stuck: Stuck | None, tempo: Trend | None, reached: Trend | None, series: Series) -> str:
    if stuck is not None:
        return "stuck"
    if reached is not None and reached.falls:
        return "falling"
    if tempo is not None and tempo.rises:
        return "rising"
    if reached is not None and len(series) >= MIN_WEEKS:
        little = STILL_CLIMBS_PER_WEEK * float(np.median([value for _, value in series]))
        low, high = reached.slope.low, reached.slope.high
        if low is not None and high is not None and -little < low and high < little:
            return "level"
    return "early" if tempo is None else "unclear"


def _moved(series: Series) -> Moved | None:
    latest = series[-PLATEAU_WEEKS:]
    if len(latest) < MIN_JUMP_WEEKS:
        return None
    values = np.array([value for _, value in latest])
    found: Jump | None = jump(values)
    if found is None or found.p > JUMP_P or abs(found.after - found.before) < MIN_JUMP_SHARE:
        return None
    line = np.polynomial.Polynomial.fit(week_numbers(latest), values, 1)
    if found.rss >= float(np.sum((values - line(np.array(week_numbers(latest)))) ** 2)):
        return None  # it went there slowly: that is the player, not the phone
    return Moved(in_week=latest[found.n_before][0], by_share=found.after - found.before, p=found.p)


def _leaning(points: Sequence[Point]) -> Leaning | None:
    latest = [p for p in points if p.drift_ms_per_min is not None][-LEANING_TAKES:]
    for sign in (-1, 1):
        same = [p.drift_ms_per_min for p in latest if p.drift_heard and (p.drift_ms_per_min or 0.0) * sign > 0]
        if len(latest) >= LEANING_TAKES // 2 and 2 * len(same) > len(latest):
            return Leaning(n=len(same), of=len(latest), drift_ms_per_min=float(np.median(np.array(same, dtype=float))))
    return None


def _next(points: Sequence[Point]) -> tuple[float | None, bool]:
    """The next tempo by the standard, from the last take that was judged."""
    judged = [p for p in points if p.held is not None and p.bpm is not None]
    if not judged:
        tempos = [p.bpm for p in points if p.bpm is not None]
        return (settable_bpm(tempos[-1]) if tempos else None), False
    last = judged[-1]
    assert last.bpm is not None
    assert last.held is not None
    if last.even_share is None and not last.held:
        return settable_bpm(last.bpm), False
    held_before = [p.bpm for p in judged[:-1] if p.held]
    below = 0
    for point in reversed(judged[:-1]):
        same = point.bpm is not None and settable_bpm(point.bpm) == settable_bpm(last.bpm)
        if not same or point.even_share is None or point.even_share >= CLOSE_ENOUGH:
            break
        below += 1
    return next_tempo(
        last.bpm,
        held=last.held,
        even_share=last.even_share if last.even_share is not None else 1.0,
        last_held_bpm=held_before[-1] if held_before else None,
        takes_below=below,
    )
