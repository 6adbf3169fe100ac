"""How was it meant, what was told of the parts and the pattern at a beat that is not the click's?

A tempo told as half or double of the click's keeps its beat. The parts and the pattern told with it may have been meant
for the click's beats all the same; then each of its strums would be put on the slot of another. So what was told comes
into question in three meanings: as it was told, with each click as its beat, and not at all, where what the strums
repeat is taken. Which one holds is decided with all else that was meant (`hypotheses`), by where the strums lie by
themselves and the click alone, whatever was told: their `OwnPlaces`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment import inference
from strumclock.alignment.completing import Completed
from strumclock.alignment.pairing import nearest
from strumclock.alignment.pulse import Pulse
from strumclock.arrays import Floats, Ints
from strumclock.errors import Notice
from strumclock.grid import PER_BEAT_RANGE, Exercise, Meter, part_places, parts_of_pattern
from strumclock.robust import robust_sd

PARTS = tuple(range(PER_BEAT_RANGE[0], PER_BEAT_RANGE[1] + 1))
STRUMS_MIN = 8
"""Fewer strums do not contradict what was told: two bars of quarters."""
CLEAR_PARTS = 0.15
"""Robust standard deviation of the strums about their own places, in parts, above which they show none: a spread over
the whole part, as random strums have, gives 0.37, and four parts a beat at 60 bpm played with 30 ms of jitter 0.12."""
SAME_PARTS = 0.2
"""Two places this near, in the finer of their parts, are one: less than half-way to the half, which would be another,
and all that a told swing may be off."""
ON_CLICK_PARTS = 0.25
"""Parts told that the strums lie on only when moved by more than this share of a part are not theirs: off-beats are
not beats half a beat late."""
BY_CLICK_SHARE, FOUND_SHARE = 0.12, 0.2
"""Costs, as shares of the strums, of a meaning that is not what was told: each click as the beat; what the strums
repeat. A beginner who leaves out one strum in ten and adds one in ten speaks less against what was told."""
FITS, CLEARER = 0.75, 0.1
"""Share of the strums that must be on time, or a little late, on the parts told in each click, for these to be where
the strums lie; a beginner with one late change in four strums has that many. Of other parts told, by how much more."""
WITHIN_CLICK = 0.02
"""How far a place read at another beat may be moved onto that beat's parts, in clicks: 12 ms at 100 bpm, for a
swing such as 0.62, told roughly anyway."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OwnPlaces:
    """Where strums lie by themselves and the click, whatever was told.

    Attributes
    ----------
    place : (n,) float
        The place in the beat that each strum was played for [beats of the pulse].
    part : float
        Length of their finest part [beats of the pulse].
    per_unit : float
        Their own beats (the pulse's, or the clicks) in a beat of the pulse.
    per_beat, swing : int, float or None
        Parts of one of these, and the swing.
    clear : bool
        Whether they keep to these places.
    """

    place: Floats
    part: float
    per_unit: float
    per_beat: int
    swing: float | None
    clear: bool

    def cells(self, per_beat: int, swing: float | None) -> tuple[Ints, NDArray[np.bool_]]:
        """Each place as a part of the pulse's beat, counted through from beat 0; and whether it is one at all."""
        place = np.unique(np.rint(self.place / self.part * 1e3)) / 1e3 * self.part
        low = int(np.floor(place.min())) - 1
        beats = np.arange(low, int(np.ceil(place.max())) + 2)
        lines = (beats[:, None] + part_places(per_beat, swing)[None]).ravel()
        index, apart = nearest(place, lines)
        return index + low * per_beat, np.abs(apart) <= SAME_PARTS * min(1.0 / per_beat, self.part)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Meaning:
    """One way in which what was told may have been meant.

    Attributes
    ----------
    name : str
        ``"as-told"``, ``"by-click"`` or ``"as-played"``.
    given : Exercise
        What it comes to at the pulse's beat.
    cost : float
        What speaks against it beforehand, in strums explained.
    kept : (n,) bool or None
        The strums that lie on parts which an exercise can have; None: all.
    """

    name: Literal["as-told", "by-click", "as-played"]
    given: Exercise
    cost: float = 0.0
    kept: NDArray[np.bool_] | None = None


def meanings_of(given: Exercise, own: OwnPlaces | None, pulse: Pulse, per_bar: int) -> Iterator[Meaning]:
    """Every meaning that comes into question.

    Parameters
    ----------
    given : Exercise
        As told.
    own : OwnPlaces or None
        Where the strums lie by themselves; None where the click's beat is the one told.
    pulse : Pulse
    per_bar : int
        Beats in a bar.
    """
    yield Meaning(name="as-told", given=given)
    if own is None or not own.clear:
        return
    n = len(np.unique(own.place))
    for exercise in _by_click(given, pulse.clicks_per_beat, per_bar, own.swing):
        yield Meaning(name="by-click", given=exercise, cost=BY_CLICK_SHARE * n)
    kept = _coarser(own)
    if kept.sum() >= STRUMS_MIN:
        exercise = replace(given, per_beat=None, pattern=None, swing=None)
        yield Meaning(name="as-played", given=exercise, cost=FOUND_SHARE * n, kept=kept)


