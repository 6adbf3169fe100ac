"""Six open strings one by one: which were heard, how far each is from where it belongs, what is worth saying."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from strumclock.audio import Recording
from strumclock.audio.decimation import decimated
from strumclock.errors import Notice, RecordingError, UsageError
from strumclock.onsets import find_strums
from strumclock.timing import Estimate
from strumclock.tuning.plucks import FLOOR_CENTS, find_plucks
from strumclock.tuning.spectrum import WORK_HZ
from strumclock.tuning.values import OpenString, OpenStrings
from strumclock.tuning.whole import A4_HZ

OPEN_STRINGS = {"E2": 40, "A2": 45, "D3": 50, "G3": 55, "B3": 59, "E4": 64}  # standard tuning, MIDI note numbers
NOTICE_CENTS = 10.0  # between strings; common practice, no source
WARNING_CENTS = 20.0  # the same
MOVED = (0, -1, 1, -2, 2, 3, -3, 4, 5, 6, 7)  # semitones that all strings may be moved by, the likelier first
ON_STRING_SEMITONES = 0.7  # how far from its place a string may be when it is asked how all strings are moved
REACH_SEMITONES = 2.2  # and how far to be called that string at all: strings are four and five semitones apart
LOWEST_A4_HZ, HIGHEST_A4_HZ = 380.0, 500.0  # by hand: wider than every concert pitch in use
# Above so many sounds in which several strings begin, or strokes, for each single string, this is strumming.
MOST_TOGETHER, STRUMS_EACH = 0.5, 2
ODD_CENTS = 25.0  # a pluck that far from its string's median was another string's partial, or bent


def open_strings(recording: Recording, *, a4_hz: float = A4_HZ) -> OpenStrings:
    """Measure open strings that were plucked one by one, in any order, repeats allowed, ringing on or stopped.

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
        If no plucked string is heard near an open string.
    UsageError
        If `a4_hz` is not a pitch between 380 and 500 Hz.

    Examples
    --------
    >>> import numpy as np
    >>> from strumclock.audio import from_array
    >>> time_s = np.arange(2 * 22050) / 22050
    >>> tones = np.sin(2 * np.pi * 111.0 * np.outer(time_s, np.arange(1, 6))) / np.arange(1, 6)
    >>> round(1200 * np.log2(111 / 110))  # against an A of 110 Hz
    16
    >>> pluck = 0.2 * np.exp(-2 * time_s) * tones.sum(axis=1)
    >>> found = open_strings(from_array(np.concatenate([np.zeros(11025), pluck]), 22050))
    >>> [(string.string, f"{string.cents.value:+.0f} cents") for string in found.strings]
    [('A2', '+16 cents')]
    """
    if not LOWEST_A4_HZ <= a4_hz <= HIGHEST_A4_HZ:
        raise UsageError(f"the reference pitch must lie between 380 and 500 Hz; got {a4_hz:g}; use 440 (ISO 16)")
    found = find_plucks(*decimated(recording.mono(), recording.sample_rate_hz, target_rate_hz=WORK_HZ))
    plucks = found.single
    strums = len(find_strums(recording.mono(), recording.sample_rate_hz))
    if strums > STRUMS_EACH * len(plucks) + STRUMS_EACH or found.together > MOST_TOGETHER * len(plucks):
        raise RecordingError(
            f"open strings played one by one are needed; {strums} strokes were heard and {len(plucks)} single strings; "
            "pluck each string alone (a strummed take's pitch is told when the take is measured)"
        )
    note = np.array([69 + 12 * math.log2(p.frequency_hz / a4_hz) for p in plucks])
    moved = _moved(note)
    heard: dict[str, list[tuple[float, float]]] = {}
    for pluck, pitch in zip(plucks, note, strict=True):
        string = min(OPEN_STRINGS, key=lambda s, pitch=pitch: abs(OPEN_STRINGS[s] + moved - pitch))  # type: ignore[misc]
        off = float(pitch) - OPEN_STRINGS[string] - moved
        if abs(off) <= REACH_SEMITONES:
            heard.setdefault(string, []).append((100 * off, pluck.u_cents))
    if not heard:
        raise RecordingError(
            "six open strings played one by one are needed; no single string near standard tuning was heard; "
            "pluck each string alone and let it ring for two seconds"
        )
    cents = {s: _mean(heard[s]) for s in OPEN_STRINGS if s in heard}
    middle = float(np.mean([e.value for e in cents.values()]))
    rows = tuple(
        OpenString(
            string=s,
            frequency_hz=a4_hz * 2 ** ((OPEN_STRINGS[s] + moved - 69 + e.value / 100) / 12),
            cents=e,
            relative_cents=e.value - middle,
            n_plucks=len(heard[s]),
        )
        for s, e in cents.items()
    )
    spread, warnings = _between(rows)
    if moved:
        far = "a semitone" if abs(moved) == 1 else f"{abs(moved)} semitones"
        side, cause = ("above", "a capo or a higher tuning") if moved > 0 else ("below", "a lower tuning")
        said = f"all strings sound {far} {side} standard tuning ({cause}); the cents are told from there"
        warnings = (Notice(code="moved", message=said), *warnings)
    return OpenStrings(
        strings=rows,
        missing=tuple(s for s in OPEN_STRINGS if s not in heard),
        a4_hz=a4_hz,
        moved_semitones=moved,
        spread_cents=spread,
        warnings=warnings,
    )


def _moved(note: NDArray[np.float64]) -> int:
    """Semitones by which all strings are moved: those that put most of the strings in their places."""
    if not len(note):
        return 0
    places = np.array(list(OPEN_STRINGS.values()))

    def fits(moved: int) -> tuple[int, int, float]:
        off = note[:, None] - places[None, :] - moved
        on = np.abs(off) <= ON_STRING_SEMITONES
        nearest = np.abs(off).min(axis=1)
        return int(on.any(axis=0).sum()), int(on.any(axis=1).sum()), -float(np.minimum(nearest, 1).sum())

    return max(MOVED, key=fits)  # of equals the first: the likeliest


def _mean(values: list[tuple[float, float]]) -> Estimate:
    """Mean of repeated plucks of a string; the larger of what the fits claim and what the plucks show."""
    v, u = np.array(values).T
    near = np.abs(v - np.median(v)) <= ODD_CENTS
    if near.any():
        v, u = v[near], u[near]
    mean = float(np.average(v, weights=u**-2))
    inner = math.sqrt(1 / float(np.sum(u**-2)))
    outer = float(np.std(v, ddof=1)) / math.sqrt(len(v)) if len(v) > 1 else 0.0
    u_mean = max(inner, outer, FLOOR_CENTS)
    half = (1.96 if outer <= inner else float(stdtrit(len(v) - 1, 0.975))) * u_mean
    return Estimate(value=mean, low=mean - half, high=mean + half, u=u_mean)


def _between(rows: tuple[OpenString, ...]) -> tuple[Estimate | None, tuple[Notice, ...]]:
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
