"""What the sound card calls for each block: it gives it what is to be played and keeps what was recorded.

Sample n that is played and sample n that is recorded were exchanged in the same call; all places are counted so.
"""

from __future__ import annotations

import numpy as np

from strumclock.errors import RecordingError
from strumclock.recording.card import Block, Stream

STEP_S = 0.05  # how often is looked whether a place is reached: ten times a second would be seen in a level meter
STALLED_S = 3.0  # a card that calls nothing for so long was unplugged; starting up takes wireless ones a second
FULL_SCALE = 0.999  # of a converter's range: what reaches it was cut off, or would have been by one step more


class Desk:
    """Plays what it is told at the places it is told, and keeps all that is recorded.

    Parameters
    ----------
    sample_rate_hz : int
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self.sample_rate_hz = sample_rate_hz
        self._blocks: list[Block] = []
        self._frames = 0
        self._cues: tuple[tuple[int, Block], ...] = ()  # replaced as a whole: the card's thread reads it
        self._lost: list[int] = []
        self._peak = 0.0

    def exchange(self, recorded: Block, to_play: Block, lost: bool) -> None:
        """One block, on the sound card's thread: no file, no lock, nothing that waits."""
        at, n = self._frames, len(recorded)
        if lost:
            self._lost.append(at)
        self._blocks.append(recorded.copy())
        to_play.fill(0.0)
        for start, sound in self._cues:
            first, last = max(start, at), min(start + len(sound), at + n)
            if first < last:
                to_play[first - at : last - at] += sound[first - start : last - start]
        self._peak = max(self._peak, float(np.abs(recorded).max(initial=0.0)))
        self._frames = at + n

    @property
    def frames(self) -> int:
        """How many samples were exchanged."""
        return self._frames

    @property
    def lost(self) -> tuple[int, ...]:
        """Places before which samples were lost or invented."""
        return tuple(self._lost)

    def play(self, sound: Block, at: int) -> None:
        """Play a sound so that its first sample is sample `at`."""
        self._cues = (*self._cues, (at, sound))

    def hush(self) -> None:
        """Play nothing any more."""
        self._cues = ()

    def peak(self) -> float:
        """The largest value since this was asked last."""
        peak, self._peak = self._peak, 0.0
        return peak

    def recorded(self, first: int, last: int) -> Block:
        """What was recorded from place `first` up to `last`, as far as there is any."""
        found: list[Block] = []
        at = 0
        for block in list(self._blocks):
            if at + len(block) > first and at < last:
                found.append(block[max(first - at, 0) : last - at])
            at += len(block)
        return np.concatenate(found) if found else np.zeros(0, np.float32)

    def step(self, stream: Stream) -> None:
        """Wait for a moment.

        Raises
        ------
        RecordingError
            If the sound card exchanges nothing any more.
        """
        before, waited_s = self._frames, 0.0
        while True:
            stream.wait(STEP_S)
            waited_s += STEP_S
            if self._frames > before:
                return
            if waited_s >= STALLED_S:
                raise RecordingError(
                    f"the sound card must go on, but nothing came from it for {STALLED_S:g} s; is it still plugged in?"
                )
