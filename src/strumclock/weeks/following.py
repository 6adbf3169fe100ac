"""The tempo in reach, followed from take to take: where it stands, whether it rises, when it jumped.

What is followed is the logarithm of the tempo that half of the takes would hold. Each week it moves on along a slope;
and seldom something happens: it **jumps** (a layoff, a breakthrough) or its **slope changes** (a plateau begins, a
climb sets in). A slope may be exactly none, so that "level" is a reading of the weeks like "rising", with its own
probability. A whole week may be good or bad (**luck**, which lasts into the next: AR(1)), and so may one take.

Each reading of the past (what happened in which week, how steeply this player's margin rises with the tempo, how large
luck is) is a Kalman filter of its own. Readings are weighed by how well they foretold each take, and the unlikely ones
are dropped: a Gaussian-sum filter. Their mixture gives every interval and probability. Nothing is drawn at random.

References
----------
Harvey (1989), Forecasting, Structural Time Series Models and the Kalman Filter (level and slope). Alspach & Sorenson
(1972), IEEE Trans. Automat. Contr. 17:439 (Gaussian sums). Adams & MacKay (2007), arXiv:0710.3742 (the last change).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats
from strumclock.verdict.reach import Z_IN_REACH, log_margin

START_SD = 0.35
"""Of the logarithm, before anything is known but the first tempo offered: mostly within half and twice of it."""

WANDER_SD = 0.002
"""Of the logarithm a week: nobody stays at exactly one tempo. Small, so that a level player is called level."""

SLOPES_A_WEEK = ((0.0, 0.5), (0.012, 0.32), (0.032, 0.18))
"""How steep a climb or fall is: standard deviation of the logarithm a week, and how likely. None at all; 1 % a week (a
step of the metronome at 80 to 100 bpm); 3 % a week (about as fast as the next tempo may rise)."""

CHANGE_A_WEEK, JUMP_A_WEEK = 1 / 40, 1 / 60
"""How likely a week changes the slope, or the level at once. Calibrated (``tests/benchmarks/next_tempo.py``): oftener
makes climbs doubtful, more seldom makes a layoff look like a long fall."""

JUMP_MEAN, JUMP_SD = -0.12, 0.12
"""Size of a jump: layoffs of some weeks cost a tenth to a fifth (common practice, no source); nobody gains as much in a
week as often. With jumps as likely up as down a climb of 1 bpm a week passed for one leap in every fourth player, and a
layoff for a long fall in every fifth (``tests/benchmarks/next_tempo.py``)."""

LAYOFF_WEEKS, LAYOFF_JUMP = 3, 0.3
"""After so many weeks without a take a jump is as likely as this."""

MARGIN_SLOPES = ((1.2, 0.1), (1.9, 0.19), (3.0, 0.38), (4.7, 0.19), (7.5, 0.09), (20.0, 0.05))
"""How steeply a player's margin rises with the tempo: `verdict.reach.SLOPE` and its spread from player to player; and a
wall: a fault that is not there a little slower."""

EASY_MARGIN = 0.5
"""Below, a take says only that the tempo is in reach with ease: a player's own unevenness does not shrink for ever with
the tempo (trained drummers' is the same in ms at every tempo; Groove MIDI Dataset)."""

TAKE_SDS = ((0.11, 0.2), (0.16, 0.35), (0.23, 0.3), (0.34, 0.15))
"""Luck of a take, about `verdict.reach.TAKE_SD`: long takes of steady players to short ones of others."""

WEEK_LUCK = ((0.01, 0.0, 0.35), (0.03, 0.6, 0.4), (0.03, 0.85, 0.25))
"""Luck of a week: its standard deviation, how much of it lasts into the next week, how likely such a player is."""

STRAY, STRAY_FACTOR = 0.05, 3.0
"""Share of takes in which something else went wrong, and how much wider their luck is."""

MOST_READINGS = 300
"""Readings kept from week to week; with 1000 no figure of the benchmark moves by more than its own chance."""

STILL_A_WEEK = 0.005
"""Of the logarithm: half a percent. Whoever gains less is called level; it is 1 bpm in a fortnight at 100 bpm."""

_FINENESS = 48  # points over eight standard deviations; by hand
_NEGLIGIBLE = 9.0  # e^-9: readings less likely than the likeliest by this are left out of what is said
_Z = 1.959964  # derived: the normal quantile of .975


# Rows of the table of readings, one column a reading.
_L, _B, _U = 0, 1, 2  # means: level, slope a week, luck of the week
_LL, _LB, _LU, _BB, _BU, _UU = 3, 4, 5, 6, 7, 8  # their covariances
_WEIGHT = 9  # logarithm of the probability
_G, _TAKE, _LUCK, _LASTS = 10, 11, 12, 13  # margin's slope, luck of a take, of a week, how much of that lasts
_STEEP, _SINCE = 14, 15  # how steep the slope may be; week of its last change
_JUMPED, _FROM = 16, 17  # week of the last jump, -1 for none; the level just before it
_N_ROWS = 18
_PAIRS = ((_L, _L), (_L, _B), (_L, _U), (_B, _B), (_B, _U), (_U, _U))


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What the takes so far say.

    Attributes
    ----------
    log_reach, log_low, log_high : float
        Logarithm of the tempo in reach (bpm), and its 95 % interval.
    rises, falls, still : float
        Probabilities that the slope is above zero, below, or less than half a percent a week.
    slope, slope_low, slope_high : float
        Of the logarithm, a week, with its 95 % interval.
    since : float
        Week of the slope's last change: median of the readings, the first week where none changed.
    jumped : float
        Probability that the level has jumped.
    jump_week, jump : float
        When and by how much (of the logarithm), where it has.
    margin_slope, take_sd : float
        How steeply the player's margin rises with the tempo, and the luck of a take.
    """

    log_reach: float
    log_low: float
    log_high: float
    rises: float
    falls: float
    still: float
    slope: float
    slope_low: float
    slope_high: float
    since: float
    jumped: float
    jump_week: float
    jump: float
    margin_slope: float
    take_sd: float


class Follower:
    """Readings of the takes so far.

    Parameters
    ----------
    bpm : float
        Tempo of the first take.
    week : int
        When it was played, in weeks from any zero.

    Examples
    --------
    Sixteen weeks of takes that just held, two bpm faster each week:

    >>> follower = Follower(60, week=0)
    >>> for week in range(16):
    ...     follower.advance(week)
    ...     follower.see(60 + 2 * week, margin=0.9)
    >>> now = follower.standing()
    >>> 86 < math.exp(now.log_reach) < 92, now.rises > 0.9
    (True, True)
    """

    def __init__(self, bpm: float, week: int) -> None:
        grid = np.array(
            [
                (*slope, *take, *luck, *steep)
                for slope, take, luck, steep in itertools.product(MARGIN_SLOPES, TAKE_SDS, WEEK_LUCK, SLOPES_A_WEEK)
            ]
        ).T
        t = np.zeros((_N_ROWS, grid.shape[1]))
        t[_G], t[_TAKE], t[_LUCK], t[_LASTS], t[_STEEP] = grid[[0, 2, 4, 5, 7]]
        t[_WEIGHT] = np.log(grid[[1, 3, 6, 8]]).sum(axis=0)
        t[_L], t[_LL], t[_BB], t[_UU] = math.log(bpm), START_SD**2, t[_STEEP] ** 2, t[_LUCK] ** 2
        t[_SINCE], t[_JUMPED] = week, -1
        self._t, self._week, self._first = t, week, week

    def advance(self, week: int) -> None:
        """Go on to a later week: something may have happened meanwhile."""
        k = week - self._week
        if k <= 0:
            return
        t, self._week = self._t, week
        p_change, p_jump = 1 - (1 - CHANGE_A_WEEK) ** k, 1 - (1 - JUMP_A_WEEK) ** k
        if k >= LAYOFF_WEEKS:
            p_jump = max(p_jump, LAYOFF_JUMP)
        jumped = t.copy()
        jumped[_JUMPED], jumped[_FROM] = week, t[_L]
        jumped[_L] += JUMP_MEAN
        jumped[_LL] += JUMP_SD**2
        jumped[_WEIGHT] += math.log(p_jump)
        branches = [jumped]
        for steep, share in SLOPES_A_WEEK:
            turned = (t if steep else t[:, t[_STEEP] > 0]).copy()  # who has no slope cannot lose it
            others = np.where(turned[_STEEP] > 0, 1.0, 1 - SLOPES_A_WEEK[0][1])
            turned[_WEIGHT] += np.log(p_change * share / others)
            turned[_SINCE], turned[_STEEP] = week - k, steep
            turned[[_B, _LB, _BU]], turned[_BB] = 0.0, steep**2
            branches.append(turned)
        t[_WEIGHT] += math.log1p(-p_jump - p_change)
        self._t = _likeliest(np.concatenate((t, *branches), axis=1))
        self._move(k)

    def _move(self, k: int) -> None:
        """Every reading goes on for k weeks: level by slope, luck by as much of it as lasts."""
        t = self._t
        lasts = t[_LASTS] ** k
        t[_L] += k * t[_B]
        t[_U] *= lasts
        t[_LL] += 2 * k * t[_LB] + k * k * t[_BB] + k * WANDER_SD**2
        t[_LB] += k * t[_BB]
        t[_LU] = lasts * (t[_LU] + k * t[_BU])
        t[_BU] *= lasts
        t[_UU] = lasts**2 * t[_UU] + (1 - lasts**2) * t[_LUCK] ** 2

    def see(self, bpm: float, margin: float) -> None:
        """Take in a take of this week by its margin, which may also be a stray one."""
        if margin < EASY_MARGIN:
            self._see_beyond(bpm, math.log(EASY_MARGIN), below=True)
            return
        t = self._t
        seen = log_margin(margin)
        expected, with_state, variance = self._expected(bpm)
        missed = seen - expected
        usual, strays = variance + t[_TAKE] ** 2, variance + (STRAY_FACTOR * t[_TAKE]) ** 2
        as_usual = math.log(1 - STRAY) - 0.5 * (np.log(usual) + missed**2 / usual)
        as_stray = math.log(STRAY) - 0.5 * (np.log(strays) + missed**2 / strays)
        either = np.logaddexp(as_usual, as_stray)
        p = np.exp(as_usual - either)
        gain = p / usual + (1 - p) / strays
        doubt = p * (1 - p) * (1 / usual - 1 / strays) ** 2 * missed**2  # the two answers differ
        self._learn(with_state, gain * missed, gain - doubt, either)

    def see_held(self, bpm: float, *, held: bool) -> None:
        """Take in a take of which is only known whether it held."""
        self._see_beyond(bpm, 0.0, below=held)

    def _see_beyond(self, bpm: float, limit: float, *, below: bool) -> None:
        """A take whose log margin lies below a limit, or above: a normal distribution cut off, by its moments."""
        from scipy.special import log_ndtr

        expected, with_state, variance = self._expected(bpm)
        sd, sign = np.sqrt(variance + self._t[_TAKE] ** 2), -1.0 if below else 1.0
        z = sign * (expected - limit) / sd
        log_p = log_ndtr(z)
        ratio = np.exp(-0.5 * z**2 - log_p) / math.sqrt(2 * math.pi)
        self._learn(with_state, sign * ratio / sd, ratio * (ratio + z) / sd**2, log_p)

    def _expected(self, bpm: float) -> tuple[Floats, Floats, Floats]:
        """The logarithm of the margin that each reading expects: mean, covariance with the state, variance."""
        t = self._t
        g = t[_G]
        covariance = -g * np.stack((t[_LL] + t[_LU], t[_LB] + t[_BU], t[_LU] + t[_UU]))
        return g * (math.log(bpm) - t[_L] - t[_U]), covariance, g**2 * (t[_LL] + 2 * t[_LU] + t[_UU])

    def _learn(self, with_state: Floats, shift: Floats, shrink: Floats, log_likelihood: Floats) -> None:
        t = self._t
        t[: _U + 1] += with_state * shift
        for row, (i, j) in enumerate(_PAIRS, start=_LL):
            t[row] -= with_state[i] * with_state[j] * shrink
        t[_WEIGHT] += log_likelihood
        t[_WEIGHT] -= np.logaddexp.reduce(t[_WEIGHT])

    def standing(self) -> Standing:
        """What the takes so far say of this week."""
        from scipy.special import ndtr

        t = self._t[:, self._t[_WEIGHT] > self._t[_WEIGHT].max() - _NEGLIGIBLE]
        weight = np.exp(t[_WEIGHT] - np.logaddexp.reduce(t[_WEIGHT]))
        # three takes of four hold where luck, of the take and of the week, leaves room
        room = Z_IN_REACH * np.hypot(t[_TAKE] / t[_G], t[_LUCK])
        low, reach, high = _quantiles(weight, t[_L] - room, np.sqrt(t[_LL]))
        slope_sd = np.sqrt(np.maximum(t[_BB], 1e-18))
        moves = weight * (t[_STEEP] > 0)
        rises = float(moves @ ndtr(t[_B] / slope_sd))
        within = ndtr((STILL_A_WEEK - t[_B]) / slope_sd) - ndtr((-STILL_A_WEEK - t[_B]) / slope_sd)
        slope = float(weight @ t[_B])
        spread = math.sqrt(float(weight @ (t[_BB] + (t[_B] - slope) ** 2)))
        jumped = weight * (t[_JUMPED] >= 0)
        some = max(float(jumped.sum()), 1e-12)
        return Standing(
            log_reach=reach,
            log_low=low,
            log_high=high,
            rises=rises,
            falls=float(moves.sum()) - rises,
            still=float(weight @ within),
            slope=slope,
            slope_low=slope - _Z * spread,
            slope_high=slope + _Z * spread,
            since=_median(weight, t[_SINCE]),
            jumped=float(jumped.sum()),
            jump_week=_median(jumped, t[_JUMPED]),
            jump=float(jumped @ (t[_L] - t[_FROM])) / some,
            margin_slope=math.exp(float(weight @ np.log(t[_G]))),
            take_sd=float(weight @ t[_TAKE]),
        )


def _likeliest(t: Floats) -> Floats:
    """The readings worth keeping, their probabilities adding up to 1."""
    if t.shape[1] > MOST_READINGS:
        t = t[:, np.argpartition(t[_WEIGHT], -MOST_READINGS)[-MOST_READINGS:]]
    t[_WEIGHT] -= np.logaddexp.reduce(t[_WEIGHT])
    return t


def _quantiles(weight: Floats, mean: Floats, sd: Floats) -> tuple[float, float, float]:
    """The 2.5, 50 and 97.5 % of a mixture of normal distributions."""
    from scipy.special import ndtr

    centre = float(weight @ mean)
    spread = math.sqrt(float(weight @ (sd**2 + (mean - centre) ** 2)))
    at = centre + spread * np.linspace(-4, 4, _FINENESS)
    below = ndtr((at[:, None] - mean) / sd) @ weight
    low, middle, high = np.interp((0.025, 0.5, 0.975), below, at)
    return float(low), float(middle), float(high)


def _median(weight: Floats, values: Floats) -> float:
    order = np.argsort(values)
    summed = np.cumsum(weight[order])
    return float(values[order][min(int(np.searchsorted(summed, summed[-1] / 2)), values.size - 1)])
