"""One channel of a recording: what the stages that listen need of it, without ever holding all of it.

Strums and clicks are found at a quarter of the rate; of the full rate only a few hundredths of a second around some
clicks are looked at.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Samples
from strumclock.audio.decimation import Decimator
from strumclock.audio.stored import Held, Store, Survey, mean_of


@dataclass(frozen=True, slots=True, eq=False)
class Channel:
    """The mean of some channels of a store, or one of them.

    Attributes
    ----------
    store : Store
    which : tuple of int
        The channels, from 0.
    sample_rate_hz : float
    """

    store: Store
    which: tuple[int, ...]
    sample_rate_hz: float

    @classmethod
    def of(cls, samples: npt.NDArray[np.float32], sample_rate_hz: float) -> Channel:
        """The channel of samples in memory, shape (n,)."""
        return cls(Held(samples[:, None]), (0,), sample_rate_hz)

    def __len__(self) -> int:
        return self.store.frames

    def survey(self) -> Survey:
        """Extremes and mean of the channel."""
        if self.store.known is not None and self.store.channels == 1:
            return self.store.known
        survey = Survey()
        self.store.each(lambda block: survey.take(mean_of(block, self.which)[:, None]))
        return survey

    def decimated(self, target_rate_hz: float) -> tuple[Samples, float]:
        """The channel at a whole fraction of its rate: `decimation.decimated` of it, block by block."""
        survey = self.survey()
        offset = float(survey.total[0]) / len(self) if len(self) else 0.0
        decimator = Decimator(len(self), self.sample_rate_hz, target_rate_hz, offset=offset, peak=survey.peak)
        self.store.each(lambda block: decimator.take(mean_of(block, self.which)))
        return decimator.result()

    def around(self, position: npt.NDArray[np.float64], reach: int) -> tuple[Samples, npt.NDArray[np.float64]]:
        """What lies within reach of some increasing positions (samples), end to end, and where the positions are there.

        Beyond the ends of the channel is silence.
        """
        first = np.floor(position).astype(np.int64) - reach
        stop = np.floor(position).astype(np.int64) + reach + 1
        begins = np.flatnonzero(np.concatenate([[True], first[1:] > np.maximum.accumulate(stop)[:-1]]))
        run = np.searchsorted(begins, np.arange(len(position)), side="right") - 1  # which stretch each lies in
        low, high = first[begins], np.maximum.reduceat(stop, begins)
        to = np.concatenate([[0], np.cumsum(high - low)])
        pieces = np.zeros(int(to[-1]), np.float32)
        at = 0

        def take(block: Samples) -> None:
            nonlocal at
            here = np.flatnonzero((low < at + len(block)) & (high > at))
            if len(here):
                mean = mean_of(block, self.which)
                for i in here:
                    a, b = max(int(low[i]), at), min(int(high[i]), at + len(block))
                    pieces[to[i] + a - low[i] : to[i] + b - low[i]] = mean[a - at : b - at]
            at += len(block)

        self.store.each(take)
        return pieces, position - low[run] + to[run]
