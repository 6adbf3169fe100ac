"""What was not told: parts of the beat, swing, pattern, meter, found in the strums and the click's accents.

Times here are in beats of the pulse, so a tempo map needs nothing special.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from strumclock.alignment.pairing import SMOOTH_STRUMS, WINDOW_PARTS, follow, nearest, running_median
from strumclock.arrays import Floats, Ints
from strumclock.grid import SWING_RANGE, part_places
from strumclock.robust import robust_sd

SPREAD_FLOOR_BEATS = 0.01
"""Least spread of the strums about their places that the models assume: 10 ms at 60 bpm. Below it, real players' own
means for each part (10 ms early here, 10 late there) would be read as finer parts."""
STRAY_SHARE, LATE_SHARE, LATE_BEATS = 0.05, 0.15, 0.1
"""Shares of the strums, in the models that are compared, that belong to no place of any pattern (noise, slips) and that
come late to theirs (chord changes), by an exponential of this mean: else late strums would call for finer parts."""
OFFSET_BEATS = 0.1
"""Standard deviation of the players' mean offsets from a click they hear, 60 ms at 100 bpm (tapping: person means from
-103 to -4 ms at that tempo, Bååth & Madison 2012): strums between the beats are off-beats, not strums half a beat
late."""
SWING_SPREAD_MAX = 0.1
"""Robust standard deviation in beats above which the second parts have no one place: halves and quarters of a beat
mixed have 0.18, an uneven beginner 0.05."""
SWING_HEARD = 0.56
"""Second parts that lie later in the beat than this are swung; 0.5 is straight, and at 100 bpm a straight player's bias
of 30 ms would be 0.55."""
EARLY_PARTS, LATE_PARTS = 0.15, 0.22
"""How early and how late, in parts, a strum may be to be explained by coarser parts: less than the quarter of a part
that the next finer ones would call on time."""
COARSER_LOSS = 0.03
"""Share of the strums that coarser parts may fail to explain."""
REPEATS_MIN = 3
"""A pattern is inferred from at least so many repeats (DESIGN)."""
PATTERN_SURE = 0.5
"""... and only where its places are more likely right than not: eight places, each alike in 3 of 3 repeats, are 60 %
sure."""
PLACE_COST = 0.75
"""What each place of a longer pattern must earn, in ln(repeats): more than Schwarz's ½, since slips and missed
detections come in runs, at one chord or one place."""
SILENT_CONFIDENCE = 0.98
"""Parts that were told without a pattern are all slots, unless one of them is this sure to be played less than half the
time: silent in 5 of 5 repeats, or 7 of 8."""
FILL_MIN = 0.75
"""... and the others are filled to this share; a beginner leaves out one strum in ten."""
ACCENTS_AGREE = 0.8
"""Share of the accents that must keep one distance for them to mark the bar."""
TRIPLET_SWING = 2 / 3
SWING_STRUMS_MIN, SWING_SHARE_MIN = 4, 0.15
"""Strums on each of the two parts, and their share, from which a swing is read: fewer may be slips."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartsFit:
    """Strums put on the parts of the beat.

    Attributes
    ----------
    per_beat : int
    swing : float or None
    cell : (n,) int
        Part of each strum, counted through from beat 0 (negative before it).
    on : (n,) bool
        Whether the strum lies on a part at all, once the player's slow offset is taken out.
    offset : (n,) float
        That slow offset [beats].
    explained : int
        Parts that hold a strum which is on time or a little late.
    """

    per_beat: int
    swing: float | None
    cell: Ints
    on: np.typing.NDArray[np.bool_]
    offset: Floats
    explained: int


def find_parts(
    beat: Floats, choices: Sequence[int], swing: float | None, *, clicked: bool = True
) -> tuple[PartsFit, float]:
    """Parts of the beat that the strums lie on, those told or the best explanation, and how well they explain them.

    Compared by their likelihood, a mixture of a normal spread about each part, some late strums and a few strays, less
    ½ ln n for each part (Schwarz's criterion): finer parts must earn their places.

    Parameters
    ----------
    beat : (n,) float
        Strums in beats.
    choices : sequence of int
        Parts of the beat that are possible.
    swing : float, optional
        As told: where the second part is looked for. One played elsewhere still makes two parts.
    clicked : bool
        Whether a click tells where the beats begin; else any offset is as good as any other.
    """
    options: list[tuple[int, float | None]] = []
    for parts in choices:
        options.append((parts, swing if parts in (2, 4) else None))
    if len(options) == 1 and (swing is not None or options[0][0] != 2):
        return _fit(beat, *options[0], clicked=clicked)
    played = _swing(beat) if 2 in choices else None
    if played is not None:
        options.append((2, played))
    best, best_worth = None, -np.inf
    for parts, place in options:
        fit, worth = _fit(beat, parts, place, clicked=clicked)
        worth -= 0.5 * np.log(max(len(beat), 2)) * (parts + (place is not None and place != swing))
        if best is None or worth > best_worth:
            best, best_worth = fit, worth
    if swing is not None and best is not None and best.per_beat == 2:
        best = replace(best, swing=swing)
    assert best is not None
    return _coarser(beat, best, best_worth, choices, clicked)


