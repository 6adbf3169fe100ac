"""What a sound card must do to be recorded with: play and record in one stream, and say when it lost something."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

Block = NDArray[np.float32]
"""Samples of one channel, shape (n,), full scale ±1."""

Exchange = Callable[[Block, Block, bool], None]
"""Called with each block: what was recorded (only valid during the call), what shall be played (to be filled), and
whether samples were lost or invented before this block."""


class Stream(Protocol):
    """An open stream, which calls its `Exchange` again and again."""

    def wait(self, seconds: float) -> None:
        """Return when the stream has run for about so long [s]."""


class SoundCard(Protocol):
    """A device that records and plays, or one for each.

    Attributes
    ----------
    name : str
        What a person calls it.
    sample_rate_hz : int
    same_clock : bool
        Whether one clock counts the samples that are played and those that are recorded.
    """

    @property
    def name(self) -> str: ...

    @property
    def sample_rate_hz(self) -> int: ...

    @property
    def same_clock(self) -> bool: ...

    def opened(self, exchange: Exchange) -> AbstractContextManager[Stream]:
        """Open the stream; it is closed at the block's end."""
