"""What is said of the tempo in reach over weeks: rising, falling, level or too early; a plateau; a jump; what is next.

The words follow the probabilities of `strumclock.weeks.following`, with a threshold to come into use and a lower one to
go out of it again, so that they do not flicker from week to week.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import median

from strumclock.showing import Shown
from strumclock.verdict.reach import next_tempo
from strumclock.weeks.following import Follower, Standing
from strumclock.weeks.week import Point, Span, monday_of

SURE_RISING, SURE_FALLING, NO_LONGER = 0.75, 0.82, 0.55
"""A trend is said from these probabilities on, and until it falls below the last. Calibrated with
``tests/benchmarks/next_tempo.py``: at most one in ten of those who stay where they are is called rising or falling at
any of twenty weekly looks, and, with one take a week, four in five who gain 1 bpm a week by their twentieth week (nine
in ten with two takes). Falls show so clearly that more is asked of them."""

SURE_LEVEL = 0.65
"""Probability of gaining and losing less than half a percent a week from which a player is called level."""

TREND_WEEKS = 8
"""Weeks with takes before anything is said."""

SAME = 0.05
"""Share of the tempo: two steps of a metronome. Weeks that differ by less are the same level."""

SURE_LEAP, HEARD_LEAP = 0.8, 0.08
"""A leap is told where it is as likely as this and as large (of the logarithm), about three steps of a metronome."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Leap:
    """The tempo in reach changed at once.

    Attributes
    ----------
    in_week : date
        Monday of the first week after it.
    ratio : float
        Tempo after over tempo before.
    """

    in_week: date
    ratio: float


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Reach(Shown):
    """The tempo in reach, now and over the weeks.

    Attributes
    ----------
    now : Span
        After the last take, bpm, with the 95 % interval.
    weeks : tuple of (date, Span)
        Mondays, and what was known after the last take of each week.
    state : str
        ``"rising"``, ``"falling"``, ``"level"``, or ``"early"``: too early to tell.
    since : date
        Monday of about the week since when. Of a level: the first of the weeks that do not differ.
    per_week_bpm : Span
        Its slope, bpm a week.
    rose_by_bpm : float or None
        On a plateau (level now, rising before): the bpm a week that it rose by before.
    leap : Leap or None
        Where it changed at once: the last time.
    margin_slope, take_sd : float
        How steeply this player's margin rises with the tempo (both as logarithms), and the luck of a take.
    next_bpm : float
        Tempo for the next take, a whole number.
    subdivide : bool
        Whether to let the click sound between the beats rather than go slower.
    """

    now: Span
    weeks: tuple[tuple[date, Span], ...]
    state: str
    since: date
    per_week_bpm: Span
    rose_by_bpm: float | None
    leap: Leap | None
    margin_slope: float
    take_sd: float
    next_bpm: float
    subdivide: bool


