"""What one take came to: `Measurement` and its parts, field for field the JSON that `report` writes.

Signs and units: seconds for places in the recording, milliseconds for offsets and deviations, positive = late.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

from strumclock.errors import Absent, Notice, printable
from strumclock.grid import Exercise
from strumclock.showing import MOST, Shown, shortened
from strumclock.timing import Estimate, Timing
from strumclock.verdict import Held, Verdict

if TYPE_CHECKING:
    import pandas as pd

    from strumclock.alignment import Part
    from strumclock.chords import Changes
    from strumclock.correction import Correction
    from strumclock.onsets import Ignored
    from strumclock.stroke import Stroke
    from strumclock.tuning import Tuning

LONG_CODES = 200
"""Characters of the warnings' codes on one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeInfo:
    """The recording that was measured.

    Attributes
    ----------
    path, sha256 : str or None
        Where it lies and the hash of the file's bytes; None for samples given as an array.
    duration_s : float
        Length of what was measured.
    sample_rate_hz, channels : int or None
        None where strum times were given without a recording.
    """

    path: str | None
    sha256: str | None
    duration_s: float
    sample_rate_hz: int | None
    channels: int | None

    @property
    def name(self) -> str:
        """What a line calls it: the path, else what was given instead of a file."""
        return self.path or ("strum times" if self.sample_rate_hz is None else "array")


@dataclass(frozen=True, slots=True, kw_only=True)
class GridInfo:
    """How the grid lies in the recording.

    Attributes
    ----------
    anchor : str
        ``"recorded-click"``, ``"click-channel"``, ``"given"`` or ``"fitted"``.
    bpm_heard : Estimate or None
        Tempo of the click by the recorder's clock; None where no click was heard.
    clock_skew_ppm : Estimate or None
        (tempo heard / tempo told - 1) * 1e6.
    first_downbeat_s : float
        Beat 1 of the first played bar.
    clicks_heard : int
    """

    anchor: str
    bpm_heard: Estimate | None
    clock_skew_ppm: Estimate | None
    first_downbeat_s: float
    clicks_heard: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Strum:
    """One strum.

    Attributes
    ----------
    time_s : float
        Release of its first string.
    u_ms : float
        Standard uncertainty of that time.
    p : float
        Probability that it is a strum.
    slot, bar, beat, part : int or None
        Its place in the grid (slots from 0, the others from 1); None for a strum without a slot, which is added unless
        `left_click`.
    stroke : str or None
        The pattern's letter there, ``"?"`` where the pattern was inferred.
    grid_s : float or None
        Where its slot lies; None for a strum without a slot.
    offset_ms : float or None
        Strum minus grid line, positive = late; None for a strum without a slot, or where the grid is only fitted.
    deviation_ms : float or None
        The same less the take's mean.
    at_change : bool
        The first strum of a new chord.
    left_click : bool
        Played in a stretch that kept a tempo of its own: in no figure, and neither added nor in a slot.
    of : int or None
        Number of the part of the recording that it lies in, from 1.
    measured : bool
        Whether the figures are of that part; the place of a strum of another part is one of that part's own grid.
    """

    time_s: float
    u_ms: float
    p: float = 1.0
    slot: int | None = None
    bar: int | None = None
    beat: int | None = None
    part: int | None = None
    stroke: str | None = None
    grid_s: float | None = None
    offset_ms: float | None = None
    deviation_ms: float | None = None
    at_change: bool = False
    left_click: bool = False
    of: int | None = None
    measured: bool = True

    @property
    def added(self) -> bool:
        """Whether it was played without a slot, in step with the click."""
        return self.slot is None and not self.left_click


