"""Is a doubtful sound a strum? Judged again once it is known where the exercise has strums.

The detector judges each sound alone. Where the exercise has a strum that none of the strums found was meant for, the
same sound is likelier to be one; between the places it is less likely. By Bayes' rule

    log odds = the detector's + ln(density of strums at this moment / density without knowing the exercise)
                              − ln(density of other sounds at this moment / their density at any moment).

Strums near a place are Student-t about the player's own slow offset with the take's own scatter, times the share of
places that this take fills. Strums elsewhere are as dense as this take's added ones. Of the other sounds a share
keeps time too, strings that are stopped or touched say; and where a click lies, what is left of it does.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from strumclock.alignment.pairing import SMOOTH_STRUMS, WINDOW_PARTS, running_median
from strumclock.alignment.result import ADDED, Alignment
from strumclock.arrays import Floats
from strumclock.onsets.strums import CLICK_S, LEAD_S, TAIL_S, Doubtful, Ignored, Strums
from strumclock.robust import log_odds, odds_to_p, robust_sd

LEAST_STRUMS = 12
"""Strums on places from which a take shows its own scatter; by hand, fewer give a robust standard deviation that may
be wrong by half."""
LEAST_SCATTER_S = 0.005
"""Nobody's strums scatter by less about a click; physical."""
DEGREES, AT_ZERO = 4.0, 3 / 8
"""Of Student's t, by hand: a strum five standard deviations off still happens once in a hundred, as at chord changes;
and its density at 0 (derived: Γ(5/2) / (Γ(2) √(4π)))."""
FILLED, EMPTY = 4.0, 1.0
"""Beta prior of the share of places that are filled: as if so many had been seen beforehand. By hand, weak."""
EXTRA, MEANT = 0.5, 16.0
"""Beta prior of the share of strums that lie between the places; by hand, weak."""
IN_TIME = 0.5
"""Share of the other sounds that keep the exercise's time, such as stops and touches where a strum was left out: a
place at most doubles the odds. Calibrated on 32 takes with the strings stopped or touched at most of 483 places left
out, and on 90 soft strums of the bench's hard cases that the detector missed: at a tenth, 27 of the 483 are filled and
81 of the 90 found; at half, 14 and 75."""
AT_CLICK = 2.0
"""How much denser other sounds are than strums where a click lies. By hand: at 1, 17 and 80 of those."""
ADDED_P = 0.85
"""A strum that the detector alone gives so much is added, wherever it falls: an exercise told wrongly must be seen."""
BETWEEN = "falls between the exercise's strums, and does not sound enough like one to be believed there"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Player:
    """How this take's player fills the places.

    Attributes
    ----------
    slot_s : (m,) float
        Where each place's strum is expected, the player's slow offset added [s].
    scatter_s : float
        Scale of the strums about them [s].
    filled, extra : float
        Share of the places that are filled; share of the strums that lie on none.
    per_s : float
        Strums a second.
    """

    slot_s: Floats
    scatter_s: float
    filled: float
    extra: float
    per_s: float


def judged_by_place(strums: Strums, alignment: Alignment, *, clicks_s: Floats | None = None) -> Strums:
    """The strums after the doubtful sounds were judged by where they fall in the exercise.

    Parameters
    ----------
    strums : Strums
        As they were aligned, with what was `doubtful`.
    alignment : Alignment
        Of those strums; its `others` are judged by their own grids.
    clicks_s : (k,) array, optional
        The clicks in the recording [s].

    Returns
    -------
    Strums
        With the doubtful sounds that are strums, each with its probability there, and without those that are not,
        which are `ignored` with the reason. The same where nothing changes: where the exercise's pattern was not told,
        nothing is judged.
    """
    taken: dict[Doubtful, float] = {}
    dropped: dict[int, float] = {}
    for found in (alignment, *alignment.others):
        player = _player(strums, found)
        if player is None:
            continue
        for _, sound, p in _at_places(strums, found, player, clicks_s):
            if p >= 0.5:
                taken[sound] = max(p, taken.get(sound, 0.0))
        dropped |= dict(_between(strums, found, player))
    return _changed(strums, taken, dropped) if taken or dropped else strums


def played_anyway(strums: Strums, alignment: Alignment, *, clicks_s: Floats | None = None) -> Floats | None:
    """Probability that something was played in each omitted slot after all: that of the likeliest sound near it.

    0 where no sound near it was in doubt; None where this cannot be told, as the take is too short to show how its
    player fills the places.
    """
    player = _player(strums, alignment)
    if player is None:
        return None
    best = dict.fromkeys(alignment.omitted.tolist(), 0.0)
    best |= {slot: p for slot, _, p in _at_places(strums, alignment, player, clicks_s)}
    return np.array([best[slot] for slot in alignment.omitted.tolist()])


def same_places(one: Alignment, other: Alignment) -> bool:
    """Whether two alignments of a recording lay the exercise's places alike, its end aside: no place is further from
    the other's than a quarter of a part."""
    if len(one.others) != len(other.others) or one.inferred != other.inferred:
        return False
    for a, b in zip((one, *one.others), (other, *other.others), strict=True):
        n = min(len(a.grid), len(b.grid))
        if (np.abs(a.grid.slot_s[:n] - b.grid.slot_s[:n]) > a.grid.part_s[:n] / 4).any():
            return False
    return True


