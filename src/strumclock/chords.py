"""What chord changes cost: where the harmony changes, the pause before, how late the new chord starts, strums lost.

Chords are heard from librosa's chroma of the sound between strums, held against major and minor triads whose tones
bring their first partials along (template matching with a hidden Markov chain over the strums: Papadopoulos & Peeters
2007, from memory). They are named as they sound; a capo is arithmetic. Where the chords are told, their places are
taken as told.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.onsets.signals import decimated
from strumclock.timing import Estimate

PITCH_CLASSES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
LEAST_CHANGES = 3  # below this, a mean over changes has no interval worth printing

_WORK_HZ = 5512.5  # the lowest partials of the open chords lie below 1.5 kHz
_FRAME, _HOP = 2048, 512  # 0.37 s parts a semitone at A2; a quarter of it as the step
_SETTLED_S = 0.05  # the pick's noise after a strum has no pitch
_PARTIAL_DECAY = (
    0.6  # each partial of a template tone at 0.6 of the one before (Papadopoulos & Peeters 2007, from memory)
)
_PARTIALS = 4
_SHARPNESS = 25.0  # a cosine 0.04 better is e times as likely: about what repeats of one chord scatter by
_STAY = 0.85  # probability that the next strum is on the same chord: a change every six or seven strums


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Harmony:
    """The chord under each strum.

    Attributes
    ----------
    chord : tuple of str
        Such as ``"A"`` or ``"F#m"``, one for each strum; as it sounds.
    confidence : (n,) array
        Posterior probability of that chord among the 24 triads.
    changes : (n,) array of bool
        The first strum of each new chord (never the first strum of the take).
    """

    chord: tuple[str, ...]
    confidence: NDArray[np.float64]
    changes: NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One chord change.

    Attributes
    ----------
    time_s : float
        First strum of the new chord.
    from_chord, to_chord : str or None
        None where the chords were neither told nor heard.
    confidence : float or None
        Of the new chord's name; None where told.
    gap_s : float
        From the last strum of the old chord to the first of the new.
    pause_ms : float
        That gap less what the grid asks for between the two places, or less the take's median gap where there is no
        grid; positive = the hand stopped to change.
    late_ms : float or None
        Lateness of the new chord's first strum against the mean of all strums that are not at a change.
    lost : int
        Omitted slots within a beat of the change.
    """

    time_s: float
    from_chord: str | None
    to_chord: str | None
    confidence: float | None
    gap_s: float
    pause_ms: float
    late_ms: float | None
    lost: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CostliestPair:
    """The pair of chords whose change comes latest, where at least two such changes were played."""

    from_chord: str
    to_chord: str
    n: int
    late_ms: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """All chord changes of a take.

    Attributes
    ----------
    source : str
        ``"told"`` or ``"heard"``.
    changes : tuple of Change
    seconds_per_change : Estimate or None
        Mean time from change to change.
    changes_per_minute : Estimate or None
    lateness_ms : Estimate or None
        Strums at changes less all others, positive = late at changes; None without a grid.
    costliest : CostliestPair or None
    click_bpm_one_bar : float or None
        The click that asks for this rate with one change in four beats.
    """

    source: str
    changes: tuple[Change, ...]
    seconds_per_change: Estimate | None
    changes_per_minute: Estimate | None
    lateness_ms: Estimate | None
    costliest: CostliestPair | None
    click_bpm_one_bar: float | None

    def to_dict(self) -> dict[str, Any]:
        """The fields as plain values for JSON."""
        return asdict(self)


def hear_chords(
    samples: NDArray[np.float32], sample_rate_hz: float, strum_s: NDArray[np.float64], *, tuning_cents: float = 0.0
) -> Harmony:
    """Name the triad under each strum and find where it changes.

    Parameters
    ----------
    samples : (n,) array
    sample_rate_hz : float
    strum_s : (k,) array
        Strum times [s] from the first sample.
    tuning_cents : float
        The guitar's pitch against A4 = 440 Hz, so that a flat guitar's tones fall into their own classes.

    Returns
    -------
    Harmony
    """
    chroma = _strum_chroma(samples, sample_rate_hz, strum_s, tuning_cents)
    names, templates = _templates()
    score = _SHARPNESS * (chroma @ templates.T)
    score -= score.max(axis=1, keepdims=True) if len(score) else 0.0
    path, posterior = _most_likely(score)
    changes = np.zeros(len(strum_s), bool)
    changes[1:] = path[1:] != path[:-1]
    return Harmony(
        chord=tuple(names[k] for k in path), confidence=posterior[np.arange(len(path)), path], changes=changes
    )


