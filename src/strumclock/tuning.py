"""How the guitar is tuned: six open strings one by one, or the whole guitar's pitch from a strummed take.

Pitch is stated in cents against equal temperament, cents = 1200 log2(f / f_reference), with A4 = 440 Hz (ISO 16)
unless told otherwise. A string's pitch is that of its fundamental, fitted together with the stiffness that sharpens
its partials: f_n = n f_0 sqrt(1 + B n^2) (Fletcher & Rossing, The Physics of Musical Instruments, from memory). The
pitch of a strummed take is known only up to whole semitones: a capo or a guitar tuned half a step down sounds alike.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.audio import Recording
from strumclock.errors import Notice, RecordingError, UsageError
from strumclock.onsets import find_strums
from strumclock.onsets.signals import decimated
from strumclock.timing import Estimate

A4_HZ = 440.0  # ISO 16:1975
OPEN_STRINGS = {"E2": 40, "A2": 45, "D3": 50, "G3": 55, "B3": 59, "E4": 64}  # standard tuning, MIDI note numbers
NOTICE_CENTS = 10.0  # between strings; common practice, no source
WARNING_CENTS = 20.0  # the same
CANNOT_TELL_CENTS = 10.0  # an interval wider than this on either side tells nothing useful

WORK_HZ = 5512.5  # pitch is read below 1.5 kHz
_SETTLED_S = 0.08  # after a pluck the string is sharp for some tens of ms, and the pick's noise has to die away
_WINDOW_S = (
    0.37  # long enough to part neighbouring strings (a fourth at E2 is 28 Hz), short enough to fit between strums
)
_LEAST_WINDOW_S = 0.18  # below this, partials of neighbouring strings run together
_CHORD_BAND_HZ = (75.0, 420.0)  # fundamentals and second partials, which agree with equal temperament within 2 cents
_PARTIALS = 6  # partials of a single string that are read
_FLOOR_CENTS = 0.5  # a fit that claims to know a plucked string's pitch better than this is not believed
_LEAST_WINDOWS = 4  # strums from which a take's pitch is told


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """The whole guitar's pitch in a strummed take.

    Attributes
    ----------
    cents : Estimate
        Deviation from equal temperament at `a4_hz`, within half a semitone (-50 to 50); positive = sharp.
    a4_hz : float
        The reference that was held against the take.
    n_strums : int
        Strums that it rests on.
    """

    cents: Estimate
    a4_hz: float
    n_strums: int

    def to_dict(self) -> dict[str, Any]:
        """The fields as plain values for JSON."""
        return asdict(self)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenString:
    """One open string: its name, its frequency and how far that is from where it belongs.

    Attributes
    ----------
    string : str
        Name and octave in standard tuning, such as ``"E2"``.
    frequency_hz : float
    cents : Estimate
        Against equal temperament; positive = sharp.
    relative_cents : float
        The same less the mean of all strings that were heard: the tuning against each other.
    n_plucks : int
    """

    string: str
    frequency_hz: float
    cents: Estimate
    relative_cents: float
    n_plucks: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenStrings:
    """The open strings of one recording, with what is worth saying about them."""

    strings: tuple[OpenString, ...]
    missing: tuple[str, ...]
    a4_hz: float
    spread_cents: Estimate | None
    warnings: tuple[Notice, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """The fields as plain values for JSON."""
        return {"schema": "strumclock.tuning/1", **asdict(self)}


def open_strings(recording: Recording, *, a4_hz: float = A4_HZ) -> OpenStrings:
    """Measure open strings that were plucked one by one, in any order, repeats allowed.

    Parameters
    ----------
    recording : Recording
    a4_hz : float
        Reference pitch [Hz].

    Returns
    -------
    OpenStrings
        With a notice where two strings differ by 10 cents and more, a warning from 20 cents where the interval
        excludes 10.

    Raises
    ------
    RecordingError
        If no plucked string is heard within two and a half semitones of an open string.
    UsageError
        If `a4_hz` is not a pitch between 380 and 500 Hz.
    """
    if not 380 <= a4_hz <= 500:
        raise UsageError(f"the reference pitch must lie between 380 and 500 Hz; got {a4_hz:g}; use 440 (ISO 16)")
    samples = recording.mono()
    strums = find_strums(samples, recording.sample_rate_hz, start_s=recording.start_s)
    plucks = strums.time_s - recording.start_s
    low, rate_hz = decimated(samples, recording.sample_rate_hz, target_rate_hz=WORK_HZ)
    heard: dict[str, list[tuple[float, float]]] = {}
    ends = np.append(plucks[1:] - 0.02, recording.duration_s)
    for start, end in zip(plucks, ends, strict=True):
        pitch = _string_pitch(low, rate_hz, start + _SETTLED_S, min(end, start + 1.2))
        if pitch is None:
            continue
        note = 69 + 12 * math.log2(pitch[0] / a4_hz)
        string = min(OPEN_STRINGS, key=lambda s: abs(OPEN_STRINGS[s] - note))
        if abs(OPEN_STRINGS[string] - note) <= 2.5:
            heard.setdefault(string, []).append((100 * (note - OPEN_STRINGS[string]), pitch[1]))
    if not heard:
        raise RecordingError(
            "six open strings played one by one are needed; no single string near standard tuning was heard; "
            "pluck each string alone and let it ring for two seconds"
        )
    cents = {s: _weighted_mean(heard[s]) for s in OPEN_STRINGS if s in heard}
    middle = float(np.mean([e.value for e in cents.values()]))
    rows = tuple(
        OpenString(
            string=s,
            frequency_hz=a4_hz * 2 ** ((OPEN_STRINGS[s] - 69 + e.value / 100) / 12),
            cents=e,
            relative_cents=e.value - middle,
            n_plucks=len(heard[s]),
        )
        for s, e in cents.items()
    )
    spread, warnings = _between_strings(rows)
    missing = tuple(s for s in OPEN_STRINGS if s not in heard)
    return OpenStrings(strings=rows, missing=missing, a4_hz=a4_hz, spread_cents=spread, warnings=warnings)


def take_pitch(
    samples: NDArray[np.float32], sample_rate_hz: float, strum_s: NDArray[np.float64], *, a4_hz: float = A4_HZ
) -> Tuning | str:
    """Pitch of the whole guitar from the chords that ring between strums.

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
    Tuning or str
        The pitch, or the reason why it cannot be told.
    """
    low, rate_hz = decimated(samples, sample_rate_hz, target_rate_hz=WORK_HZ)
    ends = np.append(strum_s[1:] - 0.02, len(low) / rate_hz)
    found: list[complex] = []
    for start, end in zip(strum_s, ends, strict=True):
        a, b = start + _SETTLED_S, min(end, start + _SETTLED_S + _WINDOW_S)
        if b - a < _LEAST_WINDOW_S:
            continue
        hz, weight = _peaks(low[int(a * rate_hz) : int(b * rate_hz)], rate_hz, _CHORD_BAND_HZ)
        if len(hz):
            found.append(complex(np.sum(weight * np.exp(2j * np.pi * 12 * np.log2(hz / a4_hz)))))
    if len(found) < _LEAST_WINDOWS:
        return f"{_LEAST_WINDOWS} strums that ring for a quarter of a second are needed; {len(found)} did"
    unit = np.array([z / abs(z) for z in found if abs(z) > 0])
    resultant = complex(np.mean(unit))
    turns = np.angle(unit * np.conj(resultant) / max(abs(resultant), 1e-12)) / (2 * np.pi)
    value = 100 * float(np.angle(resultant)) / (2 * np.pi)
    # Neighbouring strums repeat a chord and its intonation, so they count as fewer, by their lag-1 correlation.
    r = float(np.sum(turns[:-1] * turns[1:]) / max(float(np.sum(turns**2)), 1e-12))
    effective = max(2.0, len(turns) * (1 - max(r, 0.0)) / (1 + max(r, 0.0)))
    u = max(_FLOOR_CENTS, 100 * float(np.std(turns, ddof=1)) / math.sqrt(effective))
    half = _t95(effective - 1) * u
    if half > CANNOT_TELL_CENTS or abs(resultant) < 0.5:
        return (
            f"the strings' pitches scatter too much: the interval would be ± {min(half, 50):.0f} cents, "
            "and ± 10 is asked for"
        )
    return Tuning(
        cents=Estimate(value=value, low=value - half, high=value + half, u=u), a4_hz=a4_hz, n_strums=len(turns)
    )


def _t95(degrees_of_freedom: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(max(degrees_of_freedom, 1.0), 0.975))


def _peaks(
    x: NDArray[np.float32], rate_hz: float, band_hz: tuple[float, float]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Frequencies and amplitudes of the spectrum's peaks in a band that stand within 30 dB of the highest."""
    n = 8 * (1 << (len(x) - 1).bit_length())
    log = np.log(np.abs(np.fft.rfft((x - x.mean()) * np.hanning(len(x)), n)) + 1e-12)
    hz = np.arange(len(log)) * rate_hz / n
    k = np.flatnonzero((log[1:-1] > log[:-2]) & (log[1:-1] >= log[2:])) + 1
    k = k[(hz[k] >= band_hz[0]) & (hz[k] <= band_hz[1])]
    if not len(k):
        return np.array([]), np.array([])
    k = k[log[k] > log[k].max() - math.log(10) * 30 / 20]
    left, mid, right = log[k - 1], log[k], log[k + 1]
    shift = 0.5 * (left - right) / (left - 2 * mid + right)
    return (k + shift) * rate_hz / n, np.exp(mid - mid.max())


