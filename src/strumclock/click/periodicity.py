"""Which time comes back between sounds of the same waveform: the click's period, before anything else is known.

Short sounds ("pulses") are picked wherever the levelled signal stands out for 2 ms. Every pulse is compared, as a
waveform, with the pulses of the next seconds. Two copies of a click agree in shape, and their distance is a multiple
of the period to within a fraction of a sample; strums agree less, and their distances scatter by many milliseconds.
So a handful of clicks outvotes any number of strums, whichever are louder.

From the distances of like pulses follow the intervals that come back (`propose_intervals`), and for each the pulses
that keep it (`find_chains`), or a given map of click times (`find_mapped_chains`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats, Ints, Samples
from strumclock.audio.cutting import cut
from strumclock.click.preprocessing import Signal, moving_mean

PULSE_S = 0.002
"""A pulse is where the energy over this time stands out."""


PULSES_PER_S = 10
"""At most so many pulses in any one second: clicks on sixteenths at 120 bpm and as many strums still fit."""


PULSE_GAP_S = 0.006
"""Two pulses are no closer than this."""


SNIPPET_S = (0.002, 0.010)
"""Before and after a pulse's peak: what is compared."""


SHIFT_S = 0.0015
"""How far two pulses' peaks may lie from the same place of their waveform."""


SPAN_S = 4.6
"""Pulses further apart than this are not compared: two bars at 105 bpm, a bar at 52."""


ALIKE = 0.25
"""Agreement (normalised correlation) above which a pair counts. Unrelated pulses reach 0.2 by chance and 0.3 rarely."""


@dataclass(frozen=True, slots=True, eq=False)
class Pairs:
    """Pairs of pulses of like waveform: pulse numbers, distance in time (s) and agreement above ALIKE."""

    first: Ints
    second: Ints
    lag_s: Floats
    weight: Floats


