"""Power of a candidate's surroundings in bands, in steps of a third of a millisecond.

The bands come out of the Fourier transform at a rate at which a step is `FINE` samples, whatever the recording's rate.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy.fft

from strumclock.arrays import Floats, Samples, Spectra
from strumclock.audio.decimation import TARGET_RATE_HZ

Powers = npt.NDArray[np.float32]
Band = npt.NDArray[np.float32]

FINE = 4  # samples of a band in a step
STEP_S = FINE / TARGET_RATE_HZ
STEPS = 256  # looked at from the first step on; belongs to the learned weights
QUIET_S = (0.020, 0.005)  # before the first step: what a band is without a strum
SPLITS_HZ = (1000.0, 2200.0, 3500.0)  # by hand; belong to the learned weights
HIGHEST_HZ = 4900.0  # physical: what the rate that is computed at keeps; belongs to the learned weights
BRIGHT_HZ = 1500.0  # DESIGN's definition of a strum's time looks above this
TAIL = 4  # samples after the last step: where they end something rings, and the network has learned with it
RATE_ERROR = 2e-5  # of the bands' rate: 2 µs over all steps


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bands:
    """How the surroundings of a candidate are taken apart.

    Attributes
    ----------
    lead, width : int [samples]
        To be taken before the first step, so that a filter of the order told has settled; and in all.
    size, fine_size : int
        Length of the transform of the samples, and of the transform back, whose samples are `STEP_S` / `FINE` apart.
    split : tuple of arrays, shape (2 * (size // 2 + 1),)
        The four bands, lowest first: factors of the spectrum's real and imaginary parts in turn.
    bright, dark : arrays
        What is above `BRIGHT_HZ` and what is not.
    shift : complex64 array or None
        Moves the samples of the transform back so that one lies at the first step, where none would.
    begin : int
        The first step's first sample after the transform back.
    """

    lead: int
    width: int
    size: int
    fine_size: int
    split: tuple[Band, ...]
    bright: Band
    dark: Band
    shift: Spectra | None
    begin: int

    def spectra(self, heard: Samples) -> Spectra:
        """Spectra of the surroundings, shape (n, width)."""
        found: Spectra = scipy.fft.rfft(heard, self.size, axis=1)
        if self.shift is not None:
            found *= self.shift
        return found

    def powers(self, spectra: Spectra, band: Band) -> tuple[Powers, Powers]:
        """Mean power of a band in each step, shape (n, STEPS), and in the quiet before, shape (n, 1)."""
        y = scipy.fft.irfft((spectra.view(np.float32) * band).view(np.complex64), self.fine_size, axis=1)
        quiet, calm = (round(s / STEP_S * FINE) for s in QUIET_S)
        power = y[:, self.begin - quiet : self.begin + STEPS * FINE]
        np.multiply(power, power, out=power)
        steps: Powers = power[:, quiet::FINE] + power[:, quiet + 1 :: FINE]
        for k in range(2, FINE):
            steps += power[:, quiet + k :: FINE]
        steps *= np.float32(1 / FINE)
        return steps, power[:, : quiet - calm].mean(axis=1, keepdims=True)


@lru_cache(maxsize=8)
def bands_at(rate_hz: float, order: int) -> Bands:
    """The bands for samples of this rate, filtered by predictors of this order."""
    lead = order + round(QUIET_S[0] * rate_hz)
    width = lead + int(np.ceil(STEPS * STEP_S * rate_hz)) + TAIL
    size, fine_size = _sizes(width + order, TARGET_RATE_HZ / rate_hz)
    f = np.log2(np.maximum(np.arange(size // 2 + 1) * rate_hz / size, 1.0))
    begin = int(np.floor(lead * fine_size / size))
    between = lead * fine_size / size - begin  # of the samples lies the first step
    shift = np.exp(2j * np.pi * np.arange(len(f)) * between / fine_size).astype(np.complex64)

    def band(mask: Floats) -> Band:
        return np.repeat(mask * (fine_size / size), 2).astype(np.float32)

    split, bright, top = np.log2(SPLITS_HZ), np.log2(BRIGHT_HZ), _low(f, np.log2(HIGHEST_HZ), 0.1)
    lows = [_low(f, edge) for edge in split] + [top]
    highs = [np.ones(len(f))] + [_high(f, edge) for edge in split]
    return Bands(
        lead=lead,
        width=width,
        size=size,
        fine_size=fine_size,
        split=tuple(band(low * high) for low, high in zip(lows, highs, strict=True)),
        bright=band(_high(f, bright) * top),
        dark=band(1 - _high(f, bright)),
        shift=shift if between else None,
        begin=begin,
    )


def _sizes(least: int, ratio: float) -> tuple[int, int]:
    """Lengths of a transform and of its way back in this ratio: the shortest fast ones, else the nearest ones."""
    lengths = [n for n in range(least, 3 * least) if n % 2 == 0 and scipy.fft.next_fast_len(n, real=True) == n]
    error = {(n, m): abs(m / n / ratio - 1) for n in lengths if (m := round(n * ratio))}
    good = [(n, m) for (n, m), e in error.items() if e <= RATE_ERROR and scipy.fft.next_fast_len(m) == m]
    return min(good) if good else min(error, key=error.__getitem__)


def _high(f: Floats, edge: float, width: float = 0.5) -> Floats:
    """Pass above the edge (octaves); a slope half an octave wide rings for less than a millisecond."""
    return np.sin(np.pi / 2 * np.clip((f - edge) / width + 0.5, 0, 1))


def _low(f: Floats, edge: float, width: float = 0.5) -> Floats:
    return np.sin(np.pi / 2 * np.clip((edge - f) / width + 0.5, 0, 1))
