"""Clicks that are heard only before the playing begins.

One bar of clicks is too short to be told from chance by its waveform alone, but it stands in quiet: before the first
strum, with nothing else between. There a few sounds of the same waveform at equal distances are enough, and an
accented first click counts although its sound comes but once. A spoken count-in does not repeat its waveform to a
tenth of a millisecond.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.click.matching import cut
from strumclock.click.periodicity import Pairs
from strumclock.click.preprocessing import Bools, Float64, Front, Ints

FRAME_S = 0.02
"""Length of a frame whose level is read."""

LOUD_QUANTILE = 0.8
"""The playing level is that of the frames at this place of the order."""

QUIET_DB = 15.0
"""A frame so far below the playing level is quiet."""

QUIET_SHARE = 0.5
"""The quiet lasts as long as this share of the coming second is quiet."""

LONGEST_S = 40.0
"""Longest time to the first strum."""

INTERVALS_S = (0.2, 2.2)
"""Time between the clicks of a count-in: 27 to 300 a minute."""

LIKE_S, UNLIKE_S = 0.00025, 0.004
"""How far from its place a click of the same sound may lie, and one of another sound (its attack is shaped
differently)."""

LIKE = 0.3
"""Pairs.weight from which two pulses are of the same sound (agreement 0.55)."""

RISE_DB = 10.0
"""A click of another sound must rise by this above the 30 ms before it."""

WORTH_LIKE, WORTH_UNLIKE, WORTH_TOLD, WORTH_MISSING = 10.0, 4.0, 7.0, -4.0
"""Evidence (nats) of a further like click (a pulse in 0.3 ms by chance, and of that sound), of an unlike one (a pulse
in 8 ms of quiet by chance), of the told tempo met to TOLD, and of a place without a pulse."""

TOLD = 1e-3
"""How closely the told tempo, its half or its double must be met to count."""

MOST_LONE = 2
"""At most so many clicks of a sound that comes but once."""

ENOUGH = 9.0
"""Evidence from which it is a count-in."""


@dataclass(frozen=True, slots=True, eq=False)
class CountIn:
    """Clicks before the playing: places (front samples), which are of the main sound, and the evidence (nats)."""

    place: Float64
    main: Bools
    step: float
    score: float


def quiet_until(front: Front) -> float:
    """How long it is quiet from the beginning, in samples."""
    size = max(round(FRAME_S * front.rate_hz), 1)
    count = len(front.plain) // size
    if count < 100:
        return 0.0
    level = front.plain[: count * size].reshape(count, size).var(axis=1)
    quiet = level < np.quantile(level, LOUD_QUANTILE) * 10 ** (-QUIET_DB / 10)
    ahead = round(1.0 / FRAME_S)
    total = np.concatenate([[0], np.cumsum(quiet)])
    share = (total[ahead:] - total[:-ahead]) / ahead
    loud = np.flatnonzero(share < QUIET_SHARE)
    if len(loud) and loud[0] == 0:
        return 0.0
    return float((loud[0] if len(loud) else count) * size + ahead * size // 2)


def rise_db(front: Front, place: Ints) -> Float64:
    """How far each pulse rises above the 30 ms before it, as far as they are recorded, dB; 0 where nothing is."""
    rate = front.rate_hz
    before, gap, after = round(0.030 * rate), round(0.003 * rate), round(0.003 * rate)
    # differences: low rumble is not in them
    steps = np.diff(cut(front.plain, place.astype(np.float64), before + gap + 1, after), axis=1).astype(np.float64) ** 2
    floor = 1e-10 * float(np.mean(steps)) + 1e-30
    recorded = np.clip(place - gap - 1, 0, before)
    level = steps[:, :before].sum(axis=1) / np.maximum(recorded, 1)
    rise: Float64 = 10 * np.log10((steps[:, before:].mean(axis=1) + floor) / (level + floor))
    return np.where(recorded > 0, rise, 0.0)


def find_count_in(front: Front, place: Ints, pairs: Pairs, hints_s: tuple[float, ...]) -> CountIn | None:
    """The clicks of a count-in that nothing covers, or None."""
    rate = front.rate_hz
    until = min(quiet_until(front), LONGEST_S * rate)
    early = int(np.searchsorted(place, until))
    if early < 3:
        return None
    # the last click of the count-in may lie beyond the quiet's end; the first strum too
    early = int(np.searchsorted(place, until + 0.5 * rate))
    at = place[:early].astype(np.float64)
    rise = rise_db(front, place[:early])
    mine = (pairs.second < early) & (pairs.weight > LIKE) & (rise[np.minimum(pairs.first, early - 1)] > RISE_DB / 2)
    first, second, lag = pairs.first[mine], pairs.second[mine], pairs.lag_s[mine] * rate
    like = np.full((early, early), np.nan)
    like[first, second] = lag
    like[second, first] = -lag
    best: CountIn | None = None
    for i, distance in zip(first, lag, strict=True):
        for parts in (1, 2, 3):
            step = distance / parts
            if not INTERVALS_S[0] * rate <= step <= INTERVALS_S[1] * rate:
                continue
            found = _lattice(at, rise, like, int(i), step, rate)
            told = any(abs(step / rate / h - 1) < TOLD for h in hints_s)
            score = found.score + (WORTH_TOLD if told else 0.0)
            if score > (best.score if best else ENOUGH):
                best = CountIn(place=found.place, main=found.main, step=found.step, score=score)
    return best


def _lattice(at: Float64, rise: Float64, like: Float64, i: int, step: float, rate: float) -> CountIn:
    """Clicks at pulse i and at whole steps from it, as far as there are any."""
    pulses, number = [i], [0]
    for direction in (1, -1):
        k, gap = 0, 0
        while gap < 2 and abs(k) < 64:
            k += direction
            target = at[i] + k * step
            if target < 0 or target > at[-1] + UNLIKE_S * rate:
                break
            linked = [
                q
                for p, m in zip(pulses, number, strict=True)
                for q in np.flatnonzero(np.abs(like[p] - (k - m) * step) < (LIKE_S + 5e-5 * abs(k - m)) * rate)
            ]
            near = np.flatnonzero((np.abs(at - target) < UNLIKE_S * rate) & (rise > RISE_DB))
            if linked or len(near):
                pulses.append(int(linked[0]) if linked else int(near[np.argmax(rise[near])]))
                number.append(k)
                gap = 0
            else:
                gap += 1
    order = np.argsort(number)
    member, at_step = np.asarray(pulses)[order], np.asarray(number)[order]
    lag = like[np.ix_(member, member)]
    apart = at_step[None] - at_step[:, None]
    off = np.abs(lag - apart * step)
    linked_with = off < (LIKE_S + 5e-5 * np.abs(apart)) * rate
    group = np.arange(len(member))
    for _ in range(len(member)):
        group = np.minimum(group, np.where(linked_with, group[None], len(member)).min(axis=1))
    main = group == np.bincount(group).argmax()
    # a sound that comes once may be an accent, but after the last repeated one it may as well be the first strum
    repeated = np.bincount(group, minlength=len(member))[group] > 1
    last = int(np.flatnonzero(repeated)[-1]) if repeated.any() else 0
    keep = np.arange(len(member)) <= last
    lone = int(np.sum(keep & ~repeated))
    if lone > MOST_LONE:
        keep &= repeated | (np.cumsum(keep & ~repeated) > lone - MOST_LONE)
    member, at_step, main = member[keep], at_step[keep], main[keep]
    repeated, group = repeated[keep], group[keep]
    links = int(np.sum(repeated)) - len(np.unique(group[repeated]))
    missing = int(at_step[-1] - at_step[0] + 1 - len(at_step))
    score = WORTH_LIKE * (links - 1) + WORTH_UNLIKE * min(int(np.sum(~repeated)), MOST_LONE) + WORTH_MISSING * missing
    lead = int(np.flatnonzero(main)[0])
    lag = like[np.ix_(member, member)]
    known = np.isfinite(lag[lead]) & linked_with[np.ix_(keep, keep)][lead]
    own = np.where(known, lag[lead], (at_step - at_step[lead]) * step)
    own[lead] = 0.0
    return CountIn(place=at[member[lead]] + own, main=main, step=step, score=float(score))