def _coarser(
    beat: Floats, fine: PartsFit, worth: float, choices: Sequence[int], clicked: bool
) -> tuple[PartsFit, float]:
    """The fewest parts on which as many strums lie, at the same offset, when late ones are let be late.

    Chord changes that always come a fifth of a beat late look like sixteenths to a likelihood.
    """
    if fine.swing is not None:
        return fine, worth
    for parts in sorted(choices):
        if parts < fine.per_beat and fine.per_beat % parts == 0:
            fit, coarse_worth = _fit(beat, parts, None, clicked=clicked)
            moved = abs(float(np.median(fit.offset) - np.median(fine.offset)))
            if moved < EARLY_PARTS / 2 and fit.explained >= fine.explained - COARSER_LOSS * len(beat):
                return fit, coarse_worth
    return fine, worth


def _fit(beat: Floats, per_beat: int, swing: float | None, *, clicked: bool = True) -> tuple[PartsFit, float]:
    """Strums on given parts, and the log likelihood of their places."""
    low, high = int(np.floor(beat.min())) - 1, int(np.ceil(beat.max())) + 2
    places = (np.arange(low, high)[:, None] + part_places(per_beat, swing)[None]).ravel()
    part = np.full(len(places), 1.0 / per_beat)
    offset = follow(beat, places, part)
    _, deviation = nearest(beat - offset, places)
    offset = offset + running_median(deviation, SMOOTH_STRUMS)
    index, deviation = nearest(beat - offset, places)
    spread = max(robust_sd(deviation), SPREAD_FLOOR_BEATS)
    share = (np.bincount(index % per_beat, minlength=per_beat) + 0.5) / (len(beat) + 0.5 * per_beat)
    on_time = np.exp(-0.5 * (deviation / spread) ** 2) / (spread * np.sqrt(2 * np.pi))
    late = np.where(deviation > 0, np.exp(-np.maximum(deviation, 0) / LATE_BEATS) / LATE_BEATS, 0.0)
    density = (1.0 - STRAY_SHARE - LATE_SHARE) * on_time + LATE_SHARE * late
    likelihood = float(np.log(share[index % per_beat] * density + STRAY_SHARE).sum())
    if clicked:
        likelihood -= 0.5 * (float(np.median(offset)) / OFFSET_BEATS) ** 2
    on = np.abs(deviation) <= WINDOW_PARTS / per_beat
    near = (deviation >= -EARLY_PARTS / per_beat) & (deviation <= LATE_PARTS / per_beat)
    fit = PartsFit(
        per_beat=per_beat, swing=swing, cell=index + low * per_beat, on=on, offset=offset,
        explained=len(np.unique(index[near])),
    )  # fmt: skip
    return fit, likelihood


def _swing(beat: Floats) -> float | None:
    """Place of the second of two parts where the strums swing; None where they do not.

    Put on parts at 2:1, any swing from 0.53 to 0.8 is nearest to its own part, and straight parts are not. The
    player's slow offset is followed by the first parts alone: a median over both would hop from one to the other.
    """
    fit, _ = _fit(beat, 2, TRIPLET_SWING)
    on, second = fit.on, fit.cell % 2 == 1
    rest = beat - fit.cell // 2
    first, second = on & ~second, on & second
    if min(int(second.sum()), int(first.sum())) < max(SWING_STRUMS_MIN, SWING_SHARE_MIN * len(beat)):
        return None
    offset = np.interp(beat[second], beat[first], running_median(rest[first], SMOOTH_STRUMS))
    place = rest[second] - offset
    if robust_sd(place) > SWING_SPREAD_MAX:
        return None
    swing = float(np.median(place))
    return min(swing, SWING_RANGE[1]) if swing >= SWING_HEARD else None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pattern:
    """A repeating set of places.

    Attributes
    ----------
    played : (period,) bool
        Whether each part of the period holds a strum, from the first played downbeat.
    confidence : float
        Probability that each place's majority is the truth, all places together.
    silent : (period,) float
        Probability that each place is played less than half the time.
    fill : float
        Share of the pattern's places that hold a strum, all repeats together.
    repeats : float
        Repeats seen.
    """

    played: np.typing.NDArray[np.bool_]
    confidence: float
    silent: Floats
    fill: float
    repeats: float


