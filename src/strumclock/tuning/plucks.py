"""Single plucked strings: when each was plucked, which one it was, and its pitch.

Strings that were plucked before may ring on. What tells the new one from them is what rose at the pluck: the spectrum
after it less the one before. The string is the one whose partials hold most of that rise; its pitch is that of its
fundamental, fitted together with the stiffness that sharpens its partials: f_n = n f_0 sqrt(1 + B n²) (Fletcher &
Rossing, The Physics of Musical Instruments, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft

from strumclock.arrays import Floats, Samples
from strumclock.tuning.spectrum import peaks

SETTLED_S = 0.08  # after a pluck the string is sharp for some tens of ms, and the pick's noise has to die away
LONGEST_S = 1.4  # what is read of a pluck: later the low strings' neighbours are as loud
WINDOW_S = 0.6  # parts a string from another's partial 3 Hz away
LEAST_WINDOW_S = 0.18  # by hand: a shorter sound does not part two strings
TOUCH_S = 0.03  # before a pluck the finger or pick touches the string
BEFORE_S = (
    0.2  # what rings before a pluck is read from: parts neighbouring strings, and forgets what was stopped earlier
)
PARTIALS = 6  # of a string that are read
HIGHEST_HZ = 1500.0  # by hand: what lies above is not read; no sweep moves it
REACH_CENTS = 50.0  # between a partial and its place
FLOOR_CENTS = 0.5  # a fit that claims to know a plucked string's pitch better than this is not believed
ONE_WINDOW_CENTS = 2.0  # uncertainty where only one window could be read
LEAST_HELD = (
    0.78  # share of the rise that one string's partials must hold: single strings 0.87 and more, chords mostly less
)
LEAST_RISE = (
    8.0  # power after over before from which something was plucked: single strings 29 and more beside ringing ones
)
LOWEST_NOTE, HIGHEST_NOTE, STEP = 33.0, 73.0, 0.1  # MIDI notes that are tried: E2 a fifth down to E4 nine frets up
_FRAME, _HOP = 512, 128  # 93 ms and 23 ms at the rate that is worked at
_NOISE = 30.0  # times the tenth percentile of a bin's power: of noise alone, three times its mean
_NOVEL_DB = 1.5  # mean rise over the bins, from which something may have been plucked
_APART_S = 0.15  # by hand: nobody plucks strings one by one so fast


@dataclass(frozen=True, slots=True, kw_only=True)
class Pluck:
    """One plucked string: its time [s], its fundamental [Hz] and how well that is known [cents]."""

    time_s: float
    frequency_hz: float
    u_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Plucks:
    """Single plucked strings in the order of time, and how often several strings sounded at once."""

    single: tuple[Pluck, ...]
    together: int


def find_plucks(x: Samples, rate_hz: float) -> Plucks:
    """Every plucked string of a recording.

    Parameters
    ----------
    x : (n,) array
        One channel, at about 5.5 kHz.
    rate_hz : float
    """
    length_s = len(x) / rate_hz
    start_s = _rises(x, rate_hz)
    rough: list[tuple[float, float]] = []
    together = 0
    for start, following in zip(start_s, np.append(start_s, length_s)[1:], strict=True):
        a = float(start) + SETTLED_S
        b = min(max(float(following) - TOUCH_S, a + LEAST_WINDOW_S), length_s)
        hz = _which(x, rate_hz, float(start), a, b) if b - a >= LEAST_WINDOW_S else None
        if hz is None:
            continue
        if hz > 0:
            rough.append((float(start), hz))
        else:
            together += 1
    found = []
    until = [t - TOUCH_S for t, _ in rough[1:]] + [length_s]
    for (start, hz), end in zip(rough, until[: len(rough)], strict=True):
        a, b = start + SETTLED_S, min(end, start + LONGEST_S)
        pitch = _pitch(x, rate_hz, a, b, hz) if b - a >= LEAST_WINDOW_S else None
        if pitch is not None:
            found.append(Pluck(time_s=start, frequency_hz=pitch[0], u_cents=pitch[1]))
    return Plucks(single=tuple(found), together=together)


def _rises(x: Samples, rate_hz: float) -> Floats:
    """Moments [s] at which the spectrum rises suddenly; more of them than plucks."""
    if len(x) < 2 * _FRAME:
        return np.empty(0)
    frames = np.lib.stride_tricks.sliding_window_view(x, _FRAME)[::_HOP]
    power = np.abs(scipy.fft.rfft(frames * np.hanning(_FRAME).astype(np.float32), axis=1)) ** 2
    hz = np.arange(power.shape[1]) * rate_hz / _FRAME
    power = power[:, (hz > 60) & (hz < HIGHEST_HZ)]
    level = 10 * np.log10(power + _NOISE * np.quantile(power, 0.1, axis=0) + 1e-5 * power.mean() + 1e-20)
    novel = np.maximum(level[2:] - level[:-2], 0).mean(axis=1)
    wide = max(1, round(_APART_S * rate_hz / _HOP))
    around = np.lib.stride_tricks.sliding_window_view(np.pad(novel, wide), 2 * wide + 1).max(axis=1)
    at = np.flatnonzero((novel == around) & (novel > _NOVEL_DB))
    return np.asarray((at + 1) * _HOP / rate_hz + 0.5 * _FRAME / rate_hz, dtype=np.float64)


def _which(x: Samples, rate_hz: float, start_s: float, a_s: float, b_s: float) -> float | None:
    """Fundamental [Hz], to some cents, of the string that began to ring; 0 for several at once, None for nothing."""
    length = min(b_s - a_s, WINDOW_S)
    after = _power(x, rate_hz, a_s, a_s + length)
    before = _power(x, rate_hz, start_s - TOUCH_S - min(length, BEFORE_S), start_s - TOUCH_S)
    hz = np.arange(len(after)) * rate_hz / (2 * (len(after) - 1))
    after[hz > HIGHEST_HZ] = before[hz > HIGHEST_HZ] = 0
    rise = np.maximum(after - before, 0)
    total = float(rise.sum())
    if total <= 0:
        return None
    f0 = 440 * 2 ** ((np.arange(LOWEST_NOTE, HIGHEST_NOTE, STEP) - 69) / 12)
    bin_hz = hz[1]
    held, there = np.zeros(len(f0)), np.zeros((PARTIALS, len(f0)))
    cumulated = np.concatenate([[0.0], np.cumsum(rise)])
    was = np.concatenate([[0.0], np.cumsum(before)])
    old = np.zeros(len(f0))
    for n in range(1, PARTIALS + 1):
        # The peak's own width, or half a semitone above it, where stiffness may have moved the partial.
        low = np.clip(np.floor(n * f0 * 0.99 / bin_hz - 1.5).astype(int), 0, len(rise))
        high = np.clip(np.ceil(n * f0 * 1.012 / bin_hz + 1.5).astype(int), 0, len(rise))
        there[n - 1] = cumulated[high] - cumulated[low]
        held += there[n - 1]
        old += was[high] - was[low]
    # A string an octave or a twelfth below would hold the same rise, but its own first partials are not there.
    present = (there[:3] > 1e-3 * total).mean(axis=0)
    score = held / total * present
    best = int(np.argmax(score))
    if after.sum() < LEAST_RISE * before.sum() and held[best] + old[best] < LEAST_RISE * old[best]:
        return None
    if held[best] < LEAST_HELD * total or present[best] < 0.5 or held[best] + old[best] < LEAST_RISE * old[best]:
        return 0.0
    return float(f0[best])


def _power(x: Samples, rate_hz: float, a_s: float, b_s: float) -> Floats:
    """Power spectrum of a stretch, of one resolution whatever its length, as if it lasted a second."""
    cut = x[max(0, int(a_s * rate_hz)) : max(0, int(b_s * rate_hz))]
    size = 1 << int(np.ceil(np.log2(WINDOW_S * rate_hz)))
    if len(cut) < 16:
        return np.zeros(size + 1)
    window = np.hanning(len(cut))
    return np.asarray(np.abs(scipy.fft.rfft(cut * window, 2 * size)) ** 2 / float(np.sum(window**2)))


def _pitch(x: Samples, rate_hz: float, start_s: float, end_s: float, rough_hz: float) -> tuple[float, float] | None:
    """Fundamental [Hz] between two moments and its uncertainty [cents]; None if it cannot be read."""
    length = min(WINDOW_S, end_s - start_s)
    band = (0.9 * rough_hz, min((PARTIALS + 0.5) * rough_hz, HIGHEST_HZ))
    found = []
    for a in np.arange(start_s, end_s - length + 1e-9, length / 2):
        cut = x[int(a * rate_hz) : int((a + length) * rate_hz)]
        fit = fit_stiff_string(*peaks(cut, rate_hz, band), rough_hz)
        if fit is not None:
            found.append(fit)
    if not found:
        return None
    value = float(np.median(found))
    scatter = ONE_WINDOW_CENTS
    if len(found) > 1:
        scatter = 1200 * float(np.std(np.log2(found), ddof=1)) / math.sqrt(len(found))
    return value, max(scatter, FLOOR_CENTS)


def fit_stiff_string(hz: Floats, amplitude: Floats, rough_hz: float) -> float | None:
    """Fundamental from partials f_n = n f_0 sqrt(1 + B n²), B >= 0, by weighted least squares on (f_n / n)².

    Parameters
    ----------
    hz, amplitude : (k,) array
        Peaks of the spectrum.
    rough_hz : float
        The fundamental, to a quarter-tone.

    Returns
    -------
    float or None
        f_1 [Hz]; None if no peak lies on a partial.

    Examples
    --------
    >>> n = np.arange(1, 6)
    >>> round(fit_stiff_string(110 * n * np.sqrt((1 + 1e-4 * n**2) / (1 + 1e-4)), 1.0 / n, 109.0), 6)
    110.0
    """
    if not len(hz):
        return None
    n = np.rint(hz / rough_hz)
    near = (n >= 1) & (np.abs(1200 * np.log2(hz / np.maximum(n, 1) / rough_hz)) < REACH_CENTS)
    hz, amplitude, n = hz[near], amplitude[near], n[near]
    if not len(hz):
        return None
    # Of several peaks near one partial the highest is the string's.
    best = [int(np.flatnonzero(n == k)[np.argmax(amplitude[n == k])]) for k in np.unique(n)]
    hz, amplitude, n = hz[best], amplitude[best], n[best]
    y, weight = (hz / n) ** 2, amplitude * n**2  # a frequency error weighs 1/n on f_0
    if len(n) < 3:
        return float(math.sqrt(np.average(y, weights=weight)))
    design = np.stack([np.ones_like(n), n**2], axis=1) * np.sqrt(weight)[:, None]
    (base, slope), *_ = np.linalg.lstsq(design, y * np.sqrt(weight), rcond=None)
    if slope < 0 or base <= 0:
        return float(math.sqrt(np.average(y, weights=weight)))
    return float(math.sqrt(base + slope))
