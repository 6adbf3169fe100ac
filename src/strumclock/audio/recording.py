"""`Recording`: the samples of one take, in memory or still in their file."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from strumclock.arrays import Samples
from strumclock.audio.channel import Channel
from strumclock.audio.examining import examine
from strumclock.audio.in_step import InStep
from strumclock.audio.limits import MAX_CHANNELS, check_rate
from strumclock.audio.stored import Held, Store, Survey, mean_of
from strumclock.errors import Notice, UsageError
from strumclock.showing import Shown

OPPOSED_POWER_RATIO = 0.01  # channels whose mean has less than this of their own power cancel each other
_INTEGER_SCALE = {"int16": (0.0, 2.0**15), "int32": (0.0, 2.0**31), "uint8": (128.0, 2.0**7)}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Recording(Shown):
    """Samples of one take.

    Attributes
    ----------
    store : Store
        Where the samples are: those of a long take stay in their file, and are decoded again when they are needed.
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
    in_step : InStep or None
        What the file says of the click that it was recorded in step with; None where it says nothing that holds.
    """

    store: Store
    sample_rate_hz: int
    start_s: float = 0.0
    path: str | None = None
    sha256: str | None = None
    notices: tuple[Notice, ...] = ()
    priming_known: bool = True
    context: Recording | None = None
    in_step: InStep | None = None

    @property
    def samples(self) -> Samples:
        """All samples, (n, channels) float32, read-only; full scale is ±1."""
        return self.store.all()

    @property
    def duration_s(self) -> float:
        """Length of what was read [s]."""
        return self.store.frames / self.sample_rate_hz

    @property
    def channels(self) -> int:
        """Number of channels."""
        return self.store.channels

    def line(self, *channels: int) -> Channel:
        """The mean of some channels, counted from 0, for stages that need not hold all of it.

        Without any: all of them as one, or the strongest where one is inverted and they cancel.
        """
        if not channels:
            channels = tuple(range(self.channels))
            if self.channels > 1:
                survey = Survey.of(self.store, powers=True)
                if survey.power_of_mean < OPPOSED_POWER_RATIO * survey.power.sum() / self.channels**2:
                    channels = (int(np.argmax(survey.power)),)
        return Channel(self.store, channels, self.sample_rate_hz)

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
        mono = mean_of(self.samples, self.line().which)
        mono.flags.writeable = False
        return mono

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
        with np.errstate(over="ignore", invalid="ignore"):  # what is no finite number is refused below
            values = np.array(given, dtype=np.float32, order="C")
    else:
        raise UsageError(
            f"samples must be floating point (full scale ±1) or int16, int32 or uint8, but {given.dtype} came; "
            "convert and scale them"
        )
    values.flags.writeable = False
    store = Held(values, Survey.of(Held(values)))
    notices = examine(store, rate, what="the array", silence_peak=0.0)
    return Recording(store=store, sample_rate_hz=rate, notices=notices)
