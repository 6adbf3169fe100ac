"""What the finders propose, the scorer weighs and the refinement places: clicks that a sound keeps."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from strumclock.arrays import Bools, Floats, Ints, Samples

HEARD = 1.0
"""Evidence (nats) above which a click counts as heard."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidate:
    """Clicks, or what may be clicks: places that a sound keeps, even or uneven, and the evidence of it.

    Attributes
    ----------
    nominal : float array, shape (n,)
        Number (or given time) of each, from the first heard to the last heard.
    start, step : float
        The straight line through them: place = start + step * nominal, samples of the preprocessed signal.
    sound : float32 array
        The main sound, in the preprocessed signal.
    evidence : float array, shape (n,)
        Of each being heard, nats (`scoring`).
    weight : float array, shape (n,)
        How clearly the main sound is heard; 0 where another sound belongs.
    kind : int array, shape (n,)
        0 the main sound, 1 the accent, 2 and more the parts of the beat.
    accented : bool array, shape (n,)
    score : float
        Evidence that these are clicks, nats.
    bend : float array, shape (n,)
        How much later than the line the mean beat is at each: 0 where it is steady.
    away : float array, shape (n,)
        How much later than the line each lies: 0 of even clicks.
    off_beat : tuple of two float
        How far ticks and tocks lie on either side of the beat, and the standard deviation of each click about its
        fellows, samples.
    """

    nominal: Floats
    start: float
    step: float
    sound: Samples
    evidence: Floats
    weight: Floats
    kind: Ints
    accented: Bools
    score: float
    bend: Floats = field(default_factory=lambda: np.zeros(0))
    away: Floats = field(default_factory=lambda: np.zeros(0))
    off_beat: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        """Even clicks neither bend nor lie away from their line."""
        for name in ("bend", "away"):
            if len(getattr(self, name)) != len(self.nominal):
                object.__setattr__(self, name, np.zeros(len(self.nominal)))

    @property
    def even(self) -> bool:
        """Whether they lie on their line."""
        return not np.any(self.away)

    @property
    def interval(self) -> float:
        """Samples between neighbours."""
        return self.step * float(np.median(np.diff(self.nominal)))

    @property
    def position(self) -> Floats:
        """Place of each, samples."""
        return self.start + self.step * self.nominal + self.away

    @property
    def heard(self) -> Bools:
        """Which are heard."""
        return self.evidence > HEARD

    def part(self, chosen: slice | Bools) -> Candidate:
        """Some of the clicks."""
        names = ("nominal", "evidence", "weight", "kind", "accented", "bend", "away")
        return replace(self, **{name: getattr(self, name)[chosen] for name in names})
