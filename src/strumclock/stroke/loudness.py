"""How loud each strum is and how hard its attack, within one recording.

The level is the mean power of the first tenth of a second, or of what there is of it before the next strum. The
attack's hardness is told by what it does to the sound: a hard stroke, or a stiff pick, lets go of the string at a
sharper corner, so more of the attack's energy lies in the treble. It is the power from 2 to 5 kHz over that from
80 Hz to 2 kHz in the first 30 ms. Both compare the strums of one take; between takes only with the same guitar, room,
place and phone. A phone's automatic gain evens out levels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LEVEL_S = 0.100  # the strings of a wide strum are met within 60 ms; fast patterns leave 100 to 150 ms
LEAST_LEVEL_S = 0.040
BEFORE_S = 0.030  # what rings before a strum, up to a few ms before it
GUARD_S = 0.005
ATTACK_S = 0.030
TREBLE_HZ = 2000.0  # the strings' strong partials lie below, the corner's above
LEAST_NEW = 0.1  # a strum adds at least a tenth of the power that sounds after it: it was loud enough to be found
LOWEST_HZ = 80.0
HIGHEST_HZ = 5000.0  # phones' voice filters and codecs leave little above
_FLOOR = 1e-12


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Loudness and attack of each strum.

    Attributes
    ----------
    level_db : (n,) array
        Against the take's median strum.
    before_db : (n,) array
        What the level would lose if all that rang before the strum still sounded in it, and half of which was taken
        off: how much the pick and the fingers stopped is not known.
    treble_db : (n,) array
        Power from 2 to 5 kHz over that from 80 Hz to 2 kHz in the attack.
    """

    level_db: FloatArray
    before_db: FloatArray
    treble_db: FloatArray

    @property
    def u_db(self) -> FloatArray:
        """Standard uncertainty of each level: rectangular over what rang before (GUM 4.3.7)."""
        return np.asarray(self.before_db / math.sqrt(12))


def measure_levels(x: NDArray[np.float32], rate_hz: float, time_s: FloatArray) -> Levels:
    """Level and attack of each strum.

    Parameters
    ----------
    x : (n,) array
        One channel, at about 11 kHz.
    rate_hz : float
    time_s : (k,) array
        Strum times from the first sample [s], increasing.

    Returns
    -------
    Levels
    """
    if not len(time_s):
        nothing = np.empty(0)
        return Levels(level_db=nothing, before_db=nothing, treble_db=nothing)
    total = np.concatenate([[0.0], np.cumsum(np.square(x, dtype=np.float64))])

    def power(start_s: FloatArray, end_s: FloatArray) -> FloatArray:
        a, b = (np.clip(np.rint(t * rate_hz).astype(int), 0, len(x)) for t in (start_s, end_s))
        return np.asarray((total[b] - total[a]) / np.maximum(b - a, 1) + _FLOOR)

    end = np.minimum(time_s + LEVEL_S, np.append(time_s[1:] - GUARD_S, np.inf))
    after = power(time_s, np.maximum(end, time_s + LEAST_LEVEL_S))
    before = power(time_s - GUARD_S - BEFORE_S, time_s - GUARD_S)
    before_db = -10 * np.log10(np.clip(1 - before / after, LEAST_NEW, 1.0))
    level_db = 10 * np.log10(after) - before_db / 2
    return Levels(
        level_db=level_db - np.median(level_db),
        before_db=before_db,
        treble_db=_treble_db(x, rate_hz, time_s),
    )


def _treble_db(x: NDArray[np.float32], rate_hz: float, time_s: FloatArray) -> FloatArray:
    """Treble over bass power of the first `ATTACK_S`."""
    length = round(ATTACK_S * rate_hz)
    size = 1 << (length - 1).bit_length()
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    treble = (hz >= TREBLE_HZ) & (hz <= HIGHEST_HZ)
    bass = (hz >= LOWEST_HZ) & (hz < TREBLE_HZ)
    padded = np.concatenate([np.asarray(x, np.float64), np.zeros(length)])
    start = np.clip(np.rint(time_s * rate_hz).astype(int), 0, len(x))
    cut = padded[start[:, None] + np.arange(length)] * np.hanning(2 * length)[length:]  # loudest where the pick lets go
    power = np.square(np.abs(np.fft.rfft(cut, size, axis=1)))
    return np.asarray(10 * np.log10((power[:, treble].sum(axis=1) + _FLOOR) / (power[:, bass].sum(axis=1) + _FLOOR)))