def _player(strums: Strums, found: Alignment) -> _Player | None:
    """What the strums on places show; None where they are too few or the pattern is not known."""
    on = np.flatnonzero(found.slot >= 0)
    if len(on) < LEAST_STRUMS or "pattern" in found.inferred:
        return None
    at = found.slot[on]
    offset = strums.time_s[on] - found.grid.slot_s[at]
    smooth = running_median(offset, SMOOTH_STRUMS)
    added = int(((found.slot == ADDED) & (strums.p >= ADDED_P)).sum())
    return _Player(
        slot_s=found.grid.slot_s + np.interp(found.grid.slot_s, found.grid.slot_s[at], smooth),
        scatter_s=max(robust_sd(offset - smooth), LEAST_SCATTER_S),
        filled=(len(on) + FILLED) / (len(on) + len(found.omitted) + FILLED + EMPTY),
        extra=(added + EXTRA) / (len(on) + added + EXTRA + MEANT),
        per_s=(len(on) - 1) / float(np.ptp(strums.time_s[on])),
    )


def _at_places(
    strums: Strums, found: Alignment, player: _Player, clicks_s: Floats | None
) -> Iterator[tuple[int, Doubtful, float]]:
    """The likeliest doubtful sound near each omitted slot, and its probability there."""
    time_s = np.array([sound.time_s for sound in strums.doubtful])
    for slot in found.omitted.tolist():
        reach_s = WINDOW_PARTS * float(found.grid.part_s[slot])
        near = np.flatnonzero(np.abs(time_s - player.slot_s[slot]) <= reach_s)
        sounds = [strums.doubtful[i] for i in near.tolist()]
        judged = [(_there(sound, float(player.slot_s[slot]), player, clicks_s), sound) for sound in sounds]
        if judged:
            p, sound = max(judged, key=lambda one: one[0])
            yield slot, sound, p


def _there(sound: Doubtful, slot_s: float, player: _Player, clicks_s: Floats | None) -> float:
    """Probability that a sound near an empty place is its strum."""
    scale_s = math.hypot(player.scatter_s, sound.u_s)
    strums = player.filled * _student(sound.time_s - slot_s, scale_s) / player.per_s  # against any moment
    left = clicks_s is not None and bool((np.abs(clicks_s - sound.time_s) < CLICK_S).any())
    others = max(AT_CLICK * strums, 1.0) if left else 1 - IN_TIME + IN_TIME * strums
    return _moved(sound.p, strums / others)


def _moved(p: float, factor: float) -> float:
    """The probability whose odds are so many times those of p."""
    return float(odds_to_p(log_odds(np.array(p)) + math.log(factor)))


def _student(deviation_s: float, scale_s: float) -> float:
    """Density of Student's t [1/s].

    Examples
    --------
    >>> round(_student(0.0, 1.0), 6), round(_student(2.0, 1.0), 6)  # scipy.stats.t(4).pdf
    (0.375, 0.066291)
    """
    return AT_ZERO * float((1 + (deviation_s / scale_s) ** 2 / DEGREES) ** (-(DEGREES + 1) / 2)) / scale_s


def _between(strums: Strums, found: Alignment, player: _Player) -> Iterator[tuple[int, float]]:
    """The strums between the places that are none, and the probability that they are."""
    for i in np.flatnonzero((found.slot == ADDED) & (strums.p < ADDED_P)).tolist():
        p = _moved(float(strums.p[i]), player.extra)
        if p < 0.5:
            yield i, p


def _changed(strums: Strums, taken: dict[Doubtful, float], dropped: dict[int, float]) -> Strums:
    """The strums with and without these."""
    kept = np.setdiff1d(np.arange(len(strums)), list(dropped))
    time_s = np.concatenate([strums.time_s[kept], [sound.time_s for sound in taken]])
    order = np.argsort(time_s, kind="stable")
    rows: dict[str, Any] = {"time_s": time_s[order]}
    for name in ("u_s", "strength_db"):
        more = [getattr(sound, name) for sound in taken]
        rows[name] = np.concatenate([getattr(strums, name)[kept], more])[order]
    rows["p"] = np.concatenate([strums.p[kept], list(taken.values())])[order]
    beside = [Ignored(time_s=float(strums.time_s[i]), reason=BETWEEN, p=p) for i, p in dropped.items()]
    ignored = [sound for sound in strums.ignored if not any(_of(sound, strum) for strum in taken)]
    return replace(
        strums,
        **rows,
        ignored=tuple(sorted([*ignored, *beside], key=lambda sound: sound.time_s)),
        doubtful=tuple(sound for sound in strums.doubtful if sound not in taken),
    )


def _of(sound: Ignored, strum: Doubtful) -> bool:
    """Whether a sound belongs to a strum."""
    return -LEAD_S < sound.time_s - strum.time_s < TAIL_S
