"""Comparing places of the recording with a sound: how alike, where exactly, and what chance would give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from strumclock.arrays import Floats, Samples
from strumclock.audio import cutting
from strumclock.click.preprocessing import Signal
from strumclock.click.templates import turn

BODY_S = (0.002, 0.012)
"""Before and after a click's place: what is compared."""

NEAR_S, FAR_S = 0.045, 0.130
"""Chance is measured at these distances from the clicks: beyond the click's own sound (a beep lasts 40 ms), and still
in the same chord, whose sound may repeat itself every few milliseconds."""

NEAR_SHARE, FAR_SHARE = 0.15, 0.45
"""The same where clicks are close together, as parts of the interval."""


@dataclass(frozen=True, slots=True, eq=False)
class Matcher:
    """Compares places of a signal (in its samples, fractions allowed) with sounds of unit energy."""

    signal: Signal
    before: int
    after: int

    @classmethod
    def of(cls, signal: Signal) -> Matcher:
        """Matcher with the usual body."""
        return cls(signal=signal, before=round(BODY_S[0] * signal.rate_hz), after=round(BODY_S[1] * signal.rate_hz))

    def windows(self, centre: Floats, before: int, after: int) -> Samples:
        """Rows of the signal around rounded centres, zero beyond the ends."""
        return cut(self.signal.samples, centre, before, after)

    def rows(self, position: Floats) -> Samples:
        """Rows of unit energy, moved so that the fractional positions fall on the same sample."""
        return unit(aligned(self.signal.samples, position, self.before, self.after))

    def compare(self, position: Floats, sound: Samples, reach: int) -> tuple[Floats, Floats]:
        """Best agreement within reach samples of each position, and how much later than the position it lies
        (samples)."""
        reach = reach + 1
        wide = self.windows(position, self.before + reach, self.after + reach)
        size = self.before + self.after
        view = np.lib.stride_tricks.sliding_window_view(wide, size, axis=1)
        curve = (view.reshape(-1, size) @ sound).reshape(view.shape[:2]) / local_norm(wide, size)
        top = curve[:, 1:-1].argmax(axis=1) + 1
        r = np.arange(len(top))
        y0, y1, y2 = curve[r, top - 1], curve[r, top], curve[r, top + 1]
        bend = y0 - 2 * y1 + y2
        step = np.clip(np.where(bend < 0, 0.5 * (y0 - y2) / np.minimum(bend, -1e-9), 0.0), -0.5, 0.5)
        best = (y1 - 0.25 * (y0 - y2) * step).astype(np.float64)
        return best, top - reach + step + np.round(position) - position

    def curve(self, position: Floats, sound: Samples, reach: int) -> Samples:
        """Agreement at every sample within reach of each position, shape (n, 2 reach + 1)."""
        wide = self.windows(position, reach + self.before, reach + self.after)
        length = scipy.fft.next_fast_len(wide.shape[1], real=True)
        spectrum = scipy.fft.rfft(wide, length)
        spectrum *= scipy.fft.rfft(sound, length).conj()
        agreement: Samples = scipy.fft.irfft(spectrum, length)[:, : 2 * reach + 1]
        return agreement / local_norm(wide, self.before + self.after)

    def surroundings(self, position: Floats, sound: Samples, interval: float) -> Samples:
        """Agreement at every sample of the surroundings of each position, before and after, shape (n, lags)."""
        near = min(round(NEAR_S * self.signal.rate_hz), round(NEAR_SHARE * interval))
        far = max(min(round(FAR_S * self.signal.rate_hz), round(FAR_SHARE * interval)), near + 8)
        curve = self.curve(position, sound, far)
        return np.concatenate([curve[:, : far - near], curve[:, far + near + 1 :]], axis=1)


def cut(x: Samples, centre: Floats, before: int, after: int) -> Samples:
    """Rows of x around rounded centres, zero beyond the ends."""
    return cutting.cut(x, np.round(centre).astype(np.intp) - before, before + after)


def aligned(x: Samples, position: Floats, before: int, after: int) -> Samples:
    """Rows of x moved so that the fractional positions fall on row index `before`."""
    pad = 8
    whole = np.round(position)
    wide = cut(x, position, before + pad, after + pad)
    size = scipy.fft.next_fast_len(wide.shape[1] + 16, real=True)
    spectrum = scipy.fft.rfft(wide, size)
    turn(spectrum, position - whole, size)
    rows: Samples = scipy.fft.irfft(spectrum, size)[:, pad : pad + before + after]
    return rows


def local_norm(rows: Samples, size: int) -> Samples:
    """Norm of every stretch of size samples of each row, never below a thousandth of the row's own."""
    square = rows * rows
    least = np.float32(1e-5) * square.sum(axis=1, keepdims=True) + np.float32(1e-12)
    norm = sliding_sum(square, size)
    np.maximum(norm, least, out=norm)
    return np.sqrt(norm, out=norm)


def sliding_sum(values: Samples, size: int) -> Samples:
    """Sum of every stretch of so many neighbours in each row: sums of 1, 2, 4 … put together.

    Examples
    --------
    >>> sliding_sum(np.arange(6, dtype=np.float32)[None], 3)
    array([[ 3.,  6.,  9., 12.]], dtype=float32)
    """
    count, begin, span = values.shape[1] - size + 1, 0, 1
    total = np.zeros((len(values), count), dtype=np.float32)
    while True:
        if size & span:
            total += values[:, begin : begin + count]
            begin += span
        if 2 * span > size:
            return total
        values = values[:, :-span] + values[:, span:]
        span *= 2


def unit(rows: Samples) -> Samples:
    """Rows scaled to unit energy; silent rows stay silent."""
    norm = np.sqrt(np.einsum("ij,ij->i", rows, rows))
    scaled: Samples = rows / np.maximum(norm, np.float32(1e-9))[:, None]
    return scaled


def average(rows: Samples, weight: Floats) -> Samples:
    """Weighted mean of rows, of unit energy."""
    mean: Samples = unit((weight.astype(np.float32) @ rows)[None])[0]
    return mean


def leave_one_out(rows: Samples, weight: Floats) -> Floats:
    """Agreement of each unit row with the weighted mean of the others."""
    gram = (rows @ rows.T).astype(np.float64)
    own = np.diag(gram)
    along = gram @ weight
    rest = np.maximum(float(weight @ along) - 2 * weight * along + weight**2 * own, 1e-9)
    return np.where(rest > 1e-8, (along - weight * own) / np.sqrt(rest), 0.0)
