"""The take to listen to: the recording on the left, a short tone where each strum belongs on the right.

With headphones, or with the balance turned, a student hears early and late: a strum that comes before its tone is
early. The tones stand at the places of the pattern (higher on a bar's first beat), also where a strum was left out. The
level is bounded: the recording is only ever turned down, and the tones stay below `TONE_PEAK`.
"""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strumclock.audio.writing import write_wav
from strumclock.errors import UsageError
from strumclock.report.writing import check_outputs

if TYPE_CHECKING:
    from strumclock.audio import Recording
    from strumclock.pipeline import Measurement

PEAK = 0.5  # -6 dBFS: loud passages of a phone recording are turned down to this, quiet ones are left as they are
TONE_PEAK = 0.25  # -12 dBFS: heard beside a guitar without startling
TONE_S = 0.03  # short enough to be one moment, long enough to have a pitch
RISE_S = 0.001  # a rise this short is heard as the tone's start and does not crackle
TONE_HZ, BAR_TONE_HZ = 1760.0, 2637.0  # A6 and E7, above a guitar's fundamentals


def marked(measurement: Measurement, recording: Recording) -> NDArray[np.float32]:
    """The recording on the left, a tone at each place of the pattern on the right.

    Parameters
    ----------
    measurement : Measurement
        With a grid.
    recording : Recording
        The take that was measured, or any part of it.

    Returns
    -------
    (n, 2) array of float32
        Between -`PEAK` and `PEAK`, at the recording's own rate.

    Raises
    ------
    UsageError
        If the take was measured without a grid.
    """
    places = expected_places(measurement)
    if not places:
        raise UsageError(
            "a sound with marks needs a take that was held against a grid with at least one place; "
            "this one has none; measure it without --free"
        )
    rate_hz = recording.sample_rate_hz
    mono = recording.mono()
    loudest = float(np.max(np.abs(mono))) if len(mono) else 0.0
    out = np.zeros((len(mono), 2), np.float32)
    out[:, 0] = mono * np.float32(PEAK / loudest if loudest > PEAK else 1.0)
    tones = {on_bar: _tone(BAR_TONE_HZ if on_bar else TONE_HZ, rate_hz) for on_bar in (False, True)}
    for time_s, on_bar in places:
        first = round((time_s - recording.start_s) * rate_hz)
        tone = tones[on_bar][max(0, -first) :]
        first = max(0, first)
        room = len(mono) - first
        if room > 0 and len(tone):
            out[first : first + len(tone), 1] += tone[:room]
    np.clip(out, -PEAK, PEAK, out=out)
    return out


def expected_places(measurement: Measurement) -> list[tuple[float, bool]]:
    """When each strum was expected [s in the file], played or left out, and whether on a bar's first beat.

    With a fitted grid they are the places of the player's own average.
    """
    places = [(o.time_s, o.beat == 1 and o.part == 1) for o in measurement.omitted]
    for strum in measurement.strums:
        late_ms = strum.offset_ms if strum.offset_ms is not None else strum.deviation_ms
        if strum.slot is not None and late_ms is not None:
            places.append((strum.time_s - late_ms / 1000, strum.beat == 1 and strum.part == 1))
    return sorted(places)


def check_sound_name(path: str | os.PathLike[str]) -> None:
    """Refuse another ending than that of a WAV file.

    Raises
    ------
    UsageError
    """
    if Path(path).suffix.lower() != ".wav":
        raise UsageError(f"the sound's name must end in .wav; got {os.fspath(path)!r}; change its ending")


def write_sound(
    measurement: Measurement,
    path: str | os.PathLike[str],
    *,
    recording: Recording | None = None,
    force: bool = False,
) -> Path:
    """Write `marked` as a 16-bit WAV file.

    Parameters
    ----------
    measurement : Measurement
    path : path
        Ends in ``.wav``.
    recording : Recording, optional
        The take; by default it is read again from its file, with half a second around the places.
    force : bool
        Replace a file that is there.

    Raises
    ------
    UsageError
        If the take was an array and no recording is given, the ending is another, or there is no grid.
    OutputError
        If the file cannot be written, or must not be: see `strumclock.report.writing`.
    """
    check_sound_name(path)
    take = [measurement.take.path] if measurement.take.path else []
    check_outputs({"the sound": path}, reads=take, sounds=("the sound",), force=force)
    if recording is None:
        recording = take_again(measurement)
    write_wav(path, marked(measurement, recording), recording.sample_rate_hz)
    return Path(path)


_AROUND_S = 0.5  # by ear: the last strum is heard to its end
_COUNT_IN_S = 8.0  # before the first place, so that the count-in is heard


def take_again(measurement: Measurement) -> Recording:
    """The recording once more, from the count-in to half a second after the last place."""
    from strumclock.audio import load

    if measurement.take.path is None:
        raise UsageError("a sound with marks needs the recording; the take was given as an array; pass recording= too")
    times = [time_s for time_s, _ in expected_places(measurement)]
    if not times:
        return load(measurement.take.path)
    return load(measurement.take.path, start_s=max(0.0, times[0] - _COUNT_IN_S), end_s=times[-1] + _AROUND_S)


def _tone(frequency_hz: float, rate_hz: int) -> NDArray[np.float32]:
    frequency_hz = min(frequency_hz, 0.4 * rate_hz)
    time_s = np.arange(max(1, round(TONE_S * rate_hz))) / rate_hz
    shape = np.minimum(time_s / RISE_S, 1.0) * np.exp(-time_s / (TONE_S / 4))
    wave: NDArray[np.float64] = TONE_PEAK * shape * np.sin(2 * math.pi * frequency_hz * time_s)
    return wave.astype(np.float32)
