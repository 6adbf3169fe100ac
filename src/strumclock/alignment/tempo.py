"""At what tempo was played?  Found in the strums: for takes without a click, and where a player left it.

Without a click: strums that lie on a lattice of period 1/f turn through whole circles at frequency f, so the mean of
exp(2πi·f·t) has a length near 1; strums that do not, cancel. Taken over stretches of a few seconds, a slow drift does
no harm.

Beside a click: a stretch itself says only how many places a minute its strums lie on; how many of these make a beat is
asked of the exercise: its places, played at the tempo, must find the strums and be found by them. Where the exercise is
not known, the usual ones are tried. Of the tempi that explain the strums the one nearest to the click's is taken, since
that is what the player wanted to keep; another one that is nearly as likely is named with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from strumclock.alignment.departures import Stretch
from strumclock.alignment.inference import TRIPLET_SWING
from strumclock.alignment.pairing import follow, nearest
from strumclock.arrays import Floats
from strumclock.grid import Exercise, part_places

STRETCH_S = 10.0
"""Stretch over which strums must keep step: a player who drifts by 120 ms/min moves 20 ms in it."""
STRUMS_MIN = 16
"""Strums from which a tempo is estimated: of random takes with 16 strums, one or two a second, 2 to 5 % keep step at
some tempo to the share `IN_STEP` (simulated); of those with 24, none of 200."""
IN_STEP = 0.5
"""Mean squared coherence from which strums keep a tempo at all. A spread of a ninth of the period gives it: 55 ms at
120 strums a minute."""
FINEST_HZ, COARSEST_HZ = 14.0, 0.4
"""Rates of the finest part that are looked at: sixteenths at 210 bpm, quarters at 24."""
RATE_STEP = 0.02  # Hz: a fifth of a stretch's own resolution
NEAR_BEST = 0.7
"""Of the rates at which the strums keep step, the slowest within this share of the best is the part of the beat: twice
a rate keeps step whenever the rate does. Strums half-way between the places (extras, 8 %) leave 0.7 of the
coherence."""
USUAL_BPM, USUAL_OCTAVES = 95.0, 0.6
"""Tempi are taken to lie around 95 bpm by ±0.6 octaves (63 to 144), the middle of the tempi that people prefer to tap
(about 600 ms, common knowledge of the field; from memory)."""
PARTS_WEIGHT = {1: 1.0, 2: 1.0, 3: 0.3, 4: 0.5}
"""How common 1 to 4 parts a beat are in strumming (common practice, no source)."""
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
class PlayedTempo:
    """A tempo found in the strums.

    Attributes
    ----------
    bpm : float
    per_beat : int
        Parts of the beat that the strums fill.
    """

    bpm: float
    per_beat: int


def coherence(strum_s: Floats, rate_hz: Floats) -> Floats:
    """How well strums keep step at each rate: mean squared coherence over overlapping stretches, 0 to 1.

    Corrected for chance: independent random strums give 0 on average.

    Parameters
    ----------
    strum_s : (n,) float
        Times [s], increasing.
    rate_hz : (k,) float

    Returns
    -------
    (k,) float
    """
    total, weight = np.zeros(len(rate_hz)), 0.0
    begin = float(strum_s[0])
    while True:
        i, j = np.searchsorted(strum_s, (begin, begin + STRETCH_S))
        n = int(j - i)
        if n >= 3:
            turned = np.exp(2j * np.pi * np.outer(rate_hz, strum_s[i:j] - begin)).sum(axis=1)
            total += (np.abs(turned) ** 2 - n) / (n - 1)
            weight += n
        begin += STRETCH_S / 2
        if begin + STRETCH_S / 2 >= strum_s[-1]:
            break
    return total / weight if weight else total


def played_tempo(strum_s: Floats) -> PlayedTempo | None:
    """Tempo and parts of the beat from the strums alone; None where they keep no step.

    Which multiple of the part is the beat cannot be heard in the strums' times: of 1 to 4 the one is chosen at which
    the pattern repeats by the bar and the tempo is usual.

    Examples
    --------
    >>> import numpy as np
    >>> played_tempo(np.arange(40) * 0.6)
    PlayedTempo(bpm=100.0, per_beat=1)
    """
    if len(strum_s) < STRUMS_MIN:
        return None
    rates = np.arange(COARSEST_HZ, FINEST_HZ, RATE_STEP)
    kept = coherence(strum_s, rates)
    if kept.max() < IN_STEP:
        return None
    rise = np.concatenate([[False], (kept[1:-1] >= kept[:-2]) & (kept[1:-1] >= kept[2:]), [False]])
    part_hz = float(rates[rise & (kept >= NEAR_BEST * kept.max())][0])
    part_s, cell = lattice(strum_s, 1.0 / part_hz)
    filled = np.zeros(int(cell.max()) + 1)
    filled[cell] = 1.0

    def worth(parts: int) -> float:
        return _usual(60.0 / (part_s * parts)) * PARTS_WEIGHT[parts] * _repeats(filled, parts) ** 2

    best = max(PARTS_WEIGHT, key=worth)
    return PlayedTempo(bpm=round(60.0 / (part_s * best), 6), per_beat=best)


def lattice(strum_s: Floats, part_s: float) -> tuple[float, np.typing.NDArray[np.int64]]:
    """The part's length refined by a straight line through the strums [s], and the part of every strum from 0."""
    for _ in range(2):
        places = np.arange(strum_s[0] - part_s, strum_s[-1] + 2 * part_s, part_s)
        offset = follow(strum_s, places, np.full(len(places), part_s))
        cell, deviation = nearest(strum_s - offset, places)
        on = np.abs(deviation) < 0.25 * part_s
        if on.sum() >= 3 and np.ptp(cell[on]):
            part_s = float(np.polyfit(cell[on], strum_s[on], 1)[0])
    return part_s, cell - cell[0]


