"""What `measure` can be told beside the exercise: one value, checked before any file is read.

`measure` takes these fields as keyword arguments, the command line as options, ``practice.toml`` and ``takes.csv`` as
keys and columns; all of them are made from this list.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from strumclock.errors import UsageError
from strumclock.fields import check_fields, fields_of, given

if TYPE_CHECKING:
    from strumclock.verdict import Standard

DAY_S = 86_400.0  # no recorder writes a longer file
EARLIEST_DOWNBEAT_S = -600.0  # a recorder that was started ten minutes after beat 1 has missed the take
LATENCY_RANGE_MS = (-1_000.0, 10_000.0)  # a wireless loudspeaker lags by 300 ms, a network by seconds
LATENCY_U_MAX_MS = 1_000.0  # beyond a beat nothing is known
PARTS_MAX = 999  # more than half an hour holds
DISTANCE_MAX_M = 100.0  # a hall's length
STATED_U_S = 0.002  # of a downbeat or latency that somebody states without saying how well: read off a screen, to 2 ms


def _known_standard(told: object) -> Any:
    """A standard, or the name of a preset."""
    from strumclock.verdict import STANDARDS, Standard

    if isinstance(told, Standard) or (isinstance(told, str) and told in STANDARDS):
        return told
    raise UsageError(f"the standard must be one of {', '.join(STANDARDS)}; got {told!r}")


def _known_part(told: object) -> Any:
    """The number of a part, or all of them."""
    if told == "all":
        return told
    number = int(told) if isinstance(told, str) and told.isascii() and told.isdecimal() and len(told) < 6 else told
    if isinstance(number, int) and not isinstance(number, bool) and 1 <= number <= PARTS_MAX:
        return number
    raise UsageError(f"part must be a whole number from 1 to {PARTS_MAX}, or all, but {told!r} came; correct it")


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureOptions:
    """How a take is to be measured.  ``None`` = not told.

    Parameters
    ----------
    click : {"auto", "left", "right", "none"} or path
        Where the click is: in the recording (found out), on one channel, nowhere, or in a file of its own from the same
        recorder.
    first_downbeat_s : float, optional
        Beat 1 of the first played bar [s in the file].
    midi : path, optional
        A Standard MIDI File whose tempo map is the grid.
    latency_ms, latency_u_ms : float, optional
        Known delay of the recording behind the file it was played to, which `first_downbeat_s` is a place in, and the
        standard uncertainty of what was stated.
    start_s, end_s : float, optional
        Measure only this part of the file [s].
    part : int or "all", optional
        Which part of a recording that holds several, from 1 in order of time; else the longest that fits the tempo.
        ``"all"`` is for `measure_parts`.
    same_clock : bool
        One device played the click and recorded, so their clocks are one.
    click_to_mic_m, guitar_to_mic_m, click_to_ear_m : float, optional
        Distances [m]; unknown ones widen the mean offset's uncertainty.
    standard : str or Standard, optional
        What counts as held: ``"first-weeks"``, ``"steady"`` (default), ``"tight"``, or one of your own.
    changes, tuning : bool
        Also find chord changes, which needs librosa (a second to load); also tell the guitar's pitch.
    free : bool
        Only find the strums: no grid, no timing.

    Raises
    ------
    UsageError
        If one of them is no such value, is not finite or out of range, or contradicts another.

    Examples
    --------
    >>> MeasureOptions(start_s=5, end_s=28).end_s
    28.0
    >>> MeasureOptions(latency_u_ms=-5)
    Traceback (most recent call last):
    ...
    strumclock.errors.UsageError: latency_u_ms (...) must be a number from 0 to 1000, but -5 came; correct it
    """

    click: str | os.PathLike[str] = given(
        str, "where the click is", "Where the click is. [auto]", default="auto", metavar="auto|left|right|none|FILE"
    )
    first_downbeat_s: float | None = given(
        float, "seconds to beat 1 of the first played bar", "Seconds to beat 1 of the first played bar.",
        low=EARLIEST_DOWNBEAT_S, high=DAY_S,
    )  # fmt: skip
    midi: str | os.PathLike[str] | None = given(
        str, "a Standard MIDI File", "A Standard MIDI File whose tempo map is the grid.", metavar="FILE"
    )
    latency_ms: float | None = given(
        float, "milliseconds of delay", "Known delay of the recording behind the file it was played to.",
        low=LATENCY_RANGE_MS[0], high=LATENCY_RANGE_MS[1],
    )  # fmt: skip
    latency_u_ms: float | None = given(
        float, "the standard uncertainty of what was stated", "Standard uncertainty of what was stated. [2]",
        low=0.0, high=LATENCY_U_MAX_MS,
    )  # fmt: skip
    start_s: float | None = given(
        float, "seconds to where the measuring begins", "Seconds: measure from here.",
        low=0.0, high=DAY_S, in_files=False,
    )  # fmt: skip
    end_s: float | None = given(
        float, "seconds to where the measuring ends", "Seconds: measure up to here.",
        low=0.0, high=DAY_S, in_files=False,
    )  # fmt: skip
    part: int | str | None = given(
        str, "a part of the recording", "Which part of a recording that holds several, from 1; all: each in turn.",
        check=_known_part, in_files=False, metavar="N|all",
    )  # fmt: skip
    same_clock: bool = given(
        bool, "whether one clock made click and recording",
        "One device played the click and recorded: their clocks are one.", default=False,
    )  # fmt: skip
    click_to_mic_m: float | None = given(
        float, "metres", "Metres from the click's speaker to the microphone.", low=0.0, high=DISTANCE_MAX_M
    )
    guitar_to_mic_m: float | None = given(
        float, "metres", "Metres from the guitar to the microphone.", low=0.0, high=DISTANCE_MAX_M
    )
    click_to_ear_m: float | None = given(
        float, "metres", "Metres from the click's speaker to the player's ear.", low=0.0, high=DISTANCE_MAX_M
    )
    standard: str | Standard | None = given(
        str, "what counts as held", "What counts as held: first-weeks, steady or tight. [steady]",
        check=_known_standard, in_files=False,
    )  # fmt: skip
    changes: bool = given(
        bool, "whether to find chord changes", "Find where the chords change and what changing costs.", default=False
    )
    tuning: bool = given(bool, "whether to tell the pitch", "Tell the whole guitar's pitch.", default=False)
    free: bool = given(
        bool, "whether only strums are wanted", "Only find the strums: no grid, no timing.",
        default=False, in_files=False,
    )  # fmt: skip

    def __post_init__(self) -> None:
        check_fields(self)
        if self.start_s is not None and self.end_s is not None and self.start_s >= self.end_s:
            raise UsageError(
                f"end_s must lie after start_s, but {self.start_s:g} and {self.end_s:g} came; correct one of them"
            )
        if self.latency_ms is not None and self.first_downbeat_s is None:
            raise UsageError(
                "latency_ms needs first_downbeat_s, the place of beat 1 in the file that was played to, but a latency "
                "came alone; give both"
            )

    def told(self) -> Mapping[str, str | float | bool]:
        """What differs from the defaults, in plain values; of a standard its name.

        Examples
        --------
        >>> dict(MeasureOptions(click="none", guitar_to_mic_m=1, standard="tight").told())
        {'click': 'none', 'guitar_to_mic_m': 1.0, 'standard': 'tight'}
        """
        found = {name: getattr(self, name) for name in fields_of(MeasureOptions)}
        differ = {n: v for n, v in found.items() if v != MeasureOptions.__dataclass_fields__[n].default}
        return MappingProxyType({n: getattr(v, "name", v) if n == "standard" else v for n, v in differ.items()})

    @property
    def judged_by(self) -> Standard:
        """The standard that the take is held against."""
        from strumclock.verdict import the_standard

        return the_standard(self.standard)

    @property
    def downbeat_s(self) -> float | None:
        """Beat 1 of the first played bar in the recording [s], the latency added; None where not stated."""
        return None if self.first_downbeat_s is None else self.first_downbeat_s + (self.latency_ms or 0.0) / 1000

    @property
    def stated_u_s(self) -> float:
        """Standard uncertainty of a stated downbeat and latency [s]."""
        return STATED_U_S if self.latency_u_ms is None else self.latency_u_ms / 1000
