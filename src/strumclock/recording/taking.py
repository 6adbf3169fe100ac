"""A take, recorded in step: measure the loop, play the click, keep what the microphone hears, say where beat 1 is."""

from __future__ import annotations

import io
import math
import os
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from strumclock.audio.in_step import InStep, add_in_step
from strumclock.clicktrack import ClickTrack, click_track
from strumclock.errors import RecordingError
from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.recording.card import Block, SoundCard, Stream
from strumclock.recording.desk import FULL_SCALE, Desk
from strumclock.recording.latency import Latency, loop_sounds, measure_latency
from strumclock.saving import replacing

COUNT_IN_BARS = 1  # where the exercise tells none: a convention
AHEAD_S = 0.3  # between deciding to play and playing: some blocks, so that the first sample is not too late
RING_S = 1.5  # the last chord may ring out
TRIES = 3  # a card that loses samples while it starts up may be steady afterwards


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """Where a recording stands, for who watches it.

    Attributes
    ----------
    stage : {"loop", "take"}
    bar, beat : int
        Bar 0: what is counted in, or nothing yet.
    bars : int
    peak : float
        Largest value since the last moment; 1 is full scale.
    lost : bool
        Whether the sound card has lost samples.
    """

    stage: str
    bar: int = 0
    beat: int = 0
    bars: int = 0
    peak: float = 0.0
    lost: bool = False

    @property
    def peak_db(self) -> float:
        """The peak in dB re full scale; minus infinity for silence."""
        return 20 * math.log10(self.peak) if self.peak > 0 else -math.inf

    @property
    def too_loud(self) -> bool:
        """Whether something was cut off."""
        return self.peak >= FULL_SCALE


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TakeInStep:
    """A take that was recorded in step with its click.

    Attributes
    ----------
    samples : (n,) float32
    sample_rate_hz : int
    in_step : InStep
        What the file will say of the click.
    latency : Latency
    clipped : int
        Samples at full scale: what was louder is cut off.
    whole : bool
        Whether all bars were recorded; else somebody, or the sound card, ended it before.
    stalled : bool
        Whether it was the sound card.
    """

    samples: Block
    sample_rate_hz: int
    in_step: InStep
    latency: Latency
    clipped: int
    whole: bool
    stalled: bool = False

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.samples) / self.sample_rate_hz


def record_take(
    card: SoundCard,
    exercise: Exercise,
    *,
    timbre: str = "wood",
    headphones: bool = False,
    between: Callable[[Latency], None] | None = None,
    watch: Callable[[Moment], None] | None = None,
) -> TakeInStep:
    """Record one take while its click is played.

    Ctrl-C (`KeyboardInterrupt`) during the take ends it; what was recorded is returned.

    Parameters
    ----------
    card : SoundCard
    exercise : Exercise
        Its bpm is needed; bars 16 and a count-in of one bar unless told.
    timbre : str
        The click's sound, as for `click_track`.
    headphones : bool
        The click goes into the ears: an earpiece is at the microphone while the loop is measured.
    between : callable, optional
        Called when the loop is measured, before the take: to put the headphones on, for example.
    watch : callable, optional
        Called some twenty times a second.

    Returns
    -------
    TakeInStep

    Raises
    ------
    UsageError
        If the exercise makes no click track.
    RecordingError
        If the test sounds do not come back, the sound card loses samples before the take or stops, or the take is ended
        before its first bar.
    """
    if exercise.count_in is None:
        exercise = replace(exercise, count_in=COUNT_IN_BARS)
    track = click_track(exercise, timbre=timbre, sample_rate_hz=card.sample_rate_hz)
    desk = Desk(card.sample_rate_hz)
    with card.opened(desk.exchange) as stream:
        latency, since = _loop(desk, stream, watch)
        if between is not None:
            between(latency)
        if any(at > since for at in desk.lost):
            raise RecordingError(
                "the sound card must lose nothing between measuring the loop and the take, but it did; close other "
                "programs and start again"
            )
        start = desk.frames + round(AHEAD_S * card.sample_rate_hz)
        stop = start + len(track.samples) + round((latency.value_s + RING_S) * card.sample_rate_hz)
        desk.play(track.samples, start)
        whole, stalled = _played(desk, stream, track, start, stop, watch)
        desk.hush()
    samples = desk.recorded(start, stop)
    lost = [(at - start) / card.sample_rate_hz for at in desk.lost if at > since]
    first_downbeat_s = track.first_downbeat_s + latency.value_s
    if len(samples) / card.sample_rate_hz <= first_downbeat_s or any(at_s <= first_downbeat_s for at_s in lost):
        why = "the sound card lost samples" if lost else "it ended"
        raise RecordingError(f"a take needs a played bar, but {why} before the first one; record it again")
    told = {name: value for name in fields_of(Exercise) if (value := getattr(exercise, name)) is not None}
    told["meter"] = track.meter
    told.pop("bars", None)
    if whole:
        told["bars"] = sum(bars for bars, _ in track.steps)
    said = InStep(
        exercise={name: _plain(value) for name, value in told.items()},
        first_downbeat_s=first_downbeat_s,
        latency_s=latency.value_s,
        latency_u_s=latency.u_s,
        same_clock=card.same_clock,
        headphones=headphones,
        lost_at_s=min(lost, default=None),
    )
    return TakeInStep(
        samples=np.clip(samples, -1.0, 1.0),
        sample_rate_hz=card.sample_rate_hz,
        in_step=said,
        latency=latency,
        clipped=int((np.abs(samples) >= FULL_SCALE).sum()),
        whole=whole,
        stalled=stalled,
    )


