"""The pitch of the whole guitar, from the chords that ring between strums.

It is known only up to whole semitones: a capo or a guitar tuned half a step down sounds alike.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from strumclock.audio.decimation import decimated
from strumclock.errors import Absent
from strumclock.timing import Estimate
from strumclock.timing.estimate import COVERAGE_FACTOR
from strumclock.tuning.spectrum import WORK_HZ, peaks
from strumclock.tuning.values import Tuning

A4_HZ = 440.0  # ISO 16:1975
CANNOT_TELL_CENTS = 10.0  # an interval wider than this on either side tells nothing useful
SETTLED_S = 0.08  # after a strum the strings are sharp for some tens of ms, and the pick's noise has to die away
WINDOW_S = 0.37  # long enough to part neighbouring strings (a fourth at E2 is 28 Hz), short enough to fit in between
LEAST_WINDOW_S = 0.18  # below this, partials of neighbouring strings run together
BAND_HZ = (75.0, 420.0)  # fundamentals and second partials, which agree with equal temperament within 2 cents
FLOOR_CENTS = 0.5  # a fit that claims to know a plucked string's pitch better than this is not believed
LEAST_STRUMS = 4  # by hand: fewer do not show whether they agree
LEAST_AGREEMENT = 0.5  # mean resultant length of pitches on the circle of a semitone, of strums and within one
GUARD_S = 0.02  # before the next strum, whose pick touches early


def take_pitch(
    samples: NDArray[np.float32], sample_rate_hz: float, strum_s: NDArray[np.float64], *, a4_hz: float = A4_HZ
) -> Tuning | Absent:
    """Pitch of the whole guitar in a strummed take.

    Parameters
    ----------
    samples : (n,) array
    sample_rate_hz : float
    strum_s : (k,) array
        Strum times [s] from the first sample.
    a4_hz : float
        Reference pitch [Hz].

    Returns
    -------
    Tuning or Absent
        The pitch, or the reason why it cannot be told.
    """
    low, rate_hz = decimated(samples, sample_rate_hz, target_rate_hz=WORK_HZ)
    ends = np.append(strum_s - GUARD_S, len(low) / rate_hz)[1:]
    found: list[complex] = []
    apart: list[float] = []
    for start, end in zip(strum_s, ends, strict=True):
        a, b = start + SETTLED_S, min(end, start + SETTLED_S + WINDOW_S)
        if b - a < LEAST_WINDOW_S:
            continue
        hz, weight = peaks(low[int(a * rate_hz) : int(b * rate_hz)], rate_hz, BAND_HZ)
        if len(hz):
            found.append(complex(np.sum(weight * np.exp(2j * np.pi * 12 * np.log2(hz / a4_hz)))) / float(weight.sum()))
            apart.append(float(np.sqrt(np.sum(weight**2)) / weight.sum()))
    unit = np.array([z / abs(z) for z in found if abs(z) > 0])
    if len(unit) < LEAST_STRUMS:
        reason = f"{LEAST_STRUMS} strums that ring for a quarter of a second are needed; {len(unit)} did"
        return Absent(code="too-few", reason=reason)
    resultant = complex(np.mean(unit))
    turns = np.angle(unit * np.conj(resultant)) / (2 * np.pi)
    value = 100 * float(np.angle(resultant)) / (2 * np.pi)
    # Neighbouring strums repeat a chord and its intonation, so they count as fewer, by their lag-1 correlation.
    r = max(float(np.sum(turns[:-1] * turns[1:]) / max(float(np.sum(turns**2)), 1e-12)), 0.0)
    effective = max(2.0, len(turns) * (1 - r) / (1 + r))
    u = max(FLOOR_CENTS, 100 * float(np.std(turns, ddof=1)) / math.sqrt(effective))
    # Strings that are out of tune with each other have no common pitch: theirs is a mean of few, in each strum alike.
    agreement = np.clip(np.abs(found), 1e-6, 1.0)
    strings = 100 * float(np.median(np.sqrt(-2 * np.log(agreement)) * np.array(apart))) / (2 * np.pi)
    half = math.hypot(float(stdtrit(effective - 1, 0.975)) * u, COVERAGE_FACTOR * strings)
    u = math.hypot(u, strings)
    if half > CANNOT_TELL_CENTS or min(abs(resultant), float(np.median(agreement))) < LEAST_AGREEMENT:
        reason = (
            f"the strings' pitches scatter too much: the interval would be ± {min(half, 50):.0f} cents, "
            f"and ± {CANNOT_TELL_CENTS:.0f} is asked for"
        )
        return Absent(code="scatter-too-large", reason=reason)
    return Tuning(
        cents=Estimate(value=value, low=value - half, high=value + half, u=u), a4_hz=a4_hz, n_strums=len(unit)
    )
