"""Clicks of one sound whose distances differ: a wind-up metronome's, or those of a loudspeaker whose delay wanders.

A metronome's pendulum does not hang straight, so that tick and tock alternate (by 5 to 15 ms), its escapement lets each
beat wander by a millisecond or two, and it slows as it runs down. No interval comes back to a fraction of a
millisecond, so these are found the other way round: first the sound, the same wherever it comes, then the tempo that
its places keep. A click is looked for near where the mean beat of those found puts it; the beat is what a player who
follows the metronome is measured against, and how far the clicks lie from it is stated and enters its uncertainty.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from strumclock.arrays import Floats, Ints, Samples
from strumclock.click.beat import Beat
from strumclock.click.candidate import HEARD, Candidate
from strumclock.click.cycle import Cycle
from strumclock.click.following import PART, SEARCH_S
from strumclock.click.matching import Matcher, average
from strumclock.click.periodicity import SHIFT_S, Pairs, find_chains, propose_intervals
from strumclock.click.scoring import evidence_near, like_itself, loudness_scatters_db, promise, stretch

SOUNDS = 12
"""So many groups of like pulses are tried, the most alike first: strums on muted strings are alike too."""


ALIKE = 0.35
"""Agreement from which a pulse has the group's sound: unrelated pulses reach 0.3 rarely, clicks of a wind-up
metronome among strums agree by 0.5 to 0.8. In sweep_click.py 0.45 finds 12 of 15, 0.35 finds 14."""


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


LEAST_SCORE = 60.0
"""Evidence (nats) below which no clicks are called uneven: each counts up to 4, so sixteen are asked for. Steady
players on sampled and synthesised guitars came to 54, wind-up metronomes of a minute to 130 and more."""


FEWEST = 8
"""Fewer clicks heard than this do not tell tick and tock, and their wander, from chance."""


MOST_WANDER_S = 0.002
"""Clicks that scatter by more (standard deviation, tick and tock each about its own) may as well be a player's, whose
slower errors the beat follows: of 68 takes of tight players without a click, five keep 2.0 to 2.5 ms so, and none less
with a hand's loudness."""


LOOKED_AT, COMES_BACK = 24, 0.15
"""Between even clicks so many places are looked at first, and all of them where their mean agreement reaches this:
of 47 takes with even clicks 45 stayed below 0.1 (one reached 0.2), the faintest tick-tock made came to 0.23."""


FAR = 3.5
"""What lies further from its expected place than this many standard deviations of the clicks is none."""


HEARD_THROUGHOUT = 0.8
"""Where so many of the places that the recording holds are heard, the clicks keep their line."""


ROUNDS = 2
"""Rounds in which the sound is learned from all clicks heard, and they are looked for again."""


SEED_S = 8.0
"""Followed are at first the pulses so near to the one that most resemble: over so short a time a tempo that sinks by
a percent in ten seconds moves no click by a tenth of the interval."""


GROW, LOST = 3, 8
"""So many places at a time are looked at further on; after a jump so many places must show it."""


JUMP_S, JUMPED = 0.06, 0.25
"""Where none of the next GROW is heard, a jump of at most this is looked for: a mean agreement of the second over the
next LOST places. By chance it is 0.13."""


MOST_LOUDER_DB = 2.0
"""Clicks' loudness scatters by no more about their neighbours' (standard deviation): a metronome strikes alike, by 0.2
to 1.6 dB as far as strums let it be seen; hands, however evenly in time, by 2.1 to 4.5. In sweep_click.py 4 dB lets in
two of five takes without a click, 1 dB loses one of fifteen with one."""


ELSEWHERE, ASIDE = 0.3, (0.3, 0.5, 0.7)
"""The sound is heard in less than this share of the places so far (in intervals) after the clicks, for each click
heard: a voice's vowel is like itself wherever it is looked for."""


USUALLY_HEARD = 0.5
"""This share of the places between the first and the last is heard, or the tempo is not the clicks' own."""


def find_uneven(match: Matcher, place: Ints, pairs: Pairs, hints_s: tuple[float, ...] = ()) -> Candidate | None:
    """The uneven clicks among pulses (their places, and which are alike), or None."""
    best: Candidate | None = None
    for at, start, step, sound in _seeds(match, place, pairs, hints_s):
        found = _followed(match, at, start, step, sound)
        if found is not None and (best is None or found.score > best.score):
            best = found
    return best


