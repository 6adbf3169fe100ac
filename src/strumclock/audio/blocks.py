"""Samples on their way from a decoder, block by block: nothing longer than a block is held unless somebody keeps it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from strumclock.arrays import Samples
from strumclock.audio.limits import BLOCK_FRAMES

Take = Callable[[Samples], None]
"""What consecutive blocks, shape (n, channels), are handed to. A block may be overwritten after the call."""


class Outlet:
    """Where a decoder puts samples at increasing places; they are handed on in blocks, with the silence between."""

    def __init__(self, channels: int, take: Take) -> None:
        self._take = take
        self._block: Samples = np.zeros((BLOCK_FRAMES, channels), np.float32)
        self._base = 0  # frame of the block's first

    def room(self, first: int, stop: int) -> Samples:
        """The place of some frames, at most a block of them, silent at first; all before them is complete."""
        if stop > self._base + len(self._block):
            self.finish(first)
        return self._block[first - self._base : stop - self._base]

    def finish(self, frames: int) -> None:
        """Hand on everything before this frame."""
        while self._base < frames:
            n = min(frames - self._base, len(self._block))
            self._take(self._block[:n])
            self._base += n
            self._block[:] = 0


class Keeper:
    """Keeps what it is handed, as long as that is no more than so many bytes."""

    def __init__(self, most_bytes: float) -> None:
        self._most = most_bytes
        self._samples: Samples = np.zeros((0, 1), np.float32)
        self.frames = 0
        self.channels = 0

    def take(self, block: Samples) -> None:
        """Keep a block."""
        stop, self.channels = self.frames + len(block), block.shape[1]
        if 4 * stop * self.channels > self._most:
            self._samples, self._most = np.zeros((0, 1), np.float32), -1.0
        elif stop > len(self._samples):
            larger = max(stop, len(self._samples) * 5 // 4)
            if not self.frames:
                self._samples = np.zeros((larger, self.channels), np.float32)
            else:
                self._samples.resize((larger, self.channels), refcheck=False)  # the system may do it without a copy
        if self._most >= 0:
            self._samples[self.frames : stop] = block
        self.frames = stop

    @property
    def samples(self) -> Samples | None:
        """What was kept; None where it was too much."""
        if self._most < 0:
            return None
        kept = self._samples[: self.frames]
        kept.flags.writeable = False
        return kept
