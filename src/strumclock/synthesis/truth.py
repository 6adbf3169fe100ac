"""What is true of a synthetic take: every strum's, click's and slot's time, and who played what.

`Truth.to_dict` is what lies beside each reference take as JSON (schema ``strumclock.truth/1``).
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats, Ints
from strumclock.grid import Exercise

SCHEMA = "strumclock.truth/1"
NOT_A_SLOT = -1  # no index of a slot


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Truth:
    """The truth of one take.  Times are seconds of the recorder's clock from the first sample; arrays are read-only.

    Attributes
    ----------
    exercise : Exercise
    strum_s : (n,) float
        Release of each strum's first string, increasing.
    strum_slot : (n,) int
        The slot it was meant for; -1 = added.
    stroke : (n,) str
        ``D``, ``U`` or ``x``.
    spread_ms : (n,) float
        First to last string.
    slot_s : (m,) float
        Every slot of the grid, played or not.
    at_change : (m,) bool
        Whether a slot is the first on a new chord.
    click_s : (k,) float
        Every click that sounds in the recording.
    first_downbeat_s : float
        Beat 1 of the first played bar.
    skew_ppm : float
        Tempo on the recorder's clock ÷ tempo told, less 1.
    seed : int
    """

    exercise: Exercise
    strum_s: Floats
    strum_slot: Ints
    stroke: NDArray[np.str_]
    spread_ms: Floats
    slot_s: Floats
    at_change: NDArray[np.bool_]
    click_s: Floats
    first_downbeat_s: float
    skew_ppm: float
    seed: int

    def __post_init__(self) -> None:
        for key in ("strum_s", "strum_slot", "stroke", "spread_ms", "slot_s", "at_change", "click_s"):
            value = np.array(getattr(self, key))
            value.flags.writeable = False
            object.__setattr__(self, key, value)

    @property
    def offset_ms(self) -> Floats:
        """Offset of each strum from its slot, positive = late; NaN where the strum was added [ms]."""
        own = self.strum_slot != NOT_A_SLOT
        return np.where(own, 1000 * (self.strum_s - self.slot_s[np.maximum(self.strum_slot, 0)]), np.nan)

    @property
    def omitted(self) -> Ints:
        """Slots without a strum."""
        return np.setdiff1d(np.arange(len(self.slot_s)), self.strum_slot)

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON; times to a tenth of a microsecond."""
        offsets = self.offset_ms
        return {
            "schema": SCHEMA,
            "exercise": {k: list(v) if isinstance(v, tuple) else v for k, v in asdict(self.exercise).items()},
            "first_downbeat_s": round(self.first_downbeat_s, 7),
            "skew_ppm": self.skew_ppm,
            "seed": self.seed,
            "clicks_s": [round(float(t), 7) for t in self.click_s],
            "slots_s": [round(float(t), 7) for t in self.slot_s],
            "changes": [int(i) for i in np.flatnonzero(self.at_change)],
            "omitted": [int(i) for i in self.omitted],
            "strums": [
                {
                    "time_s": round(float(t), 7),
                    "slot": None if slot == NOT_A_SLOT else int(slot),
                    "stroke": str(stroke),
                    "offset_ms": None if slot == NOT_A_SLOT else round(float(offset), 4),
                    "spread_ms": round(float(spread), 4),
                }
                for t, slot, stroke, offset, spread in zip(
                    self.strum_s, self.strum_slot, self.stroke, offsets, self.spread_ms, strict=True
                )
            ],
        }