def own_places_of(beat: Floats, pulse: Pulse, given: Exercise) -> OwnPlaces | None:
    """Where the strums lie by themselves; None where that is not asked, as the click's beat is the one told."""
    return None if pulse.clicks_per_beat == 1.0 or len(beat) < STRUMS_MIN else own_places(beat, pulse, given)


def own_places(beat: Floats, pulse: Pulse, given: Exercise | None = None) -> OwnPlaces:
    """Where the strums lie: on the parts told, if each click is taken for the beat that was meant and they fit; else on
    those parts of the pulse's beat or, where that explains them better, of the clicks' that fit best.

    What was told comes first since late strums, as at chord changes, look like finer parts to whom nothing is told.
    """
    clicked = pulse.anchor != "fitted" or pulse.mapped
    unit = pulse.clicks_per_beat
    told_own, explained = None, FITS - CLEARER
    for parts in _parts_told(given) if given is not None and unit != 1.0 else ():
        fit, _ = inference.find_parts(beat * unit, [parts], given.swing if given and parts == 2 else None)
        own = _own(beat, fit, unit)
        moved = abs(float(np.median(fit.offset))) * parts
        share = fit.explained / len(beat)
        if own.clear and moved <= ON_CLICK_PARTS and share >= explained + CLEARER:
            told_own, explained = own, share
    if told_own is not None:
        return told_own
    best, best_worth = None, -np.inf
    for unit in sorted({1.0, pulse.clicks_per_beat}):
        fit, worth = inference.find_parts(beat * unit, PARTS, None, clicked=clicked)
        worth += len(beat) * float(np.log(unit))  # a density by the unit, made one by the pulse's beat
        if best is None or worth > best_worth:
            best, best_worth = _own(beat, fit, unit), worth
    assert best is not None
    return best


def _own(beat: Floats, fit: inference.PartsFit, unit: float) -> OwnPlaces:
    """A fit of parts of `unit` beats to a beat of the pulse, in beats of the pulse."""
    whole, part = np.divmod(fit.cell, fit.per_beat)
    place = whole + part_places(fit.per_beat, fit.swing)[part]
    spread = robust_sd(beat * unit - fit.offset - place)
    return OwnPlaces(
        place=place / unit, part=1.0 / (fit.per_beat * unit), per_unit=unit, per_beat=fit.per_beat,
        swing=fit.swing, clear=spread * fit.per_beat <= CLEAR_PARTS,
    )  # fmt: skip


def _parts_told(given: Exercise) -> list[int]:
    """The parts of a beat that were told, or that the pattern's length allows, the likeliest first."""
    if given.per_beat is not None:
        return [given.per_beat]
    if given.pattern is None:
        return []
    usual = parts_of_pattern(given.pattern, given.time_signature or Meter(4, 4))
    fitting = [parts for parts in PARTS if len(given.pattern) % parts == 0]
    return fitting if usual is None else [usual, *(parts for parts in fitting if parts != usual)]


def on_slots(own: OwnPlaces, slot_beat: Floats, part: float, *, free: bool) -> NDArray[np.bool_]:
    """Whether each strum's own place is a slot, the slots and the length of their finest part in beats of the pulse.

    Where no click says how far the strums lie from their places (`free`), the places are moved as a whole so that most
    are slots.
    """
    if not len(slot_beat):
        return np.zeros(len(own.place), np.bool_)
    moves = np.zeros(1)
    if free:
        _, apart = nearest(own.place, slot_beat)
        moves = np.unique(np.round(apart / own.part, 3)) * own.part
        moves = moves[np.argsort(np.abs(moves), kind="stable")]
    same = SAME_PARTS * min(part, own.part)
    on = [np.abs(nearest(own.place - move, slot_beat)[1]) <= same for move in moves]
    return max(on, key=lambda found: int(found.sum()))


def _by_click(given: Exercise, clicks_per_beat: float, per_bar: int, swing: float | None) -> Iterator[Exercise]:
    """What was told, each click taken for its beat, written at the told beat; nothing where that cannot be written."""
    ratio = Fraction(clicks_per_beat).limit_denominator(8)
    place_of_second = given.swing if given.swing is not None else swing
    for per_click in _parts_told(given):
        written = _written(given.pattern, per_click, place_of_second if per_click == 2 else None, ratio)
        if written is None:
            continue
        per_beat, pattern, swung = written
        change = given.change_every_beats or (per_bar if given.chords else None)
        yield replace(
            given, per_beat=per_beat, pattern=pattern, swing=swung, bars=_whole(given.bars, ratio),
            beats_per_change=_whole(change, ratio) or given.beats_per_change,
        )  # fmt: skip


