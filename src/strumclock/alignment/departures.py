"""Where did the player leave the click for a tempo of their own?

Somebody who plays steadily at 84 against a click at 96 passes through every place of the beat in turn; putting those
strums on the nearest slots would make offsets, omissions and additions out of what is one thing: another tempo. A
stretch counts as left when its strums keep step at one tempo and not at the click's, and move by at least half a part
against it. Slower slides are followed by the pairing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats

STRETCHES_BEATS = (8.0, 16.0, 32.0)
"""Lengths of the stretches that are looked at: the short ones see a tempo far from the click's, the long ones one near
it (2 % off, a player needs 25 beats to move by half a beat)."""
STRUMS_MIN = 12
"""Strums in a stretch from which it is judged: fewer keep step with some tempo by chance."""
IN_STEP = 0.75
"""Coherence (mean resultant length R) from which strums keep step; a spread of an eighth of a part gives it."""
EVIDENCE = 14.0
"""... and n·R² from which they do not so by chance: exp(-14) is 1 in a million, and a take offers some ten thousand
stretches and tempi. Fewer than 15 strums cannot give it, 16 must lie within a twentieth of a part."""
OUT_OF_STEP = 0.3
"""By how much the coherence with the click's own parts must be lower."""
SLOWEST = 0.95
"""Of the tempi that strums keep nearly as well as the best, the slowest is theirs: twice a tempo is kept with it."""
LOST = 0.4
"""Coherence with the click's own parts above which a whole stretch has not left it: strums that move through a part
against the click have none, those that come late at every other chord change have 0.7."""
RATIOS = (0.55, 1.9)
"""Tempi that are looked at, as shares of the click's: beyond, it is half or double time, which keeps step with the
click."""
PARTS_OF_CLICK = (1.0, 2.0, 3.0, 4.0)
"""Strums that keep step with the parts played, or with divisions that go into them, at whatever offset, are with the
click."""
SIMPLE_TIMES, SIMPLE_WITHIN = 3.5, 0.04
"""So are strums a simple number of other divisions apart (three to every two or four parts of the beat: dotted rhythms,
triplets over two beats), if they also lie on the beats; five quarters of a beat apart is another tempo."""
EVEN_PARTS = np.array([2.0, 4.0])  # of swung strums, once the swing is taken out
TRAVEL_PARTS = 1.0
"""A stretch must move this far against the click: a part, so that its strums have come to lie on other slots than their
own. (From half a part on, eight beats of an unsteady player may do so by chance.)"""
ON_LINE_PARTS = 0.25
"""A strum this near to the line of the player's own tempo belongs to it."""
MISSES_IN_A_ROW = 3
"""So many strums off that line end the stretch."""
AT_ONCE = 64  # tempi in one block, so that half an hour of strums needs tens of megabytes, not hundreds
ROUNDS = 4  # of line, extent and ends; they settle in two or three
AROUND = 8
"""Strums on either side from which the player's offset before and after a stretch is taken: two bars of quarters."""
CAP_PARTS = 0.25
"""Deviations beyond this count no more when a stretch's ends are chosen: a strum far from both tempi decides
nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Strums `first` to `last` (inclusive), which lie on `places_per_beat` even places in a beat of the click.

    How many of these are a beat of the player's is asked elsewhere (`own_tempo`).
    """

    first: int
    last: int
    places_per_beat: float


def find_left(beat: Floats, per_beat: int, swing: float | None = None) -> list[Stretch]:
    """The stretches in which the player left the click, in time order.

    Parameters
    ----------
    beat : (n,) float
        Strums in beats of the click, increasing.
    per_beat : int
        Parts of the beat that are played.
    swing : float, optional
        Place of the second of two parts. Swung strums lie near thirds of the beat, by which a tempo of their own is
        found; whether they keep to the click is asked with the swing taken out.
    """
    even = None
    if swing is not None and swing != 0.5 and per_beat in (2, 4):
        even = _unswung(beat, swing, per_beat)
        per_beat = 3 if per_beat == 2 else 6
    if len(beat) < STRUMS_MIN:
        return []
    left = np.zeros(len(beat), np.bool_)
    found: list[Stretch] = []
    for ratio, first, last in _suspects(beat, per_beat, even):
        if left[first : last + 1].any():
            continue
        stretch = _whole(beat, per_beat, even, ratio, first, last, left)
        if stretch is not None:
            left[stretch.first : stretch.last + 1] = True
            found.append(stretch)
    return sorted(found, key=lambda s: s.first)


