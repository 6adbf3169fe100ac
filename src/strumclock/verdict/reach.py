"""Which tempo is in a player's reach, by one take's margin; and which tempo to play next.

A take that misses its standard by a fifth says how much slower the player would have held it, and one that passes with
room to spare how much faster: among players the margin grows with about the third power of the tempo. So every take
gives the **tempo in reach**, at which three takes of four would hold, whatever tempo was offered. `strumclock.weeks`
follows it over weeks; here is what one take can say of it, and the rule of the next tempo, which both use.
"""

from __future__ import annotations

import math
from typing import Protocol

from strumclock.errors import UsageError
from strumclock.grid import BPM_RANGE
from strumclock.timing.estimate import COVERAGE_FACTOR, Estimate

SLOPE = 3.0
"""By how much the logarithm of the margin rises with that of the tempo. A convention between the 1 of trained drummers,
whose errors are the same in ms at every tempo (Groove MIDI Dataset), and the 4 to 6 of a movement at its limit."""

SLOPE_SPREAD = 0.45
"""Standard deviation of the slope's logarithm from player to player: 95 % between 1.2 and 7.2."""

TAKE_SD = 0.2
"""Of the margin's logarithm from take to take, the luck of some 48 strums included. Calibrated on people: the deviation
within which nine tenths lie varies so between passages of 48 strokes of one drummer's piece (0.20; 102 pieces of the
Groove MIDI Dataset) and between trials of a person tapping (0.18 to 0.26; Bååth & Madison 2012)."""

HELD_IN_REACH, HELD_NEXT = 0.75, 0.8
"""Share of the takes that would hold the tempo in reach (its definition), and the next tempo (a little below it)."""

Z_IN_REACH, Z_NEXT = 0.674490, 0.841621
"""The normal quantiles of these shares."""

STEP_UP_MAX_BPM, STEP_DOWN_MAX = 4.0, 0.1
"""The next tempo is at most so many bpm faster than the last, and at most by this share slower (common practice)."""

SUBDIVIDE_BELOW_BPM = 40.0
"""Between clicks further apart than 1.5 s people no longer keep time by the click (Repp 2006: 1.8 s is the limit)."""

MARGIN_RANGE = (1 / 8, 8.0)
"""Margins beyond are taken for these: a take with no strum in its place does not say by how much it failed."""

SAME_BPM = 1e-6  # a computer's


def log_margin(margin: float) -> float:
    """A margin's logarithm, within what a margin can say.

    Raises
    ------
    UsageError
        If it is negative or no number.
    """
    if not margin >= 0:  # not of a number that is none, too
        raise UsageError(f"a margin must be 0 or more; got {margin!r}")
    return math.log(min(max(margin, MARGIN_RANGE[0]), MARGIN_RANGE[1]))


def take_reach(
    bpm: float,
    margin: float,
    *,
    slope: float = SLOPE,
    slope_spread: float = SLOPE_SPREAD,
    take_sd: float = TAKE_SD,
    margin_u: float = 0.0,
) -> Estimate:
    """The tempo in reach as one take shows it, bpm.

    log reach = log bpm - (log margin + 0.674 take_sd) / slope, where 0.674 take_sd is the room that lets three takes of
    four hold.

    Parameters
    ----------
    bpm : float
        Tempo of the take.
    margin : float
        The largest of found over asked for among the standard's criteria: at 1 it just held.
    slope, slope_spread : float
        How steeply the player's margin rises with the tempo, and the standard deviation of the logarithm of that.
    take_sd : float
        Standard deviation of the margin's logarithm from take to take.
    margin_u : float
        Relative standard uncertainty of measuring the margin.

    Returns
    -------
    Estimate
        `low` and `high` are the 95 % interval of the player's tempo in reach, given this take; `u` is of measuring.

    Examples
    --------
    A take at 80 that just held, and one that scattered half as much again as was allowed:

    >>> f"{take_reach(80, 1.0):.0f bpm}", f"{take_reach(80, 1.5):.0f bpm}"
    ('76 bpm (67 to 87)', '67 bpm (55 to 81)')
    """
    if not bpm > 0:
        raise UsageError(f"a tempo must be above 0 bpm; got {bpm!r}")
    missed_by = log_margin(margin) + Z_IN_REACH * take_sd
    value = bpm * math.exp(-missed_by / slope)
    beyond_luck = math.sqrt(max(missed_by**2 - take_sd**2, 0.0))
    spread = math.hypot(take_sd, beyond_luck * slope_spread, margin_u) / slope
    factor = math.exp(COVERAGE_FACTOR * spread)
    return Estimate(value=value, low=value / factor, high=value * factor, u=value * margin_u / slope)


