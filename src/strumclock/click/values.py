"""What is known of the clicks of a recording."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats
from strumclock.showing import Shown

ALIKE_SHARE = 0.002
"""Intervals that differ by less than this share are the same click heard at another rate."""


FEWEST = 3
"""Clicks heard from which there is a distance and something that confirms it."""


REST_S, REST_SHARE = 6.0, 0.15
"""Clicks that end within the longer of these (seconds, share of the recording) of its end are there throughout."""


COUNT_IN_SHARE, COUNT_IN_CLICKS = 0.5, 17
"""Clicks that end earlier are a count-in where they end before this share of the recording and are fewer than this."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Clicks(Shown):
    """The clicks of a recording.

    Attributes
    ----------
    time_s : float64 array, shape (n,)
        Place of every click from the first to the last heard, file time; clicks between them that nothing is heard of
        are included. Fitted to one line, but for uneven ones, which stand where each is heard. A click's time
        is where its sound above 1.5 kHz first exceeds a fifth of its early peak.
    u_s : float64 array, shape (n,)
        Standard uncertainty of each as the place that a player was to meet: where the clicks are uneven it holds how
        far they lie from their mean beat.
    heard : bool array, shape (n,)
        Whether each can be heard for itself.
    accented : bool array, shape (n,)
        Whether each is an accent: of another sound than the commonest, coming back after the same number of clicks,
        or louder.
    interval_s, interval_u_s : float
        Mean time between clicks on the recorder's clock (s), and its standard uncertainty.
    extent : str
        ``"throughout"``; ``"count-in"``: heard only before the playing, or so early and few that they must be;
        ``"fading"``: heard in part.
    source : str
        ``"recording"``, ``"channel"`` or ``"file"``.
    score : float
        Evidence that these are clicks, nats. Below 30 (of a count-in below 9) nothing is reported.
    sound : int array, shape (n,)
        Which of the click's sounds each has: 0 the commonest, 1 the accent's, from 2 on those between the beats.
    number : int array, shape (n,)
        Index of each in the given `nominal_s`; without that 0, 1, 2, …
    alternates_s, wanders_s : float
        How far ticks and tocks lie on either side of their mean beat, and the standard deviation of each about that; 0
        for even clicks.
    bend_s : float array, shape (n,)
        How much later than a straight line through the clicks the mean beat is at each: a metronome runs down, a
        wireless loudspeaker's delay wanders or jumps. 0 where the beat is steady.
    last_hit_s : float
        How much later than its time the last hit of a click's sound comes (s): 0 of a sound of one hit.
    begins : str
        How they begin: ``"first"`` of the recording; ``"gap"``: at the interval of those before, in another phase,
        without a pause (the file lost samples); ``"tempo"``: at another interval, without a pause; ``"restart"``: after
        a pause of two intervals or more.
    breaks_s : tuple of float
        File times of the first click after each jump of phase without a pause: where a segment begins with a gap, and
        where `bend_s` jumps.
    segments : tuple of Clicks
        Every stretch of clicks that keeps one tempo and phase, in time order, where the recording holds more than one;
        these are the longest of them. Those of a segment are empty.
    """

    time_s: Floats
    u_s: Floats
    heard: NDArray[np.bool_]
    accented: NDArray[np.bool_]
    interval_s: float
    interval_u_s: float
    extent: str
    source: str
    score: float
    sound: NDArray[np.int_]
    number: NDArray[np.int_]
    alternates_s: float = 0.0
    wanders_s: float = 0.0
    bend_s: Floats = field(default_factory=lambda: np.zeros(0))
    last_hit_s: float = 0.0
    begins: str = "first"
    breaks_s: tuple[float, ...] = ()
    segments: tuple[Clicks, ...] = ()

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        if len(self.bend_s) == 0:
            object.__setattr__(self, "bend_s", np.zeros(len(self.time_s)))
        for name in ("time_s", "u_s", "heard", "accented", "sound", "number", "bend_s"):
            array = np.array(getattr(self, name))
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    def between(self, start_s: float, end_s: float) -> Clicks | None:
        """The clicks from one file time to another, as those of that part; None where no three of a segment are there.

        Places and uncertainties are those that all of the clicks give.
        """
        kept = [cut for train in self.trains if (cut := train._cut(start_s, end_s)) is not None]
        if not kept:
            return None
        kept[0] = replace(kept[0], begins="first")
        longest = max(kept, key=lambda train: int(np.count_nonzero(train.heard)))
        breaks_s = tuple(s for s in self.breaks_s if kept[0].start_s < s <= kept[-1].end_s)
        return replace(longest, segments=tuple(kept) if len(kept) > 1 else (), breaks_s=breaks_s)

    def _cut(self, start_s: float, end_s: float) -> Clicks | None:
        """The clicks of one segment from one file time to another."""
        inside = (self.time_s >= start_s) & (self.time_s < end_s)
        heard = np.flatnonzero(inside & self.heard)
        if len(heard) < FEWEST:
            return None
        part = slice(int(heard[0]), int(heard[-1]) + 1)
        each = ("time_s", "u_s", "heard", "accented", "sound", "number", "bend_s")
        cut = replace(self, **{name: getattr(self, name)[part] for name in each}, segments=())
        return replace(cut, extent=extent_of(cut.time_s - start_s, end_s - start_s))

    @property
    def trains(self) -> tuple[Clicks, ...]:
        """All segments, these clicks alone where there is one."""
        return self.segments or (self,)

    @property
    def every_s(self) -> Floats:
        """Times of the clicks of all segments, file time."""
        return np.concatenate([train.time_s for train in self.trains])

    @property
    def start_s(self) -> float:
        """Time of the first click."""
        return float(self.time_s[0])

    @property
    def end_s(self) -> float:
        """Time of the last click."""
        return float(self.time_s[-1])

    @property
    def bpm(self) -> float:
        """Clicks a minute, of the interval most usual between them."""
        return 60 / float(np.median(np.diff(self.time_s)))


def to_the_end(last_s: float, duration_s: float) -> bool:
    return duration_s - last_s < max(REST_S, REST_SHARE * duration_s)


def extent_of(time_s: Floats, duration_s: float) -> str:
    """Whether the clicks are there throughout, in the count-in only, or in part."""
    if to_the_end(float(time_s[-1]), duration_s):
        return "throughout"
    early = time_s[-1] < COUNT_IN_SHARE * duration_s and len(time_s) < COUNT_IN_CLICKS
    return "count-in" if early else "fading"
