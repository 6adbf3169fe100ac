"""At what tempo was played?  Found in the strums alone: for takes without a click, and where a player left it.

Strums that lie on a lattice of period 1/f turn through whole circles at frequency f, so the mean of exp(2πi·f·t) has a
length near 1; strums that do not, cancel. Taken over stretches of a few seconds, a slow drift does no harm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.alignment.pairing import FloatArray, follow, nearest

STRETCH_S = 10.0
"""Stretch over which strums must keep step: a player who drifts by 120 ms/min moves 20 ms in it."""
STRUMS_MIN = 16
"""Strums from which a tempo is estimated: of random takes with 16 strums, one or two a second, 2 to 5 % keep step at
some tempo to the share `IN_STEP` (simulated); of those with 24, none of 200."""
IN_STEP = 0.5
"""Mean squared coherence from which strums keep a tempo at all. A spread of a ninth of the period gives it: 55 ms at
120 strums a minute."""
FINEST_HZ, COARSEST_HZ = 14.0, 0.4
"""Rates of the finest part that are looked at: sixteenths at 210 bpm, quarters at 24."""
RATE_STEP = 0.02  # Hz: a fifth of a stretch's own resolution
NEAR_BEST = 0.7
"""Of the rates at which the strums keep step, the slowest within this share of the best is the part of the beat: twice
a rate keeps step whenever the rate does. Strums half-way between the places (extras, 8 %) leave 0.7 of the
coherence."""
USUAL_BPM, USUAL_OCTAVES = 95.0, 0.6
"""Tempi are taken to lie around 95 bpm by ±0.6 octaves (63 to 144), the middle of the tempi that people prefer to tap
(about 600 ms, common knowledge of the field; from memory)."""
PARTS_WEIGHT = {1: 1.0, 2: 1.0, 3: 0.3, 4: 0.5}
"""How common 1 to 4 parts a beat are in strumming (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlayedTempo:
    """A tempo found in the strums.

    Attributes
    ----------
    bpm : float
    per_beat : int
        Parts of the beat that the strums fill.
    """

    bpm: float
    per_beat: int


def coherence(strum_s: FloatArray, rate_hz: FloatArray) -> FloatArray:
    """How well strums keep step at each rate: mean squared coherence over overlapping stretches, 0 to 1.

    Corrected for chance: independent random strums give 0 on average.

    Parameters
    ----------
    strum_s : (n,) float
        Times [s], increasing.
    rate_hz : (k,) float

    Returns
    -------
    (k,) float
    """
    total, weight = np.zeros(len(rate_hz)), 0.0
    begin = float(strum_s[0])
    while True:
        i, j = np.searchsorted(strum_s, (begin, begin + STRETCH_S))
        n = int(j - i)
        if n >= 3:
            turned = np.exp(2j * np.pi * np.outer(rate_hz, strum_s[i:j] - begin)).sum(axis=1)
            total += (np.abs(turned) ** 2 - n) / (n - 1)
            weight += n
        begin += STRETCH_S / 2
        if begin + STRETCH_S / 2 >= strum_s[-1]:
            break
    return total / weight if weight else total


def played_tempo(strum_s: FloatArray) -> PlayedTempo | None:
    """Tempo and parts of the beat from the strums alone; None where they keep no step.

    Which multiple of the part is the beat cannot be heard in the strums' times: of 1 to 4 the one is chosen at which
    the pattern repeats by the bar and the tempo is usual.

    Examples
    --------
    >>> import numpy as np
    >>> played_tempo(np.arange(40) * 0.6)
    PlayedTempo(bpm=100.0, per_beat=1)
    """
    if len(strum_s) < STRUMS_MIN:
        return None
    rates = np.arange(COARSEST_HZ, FINEST_HZ, RATE_STEP)
    kept = coherence(strum_s, rates)
    if kept.max() < IN_STEP:
        return None
    rise = np.concatenate([[False], (kept[1:-1] >= kept[:-2]) & (kept[1:-1] >= kept[2:]), [False]])
    part_hz = float(rates[rise & (kept >= NEAR_BEST * kept.max())][0])
    part_s, cell = lattice(strum_s, 1.0 / part_hz)
    filled = np.zeros(int(cell.max()) + 1)
    filled[cell] = 1.0

    def worth(parts: int) -> float:
        return _usual(60.0 / (part_s * parts)) * PARTS_WEIGHT[parts] * _repeats(filled, parts) ** 2

    best = max(PARTS_WEIGHT, key=worth)
    return PlayedTempo(bpm=round(60.0 / (part_s * best), 6), per_beat=best)


def lattice(strum_s: FloatArray, part_s: float) -> tuple[float, np.typing.NDArray[np.int64]]:
    """The part's length refined by a straight line through the strums [s], and the part of every strum from 0."""
    for _ in range(2):
        places = np.arange(strum_s[0] - part_s, strum_s[-1] + 2 * part_s, part_s)
        offset = follow(strum_s, places, np.full(len(places), part_s))
        cell, deviation = nearest(strum_s - offset, places)
        on = np.abs(deviation) < 0.25 * part_s
        if on.sum() >= 3 and np.ptp(cell[on]):
            part_s = float(np.polyfit(cell[on], strum_s[on], 1)[0])
    return part_s, cell - cell[0]


def _usual(bpm: float) -> float:
    return float(np.exp(-0.5 * (np.log2(bpm / USUAL_BPM) / USUAL_OCTAVES) ** 2))


def _repeats(filled: FloatArray, parts: int) -> float:
    """Share of places that are played or silent as the same place one bar of four beats before."""
    bar = 4 * parts
    return float((filled[bar:] == filled[:-bar]).mean()) if len(filled) >= 2 * bar else 0.5
