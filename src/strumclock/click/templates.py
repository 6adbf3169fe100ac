"""The sound of a click, learned from its repetitions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from strumclock.arrays import Floats, Samples, Spectra
from strumclock.audio.cutting import cut
from strumclock.audio.quantiles import quantiles

BANDS_HZ = (900.0, 3500.0)
"""Where the bands split in which repetitions are weighted: a string's sound sits in the lowest, a click's mostly
above."""

BLOCK_S = (0.012, 0.004, 0.0025)
"""Time over which the disturbance of one repetition is averaged, by band: a strum 10 ms after a click leaves its
attack usable, and some periods of the band's own waves are needed to know a level."""

FLOOR = 1e-6
"""Disturbance below which repetitions count alike, against the greatest."""

PASSES = 4
"""Rounds of learning: sound, then how disturbed each repetition is, then the sound again. More change nothing."""

MOST_LEVERAGE = 0.7
"""No repetition may make up more of the sound than this when its own disturbance is judged against it."""

GAIN_REACH = 6
"""A click's loudness is judged by so many neighbours on either side: a phone's gain rides over some seconds."""

CHI_MEDIAN = 0.455
"""Median of a squared standard normal."""

GAIN_SCATTER = 0.05
"""Usual scatter of a click's loudness about its neighbours' (share)."""

CAUTION = 2.0
"""The sound is drawn towards silence as if its error had this many times the power that it has."""

QUIET_RANK = 2
"""The power of the third quietest repetition (of fewer than thirty: of the quietest tenth) is the click's own, or
twice that of the quietest where that is less: a bar of count-in is enough."""

QUIETEST = 0.01
"""The quietest repetitions are disturbed by at least this share of their own power: that nothing else sounds cannot
be seen."""

CLEAREST = 0.08
"""What repetitions differ by is read from the clearest of them: at this place of the order. In a bar of count-in they
are clear."""

MARGIN = 32
"""Samples on either side of a row that a fractional delay may wrap around."""


@dataclass(frozen=True, slots=True, eq=False)
class Learned:
    """What repetitions have in common.

    Attributes
    ----------
    sound : float32 array, shape (length,)
        Drawn towards silence where repetitions do not agree on it.
    gain : float64 array, shape (k,)
        How loud it is in each repetition.
    gain_u : float64 array, shape (k,)
        Standard uncertainty of the gains.
    left : float64 array, shape (k,)
        Expected power of what remains of each when the sound is subtracted, as a share of its power: the sound's own
        error, the gain's, and what differs from repetition to repetition (a codec's doing), as the clearest of them
        show it.
    """

    sound: Samples
    gain: Floats
    gain_u: Floats
    left: Floats


def row_spectra(samples: Samples, position: Floats, before: int, after: int) -> tuple[Spectra, int]:
    """Spectra of rows around fractional positions, moved so that the position falls on row index MARGIN + before.

    Returns
    -------
    complex64 array, shape (k, size // 2 + 1), and the rows' size
    """
    whole = np.floor(position).astype(np.int64)
    size = scipy.fft.next_fast_len(before + after + 2 * MARGIN, real=True)
    size += size % 2
    head = before + MARGIN
    spectra = scipy.fft.rfft(cut(samples, whole - head, size))
    turn(spectra, position - whole, size)
    return spectra, size


