"""What is heard in a take before any grid: the clicks, the strums, and the guitar alone for the stages that follow."""

from __future__ import annotations

from dataclasses import dataclass, replace

from strumclock.audio import Recording
from strumclock.click import Clicks
from strumclock.errors import Notice, RecordingError
from strumclock.grid import BeatGrid, Exercise
from strumclock.onsets import Strums, find_strums
from strumclock.onsets.strums import SURE_P
from strumclock.pipeline.components import Low, pictured
from strumclock.pipeline.measurement import TakeInfo
from strumclock.pipeline.options import MeasureOptions
from strumclock.pipeline.sources import Sound, tell_apart

ONLY_CLICK = 0.03  # of the click's peak: removal leaves more than that of a guitar even 24 dB below its click


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Listened:
    """A take, heard.

    Attributes
    ----------
    take : TakeInfo
    start_s, end_s : float
        The part of the file that was listened to.
    priming_known : bool
        Whether time zero of the file is known, the codec's own silence taken off.
    clicks : Clicks or None
    strums : Strums
        At least one.
    low : Low
        The guitar without the click.
    notices : tuple of Notice
    """

    take: TakeInfo
    start_s: float
    end_s: float
    priming_known: bool
    clicks: Clicks | None
    strums: Strums
    low: Low
    notices: tuple[Notice, ...]


def listen(
    recording: Recording,
    exercise: Exercise,
    options: MeasureOptions,
    nominal: BeatGrid | None,
    *,
    end_s: float | None = None,
) -> Listened:
    """Tell the guitar from the click and find the strums, up to the recording's end or an earlier one.

    Raises
    ------
    RecordingError
        If no strum was heard.
    ClickError
        If a click was promised and none is there.
    """
    sound = tell_apart(recording, exercise, options.click, nominal)
    ends_s = recording.start_s + recording.duration_s
    if end_s is not None and end_s < ends_s:
        ends_s = end_s
        clicks = sound.clicks and sound.clicks.between(recording.start_s, ends_s)
        sound = replace(sound, clicks=clicks)
    strums = find_strums(
        sound.guitar, sound.rate_hz, start_s=sound.start_s, clicks=sound.clicks, removal=sound.removal
    ).between(recording.start_s, ends_s)
    if not (strums.p >= SURE_P).any() or _only_click(sound):  # unsure ones alone are what is left of a click, or noise
        raise RecordingError(
            "at least one strum is needed; none was heard in "
            f"{recording.path or 'the samples'}; put the phone nearer to the guitar, or check the file"
        )
    return Listened(
        take=TakeInfo(
            path=recording.path,
            sha256=recording.sha256,
            duration_s=recording.duration_s,
            sample_rate_hz=recording.sample_rate_hz,
            channels=recording.channels,
        ),
        start_s=recording.start_s,
        end_s=ends_s,
        priming_known=recording.priming_known,
        clicks=sound.clicks,
        strums=strums,
        low=pictured(sound.guitar, sound.rate_hz, sound.start_s, strums),
        notices=(*recording.notices, *sound.notices, *strums.notices),
    )


def _only_click(sound: Sound) -> bool:
    """Whether next to nothing is left when the click is taken out."""
    if sound.removal is None:
        return False
    left, removed = (
        max(float(x.max(initial=0.0)), -float(x.min(initial=0.0)))
        for x in (sound.removal.samples, sound.removal.removed)
    )
    return left < ONLY_CLICK * removed
