"""Whether a take holds its tempo, by a standard that a teacher can set, and which tempo comes next.

The numbers are common practice without a source; every one can be set. They are checked two ways: a player who strums
at random fails each preset at every tempo, and most ordinary people tapping single beats at 100 bpm hold `steady`.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np

from strumclock.errors import UsageError
from strumclock.grid import BPM_RANGE

if TYPE_CHECKING:
    from strumclock.timing.values import Timing

SUBDIVIDE_BELOW_BPM = 40.0
"""Between clicks further apart than 1.5 s people no longer keep time by the click (Repp 2006: 1.8 s is the limit)."""

SAME_S, SAME_BPM = 1e-6, 1e-6
"""Durations and tempi that differ by less are the same."""

STEP_UP, STEP_UP_MIN_BPM, STEP_UP_MAX_BPM = 0.03, 1.0, 4.0
"""A held tempo rises by this share, but by so many bpm at least and at most."""

CLOSE_ENOUGH = 0.75
"""Share of even strums from which a tempo that is not held is worth the same again."""

STEP_DOWN, LOWEST_SHARE_OF_HELD = 0.05, 0.9
"""A tempo that was not even close twice running falls by this share, never under this share of the last one held."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """What a take must show to hold its tempo.

    Attributes
    ----------
    name : str
    tolerance_share : float
        Tolerance as a share of the time between neighbouring places of the pattern's finest part.
    tolerance_min_s : float
        The tolerance is at least this, s.
    tolerance_max_share : float
        The tolerance is never more than this share of that time, whatever the minimum says.
    min_slots, min_duration_s : int, float
        A shorter take is not judged.
    played_share, added_share, even_share : float
        Slots played at least; strums added at most, as a share of the slots; strums within the tolerance about the
        take's own mean at least.
    placement : bool
        Whether mean offset and drift are asked for, where the anchor allows.
    """

    name: str = "steady"
    tolerance_share: float = 1 / 8
    tolerance_min_s: float = 0.025
    tolerance_max_share: float = 1 / 4
    min_slots: int = 16
    min_duration_s: float = 20.0
    played_share: float = 0.9
    added_share: float = 0.1
    even_share: float = 0.9
    placement: bool = True

    def __post_init__(self) -> None:
        for field in ("tolerance_share", "tolerance_max_share", "played_share", "added_share", "even_share"):
            share = getattr(self, field)
            if not 0 < share <= 1:
                raise UsageError(f"a standard's {field} must be above 0 and at most 1; got {share!r}")
        if self.tolerance_min_s < 0 or self.min_slots < 1 or self.min_duration_s < 0:
            raise UsageError("a standard's tolerance_min_s, min_slots and min_duration_s must not be negative")

    def tolerance_s(self, part_s: float) -> float:
        """Tolerance for a pattern whose neighbouring places are `part_s` seconds apart, s.

        Examples
        --------
        >>> STANDARDS["steady"].tolerance_s(60 / 100)
        0.075
        >>> STANDARDS["steady"].tolerance_s(0.15), STANDARDS["steady"].tolerance_s(0.08)
        (0.025, 0.02)
        """
        return min(max(self.tolerance_share * part_s, self.tolerance_min_s), self.tolerance_max_share * part_s)

    def as_dict(self) -> dict[str, object]:
        """The JSON's ``held.standard``."""
        return asdict(self)


STANDARDS = {
    "first-weeks": Standard(name="first-weeks", even_share=0.8, placement=False),
    "steady": Standard(),
    "tight": Standard(name="tight", tolerance_share=1 / 16, tolerance_min_s=0.012),
}
"""The presets."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The judgement of one take.

    Attributes
    ----------
    held : bool or None
        None where the take cannot tell.
    standard : Standard
    failed : tuple of str
        What was asked and not met, each with both numbers; where `held` is None, why the take is not judged.
    next_bpm : float or None
        Tempo for the next take, a whole number as metronomes are set; None where this take's is unknown.
    subdivide : bool
        The next tempo is slower than people follow a click: let the click sound between the beats too.
    tolerance_s : float
        The tolerance used, s.
    even_share : float or None
        Share of the strums within it; None where no strum was meant for a slot.
    """

    held: bool | None
    standard: Standard
    failed: tuple[str, ...]
    next_bpm: float | None
    subdivide: bool
    tolerance_s: float
    even_share: float | None

    def __str__(self) -> str:
        word = {True: "held", False: "not held", None: "not judged"}[self.held]
        why = f" ({'; '.join(self.failed)})" if self.failed else ""
        following = "" if self.next_bpm is None else f"; next {self.next_bpm:g} bpm"
        return f"{word} by “{self.standard.name}”{why}{following}"