def _string_pitch(x: NDArray[np.float32], rate_hz: float, start_s: float, end_s: float) -> tuple[float, float] | None:
    """Fundamental [Hz] of one string between two moments and its uncertainty [cents]; None if there is none."""
    if end_s - start_s < _LEAST_WINDOW_S:
        return None
    rough = _rough_pitch(x[int(start_s * rate_hz) : int(end_s * rate_hz)], rate_hz)
    if rough is None:
        return None
    length = min(_WINDOW_S, end_s - start_s)
    found = []
    for a in np.arange(start_s, end_s - length + 1e-9, length / 2):
        hz, weight = _peaks(
            x[int(a * rate_hz) : int((a + length) * rate_hz)], rate_hz, (0.9 * rough, (_PARTIALS + 0.5) * rough)
        )
        fit = _stiff_string_fit(hz, weight, rough)
        if fit is not None:
            found.append(fit)
    if not found:
        return None
    value = float(np.median(found))
    scatter = 1200 * float(np.std(np.log2(found), ddof=1)) / math.sqrt(len(found)) if len(found) > 1 else 2.0
    return value, max(scatter, _FLOOR_CENTS)


def _rough_pitch(x: NDArray[np.float32], rate_hz: float) -> float | None:
    """Fundamental within a quarter-tone by librosa's YIN; None where it disagrees with itself."""
    import librosa

    track = librosa.yin(x, fmin=65, fmax=450, sr=rate_hz, frame_length=1024, hop_length=256)
    middle = float(np.median(track))
    agree = np.abs(np.log2(track / middle)) < 1 / 24
    return middle if np.mean(agree) >= 0.5 and float(np.max(np.abs(x))) > 1e-4 else None


