"""How a take was measured, as a paragraph for a paper's methods or a supplement: version, recording, settings, u.

What it says is what another lab needs to get the same numbers from the same file, and what a reader needs to know how
far to trust them.
"""

from __future__ import annotations

from pathlib import PurePath
from statistics import median
from typing import TYPE_CHECKING

from strumclock.errors import printable
from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.report import words
from strumclock.report.schema import SCHEMA_ID, version

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement

DISTANCES = ("click_to_mic_m", "guitar_to_mic_m", "click_to_ear_m")
TIME = "A strum's time is the release of its first string by the pick."
OFFSET = "A strum's offset is its time less its grid line, positive = late."
INTERVALS = "Intervals are of 95 % and of this take's player; u is the standard uncertainty of measuring this take."
STRAYS = "The jitter's interval is of takes of this length, with far strays as they came in this one."


def methods(measurement: Measurement) -> str:
    """How a take was measured, in a paragraph.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    str
        Plain English sentences: program and recording, what a time and an offset are, how the grid got its place, what
        was told of the exercise and what was found, settings, the standard, uncertainties.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.methods(example_take()).split(". ")[3].partition(" (")[0])
    The grid lies on the 40 clicks heard in the recording
    """
    m = measurement
    said = [_recording(m), _grid(m), _exercise(m), _settings(m), _judged(m), _uncertainty(m)]
    return " ".join(sentence for sentence in said if sentence)


def _recording(m: Measurement) -> str:
    take = m.take
    by = f"strumclock {version()} (results: {SCHEMA_ID})"
    if take.sample_rate_hz is None or take.channels is None:
        return f"{len(m.strums)} strum times, given without a recording, were measured with {by}. {OFFSET}"
    name = printable(PurePath(take.path).name) if take.path else "samples given as an array"
    sha = f", SHA-256 {take.sha256}" if take.sha256 else ""
    channels = words.count(take.channels, "channel")
    sound = f"{take.duration_s:.1f} s, {take.sample_rate_hz} Hz, {channels}{sha}"
    return f"Strums were timed with {by} in {name} ({sound}). {TIME} {OFFSET}"


def _grid(m: Measurement) -> str:
    grid = m.grid
    if grid is None:
        return "Only the strums were found; they were held against no grid."
    if grid.anchor == "fitted":
        return (
            "No click was heard: the grid was fitted to the strums, so that their evenness is known, but not whether "
            "they are early or late."
        )
    if grid.anchor == "given":
        return f"The place of the grid was stated: the first played downbeat at {grid.first_downbeat_s:.3f} s."
    where = "in the recording" if grid.anchor == "recorded-click" else "on a channel or in a file of their own"
    heard = grid.bpm_heard
    tempo = "" if heard is None else f" ({heard.value:.3f} bpm by its clock, u {1e6 * heard.u / heard.value:.1f} ppm)"
    return f"The grid lies on the {words.count(grid.clicks_heard, 'click')} heard {where}{tempo}."


def _exercise(m: Measurement) -> str:
    about = fields_of(Exercise)
    known = [name for name in about if name != "name" and getattr(m.exercise, name) is not None]
    text = {name: f"{about[name].word} {_value(getattr(m.exercise, name))}" for name in known}
    text |= {"bpm": f"{text['bpm']} bpm"} if "bpm" in text else {}
    told = [text[name] for name in known if name not in m.inferred]
    found = [text[name] for name in known if name in m.inferred]
    told_said = f"Told of the exercise: {', '.join(told)}." if told else "Nothing was told of the exercise."
    return told_said + (f" Found from the recording: {', '.join(found)}." if found else "")


def _value(value: object) -> str:
    text = "-".join(value) if isinstance(value, tuple) else f"{value:g}" if isinstance(value, float) else str(value)
    return printable(text)


def _settings(m: Measurement) -> str:
    told = [f"{name} = {_value(value)}" for name, value in m.settings.items()]
    said = f"Settings: {', '.join(told)}." if told else "All settings were the program's own."
    unknown = [name for name in DISTANCES if name not in m.settings and m.take.sample_rate_hz is not None]
    if m.timing is None or m.timing.mean_offset_ms is None or not unknown:
        return said
    return f"{said} Distances that were not told ({', '.join(unknown)}) are in the mean offset's u."


def _judged(m: Measurement) -> str:
    if m.held is None:
        return ""
    tolerance = f", tolerance {words.tolerance(1e3 * m.held.tolerance_s)}" if m.held.tolerance_s > 0 else ""
    return f"The take was held against the standard “{printable(m.held.standard.name)}”{tolerance}."


def _uncertainty(m: Measurement) -> str:
    if not m.strums:
        return ""
    each = sorted(strum.u_ms for strum in m.strums)
    said = f"u of a strum's time: {median(each):.1f} ms in the median of {len(each)}, {each[-1]:.1f} ms at most"
    mean = m.timing.mean_offset_ms if m.timing is not None else None
    said += f"; of the mean offset {mean.u:.1f} ms" if mean is not None else ""
    if m.timing is None:
        return f"{said}."
    return f"{said}. {INTERVALS}{f' {STRAYS}' if m.timing.jitter_ms is not None else ''}"
