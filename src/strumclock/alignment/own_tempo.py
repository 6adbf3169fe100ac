"""At which tempo of their own did somebody play who left the click?

The stretch itself says only how many places a minute its strums lie on; how many of these make a beat is asked of the
exercise: its places, played at the tempo, must find the strums and be found by them. Where the exercise is not known,
the usual ones are tried. Of the tempi that explain the strums the one nearest to the click's is taken, since that is
what the player wanted to keep; another one that is nearly as likely is named with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from strumclock.alignment.departures import Stretch
from strumclock.alignment.inference import TRIPLET_SWING
from strumclock.alignment.pairing import FloatArray, nearest
from strumclock.grid import Exercise, part_places

TEMPI = (0.5, 2.0)
"""Own tempi that are looked at, as shares of the click's: beyond, it is half or double time."""
PLACES_A_BEAT = 8
"""Most places of the stretch's lattice in a beat, and most beats between two of them, that are tried."""
NEAR_CLICK_OCTAVES = 0.25
"""Standard deviation of players' own tempi about the click's, in octaves: 19 %. Nobody who listens to a click at 100
means to play at 140 (common sense, no source)."""
ON_PLACE_PARTS = 0.2
"""A strum this near to a place, in parts, is on it: less than half-way to the half."""
FITS = 0.6
"""Share of places and strums together that must have found each other for a known exercise to be what was played: one
strum in five left out, one in six added."""
AS_GOOD = 0.9
"""A tempo explains the strums when it finds this share of what the best one finds."""
AS_LIKELY = 1 / 3
"""Another tempo is named when it is this likely, the one taken being 1."""
SAME_TEMPO = 0.02
"""Tempi that differ by less than this are one."""
SHOWN_STRUMS = 8
"""Strums with the click from which they show the exercise: two bars of quarters."""
TRIED_STRUMS = 8
"""Strums, spread over the stretch, on which each place of the pattern is laid in turn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnTempo:
    """A tempo of the player's own, as a share of the click's.

    Attributes
    ----------
    ratio : float
    other : float or None
        Another tempo that the strums show nearly as well, where the exercise does not decide.
    """

    ratio: float
    other: float | None = None


def own_tempi(
    beat: FloatArray, stretches: Sequence[Stretch], *, exercise: Exercise, given: Exercise, clicks_per_beat: float
) -> list[OwnTempo]:
    """The tempo of each stretch, read by the exercise if that was told, or shown by the strums that kept the click.

    Parameters
    ----------
    beat : (n,) float
        All strums in beats.
    stretches : sequence of Stretch
    exercise : Exercise
        As completed.
    given : Exercise
        As told.
    clicks_per_beat : float
    """
    shown = len(beat) - sum(s.last - s.first + 1 for s in stretches) >= SHOWN_STRUMS
    known = given.pattern is not None or (shown and exercise.pattern is not None)
    per_beat = exercise.per_beat if shown or given.per_beat is not None else None
    return [
        own_tempo(
            beat[s.first : s.last + 1], s.places_per_beat, pattern=exercise if known else None, per_beat=per_beat,
            clicks_per_beat=clicks_per_beat,
        )
        for s in stretches
    ]  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Places:
    """Where an exercise puts its strums, after how many beats that repeats, its finest part; how usual it is."""

    at: FloatArray
    period: float
    part: float
    usual: float


def own_tempo(
    beat: FloatArray,
    places_per_beat: float,
    *,
    pattern: Exercise | None = None,
    per_beat: int | None = None,
    clicks_per_beat: float = 1.0,
) -> OwnTempo:
    """The tempo of strums that lie on a lattice of their own.

    Parameters
    ----------
    beat : (n,) float
        The strums in beats.
    places_per_beat : float
        Places of a lattice that the strums keep, in a beat; any multiple of the coarsest one.
    pattern : Exercise, optional
        What they play, where its pattern is known.
    per_beat : int, optional
        Parts of the beat, where only these are known.
    clicks_per_beat : float
        Where it is not 1, what is known may have been meant for each click as a beat.

    Examples
    --------
    >>> eighths = np.arange(48) / 1.4
    >>> own_tempo(eighths, 2.8, per_beat=2)
    OwnTempo(ratio=0.7, other=None)
    >>> own_tempo(eighths, 2.8)
    OwnTempo(ratio=1.4, other=0.7)
    """
    known = _usual(_DIVISORS[per_beat]) if per_beat is not None else ()
    if pattern is not None:
        known = (_told(pattern),)
    fits = [f for unit in {1.0, clicks_per_beat} for f in _fits(beat * unit, places_per_beat / unit, known)]
    if max((fit for fit, _, _ in fits), default=0.0) < FITS:
        fits = _fits(beat * clicks_per_beat, places_per_beat / clicks_per_beat, _usual(_PARTS))
    best = max(fit for fit, _, _ in fits)
    likely = sorted(((worth, ratio) for fit, worth, ratio in fits if fit >= AS_GOOD * best), reverse=True)
    worth, ratio = likely[0]
    others = [r for w, r in likely if w >= AS_LIKELY * worth and abs(r / ratio - 1.0) > SAME_TEMPO]
    return OwnTempo(ratio=ratio, other=others[0] if others else None)


def _fits(beat: FloatArray, places_per_beat: float, exercises: Sequence[_Places]) -> list[tuple[float, float, float]]:
    """For each exercise at each tempo: how well strums and places agree, how likely it is, the tempo's ratio."""
    return [
        (_agreement(beat * ratio, places), places.usual * _near_click(ratio), ratio)
        for places in exercises
        for ratio in _ratios(places_per_beat)
    ]


