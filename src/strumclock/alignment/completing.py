"""What was not told is completed from the strums and the click: meter, parts of the beat, swing, pattern.

`frame_of` finds what a first bar is looked for by, the meter and the parts of the beat; `complete`, once that bar is
known, the pattern and the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from strumclock.alignment import inference
from strumclock.alignment.inference import Accents, PartsFit
from strumclock.alignment.pulse import Pulse
from strumclock.arrays import Floats, Ints
from strumclock.errors import Notice
from strumclock.grid import COUNT_IN_MAX_BARS, PER_BEAT_RANGE, Exercise, Meter, parts_of_pattern

if TYPE_CHECKING:
    from strumclock.click import Clicks

LONGEST_BAR = 7
"""Beats in the longest bar that accents are believed to mark, when the first click heard is one of them."""
SAME_SWING = 0.03
"""A swing found within so much of 2:1 may be a third of the beat. Chosen by hand: 30 ms at 60 bpm, several times what a
beginner's average over a take is off by."""
EVEN_STRUMS, EVEN_SHARE = 16, 0.8
"""Strums, and the share of them one and the same odd distance apart, from which that may be a tempo of its own: a beat
and a quarter is 80 against 100."""
FITS = 0.75
"""Share of the strums on the parts that make a given pattern one bar, below which other parts are tried."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Frame:
    """What the first played bar is looked for by.

    Attributes
    ----------
    meter : Meter
    accents : Accents or None
        Of the click.
    fit : PartsFit
        The strums on the parts of the beat.
    ahead : float
        How far into a beat the pulse's beat 0 lies.
    notices : tuple of Notice
    """

    meter: Meter
    accents: Accents | None
    fit: PartsFit
    ahead: float
    notices: tuple[Notice, ...]

    @property
    def per_bar(self) -> int:
        """Beats in a bar."""
        return self.meter.beats_per_bar


def frame_of(beat: Floats, pulse: Pulse, given: Exercise, clicks: Clicks | None) -> Frame:
    """Meter and parts of the beat, as given or as the click's accents and the strums show them.

    Parameters
    ----------
    beat : (n,) float
        The strums in beats of the pulse.
    pulse : Pulse
    given : Exercise
    clicks : Clicks, optional
        For their accents.
    """
    accents = _accents(clicks, pulse)
    meter, notices = _meter(given, accents, pulse.map_beats_per_bar)
    free = pulse.anchor == "fitted" and not pulse.mapped
    choices = _choices(given, meter)
    fit, ahead = _fit(beat, choices[:1] if given.pattern else choices, given.swing, free=free)
    if len(choices) > 1 and fit.explained < FITS * len(beat):
        fit, ahead = _fit(beat, choices, given.swing, free=free)
    return Frame(meter=meter, accents=accents, fit=fit, ahead=ahead, notices=notices)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Completed:
    """The exercise completed, and where its first bar begins.

    Attributes
    ----------
    exercise : Exercise
        With tempo, meter and parts of the beat; bars only where given.
    start_beat : float
        Beat of the pulse that is the first played downbeat; whole where the pulse's beats are known to be beats.
    inferred : tuple of str
    confidence : mapping
    pattern_inferred : bool
        Whether the places of the strums were not given: then none counts as omitted.
    notices : tuple of Notice
        What is to be said of what was completed.
    """

    exercise: Exercise
    start_beat: float
    inferred: tuple[str, ...]
    confidence: Mapping[str, float]
    pattern_inferred: bool
    notices: tuple[Notice, ...]


def complete(frame: Frame, pulse: Pulse, given: Exercise, start: float, *, clicked: bool) -> Completed:
    """Complete an exercise whose first bar is known.

    Parameters
    ----------
    frame : Frame
    pulse : Pulse
    given : Exercise
    start : float
        Beat of the frame at which the first played bar begins.
    clicked : bool
        Whether clicks were heard, from which a count-in can be told.
    """
    inferred: list[str] = ["bpm"] if pulse.tempo_found else []
    if given.meter is None and not pulse.mapped:
        inferred.append("meter")
    fit = frame.fit
    cell = fit.cell[fit.on] if fit.on.any() else fit.cell
    parts, pattern, confidence = fit.per_beat, given.pattern, {}
    notices: tuple[Notice, ...] = ()
    from_strums = False
    if pattern is None:
        seen = inference.find_pattern(cell - round(start * parts), per_beat=parts, beats_per_bar=frame.per_bar)
        from_strums = given.per_beat is None or (seen is not None and inference.silent_places(seen))
        if from_strums:
            inferred += ["per_beat", "pattern"] if given.per_beat is None else ["pattern"]
            if seen is not None and seen.confidence >= inference.PATTERN_SURE:
                if len(_choices(given, frame.meter)) > 1:
                    parts, seen = inference.coarsest(seen, parts)
                seen = inference.shortest(seen, parts)
                pattern, confidence = inference.letters(seen.played, parts), {"pattern": seen.confidence}
            notices += (_pattern_notice(pattern, seen),)
            if given.per_beat is None:
                notices += _even_notice(cell, fit.per_beat, pulse.bpm)
    elif given.per_beat is None:
        inferred.append("per_beat")
    swing = fit.swing if parts == fit.per_beat and parts in (2, 4) else None
    if given.swing is None and swing is not None:
        inferred.append("swing")
    if given.per_beat is None and given.meter is None and given.swing is None:
        notices += _thirds_notice(frame.meter, parts, swing)
    count_in = given.count_in
    if count_in is None and clicked:
        count_in = min(max(int(start) // frame.per_bar, 0), COUNT_IN_MAX_BARS)
        inferred.append("count_in")
    exercise = replace(
        given, bpm=pulse.bpm, meter=str(frame.meter), per_beat=parts, pattern=pattern, swing=swing, count_in=count_in
    )
    return Completed(
        exercise=exercise, start_beat=start - frame.ahead, inferred=tuple(inferred), confidence=confidence,
        pattern_inferred=from_strums, notices=notices,
    )  # fmt: skip


def _choices(given: Exercise, meter: Meter) -> list[int]:
    """Parts of the beat that are possible, the likeliest first: told, or from the pattern's length, or the meter's."""
    if given.per_beat is not None:
        return [given.per_beat]
    every = list(range(PER_BEAT_RANGE[0], PER_BEAT_RANGE[1] + 1))
    if given.pattern is None:
        return [meter.default_per_beat] if meter.beat_is_dotted else every
    filling = parts_of_pattern(given.pattern, meter)
    fitting = [parts for parts in every if len(given.pattern) % parts == 0]
    return fitting if filling is None else [filling, *(parts for parts in fitting if parts != filling)]


def _fit(beat: Floats, choices: list[int], swing: float | None, *, free: bool) -> tuple[PartsFit, float]:
    """The strums on the parts of the beat, and how far into a beat the pulse's beat 0 lies.

    Where no click tells where a beat begins (`free`), the first strum is beat 0 of the pulse, but may have been the
    second of two swung parts.
    """
    fit, worth = inference.find_parts(beat, choices, swing, clicked=not free)
    if free and swing != 0.5 and not {2, 4}.isdisjoint(choices):
        ahead = inference.TRIPLET_SWING if swing is None else swing
        ahead = ahead / 2 if choices == [4] else ahead
        other, other_worth = inference.find_parts(beat + ahead, choices, swing, clicked=False)
        if other_worth > worth and other.swing is not None:
            return other, ahead
    return fit, 0.0


def _accents(clicks: Clicks | None, pulse: Pulse) -> Accents | None:
    """The click's accents in beats of the pulse."""
    if clicks is None or pulse.mapped:
        return None
    heard = np.asarray(clicks.heard, dtype=np.bool_)
    at = np.arange(len(heard)) / pulse.clicks_per_beat
    return inference.find_accents(at[heard], np.asarray(clicks.accented, dtype=np.bool_)[heard])


