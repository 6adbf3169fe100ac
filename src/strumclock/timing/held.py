"""Which tempo comes next after takes that held or did not: a staircase, until the weeks follow the tempo in reach."""

from __future__ import annotations

import math

from strumclock.grid import BPM_RANGE

SUBDIVIDE_BELOW_BPM = 40.0
"""Between clicks further apart than 1.5 s people no longer keep time by the click (Repp 2006: 1.8 s is the limit)."""

SAME_BPM = 1e-6

STEP_UP, STEP_UP_MIN_BPM, STEP_UP_MAX_BPM = 0.03, 1.0, 4.0
"""A held tempo rises by this share, but by so many bpm at least and at most."""

CLOSE_ENOUGH = 0.75
"""Share of even strums from which a tempo that is not held is worth the same again."""

STEP_DOWN, LOWEST_SHARE_OF_HELD = 0.05, 0.9
"""A tempo that was not even close twice running falls by this share, never under this share of the last one held."""


def next_tempo(
    bpm: float, *, held: bool, even_share: float, last_held_bpm: float | None = None, takes_below: int = 0
) -> tuple[float, bool]:
    """Tempo for the next take, and whether to let the click sound between the beats too.

    Held: 3 % up, at least 1 and at most 4 bpm. Not held: the same again; but when fewer than 75 % of the strums were
    even twice running, 5 % down, not under 90 % of the last tempo held, and not under 40 bpm, where the click is
    subdivided instead. Always a whole number, as metronomes are set, whatever the tempo heard was.

    Examples
    --------
    >>> next_tempo(90, held=True, even_share=0.95)
    (93.0, False)
    >>> next_tempo(93.6, held=False, even_share=0.9)
    (94.0, False)
    >>> next_tempo(90, held=False, even_share=0.6, takes_below=1)
    (85.0, False)
    >>> next_tempo(90, held=False, even_share=0.6, takes_below=1, last_held_bpm=98)
    (89.0, False)
    >>> next_tempo(41, held=False, even_share=0.6, takes_below=1)
    (40.0, True)
    """
    if held:
        higher = bpm + min(max(STEP_UP * bpm, STEP_UP_MIN_BPM), STEP_UP_MAX_BPM)
        most = min(bpm + STEP_UP_MAX_BPM, BPM_RANGE[1])
        return settable_bpm(min(higher, most), least=min(bpm + STEP_UP_MIN_BPM, most), most=most), False
    if even_share >= CLOSE_ENOUGH or takes_below < 1:
        return settable_bpm(bpm), bpm < SUBDIVIDE_BELOW_BPM
    lower = (1 - STEP_DOWN) * bpm
    floor = max(LOWEST_SHARE_OF_HELD * (last_held_bpm or 0.0), SUBDIVIDE_BELOW_BPM)
    # Whoever plays below the floor already is not sent up to it.
    following = settable_bpm(bpm) if floor >= bpm else settable_bpm(max(lower, floor), least=floor, most=bpm)
    return following, lower < SUBDIVIDE_BELOW_BPM


def settable_bpm(bpm: float, *, least: float = 0.0, most: float = math.inf) -> float:
    """The tempo nearest to `bpm` that a metronome can be set to, a whole number; of two as near the slower.

    Within `least` and `most` where a whole number lies between them.

    Examples
    --------
    >>> settable_bpm(93.6), settable_bpm(97.5), settable_bpm(31.2, least=31.2), settable_bpm(137.6, most=137.6)
    (94.0, 97.0, 32.0, 137.0)
    """
    whole = math.ceil(bpm - 0.5 - SAME_BPM)
    if whole < least - SAME_BPM:
        whole += 1
    elif whole > most + SAME_BPM:
        whole -= 1
    return float(whole)