def measure_changes(
    time_s: NDArray[np.float64],
    at_change: NDArray[np.bool_],
    *,
    chord: Sequence[str] | None = None,
    confidence: NDArray[np.float64] | None = None,
    deviation_ms: NDArray[np.float64] | None = None,
    line_s: NDArray[np.float64] | None = None,
    omitted_s: NDArray[np.float64] | None = None,
    beat_s: float | None = None,
    source: str = "told",
) -> Changes | str:
    """Take the changes of a take together.

    Parameters
    ----------
    time_s : (n,) array
        Strum times [s], increasing.
    at_change : (n,) array of bool
        First strum of each new chord.
    chord : sequence of str, optional
        The chord under each strum.
    confidence : (n,) array, optional
        Of the names, where they were heard.
    deviation_ms : (n,) array, optional
        Deviations about the take's drift line [ms]; NaN for strums without a slot. Absent without a grid.
    line_s : (n,) array, optional
        Grid line of each strum [s]; NaN without a slot.
    omitted_s : (m,) array, optional
        Where slots went without a strum [s].
    beat_s : float, optional
        Length of a beat [s].
    source : str
        ``"told"`` or ``"heard"``.

    Returns
    -------
    Changes or str
        The figures, or the reason why there are none.
    """
    where = np.flatnonzero(at_change)
    where = where[where > 0]
    if not len(where):
        return "no chord change was " + ("told within the strums played" if source == "told" else "heard")
    steady = ~at_change
    gaps = np.diff(time_s)
    usual_gap_s = float(np.median(gaps[steady[1:]])) if np.any(steady[1:]) else float(np.median(gaps))
    late = None
    if deviation_ms is not None and np.any(steady & np.isfinite(deviation_ms)):
        late = deviation_ms - np.nanmean(deviation_ms[steady])
    rows = []
    for i in where:
        asked_s = usual_gap_s
        if line_s is not None and np.isfinite(line_s[i]) and np.isfinite(line_s[i - 1]):
            asked_s = float(line_s[i] - line_s[i - 1])
        lost = 0
        if omitted_s is not None and beat_s is not None:
            centre = float(line_s[i]) if line_s is not None and np.isfinite(line_s[i]) else float(time_s[i])
            lost = int(np.sum(np.abs(omitted_s - centre) <= beat_s * 1.01))
        rows.append(
            Change(
                time_s=float(time_s[i]),
                from_chord=chord[i - 1] if chord is not None else None,
                to_chord=chord[i] if chord is not None else None,
                confidence=float(confidence[i]) if confidence is not None else None,
                gap_s=float(gaps[i - 1]),
                pause_ms=1000 * (float(gaps[i - 1]) - asked_s),
                late_ms=float(late[i]) if late is not None and np.isfinite(late[i]) else None,
                lost=lost,
            )
        )
    seconds = _mean_estimate(np.diff(time_s[where]), u=0.002)
    rate = None
    if seconds is not None and seconds.low > 0:
        u = 60 / seconds.value**2 * seconds.u
        rate = Estimate(value=60 / seconds.value, low=60 / seconds.high, high=60 / seconds.low, u=u)
    return Changes(
        source=source,
        changes=tuple(rows),
        seconds_per_change=seconds,
        changes_per_minute=rate,
        lateness_ms=_difference(late, at_change) if late is not None else None,
        costliest=_costliest(rows),
        click_bpm_one_bar=4 * rate.value if rate is not None else None,
    )


def _strum_chroma(
    samples: NDArray[np.float32], sample_rate_hz: float, strum_s: NDArray[np.float64], tuning_cents: float
) -> NDArray[np.float64]:
    """Unit-length chroma [k, 12] of what rings between each strum and the next."""
    import librosa

    low, rate_hz = decimated(samples, sample_rate_hz, target_rate_hz=_WORK_HZ)
    magnitude = np.abs(librosa.stft(low, n_fft=_FRAME, hop_length=_HOP, center=True))
    chroma = librosa.feature.chroma_stft(
        S=np.sqrt(magnitude), sr=rate_hz, n_fft=_FRAME, tuning=tuning_cents / 100, norm=None, octwidth=1.5, ctroct=4.0
    )
    frame_s = np.arange(chroma.shape[1]) * _HOP / rate_hz
    ends = np.append(strum_s[1:], len(low) / rate_hz)
    out = np.zeros((len(strum_s), 12))
    for k, (start, end) in enumerate(zip(strum_s, ends, strict=True)):
        # A frame counts for the strum that fills most of it; with strums closer than a frame the middle one is taken.
        inside = (frame_s >= start + min(_SETTLED_S + 0.25 * _FRAME / rate_hz, (end - start) / 2)) & (
            frame_s <= max(end - 0.25 * _FRAME / rate_hz, (start + end) / 2)
        )
        if not inside.any():
            inside[np.argmin(np.abs(frame_s - (start + end) / 2))] = True
        out[k] = chroma[:, inside].mean(axis=1)
    return out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12)