def _written(
    pattern: str | None, per_click: int, swing: float | None, ratio: Fraction
) -> tuple[int, str | None, float | None] | None:
    """A pattern of clicks, written at beats of `ratio` clicks: parts of the beat, pattern, swing; None if impossible.

    Examples
    --------
    >>> _written("D.DU", 2, None, Fraction(2)), _written("DU", 2, 2 / 3, Fraction(1, 2))
    ((4, 'D.DU', None), (3, 'D...U.', None))
    """
    letters = pattern or "D" * per_click
    clicks = Fraction(len(letters), per_click)
    letters *= (clicks / ratio).denominator
    cell = np.arange(len(letters))
    place = (cell // per_click + part_places(per_click, swing)[cell % per_click]) / float(ratio)
    beats = round(len(letters) / per_click / float(ratio))
    swings: list[tuple[int, float | None]] = [] if swing is None else [(2, swing), (4, swing)]
    for per_beat, swung in [*((parts, None) for parts in PARTS), *swings]:
        at = np.arange(beats * per_beat)
        lattice = at // per_beat + part_places(per_beat, swung)[at % per_beat]
        index, apart = nearest(place, lattice)
        if np.abs(apart).max() * float(ratio) <= WITHIN_CLICK and len(np.unique(index)) == len(place):
            written = np.full(len(lattice), ".")
            written[index] = list(letters)
            return per_beat, None if pattern is None else "".join(written), swung
    return None


def _whole(clicks: int | None, ratio: Fraction) -> int | None:
    """A number of clicks, or of bars of them, in beats; None where that is not whole."""
    beats = None if clicks is None else clicks / ratio
    return int(beats) if beats is not None and beats.denominator == 1 and beats >= 1 else None


def _coarser(own: OwnPlaces) -> NDArray[np.bool_]:
    """The strums on those parts of the pulse's beat that an exercise can have and that most of them lie on."""
    if own.per_unit == 1.0:
        return np.ones(len(own.place), np.bool_)
    on = [np.abs(own.place * p - np.rint(own.place * p)) <= SAME_PARTS * min(1.0, own.part * p) for p in PARTS]
    return max(on, key=lambda found: int(found.sum()))


def meant(meaning: Meaning, told: Exercise, done: Completed) -> Completed:
    """A completed exercise, with what is to be said of a meaning other than as it was told."""
    if meaning.name == "as-told":
        return done
    inferred = done.inferred
    if told.swing is None and done.exercise.swing is not None and "swing" not in inferred:
        inferred += ("swing",)
    notices = tuple(n for n in done.notices if n.code not in ("pattern-inferred", "pattern-unknown"))
    if meaning.name == "by-click":
        notice = _by_click_notice(told, done)
    else:
        notice = _as_played_notice(told, done, 0 if meaning.kept is None else int((~meaning.kept).sum()))
    return replace(done, inferred=inferred, notices=(*notices, notice))


def _by_click_notice(told: Exercise, done: Completed) -> Notice:
    message = (
        f"{_as_told(told)} does not fit the strums at the told beat of {done.exercise.bpm:g} bpm; with each click as "
        f"its beat it does, so it is read as {_as_used(done)} of the told beat"
    )
    return Notice(code="pattern-read", message=message)


def _as_played_notice(told: Exercise, done: Completed, others: int) -> Notice:
    found = done.exercise.pattern is not None
    message = (
        f"{_as_told(told)} does not fit the strums at the told beat of {done.exercise.bpm:g} bpm; "
        + (
            f"they repeat {_as_used(done)} of it, which is used instead"
            if found
            else f"{_as_used(done)} are used instead"
        )
        + ", and no strum counts as omitted"
        + ("; strums between these parts count as added" if others else "")
    )
    return Notice(code="pattern-differs", message=message)


def _as_told(told: Exercise) -> str:
    """What was told of the places of the strums, in words."""
    parts = "" if told.per_beat is None else _parts(told.per_beat)
    if told.pattern is None:
        return f"what was told, {parts} of a beat," if parts else "no more than four parts of a beat"
    return f"the pattern told, {told.pattern}{f' at {parts} of a beat' if parts else ''},"


def _as_used(done: Completed) -> str:
    parts = _parts(done.exercise.per_beat or 1)
    return parts if done.exercise.pattern is None else f"{done.exercise.pattern} at {parts}"


def _parts(per_beat: int) -> str:
    return "1 part" if per_beat == 1 else f"{per_beat} parts"
