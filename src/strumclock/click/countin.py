"""Clicks that are heard only before the playing begins.

One bar of clicks is too short to be told from chance by its waveform alone, but it stands in quiet: before the first
strum, with nothing else between. There a few sounds of the same waveform at equal distances are enough, and an
accented first click counts although its sound comes but once. A spoken count-in does not repeat its waveform to a
tenth of a millisecond.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from strumclock.arrays import Bools, Floats, Ints
from strumclock.click.candidate import Candidate
from strumclock.click.following import FEWEST, SEARCH_S
from strumclock.click.matching import Matcher, average, cut
from strumclock.click.periodicity import ALIKE, SHIFT_S, Pairs
from strumclock.click.preprocessing import Signal
from strumclock.click.scoring import MOST_EVIDENCE

FRAME_S = 0.02
"""Length of a frame whose level is read."""


LOUD_QUANTILE = 0.8
"""The playing level is that of the frames at this place of the order."""


QUIET_DB = 15.0
"""A frame so far below the playing level is quiet."""


QUIET_SHARE = 0.5
"""The quiet lasts as long as this share of the coming second is quiet."""


INTERVALS_S = (0.2, 2.2)
"""Time between the clicks of a count-in: 27 to 300 a minute."""


LIKE_S, UNLIKE_S = 0.00025, 0.004
"""How far from its place a click of the same sound may lie, and one of another sound (its attack is shaped
differently)."""


LIKE = 0.3
"""Pairs.weight from which two pulses are of the same sound (agreement 0.55)."""


RISE_DB = 10.0
"""A click of another sound must rise by this above the 30 ms before it."""


WORTH_LIKE, WORTH_UNLIKE, WORTH_GIVEN, WORTH_MISSING = 10.0, 4.0, 7.0, -4.0
"""Evidence (nats) of a further like click (a pulse in 0.3 ms by chance, and of that sound), of an unlike one (a pulse
in 8 ms of quiet by chance), of the given tempo met to GIVEN, and of a place without a pulse."""


GIVEN = 1e-3
"""How closely the given tempo, its half or its double must be met to count."""


MOST_LONE = 2
"""At most so many clicks of a sound that comes but once."""


ENOUGH = 9.0
"""Evidence from which it is a count-in."""


@dataclass(frozen=True, slots=True, eq=False)
class CountIn:
    """Clicks before the playing: places (samples), which are of the main sound, and the evidence (nats)."""

    place: Floats
    main: Bools
    step: float
    score: float


def quiet_until(signal: Signal) -> float:
    """How long it is quiet from the beginning, in samples."""
    size = max(round(FRAME_S * signal.rate_hz), 1)
    count = len(signal.plain) // size
    if count < 100:
        return 0.0
    level = signal.plain[: count * size].reshape(count, size).var(axis=1)
    quiet = level < np.quantile(level, LOUD_QUANTILE) * 10 ** (-QUIET_DB / 10)
    ahead = round(1.0 / FRAME_S)
    total = np.concatenate([[0], np.cumsum(quiet)])
    share = (total[ahead:] - total[:-ahead]) / ahead
    loud = np.flatnonzero(share < QUIET_SHARE)
    if len(loud) and loud[0] == 0:
        return 0.0
    return float((loud[0] if len(loud) else count) * size + ahead * size // 2)


def rise_db(signal: Signal, place: Ints) -> Floats:
    """How far each pulse rises above the 30 ms before it, as far as they are recorded, dB; 0 where nothing is."""
    rate = signal.rate_hz
    before, gap, after = round(0.030 * rate), round(0.003 * rate), round(0.003 * rate)
    # differences: low rumble is not in them
    steps = (
        np.diff(cut(signal.plain, place.astype(np.float64), before + gap + 1, after), axis=1).astype(np.float64) ** 2
    )
    floor = 1e-10 * float(np.mean(steps)) + 1e-30
    recorded = np.clip(place - gap - 1, 0, before)
    level = steps[:, :before].sum(axis=1) / np.maximum(recorded, 1)
    rise: Floats = 10 * np.log10((steps[:, before:].mean(axis=1) + floor) / (level + floor))
    return np.where(recorded > 0, rise, 0.0)


def _find(signal: Signal, place: Ints, pairs: Pairs, hints_s: tuple[float, ...]) -> CountIn | None:
    """The clicks of a count-in that nothing covers, or None."""
    rate = signal.rate_hz
    until = quiet_until(signal)
    early = int(np.searchsorted(place, until))
    if early < 3:
        return None
    # the last click of the count-in may lie beyond the quiet's end; the first strum too
    early = int(np.searchsorted(place, until + 0.5 * rate))
    at = place[:early].astype(np.float64)
    rise = rise_db(signal, place[:early])
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
            found = _members(at, rise, like, int(i), step, rate)
            given = any(abs(step / rate / h - 1) < GIVEN for h in hints_s)
            score = found.score + (WORTH_GIVEN if given else 0.0)
            if score > (best.score if best else ENOUGH):
                best = CountIn(place=found.place, main=found.main, step=found.step, score=score)
    return best


def _members(at: Floats, rise: Floats, like: Floats, i: int, step: float, rate: float) -> CountIn:
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


SAME_SOUND = ALIKE + LIKE
"""Agreement from which a pulse beside a count-in's clicks is one more of them (as in `countin`) …"""