def _ratios(places_per_beat: float) -> Iterator[float]:
    """Tempi at which a beat is a whole number of places, or a place a whole number of beats."""
    seen: set[float] = set()
    for beats in range(1, PLACES_A_BEAT + 1):
        for places in range(1, PLACES_A_BEAT + 1):
            ratio = round(places_per_beat * beats / places, 9)
            if TEMPI[0] <= ratio <= TEMPI[1] and ratio not in seen:
                seen.add(ratio)
                yield ratio


def _near_click(ratio: float) -> float:
    return float(np.exp(-0.5 * (np.log2(ratio) / NEAR_CLICK_OCTAVES) ** 2))


_PARTS: dict[float, float] = {0.5: 0.3, 1: 1.0, 2: 1.0, 3: 0.5, 4: 0.5}
"""Strums on every so many parts of the beat, and how usual that is (common practice, no source); 0.5: every other
beat."""
_DIVISORS: dict[int, dict[float, float]] = {
    1: {1: 1.0, 0.5: 0.25},
    2: {2: 1.0, 1: 0.25, 0.5: 0.25},
    3: {3: 1.0, 1: 0.25, 0.5: 0.25},
    4: {4: 1.0, 2: 0.25, 1: 0.25, 0.5: 0.25},
}
"""The same where the parts are known, of which some may be left out."""


def _usual(parts: dict[float, float]) -> tuple[_Places, ...]:
    """Exercises with a strum on each part; with two parts also swung."""
    found = []
    for per_beat, usual in parts.items():
        period = max(1.0, 1.0 / per_beat)
        found.append(_Places(at=np.arange(per_beat * period) / per_beat, period=period, part=1 / per_beat, usual=usual))
    if 2 in parts:
        at = part_places(2, TRIPLET_SWING)
        found.append(_Places(at=at, period=1.0, part=1.0 - TRIPLET_SWING, usual=parts[2]))
    return tuple(found)


def _told(exercise: Exercise) -> _Places:
    """The places of a known exercise."""
    per_beat = exercise.per_beat or 1
    letters = exercise.pattern or "?" * per_beat
    whole = int(np.lcm(len(letters), per_beat))
    cell = np.flatnonzero(np.resize(np.array(list(letters)), whole) != ".")
    lines = part_places(per_beat, exercise.swing)
    part = float(np.diff(np.append(lines, 1.0)).min())
    return _Places(at=cell // per_beat + lines[cell % per_beat], period=whole // per_beat, part=part, usual=1.0)


def _agreement(beat: FloatArray, places: _Places) -> float:
    """Share of places and strums that have found each other, wherever the pattern begins: matched ÷ all."""
    repeats = np.arange(-1, int(np.ptp(beat) / places.period) + 3) * places.period
    slots = (repeats[:, None] + places.at[None]).ravel()
    half = 0.5 * places.part
    best = 0.0
    for strum in beat[np.linspace(0, len(beat) - 1, TRIED_STRUMS).astype(int)]:
        for place in places.at:
            moved = beat - beat[0] + (place - strum + beat[0]) % places.period
            moved = moved - float(np.median(nearest(moved, slots)[1]))
            index, apart = nearest(moved, slots)
            matched = len(np.unique(index[np.abs(apart) <= ON_PLACE_PARTS * places.part]))
            inside = int(((slots >= moved[0] - half) & (slots <= moved[-1] + half)).sum())
            best = max(best, matched / (inside + len(beat) - matched))
    return best
