"""Every stretch of clicks beside the one that was found: another take, a stepped tempo, what follows a gap.

Wherever the recording goes on before the first or after the last of the clicks found, they are looked for again: their
own sound first, at any tempo and phase, for which a few clicks are enough; then, in what is still left, any clicks that
stand out as plainly as those of a recording of their own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from strumclock.arrays import Floats, Ints, Samples
from strumclock.click.accents import complete
from strumclock.click.candidate import Candidate
from strumclock.click.even import PLAIN_SCORE, Scan, find_even
from strumclock.click.following import CHAIN_TOLERANCE_S, SEARCH_S, attempt, regular
from strumclock.click.matching import Matcher
from strumclock.click.periodicity import INTERVALS_S, PULSE_GAP_S, SPAN_S, Pairs, find_chains, propose_intervals
from strumclock.click.preprocessing import Signal
from strumclock.click.scoring import Train

DENSE_PLACES, DENSE, FEWEST_OWN = 9, 0.5, 8
"""The clicks of one tempo are those around which so much of so many places is heard: some of another tempo's clicks
fall on its places too, every fourth after a change from 80 to 100 a minute. Fewer than the third make no tempo. In
sweep_click.py a share of 0.3 lets such places in (95 % of all are then within 113 ms, not 0.4), 0.7 loses nothing."""

FEWEST = 5
"""Clicks heard that a further stretch must have: so many at equal distances, of a sound that is known."""

ALIKE = 0.35
"""Agreement from which a place has the known sound: unrelated places reach 0.3 rarely (as in `uneven`)."""

LEAST_SCORE = 16.0
"""Evidence (nats) that a further stretch of a known sound must have."""

OTHER_S = 6.0
"""Clicks of another sound are looked for where at least so much (s) lies outside of those found."""

SAME = 0.001
"""Intervals that differ by less than this share are one tempo."""


def find_segments(match: Matcher, found: Candidate, beats_per_bar: int | None) -> tuple[Candidate, ...]:
    """All stretches of clicks in time order: those found, as far as they are heard densely, and the others; those of
    the sound found share its array. Only those found where there is no other."""
    own = _dense(found)
    beside = INTERVALS_S[0] * match.signal.rate_hz
    first, last = (float(v) for v in own.position[[0, -1]])
    before = tuple(_in_room(match, own, (0, round(first - beside)), beats_per_bar))
    after = tuple(_in_room(match, own, (round(last + beside), len(match.signal.samples)), beats_per_bar))
    return (*before, own, *after) if before or after else (found,)


def _dense(found: Candidate) -> Candidate:
    """The clicks as far as they are heard densely; all of them where that is nowhere so."""
    heard = found.heard
    window = np.ones(min(DENSE_PLACES, len(heard)))
    share = np.convolve(heard, window, mode="same") / np.convolve(np.ones(len(heard)), window, mode="same")
    own = np.flatnonzero((share >= DENSE) & heard)
    return found if len(own) < FEWEST_OWN else found.part(slice(int(own[0]), int(own[-1]) + 1))


def _in_room(match: Matcher, own: Candidate, room: tuple[int, int], beats_per_bar: int | None) -> Iterator[Candidate]:
    """The stretches of clicks between two samples."""
    begin, end = room
    if end - begin < (FEWEST - 1) * own.interval / 2:
        return
    train = _of_known_sound(match, own, begin, end)
    found: Candidate | None
    if train is not None:
        nominal = regular(train.start, train.step, begin, end)
        found = _in_step(match, _dense(complete(match, train, nominal, beats_per_bar, divide=False)), own)
    else:
        found = _of_another_sound(match, own, begin, end)
    if found is None:
        return
    beside = INTERVALS_S[0] * match.signal.rate_hz
    yield from _in_room(match, own, (begin, round(float(found.position[0]) - beside)), beats_per_bar)
    yield found
    yield from _in_room(match, own, (round(float(found.position[-1]) + beside), end), beats_per_bar)


def _of_known_sound(match: Matcher, own: Candidate, begin: int, end: int) -> Train | None:
    """The train of the known sound with the most evidence between two samples."""
    rate = match.signal.rate_hz
    place, agreement = _places(match, own.sound, begin, end)
    if len(place) < FEWEST:
        return None
    pairs = _pairs(place, agreement, rate)
    apart_s = own.interval / rate
    best: Train | None = None
    for interval_s in [apart_s, *propose_intervals(pairs)]:
        for chain in find_chains(np.round(place).astype(np.int_), pairs, interval_s, rate):
            train = attempt(match, chain, regular(chain.start, chain.step, begin, end), own.sound)
            if train is not None and (best is None or train.score > best.score):
                best = train
    if best is None or best.score < LEAST_SCORE or np.count_nonzero(best.heard) < FEWEST:
        return None
    return None if _continues(best.start, best.step, own, CHAIN_TOLERANCE_S * rate) else best


def _in_step(match: Matcher, found: Candidate, own: Candidate) -> Candidate:
    """The lattice where the known sound puts its clicks: its own, learned from a few, may lie beside that."""
    at = found.position[found.weight > 0]
    reach = max(round(2 * SEARCH_S * match.signal.rate_hz), 3)
    later = match.compare(at, own.sound, reach)[1]
    return replace(found, start=found.start + float(np.median(later)), sound=own.sound)


def _of_another_sound(match: Matcher, own: Candidate, begin: int, end: int) -> Candidate | None:
    """Plain clicks of any sound between two samples."""
    signal = match.signal
    if end - begin < OTHER_S * signal.rate_hz:
        return None
    part = Signal(samples=signal.samples[begin:end], plain=signal.plain[begin:end], rate_hz=signal.rate_hz)
    found = find_even(Matcher.of(part), Scan(part), hints_s=(), nominal_s=None, beats_per_bar=None)
    if found is None or found.score < PLAIN_SCORE:
        return None
    found = replace(found, start=found.start + begin)
    interval, apart = (x.interval for x in (found, own))
    times = max(interval / apart, apart / interval)
    if round(times) > 1 and abs(times - round(times)) < SAME * times:
        return None
    return None if _continues(found.start, interval, own, 2 * CHAIN_TOLERANCE_S * signal.rate_hz) else found


def _continues(start: float, step: float, own: Candidate, tolerance: float) -> bool:
    """Whether clicks lie on places of the lattice, or on the halves, thirds … of its intervals."""
    apart = own.interval
    parts = max(round(apart / step), 1)
    times = max(round(step / apart), 1)
    if abs(step * parts - apart * times) > SAME * apart * times:
        return False
    off = (start - own.start - own.step * float(own.nominal[-1])) / (apart / parts)
    return abs(off - round(off)) * apart / parts < tolerance


def _places(match: Matcher, sound: Samples, begin: int, end: int) -> tuple[Floats, Floats]:
    """Where between two samples a sound is heard (fractions of a sample), and how much each place agrees with it."""
    rate = match.signal.rate_hz
    gap = max(round(PULSE_GAP_S * rate), 1)
    block = 8192
    places, agreements = [], []
    for first in range(begin, end, block):
        centre = np.array([first + block / 2])
        curve = match.curve(centre, sound, block // 2 + gap)[0]
        inner = curve[gap:-gap]
        highest = np.lib.stride_tricks.sliding_window_view(curve, 2 * gap + 1).max(axis=1)
        at = np.flatnonzero((inner >= highest[: len(inner)]) & (inner > ALIKE))
        at = at[first + at < end]
        y0, y1, y2 = (curve[at + gap + k].astype(np.float64) for k in (-1, 0, 1))
        bend = np.minimum(y0 - 2 * y1 + y2, -1e-9)
        places.append(first + at + np.clip(0.5 * (y0 - y2) / bend, -0.5, 0.5))
        agreements.append(y1)
    return np.concatenate(places), np.concatenate(agreements)


def _pairs(place: Floats, agreement: Floats, rate_hz: float) -> Pairs:
    """All pairs of places no further apart than SPAN_S."""
    until = np.searchsorted(place, place + SPAN_S * rate_hz)
    counts = np.maximum(until - np.arange(len(place)) - 1, 0)
    first: Ints = np.repeat(np.arange(len(place)), counts)
    second: Ints = np.arange(len(first)) - np.repeat(np.cumsum(counts) - counts, counts) + first + 1
    return Pairs(
        first=first,
        second=second,
        lag_s=(place[second] - place[first]) / rate_hz,
        weight=agreement[first] * agreement[second],
    )
