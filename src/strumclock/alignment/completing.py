"""What was not told is completed from the strums and the click, and the first played bar is found: a `Plan`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from strumclock.alignment import inference
from strumclock.alignment.inference import Accents
from strumclock.alignment.pairing import FloatArray, IntArray
from strumclock.alignment.pulse import Pulse
from strumclock.alignment.start import find_start
from strumclock.errors import Notice
from strumclock.grid import COUNT_IN_MAX_BARS, PER_BEAT_RANGE, Exercise, Meter, parts_of_pattern

if TYPE_CHECKING:
    from strumclock.click import Clicks

LONGEST_BAR = 7
"""Beats in the longest bar that accents are believed to mark, when the first click heard is one of them."""
EVEN_STRUMS, EVEN_SHARE = 16, 0.8
"""Strums, and the share of them one and the same odd distance apart, from which that may be a tempo of its own: a beat
and a quarter is 80 against 100."""
FITS = 0.75
"""Share of the strums on the parts that make a told pattern one bar, below which other parts are tried."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """The exercise completed, and where its first bar begins.

    Attributes
    ----------
    exercise : Exercise
        With tempo, meter and parts of the beat; bars only where told.
    start_beat : float
        Beat of the pulse that is the first played downbeat; whole where the pulse's beats are known to be beats.
    inferred : tuple of str
    confidence : mapping
    pattern_inferred : bool
        Whether the places of the strums were not told: then none counts as omitted.
    explained : float
        Share of the strums that lie on time, or a little late, on parts of the beat.
    notices : tuple of Notice
    """

    exercise: Exercise
    start_beat: float
    inferred: tuple[str, ...]
    confidence: Mapping[str, float]
    pattern_inferred: bool
    explained: float
    notices: tuple[Notice, ...]


def complete(
    beat: FloatArray,
    pulse: Pulse,
    told: Exercise,
    *,
    clicks: Clicks | None = None,
    downbeat: float | None = None,
) -> Plan:
    """Complete an exercise and find its first bar.

    Parameters
    ----------
    beat : (n,) float
        The strums in beats of the pulse.
    pulse : Pulse
    told : Exercise
    clicks : Clicks, optional
        For their accents.
    downbeat : float, optional
        The first played downbeat in beats of the pulse, where the user stated it.
    """
    inferred: list[str] = ["bpm"] if pulse.tempo_found else []
    accents = _accents(clicks, pulse)
    meter, notices = _meter(told, accents, pulse.map_beats_per_bar)
    if told.meter is None and not pulse.mapped:
        inferred.append("meter")
    per_bar = meter.beats_per_bar
    free = pulse.anchor == "fitted" and not pulse.mapped
    choices = _choices(told, meter)
    lattice, ahead = _lattice(beat, choices[:1] if told.pattern else choices, told.swing, free=free)
    if len(choices) > 1 and lattice.explained < FITS * len(beat):
        lattice, ahead = _lattice(beat, choices, told.swing, free=free)
    parts = lattice.per_beat
    cell = lattice.cell[lattice.on] if lattice.on.any() else lattice.cell
    start, more = find_start(cell, lattice, pulse, told, per_bar=per_bar, accents=accents, downbeat=downbeat)
    notices += more
    pattern, confidence, from_strums = told.pattern, {}, False
    if pattern is None:
        seen = inference.find_pattern(cell - round(start * parts), per_beat=parts, beats_per_bar=per_bar)
        from_strums = told.per_beat is None or (seen is not None and inference.silent_places(seen))
        if from_strums:
            inferred += ["per_beat", "pattern"] if told.per_beat is None else ["pattern"]
            if seen is not None and seen.confidence >= inference.PATTERN_SURE:
                parts, seen = inference.coarsest(seen, parts) if len(choices) > 1 else (parts, seen)
                seen = inference.shortest(seen, parts)
                pattern, confidence = inference.letters(seen.played, parts), {"pattern": seen.confidence}
            notices += (_pattern_notice(pattern, seen),)
            if told.per_beat is None:
                notices += _even_notice(cell, lattice.per_beat, pulse.bpm)
    elif told.per_beat is None:
        inferred.append("per_beat")
    swing = lattice.swing if parts == lattice.per_beat and parts in (2, 4) else None
    if told.swing is None and swing is not None:
        inferred.append("swing")
    count_in = told.count_in
    if count_in is None and clicks is not None:
        count_in = min(max(int(start) // per_bar, 0), COUNT_IN_MAX_BARS)
        inferred.append("count_in")
    exercise = replace(
        told, bpm=pulse.bpm, meter=str(meter), per_beat=parts, pattern=pattern, swing=swing, count_in=count_in
    )
    return Plan(
        exercise=exercise, start_beat=start - ahead, inferred=tuple(inferred), confidence=confidence,
        pattern_inferred=from_strums, explained=lattice.explained / len(beat), notices=notices,
    )  # fmt: skip


def _choices(told: Exercise, meter: Meter) -> list[int]:
    """Parts of the beat that are possible, the likeliest first: told, or from the pattern's length, or the meter's."""
    if told.per_beat is not None:
        return [told.per_beat]
    every = list(range(PER_BEAT_RANGE[0], PER_BEAT_RANGE[1] + 1))
    if told.pattern is None:
        return [meter.default_per_beat] if meter.beat_is_dotted else every
    filling = parts_of_pattern(told.pattern, meter)
    fitting = [parts for parts in every if len(told.pattern) % parts == 0]
    return fitting if filling is None else [filling, *(parts for parts in fitting if parts != filling)]


def _lattice(
    beat: FloatArray, choices: list[int], swing: float | None, *, free: bool
) -> tuple[inference.Lattice, float]:
    """The strums on the parts of the beat, and how far into a beat the pulse's beat 0 lies.

    Where no click tells where a beat begins (`free`), the first strum is beat 0 of the pulse, but may have been the
    second of two swung parts.
    """
    lattice, worth = inference.find_parts(beat, choices, swing, clicked=not free)
    if free and swing != 0.5 and not {2, 4}.isdisjoint(choices):
        ahead = inference.TRIPLET_SWING if swing is None else swing
        ahead = ahead / 2 if choices == [4] else ahead
        other, other_worth = inference.find_parts(beat + ahead, choices, swing, clicked=False)
        if other_worth > worth and other.swing is not None:
            return other, ahead
    return lattice, 0.0


def _accents(clicks: Clicks | None, pulse: Pulse) -> Accents | None:
    """The click's accents in beats of the pulse."""
    if clicks is None or pulse.mapped:
        return None
    heard = np.asarray(clicks.heard, dtype=np.bool_)
    at = np.arange(len(heard)) / pulse.clicks_per_beat
    return inference.find_accents(at[heard], np.asarray(clicks.accented, dtype=np.bool_)[heard])


