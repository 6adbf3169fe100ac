"""Where a recording's samples are: in memory, or still in their file, to be decoded again by whoever needs them.

Half an hour of stereo are 635 MB of single-precision samples, of which the stages that follow need a quarter of the
rate of one channel, and a few hundredths of a second around some clicks.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Samples
from strumclock.audio.blocks import Keeper, Take
from strumclock.audio.limits import BLOCK_FRAMES
from strumclock.errors import AudioFileError

KEPT_BYTES = 1 << 26  # six minutes of one channel at 44.1 kHz; longer ones stay in their file


class Store(Protocol):
    """Samples, shape (frames, channels), that can be gone through block by block as often as needed."""

    @property
    def frames(self) -> int:
        """How many."""

    @property
    def channels(self) -> int:
        """Of how many channels."""

    @property
    def known(self) -> Survey | None:
        """What a pass through all of them has shown already."""

    def each(self, take: Take) -> None:
        """Hand on all samples, in blocks, in order."""

    def all(self) -> Samples:
        """All of them at once, read-only."""

    def part(self, first: int, stop: int) -> Store:
        """Some of them."""


@dataclass(frozen=True, slots=True, eq=False)
class Held:
    """Samples in memory."""

    samples: Samples
    known: Survey | None = None

    @property
    def frames(self) -> int:
        """How many."""
        return len(self.samples)

    @property
    def channels(self) -> int:
        """Of how many channels."""
        return int(self.samples.shape[1])

    def each(self, take: Take) -> None:
        """Hand on all samples, in blocks, in order."""
        for first in range(0, len(self.samples), BLOCK_FRAMES):
            take(self.samples[first : first + BLOCK_FRAMES])

    def all(self) -> Samples:
        """All of them at once, read-only."""
        return self.samples

    def part(self, first: int, stop: int) -> Held:
        """Some of them."""
        if first == 0 and stop == self.frames:
            return self
        return Held(self.samples[first:stop])


@dataclass(frozen=True, slots=True, eq=False)
class InFile:
    """Samples in a file, decoded anew each time.

    Attributes
    ----------
    file : Path
    decode : callable
        Hands on the samples that it decodes.
    stamp : tuple of int
        Size and time of change of the file when it was first read.
    first, stop : int
        Which of the decoded samples.
    channels : int
    known : Survey, optional
        What a pass through all of them has shown already.
    """

    file: Path
    decode: Callable[[Take], object]
    stamp: tuple[int, int]
    first: int
    stop: int
    channels: int
    known: Survey | None = None

    @property
    def frames(self) -> int:
        """How many."""
        return self.stop - self.first

    def each(self, take: Take) -> None:
        """Hand on all samples, in blocks, in order.

        Raises
        ------
        AudioFileError
            If the file is no longer what it was.
        """
        at = 0

        def within(block: Samples) -> None:
            nonlocal at
            wanted = block[max(0, self.first - at) : max(0, self.stop - at)]
            at += len(block)
            if len(wanted):
                take(wanted)

        if stamp_of(self.file) == self.stamp:
            self.decode(within)
        if at < self.stop or stamp_of(self.file) != self.stamp:
            raise AudioFileError(
                f"a recording must stay as it is while it is measured, but {str(self.file)!r} has changed; try again"
            )

    def all(self) -> Samples:
        """All of them at once, read-only."""
        keeper = Keeper(math.inf)
        self.each(keeper.take)
        samples = keeper.samples
        assert samples is not None
        return samples

    def part(self, first: int, stop: int) -> InFile:
        """Some of them."""
        if first == 0 and stop == self.frames:
            return self
        return InFile(self.file, self.decode, self.stamp, self.first + first, self.first + stop, self.channels)


def stamp_of(file: Path) -> tuple[int, int]:
    """Size and time of change; of a file that is gone, none that a file has."""
    try:
        state = file.stat()
    except OSError:
        return -1, -1
    return state.st_size, state.st_mtime_ns


class Survey:
    """What one pass through samples shows: their extremes and means and, where that is asked for, their powers."""

    def __init__(self, *, powers: bool = False) -> None:
        self._powers = powers
        self.low, self.high = math.inf, -math.inf
        self.total: NDArray[np.float64] = np.zeros(0)
        self.power: NDArray[np.float64] = np.zeros(0)
        self.power_of_mean = 0.0
        self.frames = 0

    @classmethod
    def of(cls, store: Store, *, powers: bool = False) -> Survey:
        """Survey all samples of a store."""
        survey = cls(powers=powers)
        store.each(survey.take)
        return survey

    def take(self, block: Samples) -> None:
        """Add a block."""
        if not self.frames:
            self.total, self.power = np.zeros(block.shape[1]), np.zeros(block.shape[1])
        self.frames += len(block)
        self.low, self.high = min(self.low, float(block.min())), max(self.high, float(block.max()))
        if not self.is_finite:
            return
        self.total += [float(channel.sum(dtype=np.float64)) for channel in block.T]
        if self._powers:
            self.power += [float(np.square(channel, dtype=np.float64).sum()) for channel in block.T]
            self.power_of_mean += float(np.square(mean_of(block, range(block.shape[1])), dtype=np.float64).sum())

    @property
    def peak(self) -> float:
        """The largest magnitude."""
        return max(-self.low, self.high, 0.0)

    @property
    def is_finite(self) -> bool:
        """Whether no sample is NaN or infinite."""
        return not self.frames or (math.isfinite(self.low) and math.isfinite(self.high))


def mean_of(block: Samples, channels: range | tuple[int, ...]) -> Samples:
    """The mean of some channels of a block, shape (n,); of one channel itself."""
    first, *others = channels
    if not others:
        return block[:, first]
    mean = block[:, first].copy()
    for i in others:
        mean += block[:, i]
    mean /= np.float32(len(channels))
    return mean
