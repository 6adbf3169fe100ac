"""One take through all of it: file → clicks → strums → grid → figures → judgement.

The command line, the batch and a notebook all come through `measure`. Each stage can also be called alone by a caller
who already has its input.
"""

from __future__ import annotations

import inspect
import os
from dataclasses import fields, replace
from typing import Any

from strumclock.alignment import Alignment, align, judged_by_place, played_anyway, same_places
from strumclock.arrays import Floats
from strumclock.audio import Recording, load
from strumclock.errors import Notice, UsageError
from strumclock.grid import BeatGrid, Exercise
from strumclock.pipeline.analysing import analyse, take_path
from strumclock.pipeline.assembling import assemble, assemble_free
from strumclock.pipeline.components import pictured
from strumclock.pipeline.in_step import Told, told_by_file
from strumclock.pipeline.listening import Listened, listen
from strumclock.pipeline.measurement import Measurement
from strumclock.pipeline.options import MeasureOptions
from strumclock.pipeline.parts import of_part, strums_elsewhere, take_steps

PRIMING = Notice(
    code="priming-unknown",
    message="this file does not say how much silence its codec put before the sound, so its times, and with them the "
    "offsets from a stated downbeat, may be wrong by 5 to 50 ms; record WAV, FLAC or M4A",
)


def measure(
    take: str | os.PathLike[str] | Recording,
    exercise: Exercise | None = None,
    options: MeasureOptions | None = None,
    **told: Any,
) -> Measurement:
    """Measure how the strums of one take lie against the click.

    Parameters
    ----------
    take : path or Recording
        A file, or a recording from `load` or `from_array`.
    exercise : Exercise, optional
        What was asked for; what is not told is inferred and listed in the result's ``inferred``.
    options : MeasureOptions, optional
        How to measure.
    **told
        Fields of `MeasureOptions`, such as ``click="none"`` or ``first_downbeat_s=2.4``; they win over `options`.

    Returns
    -------
    Measurement

    Raises
    ------
    UsageError
        If an option makes no sense; all of them are checked before the file is read.
    AudioFileError
        If the file cannot be read.
    RecordingError
        If there is nothing to measure in it.
    ClickError
        If a click was promised and none is there.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_recording
    >>> take = sc.measure(example_recording(), sc.Exercise(bpm=96, chords="Em C", beats_per_change=4))
    >>> print(f"{take.verdict.state}: {take.verdict.obstacles[0].size:+.0f ms} at chord changes")
    not-yet: +97 ms (+82 to +113) at chord changes
    """
    options = _options(options, told)
    if options.part == "all":
        raise UsageError("measure gives the figures of one part; use measure_parts for all, or tell a part's number")
    exercise = exercise or Exercise()
    nominal = _tempo_map(options, exercise)
    recording = _recording(take, options)
    told_here = told_by_file(recording, exercise, options)
    exercise, options = told_here.exercise, told_here.options
    heard = _heard(recording, told_here, nominal)
    if options.free:
        return replace(assemble_free(heard, exercise, options), settings=options.told())
    heard, alignment = _placed(heard, exercise, options, nominal)
    measurement = _of_part(heard, alignment, options)
    return replace(measurement, sources=told_here.sources)


def _options(options: MeasureOptions | None, told: dict[str, Any]) -> MeasureOptions:
    """The options with what was told besides."""
    known, exercise = ({f.name for f in fields(value)} for value in (MeasureOptions, Exercise))
    for name in told.keys() - known:
        where = (
            f"it belongs to the exercise: Exercise({name}=…)"
            if name in exercise
            else f"choose of {', '.join(sorted(known))}"
        )
        raise UsageError(f"an option of measuring was required, but {name!r} came; {where}")
    return replace(options or MeasureOptions(), **told)


def measure_parts(
    take: str | os.PathLike[str] | Recording,
    exercise: Exercise | None = None,
    options: MeasureOptions | None = None,
    **told: Any,
) -> tuple[Measurement, ...]:
    """Measure each played part of a recording in turn; errors as for `measure`.

    Parameters
    ----------
    take : path or Recording
    exercise : Exercise, optional
    options : MeasureOptions, optional
    **told
        All of them as for `measure`.

    Returns
    -------
    tuple of Measurement
        In the order of time; a stretch at the player's own tempo has none.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.synthesis import synthesise
    >>> take = synthesise(sc.Exercise(bpm=120, bars=6, meter="4/4", count_in=1), seed=1)
    >>> recording = sc.from_array(take.samples, take.sample_rate_hz)
    >>> [[part.kind for part in m.parts] for m in measure_parts(recording)]
    [['played']]
    """
    options = _options(options, told)
    exercise = exercise or Exercise()
    nominal = _tempo_map(options, exercise)
    recording = _recording(take, options)
    told_here = told_by_file(recording, exercise, options)
    exercise, options = told_here.exercise, told_here.options
    heard = _heard(recording, told_here, nominal)
    heard, first = _placed(heard, exercise, replace(options, part=None), nominal)
    parts = first.parts
    found: list[Measurement] = []
    seen: set[int] = set()
    for number, part in enumerate(parts, 1):
        if part.kind in ("stopped", "own-tempo") or number in seen:
            continue
        aligned = _align(heard, exercise, replace(options, part=None if part.measured else number), nominal)
        seen |= {i for i, row in enumerate(aligned.parts, 1) if row.measured}
        found.append(replace(_of_part(heard, aligned, options), sources=told_here.sources))
    return tuple(found)


