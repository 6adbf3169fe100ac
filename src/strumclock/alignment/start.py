"""Which beat is the first played downbeat?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.inference import Accents, Lattice
from strumclock.alignment.pairing import IntArray
from strumclock.alignment.pulse import Pulse
from strumclock.errors import Notice
from strumclock.grid import Exercise

OMITTED_COST = 0.6
OUTSIDE_COST = 1.2
OFF_BAR_COST = 0.8
"""Costs, in strums explained, of a silent slot (or a strum without one), of a strum before the first slot, and of a
downbeat that lies off the bars counted from the first click. Their order is their reason: a player misses a strum more
often than the count-in is no whole number of bars, and that more often than a sound in the count-in is a strum."""
ACCENT_COST, LATE_ACCENT_COST = 4.0, 2.0
"""Cost of a downbeat that is no accented beat: whoever set up the click set its accents too. Less where the first click
heard is not accented, as metronomes begin with one: then a rest of the pattern, in which the click sounds alone, may
pass for one."""
TOLD_COUNT_COST = 2.5
PATTERN_COST, PATTERN_SHARE = 4.0, 0.25
"""Costs of a downbeat other than after the count-in told: where the accents speak for it, and where the pattern alone
does, which must explain a quarter more of the strums, and at least four."""
LATE_CLICK_COST, LATE_CLICK_STRUMS = 4.0, 4
"""Cost of a first bar before the first click heard, whatever count-in was told, and the strums on beats before that
click without which it is not thought of: fewer may be noise, a row of them says that the click was heard late."""


def find_start(
    cell: IntArray,
    lattice: Lattice,
    pulse: Pulse,
    told: Exercise,
    *,
    per_bar: int,
    accents: Accents | None,
    downbeat: float | None,
) -> tuple[float, tuple[Notice, ...]]:
    """Beat at which the first played bar begins, in beats of the lattice, and what must be said about it.

    Parameters
    ----------
    cell : (n,) int
        Parts of the beat that hold a strum.
    lattice : Lattice
    pulse : Pulse
    told : Exercise
    per_bar : int
        Beats in a bar.
    accents : Accents, optional
    downbeat : float, optional
        Where the user says that it is.
    """
    parts = lattice.per_beat
    if pulse.mapped:
        return pulse.map_start, ()
    if downbeat is not None:
        return (round(downbeat) if pulse.anchor != "fitted" else downbeat), ()
    played = None if told.pattern is None else np.array([c != "." for c in told.pattern])
    first = int(np.floor(cell.min() / parts))
    if pulse.last_click_beat is None:
        step = 1 if lattice.swing is None else parts  # without a click any part may be the beat, unless they swing
        cells = np.arange((first - per_bar) * parts, (first + 2 * per_bar) * parts + 1, step)
        return best_start(cell, played, cells, np.zeros(len(cells)), bar_cells=per_bar * parts) / parts, ()
    marked = accents if accents is not None and accents.period == per_bar else None
    if told.count_in is None:
        beats = np.arange(min(0, first - per_bar), max(first, 0) + 2 * per_bar + 1)
        cost = np.where(beats % per_bar == 0, 0.0, OFF_BAR_COST) + np.where(beats < 0, OFF_BAR_COST, 0.0)
        cost += _accent_cost(beats, marked)
        return best_start(cell, played, beats * parts, cost, bar_cells=per_bar * parts) // parts, ()
    expected = [told.count_in * per_bar]
    if pulse.clicks_per_beat != 1.0:  # a bar may have been counted in clicks, rather than in the beats told
        expected.append(round(told.count_in * per_bar / pulse.clicks_per_beat))
    beats, cost = _around_told(cell, played, parts, per_bar, expected, marked)
    start = best_start(cell, played, beats * parts, cost, bar_cells=per_bar * parts) // parts
    return start, () if start in expected else (_start_notice(start, told.count_in, expected[0], marked),)


def _around_told(
    cell: IntArray,
    played: NDArray[np.bool_] | None,
    parts: int,
    per_bar: int,
    expected: Sequence[int],
    accents: Accents | None,
) -> tuple[IntArray, NDArray[np.float64]]:
    """The beats that may be the first downbeat when a count-in is told, and what speaks against each.

    The told one, unless the accents or the pattern leave no doubt: the first clicks may not have been heard, or the
    click may have been running before the recording began, or have begun after the strums.
    """
    ranges = [np.arange(b - per_bar + 1, b + per_bar) for b in expected]
    late_click = len(np.unique(cell[cell < 0])) >= LATE_CLICK_STRUMS
    if late_click:
        ranges.append(np.arange(int(np.floor(cell.min() / parts)) - per_bar, 0))
    beats = np.unique(np.concatenate(ranges))
    told = np.isin(beats, expected)
    by_accent = np.zeros(len(beats), np.bool_) if accents is None else beats % per_bar == accents.phase
    by_pattern = np.inf if played is None else max(PATTERN_COST, PATTERN_SHARE * len(cell))
    cost = np.where(told, 0.0, np.where(by_accent, TOLD_COUNT_COST, by_pattern))
    if late_click:
        cost = np.where((beats < 0) & ~told, np.minimum(cost, LATE_CLICK_COST), cost)
    cost = cost + _accent_cost(beats, accents)
    possible = np.isfinite(cost)
    return beats[possible], cost[possible]


def _accent_cost(beats: IntArray, accents: Accents | None) -> NDArray[np.float64]:
    """What the accents say against each beat as a downbeat."""
    if accents is None:
        return np.zeros(len(beats))
    cost = ACCENT_COST if accents.phase == 0 else LATE_ACCENT_COST
    return np.where(beats % accents.period == accents.phase, 0.0, cost)


def _start_notice(start: int, count_in: int, expected: int, accents: Accents | None) -> Notice:
    if start < 0:
        message = (
            f"the first played bar begins {-start} beats before the first click heard, by the strums; the told "
            f"count-in of {count_in} bars cannot be counted from that click"
        )
        return Notice(code="start-differs", message=message)
    by = "the strums' pattern" if accents is None or start % accents.period != accents.phase else "the click's accents"
    message = (
        f"by {by} the first played bar begins {start} beats after the first click heard, not {expected} as the told "
        f"count-in of {count_in} bars has it; clicks before the first one heard may be missing"
    )
    return Notice(code="start-differs", message=message)


def best_start(
    cell: IntArray,
    played: NDArray[np.bool_] | None,
    candidates: IntArray,
    cost: NDArray[np.float64],
    *,
    bar_cells: int | None = None,
) -> int:
    """The candidate cell at which the pattern, laid from there on, explains the strums best.

    Parameters
    ----------
    cell : (n,) int
        Parts of the beat that hold a strum.
    played : (period,) bool or None
        The pattern; None where it is not known: then what most bars hold is taken for it, wherever they begin.
    candidates : (k,) int
        Cells at which the first played bar may begin.
    cost : (k,) float
        What speaks against each of them beforehand.
    bar_cells : int, optional
        Cells in a bar, for a pattern that is not known.

    Returns
    -------
    int
    """
    cell = np.unique(cell)
    first, last = int(cell[0]), int(cell[-1])
    fixed = played is None  # a pattern read from the bars stays where it is, whatever the first bar
    pattern = _usual(cell, bar_cells or 1) if played is None else played.astype(np.float64)
    worth = np.empty(len(candidates))
    for k, start in enumerate(candidates.tolist()):
        since = cell[cell >= start]
        every = np.arange(start, max(last + 1, start))
        shift = 0 if fixed else start
        expected = pattern[(every - shift) % len(pattern)].sum()
        matched = pattern[(since - shift) % len(pattern)].sum()
        misfit = (expected - matched) + (len(since) - matched)
        outside = len(cell) - len(since)
        worth[k] = -OMITTED_COST * misfit - OUTSIDE_COST * outside - cost[k] - 1e-9 * abs(start - first)
    return int(candidates[int(np.argmax(worth))])


def _usual(cell: IntArray, period: int) -> NDArray[np.float64]:
    """How full each cell of a bar is, bars counted from cell 0; with fewer than three bars, the mean of all cells."""
    first, last = int(cell[0]), int(cell[-1])
    every = np.arange(first, last + 1)
    filled = np.isin(every, cell)
    if len(every) < 3 * period:
        return np.array([filled.mean()])
    seen = np.bincount(every % period, minlength=period)
    hits = np.bincount(every % period, weights=filled, minlength=period)
    return np.where(hits / seen > 0.5, 1.0, 0.0)