def _meter(told: Exercise, accents: Accents | None, mapped: int | None) -> tuple[Meter, tuple[Notice, ...]]:
    """The tempo map's meter, else the one told, else the accents', else 4/4."""
    if mapped is not None and told.beats_per_bar != mapped:
        return Meter(mapped, 4), ()
    if told.time_signature is not None:
        return told.time_signature, ()
    if accents is not None and accents.phase == 0 and accents.period <= LONGEST_BAR:
        return Meter(accents.period, 4), ()
    message = "the meter was not told and no accented click clearly marks the bars: 4/4 is assumed"
    return Meter(4, 4), (Notice(code="meter-assumed", message=message),)


def _pattern_notice(pattern: str | None, seen: inference.Pattern | None) -> Notice:
    if pattern is None or seen is None:
        why = f"repeats fewer than {inference.REPEATS_MIN} times" if seen is None else "does not show clearly"
        message = (
            f"the pattern was not told and {why}: every part of the beat counts as a place for a strum, and no strum "
            "as omitted"
        )
        return Notice(code="pattern-unknown", message=message)
    sure = "over 99" if seen.confidence > 0.99 else f"{100 * seen.confidence:.0f}"
    message = (
        f"the pattern was not told: the strums repeat {pattern} ({seen.repeats:.0f} times, {sure} % sure; the times do "
        "not show down from up); strums left out of it are not counted as omitted"
    )
    return Notice(code="pattern-inferred", message=message)


def _even_notice(cell: IntArray, parts: int, bpm: float) -> tuple[Notice, ...]:
    """Strums evenly apart by neither whole beats nor whole parts of one may keep a tempo beside the click's."""
    gaps = np.diff(cell)
    if len(cell) < EVEN_STRUMS:
        return ()
    usual = int(np.bincount(gaps).argmax())
    if (gaps == usual).mean() < EVEN_SHARE or usual % parts == 0 or parts % usual == 0:
        return ()
    message = (
        f"the strums come evenly, one every {usual / parts:.3g} beats of the click: as a tempo of their own that is "
        f"{bpm * parts / usual:.0f} a minute against its {bpm:.0f}; tell the parts of the beat to have them held "
        "against the beats"
    )
    return (Notice(code="even-beside-click", message=message),)
