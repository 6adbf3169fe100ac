"""How far the sound's way through the air moves the mean offset."""

from __future__ import annotations

import math
from dataclasses import dataclass

from strumclock.errors import UsageError

SPEED_OF_SOUND_M_PER_S = 343.0
"""In air at 20 °C (331.29 m/s at 0 °C, times the root of the ratio of absolute temperatures): 2.9 ms a metre."""

UNKNOWN_DISTANCE_M = (0.0, 2.0)
"""Where a distance that nobody told lies: anywhere in a room corner with a chair, a phone and a speaker in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundPath:
    """What the air does to the offsets of a whole take.

    Attributes
    ----------
    bias_s : float
        Recorded offset minus the offset at the player's ear, s; subtract it.
    u_s : float
        Its standard uncertainty, s.
    """

    bias_s: float
    u_s: float


def sound_path(
    *,
    guitar_to_mic_m: float | None = None,
    click_to_mic_m: float | None = None,
    guitar_to_ear_m: float | None = None,
    click_to_ear_m: float | None = None,
) -> SoundPath:
    """Difference between the offset in the recording and the offset where the player hears it.

    The bias is (guitar→mic − click→mic) − (guitar→ear − click→ear), over the speed of sound. A distance that is not
    told lies anywhere in `UNKNOWN_DISTANCE_M` with equal chance (rectangular distribution, GUM 4.3.7). A click that
    never passes the air, by wire or in headphones, has distance 0.

    Parameters
    ----------
    guitar_to_mic_m, click_to_mic_m, guitar_to_ear_m, click_to_ear_m : float, optional
        Distances in metres; None where unknown.

    Raises
    ------
    UsageError
        If a distance is negative or not finite.

    Examples
    --------
    A phone on the table beside the speaker, 1 m from the guitar; the speaker 1 m from the ears:

    >>> path = sound_path(guitar_to_mic_m=1.0, click_to_mic_m=0.0, guitar_to_ear_m=0.5, click_to_ear_m=1.0)
    >>> f"{path.bias_s * 1000:.2f} ms, u {path.u_s * 1000:.2f} ms"
    '4.37 ms, u 0.00 ms'
    >>> f"{sound_path().u_s * 1000:.2f} ms"
    '3.37 ms'
    """
    middle_m = sum(UNKNOWN_DISTANCE_M) / 2
    unknown_u_m = (UNKNOWN_DISTANCE_M[1] - UNKNOWN_DISTANCE_M[0]) / math.sqrt(12)
    bias_m, variance_m2 = 0.0, 0.0
    for name, sign, distance_m in (
        ("guitar to mic", 1, guitar_to_mic_m),
        ("click to mic", -1, click_to_mic_m),
        ("guitar to ear", -1, guitar_to_ear_m),
        ("click to ear", 1, click_to_ear_m),
    ):
        if distance_m is None:
            bias_m += sign * middle_m
            variance_m2 += unknown_u_m**2
        elif not (math.isfinite(distance_m) and distance_m >= 0):
            raise UsageError(f"the distance {name} must be 0 m or more; got {distance_m!r}; leave it out if unknown")
        else:
            bias_m += sign * distance_m
    return SoundPath(bias_s=bias_m / SPEED_OF_SOUND_M_PER_S, u_s=math.sqrt(variance_m2) / SPEED_OF_SOUND_M_PER_S)
