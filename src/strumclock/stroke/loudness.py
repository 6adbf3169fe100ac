"""How loud each strum is and how hard its attack, within one recording.

The level is the mean power of the first tenth of a second, or of what there is of it before the next strum: of all
that sounds then, what other strings still ring included, as it is heard. The
attack's hardness is told by what it does to the sound: a hard stroke, or a stiff pick, lets go of the string at a
sharper corner, so more of the attack's energy lies in the treble. It is the power from 2 to 5 kHz over that from
80 Hz to 2 kHz in the first 30 ms. Both compare the strums of one take; between takes only with the same guitar, room,
place and phone. A phone's automatic gain evens out levels.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from strumclock.arrays import Floats
from strumclock.audio.cutting import cut

LEVEL_S = 0.100  # the strings of a wide strum are met within 60 ms; fast patterns leave 100 to 150 ms
LEAST_LEVEL_S = 0.040  # by hand: a strum is as loud as so much of it at least, though the next follows
GUARD_S = 0.005  # before the next strum, whose pick may touch early
NOISE_S, QUIET = 0.05, 0.02  # the recording's noise is at most the power of its quietest fiftieth
ATTACK_S = 0.030  # DESIGN: within it lies the peak that a strum's time is read from
TREBLE_HZ = 2000.0  # the strings' strong partials lie below, the corner's above
LOWEST_HZ = 80.0  # physical: the lowest string's 82 Hz
HIGHEST_HZ = 5000.0  # phones' voice filters and codecs leave little above
USUAL_U_S, MOST_U_S = 0.0005, 0.01  # beyond, the attack is not in the window at all
_FLOOR = 1e-12  # a computer's: the logarithm of silence


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Levels:
    """Loudness and attack of each strum.

    Attributes
    ----------
    level_db : (n,) array
        Against the take's median strum.
    u_db : (n,) array
        Standard uncertainty: how much of it is the recording's own noise is not known.
    treble_db : (n,) array
        Power from 2 to 5 kHz over that from 80 Hz to 2 kHz in the attack.
    treble_u_db : (n,) array
        Standard uncertainty of it: where the attack begins is known only so well.
    """

    level_db: Floats
    u_db: Floats
    treble_db: Floats
    treble_u_db: Floats


def measure_levels(x: NDArray[np.float32], rate_hz: float, time_s: Floats, *, u_s: Floats | None = None) -> Levels:
    """Level and attack of each strum.

    Parameters
    ----------
    x : (n,) array
        One channel, at about 11 kHz.
    rate_hz : float
    time_s : (k,) array
        Strum times from the first sample [s], increasing.
    u_s : (k,) array, optional
        Their standard uncertainties [s]; left out, half a millisecond.

    Returns
    -------
    Levels
    """
    if not len(time_s):
        nothing = np.empty(0)
        return Levels(level_db=nothing, u_db=nothing, treble_db=nothing, treble_u_db=nothing)
    doubt_s = np.full(len(time_s), USUAL_U_S) if u_s is None else np.minimum(u_s, MOST_U_S)
    end = np.minimum(time_s + LEVEL_S, np.append(time_s[1:] - GUARD_S, np.inf))
    after = _mean_power(x, rate_hz, time_s, np.maximum(end, time_s + LEAST_LEVEL_S))
    length = round(NOISE_S * rate_hz)
    moments = x[: len(x) // length * length].reshape(-1, length)
    noise = float(np.quantile(np.einsum("ij,ij->i", moments, moments), QUIET)) / length if len(moments) else 0.0
    level_db = 10 * np.log10(after)
    # Of the quietest moments' power all may be noise, or none (ringing strings): rectangular, GUM 4.3.7.
    u_db = 10 * np.log10(1 + (noise + _FLOOR) / after) / math.sqrt(12)
    early, treble_db, late = (_treble_db(x, rate_hz, time_s + s) for s in (-doubt_s, 0.0, doubt_s))
    return Levels(
        level_db=level_db - np.median(level_db), u_db=u_db, treble_db=treble_db, treble_u_db=np.abs(late - early) / 2
    )


def _mean_power(x: NDArray[np.float32], rate_hz: float, start_s: Floats, end_s: Floats) -> Floats:
    """Mean power of each stretch; what lies outside the recording does not count."""
    a, b = (np.clip(np.rint(t * rate_hz).astype(np.intp), 0, len(x)) for t in (start_s, end_s))
    length = np.maximum(b - a, 0)
    heard = cut(x, a, int(length.max()))
    heard *= np.arange(heard.shape[1]) < length[:, None]
    return np.asarray(np.einsum("ij,ij->i", heard, heard) / np.maximum(length, 1) + _FLOOR, dtype=np.float64)


def _treble_db(x: NDArray[np.float32], rate_hz: float, time_s: Floats) -> Floats:
    """Treble over bass power of the first `ATTACK_S`."""
    length = round(ATTACK_S * rate_hz)
    size = 1 << (length - 1).bit_length()
    hz = np.fft.rfftfreq(size, 1 / rate_hz)
    bass, treble, highest = np.searchsorted(hz, [LOWEST_HZ, TREBLE_HZ, np.nextafter(HIGHEST_HZ, np.inf)])
    start = np.clip(np.rint(time_s * rate_hz).astype(np.intp), 0, len(x))
    window = np.hanning(2 * length)[length:].astype(np.float32)  # loudest where the pick lets go
    spectrum = scipy.fft.rfft(cut(x, start, length) * window, size, axis=1)
    power = spectrum.real**2 + spectrum.imag**2
    above, below = (
        power[:, a:b].sum(axis=1, dtype=np.float64) + _FLOOR for a, b in ((treble, highest), (bass, treble))
    )
    return np.asarray(10 * np.log10(above / below))
