"""Clicks of one sound whose distances differ: a wind-up metronome's.

Its pendulum does not hang straight, so that tick and tock alternate (by 5 to 15 ms), and its escapement lets each beat
wander by a millisecond or two. No interval comes back to a fraction of a millisecond, so these are found the other way
round: first the sound, the same wherever it comes, then the tempo that its places keep. A place is looked for near the
mean line through all clicks; the line is what a player who follows the metronome is measured against, and how far the
clicks lie from it is stated and enters its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.click.front import Float32, Float64, Ints
from strumclock.click.kinds import Lattice
from strumclock.click.matching import Matcher, average
from strumclock.click.pulses import SHIFT_S, Pairs
from strumclock.click.trains import HEARD, PART, chance_at, promise, stretch

SOUNDS = 4
"""So many groups of like pulses are tried, the most alike first: strums on muted strings are alike too."""

ALIKE = 0.45
"""Agreement from which a pulse has the group's sound: unrelated pulses reach 0.3 rarely, clicks of a wind-up
metronome among strums agree by 0.5 to 0.8. From 0.35 to 0.55 nothing changes in sweep_click.py."""

INTERVALS_S = (0.27, 1.6)
"""Time between beats: 37 to 220 a minute, what wind-up metronomes are built for and a little more."""

LOWEST_SHARE = 0.85
"""The slowest tempo that gathers this share of what the best one gathers is taken: its multiples gather nearly as
much."""

MOST_ALTERNATING = 0.1
"""Tick and tock lie no further from the mean line than this share of the interval: 30 ms at 200 a minute;
beyond it a shuffle may be meant."""

REACH_S = 0.006
"""How far from its expected place a click is looked for: three times the wander of a worn escapement."""

LOOKS = 4.0
"""Evidence (nats) that looking so far costs: 12 ms hold about 60 independent places."""

FEWEST = 8
"""Fewer clicks heard than this do not tell tick and tock, and their wander, from chance."""

MOST_WANDER_S = 0.0025
"""Clicks that scatter by more (standard deviation, tick and tock each about its own line) may as well be a player's:
the best keep 3 ms."""

LOOKED_AT, COMES_BACK = 24, 0.15
"""Between even clicks so many places are looked at first, and all of them where their mean agreement reaches this:
of 47 takes with even clicks 45 stayed below 0.1 (one reached 0.2), the faintest tick-tock made came to 0.23."""

ROUNDS = 2
"""Rounds in which the sound is learned from all clicks heard, and they are looked for again."""

FAR = 5.0
"""What lies further from the line than this many medians is no click of it."""

USUALLY_HEARD = 0.5
"""This share of the places between the first and the last is heard, or the tempo is not the clicks' own."""


@dataclass(frozen=True, slots=True, eq=False)
class Uneven:
    """Clicks about a mean line.

    Attributes
    ----------
    lattice : Lattice
        The mean line, and what is heard at its places.
    away : float array, shape (n,)
        How much later than the line each click lies (front samples): as heard, or as its fellows (ticks or tocks) do
        where it is not heard.
    off_line : tuple of two float
        How far ticks and tocks lie on either side of the line, and the standard deviation of each click about its
        fellows, front samples.
    """

    lattice: Lattice
    away: Float64
    off_line: tuple[float, float]


def find_uneven(match: Matcher, place: Ints, pairs: Pairs) -> Uneven | None:
    """The clicks of a wind-up metronome among pulses (their places, and which are alike), or None."""
    rate = match.front.rate_hz
    strength = np.bincount(
        np.concatenate([pairs.first, pairs.second]), weights=np.tile(pairs.weight, 2), minlength=len(place)
    )
    best: Uneven | None = None
    for _ in range(SOUNDS):
        lead = int(np.argmax(strength))
        if strength[lead] <= 0:
            break
        at, agreement, sound = _group(match, place, lead)
        member = agreement > ALIKE
        strength[member] = 0.0
        strength[lead] = 0.0
        if np.count_nonzero(member) < FEWEST:
            continue
        found = _followed(match, at[member], *_tempo(at[member], agreement[member], rate), sound)
        if found is not None and (best is None or found.lattice.score > best.lattice.score):
            best = found
    return best


