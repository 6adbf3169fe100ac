"""Which strums went down and which up, and how sure that is.

A down-stroke meets the low strings first and rings all of them; an up-stroke meets the high strings first and often
leaves the low ones out. So up-strokes are brighter against down-strokes *of the same take*: nothing is learned from
other players. The hand swings like a pendulum: after one swing's time it comes the other way, after two the same way
again. Both are held together in a two-state hidden Markov model (Rabiner 1989, from memory): the brightness of each
strum is normal about its direction's mean, and the odds that the direction alternates follow the number of swings
between strums. The swing's time is the one that makes the take most likely, or is known from the grid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LOW_BAND_HZ = (80.0, 320.0)  # where the wound strings' fundamentals lie
HIGH_BAND_HZ = (640.0, 5000.0)  # partials: every string sounds here, the low ones less
FROM_S, TO_S = 0.02, 0.08  # after the last string of a quick stroke, before the next strum of a fast pattern
LEAST_STRUMS = 12  # two groups of six: fewer do not show two means apart
LEAST_SEPARATION = 1.0  # distance of the two means in standard deviations below which the model is guessing
LEAST_GAIN = 5.0  # log-likelihood over one direction only; takes of one direction reach 2.4 in 19 of 20 (180 simulated)
_SWINGS_S = np.exp(
    np.arange(math.log(0.11), math.log(0.75), 0.015)
)  # one swing of the hand: 9 a second down to 80 a minute
_TRUST_GRID = 0.95  # that a hand keeps its pendulum from slot to slot
_TRUST_FREE = 0.95  # the same where strums lie on the swing's own places; 0.5 (no say) where they lie between
_PLACE_SD = 0.12  # scatter of strums about the swing's places, in swings
_FAR_SWINGS = 6  # beyond so many swings a pause has broken the pendulum
_ROUNDS = 6
_CLIP_SD = 4.0  # one odd strum must not outvote its neighbours
_FLOOR_SD = 0.15  # of the natural logarithm of a power ratio: chords alone make as much


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Directions:
    """Direction of each strum.

    Attributes
    ----------
    p_up : (n,) array
        Posterior probability of an up-stroke.
    separation : float
        Distance of the brightness of up- and down-strokes, in standard deviations.
    """

    p_up: FloatArray
    separation: float


def brightness(samples: NDArray[np.float32], sample_rate_hz: float, time_s: FloatArray) -> FloatArray:
    """Natural logarithm of high- over low-band power shortly after each strum.

    Parameters
    ----------
    samples : (n,) array
    sample_rate_hz : float
    time_s : (k,) array
        Strum times from the first sample [s].

    Returns
    -------
    (k,) array
    """
    length = int((TO_S - FROM_S) * sample_rate_hz)
    n_fft = 1 << (length - 1).bit_length()
    start = np.clip(((time_s + FROM_S) * sample_rate_hz).astype(int), 0, max(len(samples) - length, 0))
    hz = np.fft.rfftfreq(n_fft, 1 / sample_rate_hz)
    low, high = ((hz >= a) & (hz <= b) for a, b in (LOW_BAND_HZ, HIGH_BAND_HZ))
    window = np.hanning(length)
    out = np.empty(len(time_s))
    for k, i in enumerate(start):
        power = np.square(np.abs(np.fft.rfft(samples[i : i + length] * window[: len(samples) - i], n_fft)))
        out[k] = math.log((power[high].sum() + 1e-20) / (power[low].sum() + 1e-20))
    return out


def tell_directions(bright: FloatArray, time_s: FloatArray, *, place: FloatArray | None = None) -> Directions | str:
    """Tell up- from down-strokes.

    Parameters
    ----------
    bright : (n,) array
        From `brightness`.
    time_s : (n,) array
        Strum times [s].
    place : (n,) array, optional
        The grid's count of parts at each strum, NaN for strums without a slot.

    Returns
    -------
    Directions or str
        The reason where the two cannot be told apart.
    """
    n = len(bright)
    if n < LEAST_STRUMS:
        return f"{LEAST_STRUMS} strums are needed to tell up- from down-strokes; {n} were found"
    swings, trust, fit = _swings(time_s, place)
    means, sd = _two_means(bright)
    one_sd = max(float(np.std(bright)), _FLOOR_SD)
    mean_low, mean_high = (np.full(len(swings), m) for m in means)
    sds = np.full(len(swings), sd)
    for _ in range(_ROUNDS):
        p_up, log_likelihood = _forward_backward(bright, mean_low, mean_high, sds, swings, trust)
        up, down = p_up.sum(axis=1) + 1e-9, (1 - p_up).sum(axis=1) + 1e-9
        mean_high, mean_low = p_up @ bright / up, (1 - p_up) @ bright / down
        variance = p_up * (bright - mean_high[:, None]) ** 2 + (1 - p_up) * (bright - mean_low[:, None]) ** 2
        sds = np.maximum(np.sqrt(variance.mean(axis=1)), _FLOOR_SD)
    score = np.where(mean_high > mean_low, log_likelihood + fit, -np.inf)
    best = int(np.argmax(score))
    separation = float((mean_high[best] - mean_low[best]) / sds[best])
    z = np.clip((bright - bright.mean()) / one_sd, -_CLIP_SD, _CLIP_SD)
    alone = float(np.sum(np.log(np.exp(-0.5 * z**2) / one_sd + 1e-4)))
    gain = float(log_likelihood[best]) - alone
    if not math.isfinite(score[best]) or separation < LEAST_SEPARATION or gain < LEAST_GAIN:
        return "up- and down-strokes do not sound different enough in this take, or all strokes went one way"
    return Directions(p_up=p_up[best], separation=separation)


def _swings(time_s: FloatArray, place: FloatArray | None) -> tuple[NDArray[np.int64], FloatArray, FloatArray]:
    """For each swing tried: swings between neighbouring strums, trust in the pendulum, and how well it fits."""
    if place is not None and np.isfinite(place).mean() > 0.5:
        step = np.diff(place)
        known = np.isfinite(step)
        count = np.where(known, np.nan_to_num(step), 0).astype(np.int64)
        return count[None], np.where(known, _TRUST_GRID, 0.5)[None], np.zeros(1)
    ratio = np.diff(time_s)[None, :] / _SWINGS_S[:, None]
    count = np.maximum(np.rint(ratio), 1)
    nearness = np.exp(-0.5 * ((ratio - count) / _PLACE_SD) ** 2)
    trust = 0.5 + (_TRUST_FREE - 0.5) * nearness * np.where(count <= _FAR_SWINGS, 1.0, 0.3)
    density = nearness / (_PLACE_SD * math.sqrt(2 * math.pi))
    return count.astype(np.int64), trust, 0.5 * np.log(np.maximum(density, 0.3)).sum(axis=1)


def _two_means(x: FloatArray) -> tuple[tuple[float, float], float]:
    """Means and common standard deviation of two normal groups, by expectation maximisation from the quartiles."""
    low, high = (float(q) for q in np.percentile(x, [25, 75]))
    sd, share = max(float(np.std(x)) / 1.5, _FLOOR_SD), 0.5
    for _ in range(50):
        a = share * np.exp(-0.5 * ((x - high) / sd) ** 2)
        b = (1 - share) * np.exp(-0.5 * ((x - low) / sd) ** 2)
        p = a / (a + b + 1e-300)
        share = float(np.clip(p.mean(), 0.05, 0.95))
        low, high = float((1 - p) @ x / ((1 - p).sum() + 1e-9)), float(p @ x / (p.sum() + 1e-9))
        sd = max(float(np.sqrt(np.mean((1 - p) * (x - low) ** 2 + p * (x - high) ** 2))), _FLOOR_SD)
    return (low, high), sd


def _forward_backward(
    x: FloatArray,
    mean_down: FloatArray,
    mean_up: FloatArray,
    sd: FloatArray,
    swings: NDArray[np.int64],
    trust: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Posterior of "up" [models, n] and log-likelihood [models] of every model at once."""
    models, n = len(swings), len(x)
    emission = np.empty((models, n, 2))
    for state, mean in enumerate((mean_down, mean_up)):
        z = np.clip((x - mean[:, None]) / sd[:, None], -_CLIP_SD, _CLIP_SD)
        emission[:, :, state] = np.exp(-0.5 * z**2) / sd[:, None] + 1e-4
    same = np.where(swings % 2 == 1, 1 - trust, trust)
    forward, scale = np.empty((models, n, 2)), np.empty((models, n))
    forward[:, 0] = emission[:, 0] / 2
    for t in range(n):
        if t:
            before, s = forward[:, t - 1], same[:, t - 1, None]
            forward[:, t] = emission[:, t] * (s * before + (1 - s) * before[:, ::-1])
        scale[:, t] = forward[:, t].sum(axis=1)
        forward[:, t] /= scale[:, t, None]
    backward = np.ones((models, n, 2))
    for t in range(n - 2, -1, -1):
        after, s = emission[:, t + 1] * backward[:, t + 1], same[:, t, None]
        backward[:, t] = s * after + (1 - s) * after[:, ::-1]
        backward[:, t] /= backward[:, t].sum(axis=1, keepdims=True)
    posterior = forward * backward
    return posterior[:, :, 1] / posterior.sum(axis=2), np.log(scale).sum(axis=1)
