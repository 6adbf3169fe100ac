"""What the verdict is drawn from: the strums of one take in their slots, as arrays, and what was left out or added.

A value of its own, so that a take can be judged once more with one thing taken out of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from strumclock.arrays import Bools, Floats, Ints
from strumclock.errors import UsageError


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """A stretch of the take in which the exercise was not played: the player stopped, or kept another tempo.

    Attributes
    ----------
    start_s, end_s : float
        In the file.
    slots : int
        Places of the exercise in it.
    bpm : float or None
        The player's own tempo there; None where nothing was played.
    """

    start_s: float
    end_s: float
    slots: int
    bpm: float | None = None


ON_THE_CLICK = 3
"""Strums on the grid below which a player with a tempo of their own is said to have kept it all through: one or two
meet any grid."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Played:
    """How the slots of one take were played.

    Attributes
    ----------
    offset_ms : (n,) array
        Strum minus grid line of every strum that was meant for a slot, in order, positive = late; where the grid was
        only fitted, the deviation from the take's own mean.
    fitted : bool
        Whether the grid was only fitted: then nothing is known of the offsets' mean.
    line_s : (n,) array
        Their grid lines, s in the file.
    slot : (n,) int array
        Their slots, from 0.
    bar, beat, part : (n,) int arrays
        From 1.
    at_change : (n,) bool array
        The first strums of a new chord.
    pairs : tuple of n (str, str) or None
        From which chord to which each strum changes.
    omitted, added : tuple of (bar, beat, part)
        Slots without a strum; the places nearest to strums without a slot.
    part_s : float
        Time between neighbouring places of the pattern's finest part, s.
    duration_s : float
        From the first slot to the last, s.
    bpm : float or None
    per_beat : int
    u_ms : float
        Root mean square of the strums' standard uncertainties.
    n_heard, n_sure : int
        Strums heard, in slots or not, and those of them that surely are; all of those whose times were told; 0 where
        nothing is known of it.
    stopped, own_tempo : tuple of Stretch
    """

    offset_ms: Floats
    line_s: Floats
    slot: Ints
    bar: Ints
    beat: Ints
    part: Ints
    at_change: Bools
    part_s: float
    duration_s: float
    bpm: float | None
    fitted: bool = False
    pairs: tuple[tuple[str, str] | None, ...] = ()
    omitted: tuple[tuple[int, int, int], ...] = ()
    added: tuple[tuple[int, int, int], ...] = ()
    per_beat: int = 1
    u_ms: float = 0.0
    n_heard: int = 0
    n_sure: int = 0
    stopped: tuple[Stretch, ...] = field(default=())
    own_tempo: tuple[Stretch, ...] = field(default=())

    def __post_init__(self) -> None:
        n = self.offset_ms.size
        if not np.isfinite(self.offset_ms).all() or not np.isfinite(self.line_s).all():
            raise UsageError("a verdict needs finite offsets and grid lines; leave out strums that have none")
        lengths = {len(x) for x in (self.line_s, self.slot, self.bar, self.beat, self.part, self.at_change)}
        if lengths != {n} or len(self.pairs) not in (0, n):
            raise UsageError(f"every array of a played take needs an entry for each of its {n} strums in slots")

    @property
    def never_with_click(self) -> bool:
        """Whether the player kept a tempo of their own from the first strum to the last."""
        return bool(self.own_tempo) and self.n < ON_THE_CLICK

    @property
    def n(self) -> int:
        """Strums in slots."""
        return int(self.offset_ms.size)

    @property
    def n_slots(self) -> int:
        """Slots that were asked for: played and omitted ones."""
        return self.n + len(self.omitted)

    @property
    def deviation_ms(self) -> Floats:
        """The offsets about the take's own mean."""
        return self.offset_ms - self.offset_ms.mean() if self.n else self.offset_ms

    @property
    def minutes(self) -> Floats:
        """The grid lines' time from their middle, minutes."""
        return (self.line_s - self.line_s.mean()) / 60 if self.n else self.line_s

    @property
    def lasted_s(self) -> float:
        """How long the take lasted, the last strum counted as long as the others; stops and what left the click too."""
        n = self.n_slots
        lasted = self.duration_s * n / (n - 1) if n > 1 else 0.0
        if self.own_tempo:  # its slots were not asked for, but it lies within the take
            lasted = max(lasted, self.duration_s)
        return lasted + sum(stop.end_s - stop.start_s for stop in self.stopped)


def bars_of(bars: Sequence[int] | Ints) -> tuple[int, ...]:
    """Bars in order, each once.

    Examples
    --------
    >>> bars_of([3, 1, 3])
    (1, 3)
    """
    return tuple(sorted({int(bar) for bar in bars}))
