"""How does a synthetic player keep time?  Linear phase correction, and the slips that people make.

The deviation from the grid follows A_{n+1} = (1 − a) A_n + T_n + M_{n+1} − M_n (Vorberg & Schulze 2002, Journal of
Mathematical Psychology 46:56, from memory): T the timekeeper's noise, M the hand's, a the share of an error that
the next strum corrects.  Its stationary variance is (s_T² + 2 a s_M²) / (1 − (1 − a)²).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np

from strumclock.arrays import Floats
from strumclock.errors import UsageError

_BURN_IN = 200  # strums before the first: at a = 0.05 the start is forgotten to 0.004 %


@dataclass(frozen=True, slots=True, kw_only=True)
class Player:
    """An invented player.  Milliseconds; positive = late.

    Attributes
    ----------
    offset_ms : float
        Mean of the deviations where nothing else is asked for.
    timekeeper_ms, motor_ms : float
        Standard deviations of the timekeeper's and of the hand's noise, a strum.
    correction : float
        Share of each error that the next strum corrects, above 0 and below 2.
    drift_ms_per_min : float
        Positive = falling behind.
    change_late_ms : float
        Mean lateness of a new chord's first strum, on top of the rest; each varies by a quarter of it.
    late_into : tuple of str
        Only changes into these chords are late; empty: all are.
    miss, extra : float
        Probability that a slot is left out, and that an unplanned strum follows halfway to the next part.
    spread_ms : float
        First to last string of a full chord.
    hardness : float
        0 (soft) to 1 (hard): the middle of the strokes' strength.
    """

    offset_ms: float = -8.0
    timekeeper_ms: float = 9.0
    motor_ms: float = 4.0
    correction: float = 0.4
    drift_ms_per_min: float = 0.0
    change_late_ms: float = 0.0
    late_into: tuple[str, ...] = ()
    miss: float = 0.0
    extra: float = 0.0
    spread_ms: float = 16.0
    hardness: float = 0.6

    def __post_init__(self) -> None:
        ranges = {
            "offset_ms": (-500.0, 500.0), "timekeeper_ms": (0.0, 200.0), "motor_ms": (0.0, 200.0),
            "correction": (0.01, 1.99), "drift_ms_per_min": (-1000.0, 1000.0), "change_late_ms": (0.0, 1000.0),
            "miss": (0.0, 0.9), "extra": (0.0, 0.9), "spread_ms": (0.0, 120.0), "hardness": (0.0, 1.0),
        }  # fmt: skip
        for field in fields(self):
            low, high = ranges.get(field.name, (-math.inf, math.inf))
            value = getattr(self, field.name)
            if field.name in ranges and not (isinstance(value, (int, float)) and low <= value <= high):
                raise UsageError(
                    f"a player's {field.name} must lie from {low:g} to {high:g}, but {value!r} came; correct it"
                )

    @property
    def jitter_ms(self) -> float:
        """Stationary standard deviation of the deviations, drift and late changes apart.

        Examples
        --------
        >>> round(Player(timekeeper_ms=15, motor_ms=8, correction=0.5).jitter_ms ** 2, 3)
        385.333
        """
        a = self.correction
        return math.sqrt((self.timekeeper_ms**2 + 2 * a * self.motor_ms**2) / (1 - (1 - a) ** 2))


def deviations_ms(player: Player, n: int, rng: np.random.Generator) -> Floats:
    """Deviations of n successive strums about the player's mean, from the stationary state.

    Parameters
    ----------
    player : Player
    n : int
    rng : numpy.random.Generator

    Returns
    -------
    (n,) float
        ms, positive = late.
    """
    keeper = player.timekeeper_ms * rng.standard_normal(n + _BURN_IN)
    hand = player.motor_ms * rng.standard_normal(n + _BURN_IN + 1)
    step = keeper + np.diff(hand)
    out = np.empty(n + _BURN_IN)
    error = 0.0
    for i in range(len(out)):
        error = (1.0 - player.correction) * error + step[i]
        out[i] = error
    return out[_BURN_IN:]