def judge_take(
    timing: Timing,
    standard: Standard | None = None,
    *,
    n_slots: int,
    n_omitted: int,
    n_added: int,
    duration_s: float,
    bpm: float | None,
    part_s: float,
    last_held_bpm: float | None = None,
    takes_below: int = 0,
    left_click: bool = False,
) -> Held:
    """Hold a take against a standard and say which tempo comes next.

    Parameters
    ----------
    timing : Timing
        Measured with the same standard.
    standard : Standard, optional
        Left out, ``STANDARDS["steady"]``.
    n_slots, n_omitted, n_added : int
        Slots of the grid, slots without a strum, strums without a slot.
    duration_s : float
        From the first slot to the last, s, those of a stretch that left the click included. The last strum is counted
        as long as the others.
    bpm : float or None
        Tempo of the take.
    part_s : float
        Time between neighbouring places of the pattern's finest part, s.
    last_held_bpm : float, optional
        Last tempo held before this take.
    takes_below : int
        How many takes of this tempo just before were less than `CLOSE_ENOUGH` even.
    left_click : bool
        Whether the player kept a tempo of their own for a stretch.
    """
    standard = standard or STANDARDS["steady"]
    tolerance_s = standard.tolerance_s(part_s)
    even = _even(timing, tolerance_s)
    even_share = even / timing.n if timing.n else None
    lasted_s = duration_s * n_slots / (n_slots - 1) if n_slots > 1 else 0.0
    unjudged = []
    if left_click:  # the slots of that stretch are not counted, but the take lasted
        lasted_s = max(lasted_s, duration_s)
    elif n_slots < standard.min_slots:
        unjudged.append(f"it has {n_slots} slot{'s' * (n_slots != 1)} and {standard.min_slots} are asked for")
    if lasted_s < standard.min_duration_s - SAME_S:
        unjudged.append(f"it lasts {_down(lasted_s)} s and {standard.min_duration_s:g} s are asked for")
    if unjudged:
        return Held(
            held=None,
            standard=standard,
            failed=tuple(unjudged),
            next_bpm=None if bpm is None else settable_bpm(bpm),
            subdivide=bpm is not None and bpm < SUBDIVIDE_BELOW_BPM,
            tolerance_s=tolerance_s,
            even_share=even_share,
        )
    failed = []
    played = n_slots - n_omitted
    enough = n_slots >= standard.min_slots
    if enough and played < standard.played_share * n_slots:
        need = math.ceil(standard.played_share * n_slots)
        failed.append(f"{played} of {n_slots} strums were played and {need} are asked for")
    if enough and n_added > standard.added_share * n_slots:
        most = math.floor(standard.added_share * n_slots)
        failed.append(f"{n_added} {'strum was' if n_added == 1 else 'strums were'} added and {most} are allowed")
    if enough and (even < standard.even_share * timing.n or not timing.n):
        need = math.ceil(standard.even_share * timing.n)
        failed.append(
            f"{even} of {timing.n} strums lie within {_tenth(1e3 * tolerance_s)} ms of the take's own mean "
            f"and {need} are asked for"
        )
    if left_click:
        failed.append("for a stretch the strums kept a tempo of their own")
    if standard.placement:
        failed += _misplaced(timing, tolerance_s, duration_s)
    held = not failed
    following, subdivide = None, False
    if bpm is not None:
        following, subdivide = next_tempo(
            bpm, held=held, even_share=even_share or 0.0, last_held_bpm=last_held_bpm, takes_below=takes_below
        )
    return Held(
        held=held,
        standard=standard,
        failed=tuple(failed),
        next_bpm=following,
        subdivide=subdivide,
        tolerance_s=tolerance_s,
        even_share=even_share,
    )


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


def _even(timing: Timing, tolerance_s: float) -> int:
    """How many strums lie within the tolerance about the take's own mean."""
    if timing.within_tolerance is not None:
        return round(timing.within_tolerance.share.value * timing.n)
    return int(np.sum(np.abs(timing.deviation_ms) <= 1e3 * tolerance_s))


def _misplaced(timing: Timing, tolerance_s: float, duration_s: float) -> list[str]:
    """What is wrong with the place of the take as a whole, as far as its anchor can say."""
    failed, tolerance_ms = [], 1e3 * tolerance_s
    mean, drift = timing.mean_offset_ms, timing.drift_ms_per_min
    if mean is not None and abs(mean.value) > tolerance_ms:
        side = "late" if mean.value > 0 else "early"
        lean = f"{_tenth(abs(mean.value))} ms {side} on average"
        failed.append(f"the strums are {lean} and {_tenth(tolerance_ms)} ms are allowed")
    if drift is not None and abs(whole := drift.value * duration_s / 60) > tolerance_ms:
        way = "fall behind" if whole > 0 else "pull ahead"
        by = _tenth(abs(whole))
        failed.append(f"the strums {way} by {by} ms over the take and {_tenth(tolerance_ms)} ms are allowed")
    return failed


def _tenth(value_ms: float) -> str:
    """Milliseconds to a tenth, as tolerances are told everywhere: ``"37.5"``, ``"75"``."""
    return f"{value_ms:.1f}".removesuffix(".0")


def _down(seconds: float) -> str:
    """Seconds to a tenth, never rounded up to what was asked for."""
    return f"{math.floor(10 * seconds) / 10:g}"
