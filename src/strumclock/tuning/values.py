"""What is known about a guitar's tuning: `Tuning` of a strummed take, `OpenStrings` of single strings."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from strumclock.errors import Notice
from strumclock.showing import Shown
from strumclock.timing import Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuning:
    """The whole guitar's pitch in a strummed take.

    Attributes
    ----------
    cents : Estimate
        Deviation from equal temperament at `a4_hz`, within half a semitone (-50 to 50); positive = sharp.
    a4_hz : float
        The reference that was held against the take.
    n_strums : int
        Strums that it rests on.
    """

    cents: Estimate
    a4_hz: float
    n_strums: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenString:
    """One open string: its name, its frequency and how far that is from where it belongs.

    Attributes
    ----------
    string : str
        Name and octave in standard tuning, such as ``"E2"``.
    frequency_hz : float
        Of the fundamental.
    cents : Estimate
        Against equal temperament, all strings moved by `OpenStrings.moved_semitones`; positive = sharp.
    relative_cents : float
        The same less the mean of all strings that were heard: the tuning against each other.
    n_plucks : int
    """

    string: str
    frequency_hz: float
    cents: Estimate
    relative_cents: float
    n_plucks: int


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class OpenStrings(Shown):
    """The open strings of one recording, with what is worth saying about them.

    Attributes
    ----------
    strings : tuple of OpenString
        Those that were heard, low to high.
    missing : tuple of str
        Those that were not.
    a4_hz : float
    moved_semitones : int
        By how many semitones all strings sound above (positive) standard tuning, as with a capo or a guitar tuned down.
    spread_cents : Estimate or None
        From the flattest to the sharpest string; None from fewer than two.
    warnings : tuple of Notice
    """

    strings: tuple[OpenString, ...]
    missing: tuple[str, ...]
    a4_hz: float
    moved_semitones: int = 0
    spread_cents: Estimate | None
    warnings: tuple[Notice, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """The fields as plain values for JSON."""
        return {"schema": "strumclock.tuning/1", **asdict(self)}