@dataclass(frozen=True, slots=True, kw_only=True)
class Omitted:
    """A slot without a strum, and where it was expected.

    Attributes
    ----------
    slot, bar, beat, part : int
        Its place in the grid (slots from 0, the others from 1).
    time_s : float
        Where the slot lies.
    p : float or None
        Probability that nothing was played there, by what the microphone heard near it; None where no recording was
        listened to, or the take is too short to show how its player fills the slots.
    """

    slot: int
    bar: int
    beat: int
    part: int
    time_s: float
    p: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftClick:
    """A stretch in which the player kept a steady tempo of their own beside the click's.

    Attributes
    ----------
    start_s, end_s : float
    played_bpm : float
    other_bpm : float or None
        Another tempo that its strums show nearly as well, where the exercise does not decide.
    """

    start_s: float
    end_s: float
    played_bpm: float
    other_bpm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a stepped tempo.

    Attributes
    ----------
    step : int
        From 1.
    bpm, start_s : float
    bars : (int, int) or None
        First and last bar in which something was played.
    n, n_omitted : int
        Strums on slots, and slots without a strum.
    mean_offset_ms, jitter_ms : Estimate or None
    share : Estimate or None
        Share of the strums within the standard's tolerance about the step's own mean.
    held : bool or None
        Whether the step alone held its tempo; None where it is too short to tell.
    """

    step: int
    bpm: float
    start_s: float
    bars: tuple[int, int] | None
    n: int
    n_omitted: int
    mean_offset_ms: Estimate | None
    jitter_ms: Estimate | None
    share: Estimate | None
    held: bool | None


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Measurement(Shown):
    """One take, measured.

    Attributes
    ----------
    take : TakeInfo
    exercise : Exercise
        As told, completed by what was inferred.
    inferred : tuple of str
        The exercise's fields that were inferred.
    grid : GridInfo or None
        None where only strums were asked for.
    strums : tuple of Strum
        Of the part that is measured, in order of time.
    elsewhere : tuple of Strum
        Of the recording's other parts.
    parts : tuple of Part
        The stretches of playing in the recording, in order of time; empty where only strums were asked for.
    steps : tuple of Step
        Figures for each step of a stepped tempo.
    sources : mapping of str to str
        Where fields of the exercise were told that the caller did not tell: a file's path, or its name.
    settings : mapping of str to str, float or bool
        What `measure` was told beside the exercise: see `MeasureOptions.told`.
    omitted : tuple of Omitted
    timing : Timing or None
        None where only strums were asked for.
    changes, tuning, stroke, correction : object or None
        None where not asked for or not to be told; the reason is in `absent`.
    held : Held or None
        Whether it holds its tempo by the standard.
    verdict : Verdict or None
        What a teacher concludes.
    absent : mapping of str to Absent
        What cannot be known, by its place in the JSON.
    warnings : tuple of Notice
    ignored : tuple of Ignored
        Sounds in no figure: not taken for strums, or outside the exercise.
    left_click : tuple of LeftClick
    """

    take: TakeInfo
    exercise: Exercise
    inferred: tuple[str, ...] = ()
    grid: GridInfo | None = None
    strums: tuple[Strum, ...] = ()
    omitted: tuple[Omitted, ...] = ()
    timing: Timing | None = None
    changes: Changes | None = None
    tuning: Tuning | None = None
    stroke: Stroke | None = None
    correction: Correction | None = None
    held: Held | None = None
    verdict: Verdict | None = None
    absent: Mapping[str, Absent] = field(default_factory=lambda: MappingProxyType({}))
    warnings: tuple[Notice, ...] = ()
    ignored: tuple[Ignored, ...] = ()
    left_click: tuple[LeftClick, ...] = ()
    elsewhere: tuple[Strum, ...] = ()
    parts: tuple[Part, ...] = ()
    steps: tuple[Step, ...] = ()
    sources: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    settings: Mapping[str, str | float | bool] = field(default_factory=lambda: MappingProxyType({}))

    def __repr__(self) -> str:
        """The take on one line: a file's name may be long and the notices many, so both are told shortly."""
        codes = [notice.code for notice in self.warnings]
        said = self._figures(shortened(printable(self.take.name)))
        said += [f"warnings: {shortened(', '.join(codes), LONG_CODES)}"] if codes else []
        return f"<Measurement {shortened('; '.join(said), MOST - len('<Measurement >'))}>"

    def __str__(self) -> str:
        """The take in a few lines of figures."""
        lines = self._figures(self.take.name)
        return "\n".join([*lines, *(f"warning ({notice.code}): {notice.message}" for notice in self.warnings)])

    def _figures(self, name: str) -> list[str]:
        """Recording, grid, timing, judgement: a line each."""
        lines = [f"{name}: {len(self.strums)} strums in {self.take.duration_s:.1f} s"]
        if self.grid is not None:
            heard = self.grid.bpm_heard
            at = f"{self.exercise.bpm:g} bpm" if self.exercise.bpm else "tempo not known"
            lines.append(f"grid: {self.grid.anchor}, {at}" + (f", heard {heard:.3f}" if heard else ""))
        if self.timing is not None:
            lines.append(str(self.timing))
        if self.held is not None:
            lines.append(str(self.held))
        return lines

    def to_frame(self) -> pd.DataFrame:
        """The strums as a table, a row each in the order of time; see `strumclock.pipeline.frames.strum_table`."""
        from strumclock.pipeline.frames import strum_table

        return strum_table(self)

    def to_row(self) -> pd.DataFrame:
        """The take as a table of one row, every figure in columns; see `strumclock.pipeline.frames.take_table`."""
        from strumclock.pipeline.frames import take_table

        return take_table(self)