def _suspects(beat: Floats, per_beat: int, even: Floats | None) -> list[tuple[float, int, int]]:
    """Stretches that keep step at another tempo than the click's, the clearest first: (ratio, first, last strum)."""
    click = _running_sums(beat, np.array(PARTS_OF_CLICK))
    windows = np.array(
        [(i, j) for length in STRETCHES_BEATS for i, j in enumerate(np.searchsorted(beat, beat + length).tolist())]
    )
    windows = windows[windows[:, 1] - windows[:, 0] >= STRUMS_MIN]
    begin, stop = windows.T
    turned = (click[:, stop] - click[:, begin]) / (stop - begin)
    straight = np.zeros(len(begin))
    if even is not None:
        sums = _running_sums(even, EVEN_PARTS)
        straight = np.abs(sums[:, stop] - sums[:, begin]).max(axis=0) / (stop - begin)
    lost = np.maximum(_with_click(turned, per_beat), straight) < 1.0 - OUT_OF_STEP
    if not lost.any():
        return []
    begin, stop, turned, straight = begin[lost], stop[lost], turned[:, lost], straight[lost]
    ratios = np.arange(*RATIOS, 0.2 / (per_beat * STRETCHES_BEATS[-1]))  # a fifth of a turn over the longest stretch
    steps = np.empty((len(ratios), len(begin)), dtype=np.float32)
    for some in range(0, len(ratios), AT_ONCE):
        own = _running_sums(beat, per_beat * ratios[some : some + AT_ONCE])
        steps[some : some + AT_ONCE] = np.abs(own[:, stop] - own[:, begin]) / (stop - begin)
    kept = steps.max(axis=0).astype(np.float64)
    best = (steps >= SLOWEST * kept).argmax(axis=0)  # the first, slowest one
    on_click = np.maximum(_with_click(turned, per_beat, ratios[best]), straight)
    worth = (kept**2 - on_click**2) * (stop - begin)
    needed = np.maximum(np.maximum(IN_STEP, on_click + OUT_OF_STEP), np.sqrt(EVIDENCE / (stop - begin)))
    clear = np.flatnonzero(kept >= needed)
    clear = clear[np.argsort(-worth[clear], kind="stable")]
    return [(float(ratios[best[k]]), int(begin[k]), int(stop[k]) - 1) for k in clear]


def _with_click(turned: NDArray[np.complex128], per_beat: int, ratio: Floats | None = None) -> Floats:
    """How well strums keep step with the click, 0 to 1, from their means of exp(2πi·k·beat), a row for each part k.

    With the `ratio` of their own tempo to the click's, other divisions in a simple ratio to that count as well.
    """
    parts = np.array(PARTS_OF_CLICK)[:, None]
    divides = per_beat % parts == 0
    kept = np.where(divides, np.abs(turned), 0.0)
    if ratio is not None:
        times = parts / (per_beat * ratio)
        simple = (np.abs(times - np.rint(times)) <= SIMPLE_WITHIN) & (times < SIMPLE_TIMES)
        kept = np.where(~divides & simple, turned.real, kept)
    best: Floats = kept.max(axis=0)
    return best


def _running_sums(beat: Floats, rate: Floats) -> NDArray[np.complex128]:
    """Running sums of exp(2πi·rate·beat), one row a rate, from 0 before the first strum."""
    turned = np.exp(2j * np.pi * np.outer(rate, beat))
    return np.concatenate([np.zeros((len(rate), 1)), np.cumsum(turned, axis=1)], axis=1)


