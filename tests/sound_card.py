"""A simulated sound card: what is played comes back later by a known time, through the air, by one clock or two.

The delay is made by a windowed sinc of 48 values, exact to some hundredths of a microsecond for what a chirp or a click
holds; it shares nothing with how the program looks for the delay.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np

from strumclock.recording.taking import AHEAD_S

TAPS = 24  # on either side


class SimulatedCard:
    """A card whose loop has a known delay.

    Parameters
    ----------
    latency_s : float
        From playing to recording; at least some milliseconds more than a block.
    gain : float
        Of the loop.
    echoes : sequence of (gain, s)
        Further ways that the sound takes.
    noise : float
        Standard deviation.
    wander_s, period_s : float
        The delay swings by so much.
    skew_ppm : float
        The microphone's clock is slower by so much: its samples lie further apart.
    lost : mapping
        Frame: how many samples of the microphone vanish there.
    said : bool
        Whether the card says that it lost something.
    ctrl_c_at, stops_at : int, optional
        Frame at which the player ends it, or the card is unplugged.
    """

    name = "simulated"

    def __init__(self, latency_s=0.0432, *, rate=44_100, block=512, gain=0.5, echoes=(), noise=1e-4, wander_s=0.0,
                 period_s=1.7, skew_ppm=0.0, lost=None, said=True, ctrl_c_at=None, stops_at=None, seed=1):  # fmt: skip
        self.sample_rate_hz, self.same_clock = rate, skew_ppm == 0.0
        self.latency_s, self.block, self.gain, self.echoes, self.noise = latency_s, block, gain, echoes, noise
        self.wander_s, self.period_s, self.skew = wander_s, period_s, skew_ppm * 1e-6
        self.lost, self.said, self.ctrl_c_at, self.stops_at = dict(lost or {}), said, ctrl_c_at, stops_at
        self.frames = self.gone = 0
        self.guitar, self.guitar_at = np.zeros(0), 0
        self.air = np.zeros(120 * rate)  # two minutes are enough for a test
        self.rng = np.random.default_rng(seed)

    @contextmanager
    def opened(self, exchange) -> Iterator[SimulatedCard]:
        self.exchange = exchange
        yield self
        self.exchange = None

    def wait(self, seconds: float) -> None:
        for _ in range(math.ceil(seconds * self.sample_rate_hz / self.block)):
            if self.ctrl_c_at is not None and self.frames >= self.ctrl_c_at:
                self.ctrl_c_at = None
                raise KeyboardInterrupt
            if self.stops_at is None or self.frames < self.stops_at:
                self._one_block()

    def strum_along(self, sound, latency=None) -> None:
        """Play `sound` in the air from where the click will begin; for `record_take(between=…)`."""
        del latency
        self.guitar, self.guitar_at = np.asarray(sound, float), self.frames + round(AHEAD_S * self.sample_rate_hz)

    def _one_block(self) -> None:
        here = [n for at, n in self.lost.items() if self.frames <= at < self.frames + self.block]
        self.gone += sum(here)
        m = self.frames + self.gone + np.arange(self.block)
        t = m / self.sample_rate_hz
        delay_s = self.latency_s + self.wander_s * np.sin(2 * np.pi * t / self.period_s)
        recorded = self._at(m * (1 + self.skew) - delay_s * self.sample_rate_hz)
        recorded = (recorded + self.rng.normal(0, self.noise, self.block)).astype(np.float32)
        to_play = np.full(self.block, 9.0, np.float32)  # what is not filled would be heard
        self.exchange(np.clip(recorded, -1, 1), to_play, bool(here) and self.said)
        air = self.gain * to_play.astype(float)
        first = self.frames - self.guitar_at
        if len(self.guitar) and first + self.block > 0:
            part = self.guitar[max(first, 0) : first + self.block]
            begin = max(-first, 0)
            air[begin : begin + len(part)] += part
        self.air[self.frames : self.frames + self.block] = air
        self.frames += self.block

    def _at(self, place):
        """The air at places between samples, echoes included."""
        total = self._sinc(place)
        for gain, later_s in self.echoes:
            total += gain * self._sinc(place - later_s * self.sample_rate_hz)
        return total

    def _sinc(self, place):
        whole = np.floor(place).astype(int)
        offsets = np.arange(-TAPS + 1, TAPS + 1)
        index = whole[:, None] + offsets
        x = (place - whole)[:, None] - offsets
        window = 0.5 + 0.5 * np.cos(np.pi * np.clip(x / TAPS, -1, 1))
        assert index.max(initial=0) <= max(self.frames, TAPS), "the delay must be longer than a block"
        values = np.where(index >= 0, self.air[np.maximum(index, 0)], 0.0)
        return (values * np.sinc(x) * window).sum(axis=1)