def write_take(take: TakeInStep, path: str | os.PathLike[str]) -> None:
    """Write a take as a WAV of 24 bits that says where its click is; whole or not at all.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    import soundfile

    wav = io.BytesIO()
    soundfile.write(wav, take.samples, take.sample_rate_hz, subtype="PCM_24", format="WAV")
    with replacing(path) as temporary:
        temporary.write_bytes(add_in_step(wav.getvalue(), take.in_step))


def _loop(desk: Desk, stream: Stream, watch: Callable[[Moment], None] | None) -> tuple[Latency, int]:
    """The loop's latency, and the place since which nothing may be lost."""
    sound, begin_s = loop_sounds(desk.sample_rate_hz)
    for _ in range(TRIES):
        start = desk.frames + round(AHEAD_S * desk.sample_rate_hz)
        desk.play(sound, start)
        while desk.frames < start + len(sound):
            desk.step(stream)
            if watch is not None:
                watch(Moment(stage="loop", peak=desk.peak()))
        desk.hush()
        if not any(at > start for at in desk.lost):
            return measure_latency(desk.recorded(start, start + len(sound)), begin_s, desk.sample_rate_hz), start
    raise RecordingError(
        "the sound card must lose nothing while the loop is measured, but it did each time; close other programs"
    )


def _played(
    desk: Desk, stream: Stream, track: ClickTrack, start: int, stop: int, watch: Callable[[Moment], None] | None
) -> tuple[bool, bool]:
    """Wait for the take's end: whether it is whole, and whether the sound card ended it."""
    bars = sum(bars for bars, _ in track.steps)
    lost_before = len(desk.lost)
    desk.peak()
    try:
        while desk.frames < stop:
            desk.step(stream)
            if watch is not None:
                bar, beat = _place(track, (desk.frames - start) / desk.sample_rate_hz)
                lost = len(desk.lost) > lost_before
                watch(Moment(stage="take", bar=bar, beat=beat, bars=bars, peak=desk.peak(), lost=lost))
    except KeyboardInterrupt:
        return False, False
    except RecordingError:
        return False, True
    return True, False


def _place(track: ClickTrack, time_s: float) -> tuple[int, int]:
    """Bar and beat at a time of the track; bar 0 while it is counted in."""
    grid = track.grid
    line = int(np.searchsorted(grid.line_s, time_s, side="right")) - 1
    if line >= 0:
        return int(grid.line_bar[line]), int(grid.line_beat[line])
    counted = int(np.searchsorted(grid.count_in_s, time_s, side="right"))
    return 0, (counted - 1) % grid.beats_per_bar + 1 if counted else 0


def _plain(value: Any) -> Any:
    """A field's value as JSON holds it."""
    return list(value) if isinstance(value, tuple) else value