def _meter(given: Exercise, accents: Accents | None, mapped: int | None) -> tuple[Meter, tuple[Notice, ...]]:
    """The tempo map's meter, else the one told, else the accents', else 4/4."""
    if mapped is not None and given.beats_per_bar != mapped:
        return Meter(mapped, 4), ()
    if given.time_signature is not None:
        return given.time_signature, ()
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


def _thirds_notice(meter: Meter, parts: int, swing: float | None) -> tuple[Notice, ...]:
    """A shuffle at 2:1, triplets and a meter of dotted beats have their strums at the same times."""
    shuffled = parts == 2 and swing is not None and abs(swing - inference.TRIPLET_SWING) <= SAME_SWING
    if meter.beat_is_dotted or not (shuffled or parts == 3):
        return ()
    taken, asked = (f"a shuffle in {meter}", f"swing {swing:.2f}") if shuffled else (f"triplets in {meter}", "triplets")
    dotted = f"{3 * meter.upper}/8" + (" or 6/8" if meter.upper == 4 else "")
    message = f"the strums fit {taken} and {dotted} alike; {meter} with {asked} is taken, and the figures hardly differ"
    return (Notice(code="two-readings", message=message),)


def _even_notice(cell: Ints, parts: int, bpm: float) -> tuple[Notice, ...]:
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
