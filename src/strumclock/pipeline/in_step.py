"""What a file that was recorded in step says of itself, told to the measuring like an option.

What the caller tells of the exercise stays; the click that was played is a fact and stays too, whatever tempo is told.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

from strumclock.audio import Recording
from strumclock.audio.in_step import UNREADABLE, InStep
from strumclock.errors import Notice, UsageError
from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.pipeline.options import MeasureOptions

SOURCE = "the recording"
TEMPO_ALIKE = 0.001  # a tempo told within this share of the click's is the click's (DESIGN: what clocks do)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """Exercise and options, completed by what the file says.

    Attributes
    ----------
    exercise : Exercise
    options : MeasureOptions
    sources : mapping of str to str
        Fields of the exercise that the file told.
    known_to_s : float or None
        Where what the file says ends, because the sound card lost samples [s].
    notices : tuple of Notice
    """

    exercise: Exercise
    options: MeasureOptions
    sources: dict[str, str] = field(default_factory=dict)
    known_to_s: float | None = None
    notices: tuple[Notice, ...] = ()


def told_by_file(take: Recording, exercise: Exercise, options: MeasureOptions) -> Told:
    """Complete what was told by what a file that was recorded in step says.

    Nothing is taken from it where the caller says where the beat is: a first downbeat, a tempo map, the click's file
    or channel.

    Examples
    --------
    >>> import numpy as np, strumclock as sc
    >>> rng = np.random.default_rng(1)
    >>> take = sc.from_array(rng.normal(0, 0.01, 44100 * 4), 44100)
    >>> said = InStep(exercise={"bpm": 80}, first_downbeat_s=3.6, latency_s=0.1, latency_u_s=1e-4, same_clock=True)
    >>> told = told_by_file(replace(take, in_step=said), Exercise(), MeasureOptions())
    >>> told.exercise.bpm, told.options.first_downbeat_s, told.sources
    (80.0, 3.6, {'bpm': 'the recording'})
    """
    said = take.in_step
    if said is None or options.first_downbeat_s is not None or options.midi is not None:
        return Told(exercise=exercise, options=options)
    if options.click not in ("auto", "none"):
        return Told(exercise=exercise, options=options)
    try:
        own = Exercise(**{name: _kept(value) for name, value in said.exercise.items()})
    except (UsageError, TypeError, ValueError):
        return Told(exercise=exercise, options=options, notices=(UNREADABLE,))
    notices = (*_other_tempo(exercise, own), *_lost(said))
    fields = {name: getattr(own, name) for name in fields_of(Exercise)}
    mine = {n: v for n, v in fields.items() if v is not None and (n == "bpm" or getattr(exercise, n) is None)}
    try:
        completed = replace(exercise, **mine)
        sources = {name: SOURCE for name in mine if getattr(exercise, name) != mine[name]}
    except UsageError:  # what is told of the pattern does not go with what was told when it was recorded
        completed, sources = replace(exercise, bpm=own.bpm), {"bpm": SOURCE}
    if said.lost_at_s is not None:
        completed = replace(completed, bars=None)  # what was played after the loss was not omitted
        sources.pop("bars", None)
    return Told(
        exercise=completed,
        options=_placed(options, said),
        sources=sources,
        known_to_s=said.lost_at_s,
        notices=notices,
    )


def _kept(value: Any) -> Any:
    """A value as JSON holds it, as a field does."""
    return tuple(value) if isinstance(value, list) else value


def _placed(options: MeasureOptions, said: InStep) -> MeasureOptions:
    """The options with the click's place. In headphones the click passes no air, on its way to the loop neither."""
    told: dict[str, Any] = {
        "first_downbeat_s": said.first_downbeat_s,
        "same_clock": options.same_clock or said.same_clock,
    }
    if options.latency_u_ms is None:
        told["latency_u_ms"] = 1000 * said.latency_u_s
    if said.headphones:
        told |= {n: 0.0 for n in ("click_to_mic_m", "click_to_ear_m") if getattr(options, n) is None}
    return replace(options, **told)


def _other_tempo(exercise: Exercise, own: Exercise) -> tuple[Notice, ...]:
    if exercise.bpm is None or own.bpm is None or abs(exercise.bpm / own.bpm - 1) <= TEMPO_ALIKE:
        return ()
    message = (
        f"the tempo told is {exercise.bpm:g} bpm, but this file was recorded in step with a click of {own.bpm:g} bpm; "
        "everything is measured against that click"
    )
    return (Notice(code="tempo-differs", message=message),)


def _lost(said: InStep) -> tuple[Notice, ...]:
    if said.lost_at_s is None:
        return ()
    message = (
        f"the sound card lost samples at {said.lost_at_s:.1f} s, from where on the click's place in the file is not "
        "known: only what was played before is measured; close other programs and record again"
    )
    return (Notice(code="samples-lost", message=message),)
