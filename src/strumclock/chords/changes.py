"""What chord changes cost: the pause before, how late the new chord starts, strums lost, the pair that costs most."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats
from strumclock.errors import Absent
from strumclock.timing import Estimate

LEAST_CHANGES = 3  # below this, a mean over changes has no interval worth printing
BEATS_A_BAR = 4  # for the click that asks for the same rate of changes with one change a bar


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One chord change.

    Attributes
    ----------
    time_s : float
        First strum of the new chord.
    from_chord, to_chord : str or None
        None where the chords were neither told nor heard.
    confidence : float or None
        Of the new chord's name; None where told.
    gap_s : float
        From the last strum of the old chord to the first of the new.
    pause_ms : float
        That gap less what the grid asks for between the two places, or less the take's median gap where there is no
        grid; positive = the hand stopped to change.
    late_ms : float or None
        Lateness of the new chord's first strum against the mean of all strums that are not at a change.
    lost : int
        Omitted slots within a beat of the change.
    """

    time_s: float
    from_chord: str | None
    to_chord: str | None
    confidence: float | None
    gap_s: float
    pause_ms: float
    late_ms: float | None
    lost: int


@dataclass(frozen=True, slots=True, kw_only=True)
class CostliestPair:
    """The pair of chords whose change comes latest: three times and more, and later than the others beyond chance."""

    from_chord: str
    to_chord: str
    n: int
    late_ms: Estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Changes:
    """All chord changes of a take.

    Attributes
    ----------
    source : str
        ``"told"`` or ``"heard"``.
    changes : tuple of Change
    seconds_per_change : Estimate or None
        Mean time from change to change.
    changes_per_minute : Estimate or None
    lateness_ms : Estimate or None
        Strums at changes less all others, positive = late at changes; None without a grid.
    costliest : CostliestPair or None
    click_bpm_one_bar : float or None
        The click that asks for this rate with one change in four beats.
    absent : mapping of str to Absent
        What cannot be known, by its place in the JSON, with the reason.
    """

    source: str
    changes: tuple[Change, ...]
    seconds_per_change: Estimate | None
    changes_per_minute: Estimate | None
    lateness_ms: Estimate | None
    costliest: CostliestPair | None
    click_bpm_one_bar: float | None
    absent: Mapping[str, Absent] = field(default_factory=dict)


