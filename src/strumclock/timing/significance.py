"""Which beat, part of the beat or chord change may be named as the problem: beyond chance and beyond what is heard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strumclock.timing import intervals
from strumclock.timing.design import Floats, Whole, beside
from strumclock.timing.error_model import Wander
from strumclock.timing.estimate import Estimate

AUDIBLE_FLOOR_S, AUDIBLE_SHARE = 0.006, 0.025
"""Smallest shift of one tone that is heard: 6 ms; above 240 ms 2.5 % of the interval (Friberg & Sundberg 1995)."""

NAMED_BELOW_P = 0.04
"""Largest p at which a place is named, after Holm's correction over all that was asked of the take (Holm 1979). In
simulation this names something with 3 to 6 % of even players (those at 6 % correct little and play short takes)."""

AS_CLEAR = 0.7
"""Places this close to the clearest may as well be what is wrong: two late beats of four look like two early ones."""

MIN_IN_PLACE = 3
"""A beat or part with fewer strums is not named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Mean offset of the strums at one place.

    Attributes
    ----------
    place : int
        Number of the beat, part or bar, from 1.
    n : int
        Strums.
    offset_ms : Estimate or None
        Their mean offset; with a fitted anchor the difference from the mean of all places.
    """

    place: int
    n: int
    offset_ms: Estimate | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that may be named, since it exceeds both chance and what can be heard.

    Attributes
    ----------
    kind : {'beat', 'part', 'change', 'drift'}
    place : int or None
        Number of the beat or part; for a change the one beat at which all changes fall, if there is one.
    contrast : Estimate
        How much later these strums are than all others, ms; for a drift its slope, ms a minute.
    direction : {'late', 'early', 'falling behind', 'pulling ahead'}
    p : float
        Probability of a contrast as large by chance, after Holm's correction; for a drift, without correction.
    """

    kind: str
    place: int | None
    contrast: Estimate
    direction: str
    p: float


def audible_s(interval_s: float) -> float:
    """Smallest displacement that is heard in a run of tones `interval_s` apart, s (Friberg & Sundberg 1995).

    Examples
    --------
    >>> audible_s(0.2), audible_s(0.6)
    (0.006, 0.015)
    """
    return max(AUDIBLE_FLOOR_S, AUDIBLE_SHARE * interval_s)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Question:
    """Are the marked strums later than the rest? Of two places only the first is asked for; `other` is the second."""

    kind: str
    place: int | None
    marked: Floats
    other: int | None = None


def questions(line: Floats, places: Mapping[str, Whole], at_change: NDArray[np.bool_]) -> list[Question]:
    """What may be asked of the take: the chord changes, and each beat and part against the others."""
    found = []
    if MIN_IN_PLACE <= at_change.sum() <= at_change.size - MIN_IN_PLACE:
        beats = np.unique(places["beat"][at_change])
        place = int(beats[0]) if beats.size == 1 else None
        found.append(Question(kind="change", place=place, marked=at_change.astype(float)))
    for kind in ("beat", "part"):
        levels, counts = np.unique(places[kind], return_counts=True)
        if levels.size < 2:
            continue
        other = int(levels[1]) if levels.size == 2 else None
        for level, count in zip(levels[:1] if levels.size == 2 else levels, counts, strict=False):
            if MIN_IN_PLACE <= count <= at_change.size - MIN_IN_PLACE:
                marked = (places[kind] == level).astype(float)
                found.append(Question(kind=kind, place=int(level), marked=marked, other=other))
    return [question for question in found if beside(question.marked, line) is not None]


def name_places(
    asked_of_it: list[Question],
    wander: Wander,
    line: Floats,
    offset_ms: Floats,
    u_ms: Floats,
    by: Mapping[str, tuple[Group, ...]],
    audible_ms: float,
    *,
    contrasts: bool,
) -> list[Finding]:
    """Name the clearest place, take it out, and ask again: one late beat does not make the other three early.

    Each round's probabilities are multiplied by the number of questions still open, as Holm's correction does.
    """
    named: list[Finding] = []
    held_fixed, open_, p_before = line, list(asked_of_it), 0.0
    while open_:
        weighed = [(question, beside(question.marked, held_fixed)) for question in open_]
        asked = [(question, weights) for question, weights in weighed if weights is not None]
        if not asked:
            break
        combined = np.array([weights for _, weights in asked])
        values = combined @ offset_ms
        clear = np.abs(values) / wander.half_width(combined)
        # Where the click is known, the place further from it is what is wrong; else the later one.
        own = values if contrasts else np.abs([offset_ms[question.marked > 0].mean() for question, _ in asked])
        alike = np.flatnonzero(clear >= AS_CLEAR * clear.max())
        corrected = [len(open_) * wander.p_value(combined[i], float(values[i])) for i in alike]
        proven = [(own[i], -int(i), p) for i, p in zip(alike, corrected, strict=True) if p < NAMED_BELOW_P]
        if not proven:
            break
        _, back, p = max(proven)  # of equals the first asked: a chord change before the beat that it falls on
        p_before = max(p_before, p)
        best = -back
        question, weights = asked[best]
        open_.remove(question)
        held_fixed = np.column_stack([held_fixed, question.marked])
        plain = beside(question.marked, line)
        seen = 0.0 if plain is None else float(plain @ offset_ms)
        if abs(values[best]) <= audible_ms or abs(seen) <= audible_ms or seen * values[best] < 0:
            continue
        contrast = intervals.combination(float(values[best]), weights, wander, u_ms)
        place, late = question.place, contrast.value > 0
        if question.other is not None:
            place, late, contrast = _which_of_two(question, contrast, by[question.kind], contrasts=contrasts)
        direction = "late" if late else "early"
        named.append(Finding(kind=question.kind, place=place, contrast=contrast, direction=direction, p=p_before))
    return named


def _which_of_two(
    question: Question, contrast: Estimate, groups: tuple[Group, ...], *, contrasts: bool
) -> tuple[int | None, bool, Estimate]:
    """Of two places that differ, the one further from the click; where that is not known, the later one."""
    first, second = (group.offset_ms for group in groups)
    take_first = contrast.value > 0
    if not contrasts and first is not None and second is not None:
        take_first = abs(first.value) > abs(second.value)
    if take_first:
        return question.place, contrast.value > 0, contrast
    turned = Estimate(value=-contrast.value, low=-contrast.high, high=-contrast.low, u=contrast.u)
    return question.other, turned.value > 0, turned