def turn(spectra: Spectra, advance: Floats, size: int) -> None:
    """Move each row earlier by a fraction of a sample, in place."""
    bins = spectra.shape[1]
    step = 64  # exp(i w (64 a + b)) = exp(i w 64 a) exp(i w b): two short tables instead of one long
    coarse = _powers(np.exp(2j * np.pi * step / size * advance), -(-bins // step)).astype(np.complex64)
    fine = _powers(np.exp(2j * np.pi / size * advance), min(step, bins)).astype(np.complex64)
    for j in range(coarse.shape[1]):
        part = spectra[:, j * step : (j + 1) * step]
        part *= fine[:, : part.shape[1]]
        part *= coarse[:, j : j + 1]
    if size % 2 == 0:
        spectra[:, -1] = spectra[:, -1].real


def _powers(base: NDArray[np.complex128], count: int) -> NDArray[np.complex128]:
    """The powers 0 … count - 1 of each number, a row each: by doubling, a product costs less than an exponential."""
    powers = np.ones((len(base), count), np.complex128)
    done = 1
    while done < count:
        more = min(done, count - done)
        np.multiply(powers[:, :more], (powers[:, done - 1] * base)[:, None], out=powers[:, done : done + more])
        done += more
    return powers


@dataclass(frozen=True, slots=True, eq=False)
class _Band:
    """One band of the repetitions, decimated and cut into blocks of time.

    Attributes
    ----------
    rows : float32 array, shape (blocks, k, length)
    power : float32 array, shape (k, blocks)
        Mean square of each block.
    size : int
        Length of a row at this rate, blocks cut from it.
    attack : slice
        Blocks that hold the attack.
    still : int
        Number of blocks that end before the sound begins.
    shared : float
        So many neighbouring samples share one piece of information.
    """

    rows: Samples
    power: Samples
    size: int
    attack: slice
    still: int
    shared: float

    def mean(self, weight: Samples) -> Samples:
        """Sum of the repetitions, each block with its own weight (k, blocks): shape (blocks, length)."""
        summed: Samples = np.matmul(np.ascontiguousarray(weight.T)[:, None, :], self.rows)[:, 0]
        return summed

    def along(self, sound: Samples) -> Samples:
        """Mean product of each block with a sound (blocks, length): shape (k, blocks)."""
        product: Samples = np.matmul(self.rows, sound[:, :, None])[:, :, 0].T / np.float32(self.rows.shape[2])
        return product


def _split(spectra: Spectra, size: int, rate_hz: float, before: int) -> list[_Band]:
    """Three bands that add up to the rows, each at the lowest rate that holds it."""
    hz = np.arange(spectra.shape[1], dtype=np.float64) * (rate_hz / size)
    bands = []
    for b, response in enumerate(_responses(hz)):
        if b > 0 and BANDS_HZ[b - 1] > 0.45 * rate_hz:
            continue
        top = BANDS_HZ[b] if b < len(BANDS_HZ) else rate_hz / 2
        # an even number of samples whose spectrum ends above twice the band's edge: what is cut is 48 dB down
        short = min(scipy.fft.next_fast_len(int(np.ceil(4 * top * size / rate_hz)), real=True), size)
        short = min(short + short % 2, size)
        bins = short // 2 + 1
        part = spectra[:, :bins] * response[:bins]
        part[:, -1] = part[:, -1].real
        rows = scipy.fft.irfft(part, short)
        rows *= np.float32(short / size)
        del part  # a long recording has a thousand rows
        rate = rate_hz * short / size
        length = max(round(BLOCK_S[b] * rate), 2)
        blocks = short // length
        cut = np.ascontiguousarray(rows[:, : blocks * length].reshape(len(rows), blocks, length).transpose(1, 0, 2))
        begin = (MARGIN + before) * rate / rate_hz / length
        bands.append(
            _Band(
                rows=cut,
                power=(np.einsum("nkt,nkt->kn", cut, cut) / np.float32(length)),
                size=short,
                attack=slice(int(begin), int(begin) + max(round(0.012 * rate / length), 2)),
                still=max(int(begin - 0.3), 1),
                shared=max(rate / 2 / max(top - (BANDS_HZ[b - 1] if b else 0.0), 1.0), 1.0),
            )
        )
    return bands


def _responses(hz: Floats) -> list[Samples]:
    low = [(1 / (1 + (hz / f) ** 8)).astype(np.float32) for f in BANDS_HZ]
    return [low[0], low[1] - low[0], 1 - low[1]]


def _neighbours(power: Samples) -> Samples:
    """Smoothed over neighbouring blocks (last axis): a level needs some periods to be known."""
    quarter = np.float32(0.25) * power
    smoothed: Samples = np.float32(0.5) * power
    smoothed[..., 1:] += quarter[..., :-1]
    smoothed[..., :-1] += quarter[..., 1:]
    smoothed[..., 0] += quarter[..., 0]
    smoothed[..., -1] += quarter[..., -1]
    return smoothed


def learn(samples: Samples, rate_hz: float, position: Floats, before: int, after: int) -> Learned:
    """Sound and gains of the repetitions at given positions.

    Every repetition is weighted, in each band and every few milliseconds, by the inverse of how disturbed it is
    there: the click before the first strum teaches the tail, the click that a strum covers from 10 ms on still
    teaches the attack.

    Parameters
    ----------
    samples : float32 array, shape (n,)
    rate_hz : float
    position : float array, shape (k,), samples
        Fractions allowed.
    before, after : int
        Length of the sound on either side of the position, samples.
    """
    spectra, size = row_spectra(samples, position, before, after)
    k = len(position)
    bands = _split(spectra, size, rate_hz, before)
    del spectra
    gain = first_gain(bands)
    gain_u = np.zeros(k)
    quiet = [_first_disturbance(band, gain) for band in bands]
    disturbed = list(quiet)
    floors = [np.float32(FLOOR) * d.max() + np.float32(1e-30) for d in disturbed]
    sounds: list[Samples] = []
    errors: list[Samples] = []
    differs: list[tuple[float, float]] = []
    for _ in range(PASSES):
        sounds, errors, differs = [], [], []
        top, known = np.zeros(k), np.zeros(k)
        g = gain.astype(np.float32)[:, None]
        for b, band in enumerate(bands):
            weight = 1 / (disturbed[b] + floors[b])
            mass = (g * g * weight).sum(axis=0)
            sound = band.mean(g * weight) / mass[:, None]
            along, own = band.along(sound), np.mean(sound**2, axis=1)
            residual = np.maximum(band.power - 2 * g * along + g * g * own, 0)
            leverage = np.minimum(g * g * weight / mass, MOST_LEVERAGE)
            disturbed[b] = np.minimum(_neighbours(residual / (1 - leverage) ** 2), quiet[b])
            sounds.append(sound)
            errors.append(band.shared / mass)
            part = slice(band.attack.start, band.attack.stop)
            power = g[:, 0] ** 2 * own[part].sum()
            excess = residual[:, part].sum(axis=1) - band.power[:, : band.still].mean(axis=1) * (part.stop - part.start)
            differs.append((float(own[part].sum()), float(quantiles(excess / np.maximum(power, 1e-30), CLEAREST)[0])))
            weight = trust(own, errors[b]) * (sound.shape[1] / band.shared) / (disturbed[b] + floors[b])
            top += (weight * along).sum(axis=1)
            known += (weight * own).sum(axis=1)  # not by BLAS, whose kernels raise stray floating-point flags
        if k > 2:
            gain, gain_u = shrink(top / np.maximum(known, 1e-30), known)
    full = np.zeros(size // 2 + 1, dtype=np.complex64)
    wrong = total = 0.0
    for band, sound, error in zip(bands, sounds, errors, strict=True):
        own = np.mean(sound**2, axis=1)
        keep = trust(own, error)
        wrong += float(keep @ error) * sound.shape[1] / band.size
        total += float(keep @ own) * sound.shape[1] / band.size
        blocks, length = sound.shape
        centre = (np.arange(blocks) + 0.5) * length
        kept = np.interp(np.arange(band.size), centre, keep) * np.pad(sound.ravel(), (0, band.size - blocks * length))
        part = scipy.fft.rfft(kept.astype(np.float32)) * np.float32(size / band.size)
        full[: len(part)] += part
    whole = scipy.fft.irfft(full, size)[MARGIN : MARGIN + before + after]
    weights = np.array([w * band.rows.shape[2] / band.size for (w, _), band in zip(differs, bands, strict=True)])
    varies = float(np.average([max(d, 0.0) for _, d in differs], weights=weights + 1e-30))
    left = wrong / max(total, 1e-30) + varies + (gain_u / np.maximum(gain, 1e-30)) ** 2
    return Learned(sound=whole.astype(np.float32), gain=gain, gain_u=gain_u, left=np.clip(left, 0.0, 1.0))


def trust(power: Samples, error: Samples) -> Samples:
    """How much of the sound is believed, 0 to 1, against the power of its error (Wiener's rule, with CAUTION)."""
    share = 1 - CAUTION * _neighbours(error) / np.maximum(_neighbours(power), np.float32(1e-30))
    return np.maximum(share, np.float32(0)).astype(np.float32)


def first_gain(bands: list[_Band]) -> Floats:
    """Loudness of the repetitions, 1 on average, before anything is known: from the band where they agree best."""
    best: tuple[float, Floats] | None = None
    for band in bands:
        rows = band.rows[band.attack].transpose(1, 0, 2).reshape(band.rows.shape[1], -1)
        energy = np.einsum("kt,kt->k", rows, rows).astype(np.float64)
        unit = rows / np.maximum(np.sqrt(energy), 1e-20).astype(np.float32)[:, None]
        weight = np.ones(len(rows), dtype=np.float32)
        for _ in range(3):
            sound = weight @ unit
            sound /= max(float(np.sqrt(sound @ sound)), 1e-20)
            weight = np.maximum(unit @ sound, 0.0) ** 2
        agreement = float(np.mean(unit @ sound))
        if best is None or agreement > best[0]:
            amplitude = np.maximum((rows @ sound).astype(np.float64), 0.0)
            variance = np.maximum(energy - amplitude**2, 1e-6 * energy + 1e-30) * band.shared / rows.shape[1]
            usual = max(_weighted_median(amplitude, 1 / variance), 1e-20)
            best = agreement, shrink(amplitude / usual, usual**2 / variance)[0]
    assert best is not None
    return np.clip(best[1], 1e-3, 1e3)


def _first_disturbance(band: _Band, gain: Floats) -> Samples:
    """What else sounds in each repetition: what sounds before the click, and what exceeds the quietest tenth of
    them."""
    power = _neighbours(band.power)
    square = (gain**2).astype(np.float32)[:, None]
    rank = min(int(0.1 * len(power)), QUIET_RANK)
    quietest = np.partition(power / square, [0, rank], axis=0)
    usual = square * np.minimum(quietest[rank], np.float32(2) * quietest[0])
    background = band.power[:, : band.still].mean(axis=1)[:, None]
    disturbance: Samples = np.maximum(power - usual, 0) + background + np.float32(QUIETEST) * usual
    return disturbance


def shrink(gain: Floats, known: Floats) -> tuple[Floats, Floats]:
    """Gains drawn towards their neighbours' as far as they are not known themselves, and their uncertainty.

    Parameters
    ----------
    gain : float array, shape (k,)
    known : float array, shape (k,)
        Inverse variance of each.
    """
    k = len(gain)
    kernel = np.hanning(2 * GAIN_REACH + 3)[1:-1]

    def around(values: Floats) -> Floats:
        mean: Floats = np.convolve(values, kernel, mode="full")[GAIN_REACH : GAIN_REACH + k]
        return mean

    g = np.clip(gain, 0.0, None)
    noise = 1 / (known + 1e-30)
    usual = max(_weighted_median(g, 1 / (noise + 1e-4)), 1e-6)
    variance = noise + (GAIN_SCATTER * usual) ** 2
    near = around(g / variance) / around(1 / variance)
    # what the best known gains scatter beyond their own noise is real
    near = np.maximum(near, 1e-6 * usual)
    excess = _weighted_median(
        (g / near - 1) ** 2 / CHI_MEDIAN - noise / near**2, 1 / (noise / near**2 + GAIN_SCATTER**2)
    )
    real = np.clip(excess, 0.01**2, 0.3**2) * near**2
    return (g * real + near * noise) / (real + noise), np.sqrt(real * noise / (real + noise))


def _weighted_median(values: Floats, weight: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][int(np.searchsorted(total, total[-1] / 2))])
