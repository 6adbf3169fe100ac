"""From pairs of like pulses to intervals, and to chains of pulses that keep the interval."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.click.periodicity import SPAN_S, Pairs
from strumclock.click.preprocessing import Float64, Ints

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
"""How far a told tempo may be from the heard one where a map of click times is told: no clock is worse."""


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """Pulses that keep an interval.

    Attributes
    ----------
    start, step : float
        Place of the pulse that most resemble (or of nominal time 0), and interval, in front samples.
    place : float array
        Places of all its pulses.
    lead : float
        Place of the pulse that most others resemble.
    """

    start: float
    step: float
    place: Float64
    lead: float


def propose_intervals(pairs: Pairs, hints_s: tuple[float, ...] = ()) -> list[float]:
    """Likely times between clicks (s), best first, from the distances of like pulses."""
    order = np.argsort(pairs.lag_s)
    lag, weight = pairs.lag_s[order], pairs.weight[order]
    if len(lag) == 0:
        return []
    total = np.concatenate([[0.0], np.cumsum(weight)])

    def collected(at: Float64, width: Float64 | float) -> Float64:
        found: Float64 = total[np.searchsorted(lag, at + width)] - total[np.searchsorted(lag, at - width)]
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


def find_mapped_chains(place: Ints, pairs: Pairs, nominal_s: Float64, rate_hz: float, most: int = 3) -> list[Chain]:
    """The chains of pulses that keep a told map of click times, by where that puts its time 0."""
    a, b = np.triu_indices(len(nominal_s), 1)
    near = nominal_s[b] - nominal_s[a] <= SPAN_S
    a, b = a[near], b[near]
    order = np.argsort(nominal_s[b] - nominal_s[a])
    a, told = a[order], (nominal_s[b] - nominal_s[a])[order]
    width = LAG_TOLERANCE_S + CLOCK * pairs.lag_s
    low, high = np.searchsorted(told, pairs.lag_s - width), np.searchsorted(told, pairs.lag_s + width)
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