def measure_changes(
    time_s: Floats,
    at_change: NDArray[np.bool_],
    *,
    u_s: Floats | None = None,
    chord: Sequence[str] | None = None,
    confidence: Floats | None = None,
    deviation_ms: Floats | None = None,
    line_s: Floats | None = None,
    omitted_s: Floats | None = None,
    beat_s: float | None = None,
    lateness_ms: Estimate | None = None,
    number: NDArray[np.int64] | None = None,
    source: str = "told",
) -> Changes | Absent:
    """Take the changes of a take together.

    Parameters
    ----------
    time_s : (n,) array
        Strum times [s], increasing.
    at_change : (n,) array of bool
        First strum of each new chord.
    u_s : (n,) array, optional
        Standard uncertainty of each time [s]; left out, none.
    chord : sequence of str, optional
        The chord under each strum.
    confidence : (n,) array, optional
        Of the names, where they were heard.
    deviation_ms : (n,) array, optional
        Deviations about the take's drift line [ms]; NaN for strums without a slot. Absent without a grid.
    line_s : (n,) array, optional
        Grid line of each strum [s]; NaN without a slot.
    omitted_s : (m,) array, optional
        Where slots went without a strum [s].
    beat_s : float, optional
        Length of a beat [s].
    lateness_ms : Estimate, optional
        How much later the strums at changes are, where the timing has it with an interval that allows for how a
        player's errors hang together; left out, Welch's interval.
    number : (n,) array of int, optional
        How many changes were asked for up to each strum: where the first strum of a chord was left out, the changes
        before and after it are two apart. Left out, all changes are there.
    source : str
        ``"told"`` or ``"heard"``.

    Returns
    -------
    Changes or Absent
        The figures, or the reason why there are none.

    Examples
    --------
    >>> strum_s = np.arange(0.0, 24.0, 1.0)
    >>> found = measure_changes(strum_s, strum_s % 4 == 0)
    >>> len(found.changes), found.changes_per_minute.value, found.click_bpm_one_bar
    (5, 15.0, 60.0)
    """
    where = np.flatnonzero(at_change)
    where = where[where > 0]
    if not len(where):
        where_from = "told within the strums played" if source == "told" else "heard"
        return Absent(code="no-changes", reason=f"no chord change was {where_from}")
    u = np.zeros(len(time_s)) if u_s is None else np.asarray(u_s, dtype=np.float64)
    late = None
    steady = ~at_change
    if deviation_ms is not None and np.any(steady & np.isfinite(deviation_ms)):
        late = deviation_ms - np.nanmean(deviation_ms[steady])
    usual_gap_s = _usual_gap_s(time_s, steady)
    rows = [_change(int(i), time_s, usual_gap_s, chord, confidence, late, line_s, omitted_s, beat_s) for i in where]
    absent: dict[str, Absent] = {}
    seconds, rate = _rates(time_s[where], u[where], np.arange(len(where)) if number is None else number[where])
    if seconds is None:
        why = Absent(code="too-few", reason=f"it needs {LEAST_CHANGES + 1} chord changes; the take has {len(where)}")
        absent |= {"changes.seconds_per_change": why, "changes.changes_per_minute": why}
    if late is None:
        absent["changes.lateness_ms"] = Absent(code="no-grid", reason="there is no grid to be late against")
    else:
        lateness_ms = lateness_ms or _difference(late, at_change, 1000 * u)
        if lateness_ms is None:
            absent["changes.lateness_ms"] = Absent(
                code="too-few", reason=f"it needs {LEAST_CHANGES} strums at changes, and as many elsewhere"
            )
    return Changes(
        source=source,
        changes=tuple(rows),
        seconds_per_change=seconds,
        changes_per_minute=rate,
        lateness_ms=lateness_ms,
        costliest=_costliest(rows, 1000 * u[where]),
        click_bpm_one_bar=BEATS_A_BAR * rate.value if rate is not None else None,
        absent=absent,
    )


def _usual_gap_s(time_s: Floats, steady: NDArray[np.bool_]) -> float:
    """Median time from strum to strum, away from changes."""
    gaps = np.diff(time_s)
    return float(np.median(gaps[steady[1:]])) if np.any(steady[1:]) else float(np.median(gaps))


def _change(
    i: int,
    time_s: Floats,
    usual_gap_s: float,
    chord: Sequence[str] | None,
    confidence: Floats | None,
    late: Floats | None,
    line_s: Floats | None,
    omitted_s: Floats | None,
    beat_s: float | None,
) -> Change:
    """The change whose first strum is strum i."""
    gap_s = float(time_s[i] - time_s[i - 1])
    asked_s = usual_gap_s
    if line_s is not None and np.isfinite(line_s[i]) and np.isfinite(line_s[i - 1]):
        asked_s = float(line_s[i] - line_s[i - 1])
    lost = 0
    if omitted_s is not None and beat_s is not None:
        centre = float(line_s[i]) if line_s is not None and np.isfinite(line_s[i]) else float(time_s[i])
        lost = int(np.sum(np.abs(omitted_s - centre) <= beat_s * 1.01))
    return Change(
        time_s=float(time_s[i]),
        from_chord=chord[i - 1] or None if chord is not None else None,
        to_chord=chord[i] or None if chord is not None else None,
        confidence=float(confidence[i]) if confidence is not None else None,
        gap_s=gap_s,
        pause_ms=1000 * (gap_s - asked_s),
        late_ms=float(late[i]) if late is not None and np.isfinite(late[i]) else None,
        lost=lost,
    )


