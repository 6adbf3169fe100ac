"""How long a stroke takes from its first string to its last.

In a mixture the strings' releases cannot be told apart one by one: each sets off a burst that rings into the next. What
can be read is how the sound builds up, band by band, and `network.log_spread` has learned from simulated strokes what
builds up so. Its mistakes are stated: those that differ from strum to strum, and those of a guitar in its room.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats
from strumclock.stroke.network import log_spread
from strumclock.stroke.picture import REACH_S

OFFSET_MS = 3.0  # the network answers with the logarithm of the spread plus this
OWN_U, SHARED_U = 0.32, 0.38  # of that logarithm, on guitars that the network was not shown (`learn_strokes.py`)
LEAST_GAP_S = REACH_S + 0.015  # a strum sooner than this after it is in the picture
WIDEST_MS = 120.0  # an arpeggio beyond


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spreads:
    """First to last string of each strum.

    Attributes
    ----------
    spread_s, u_s : (n,) array
        The spread and the standard uncertainty that is each strum's own; NaN where it cannot be told.
    shared_u_s : float
        Standard uncertainty that all strums of one take share: the guitar, the room.
    """

    spread_s: Floats
    u_s: Floats
    shared_u_s: float


def measure_spreads(picture: NDArray[np.float32], time_s: Floats) -> Spreads:
    """First to last string of each strum.

    Parameters
    ----------
    picture : (k, STEPS, BANDS) array
        From `picture.pictures`.
    time_s : (k,) array
        Strum times [s], increasing.

    Returns
    -------
    Spreads
    """
    if not len(time_s):
        return Spreads(spread_s=np.empty(0), u_s=np.empty(0), shared_u_s=0.0)
    whole_ms = np.exp(log_spread(picture))
    spread_ms = np.clip(whole_ms - OFFSET_MS, 0.0, WIDEST_MS)
    known = np.append(np.diff(time_s) >= LEAST_GAP_S, True)
    shared_ms = SHARED_U * float(np.mean(whole_ms[known])) if known.any() else 0.0
    return Spreads(
        spread_s=np.where(known, spread_ms, np.nan) / 1000,
        u_s=np.where(known, OWN_U * whole_ms, np.nan) / 1000,
        shared_u_s=shared_ms / 1000,
    )
