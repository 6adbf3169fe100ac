"""Takes of one exercise, put together by ISO 8601 week. A week without takes is a gap, never a zero.

References
----------
ISO 8601 week dates: weeks begin on Monday; week 1 holds the year's first Thursday (2020-12-31 is 2020-W53-4).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from strumclock.timing.values import AUDIBLE_FLOOR_S, audible_s
from strumclock.verdict.reach import TAKE_SD

TAKES_TO_HOLD = 2
"""Takes that must hold a tempo before it is held for the week: one may be luck."""

JITTER_SD, OFFSET_SD_MS = TAKE_SD, 16.0
"""Luck of one take, before a player's own takes tell: of the jitter's logarithm; of the mean offset (people tapping at
100 and 50 bpm, from trial to trial: 14 and 20 ms; Bååth & Madison 2012)."""

KNOWN_TAKES = 8
"""As many repeated takes this is worth, so that weeks with few have intervals that mean something."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One take that counts, as the progress sees it.

    Attributes
    ----------
    take : int
        Its number in the journal.
    played_on : date
    bpm : float or None
    held : bool or None
    beats_per_change : float or None
    jitter_ms : float or None
    offset_ms : float or None
        Mean offset, positive = late; None where the grid was only fitted.
    margin : float or None
        The largest of found over asked for by the standard; None where it was not judged, or by hand.
    sizes : mapping of str to float
        What may stand in the way, by name: `strumclock.weeks.causes.sizes_of`.
    paper : bool
        From a page kept by hand: nothing was measured.
    doubtful : bool
        Its measuring came with a warning, a fitted grid, or no judgement.
    """

    take: int
    played_on: date
    bpm: float | None
    held: bool | None
    beats_per_change: float | None = None
    jitter_ms: float | None = None
    offset_ms: float | None = None
    margin: float | None = None
    sizes: Mapping[str, float] = field(default_factory=dict)
    paper: bool = False
    doubtful: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A value with its 95 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A week's mean with its 95 % interval: how far luck from take to take may have moved it."""

    value: float
    low: float
    high: float
    n: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """One ISO week in which the exercise was played.

    Attributes
    ----------
    monday : date
    n_takes, n_paper : int
        Takes that count, and how many of them are from paper.
    held_bpm : float or None
        The highest tempo that enough takes hold (a take at a higher tempo counts for the lower one too).
    once_held_bpm : float or None
        The highest tempo that any take holds.
    failed_bpm : float or None
        The lowest tempo above `held_bpm` that was tried and not held: where holding ends lies between the two.
    tried_bpm : float or None
        The highest tempo tried.
    reached_bpm : float or None
        `held_bpm`, else `once_held_bpm`, else the lowest tempo tried: at most that was reached.
    changes_per_minute : float or None
        Chord changes at `held_bpm`.
    jitter_ms, offset_ms : Mean or None
        Of the jitter the geometric mean.
    """

    monday: date
    n_takes: int
    n_paper: int
    held_bpm: float | None
    once_held_bpm: float | None
    failed_bpm: float | None
    tried_bpm: float | None
    reached_bpm: float | None
    changes_per_minute: float | None
    jitter_ms: Mean | None
    offset_ms: Mean | None

    @property
    def name(self) -> str:
        """Such as ``2020-W53``."""
        year, week, _ = self.monday.isocalendar()
        return f"{year}-W{week:02d}"


def monday_of(day: date) -> date:
    """The Monday of a day's ISO week.

    Examples
    --------
    >>> monday_of(date(2021, 1, 3)).isocalendar()[:2]
    (2020, 53)
    """
    return day - timedelta(days=day.weekday())


def audible_ms(bpm: float | None) -> float:
    """What can be heard of one displaced strum at a tempo, ms: `strumclock.timing.audible_s` of its beats.

    Examples
    --------
    >>> audible_ms(120), audible_ms(None)
    (12.5, 6.0)
    """
    return 1000 * (audible_s(60 / bpm) if bpm else AUDIBLE_FLOOR_S)


def by_week(points: Sequence[Point]) -> dict[date, list[Point]]:
    """Takes by the Monday of their week, in order."""
    groups: dict[date, list[Point]] = {}
    for point in sorted(points, key=lambda p: (p.played_on, p.take)):
        groups.setdefault(monday_of(point.played_on), []).append(point)
    return groups


@dataclass(frozen=True, slots=True, kw_only=True)
class Luck:
    """How a figure varies from take to take of one week: its standard deviation, and the takes that this rests on."""

    sd: float
    dof: int

    def half(self, n: int) -> float:
        """Half of the 95 % interval of a mean of n takes."""
        from scipy.special import stdtrit

        return float(stdtrit(self.dof, 0.975)) * self.sd / math.sqrt(n)


def luck(weeks: Iterable[Sequence[float]], prior_sd: float) -> Luck:
    """Pool what takes of one week differ by with what is known of people.

    Parameters
    ----------
    weeks : iterable of sequence of float
        The figure's values, week by week.
    prior_sd : float
        Known of people; worth `KNOWN_TAKES` repeated takes.
    """
    groups = [np.asarray(week, dtype=float) for week in weeks if len(week)]
    dof = sum(group.size - 1 for group in groups)
    square = sum(float(((group - group.mean()) ** 2).sum()) for group in groups)
    return Luck(sd=math.sqrt((KNOWN_TAKES * prior_sd**2 + square) / (KNOWN_TAKES + dof)), dof=KNOWN_TAKES + dof)


def summarise_week(
    monday: date,
    points: Sequence[Point],
    *,
    jitter: Luck,
    offset: Luck,
    takes_to_hold: int = TAKES_TO_HOLD,
) -> Week:
    """What one week shows.

    Parameters
    ----------
    jitter, offset : Luck
        Of the logarithm of the jitter, which varies in proportion, and of the mean offset: the weekly means' intervals
        come from it.
    """
    tempos = [p for p in points if p.bpm is not None]
    held = sorted((p.bpm for p in tempos if p.held and p.bpm is not None), reverse=True)
    held_bpm = held[takes_to_hold - 1] if len(held) >= takes_to_hold else None
    failed = [p.bpm for p in tempos if p.held is False and p.bpm is not None and p.bpm > (held_bpm or 0.0)]
    judged = [p.bpm for p in tempos if p.held is not None and p.bpm is not None]
    per_change = next((p.beats_per_change for p in tempos if p.beats_per_change), None)
    spread = _mean([math.log(p.jitter_ms) for p in points if p.jitter_ms], jitter)
    return Week(
        monday=monday,
        n_takes=len(points),
        n_paper=sum(p.paper for p in points),
        held_bpm=held_bpm,
        once_held_bpm=held[0] if held else None,
        failed_bpm=min(failed, default=None),
        tried_bpm=max((p.bpm for p in tempos if p.bpm is not None), default=None),
        reached_bpm=held_bpm or (held[0] if held else min(judged, default=None)),
        changes_per_minute=held_bpm / per_change if held_bpm and per_change else None,
        jitter_ms=None
        if spread is None
        else Mean(value=math.exp(spread.value), low=math.exp(spread.low), high=math.exp(spread.high), n=spread.n),
        offset_ms=_mean([p.offset_ms for p in points if p.offset_ms is not None], offset),
    )


def _mean(values: Sequence[float], of_takes: Luck) -> Mean | None:
    if not values:
        return None
    centre, half = float(np.mean(values)), of_takes.half(len(values))
    return Mean(value=centre, low=centre - half, high=centre + half, n=len(values))