def between(match: Matcher, found: Lattice) -> Uneven | None:
    """The same clicks with those of their own sound that lie near the middle between them, where there are any."""
    if np.any(found.kind > 1):
        return None
    interval = found.step * float(np.median(np.diff(found.nominal)))
    if not INTERVALS_S[0] <= interval / 2 / match.front.rate_hz <= INTERVALS_S[1]:
        return None
    heard = found.start + found.step * found.nominal[found.evidence > HEARD]
    middle = heard + interval / 2
    reach = round(MOST_ALTERNATING * interval)
    some = middle[:: max(len(middle) // LOOKED_AT, 1)]
    agreement = match.curve(some, found.sound, reach).mean(axis=0)
    later = float(np.argmax(agreement) - reach)
    if agreement.max() < COMES_BACK or promise(_evidence(match, middle + later, found.sound, interval, 1)[0]) <= PART:
        return None
    first = float(heard[0]) + later / 2
    return _followed(match, np.concatenate([heard, middle + later]), first, interval / 2, found.sound)


def _group(match: Matcher, place: Ints, lead: int) -> tuple[Float64, Float64, Float32]:
    """Places of all pulses as the sound around one of them puts them, their agreement with it, and the sound."""
    reach = max(round(SHIFT_S * match.front.rate_hz), 3)
    sound = match.rows(place[lead : lead + 1].astype(np.float64))[0]
    at = place.astype(np.float64)
    for _ in range(3):
        agreement, delay = match.compare(place.astype(np.float64), sound, reach)
        at = place + delay
        member = agreement > ALIKE
        if np.count_nonzero(member) < 3:
            break
        sound = average(match.rows(at[member]), agreement[member] ** 2)
    return at, agreement, sound


def _tempo(at: Float64, weight: Float64, rate_hz: float) -> tuple[float, float]:
    """A place and the interval (samples) whose multiples from there the places keep best."""
    time_s = at / rate_hz
    span_s = max(float(np.ptp(time_s)), INTERVALS_S[1])
    hz = np.arange(1 / INTERVALS_S[1], 1 / INTERVALS_S[0], 1 / (8 * span_s))
    turns = np.exp(2j * np.pi * np.outer(hz, time_s)) @ weight
    gathered = np.abs(turns)
    good = np.flatnonzero(gathered >= LOWEST_SHARE * gathered.max())
    slowest = good[: 1 + int(np.argmax(np.diff(good, append=len(hz) + 1) > 1))]
    best = int(slowest[np.argmax(gathered[slowest])])
    step = rate_hz / float(hz[best])
    return float(np.angle(turns[best])) / (2 * np.pi) * step, step


def _followed(match: Matcher, at: Float64, start: float, step: float, sound: Float32) -> Uneven | None:
    """The clicks of a sound through the whole recording, from some of their places; None where they are too few, or
    scatter as strums do."""
    number = np.round((at - start) / step)
    near = np.abs(at - start - step * number) < MOST_ALTERNATING * step
    if np.count_nonzero(near) < FEWEST:
        return None
    line = _MeanLine.through(number[near], at[near])
    low, high = float(number[near].min()), float(number[near].max())
    reach = round(REACH_S * match.front.rate_hz)
    end = len(match.front.samples)
    while abs(line.step - step) < MOST_ALTERNATING * step:
        first, last = np.ceil(-line.start / line.step), np.floor((end - 1 - line.start) / line.step)
        nominal = np.arange(max(low, first), min(high, last) + 1)
        if len(nominal) < FEWEST:
            return None
        usual = line.places(nominal)
        evidence, delay = _evidence(match, usual, sound, line.step, reach)
        heard = evidence > HEARD
        if np.count_nonzero(heard) < FEWEST:
            return None
        line = _MeanLine.through(nominal[heard], (usual + delay)[heard])
        if low <= first and high >= last:
            for _ in range(ROUNDS):
                sound = average(match.rows((usual + delay)[heard]), evidence[heard])
                usual = line.places(nominal)
                evidence, delay = _evidence(match, usual, sound, line.step, reach)
                heard = evidence > HEARD
                if np.count_nonzero(heard) < FEWEST:
                    return None
                line = _MeanLine.through(nominal[heard], (usual + delay)[heard])
            return _weighed(match, nominal, line, usual + delay, evidence, sound)
        width = high - low
        low, high = low - width, high + width
    return None  # the places keep no interval at all


def _evidence(
    match: Matcher, position: Float64, sound: Float32, interval: float, reach: int
) -> tuple[Float64, Float64]:
    """Evidence of the sound within reach of each place, and how much later than it (samples)."""
    rough = match.curve(position, sound, reach).argmax(axis=1) - reach
    agreement, delay = match.compare(position + rough, sound, 1)
    chance = chance_at(match, position, sound, interval)
    return chance.evidence(agreement) - (LOOKS if reach > 1 else 0.0), rough + delay


def _weighed(
    match: Matcher, nominal: Float64, line: _MeanLine, at: Float64, evidence: Float64, sound: Float32
) -> Uneven | None:
    """The stretch that is heard, if what is heard keeps its places as a metronome does."""
    begin, end = stretch(evidence)
    part = slice(begin, end)
    heard = evidence[part] > HEARD
    score = promise(evidence)
    if np.count_nonzero(heard) < FEWEST or np.mean(heard) < USUALLY_HEARD:
        return None
    line = _MeanLine.through(nominal[part][heard], at[part][heard])
    usual = line.places(nominal[part])
    off = (at[part] - usual)[heard]
    wanders = 1.4826 * float(np.median(np.abs(off)))
    if wanders > MOST_WANDER_S * match.front.rate_hz or abs(line.alternates) > MOST_ALTERNATING * line.step:
        return None
    agreement, _ = match.compare(at[part], sound, 1)
    lattice = Lattice(
        nominal=nominal[part],
        start=line.start,
        step=line.step,
        sound=sound,
        evidence=evidence[part],
        weight=np.where(heard, np.maximum(agreement, 0.0) ** 2, 0.0),
        kind=np.zeros(end - begin, dtype=np.int_),
        accented=np.zeros(end - begin, dtype=bool),
        score=score,
    )
    away = np.where(heard, at[part], usual) - lattice.start - lattice.step * lattice.nominal
    return Uneven(lattice=lattice, away=away, off_line=(abs(line.alternates), wanders))


@dataclass(frozen=True, slots=True)
class _MeanLine:
    """Places start + step * number, ± alternates with the even and the odd numbers."""

    start: float
    step: float
    alternates: float

    @classmethod
    def through(cls, number: Float64, at: Float64) -> _MeanLine:
        """The line through clicks of these numbers; what lies far from it does not count."""
        table = np.stack([np.ones(len(number)), number, np.where(number % 2 == 0, 1.0, -1.0)], axis=1)
        keep = np.ones(len(number), dtype=bool)
        for _ in range(4):
            start, step, alternates = np.linalg.lstsq(table[keep], at[keep], rcond=None)[0]
            off = np.abs(at - table @ (start, step, alternates))
            near = off <= max(FAR * float(np.median(off[keep])), 1.0)
            if np.count_nonzero(near) < FEWEST or np.array_equal(near, keep):
                break
            keep = near
        return cls(float(start), float(step), float(alternates))

    def places(self, number: Float64) -> Float64:
        """Where the clicks of these numbers usually lie."""
        places: Float64 = self.start + self.step * number + self.alternates * np.where(number % 2 == 0, 1.0, -1.0)
        return places
