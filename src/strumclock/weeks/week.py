"""Takes of one exercise, put together by ISO 8601 week. A week without takes is a gap, never a zero.

References
----------
ISO 8601 week dates: weeks begin on Monday; week 1 holds the year's first Thursday (2020-12-31 is 2020-W53-4).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from strumclock.weeks.variation import Variation, t_quantile

TAKES_TO_HOLD = 2
"""Takes that must hold a tempo before it is held for the week: one may be luck."""


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
    jitter_share : float or None
        Jitter as a share of the beat.
    offset_share : float or None
        Mean offset as a share of the beat, positive = late; None where the grid was only fitted.
    even_share : float or None
        Share of strums within the tolerance.
    drift_ms_per_min : float or None
        Positive = falling behind.
    drift_heard : bool
        Its interval excludes 0, and over the take it exceeds what can be heard.
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
    jitter_share: float | None = None
    offset_share: float | None = None
    even_share: float | None = None
    drift_ms_per_min: float | None = None
    drift_heard: bool = False
    paper: bool = False
    doubtful: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Mean:
    """A week's mean with its 95 % interval (None where one take is all there ever was in any week)."""

    value: float
    low: float | None
    high: float | None
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
    jitter_share, offset_share : Mean or None
        Shares of the beat; of the jitter the geometric mean.
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
    jitter_share: Mean | None
    offset_share: Mean | None

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


def by_week(points: Sequence[Point]) -> dict[date, list[Point]]:
    """Takes by the Monday of their week, in order."""
    groups: dict[date, list[Point]] = {}
    for point in sorted(points, key=lambda p: (p.played_on, p.take)):
        groups.setdefault(monday_of(point.played_on), []).append(point)
    return groups


def summarise_week(
    monday: date,
    points: Sequence[Point],
    *,
    takes_to_hold: int = TAKES_TO_HOLD,
    jitter: Variation | None = None,
    offset: Variation | None = None,
) -> Week:
    """What one week shows.

    Parameters
    ----------
    jitter, offset : Variation, optional
        How the figures vary from take to take over all weeks: the intervals of the weekly means come from it. Jitter,
        which is never negative and varies in proportion, as its logarithm.
    """
    tempos = [p for p in points if p.bpm is not None]
    held = sorted((p.bpm for p in tempos if p.held and p.bpm is not None), reverse=True)
    held_bpm = held[takes_to_hold - 1] if len(held) >= takes_to_hold else None
    failed = [p.bpm for p in tempos if p.held is False and p.bpm is not None and p.bpm > (held_bpm or 0.0)]
    judged = [p.bpm for p in tempos if p.held is not None and p.bpm is not None]
    per_change = next((p.beats_per_change for p in tempos if p.beats_per_change), None)
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
        jitter_share=_geometric_mean([p.jitter_share for p in points], jitter),
        offset_share=_mean([p.offset_share for p in points], offset),
    )


def _geometric_mean(values: Sequence[float | None], spread: Variation | None) -> Mean | None:
    found = _mean([math.log(v) if v else None for v in values], spread)
    if found is None:
        return None
    low, high = (None if end is None else math.exp(end) for end in (found.low, found.high))
    return Mean(value=math.exp(found.value), low=low, high=high, n=found.n)


def _mean(values: Sequence[float | None], spread: Variation | None) -> Mean | None:
    known = [v for v in values if v is not None]
    if not known:
        return None
    centre = float(np.mean(known))
    if spread is None:
        return Mean(value=centre, low=None, high=None, n=len(known))
    half = t_quantile(spread.within_dof) * spread.within_sd / math.sqrt(len(known))
    return Mean(value=centre, low=centre - half, high=centre + half, n=len(known))
