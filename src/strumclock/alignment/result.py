"""What an alignment says: which strum belongs to which slot, and how the grid got its place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats, Ints
from strumclock.errors import Notice
from strumclock.grid import BeatGrid, Exercise
from strumclock.showing import Shown

if TYPE_CHECKING:
    from strumclock.onsets import Strums

Anchor = Literal["recorded-click", "click-channel", "given", "fitted"]

PartKind = Literal["played", "false-start", "stopped", "own-tempo", "other-take"]

ADDED, OUTSIDE, LEFT_CLICK, OTHER_PART = -1, -2, -3, -4
"""What `Alignment.slot` holds for a strum without a slot: added; before the first or after the last slot (ignored);
played at a tempo of the player's own, where asking for its slot makes no sense (in no figure, neither added nor
omitted); or in another part of the recording than the one measured (its slot is in one of `Alignment.others`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A stretch of the recording in which one thing was done.

    Attributes
    ----------
    start_s, end_s : float
        First and last strum of it; of a stop, the strums on either side [s].
    kind : str
        ``played``: on the grid of the take that is measured; ``false-start``: a short stretch broken off before a
        longer one; ``stopped``: nothing was played for two bars or more while the exercise went on; ``own-tempo``:
        played steadily at another tempo than the click's; ``other-take``: played to another row of clicks.
    bpm : float or None
        Tempo of its grid, or the player's own; None where no tempo is known.
    n : int
        Strums in it that have a slot (of ``own-tempo``: strums).
    slots : int
        Places of the exercise in it, whether played or not.
    measured : bool
        Whether the figures are of this part.
    """

    start_s: float
    end_s: float
    kind: PartKind
    bpm: float | None
    n: int
    slots: int
    measured: bool


class Departure(NamedTuple):
    """A stretch in which the player kept a tempo other than the click's.

    Attributes
    ----------
    start_s, end_s : float
        First and last strum of it [s].
    played_bpm : float
        The tempo played in it.
    other_bpm : float or None
        Another tempo that the strums show nearly as well, where the exercise is not known.
    """

    start_s: float
    end_s: float
    played_bpm: float
    other_bpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Rival:
    """A hypothesis that was weighed and not kept.

    Attributes
    ----------
    meaning : str
        How what was told was taken: ``as-told``, ``by-click`` (each click as the beat), ``as-played``.
    bpm, per_beat, pattern : float, int, str or None
        Tempo, parts of the beat and the pattern told.
    start_s : float
        Where its first played bar begins [s].
    departures : int
        Stretches in which the player kept a tempo of their own.
    score : float
        What speaks against it, in strums below 0; see `strumclock.alignment.score`.
    """

    meaning: str
    bpm: float
    per_beat: int
    pattern: str | None
    start_s: float
    departures: int
    score: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Alignment(Shown):
    """Strums paired with the slots of a grid that has its place in the recording.

    Attributes
    ----------
    grid : BeatGrid
        In file time.
    anchor : str
        How the grid got its place: ``recorded-click``, ``click-channel``, ``given`` or ``fitted``.
    exercise : Exercise
        What was told, completed by what was inferred. A pattern told for each click as a beat, at a tempo told as half
        or double of the click's, is written at the told beat (notice ``pattern-read``).
    inferred : tuple of str
        Names of the exercise's fields that were not told, or told wrongly, and were found in the recording.
    confidence : mapping of str to float
        For inferred fields where it can be computed: the probability, from 0 to 1, that the repeats seen show the
        truth.
    slot : (n_strums,) int
        Slot of each strum; `ADDED`, `OUTSIDE` or `LEFT_CLICK` (all below 0) where it has none.
    omitted : (k,) int
        Slots without a strum. Empty where ``"pattern"`` is inferred; slots inside `left_click` are not counted.
    anchor_u_s : (n_slots,) float
        Standard uncertainty of each slot's place [s]. With the anchor ``fitted`` it is that of the fit to the player's
        own strums: where the click was stays unknown.
    rate_u : float
        Relative standard uncertainty of the grid's rate against the click (1e-6 = 1 ppm); infinite where the tempo was
        estimated from the strums themselves.
    first_downbeat_s : float
        Beat 1 of the first played bar [s].
    bpm_heard, bpm_heard_u : float or None
        Tempo of the clicks by the recorder's clock, in told beats a minute, and its standard uncertainty; None without
        clicks and where the tempo changes.
    clock_skew_ppm, clock_skew_u_ppm : float or None
        (Tempo heard ÷ tempo told - 1) · 10⁶, and its standard uncertainty; None where either is not known.
    clicks_heard : int
        Clicks heard, 0 without.
    left_click : tuple of Departure
        Where the player left the click for a tempo of their own.
    notices : tuple of Notice
    score : float
        What speaks against the hypothesis that was kept, in strums below 0.
    rivals : tuple of Rival
        The best of the others, best first.
    parts : tuple of Part
        The stretches of the recording in time order, numbered from 1 where one is asked for.
    others : tuple of Alignment
        The played stretches that are not measured, each with a grid and an anchor of its own; their `slot` holds
        `OTHER_PART` for every strum that is not theirs.
    gaps_s : tuple of float
        Where the recording lost samples or was cut, by the clicks: the grid is anchored anew from there.
    strums : Strums or None
        What was aligned, an entry for each of `slot`.
    steps_s, steps_bpm : tuple of float
        Where a click that goes on changes its tempo, the measured part's beginning included, and the tempo from there;
        one entry where it keeps one tempo.
    """

    grid: BeatGrid
    anchor: Anchor
    exercise: Exercise
    inferred: tuple[str, ...]
    confidence: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    slot: Ints
    omitted: Ints
    anchor_u_s: Floats
    rate_u: float
    first_downbeat_s: float
    bpm_heard: float | None
    bpm_heard_u: float | None
    clock_skew_ppm: float | None
    clock_skew_u_ppm: float | None
    clicks_heard: int = 0
    left_click: tuple[Departure, ...] = ()
    notices: tuple[Notice, ...] = ()
    score: float = 0.0
    rivals: tuple[Rival, ...] = ()
    parts: tuple[Part, ...] = ()
    others: tuple[Alignment, ...] = ()
    gaps_s: tuple[float, ...] = ()
    steps_s: tuple[float, ...] = ()
    steps_bpm: tuple[float, ...] = ()
    strums: Strums | None = None

    def __post_init__(self) -> None:
        kinds: dict[str, type] = {"slot": np.int64, "omitted": np.int64, "anchor_u_s": np.float64}
        for key, kind in kinds.items():
            value: NDArray[Any] = np.array(getattr(self, key), dtype=kind)
            value.flags.writeable = False
            object.__setattr__(self, key, value)