def find_pattern(cell: Ints, *, per_beat: int, beats_per_bar: int) -> Pattern | None:
    """The repeating set of places, from parts counted from the first played downbeat.

    Periods of one beat, half a bar (in even meters), one and two bars are compared by the likelihood of the places
    played and silent, less `PLACE_COST` · ln(repeats) for each place of the period; a place belongs to the pattern
    where it is played more often than not.  None where fewer than `REPEATS_MIN` repeats or strums were seen.
    """
    cell = cell[cell >= 0]
    if len(cell) < REPEATS_MIN:
        return None
    length = int(cell.max()) + 1
    filled = np.zeros(length)
    filled[cell] = 1.0
    periods = {1, beats_per_bar, 2 * beats_per_bar} | ({beats_per_bar // 2} if beats_per_bar % 2 == 0 else set())
    best, best_worth = None, -np.inf
    for period in sorted(b * per_beat for b in periods if b):
        if length < REPEATS_MIN * period:
            continue
        place = np.arange(length) % period
        seen = np.bincount(place, minlength=period).astype(float)
        hits = np.bincount(place, weights=filled, minlength=period)
        rate = (hits + 0.5) / (seen + 1.0)
        worth = float((hits * np.log(rate) + (seen - hits) * np.log1p(-rate)).sum() - PLACE_COST * np.log(seen).sum())
        if worth > best_worth:
            below = np.array([_rarely(int(h), int(n)) for h, n in zip(hits, seen, strict=True)])
            best_worth = worth
            played = rate > 0.5
            best = Pattern(
                played=played, fill=float(hits[played].sum() / max(seen[played].sum(), 1.0)),
                confidence=float(np.prod(np.maximum(below, 1 - below))), silent=below, repeats=length / period,
            )  # fmt: skip
    return best if best is None or best.played.any() else None


@functools.cache
def _rarely(hits: int, seen: int) -> float:
    """Probability, under a flat prior, that a place hit so often in so many repeats is hit less than half the time.

    The beta distribution's integral up to ½ as a binomial sum: P(Binomial(seen + 1, ½) > hits).
    """
    ways: int = sum(math.comb(seen + 1, k) for k in range(hits + 1, seen + 2))
    return float(ways / 2 ** (seen + 1))


def silent_places(pattern: Pattern) -> bool:
    """Whether the pattern surely leaves a place out, and is kept to: a player who stops half-way shows no pattern."""
    return bool((pattern.silent >= SILENT_CONFIDENCE).any()) and pattern.fill >= FILL_MIN


def shortest(pattern: Pattern, per_beat: int) -> Pattern:
    """The pattern without its own repeats, in whole beats: places that are played unevenly often may still all be
    played."""
    n = len(pattern.played)
    for length in range(per_beat, n, per_beat):
        times, rest = divmod(n, length)
        if not rest and (pattern.played.reshape(times, length) == pattern.played[:length]).all():
            silent = pattern.silent.reshape(times, length).min(axis=0)
            return replace(pattern, played=pattern.played[:length], silent=silent, repeats=pattern.repeats * times)
    return pattern


def coarsest(pattern: Pattern, per_beat: int) -> tuple[int, Pattern]:
    """The pattern at the fewest parts of the beat that hold all its places."""
    place = np.flatnonzero(pattern.played)
    for parts in range(1, per_beat):
        step = per_beat // parts
        if per_beat % parts == 0 and not (place % step).any():
            return parts, replace(pattern, played=pattern.played[::step], silent=pattern.silent[::step])
    return per_beat, pattern


def letters(played: np.typing.NDArray[np.bool_], per_beat: int) -> str:
    """A pattern's letters, with the usual strokes: down on the beat and each even part, up between (all down in
    threes)."""
    up = per_beat in (2, 4)
    return "".join(("U" if up and i % 2 else "D") if p else "." for i, p in enumerate(played))


@dataclass(frozen=True, slots=True, kw_only=True)
class Accents:
    """Which clicks are accented: every `period`-th beat, those that leave `phase` when divided by it."""

    period: int
    phase: int


def find_accents(beat: Floats, accented: np.typing.NDArray[np.bool_]) -> Accents | None:
    """The bar by the click's accents; None where there are none or they keep no distance.

    Parameters
    ----------
    beat : (n,) float
        Beats of the clicks heard.
    accented : (n,) bool
    """
    at = np.rint(beat[accented]).astype(int)
    if len(at) < 1 or accented.all():
        return None
    if len(at) == 1:
        return None
    gaps = np.diff(at)
    period = int(np.bincount(gaps).argmax())
    if period < 2:
        return None
    phase = int(np.bincount(at % period).argmax())
    if (at % period == phase).mean() < ACCENTS_AGREE:
        return None
    return Accents(period=period, phase=phase)
