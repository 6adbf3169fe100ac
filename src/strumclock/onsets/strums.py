"""What is known about the strums of a recording: `Strums`, the sounds that were `Ignored`, the `Doubtful` ones."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from strumclock.arrays import Floats
from strumclock.errors import Notice, UsageError
from strumclock.showing import Shown

SURE_P = 0.9
"""From this probability on a sound is surely a strum. By hand, and what rests on it is calibrated with it."""
CLICK_S = 0.030
"""What is left of a click lies within so much of it; by hand."""
TAIL_S, LEAD_S = 0.250, 0.080
"""After and before a strum, what rises belongs to it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ignored:
    """A sound that began suddenly and is not taken for a strum.

    Attributes
    ----------
    time_s : float
        When it began [s, file time].
    reason : str
        What speaks against a strum, in a few plain words.
    p : float or None
        Probability that it is one all the same; None where it was not looked at closely.
    """

    time_s: float
    reason: str
    p: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubtful:
    """A sound that may be a strum, but is not likely enough to be taken for one without knowing the exercise.

    Attributes
    ----------
    time_s : float
        When the strum began, if it is one [s, file time].
    u_s : float
        Standard uncertainty of that time [s].
    strength_db : float
        As of `Strums` [dB].
    p : float
        Probability that it is a strum, wherever in the exercise it falls.
    """

    time_s: float
    u_s: float
    strength_db: float
    p: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, repr=False)
class Strums(Shown):
    """When each strum began, and how well that is known.

    Attributes
    ----------
    time_s : ndarray, shape (n,) [s, file time]
        The release of each strum's first string by the pick, increasing.
    u_s : ndarray, shape (n,) [s]
        Standard uncertainty of each time, from the evidence around it.
    strength_db : ndarray, shape (n,) [dB]
        Level 30 ms after the release against the recording's median strum.
    p : ndarray, shape (n,)
        Probability that each is a strum.
    bias_u_s : float
        Standard uncertainty of an error that all times share: that of their mean, however many there are [s].
    error_share : float or None
        Share of the variance ``u_s``² that the errors of the times really have: 1 where ``u_s`` is their standard
        deviation. None: as the detector's, whose uncertainties are cautious (`strumclock.timing.StrumErrors`).
    ignored : tuple of Ignored
        Sounds that began suddenly and are not strums, each with its reason.
    doubtful : tuple of Doubtful
        Sounds that may be strums and that none of the strums explains, in order of time; empty where nobody knows of
        any. `strumclock.alignment.judged_by_place` takes those that fall where the exercise has a strum.
    notices : tuple of Notice
        What is weak about the result.
    """

    time_s: Floats
    u_s: Floats
    strength_db: Floats
    p: Floats
    bias_u_s: float
    error_share: float | None = None
    ignored: tuple[Ignored, ...] = ()
    doubtful: tuple[Doubtful, ...] = ()
    notices: tuple[Notice, ...] = ()

    def __post_init__(self) -> None:
        """Make the arrays read-only float64 of one length."""
        n = len(self.time_s)
        for name in ("time_s", "u_s", "strength_db", "p"):
            a = np.array(getattr(self, name), dtype=np.float64)
            if a.shape != (n,):
                raise UsageError(f"Strums needs {name} of the length of time_s ({n}), got shape {a.shape}.")
            a.flags.writeable = False
            object.__setattr__(self, name, a)

    @classmethod
    def of(cls, time_s: npt.ArrayLike, *, u_s: npt.ArrayLike = 0.0) -> Strums:
        """Strums whose times the caller knows: from another detector, an annotation, or MIDI.

        Parameters
        ----------
        time_s : (n,) array_like
            Times, increasing [s].
        u_s : (n,) array_like or float
            Standard uncertainty of each time, independent from strum to strum [s]. Left out, the times are taken as
            exact, and no figure's ``u`` holds anything of them.

        Raises
        ------
        UsageError
            If the times are no row of finite, increasing numbers, or an uncertainty is negative or not finite.

        Examples
        --------
        >>> len(Strums.of([2.01, 3.0, 4.02], u_s=0.002))
        3
        """
        times = np.asarray(time_s, dtype=np.float64)
        if times.ndim != 1 or not np.isfinite(times).all() or (np.diff(times) <= 0).any():
            raise UsageError("strum times must be one row of finite, increasing seconds; sort them, leave out repeats")
        u = np.asarray(u_s, dtype=np.float64)
        if u.shape not in ((), times.shape) or not np.isfinite(u).all() or (u < 0).any():
            raise UsageError(
                f"u_s needs one number, or one for each of the {len(times)} strums, none below 0; got shape {u.shape}"
            )
        unknown = np.full(len(times), np.nan)
        u = np.broadcast_to(u, times.shape)
        return cls(time_s=times, u_s=u, strength_db=unknown, p=np.ones(len(times)), bias_u_s=0.0, error_share=1.0)

    def __len__(self) -> int:
        """Count the strums."""
        return len(self.time_s)

    def between(self, start_s: float, end_s: float) -> Strums:
        """Those from one file time to another, and the sounds ignored there."""
        inside = (self.time_s >= start_s) & (self.time_s < end_s)
        return replace(
            self,
            time_s=self.time_s[inside],
            u_s=self.u_s[inside],
            strength_db=self.strength_db[inside],
            p=self.p[inside],
            ignored=tuple(sound for sound in self.ignored if start_s <= sound.time_s < end_s),
            doubtful=tuple(sound for sound in self.doubtful if start_s <= sound.time_s < end_s),
        )
