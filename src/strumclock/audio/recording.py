"""`Recording`, and what makes samples fit to be measured."""

from __future__ import annotations

import math
from dataclasses import dataclass
from numbers import Real

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.errors import Notice, RecordingError, UsageError

Samples = NDArray[np.float32]

SAMPLE_RATE_RANGE_HZ = (8_000, 192_000)  # telephone to studio
MIN_DURATION_S = 1.0  # shorter than two strums at any tempo that is practised
MAX_DURATION_S = 30 * 60.0  # samples are held in memory: 30 min of stereo at 48 kHz are 0.7 GB
MAX_CHANNELS = 64
MAX_SAMPLE = 2.0**31  # the largest of any whole numbers that samples come in, where somebody forgot to scale them
MIN_PEAK = 1e-9  # -180 dB: below, squares of samples are lost in single precision
SILENCE_PEAK = 1e-4  # −80 dB re full scale, three steps of 16 bits: no strum can be told from rounding there
BLOCK_FRAMES = 1 << 18  # checks go through the samples in blocks, so that no second copy is made
OPPOSED_POWER_RATIO = 0.01  # channels whose mean has less than this of their own power cancel each other

CLIP_MARGIN = 2.0**-13  # "at the top" is within 1/8192 of the peak: four steps of 16 bits, dither and rounding make two
LOSSY_CLIP_LEVEL = 0.98  # lossy codecs bend flat tops by several per cent: there, the top is full scale less 2 %
CLIP_RUN_S = 9e-5  # a sine of the lowest string is that near its own top for 6e-5 s, whatever the sample rate
CLIP_RUN = 3  # samples in a row, at the least
CLIP_MIN_RUNS = 8  # one flat peak may be chance; below this many nothing is said

