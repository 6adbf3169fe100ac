"""What a recording holds, told apart: the guitar, and the click wherever it is."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.audio import Recording, load
from strumclock.audio.channel import Channel
from strumclock.audio.decimation import TARGET_RATE_HZ
from strumclock.click import Clicks, Removal, find_click_channel, find_clicks, remove_clicks
from strumclock.errors import ClickError, Notice, UsageError
from strumclock.grid import BeatGrid, Exercise
from strumclock.pipeline.click_notices import click_notices, swelling_notices

AROUND_S = 2.0  # a part's first strum is heard against what rang before it, its last one rings on
_CHANNELS = {"left": 0, "right": 1}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sound:
    """What the recording holds, once told apart: the guitar, and the clicks with their origin.

    The guitar is decimated (to `rate_hz`), once for every stage that follows, and so is what `removal` holds; the first
    sample of each stands at `start_s` in the file.
    """

    guitar: NDArray[np.float32]
    rate_hz: float
    start_s: float
    clicks: Clicks | None
    removal: Removal | None
    notices: tuple[Notice, ...] = ()


def tell_apart(
    recording: Recording, exercise: Exercise, click: str | os.PathLike[str], nominal: BeatGrid | None
) -> Sound:
    """Part the guitar from the click, wherever the click is.

    Of a part of a file, the click's sound and place are learned from the context, a count-in above all.
    """
    wide = recording.context
    if wide is None:
        return _told_apart(recording, exercise, click, nominal)
    try:
        sound = _told_apart(wide, exercise, click, nominal)
    except ClickError:
        return _told_apart(recording, exercise, click, nominal)
    if sound.clicks is None:
        return _excerpt(sound, recording, None)
    clicks = sound.clicks.between(recording.start_s, recording.start_s + recording.duration_s)
    if clicks is None:  # they are elsewhere: perhaps another take's, and this part has its own
        return _told_apart(recording, exercise, click, nominal)
    return _excerpt(sound, recording, clicks)


def _excerpt(sound: Sound, recording: Recording, clicks: Clicks | None) -> Sound:
    """The sound of a part with a little around it, so that nothing near its ends is cut in two."""
    first = max(0, math.floor((recording.start_s - AROUND_S - sound.start_s) * sound.rate_hz))
    last = math.ceil((recording.start_s + recording.duration_s + AROUND_S - sound.start_s) * sound.rate_hz)
    removal = sound.removal
    if removal is not None:
        removal = replace(removal, samples=removal.samples[first:last], removed=removal.removed[first:last])
    notices = sound.notices
    if sound.clicks is not None and clicks is not None:
        wide = click_notices(sound.clicks)
        notices = (*click_notices(clicks), *(notice for notice in notices if notice not in wide))
    return replace(
        sound,
        guitar=sound.guitar[first:last],
        start_s=sound.start_s + first / sound.rate_hz,
        clicks=clicks,
        removal=removal,
        notices=notices,
    )


def _told_apart(
    recording: Recording, exercise: Exercise, click: str | os.PathLike[str], nominal: BeatGrid | None
) -> Sound:
    """Part the guitar from the click in all of a recording."""
    where = os.fspath(click)
    hints: dict[str, Any] = {
        "start_s": recording.start_s,
        "bpm": exercise.bpm,
        "beats_per_bar": exercise.beats_per_bar,
        "nominal_s": nominal.click_s if nominal is not None else None,
    }
    if where == "none":
        return _alone(recording, recording.line())
    if where in _CHANNELS:
        index = _CHANNELS[where]
        if recording.channels < 2:
            raise UsageError(
                f"a click on the {where} channel needs a recording with two; got one channel; leave it out"
            )
        promised = _on_channel(recording, index, hints)
        if promised is None:
            raise ClickError(
                f"a click was promised on channel {index + 1}; none was heard there; "
                "check the channel, or do not tell where the click is"
            )
        return promised
    if where != "auto":
        return _in_file(recording, Path(where), hints)
    index_or_none = find_click_channel(recording.store, recording.sample_rate_hz)
    found = None if index_or_none is None else _on_channel(recording, index_or_none, hints)
    return found or _mixed(recording, hints)


def _alone(recording: Recording, guitar: Channel) -> Sound:
    """The guitar, and no click that was heard."""
    low, rate_hz = guitar.decimated(TARGET_RATE_HZ)
    return Sound(guitar=low, rate_hz=rate_hz, start_s=recording.start_s, clicks=None, removal=None)


def _mixed(recording: Recording, hints: Mapping[str, Any]) -> Sound:
    """The guitar and the click in one channel, or the guitar alone where none is heard."""
    mono = recording.line()
    alone = _alone(recording, mono)
    clicks = find_clicks(mono, recording.sample_rate_hz, low=alone.guitar, **hints)
    if clicks is None:
        return alone
    removal = remove_clicks(alone.guitar, alone.rate_hz, clicks, start_s=recording.start_s)
    # in a sound that swells the player may follow anything from its attack to its strength: rectangular (GUM 4.3.7)
    swelling_u_s = removal.swells_s / math.sqrt(3)
    return replace(
        alone,
        guitar=removal.samples,
        clicks=_less_sure(clicks, swelling_u_s) if swelling_u_s else clicks,
        removal=removal,
        notices=(*click_notices(clicks), *swelling_notices(removal.swells_s)),
    )


def _on_channel(recording: Recording, index: int, hints: Mapping[str, Any]) -> Sound | None:
    """The click on a channel of its own, the guitar on the others; None where no click is heard there."""
    clicks = find_clicks(recording.line(index), recording.sample_rate_hz, source="channel", **hints)
    if clicks is None:
        return None
    others = [c for c in range(recording.channels) if c != index]
    alone = _alone(recording, recording.line(*others))
    return replace(alone, clicks=clicks, notices=click_notices(clicks))


def _in_file(recording: Recording, path: Path, hints: Mapping[str, Any]) -> Sound:
    """The click in a file of its own, written by the same recorder at the same time."""
    other = load(path)
    clicks = find_clicks(other.line(), other.sample_rate_hz, source="file", **{**hints, "start_s": other.start_s})
    if clicks is None:
        raise ClickError(f"a click was promised in {path}; none was heard there; check the file")
    notices = click_notices(clicks)
    if abs(other.duration_s - recording.duration_s) > 1.0 and recording.start_s == 0.0:
        notices = (
            *notices,
            Notice(
                code="click-file-length",
                message=f"the click's file lasts {other.duration_s:.1f} s and the take {recording.duration_s:.1f} s; "
                "the offsets are right only if both started together",
            ),
        )
    take = _mixed(recording, hints)  # the click may be audible in the take as well
    return replace(take, clicks=clicks, notices=notices)


def _less_sure(clicks: Clicks, u_s: float) -> Clicks:
    """The clicks with a further standard uncertainty, in all segments."""
    segments = tuple(_less_sure(segment, u_s) for segment in clicks.segments)
    return replace(clicks, u_s=np.hypot(clicks.u_s, u_s), segments=segments)