def _rates(change_s: Floats, u_s: Floats, number: NDArray[np.int64]) -> tuple[Estimate | None, Estimate | None]:
    """Mean time from change to change, and changes a minute; None from fewer than `LEAST_CHANGES` intervals.

    Changes whose numbers are further apart than one have others between them that were not strummed.

    Times from change to change are positive and a few long ones are many times the usual: the interval is that of
    their logarithms' mean, by which it lies above zero for three of them too.
    """
    from scipy.special import stdtrit

    lasted, apart = np.diff(change_s), np.diff(number)
    n, changes = len(lasted), int(apart.sum())
    if n < LEAST_CHANGES:
        return None, None
    mean = float(lasted.sum()) / changes
    reach = float(stdtrit(n - 1, 0.975) * np.std(np.log(lasted / apart), ddof=1) / math.sqrt(n))
    u = math.hypot(float(u_s[0]), float(u_s[-1])) / changes  # all but the first and the last time cancel in the mean
    sampled = Estimate(value=mean, low=mean * math.exp(-reach), high=mean * math.exp(reach), u=0.0)
    seconds = sampled.widened(u)
    rate = Estimate(value=60 / mean, low=60 / seconds.high, high=60 / seconds.low, u=60 / mean**2 * u)
    return seconds, rate


def _difference(late_ms: Floats, at_change: NDArray[np.bool_], u_ms: Floats) -> Estimate | None:
    """Mean at changes less mean elsewhere, with Welch's interval; None from fewer than three strums on a side."""
    from scipy.special import stdtrit

    known = np.isfinite(late_ms)
    sides = known & at_change, known & ~at_change
    a, b = (late_ms[side] for side in sides)
    if min(len(a), len(b)) < LEAST_CHANGES:
        return None
    va, vb = float(np.var(a, ddof=1)) / len(a), float(np.var(b, ddof=1)) / len(b)
    freedom = (va + vb) ** 2 / max(va**2 / (len(a) - 1) + vb**2 / (len(b) - 1), 1e-300)
    value, half = float(a.mean() - b.mean()), float(stdtrit(freedom, 0.975)) * math.sqrt(va + vb)
    u = math.hypot(*(math.sqrt(float(u_ms[side] @ u_ms[side])) / side.sum() for side in sides))
    return Estimate(value=value, low=value - half, high=value + half, u=u)


def _costliest(rows: list[Change], u_ms: Floats) -> CostliestPair | None:
    """The pair whose changes come latest, where it is later than the other pairs beyond chance.

    All pairs share one scatter, so that three changes of a pair are enough; the level is that of as many questions as
    there are pairs (Bonferroni).
    """
    from scipy.special import stdtrit

    pairs: dict[tuple[str, str], list[int]] = defaultdict(list)
    for i, row in enumerate(rows):
        if row.late_ms is not None and row.from_chord and row.to_chord:
            pairs[row.from_chord, row.to_chord].append(i)
    often = {pair: at for pair, at in pairs.items() if len(at) >= LEAST_CHANGES}
    if not often or len(pairs) < 2:
        return None
    late = {pair: np.array([rows[i].late_ms for i in at], dtype=np.float64) for pair, at in pairs.items()}
    freedom = sum(len(x) - 1 for x in late.values())
    scatter = math.sqrt(sum(float(np.sum((x - x.mean()) ** 2)) for x in late.values()) / freedom)
    pair = max(often, key=lambda p: float(late[p].mean()))
    own, others = late[pair], np.concatenate([x for p, x in late.items() if p != pair])
    later = float(own.mean() - others.mean())
    error = scatter * math.sqrt(1 / len(own) + 1 / len(others))
    half = float(stdtrit(freedom, 0.975)) * scatter / math.sqrt(len(own))
    mean = float(own.mean())
    if mean - half <= 0 or later <= float(stdtrit(freedom, 1 - 0.025 / len(often))) * error:
        return None
    u = u_ms[often[pair]]
    estimate = Estimate(value=mean, low=mean - half, high=mean + half, u=math.sqrt(float(u @ u)) / len(own))
    return CostliestPair(from_chord=pair[0], to_chord=pair[1], n=len(own), late_ms=estimate)