def _templates() -> tuple[list[str], NDArray[np.float64]]:
    """Names and unit chroma [24, 12] of the major and minor triads, each tone with its first partials."""
    names, rows = [], []
    for quality, third in (("", 4), ("m", 3)):
        for root in range(12):
            row = np.zeros(12)
            for tone in (0, third, 7):
                for h in range(1, _PARTIALS + 1):
                    row[(root + tone + round(12 * math.log2(h))) % 12] += _PARTIAL_DECAY ** (h - 1)
            names.append(PITCH_CLASSES[root] + quality)
            rows.append(np.sqrt(row) / np.linalg.norm(np.sqrt(row)))
    return names, np.array(rows)


def _most_likely(score: NDArray[np.float64]) -> tuple[NDArray[np.intp], NDArray[np.float64]]:
    """Most likely path (Viterbi) and posterior (forward-backward) of a chain that stays with probability `_STAY`."""
    n, m = score.shape
    if n == 0:
        return np.zeros(0, np.intp), np.zeros((0, m))
    stay, move = math.log(_STAY), math.log((1 - _STAY) / (m - 1))
    best, back = score[0].copy(), np.zeros((n, m), np.intp)
    for t in range(1, n):
        top = int(np.argmax(best))
        switch = best[top] + move
        keep = best + stay
        back[t] = np.where(keep >= switch, np.arange(m), top)
        best = np.maximum(keep, switch) + score[t]
    path = np.zeros(n, np.intp)
    path[-1] = int(np.argmax(best))
    for t in range(n - 1, 0, -1):
        path[t - 1] = back[t, path[t]]
    likelihood = np.exp(score)
    step = np.full((m, m), (1 - _STAY) / (m - 1)) + np.eye(m) * (_STAY - (1 - _STAY) / (m - 1))
    forward, backward = np.zeros((n, m)), np.ones((n, m))
    forward[0] = likelihood[0] / likelihood[0].sum()
    for t in range(1, n):
        forward[t] = likelihood[t] * (forward[t - 1] @ step)
        forward[t] /= forward[t].sum()
    for t in range(n - 2, -1, -1):
        backward[t] = step @ (likelihood[t + 1] * backward[t + 1])
        backward[t] /= backward[t].sum()
    posterior = forward * backward
    return path, posterior / posterior.sum(axis=1, keepdims=True)


def _mean_estimate(x: NDArray[np.float64], *, u: float) -> Estimate | None:
    """Mean of independent values with its t interval; None from fewer than `LEAST_CHANGES` values."""
    from scipy.special import stdtrit

    if len(x) < LEAST_CHANGES:
        return None
    mean, half = float(np.mean(x)), float(stdtrit(len(x) - 1, 0.975) * np.std(x, ddof=1) / math.sqrt(len(x)))
    half = math.hypot(half, 1.96 * u)
    return Estimate(value=mean, low=mean - half, high=mean + half, u=u)


def _difference(late_ms: NDArray[np.float64], at_change: NDArray[np.bool_]) -> Estimate | None:
    """Mean at changes less mean elsewhere, with Welch's interval; None from fewer than three strums on a side."""
    from scipy.special import stdtrit

    known = np.isfinite(late_ms)
    a, b = late_ms[known & at_change], late_ms[known & ~at_change]
    if min(len(a), len(b)) < LEAST_CHANGES:
        return None
    va, vb = np.var(a, ddof=1) / len(a), np.var(b, ddof=1) / len(b)
    freedom = (va + vb) ** 2 / max(va**2 / (len(a) - 1) + vb**2 / (len(b) - 1), 1e-300)
    value, half = float(a.mean() - b.mean()), float(stdtrit(freedom, 0.975) * math.sqrt(va + vb))
    return Estimate(value=value, low=value - half, high=value + half, u=1.0 / math.sqrt(len(a)))


def _costliest(rows: list[Change]) -> CostliestPair | None:
    """The pair with the highest mean lateness among those played at least three times and known to be late."""
    pairs: dict[tuple[str, str], list[float]] = defaultdict(list)
    for row in rows:
        if row.late_ms is not None and row.from_chord and row.to_chord:
            pairs[row.from_chord, row.to_chord].append(row.late_ms)
    found = []
    for (a, b), late in pairs.items():
        estimate = _mean_estimate(np.array(late), u=1.0 / math.sqrt(len(late)))
        if estimate is not None and estimate.low > 0:
            found.append(CostliestPair(from_chord=a, to_chord=b, n=len(late), late_ms=estimate))
    return max(found, key=lambda pair: pair.late_ms.value, default=None) if len(pairs) > 1 else None