def _seeds(
    match: Matcher, place: Ints, pairs: Pairs, hints_s: tuple[float, ...]
) -> Iterator[tuple[Floats, float, float, Samples]]:
    """Pulses that may be uneven clicks: places, one of them and the interval of the beat that they keep, the sound."""
    rate = match.signal.rate_hz
    strength = np.bincount(
        np.concatenate([pairs.first, pairs.second]), weights=np.tile(pairs.weight, 2), minlength=len(place)
    )
    for _ in range(SOUNDS):
        lead = int(np.argmax(strength))
        if strength[lead] <= 0:
            break
        near = np.flatnonzero(np.abs(place - place[lead]) < SEED_S * rate)
        at, agreement, sound = _group(match, place[near], int(place[lead]))
        member = agreement > ALIKE
        strength[near[member]] = 0.0
        strength[lead] = 0.0
        if FEWEST <= np.count_nonzero(member) < 2 * SEED_S / INTERVALS_S[0]:
            yield at[member], *_tempo(at[member], agreement[member], rate), sound
    for interval_s in propose_intervals(pairs, hints_s):
        if INTERVALS_S[0] <= interval_s <= INTERVALS_S[1]:
            for chain in find_chains(place, pairs, interval_s, rate):
                at = chain.place[np.abs(chain.place - chain.lead) < SEED_S * rate]
                if len(at) >= FEWEST:
                    yield at, chain.lead, chain.step, match.rows(np.array([chain.lead]))[0]


def again(match: Matcher, found: Candidate) -> Candidate | None:
    """The clicks of a lattice that is heard in part only, with those on whose places their beat bends away from it or
    jumps; None where there are none."""
    position, apart = found.position, found.interval
    heard = position[found.heard & (found.kind == 0)]
    possible = len(match.signal.samples) / apart
    if not FEWEST <= len(heard) < HEARD_THROUGHOUT * possible or np.any(found.kind > 0):
        return None
    if not INTERVALS_S[0] <= apart / match.signal.rate_hz <= INTERVALS_S[1]:
        return None
    uneven = _followed(match, heard, float(heard[0]), apart, found.sound)
    if uneven is None:
        return None
    off = uneven.position - found.start
    beside = np.abs(off - apart * np.round(off / apart)) > 2 * SEARCH_S * match.signal.rate_hz
    near = np.abs(uneven.away - uneven.bend) < max(FAR * uneven.off_beat[1], 1.0) + uneven.off_beat[0]
    return uneven if np.count_nonzero(beside & near & uneven.heard) >= FEWEST else None