_INTEGER_SCALE = {"int16": (0.0, 2.0**15), "int32": (0.0, 2.0**31), "uint8": (128.0, 2.0**7)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recording:
    """Samples of one take.

    Attributes
    ----------
    samples : (n, channels) float32
        Read-only; full scale is ±1.
    sample_rate_hz : int
    start_s : float
        File time of ``samples[0]`` [s]: 0 unless only a part was read.
    path, sha256 : str or None
        The file and the checksum of its bytes; None for an array.
    notices : tuple of Notice
        What is weak but usable: ``clipped``, ``truncated``, ``gaps``.
    priming_known : bool
        Whether time zero is the first sample that was recorded.  False: the codec's priming (5 to 50 ms) could
        not be removed, because the file does not tell it.  Times in the file agree among each other all the same; only
        a place that is given from outside (a first downbeat, a latency) is off by that much.
    context : Recording or None
        Of a part of a file: the same with half a minute before and after, from which the click's sound can be learned
        better than from the part alone.  None for a whole file or an array.
    """

    samples: Samples
    sample_rate_hz: int
    start_s: float = 0.0
    path: str | None = None
    sha256: str | None = None
    notices: tuple[Notice, ...] = ()
    priming_known: bool = True
    context: Recording | None = None

    @property
    def duration_s(self) -> float:
        """Length of what was read [s]."""
        return len(self.samples) / self.sample_rate_hz

    @property
    def channels(self) -> int:
        """Number of channels."""
        return int(self.samples.shape[1])

    def channel(self, i: int) -> Samples:
        """One channel, counted from 0, as (n,) float32.

        Raises
        ------
        UsageError
            If there is no such channel.
        """
        if not 0 <= i < self.channels:
            raise UsageError(
                f"a channel from 0 to {self.channels - 1} was required, but {i} came; choose one that the recording has"
            )
        return self.samples[:, i]

    def mono(self) -> Samples:
        """All channels as one, (n,) float32: their mean, or the strongest where one is inverted and they cancel."""
        if self.channels == 1:
            return self.samples[:, 0]
        mean = self.samples[:, 0].copy()
        for i in range(1, self.channels):
            mean += self.samples[:, i]
        mean /= np.float32(self.channels)
        powers = [_power(self.samples[:, i]) for i in range(self.channels)]
        if _power(mean) < OPPOSED_POWER_RATIO * sum(powers) / self.channels**2:
            return self.samples[:, int(np.argmax(powers))]
        mean.flags.writeable = False
        return mean

    def __repr__(self) -> str:
        return (
            f"Recording({self.path or 'array'!r}, {self.duration_s:.2f} s from {self.start_s:g} s, "
            f"{self.sample_rate_hz} Hz, {self.channels} channel{'s' if self.channels != 1 else ''})"
        )


def from_array(samples: ArrayLike, sample_rate_hz: float) -> Recording:
    """A recording from samples that are already in memory.

    Parameters
    ----------
    samples : (n,) or (n, channels) array
        Floating point with full scale ±1, or int16, int32 or uint8 as WAV files hold them (scaled to ±1).  Copied.
    sample_rate_hz : float
        A whole number, 8 000 to 192 000.

    Returns
    -------
    Recording

    Raises
    ------
    UsageError
        If shape, kind of number or rate make no sense.
    RecordingError
        If the samples hold NaN or infinity, are silent or shorter than a second.

    Examples
    --------
    >>> import numpy as np
    >>> tone = 0.5 * np.sin(2 * np.pi * 440 * np.arange(16_000) / 8_000)
    >>> from_array(tone, 8_000)
    Recording('array', 2.00 s from 0 s, 8000 Hz, 1 channel)
    """
    rate = check_rate(sample_rate_hz, UsageError)
    given = np.asarray(samples)
    if given.ndim == 1:
        given = given[:, np.newaxis]
    if given.ndim != 2 or given.size == 0:
        raise UsageError(f"samples must have shape (n,) or (n, channels), but {np.shape(samples)} came; time first")
    if given.shape[1] > given.shape[0] or given.shape[1] > MAX_CHANNELS:
        raise UsageError(
            f"samples must have shape (n, channels), time first, but {given.shape} came; transpose the array"
        )
    if given.dtype.name in _INTEGER_SCALE:
        zero, full = _INTEGER_SCALE[given.dtype.name]
        values = given.astype(np.float32)
        values -= np.float32(zero)
        values /= np.float32(full)
    elif given.dtype.kind == "f":
        with np.errstate(over="ignore"):  # what becomes infinite is refused below
            values = np.array(given, dtype=np.float32, order="C")
    else:
        raise UsageError(
            f"samples must be floating point (full scale ±1) or int16, int32 or uint8, but {given.dtype} came; "
            "convert and scale them"
        )
    values.flags.writeable = False
    notices = examine(values, rate, what="the array", silence_peak=0.0)
    return Recording(samples=values, sample_rate_hz=rate, notices=notices)


def check_rate(sample_rate_hz: object, error: type[UsageError] | type[RecordingError]) -> int:
    """The sample rate as a whole number in the range that is understood; else `error` is raised."""
    low, high = SAMPLE_RATE_RANGE_HZ
    if isinstance(sample_rate_hz, Real) and not isinstance(sample_rate_hz, bool):
        rate = float(sample_rate_hz)
        if rate.is_integer() and low <= rate <= high:
            return int(rate)
    raise error(
        f"a sample rate must be a whole number from {low} to {high} Hz, but {sample_rate_hz!r} came; resample it"
    )


def examine(
    samples: Samples, rate: int, *, what: str, silence_peak: float = SILENCE_PEAK, lossy: bool = False
) -> tuple[Notice, ...]:
    """Refuse samples that cannot be measured; say what is weak about the others.

    Parameters
    ----------
    samples : (n, channels) float32, C-contiguous
    rate : int
        Sample rate [Hz].
    what : str
        How messages name it.
    silence_peak : float
        Peak about the mean at or below which it is silence.
    lossy : bool
        Whether they come from a codec that does not keep the samples' values.

    Raises
    ------
    RecordingError
        If too short, not finite, or silent.
    """
    duration = len(samples) / rate
    if duration < MIN_DURATION_S:
        raise RecordingError(
            f"a take must last at least {MIN_DURATION_S:g} s, but {what} lasts {duration:.3g} s; record some bars"
        )
    low, high = math.inf, -math.inf
    for block in _blocks(samples):
        low, high = min(low, float(block.min())), max(high, float(block.max()))
        if not (math.isfinite(low) and math.isfinite(high)):
            raise RecordingError(
                f"samples must be finite numbers, but {what} holds NaN or infinity; repair or export it again"
            )
    if max(-low, high) > MAX_SAMPLE:
        raise RecordingError(
            f"samples must lie near full scale, ±1, but {what} holds {max(-low, high):.3g}; scale or export it again"
        )
    if (high - low) / 2 <= max(silence_peak, MIN_PEAK):
        raise RecordingError(f"a take must hold sound, but {what} is silent; check the microphone and its permission")
    margin = CLIP_MARGIN * max(-low, high)
    top, bottom = (LOSSY_CLIP_LEVEL, -LOSSY_CLIP_LEVEL) if lossy else (high - margin, low + margin)
    run = CLIP_RUN if lossy else max(CLIP_RUN, math.ceil(CLIP_RUN_S * rate))
    share = clipped_share(samples, top, bottom, run)
    if not share:
        return ()
    where = "within 2 % of full scale or beyond" if lossy else "at the top of the scale"
    likely = "very likely clipped before it was encoded" if lossy else "clipped"
    return (
        Notice(
            code="clipped",
            message=f"{_percent(share)} of the samples lie {where}, {run} or more in a row: the take {likely} "
            "and its attacks are less sharply known; record at a lower level",
        ),
    )


def is_finite(samples: Samples) -> bool:
    """Whether no sample is NaN or infinite."""
    return all(math.isfinite(float(block.sum(dtype=np.float64))) for block in _blocks(samples))


def clipped_share(samples: Samples, top: float, bottom: float, run: int) -> float:
    """Share of samples in flat tops: runs of so many or more beyond `top` or `bottom`; 0 for fewer than eight runs."""
    flat = runs = 0
    for block in _blocks(samples):
        if float(block.max()) < top and float(block.min()) > bottom:
            continue
        for at in (block >= top, block <= bottom):
            for c in range(at.shape[1]):
                lengths = _run_lengths(at[:, c])
                lengths = lengths[lengths >= run]
                flat, runs = flat + int(lengths.sum()), runs + len(lengths)
    return flat / samples.size if runs >= CLIP_MIN_RUNS else 0.0


def _run_lengths(at: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Lengths of the runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], at, [False]]).astype(np.int8)))
    return (edges[1::2] - edges[::2]).astype(np.int64)


def _blocks(samples: Samples) -> list[Samples]:
    """Views of consecutive blocks."""
    return [samples[i : i + BLOCK_FRAMES] for i in range(0, len(samples), BLOCK_FRAMES)]


def _power(x: Samples) -> float:
    """Sum of squares, summed block by block."""
    blocks = (x[i : i + BLOCK_FRAMES] for i in range(0, len(x), BLOCK_FRAMES))
    return float(sum(np.square(block, dtype=np.float64).sum() for block in blocks))


def _percent(share: float) -> str:
    """A share in percent that never reads as none."""
    return "less than 0.01 %" if share < 1e-4 else f"{100 * share:.2g} %"
