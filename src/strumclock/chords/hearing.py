"""Which chord sounds under each strum, and where it changes.

Chords are heard from librosa's chroma of the sound between strums, held against major and minor triads, and the
sevenths that are named after them, whose tones bring their first partials along (template matching with a hidden Markov
chain over the strums: Papadopoulos & Peeters 2007, from memory). They are named as they sound; a capo is arithmetic.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strumclock.audio.decimation import decimated

PITCH_CLASSES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")

_WORK_HZ = 5512.5  # the lowest partials of the open chords lie below 1.5 kHz
_FRAME, _HOP = 2048, 512  # 0.37 s parts a semitone at A2; a quarter of it as the step
_SETTLED_S = 0.05  # the pick's noise after a strum has no pitch
_PARTIAL_DECAY = (
    0.6  # each partial of a template tone at 0.6 of the one before (Papadopoulos & Peeters 2007, from memory)
)
_PARTIALS = 6  # the fifth of a minor chord's root is its major third: a template that knows it is not misled
_MIDDLE_OCTAVE, _OCTAVES_WIDE = 3.5, 1.0  # chroma is read about 311 Hz, where the chord's own tones lie: 27.5·2^3.5
_SHARPNESS = 40.0  # a cosine 0.025 better is e times as likely; 25 to 40 name 96 to 98 of 100 simulated strums rightly
# A chord is named major or minor; these are the kinds that are heard as such: minor third, tones added, prior share.
_KINDS = ((False, (), 0.4), (True, (), 0.4), (False, (10,), 0.1), (False, (11,), 0.05), (True, (10,), 0.05))
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
    names, score = _names(), _scores(chroma)
    score -= score.max(axis=1, keepdims=True) if len(score) else 0.0
    path, posterior = _most_likely(score)
    changes = np.zeros(len(strum_s), bool)
    changes[1:] = path[1:] != path[:-1]
    return Harmony(
        chord=tuple(names[k] for k in path), confidence=posterior[np.arange(len(path)), path], changes=changes
    )


def _strum_chroma(
    samples: NDArray[np.float32], sample_rate_hz: float, strum_s: NDArray[np.float64], tuning_cents: float
) -> NDArray[np.float64]:
    """Unit-length chroma [k, 12] of what rings between each strum and the next."""
    import librosa

    low, rate_hz = decimated(samples, sample_rate_hz, target_rate_hz=_WORK_HZ)
    magnitude = np.abs(librosa.stft(low, n_fft=_FRAME, hop_length=_HOP, center=True))
    chroma = librosa.feature.chroma_stft(
        S=np.sqrt(magnitude),
        sr=rate_hz,
        n_fft=_FRAME,
        tuning=tuning_cents / 100,
        norm=None,
        octwidth=_OCTAVES_WIDE,
        ctroct=_MIDDLE_OCTAVE,
    )
    frame_s = np.arange(chroma.shape[1]) * _HOP / rate_hz
    ends = np.append(strum_s, len(low) / rate_hz)[1:]
    out = np.zeros((len(strum_s), 12))
    for k, (start, end) in enumerate(zip(strum_s, ends, strict=True)):
        # A frame counts for the strum that fills most of it; with strums closer than a frame the middle one is taken.
        inside = (frame_s >= start + min(_SETTLED_S + 0.25 * _FRAME / rate_hz, (end - start) / 2)) & (
            frame_s <= max(end - 0.25 * _FRAME / rate_hz, (start + end) / 2)
        )
        if not inside.any():
            inside[np.argmin(np.abs(frame_s - (start + end) / 2))] = True
        out[k] = chroma[:, inside].mean(axis=1)
    return np.asarray(out / np.maximum(np.linalg.norm(out, axis=1, keepdims=True), 1e-12), dtype=np.float64)


def _names() -> list[str]:
    """The 24 triads' names: major from C, then minor."""
    return [root + quality for quality in ("", "m") for root in PITCH_CLASSES]


def _scores(chroma: NDArray[np.float64]) -> NDArray[np.float64]:
    """Log-likelihood [k, 24] of each triad, the sevenths that are named after it included."""
    out = np.full((len(chroma), 24), -np.inf)
    for minor, added, prior in _KINDS:
        tones = (0, 3 if minor else 4, 7, *added)
        templates = np.array([_template(root, tones) for root in range(12)])
        column = slice(12, 24) if minor else slice(0, 12)
        out[:, column] = np.logaddexp(out[:, column], _SHARPNESS * (chroma @ templates.T) + math.log(prior))
    return out


def _template(root: int, tones: tuple[int, ...]) -> NDArray[np.float64]:
    """Unit chroma of a chord whose tones each bring their first partials."""
    row = np.zeros(12)
    for tone in tones:
        for h in range(1, _PARTIALS + 1):
            row[(root + tone + round(12 * math.log2(h))) % 12] += _PARTIAL_DECAY ** (h - 1)
    return np.asarray(np.sqrt(row) / np.linalg.norm(np.sqrt(row)))


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
