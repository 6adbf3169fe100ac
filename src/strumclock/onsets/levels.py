"""Levels in bands over time: where something begins, and the picture around it.

Frame k is centred at k hops. Levels are in dB, each band against its own loud moments in this recording, so
that neither the gain nor the tone of a microphone changes the picture. Every second frame is transformed; with windows
nine times as long as a hop, what lies between two of them follows from its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from strumclock.arrays import Samples
from strumclock.audio.cutting import cut
from strumclock.audio.quantiles import quantiles

Frames = npt.NDArray[np.float32]

HOP_S = 0.005  # belongs to the learned weights
WINDOW_S = 0.046  # long enough to tell the partials of two low strings apart
BANDS = 34  # about a sixth of an octave each; belongs to the learned weights
LOWEST_HZ, HIGHEST_HZ = 80.0, 4950.0  # physical: the lowest string's 82 Hz, and what the rate keeps
LAG_S = 0.025  # the strings of one strum are 5 to 60 ms apart: over this time their rises add up
FLOOR_DB = -60.0  # below the loudest band's loud moments: silence must not divide
LOUD = 0.97  # quantile of a band's frames that stands for "loud": most takes ring most of the time
PEAK_HALF_S = 0.030  # a rise is a candidate where none larger is nearer than this

PICTURE_S = 0.150  # looked at before and after a candidate: damping before, ringing after
PICTURE_BANDS, PICTURE_FRAMES = 11, 30  # belong to the learned weights
PICTURE_HALF = round(PICTURE_S / HOP_S)  # frames
REMOVED_SPLIT = 20  # band that splits the removed click's level in two (about 1 kHz)
QUIETEST, LOUDEST = -3.0, 0.6  # limits of the picture, in 20 dB
TYPICAL_EVERY = 2  # of the frames transformed: what is typical for a band hardly changes from one to the next …
TYPICAL_OF = 4096  # … and of a long recording so many frames tell it
POOLED_AT_ONCE = 8192  # frames: bounds the memory
BLOCK = 256  # frames transformed at once: what fits a processor's cache


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Levels of a recording over time.

    Attributes
    ----------
    whole : ndarray, shape (frames / 2, BANDS) [20 dB]
        Against each band's loud moments, of every second frame: `level` tells it of any.
    rise_db : ndarray, shape (frames,) [dB]
        Mean over the bands of what rose within `LAG_S`.
    total_db : ndarray, shape (frames,) [dB]
        Power of all bands.
    seen : ndarray, shape (frames + 2 * PICTURE_HALF, PICTURE_BANDS + 2) [20 dB]
        What pictures are cut from, beginning `PICTURE_HALF` frames early: the mean of two frames of `level`, a few
        bands together, and of the click that was removed, below and above about 1 kHz.
    hop_s : float
    """

    whole: Frames
    rise_db: Frames
    total_db: Frames
    seen: Frames
    hop_s: float

    def level(self, frame: npt.NDArray[np.intp]) -> Frames:
        """Levels in these frames [20 dB], shape (n, BANDS), limited to `QUIETEST` … `LOUDEST`."""
        first = np.clip(frame // 2 - 1, 0, None)
        around = (self.whole[np.clip(frame // 2 + k, 0, len(self.whole) - 1)] for k in (0, 1, 2))
        here, after, last = around
        between = (here + after) * np.float32(9 / 16) - (self.whole[first] + last) / 16  # as `with_halves`
        found: Frames = np.clip(np.where(frame[:, None] % 2, between, here), QUIETEST, LOUDEST)
        return found


def measure_levels(x: Samples, rate_hz: float, removed: Samples | None = None) -> Levels:
    """Levels of the samples, and of the click removed from them."""
    bands = _bands(_size(rate_hz), rate_hz)
    power = _power(x, rate_hz, bands, np.arange(len(x) // (2 * _hop(rate_hz)) + 1))
    some = power[:: max(TYPICAL_EVERY, len(power) // TYPICAL_OF)]
    quiet, high, loudest = quantiles(np.ascontiguousarray(some.T), 0.1, 0.95, LOUD)
    floor = np.maximum(quiet, high.max() * np.float32(10 ** (FLOOR_DB / 10))) + np.float32(1e-20)
    loud = loudest + floor
    total_db = with_halves(_db(power.sum(axis=1, keepdims=True) + np.float32(1e-20)))[:, 0]
    power += floor
    power /= loud
    whole = _db(power, unit_db=20)
    del power, some  # of a long recording these are the largest
    level = with_halves(whole)
    hop_s = _hop(rate_hz) / rate_hz
    lag = round(LAG_S / hop_s)
    rise = np.zeros(len(level), np.float32)
    if len(level) > lag:
        rose = level[lag:] - level[:-lag]
        rise[lag:] = np.maximum(rose, 0, out=rose) @ np.full(BANDS, 20 / BANDS, np.float32)
        del rose
    np.clip(level, QUIETEST, LOUDEST, out=level)
    return Levels(
        whole=whole,
        rise_db=rise,
        total_db=total_db,
        seen=_seen(level, _removed_level(removed, rate_hz, bands, loud, len(whole))),
        hop_s=hop_s,
    )


def rises(levels: Levels, least_db: float) -> npt.NDArray[np.intp]:
    """Frames in which the rise is largest around and at least so much [dB, mean over the bands]."""
    r = levels.rise_db
    half = round(PEAK_HALF_S / levels.hop_s)
    at = np.flatnonzero(r > least_db)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(r, half), 2 * half + 1)[at]
    top: npt.NDArray[np.intp] = at[r[at] == around.max(axis=1)]
    return top


def pictures(levels: Levels, frame: npt.NDArray[np.intp]) -> Frames:
    """The levels around each frame, shape (n, PICTURE_FRAMES * (PICTURE_BANDS + 2))."""
    at = frame[:, None] + np.arange(0, 2 * PICTURE_HALF, 2)
    picture: Frames = levels.seen[at].reshape(len(frame), -1)
    return picture


def with_halves(frames: Frames) -> Frames:
    """The frames and, between each and its next, what the cubic through four of them says.

    Examples
    --------
    >>> print(with_halves(np.arange(5, dtype=np.float32)[:, None] ** 2)[:, 0])
    [ 0.      0.3125  1.      2.25    4.      6.25    9.     12.8125 16.
     16.4375]
    """
    out = np.empty((2 * len(frames), frames.shape[1]), np.float32)
    out[0::2] = frames
    between = out[1::2]
    np.add(frames[:-1], frames[1:], out=between[:-1])
    between[-1] = 2 * frames[-1]
    between *= np.float32(9 / 16)
    outer = frames[:-3] + frames[3:]
    outer *= np.float32(1 / 16)
    between[1:-2] -= outer
    for k in {0, len(frames) - 2, len(frames) - 1} - {-1}:  # at the ends the first and the last are repeated
        between[k] -= (frames[max(k - 1, 0)] + frames[min(k + 2, len(frames) - 1)]) / 16
    return out


def _seen(level: Frames, removed: Frames) -> Frames:
    """What pictures are cut from; before the first frame and after the last it stays as it is there."""
    per = BANDS // PICTURE_BANDS
    pool = np.zeros((BANDS, PICTURE_BANDS), np.float32)
    for band in range(PICTURE_BANDS):
        pool[band * per : (band + 1) * per, band] = 1 / per
    n = len(level)
    both = np.empty((n + 2 * PICTURE_HALF + 1, PICTURE_BANDS + 2), np.float32)
    here = both[PICTURE_HALF : PICTURE_HALF + n]
    here[:, PICTURE_BANDS:] = removed
    for a in range(0, n, POOLED_AT_ONCE):
        here[a : a + POOLED_AT_ONCE, :PICTURE_BANDS] = level[a : a + POOLED_AT_ONCE] @ pool
    both[:PICTURE_HALF], both[PICTURE_HALF + n :] = here[0], here[-1]
    seen = both[:-1]
    for a in range(0, len(seen), POOLED_AT_ONCE):
        seen[a : a + POOLED_AT_ONCE] += both[a + 1 : a + 1 + POOLED_AT_ONCE][: len(seen) - a]
    seen *= np.float32(0.5)
    return seen


def _removed_level(removed: Samples | None, rate_hz: float, bands: Frames, loud: Frames, n: int) -> Frames:
    """Level of the removed click below and above about 1 kHz [20 dB], in frames and halves."""
    level = np.full((n, 2), QUIETEST, np.float32)
    if removed is not None:
        parts = (slice(0, REMOVED_SPLIT), slice(REMOVED_SPLIT, BANDS))
        weights = np.stack([bands[:, part].mean(axis=1) / loud[part].mean() for part in parts], axis=1)
        touched = _touched(removed, rate_hz, n, float(weights.max()))
        power = _power(removed, rate_hz, weights, touched)
        level[touched] = np.clip(_db(power + np.float32(1e-20), unit_db=20), QUIETEST, LOUDEST)
    return with_halves(level)


def _touched(removed: Samples, rate_hz: float, n: int, weight: float) -> npt.NDArray[np.intp]:
    """The frames of n whose power can exceed `QUIETEST` where no bin weighs more than so much.

    By Parseval's theorem the bins' power is at most half the window's length times the energy of the samples in it.
    """
    hop, size = 2 * _hop(rate_hz), _size(rate_hz)
    blocks = removed[: len(removed) // hop * hop].reshape(-1, hop)
    reach = size // (2 * hop) + 1
    energy = np.zeros(n + 2 * reach, np.float32)
    energy[reach : reach + len(blocks)] = np.einsum("ij,ij->i", blocks, blocks)
    around = np.lib.stride_tricks.sliding_window_view(energy, 2 * reach + 1).sum(axis=1)
    most = weight * size / 2 / float(np.sum(_window(size) ** 2)) * around
    return np.flatnonzero(most > 10 ** (2 * QUIETEST))


def _db(power: Frames, *, unit_db: float = 1.0) -> Frames:
    """Decibels, or multiples of so many, by way of the natural logarithm, which numpy computes several at a time."""
    log: Frames = np.log(power)
    log *= np.float32(10 / np.log(10) / unit_db)
    return log


def _hop(rate_hz: float) -> int:
    return round(HOP_S * rate_hz)


def _size(rate_hz: float) -> int:
    return 1 << round(float(np.log2(WINDOW_S * rate_hz)))


def _window(size: int) -> Samples:
    return np.hanning(size + 1)[:size].astype(np.float32)


def _power(x: Samples, rate_hz: float, weights: Frames, frame: npt.NDArray[np.intp]) -> Frames:
    """Weighted power of the frames, shape (frames, weights), numbered in double hops."""
    size = _size(rate_hz)
    window = _window(size)
    used = slice(0, int(np.flatnonzero(weights.any(axis=1))[-1]) + 1)  # nothing is asked of the bins above
    weights = (weights[used] / np.sum(window**2)).astype(np.float32)
    first = frame * (2 * _hop(rate_hz)) - size // 2
    out = np.empty((len(frame), weights.shape[1]), np.float32)
    for a in range(0, len(frame), BLOCK):
        heard = cut(x, first[a : a + BLOCK], size)
        heard *= window
        power = np.abs(scipy.fft.rfft(heard, axis=1)[:, used])
        power *= power
        np.matmul(power, weights, out=out[a : a + BLOCK])
    return out


def _bands(size: int, rate_hz: float) -> Frames:
    """Weights of the bins in each band; bands above a low rate's Nyquist repeat the highest that there is."""
    f = np.arange(size // 2 + 1) * rate_hz / size
    edges = np.geomspace(LOWEST_HZ, HIGHEST_HZ, BANDS + 1)
    weights = np.zeros((len(f), BANDS), np.float32)
    for b in range(BANDS):
        low, high = edges[b], max(edges[b + 1], edges[b] + 2 * rate_hz / size)
        if high > 0.46 * rate_hz and b:
            weights[:, b] = weights[:, b - 1]
            continue
        inside = (f >= low) & (f < high)
        weights[inside, b] = 1 / inside.sum()
    return weights
