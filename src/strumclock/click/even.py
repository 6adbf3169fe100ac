"""The finder of even clicks: trains that keep one interval to a fraction of a millisecond, or a given map of times."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from strumclock.arrays import Floats, Ints
from strumclock.click.accents import complete
from strumclock.click.candidate import Candidate
from strumclock.click.following import FEWEST, attempt, regular, thickened, thinned
from strumclock.click.matching import Matcher
from strumclock.click.periodicity import (
    CLOCK,
    Chain,
    Pairs,
    alike_pairs,
    find_chains,
    find_mapped_chains,
    pick_pulses,
    propose_intervals,
)
from strumclock.click.preprocessing import Signal
from strumclock.click.scoring import Train, loudness

SCAN_S = 45.0
"""The interval is looked for in so much at a time, from the beginning, until a train of clicks is found."""


LEAST_SCORE = 30.0
"""Evidence (nats) below which nothing is called a click. Strumming without a click stays below 20, clicks are above
40."""


RINGING_S = 0.3
"""Of trains whose clicks are closer together than this, so much more evidence is asked as they are closer: a ringing
chord is like itself at some short interval for as long as it rings, which is one agreement and not ten. Half or double
of it changes nothing in sweep_click.py."""


BEATING_S, RING_S = 0.2, 3.0
"""Of trains closer together than the first, one that lasts no longer than the second, after the first strums, may be a
chord ringing out whose partials beat. Physical: strings differ by some hertz, and ring for seconds; no metronome ticks
300 times a minute for so short a time but in a count-in."""


PLAIN_SCORE = 80.0
"""Evidence from which no further interval is tried."""


HITS, LOUDER_HIT = 3, 1.1
"""So many clicks to a beat given are hits of one sound, of which the first is louder than the others by this factor, or
else the first that is heard."""


FULL = 0.9
"""A train of which this share is heard leaves nothing to the multiples of its interval. From 0.7 to 0.98
nothing changes in sweep_click.py."""


PARTS_OF_BEAT = (1, 2, 3, 4)
"""Clicks at a given tempo and at parts of it are one train's, and so are several beats'."""


def find_even(
    match: Matcher,
    pulses: Iterable[tuple[int, int, Ints, Pairs]],
    *,
    hints_s: tuple[float, ...],
    nominal_s: Floats | None,
    beats_per_bar: int | None,
) -> Candidate | None:
    """The even clicks of a recording, or None.

    Parameters
    ----------
    match : Matcher
    pulses : iterable of (begin, end, places, pairs)
        As a `Scan` gives them: they are gone through until a train of clicks is found.
    hints_s : tuple of float
        Times between clicks that were given, or that follow from what was given.
    nominal_s : float array or None
        Given times of the clicks (s); None where only their regularity is known.
    beats_per_bar : int or None
        Where accents are looked for.
    """
    best: Train | None = None
    for begin, end, place, pairs in pulses:
        train = _best_train(match, place, pairs, hints_s, nominal_s, begin, end)
        best = _better(best, train)
        if best is not None and best.score > _least(match, best):
            whole = _one_to_three(match, _whole(match, best, nominal_s, beats_per_bar), hints_s)
            if (
                np.count_nonzero(whole.weight) >= FEWEST
                and whole.score > _least(match, whole)
                and not _beats(match, whole)
            ):
                return whole
            best = None
    return None


class Scan:
    """Stretches of a recording between two samples, their pulses and which of these are alike, made as they are asked
    for.

    Attributes
    ----------
    early : (places, pairs) or None
        Those of the recording's beginning, once they have been gone through.
    """

    def __init__(self, signal: Signal) -> None:
        self.signal = signal
        self.early: tuple[Ints, Pairs] | None = None

    def __iter__(self) -> Iterator[tuple[int, int, Ints, Pairs]]:
        signal = self.signal
        step = round(SCAN_S * signal.rate_hz)
        for begin in range(0, len(signal.samples), step):
            end = min(begin + step, len(signal.samples))
            place = pick_pulses(signal, begin, end)
            if len(place) >= FEWEST:
                pairs = alike_pairs(signal, place)
                if begin == 0:
                    self.early = place, pairs
                yield begin, end, place, pairs


def _least(match: Matcher, found: Train | Candidate) -> float:
    """Evidence that is asked of clicks so close together."""
    apart_s = found.interval / match.signal.rate_hz
    return LEAST_SCORE * max(RINGING_S / apart_s, 1.0)


def _beats(match: Matcher, found: Candidate) -> bool:
    """Whether this may be the beating of a chord that rings out."""
    rate_hz = match.signal.rate_hz
    first, last = (found.start + found.step * float(n) for n in found.nominal[[0, -1]])
    return found.interval < BEATING_S * rate_hz and first > RING_S * rate_hz and last - first < RING_S * rate_hz


def _best_train(
    match: Matcher,
    place: Ints,
    pairs: Pairs,
    hints_s: tuple[float, ...],
    nominal_s: Floats | None,
    begin: int,
    end: int,
) -> Train | None:
    """The train with the most evidence between two samples."""
    rate = match.signal.rate_hz
    best: Train | None = None
    if nominal_s is not None:
        for chain in find_mapped_chains(place, pairs, nominal_s, rate):
            at = chain.start + chain.step * nominal_s
            best = _better(best, attempt(match, chain, nominal_s[(at >= begin) & (at < end)]))
        return best
    for tried, interval in enumerate(propose_intervals(pairs, hints_s)):
        if best is not None and _explained(best, interval * rate):
            continue
        if tried > 1 and best is not None and best.score > PLAIN_SCORE:
            break
        for chain in find_chains(place, pairs, interval, rate):
            best = _better(best, attempt(match, chain, regular(chain.start, chain.step, begin, end)))
            if best is not None and _explained(best, interval * rate):
                break
    return _at_given_tempo(match, best, place, pairs, hints_s, begin, end) or best


def _at_given_tempo(
    match: Matcher, best: Train | None, place: Ints, pairs: Pairs, hints_s: tuple[float, ...], begin: int, end: int
) -> Train | None:
    """Clicks at a given tempo beside the best train of another one, as a clock on the wall ticks too; or where no train
    is found, if they are heard nearly throughout, as what mains hum or a steady player repeats is not."""
    rate = match.signal.rate_hz
    found = best is not None and best.score > _least(match, best)
    if best is not None and found and any(_simple(hint / best.step * rate) for hint in hints_s):
        return None
    given: Train | None = None
    for hint in hints_s:
        for chain in find_chains(place, pairs, hint, rate):
            train = attempt(match, chain, regular(chain.start, chain.step, begin, end))
            if train is None or train.score <= _least(match, train) or abs(train.step / rate / hint - 1) >= CLOCK:
                continue
            if found or np.mean(train.heard) >= FULL:
                given = _better(given, train)
    return given


def _simple(ratio: float) -> bool:
    """Whether a ratio of intervals is one of small whole numbers: parts of the same beat."""
    return any(abs(ratio * part - round(ratio * part)) < 1e-3 * part for part in PARTS_OF_BEAT if ratio * part > 0.5)


def _explained(train: Train, step: float) -> bool:
    """Whether clicks at this step would be some of those of the train, which is heard nearly throughout."""
    if train.score < PLAIN_SCORE or np.mean(train.heard) < FULL:
        return False
    times = step / train.step
    return round(times) >= 1 and abs(times - round(times)) < CLOCK * times


def _better(a: Train | None, b: Train | None) -> Train | None:
    return b if a is None or (b is not None and b.score > a.score) else a


def _whole(match: Matcher, train: Train, nominal_s: Floats | None, beats_per_bar: int | None) -> Candidate:
    """Follow the train through the whole recording, and find its other sounds."""
    n = len(match.signal.samples)
    start, step = (train.start, train.step) if nominal_s is not None else thinned(train)
    on = (
        np.abs((train.position - start) / step - np.round((train.position - start) / step)) < 0.1
        if nominal_s is None
        else True
    )
    if step == train.step and nominal_s is None:
        step = thickened(match, start, step, train)
    lead = float(train.position[int(np.argmax(np.where(on, train.agreement, -1.0)))])
    chain = Chain(start=start, step=step, place=train.position[train.heard & on], lead=lead)
    nominal = regular(chain.start, chain.step, 0, n) if nominal_s is None else nominal_s
    whole = attempt(match, chain, nominal, train.sound) or train
    if nominal_s is None:
        nominal = regular(whole.start, whole.step, 0, n)
    else:
        at = whole.start + whole.step * nominal_s
        nominal = nominal_s[(at >= 0) & (at < n)]
    return complete(match, whole, nominal, beats_per_bar, divide=nominal_s is None)


def _one_to_three(match: Matcher, found: Candidate, hints_s: tuple[float, ...]) -> Candidate:
    """Every third of the clicks where that is the beat given: a sound of several hits is one click.

    Which third: the one of another sound or louder, or else that of the first click heard.
    """
    apart = found.interval
    if not any(abs(hint * match.signal.rate_hz / (HITS * apart) - 1) < CLOCK for hint in hints_s):
        return found
    number = np.arange(len(found.nominal))
    heard = found.heard
    loud = loudness(match, found.position, heard)
    level = np.array([np.median(loud[heard & (number % HITS == k)]) if k < len(number) else 0.0 for k in range(HITS)])
    first = int(np.argmax(level))
    if level[first] < LOUDER_HIT * float(np.median(level)):
        first = int(np.flatnonzero(heard)[0]) % HITS
    mine = number % HITS == first
    beats = found.part(mine)
    weight = beats.weight if np.count_nonzero(beats.weight) >= FEWEST else beats.evidence * heard[mine]
    return replace(beats, weight=weight, kind=np.zeros_like(beats.kind))