def _of_part(heard: Listened, alignment: Alignment, options: MeasureOptions) -> Measurement:
    """The figures of the part that is measured, with the strums of the others beside them."""
    here, of_it = of_part(heard, alignment)
    found = analyse(here, of_it, options)
    played = played_anyway(here.strums, of_it, clicks_s=_clicks_s(heard, of_it))
    measurement = assemble(here.take, here.strums, of_it, found, here.notices, played)
    steps = take_steps(here, of_it, found, options)
    held = measurement.held
    if steps and held is not None:  # which tempo is next depends on the step that breaks
        held = replace(held, next_bpm=None, subdivide=False)
    return replace(
        measurement,
        held=held,
        elsewhere=strums_elsewhere(heard.strums, alignment, take_path(options).bias_s),
        parts=alignment.parts,
        settings=options.told(),
        steps=steps,
    )


def _signature() -> inspect.Signature:
    """What help() and editors show of `measure`: the options by name, from their one list."""
    own = list(inspect.signature(measure).parameters.values())[:-1]
    options = inspect.signature(MeasureOptions).parameters.values()
    return inspect.Signature([*own, *options], return_annotation="Measurement")


setattr(measure, "__signature__", _signature())  # noqa: B010  # a function's type has no such attribute


def _recording(take: str | os.PathLike[str] | Recording, options: MeasureOptions) -> Recording:
    """The samples to be measured."""
    if not isinstance(take, Recording):
        take = load(take, start_s=options.start_s, end_s=options.end_s)
    elif options.start_s is not None or options.end_s is not None:
        raise UsageError(
            "a part of a take is chosen when its file is read; got a Recording; pass start_s and end_s to load()"
        )
    return take


def _heard(take: Recording, told_here: Told, nominal: BeatGrid | None) -> Listened:
    """The take, heard up to where its click is known."""
    options = told_here.options
    ends_s = take.start_s + take.duration_s
    if told_here.known_to_s is not None:
        ends_s = min(ends_s, told_here.known_to_s)
    if options.downbeat_s is not None and options.downbeat_s >= ends_s:
        raise UsageError(
            f"the first downbeat must lie before the recording's end at {ends_s:.1f} s, but {options.downbeat_s:g} s "
            "came; correct it"
        )
    heard = listen(take, told_here.exercise, options, nominal, end_s=ends_s)
    return replace(heard, notices=(*told_here.notices, *heard.notices))


def _tempo_map(options: MeasureOptions, exercise: Exercise) -> BeatGrid | None:
    """The grid of the MIDI file that was given."""
    if options.midi is None:
        return None
    from strumclock.midi import grid_from_midi

    return grid_from_midi(options.midi, exercise)


def _placed(
    heard: Listened, exercise: Exercise, options: MeasureOptions, nominal: BeatGrid | None
) -> tuple[Listened, Alignment]:
    """What was heard, doubtful sounds judged by where they fall in the exercise; and which strum was meant for what."""
    first = _align(heard, exercise, options, nominal)
    strums = judged_by_place(heard.strums, first, clicks_s=_clicks_s(heard, first))
    if strums is heard.strums:
        return heard, first
    low = pictured(heard.low.samples, heard.low.rate_hz, heard.low.start_s, strums)
    judged = replace(heard, strums=strums, low=low)
    second = _align(judged, exercise, options, nominal)
    same = same_places(first, second)  # what was read for one exercise says nothing of another
    return (judged, second) if same else (heard, first)


def _clicks_s(heard: Listened, alignment: Alignment) -> Floats | None:
    """The clicks among the strums; those on a channel of their own are not."""
    return None if heard.clicks is None or alignment.anchor == "click-channel" else heard.clicks.every_s


def _align(heard: Listened, exercise: Exercise, options: MeasureOptions, nominal: BeatGrid | None) -> Alignment:
    """Which strum was meant for which slot."""
    alignment = align(
        heard.strums,
        exercise,
        clicks=heard.clicks,
        first_downbeat_s=options.downbeat_s,
        first_downbeat_u_s=options.stated_u_s,
        grid=nominal,
        end_s=heard.end_s,
        same_clock=options.same_clock,
        part=options.part if isinstance(options.part, int) else None,
    )
    if options.downbeat_s is None or heard.priming_known:
        return alignment
    return replace(alignment, notices=(PRIMING, *alignment.notices))