class Tendency:
    """The tempo in reach, take by take.

    Parameters
    ----------
    first : Point
        A take that was judged and whose tempo is known: `judged`.
    """

    def __init__(self, first: Point) -> None:
        assert first.bpm is not None
        self._monday = monday_of(first.played_on)
        self._follower = Follower(first.bpm, week=0)
        self._weeks: list[tuple[date, Span]] = []
        self._state, self._rose, self._apart_days = "early", False, 7
        self._last = first
        self.take(first)

    def take(self, point: Point) -> None:
        """Take in the next one, in order of time."""
        assert point.bpm is not None
        monday = monday_of(point.played_on)
        self._follower.advance((monday - self._monday).days // 7)
        if point.margin is not None:
            self._follower.see(point.bpm, point.margin)
        elif point.held is not None:
            self._follower.see_held(point.bpm, held=point.held)
        if self._weeks:
            self._apart_days = (point.played_on - self._last.played_on).days
        if self._weeks and self._weeks[-1][0] == monday:
            self._weeks.pop()
        self._last, self._standing = point, self._follower.standing()
        self._weeks.append((monday, _in_reach(self._standing)))
        self._state = _state(self._state, self._standing, len(self._weeks))
        self._rose = self._rose or self._state == "rising"

    def reach(self) -> Reach:
        """What is said after the last take."""
        now, standing = self._weeks[-1][1], self._standing
        assert self._last.bpm is not None
        since = self._week_of(standing.since)
        middle = median(span.value for monday, span in self._weeks if monday >= since)  # the slope is of a logarithm
        slope = [middle * x for x in (standing.slope, standing.slope_low, standing.slope_high)]
        leapt = standing.jumped >= SURE_LEAP and abs(standing.jump) >= HEARD_LEAP
        level = self._level_since() if self._state == "level" else None
        following, subdivide = next_tempo(
            _in_reach(standing, ahead_weeks=min(self._apart_days / 7, 1.0)),  # the next take comes as the last one did
            self._last.bpm,
            held=None
            if self._state == "falling" and self._last.held
            else self._last.held,  # it may go slower all the same
            slope=standing.margin_slope,
            take_sd=standing.take_sd,
        )
        return Reach(
            now=now,
            weeks=tuple(self._weeks),
            state=self._state,
            since=since if level is None else self._weeks[level][0],
            per_week_bpm=Span(value=slope[0], low=slope[1], high=slope[2]),
            rose_by_bpm=self._climb(level) if level is not None and self._rose else None,
            leap=Leap(in_week=self._week_of(standing.jump_week), ratio=math.exp(standing.jump)) if leapt else None,
            margin_slope=standing.margin_slope,
            take_sd=standing.take_sd,
            next_bpm=following,
            subdivide=subdivide,
        )

    def _level_since(self) -> int:
        """The first of the latest weeks in all of which as much may have been in reach as now."""
        now, start = self._weeks[-1][1].value, len(self._weeks) - 1
        while start and _as_now(self._weeks[start - 1][1], now):
            start -= 1
        return start

    def _climb(self, level: int) -> float | None:
        """Bpm a week from the first week to where the level begins; None where that is no climb."""
        (first, low), (last, high) = self._weeks[0], self._weeks[level]
        rose = high.value - low.value
        return rose / ((last - first).days / 7) if rose > SAME * low.value else None

    def _week_of(self, number: float) -> date:
        return self._monday + timedelta(weeks=max(round(number), 0))


def judged(point: Point) -> bool:
    """Whether a take says anything about the tempo in reach."""
    return point.bpm is not None and (point.margin is not None or point.held is not None)


def follow(points: Iterable[Point]) -> Reach | None:
    """The tempo in reach over takes in order of time; None where none was judged.

    Parameters
    ----------
    points : iterable of Point
    """
    tendency: Tendency | None = None
    for point in filter(judged, points):
        if tendency is None:
            tendency = Tendency(point)
        else:
            tendency.take(point)
    return tendency.reach() if tendency is not None else None


def _as_now(then: Span, now: float) -> bool:
    """Whether what was in reach then may have been the same as now."""
    return then.low <= now <= then.high or abs(then.value / now - 1) <= SAME


def _in_reach(standing: Standing, *, ahead_weeks: float = 0.0) -> Span:
    """The tempo in reach, bpm; also as it will be, if the slope goes on."""
    ends = (standing.log_reach, standing.log_low, standing.log_high)
    value, low, high = (math.exp(x + ahead_weeks * standing.slope) for x in ends)
    return Span(value=value, low=low, high=high)


def _state(state: str, standing: Standing, n_weeks: int) -> str:
    """What is said now, given what was said before."""
    if n_weeks < TREND_WEEKS:
        return "early"
    for name, p, sure in (("rising", standing.rises, SURE_RISING), ("falling", standing.falls, SURE_FALLING)):
        if p >= (NO_LONGER if state == name else sure):
            return name
    return "level" if standing.still >= SURE_LEVEL else "early"