def pick_pulses(signal: Signal, begin: int = 0, end: int | None = None) -> Ints:
    """Sample numbers of the pulses in signal.samples[begin:end], increasing."""
    rate = signal.rate_hz
    x = signal.samples[begin:end]
    fine = max(round(PULSE_S * rate / 8), 1)
    x = x[: len(x) // fine * fine].reshape(-1, fine)
    energy = moving_mean(np.einsum("ij,ij->i", x, x), 8)
    rate = rate / fine
    gap = max(round(PULSE_GAP_S * rate), 1)
    cells = len(energy) // gap
    if cells < 3:
        return np.zeros(0, dtype=np.int64)
    grid = energy[: cells * gap].reshape(cells, gap)
    peak = grid.max(axis=1)
    place = grid.argmax(axis=1) + gap * np.arange(cells)
    highest = np.r_[False, (peak[1:-1] >= peak[:-2]) & (peak[1:-1] > peak[2:]), False]
    peak, place = peak[highest], place[highest]
    second = (place / rate).astype(np.int64)
    kept = []
    for s in np.unique(second):
        mine = np.flatnonzero(second == s)
        kept.append(mine[np.argsort(-peak[mine])[:PULSES_PER_S]])
    return np.sort(place[np.concatenate(kept)]) * fine + fine // 2 + begin if kept else np.zeros(0, dtype=np.int64)


def snippets(x: Samples, place: Ints, before: int, after: int) -> Samples:
    """Rows x[p - before : p + after], zero beyond the ends, each of unit energy."""
    rows = cut(x, place.astype(np.intp) - before, before + after)
    norm = np.sqrt(np.einsum("ij,ij->i", rows, rows))
    scaled: Samples = rows / np.maximum(norm, np.float32(1e-12))[:, None]
    return scaled


def alike_pairs(signal: Signal, place: Ints) -> Pairs:
    """Compare every pulse with those of the next SPAN_S seconds."""
    rate = signal.rate_hz
    before, after = round(SNIPPET_S[0] * rate), round(SNIPPET_S[1] * rate)
    shift = max(round(SHIFT_S * rate), 2)
    rows = snippets(signal.samples, place, before, after)
    until = np.searchsorted(place, place + SPAN_S * rate)
    counts = np.maximum(until - np.arange(len(place)) - 1, 0)
    first = np.repeat(np.arange(len(place)), counts)
    second = np.arange(len(first)) - np.repeat(np.cumsum(counts) - counts, counts) + first + 1
    near = np.empty((len(first), 2 * shift + 1), np.float32)  # agreement with the second one moved by -shift to shift
    ends = np.cumsum(counts)
    moved = np.lib.stride_tricks.sliding_window_view(np.pad(rows, ((0, 0), (shift, shift))), before + after, axis=1)
    for i, (count, end) in enumerate(zip(counts.tolist(), ends.tolist(), strict=True)):
        np.matmul(rows[i + 1 : i + 1 + count], moved[i, ::-1].copy().T, out=near[end - count : end])
    top = near[:, 1:-1].argmax(axis=1) + 1
    r = np.arange(len(top))
    y0, best, y2 = (near[r, top + k].astype(np.float64) for k in (-1, 0, 1))
    bend = y0 - 2 * best + y2
    step = np.where(bend < 0, 0.5 * (y0 - y2) / np.minimum(bend, -1e-12), 0.0)
    delta = top - shift + np.clip(step, -0.5, 0.5)
    good = best > ALIKE
    lag = (place[second] - place[first] + delta)[good] / rate
    return Pairs(first=first[good], second=second[good], lag_s=lag, weight=best[good] - ALIKE)


INTERVALS_S = (0.12, 4.2)
"""Shortest and longest time between clicks: from sixteenths at 125 bpm to one click a bar at 57."""


LAG_TOLERANCE_S = 0.00012
"""How well the distance of two like clicks is known from one pair."""


PHASE_S = 0.002
"""Pulses of one chain lie so close to the same place in the interval: their peaks scatter within the sound by a
millisecond, and an interval that is wrong by LAG_TOLERANCE_S in several seconds is off by as much at the end of a
stretch."""


LONGEST_SHARE = 0.85
"""The longest interval whose multiples collect this share of the best is taken: half of it collects all of it too."""


PROPOSALS = 6
"""Intervals that are followed and weighed."""


PEAKS = 24
"""Distances that are tried as multiples of the interval …"""


MULTIPLES = 8
"""… up to this multiple: a bar of eighths."""


CLOCK = 5e-4
"""How far a given tempo may be from the heard one where a map of click times is given: no clock is worse."""


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """Pulses that keep an interval.

    Attributes
    ----------
    start, step : float
        Place of the pulse that most resemble (or of nominal time 0), and interval, in samples.
    place : float array
        Places of all its pulses.
    lead : float
        Place of the pulse that most others resemble.
    """

    start: float
    step: float
    place: Floats
    lead: float


def propose_intervals(pairs: Pairs, hints_s: tuple[float, ...] = ()) -> list[float]:
    """Likely times between clicks (s), best first, from the distances of like pulses."""
    order = np.argsort(pairs.lag_s)
    lag, weight = pairs.lag_s[order], pairs.weight[order]
    if len(lag) == 0:
        return []
    total = np.concatenate([[0.0], np.cumsum(weight)])

    def collected(at: Floats, width: Floats | float) -> Floats:
        found: Floats = total[np.searchsorted(lag, at + width)] - total[np.searchsorted(lag, at - width)]
        return found

    peaks: list[float] = []
    left = np.where(lag >= INTERVALS_S[0], collected(lag, LAG_TOLERANCE_S), 0.0)
    for _ in range(PEAKS):
        i = int(np.argmax(left))
        if left[i] <= 0:
            break
        inside = np.abs(lag - lag[i]) < LAG_TOLERANCE_S
        peaks.append(float(np.average(lag[inside], weights=weight[inside])))
        left[np.abs(lag - lag[i]) < 3 * LAG_TOLERANCE_S] = 0
    divisor = np.tile(np.arange(1, MULTIPLES + 1), len(peaks))
    candidates = np.concatenate([np.repeat(peaks, MULTIPLES) / divisor, hints_s])
    error = np.concatenate([LAG_TOLERANCE_S / divisor, 1e-4 * np.asarray(hints_s)])
    usable = (candidates >= INTERVALS_S[0]) & (candidates <= INTERVALS_S[1])
    candidates, error = candidates[usable], error[usable]
    score = np.zeros(len(candidates))
    density = total[-1] / SPAN_S
    for tooth in range(1, int(SPAN_S / INTERVALS_S[0]) + 1):
        width = np.minimum(LAG_TOLERANCE_S / 2 + error * tooth, 4 * LAG_TOLERANCE_S)
        gain = collected(candidates * tooth, width) - 2 * width * density
        score += np.where(candidates * tooth <= SPAN_S, gain, 0.0)
    chosen: list[float] = []
    while len(chosen) < PROPOSALS and len(score) and score.max() > 0:
        i = int(np.argmax(np.where(score >= LONGEST_SHARE * score.max(), candidates, 0.0)))
        chosen.append(float(candidates[i]))
        ratio = candidates / candidates[i]
        score = np.where(np.abs(ratio - 1) < 4e-4, 0.0, score)
        part = (ratio < 1) & (np.abs(ratio * np.round(1 / ratio) - 1) < 4e-4)
        score = np.where(part, 0.5 * score, score)
    return chosen


def find_chains(place: Ints, pairs: Pairs, interval_s: float, rate_hz: float, most: int = 2) -> list[Chain]:
    """The chains of pulses with this interval, by where in the interval they lie, the strongest first."""
    multiple = np.round(pairs.lag_s / interval_s)
    off = np.abs(pairs.lag_s - multiple * interval_s)
    on = (multiple >= 1) & (off < LAG_TOLERANCE_S * (1 + 0.5 * multiple))
    first, second, weight = pairs.first[on], pairs.second[on], pairs.weight[on]
    phase = place[first] / rate_hz % interval_s
    found = []
    for _ in range(most):
        if not np.any(weight > 0):
            break
        order = np.argsort(phase)
        around = np.concatenate([phase[order] - interval_s, phase[order], phase[order] + interval_s])
        total = np.concatenate([[0.0], np.cumsum(np.tile(weight[order], 3))])
        votes = total[np.searchsorted(around, phase + PHASE_S)] - total[np.searchsorted(around, phase - PHASE_S)]
        best = float(phase[int(np.argmax(np.where(weight > 0, votes, 0.0)))])
        apart = np.abs((phase - best + interval_s / 2) % interval_s - interval_s / 2)
        mine = (apart < PHASE_S) & (weight > 0)
        ends = np.concatenate([first[mine], second[mine]])
        strength = np.bincount(ends, weights=np.tile(weight[mine], 2), minlength=len(place))
        member = np.flatnonzero(strength)
        lead = float(place[int(np.argmax(strength))])
        found.append(Chain(start=lead, step=interval_s * rate_hz, place=place[member].astype(np.float64), lead=lead))
        weight = np.where(apart < 2 * PHASE_S, 0.0, weight)
    return found


def find_mapped_chains(place: Ints, pairs: Pairs, nominal_s: Floats, rate_hz: float, most: int = 3) -> list[Chain]:
    """The chains of pulses that keep a given map of click times, by where that puts its time 0."""
    a, b = np.triu_indices(len(nominal_s), 1)
    near = nominal_s[b] - nominal_s[a] <= SPAN_S
    a, b = a[near], b[near]
    order = np.argsort(nominal_s[b] - nominal_s[a])
    a, given = a[order], (nominal_s[b] - nominal_s[a])[order]
    width = LAG_TOLERANCE_S + CLOCK * pairs.lag_s
    low, high = np.searchsorted(given, pairs.lag_s - width), np.searchsorted(given, pairs.lag_s + width)
    pair = np.repeat(np.arange(len(low)), high - low)
    which = np.arange(len(pair)) - np.repeat(np.cumsum(high - low) - (high - low), high - low) + low[pair]
    first = pairs.first[pair]
    zero = place[first] / rate_hz - nominal_s[a[which]]
    weight = pairs.weight[pair]
    found = []
    left = weight.copy()
    for _ in range(most):
        if not np.any(left > 0):
            break
        order = np.argsort(zero)
        total = np.concatenate([[0.0], np.cumsum(left[order])])
        reach = 0.002  # pulses' peaks scatter by a millisecond within their sound
        votes = total[np.searchsorted(zero[order], zero + reach)] - total[np.searchsorted(zero[order], zero - reach)]
        best = float(zero[int(np.argmax(np.where(left > 0, votes, 0)))])
        mine = np.abs(zero - best) < reach
        strength = np.bincount(np.r_[first[mine], pairs.second[pair[mine]]], minlength=len(place))
        member = np.flatnonzero(strength)
        lead = float(place[int(np.argmax(strength))])
        found.append(Chain(start=best * rate_hz, step=rate_hz, place=place[member].astype(np.float64), lead=lead))
        left[np.abs(zero - best) < 4 * reach] = 0
    return found
