"""The strums of one take as plain arrays, checked once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.errors import UsageError

Floats = NDArray[np.float64]

ANCHORS = ("recorded-click", "click-channel", "given", "fitted")
"""How a grid got its place in the recording."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakeInput:
    """What is measured, checked: one entry a strum; times s, `u_ms` ms."""

    strum_s: Floats
    line_s: Floats
    slot: NDArray[np.int64]
    bar: NDArray[np.int64]
    beat: NDArray[np.int64]
    part: NDArray[np.int64]
    at_change: NDArray[np.bool_]
    u_ms: Floats

    @property
    def n(self) -> int:
        """How many strums."""
        return self.strum_s.size

    @property
    def smallest_step_s(self) -> float:
        """The shortest time from slot to slot, s."""
        return float(np.min(np.diff(self.line_s) / np.diff(self.slot)))


def checked_take(
    strum_s: ArrayLike,
    line_s: ArrayLike,
    slot: ArrayLike,
    bar: ArrayLike,
    beat: ArrayLike,
    part: ArrayLike,
    at_change: ArrayLike | None,
    u_s: ArrayLike,
    anchor: str,
) -> TakeInput:
    """The arrays as numpy arrays of one length, or a `UsageError`."""
    if anchor not in ANCHORS:
        raise UsageError(f"the anchor must be one of {', '.join(ANCHORS)}; got {anchor!r}")
    strums = np.atleast_1d(np.asarray(strum_s, dtype=float))
    n = strums.size
    times = {"strum_s": strums, "line_s": np.atleast_1d(np.asarray(line_s, dtype=float))}
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
    return TakeInput(
        strum_s=strums,
        line_s=times["line_s"],
        **numbers,
        at_change=np.broadcast_to(np.asarray(False if at_change is None else at_change, dtype=bool), (n,)),
        u_ms=np.broadcast_to(1e3 * times["u_s"], (n,)),
    )