def _usual(bpm: float) -> float:
    return float(np.exp(-0.5 * (np.log2(bpm / USUAL_BPM) / USUAL_OCTAVES) ** 2))


def _repeats(filled: Floats, parts: int) -> float:
    """Share of places that are played or silent as the same place one bar of four beats before."""
    bar = 4 * parts
    return float((filled[bar:] == filled[:-bar]).mean()) if len(filled) >= 2 * bar else 0.5


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
    beat: Floats, stretches: Sequence[Stretch], *, exercise: Exercise, given: Exercise, clicks_per_beat: float
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

    at: Floats
    period: float
    part: float
    usual: float


def own_tempo(
    beat: Floats,
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
    known = _usual_places(_DIVISORS[per_beat]) if per_beat is not None else ()
    if pattern is not None:
        known = (_told(pattern),)
    fits = [f for unit in {1.0, clicks_per_beat} for f in _fits(beat * unit, places_per_beat / unit, known)]
    if max((fit for fit, _, _ in fits), default=0.0) < FITS:
        fits = _fits(beat * clicks_per_beat, places_per_beat / clicks_per_beat, _usual_places(_PARTS))
    best = max(fit for fit, _, _ in fits)
    likely = sorted(((worth, ratio) for fit, worth, ratio in fits if fit >= AS_GOOD * best), reverse=True)
    worth, ratio = likely[0]
    others = [r for w, r in likely if w >= AS_LIKELY * worth and abs(r / ratio - 1.0) > SAME_TEMPO]
    return OwnTempo(ratio=ratio, other=others[0] if others else None)


def _fits(beat: Floats, places_per_beat: float, exercises: Sequence[_Places]) -> list[tuple[float, float, float]]:
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


def _usual_places(parts: dict[float, float]) -> tuple[_Places, ...]:
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


def _agreement(beat: Floats, places: _Places) -> float:
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