class Interval(Protocol):
    """A value with its 95 % interval, such as an `Estimate`."""

    @property
    def value(self) -> float:
        """In the middle."""

    @property
    def low(self) -> float:
        """One end."""

    @property
    def high(self) -> float:
        """The other."""


def next_tempo(
    reach: Interval,
    last_bpm: float,
    *,
    held: bool | None = None,
    slope: float = SLOPE,
    take_sd: float = TAKE_SD,
) -> tuple[float, bool]:
    """Tempo for the next take, and whether to let the click sound between the beats too.

    The tempo that four takes of five would hold, as far as the tempo in reach is known: the less, the lower. At most
    4 bpm faster and a tenth slower than the last, not slower after a take that held, not faster after one that did not,
    and not under 40 bpm, where the click is subdivided instead. Always a whole number, as metronomes are set.

    Parameters
    ----------
    reach : Interval
        The tempo in reach, bpm, with its 95 % interval.
    last_bpm : float
        Tempo of the last take.
    held : bool or None
        Whether that take held its tempo; None where it was not judged.
    slope, take_sd : float
        As in `take_reach`.

    Examples
    --------
    >>> next_tempo(take_reach(80, 0.7), 80, held=True)
    (83.0, False)
    >>> next_tempo(take_reach(80, 0.95), 80, held=True), next_tempo(take_reach(80, 1.1), 80, held=False)
    ((80.0, False), (72.0, False))
    >>> next_tempo(take_reach(80, 3.0), 80, held=False), next_tempo(take_reach(41, 2.0), 41, held=False)
    ((72.0, False), (40.0, True))
    """
    spread = math.log(reach.high / reach.low) / (2 * COVERAGE_FACTOR)
    luck = take_sd / slope
    aim = reach.value * math.exp(Z_IN_REACH * luck - Z_NEXT * math.hypot(luck, spread))
    least = last_bpm if held else (1 - STEP_DOWN_MAX) * last_bpm
    most = min(last_bpm if held is False else last_bpm + STEP_UP_MAX_BPM, BPM_RANGE[1])
    # Whoever plays below the floor already is not sent up to it.
    floor = min(SUBDIVIDE_BELOW_BPM, last_bpm)
    low = max(least, floor)
    following = settable_bpm(min(max(aim, low), most), least=low, most=most)
    return following, max(aim, least) < SUBDIVIDE_BELOW_BPM


def settable_bpm(bpm: float, *, least: float = 0.0, most: float = math.inf) -> float:
    """The tempo nearest to `bpm` that a metronome can be set to, a whole number; of two as near the slower.

    Within `least` and `most` where a whole number lies between them.

    Examples
    --------
    >>> settable_bpm(93.6), settable_bpm(97.5), settable_bpm(31.2, least=31.2), settable_bpm(137.6, most=137.6)
    (94.0, 97.0, 32.0, 137.0)
    """
    whole = math.ceil(bpm - 0.5 - SAME_BPM)
    if whole < least - SAME_BPM:
        whole += 1
    elif whole > most + SAME_BPM:
        whole -= 1
    return float(whole)
