"""What timing is measured from: strums with their places, how the grid got its own, how well times are known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.arrays import Floats, Ints
from strumclock.errors import UsageError
from strumclock.showing import Shown

ANCHORS = ("recorded-click", "click-channel", "given", "fitted")
"""How a grid got its place in the recording."""

ERROR_SHARE = 0.5
"""Share of their stated variance that the errors of strum times really have. Stated uncertainties are cautious: of most
strums they are many times the error, for the sake of the few that are far off. Summed over takes of recorded guitars
with known truth the share was 0.45 to 0.55 (0.2 to 0.4 in the median take), of our own synthesiser's 1.9 (0.8)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class PlacedStrums(Shown):
    """The strums that were meant for a slot, with their places; one entry a strum, in the order of time.

    Build it with `PlacedStrums.of`, which checks its arrays and fills in what is left out.

    Attributes
    ----------
    time_s, line_s : (n,) array
        Strum times and the grid lines that they were meant for, s, both increasing.
    slot, bar, beat, part : (n,) int array
        Slot of each strum (increasing; omitted slots are gaps), its bar, beat of the bar and part of the beat, from 1.
    u_s : (n,) array
        Standard uncertainty of each strum's time, s, independent from strum to strum.
    at_change : (n,) bool array
        Strums that are the first of a new chord.
    chord : tuple of str or None
        The chord under each strum; ``""`` where unknown.
    part_s, beat_s : (n,) array
        Time between neighbouring places of the pattern's finest part, and length of the beat, at each strum, s.
    spread_s : (n,) array or None
        First to last string of each strum, s; NaN where unknown. None: not measured.
    second_at : float or None
        Place in the beat at which the grid has the second of two parts; None where a beat has not two.
    """

    time_s: Floats
    line_s: Floats
    slot: Ints
    bar: Ints
    beat: Ints
    part: Ints
    u_s: Floats
    at_change: NDArray[np.bool_]
    chord: tuple[str, ...] | None
    part_s: Floats
    beat_s: Floats
    spread_s: Floats | None
    second_at: float | None

    def __len__(self) -> int:
        return self.time_s.size

    @property
    def pair(self) -> tuple[tuple[str, str] | None, ...]:
        """The chords before and after each change; None away from changes and where a chord is unknown."""
        if self.chord is None:
            return (None,) * len(self)
        before = ("", *self.chord[:-1])
        return tuple(
            (old, new) if change and old and new else None
            for old, new, change in zip(before, self.chord, self.at_change.tolist(), strict=True)
        )

    @classmethod
    def of(
        cls,
        time_s: ArrayLike,
        line_s: ArrayLike,
        *,
        slot: ArrayLike,
        bar: ArrayLike = 1,
        beat: ArrayLike = 1,
        part: ArrayLike = 1,
        u_s: ArrayLike = 0.0,
        at_change: ArrayLike = False,
        chord: tuple[str, ...] | None = None,
        part_s: ArrayLike | None = None,
        beat_s: ArrayLike | None = None,
        spread_s: ArrayLike | None = None,
        second_at: float | None = None,
    ) -> Self:
        """Check the arrays, of one entry a strum or one number for all.

        Lengths of part and beat that are left out are the smallest step of the grid lines.

        Raises
        ------
        UsageError
            If the arrays disagree in length, are not finite or not increasing.

        Examples
        --------
        >>> len(PlacedStrums.of([0.01, 0.59, 1.22], [0.0, 0.6, 1.2], slot=[0, 1, 2]))
        3
        """
        strums = np.atleast_1d(np.asarray(time_s, dtype=float))
        n = strums.size
        times = {"time_s": strums, "line_s": np.atleast_1d(np.asarray(line_s, dtype=float))}
        times["u_s"] = np.asarray(u_s, dtype=float)
        whole = {"slot": slot, "bar": bar, "beat": beat, "part": part}
        numbers = {name: np.asarray(x, dtype=np.int64) for name, x in whole.items()}
        for name, array in {**times, **numbers}.items():
            if array.ndim and array.shape != (n,):
                raise UsageError(f"{name} needs one entry for each of the {n} strums; got shape {array.shape}")
        for name, array in times.items():
            if not np.all(np.isfinite(array)):
                raise UsageError(f"{name} must be finite; leave out strums whose time is unknown")
        numbers = {name: np.broadcast_to(array, (n,)) for name, array in numbers.items()}
        if np.any(np.diff(numbers["slot"]) <= 0) or np.any(np.diff(times["line_s"]) <= 0):
            raise UsageError("slots and grid lines must increase: one strum a slot at most, in the order of time")
        if np.any(times["u_s"] < 0):
            raise UsageError("u_s, the uncertainty of the strum times, must not be negative")
        if chord is not None and len(chord) != n:
            raise UsageError(f"chord needs one name for each of the {n} strums; got {len(chord)}")
        step_s = float(np.min(np.diff(times["line_s"]) / np.diff(numbers["slot"]))) if n > 1 else 0.0

        def each(value: ArrayLike | None, default: float) -> Floats:
            return np.broadcast_to(np.asarray(default if value is None else value, dtype=float), (n,))

        return cls(
            time_s=strums,
            line_s=times["line_s"],
            **numbers,
            u_s=np.broadcast_to(times["u_s"], (n,)),
            at_change=np.broadcast_to(np.asarray(at_change, dtype=bool), (n,)),
            chord=chord,
            part_s=each(part_s, step_s),
            beat_s=each(beat_s, step_s),
            spread_s=None if spread_s is None else each(spread_s, 0.0),
            second_at=second_at,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Anchoring:
    """How the grid got its place in the recording, and how well that place is known.

    Attributes
    ----------
    anchor : {'recorded-click', 'click-channel', 'given', 'fitted'}
    u_s : (n,) array or float
        Standard uncertainty of each grid line's place that the lines share, s.
    rate_u_ppm : float
        Standard uncertainty of the grid's rate, parts per million.
    clock_known : bool
        Whether the grid's rate comes from clicks in the recording, or one clock made click and recording.
    tempo_estimated : bool
        Whether the tempo was estimated from the strums themselves.

    Raises
    ------
    UsageError
        If the anchor is unknown.
    """

    anchor: str = "recorded-click"
    u_s: Floats | float = 0.0
    rate_u_ppm: float = 0.0
    clock_known: bool = True
    tempo_estimated: bool = False

    def __post_init__(self) -> None:
        if self.anchor not in ANCHORS:
            raise UsageError(f"the anchor must be one of {', '.join(ANCHORS)}; got {self.anchor!r}")

    @property
    def fitted(self) -> bool:
        """Whether only the evenness is known, not where the strums lie against a click."""
        return self.anchor == "fitted"


@dataclass(frozen=True, slots=True, kw_only=True)
class StrumErrors:
    """What is known of the errors of strum times beyond each strum's own `u_s`.

    Attributes
    ----------
    error_share : float
        Share of the variance `u_s`² that the errors of the strum times really have; that much is taken off the jitter's
        variance. 1 where `u_s` is the errors' standard deviation.
    slip_s : float
        Root mean square of further errors that nothing about the strum shows (a pick's touch taken for the release), s.
        They widen every `u`; they are not taken off the jitter.
    bias_u_s : float
        Standard uncertainty that all strum times share, s: how far they may lie from the first string's release on
        average.
    spread_u_s : float
        Standard uncertainty of the spreads that all strums share, s.
    """

    error_share: float = ERROR_SHARE
    slip_s: float = 0.0
    bias_u_s: float = 0.0
    spread_u_s: float = 0.0