OFF_LATTICE = 0.25
"""… and belies them where it lies further (in their intervals) from every place that they foretell: nearer to the
middle between two clicks than to either. An echo lies nearer; a click that goes on under the playing is in place."""


def _contradicted(match: Matcher, count_in: Candidate, place: Ints) -> bool:
    """Whether the sound of a count-in is heard between its clicks, or goes on after them at other times."""
    reach = max(round(SHIFT_S * match.signal.rate_hz), 3)
    alike = match.compare(place.astype(np.float64), count_in.sound, reach)[0] > SAME_SOUND
    number = (place[alike] - count_in.start) / count_in.step
    other = number[np.abs(number - np.round(number)) > OFF_LATTICE]
    last = count_in.nominal[-1]
    between_them, after = (other > 0) & (other < last), other > last
    return bool(np.any(between_them) or np.count_nonzero(after) >= FEWEST)


def with_count_in(signal: Signal, found: Candidate, start: float, step: float, quiet: float) -> Candidate:
    """The lattice with the clicks before its first that stand in the quiet before the playing.

    A click may sound so different there (a beep is hardly whitened in quiet) that the learned sound does not
    recognise it. Where every place back from the first click holds a sudden sound in the quiet, it is a click.

    Parameters
    ----------
    start, step : float, samples
        Time of a click = start + step * nominal.
    quiet : float, samples
        When the playing begins (`countin.quiet_until`).
    """
    apart = float(np.median(np.diff(found.nominal)))
    if start + step * (found.nominal[0] - apart) < 0:
        return found
    before: list[float] = []
    nominal = float(found.nominal[0]) - apart
    while 0 <= start + step * nominal < quiet:
        place = np.array([round(start + step * nominal)])
        if rise_db(signal, place)[0] < RISE_DB:
            break
        before.append(nominal)
        nominal -= apart
    if not before:
        return found
    n = len(before)
    number = np.round((np.array(before[::-1]) - found.nominal[0]) / apart).astype(np.int_)
    accents = np.flatnonzero(found.accented)
    bar = int(accents[1] - accents[0]) if len(accents) > 1 else 0
    accented = (number - accents[0]) % bar == 0 if bar else np.zeros(n, dtype=bool)
    own = bool(np.any(found.kind == 1))
    parts = 1 + len(np.unique(found.kind[found.kind > 1]))
    first = [next((int(k) for k in found.kind[i::parts] if k != 1), 0) for i in range(parts)]
    return replace(
        found,
        nominal=np.concatenate([before[::-1], found.nominal]),
        evidence=np.concatenate([np.full(n, MOST_EVIDENCE), found.evidence]),
        weight=np.concatenate([np.zeros(n), found.weight]),
        kind=np.concatenate([np.where(accented & own, 1, np.array(first)[number % parts]), found.kind]),
        accented=np.concatenate([accented, found.accented]),
    )


def _bars(other: Bools) -> Bools:
    """The clicks of another sound, where they can be first beats: the first click, and every so manieth from it."""
    at = np.flatnonzero(other)
    regular = len(at) > 0 and at[0] == 0 and (len(at) == 1 or (at[1] > 1 and len(set(np.diff(at))) == 1))
    return other if regular else np.zeros_like(other)


def _placed(match: Matcher, found: CountIn) -> Candidate:
    """The lattice of a count-in, its interval from the clicks of its main sound."""
    number = np.round((found.place - found.place[0]) / found.step)
    start, step = float(found.place[0]), found.step
    x, at = number[found.main], found.place[found.main]
    sound = match.rows(at[:1])[0]
    for _ in range(3):
        if len(x) > 1:
            step = float(np.polyfit(x, at, 1)[0])
        start = float(np.mean(at - step * x))
        line = start + step * x
        sound = average(match.rows(line), np.ones(len(x)))
        at = line + match.compare(line, sound, max(round(SEARCH_S * match.signal.rate_hz), 3))[1]
    lattice = np.arange(number[-1] + 1)
    index = number.astype(np.int_)
    evidence = np.zeros(len(lattice))
    evidence[index] = found.score / len(index)
    kind = np.zeros(len(lattice), dtype=np.int_)
    kind[index[~found.main]] = 1
    weight = np.zeros(len(lattice))
    weight[index[found.main]] = 1.0
    return Candidate(
        nominal=lattice,
        start=start,
        step=step,
        sound=sound,
        evidence=evidence,
        weight=weight,
        kind=kind,
        accented=_bars(kind == 1),
        score=found.score,
    )


def find_count_in(match: Matcher, place: Ints, pairs: Pairs, hints_s: tuple[float, ...]) -> Candidate | None:
    """The clicks of a count-in among the pulses of a recording's beginning, unless their sound goes on otherwise."""
    count_in = _find(match.signal, place, pairs, hints_s)
    if count_in is None:
        return None
    found = _placed(match, count_in)
    return None if _contradicted(match, found, place) else found
