"""One channel at a whole fraction of its rate.

At about 11 kHz the click is found and taken out and the strums are found: everything that tells when a pick leaves a
string can be heard below 5 kHz, and at a quarter of the rate the work is a quarter.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Samples as Samples

TARGET_RATE_HZ = 11025.0  # 5.5 kHz of band; phones' voice filters and codecs leave little above it
HALF_PERIODS = 16  # half length of the anti-alias filter, in samples of the new rate
CUTOFF = 0.9  # of the new Nyquist rate
TOGETHER = 32  # outputs of one product: the filter fills half of the matrix, and matrices of this width are fast
LEAST_OFFSET = 2e-3  # of the peak; means of the bench's takes, which have none, reach 1.7e-3: less does not matter
AT_ONCE = 1024  # products at once: what fits a processor's cache, and bounds the memory


def decimation_for(sample_rate_hz: float, target_rate_hz: float = TARGET_RATE_HZ) -> int:
    """Whole number by which the rate is divided.

    Examples
    --------
    >>> decimation_for(44100), decimation_for(48000), decimation_for(8000)
    (4, 4, 1)
    """
    return max(1, round(sample_rate_hz / target_rate_hz))


def decimated(
    samples: npt.ArrayLike, sample_rate_hz: float, *, target_rate_hz: float = TARGET_RATE_HZ, centred: bool = True
) -> tuple[Samples, float]:
    """The samples at a whole fraction of their rate, in phase: output k stands at input k * step.

    A constant offset, as cheap sound cards add one, is taken off first: beyond the ends is silence, to which it would
    be a step, and the levels of every band would hold some of it.

    Parameters
    ----------
    samples : array_like, shape (n,)
    sample_rate_hz : float
    target_rate_hz : float
        About what the rate shall be.
    centred : bool
        Whether a constant offset is taken off; not where exact zeros mean something.

    Returns
    -------
    samples : ndarray of float32, shape (ceil(n / step),)
        The input itself where the step is 1 and there is no offset.
    rate_hz : float

    Examples
    --------
    >>> x, rate = decimated(np.ones(44100), 44100)
    >>> x.shape, rate, float(x.max())
    ((11025,), 11025.0, 0.0)
    """
    x = np.ascontiguousarray(samples, dtype=np.float32)
    if len(x) == 0:
        return x, float(sample_rate_hz) / decimation_for(sample_rate_hz, target_rate_hz)
    peak = max(float(x.max()), -float(x.min()))
    offset = float(np.mean(x, dtype=np.float64)) if centred else 0.0
    decimator = Decimator(len(x), sample_rate_hz, target_rate_hz, offset=offset, peak=peak)
    if decimator.step == 1:
        return (x - decimator.offset if decimator.offset else x), float(sample_rate_hz)
    decimator.take(x)
    return decimator.result()


class Decimator:
    """Decimates consecutive pieces of one channel.

    Parameters
    ----------
    length : int
        How many samples there will be.
    sample_rate_hz, target_rate_hz : float
    offset, peak : float
        Mean and largest magnitude of all samples; the mean is taken off unless it is too small to matter.
    """

    def __init__(
        self, length: int, sample_rate_hz: float, target_rate_hz: float, *, offset: float, peak: float
    ) -> None:
        self.step = decimation_for(sample_rate_hz, target_rate_hz)
        self.offset = np.float32(offset if abs(offset) > LEAST_OFFSET * peak else 0.0)
        self._rate_hz = float(sample_rate_hz) / self.step
        self._length = length
        self._wanted = -(-length // self.step)
        self._rows = -(-self._wanted // TOGETHER)
        self._out = np.empty((self._rows, TOGETHER), np.float32)
        self._row = 0  # the next row of outputs
        self._half = 0 if self.step == 1 else HALF_PERIODS * self.step
        self._fresh = TOGETHER * self.step  # input samples for each row of outputs, which need as many again
        self._kernel = np.zeros((0, 0), np.float32) if self.step == 1 else _kernel(self.step)
        self._held: Samples = np.zeros(self._half, np.float32)  # silence before the first sample
        self._from = -self._half  # index of the first that is held
        self._taken = 0

    def take(self, x: Samples) -> None:
        """Take the next samples."""
        if self.step == 1:
            self._out.reshape(-1)[self._taken : self._taken + len(x)] = x - self.offset
            self._taken += len(x)
            return
        begin = self._from + len(self._held)
        self._taken += len(x)
        if self._taken >= self._length:  # silence after the last sample
            ends = (self._rows + 1) * self._fresh - self._half
            silence = np.zeros(max(0, ends - self._taken), np.float32)
        else:
            silence = np.zeros(0, np.float32)
        while self._row < self._rows:
            a, b = self._row, min(self._row + AT_ONCE, self._rows)
            first, stop = a * self._fresh - self._half, (b + 1) * self._fresh - self._half
            if stop > begin + len(x) + len(silence):
                break
            self._fill(a, b, self._piece(first, stop, x, begin, silence))
            self._row = b
        keep = max(self._row * self._fresh - self._half, self._from)
        self._held = self._piece(keep, max(keep, begin + len(x)), x, begin, silence).copy()
        self._from = keep

    def result(self) -> tuple[Samples, float]:
        """All outputs and their rate."""
        return self._out.reshape(-1)[: self._wanted], self._rate_hz

    def _piece(self, first: int, stop: int, x: Samples, begin: int, silence: Samples) -> Samples:
        """Samples from first to stop: of what is held, then of the new ones, then of the silence at the end."""
        if first >= begin and stop <= begin + len(x):
            piece = x[first - begin : stop - begin]
            return piece - self.offset if self.offset else piece
        new = x[max(first - begin, 0) : max(stop - begin, 0)]
        end = begin + len(x)
        parts = (
            self._held[first - self._from : max(0, stop - self._from)] if first < begin else self._held[:0],
            new - self.offset if self.offset else new,
            silence[max(first - end, 0) : max(stop - end, 0)],
        )
        return np.concatenate(parts)

    def _fill(self, a: int, b: int, piece: Samples) -> None:
        """Rows a to b of the outputs."""
        rows = piece.reshape(-1, self._fresh)
        np.matmul(rows[:-1], self._kernel[: self._fresh], out=self._out[a:b])
        self._out[a:b] += rows[1:] @ self._kernel[self._fresh :]


def _kernel(step: int) -> Samples:
    """Linear-phase low-pass as a matrix: 2 * TOGETHER * step input samples to TOGETHER outputs, 80 dB down."""
    half = HALF_PERIODS * step
    k = np.arange(1 - half, half)
    taps = np.sinc(CUTOFF * k / step) * np.kaiser(len(k), 8.0)
    taps /= taps.sum()
    kernel = np.zeros((2 * TOGETHER * step, TOGETHER), np.float32)
    for i in range(TOGETHER):
        kernel[i * step + 1 : i * step + 1 + len(taps), i] = taps
    return kernel
