"""Times at which strums belong, and the beat lines between them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats, Ints
from strumclock.errors import UsageError
from strumclock.showing import Shown


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class BeatGrid(Shown):
    """Times at which strums belong, and the beat lines between them.  Arrays are copied and read-only.

    Attributes
    ----------
    slot_s : (n,) float
        Time of each slot [s], strictly increasing.  A slot is a place where the pattern puts a strum.
    bar, beat, part : (n,) int
        Where each slot is, each from 1.
    stroke : (n,) '<U1'
        ``D`` down, ``U`` up, ``x`` muted, ``?`` not told (any stroke).
    at_change : (n,) bool
        Whether the slot is the first one on a new chord.
    beat_s, part_s : (n,) float
        Length of the slot's beat, and of the finest part in it (beat ÷ per_beat) [s].
    line_s, line_bar, line_beat : (m,)
        Every beat line of the played bars: time [s], bar and beat.
    per_beat, beats_per_bar : int
        Parts of a beat; beats in a bar (of the first bar, where a tempo map changes the meter).
    end_s : float
        Where the last bar ends [s].
    count_in_s : (k,) float
        Beat lines of the counted-in bars, before the first played downbeat [s].
    chord : (n,) str
        The chord at each slot, empty where not told.
    """

    slot_s: Floats
    bar: Ints
    beat: Ints
    part: Ints
    stroke: NDArray[np.str_]
    at_change: NDArray[np.bool_]
    beat_s: Floats
    part_s: Floats
    line_s: Floats
    line_bar: Ints
    line_beat: Ints
    per_beat: int
    beats_per_bar: int
    end_s: float
    count_in_s: Floats = field(default_factory=lambda: np.zeros(0))
    chord: NDArray[np.str_] = field(default_factory=lambda: np.zeros(0, "<U1"))

    def __post_init__(self) -> None:
        put: Callable[[str, Any], None] = lambda key, value: object.__setattr__(self, key, value)  # noqa: E731
        n, m = np.size(self.slot_s), np.size(self.line_s)
        if np.size(self.chord) == 0:
            put("chord", np.zeros(n, "<U1"))
        shapes = dict.fromkeys(("slot_s", "bar", "beat", "part", "stroke", "at_change", "beat_s", "part_s", "chord"), n)
        shapes |= dict.fromkeys(("line_s", "line_bar", "line_beat"), m) | {"count_in_s": np.size(self.count_in_s)}
        kinds: dict[str, Any] = dict.fromkeys(("bar", "beat", "part", "line_bar", "line_beat"), np.int64)
        kinds |= {"stroke": "<U1", "chord": str, "at_change": np.bool_}
        for key, size in shapes.items():
            value = np.array(getattr(self, key), dtype=kinds.get(key, np.float64))
            if value.shape != (size,):
                raise UsageError(f"a grid's {key} must have shape ({size},), but {value.shape} came; one value a place")
            if key.endswith("_s") and not np.isfinite(value).all():
                raise UsageError(f"a grid's {key} must be finite seconds, but NaN or infinity came; leave those out")
            value.flags.writeable = False
            put(key, value)
        for key in ("slot_s", "line_s", "count_in_s"):
            if (np.diff(getattr(self, key)) <= 0).any():
                raise UsageError(f"a grid's {key} must increase, but it does not; sort it and leave out repeats")

    def __len__(self) -> int:
        return len(self.slot_s)

    @property
    def click_s(self) -> Floats:
        """Every beat line, the counted-in bars included: where a metronome would click [s]."""
        return np.concatenate([self.count_in_s, self.line_s])

    def placed(self, first_downbeat_s: float, rate: float = 1.0) -> BeatGrid:
        """The grid put into a recording: time t becomes first_downbeat_s + t · rate.

        Parameters
        ----------
        first_downbeat_s : float
            File time of beat 1 of the first played bar [s].
        rate : float
            Seconds of the recording for one nominal second (bpm told ÷ bpm heard), above 0.

        Examples
        --------
        >>> from strumclock.grid import Exercise, build_grid
        >>> build_grid(Exercise(bpm=60, meter="3/4"), bars=1).placed(2.0, 1.5).slot_s.tolist()
        [2.0, 3.5, 5.0]
        """
        if not (math.isfinite(first_downbeat_s) and math.isfinite(rate) and rate > 0):
            raise UsageError(
                f"placing a grid needs a finite downbeat and a rate above 0, but {first_downbeat_s!r} and {rate!r} "
                "came; give seconds and a ratio near 1"
            )
        return BeatGrid(
            slot_s=first_downbeat_s + self.slot_s * rate, line_s=first_downbeat_s + self.line_s * rate,
            end_s=first_downbeat_s + self.end_s * rate, count_in_s=first_downbeat_s + self.count_in_s * rate,
            beat_s=self.beat_s * rate, part_s=self.part_s * rate, bar=self.bar, beat=self.beat, part=self.part,
            stroke=self.stroke, at_change=self.at_change, line_bar=self.line_bar, line_beat=self.line_beat,
            per_beat=self.per_beat, beats_per_bar=self.beats_per_bar, chord=self.chord,
        )  # fmt: skip