def between(match: Matcher, found: Candidate) -> Candidate | None:
    """The same clicks with those of their own sound that lie near the middle between them, where there are any."""
    if np.any(found.kind > 1):
        return None
    interval = found.interval
    if not INTERVALS_S[0] <= interval / 2 / match.signal.rate_hz <= INTERVALS_S[1]:
        return None
    heard = found.position[found.heard]
    middle = heard + interval / 2
    reach = round(MOST_ALTERNATING * interval)
    some = middle[:: max(len(middle) // LOOKED_AT, 1)]
    agreement = match.curve(some, found.sound, reach).mean(axis=0)
    later = float(np.argmax(agreement) - reach)
    if (
        agreement.max() < COMES_BACK
        or promise(evidence_near(match, middle + later, found.sound, interval, 1)[0]) <= PART
    ):
        return None
    cycle = Cycle.of(match, heard, np.ones(len(heard)), interval)
    if not any(cycle.hits(interval / 2 + tock) for tock in (later, -later)):  # the cycle may begin with either
        return None
    first = float(heard[0]) + later / 2
    both = _followed(match, np.concatenate([heard, middle + later]), first, interval / 2, found.sound)
    if both is None:
        return None
    shares = [float(np.mean(both.heard[both.nominal % 2 == parity])) for parity in (0, 1)]
    return both if min(shares) > USUALLY_HEARD * max(shares) else None


def _group(match: Matcher, place: Ints, lead: int) -> tuple[Floats, Floats, Samples]:
    """Places of pulses as the sound around one of them puts them, their agreement with it, and the sound."""
    reach = max(round(SHIFT_S * match.signal.rate_hz), 3)
    sound = match.rows(np.array([lead], dtype=np.float64))[0]
    at = place.astype(np.float64)
    for _ in range(3):
        agreement, delay = match.compare(place.astype(np.float64), sound, reach)
        at = place + delay
        member = agreement > ALIKE
        if np.count_nonzero(member) < 3:
            break
        sound = average(match.rows(at[member]), agreement[member] ** 2)
    return at, agreement, sound


def _tempo(at: Floats, weight: Floats, rate_hz: float) -> tuple[float, float]:
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


def _followed(match: Matcher, at: Floats, start: float, step: float, sound: Samples) -> Candidate | None:
    """The clicks of a sound through the whole recording, from some of their places; None where they are too few, or
    scatter as strums do."""
    number = np.round((at - start) / step)
    near = np.abs(at - start - step * number) < MOST_ALTERNATING * step
    number, first = np.unique(number[near], return_index=True)
    if len(number) < FEWEST:
        return None
    rate = match.signal.rate_hz
    reach = round(REACH_S * rate)
    beat = Beat.through(number, at[near][first], rate)
    nominal = np.arange(number[0], number[-1] + 1)
    at, evidence = _heard_at(match, beat.usual(nominal), sound, beat.step, reach)
    more = True
    while more:
        heard = evidence > HEARD
        if np.count_nonzero(heard) < FEWEST or abs(beat.step - step) > MOST_ALTERNATING * step:
            return None
        beat = Beat.through(nominal[heard], at[heard], rate)
        sides = [_further(match, beat, nominal[end], way, sound, reach) for end, way in ((0, -1), (-1, 1))]
        more = any(len(side[0]) for side in sides)
        (nominal, at, evidence) = (
            np.concatenate([sides[0][i][::-1], known, sides[1][i]]) for i, known in enumerate((nominal, at, evidence))
        )
    for _ in range(ROUNDS):
        sound = average(match.rows(at[heard]), evidence[heard])
        at, evidence = _heard_at(match, beat.usual(nominal), sound, beat.step, reach)
        heard = evidence > HEARD
        if np.count_nonzero(heard) < FEWEST:
            return None
        beat = Beat.through(nominal[heard], at[heard], rate)
    return _weighed(match, nominal, at, evidence, sound)


def _further(
    match: Matcher, beat: Beat, last: float, way: int, sound: Samples, reach: int
) -> tuple[Floats, Floats, Floats]:
    """The next numbers that way, where the sound is, and the evidence of it.

    Only those up to the last heard, where one is: the others are foretold better once that is known. Where none is, the
    beat may have jumped.
    """
    number = last + way * np.arange(1.0, LOST + 1)
    expected = beat.next(number)
    inside = (expected >= 0) & (expected < len(match.signal.samples))
    number, expected = number[inside], expected[inside]
    near = slice(0, GROW)
    at, evidence = _heard_at(match, expected[near], sound, beat.step, reach)
    heard = np.flatnonzero(evidence > HEARD)
    if len(heard) == 0 and len(number) == LOST:
        far = round(min(JUMP_S * match.signal.rate_hz, MOST_ALTERNATING * beat.step))
        together = match.curve(expected, sound, far).mean(axis=0)
        if together.max() > JUMPED:
            near = slice(0, LOST)
            at, evidence = _heard_at(match, expected + float(np.argmax(together) - far), sound, beat.step, reach)
            heard = np.flatnonzero(evidence > HEARD)
    keep = slice(0, int(heard[-1]) + 1 if len(heard) else None)
    return number[near][keep], at[keep], evidence[keep]


def _heard_at(match: Matcher, usual: Floats, sound: Samples, interval: float, reach: int) -> tuple[Floats, Floats]:
    """Where near each usual place the sound is, and the evidence of it."""
    if len(usual) == 0:
        return usual, usual
    evidence, delay = evidence_near(match, usual, sound, interval, reach)
    return usual + delay, evidence


def _weighed(match: Matcher, nominal: Floats, at: Floats, evidence: Floats, sound: Samples) -> Candidate | None:
    """The stretch that is heard, if what is heard keeps its places as a metronome does."""
    begin, end = stretch(evidence)
    score = promise(evidence)
    nominal, at, evidence = nominal[begin:end], at[begin:end], evidence[begin:end]
    heard = evidence > HEARD
    if score < LEAST_SCORE or np.count_nonzero(heard) < FEWEST or np.mean(heard) < USUALLY_HEARD:
        return None
    rate = match.signal.rate_hz
    beat = Beat.through(nominal[heard], at[heard], rate)
    usual = beat.usual(nominal)
    if beat.wanders > MOST_WANDER_S * rate or abs(beat.alternates) > MOST_ALTERNATING * beat.step:
        return None
    evidence = np.where(np.abs(at - usual) <= max(FAR * beat.wanders, 1.0), evidence, 0.0)
    heard = evidence > HEARD
    reach = round(REACH_S * rate)
    aside = np.concatenate([usual + part * beat.step for part in ASIDE])
    elsewhere = evidence_near(match, aside, sound, beat.step, reach)[0] > HEARD
    if np.mean(elsewhere) > ELSEWHERE * np.mean(heard):
        return None
    if like_itself(match, at[heard], sound) or loudness_scatters_db(match, at, heard) > MOST_LOUDER_DB:
        return None
    agreement, _ = match.compare(at, sound, 1)
    line = beat.start + beat.step * nominal
    return Candidate(
        nominal=nominal,
        start=beat.start,
        step=beat.step,
        sound=sound,
        evidence=evidence,
        weight=np.where(heard, np.maximum(agreement, 0.0) ** 2, 0.0),
        kind=np.zeros(end - begin, dtype=np.int_),
        accented=np.zeros(end - begin, dtype=bool),
        score=score,
        bend=beat.places(nominal) - line,
        away=np.where(heard, at, usual) - line,
        off_beat=(abs(beat.alternates), beat.wanders),
    )
