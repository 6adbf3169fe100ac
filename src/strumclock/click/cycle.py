"""What comes back at every click, through a whole interval: the click's sound from its beginning to its end.

The train was followed by 14 ms of the sound, which may lie anywhere in it (a beep is whitened away except where it
starts and stops), and a click may have several hits, or ring until the next one. Where the sound begins, how long it
lasts, and whether something else begins between two clicks is seen in the mean of all of them, above 1.5 kHz.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats, Samples
from strumclock.click.attack import above
from strumclock.click.matching import Matcher
from strumclock.click.templates import learn

CLICKS = 24
"""So many of the clearest clicks tell what comes back. Twice as many cost twice the time and change nothing."""

FEW = 4
"""Of more clicks than these the first and the last do not count: nothing comes before the one nor after the other."""

WIDE_S = 0.002
"""Peaks are taken over this: longer than a period of the lowest tone above 1.5 kHz."""

QUIET_SHARE = 0.05
"""A click begins after the longest time in which what comes back stays below this share of its peak, and lasts until
that: a sound of several hits begins with the first. The share in the definition of its time is 0.2, but the consonant
of a word is softer than its vowel. Calibrated with qs.py: 0.03 … 0.2."""

ALIKE_QUIET = 0.8
"""Of quiets that last this share of the longest, as between hits at equal distances, the loudest hit ends the one."""

LEAST_QUIET_S, RISE_S = 0.06, 0.020
"""Where it stays below for no longer than the first, the sounds run into each other, and a click begins where what
comes back rises most above its highest within the second before."""

AFTER_S = 0.02
"""The place of a click's best agreement lies within its sound; its beginning is no later than this after it."""

SOFT_S = 0.1
"""A soft beginning, as a word's consonant, comes no longer before the first that is as strong as a hit; what comes
earlier is left of a tail or of the strums."""

HIT_S, HIT_RISES, HIT_SHARE = 0.004, 2.0, 0.2
"""A hit rises no further than this before or after its place by this factor above the highest within RISE_S before:
a tail, and a sound that only ripples, do not. A later hit of the same sound has this share of its peak at least: a
foot that taps with the click, and a room, leave less in the mean."""


@dataclass(frozen=True, slots=True, eq=False)
class Cycle:
    """What comes back through one interval.

    Attributes
    ----------
    peak : float32 array, shape (interval,)
        Its highest above 1.5 kHz within the coming WIDE_S; goes round and round.
    place : int
        Index of the clicks' positions in it.
    rate_hz : float
    """

    peak: Samples
    place: int
    rate_hz: float

    @classmethod
    def of(cls, match: Matcher, position: Floats, weight: Floats, interval: float) -> Cycle:
        """What comes back at these positions (samples), clearest where the weight is largest."""
        rate = match.signal.rate_hz
        if np.count_nonzero(weight) > FEW:  # nothing comes before the first, nor after the last
            weight = np.where((position > position.min()) & (position < position.max()), weight, 0.0)
        clear = np.argsort(-weight)[:CLICKS]
        clear = np.sort(clear[weight[clear] > 0])
        back = int(interval / 2)
        sound = learn(match.signal.plain, rate, position[clear], back, int(interval) - back).sound
        high = np.abs(above(sound, rate))
        wide = max(round(WIDE_S * rate), 1)
        return cls(peak=_highest(np.concatenate([high, high[: wide - 1]]), wide), place=back, rate_hz=rate)

    def sounding(self) -> tuple[float, float]:
        """Where the sound begins, samples from the positions (negative: earlier), and how much later its last hit
        comes (0 of a sound of one)."""
        peak, count = self.peak, len(self.peak)
        wide, long = max(round(WIDE_S * self.rate_hz), 1), round(RISE_S * self.rate_hz)
        begin = self._begin()
        sound = np.roll(peak, -begin)
        before = _highest(np.concatenate([peak.max(keepdims=True).repeat(long), sound]), long)[:count]
        hits = np.flatnonzero((sound > HIT_RISES * before) & (sound > HIT_SHARE * peak.max()))
        later = (begin + wide - 1) % count - self.place  # the peak is that of what is to come
        later = later if later <= AFTER_S * self.rate_hz else later - count
        return float(later), float(hits[-1]) if len(hits) else 0.0

    def _begin(self) -> int:
        """Index in the peak at which the sound begins."""
        peak = self.peak
        quiet = self._quiet()
        if quiet.stop - quiet.start < LEAST_QUIET_S * self.rate_hz:
            wide, long = max(round(WIDE_S * self.rate_hz), 1), round(RISE_S * self.rate_hz)
            before = _highest(np.concatenate([peak[-long - wide :], peak]), long)[: len(peak)]
            return int(np.argmax(peak - before))
        first = int(np.argmax(np.roll(peak, -quiet.stop) > HIT_SHARE * peak.max()))
        return int(quiet.stop) + (first if first > SOFT_S * self.rate_hz else 0)

    def _quiet(self) -> slice:
        """The longest quiet, or of those about as long the one before the loudest hit; empty where there is none."""
        quiet = self.peak < QUIET_SHARE * self.peak.max()
        edges = np.flatnonzero(np.diff(np.concatenate([[0], np.tile(quiet, 2).astype(np.int8), [0]])))
        first, last = edges[::2], edges[1::2]
        if len(first) == 0 or quiet.all():
            return slice(0, 0)
        long = np.flatnonzero(last - first >= ALIKE_QUIET * np.max(last - first))
        hit = [self.peak[np.arange(i, i + round(RISE_S * self.rate_hz)) % len(quiet)].max() for i in last[long]]
        best = int(long[int(np.argmax(hit))])
        return slice(int(first[best]), int(last[best]))

    def hits(self, later: float) -> bool:
        """Whether something begins so many samples after the sound does."""
        near = round(HIT_S * self.rate_hz)
        at = self._begin() + round(later)
        around = np.arange(at - near - round(RISE_S * self.rate_hz), at + near) % len(self.peak)
        peak = self.peak[around]
        before = peak[: -2 * near - round(WIDE_S * self.rate_hz)]
        return float(peak.max()) > max(HIT_RISES * float(before.max()), QUIET_SHARE * float(self.peak.max()))


def _highest(values: Samples, size: int) -> Samples:
    highest: Samples = np.lib.stride_tricks.sliding_window_view(values, size).max(axis=1)
    return highest