def _stiff_string_fit(hz: NDArray[np.float64], weight: NDArray[np.float64], rough_hz: float) -> float | None:
    """f_0 from partials f_n = n f_0 sqrt(1 + B n^2), B >= 0, by weighted least squares on (f_n / n)^2."""
    if not len(hz):
        return None
    n = np.rint(hz / rough_hz)
    near = (n >= 1) & (np.abs(1200 * np.log2(hz / np.maximum(n, 1) / rough_hz)) < 60)
    hz, weight, n = hz[near], weight[near], n[near]
    if not len(hz):
        return None
    y, w = (hz / n) ** 2, weight * n**2  # a frequency error weighs 1/n on f_0
    if len(np.unique(n)) < 3:
        return float(math.sqrt(np.average(y, weights=w)))
    design = np.stack([np.ones_like(n), n**2], axis=1) * np.sqrt(w)[:, None]
    (base, slope), *_ = np.linalg.lstsq(design, y * np.sqrt(w), rcond=None)
    return float(math.sqrt(base if slope >= 0 and base > 0 else np.average(y, weights=w)))


def _weighted_mean(values: list[tuple[float, float]]) -> Estimate:
    """Mean of repeated plucks of a string; the larger of what the fits claim and what the plucks show."""
    v, u = np.array(values).T
    mean = float(np.average(v, weights=u**-2))
    inner = math.sqrt(1 / float(np.sum(u**-2)))
    outer = float(np.std(v, ddof=1)) / math.sqrt(len(v)) if len(v) > 2 else 0.0
    u_mean = max(inner, outer, _FLOOR_CENTS)
    half = (1.96 if outer <= inner else _t95(len(v) - 1)) * u_mean
    return Estimate(value=mean, low=mean - half, high=mean + half, u=u_mean)


def _between_strings(rows: tuple[OpenString, ...]) -> tuple[Estimate | None, tuple[Notice, ...]]:
    """The largest difference between two strings, and what is worth saying about it."""
    if len(rows) < 2:
        return None, ()
    flat, sharp = min(rows, key=lambda r: r.cents.value), max(rows, key=lambda r: r.cents.value)
    value, u = sharp.cents.value - flat.cents.value, math.hypot(sharp.cents.u, flat.cents.u)
    half = math.hypot(sharp.cents.high - sharp.cents.value, flat.cents.high - flat.cents.value)
    spread = Estimate(value=value, low=value - half, high=value + half, u=u)
    said = f"{sharp.string} stands {value:.0f} cents above {flat.string} against equal temperament"
    if value >= WARNING_CENTS and spread.low > NOTICE_CENTS:
        return spread, (Notice(code="out-of-tune", message=f"{said}; tune before judging how the chords sound"),)
    if value >= NOTICE_CENTS:
        return spread, (Notice(code="tuning-spread", message=said),)
    return spread, ()