def _whole(
    beat: Floats,
    per_beat: int,
    even: Floats | None,
    ratio: float,
    first: int,
    last: int,
    taken: NDArray[np.bool_],
) -> Stretch | None:
    """A suspect refined to a line through its strums and extended to all on that line; None if it moves too little."""
    part = 1.0 / (per_beat * ratio)
    for _ in range(ROUNDS):
        strums = beat[first : last + 1]
        phase = float(np.angle(np.exp(2j * np.pi * strums / part).mean())) / (2 * np.pi) * part
        cell = np.rint((strums - phase) / part)
        near = np.abs(strums - phase - cell * part) < ON_LINE_PARTS * part
        if near.sum() < STRUMS_MIN or np.ptp(cell[near]) == 0:
            return None
        part, phase = (float(x) for x in np.polyfit(cell[near], strums[near], 1))
        from_line = np.abs(_apart(beat - phase, part)) / part
        first = _extend(from_line, first, -1, taken)
        last = _extend(from_line, last, +1, taken)
        first, last = _ends(beat, from_line, per_beat, first, last)
    ratio = 1.0 / (per_beat * part)
    travel = (beat[last] - beat[first]) * abs(ratio - 1.0) * per_beat
    inside = slice(first, last + 1)
    own, click = _in_step(beat[inside], None if even is None else even[inside], per_beat, ratio)
    needed = max(IN_STEP, float(np.sqrt(EVIDENCE / (last - first + 1))))
    if last - first + 1 < STRUMS_MIN or travel < TRAVEL_PARTS or own < needed or click > LOST:
        return None
    return Stretch(first=first, last=last, places_per_beat=1.0 / part)


def _in_step(beat: Floats, even: Floats | None, per_beat: int, ratio: float) -> tuple[float, float]:
    """Coherence of strums with a tempo of their own and with the click's parts."""
    own = float(abs(np.exp(2j * np.pi * per_beat * ratio * beat).mean()))
    turned = np.exp(2j * np.pi * np.outer(PARTS_OF_CLICK, beat)).mean(axis=1, keepdims=True)
    click = float(_with_click(turned, per_beat, np.array([ratio]))[0])
    if even is not None:
        click = max(click, float(np.abs(np.exp(2j * np.pi * np.outer(EVEN_PARTS, even)).mean(axis=1)).max()))
    return own, click


def _unswung(beat: Floats, swing: float, per_beat: int) -> Floats:
    """Beats with the swing taken out: the swung part's place becomes half-way, what lies between is stretched along."""
    pair = 2.0 / per_beat
    whole = np.floor(beat / pair)
    rest = beat / pair - whole
    even: Floats = (whole + np.interp(rest, (0.0, swing, 1.0), (0.0, 0.5, 1.0))) * pair
    return even


def _apart(beat: Floats, part: float) -> Floats:
    """Signed distance to the nearest multiple of a part [beats]."""
    return beat - np.rint(beat / part) * part


def _extend(from_line: Floats, edge: int, step: int, taken: NDArray[np.bool_]) -> int:
    """The last strum in one direction that lies on the line, before several in a row do not."""
    misses, i = 0, edge + step
    while 0 <= i < len(from_line) and not taken[i] and misses < MISSES_IN_A_ROW:
        if from_line[i] < ON_LINE_PARTS:
            misses, edge = 0, i
        else:
            misses += 1
        i += step
    return edge


def _ends(beat: Floats, from_line: Floats, per_beat: int, first: int, last: int) -> tuple[int, int]:
    """The ends between which the player's own line explains the strums better than the click does.

    Near its ends a stretch lies close to both; each end is put where the squared deviations, the click's outside and
    the line's inside, are least. The player's offset from the click is taken from the strums around the stretch.
    """
    part = 1.0 / per_beat
    around = np.concatenate([beat[max(first - AROUND, 0) : first], beat[last + 1 : last + 1 + AROUND]])
    offset = float(np.median(_apart(around, part))) if len(around) else 0.0
    from_click = np.abs(_apart(beat - offset, part)) / part
    gain = np.minimum(from_click, CAP_PARTS) ** 2 - np.minimum(from_line, CAP_PARTS) ** 2
    inside = gain[first : last + 1]
    middle = len(inside) // 2
    head = np.cumsum(inside[middle::-1])  # worth of beginning at the middle, one before it, ...
    tail = np.cumsum(inside[middle:])
    return first + middle - int(np.argmax(head)), first + middle + int(np.argmax(tail))
