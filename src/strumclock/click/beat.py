"""The beat that uneven clicks keep in the mean: a line where it is steady, else a slowly bending one that may jump.

A metronome that runs down slows by some percent, a wireless loudspeaker's delay wanders or jumps by some milliseconds.
The beat at a place is a straight line through the clicks around it, nearer ones weighted more, ticks and tocks each
about theirs; clicks on the other side of a jump do not count.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from strumclock.arrays import Bools, Floats, Ints
from strumclock.robust import sd_of_sizes

WIDTHS, FEWEST_AROUND = (np.inf, 12.0, 4.0), 6
"""Beats on either side whose clicks tell the beat at a place: all of them where it is steady. And how many clicks at
least."""

BENDS = 1.25
"""Fewer clicks tell the beat only where each then lies nearer to what the others foretell, by this factor."""

JUMP_TIMES, LEAST_JUMP_S = 6.0, 0.001
"""The beat jumps between two clicks where the lines through those before and those after lie apart by so many times
what they usually do, and by this at least."""

FAR = 5.0
"""What lies further from where its neighbours put it than this many medians is no click."""

NEAR, WIDE = 2, 5
"""So many clicks on either side are neighbours, and so many tell the distance between clicks."""


@dataclass(frozen=True, slots=True, eq=False)
class Beat:
    """Where clicks lie in the mean, samples.

    Attributes
    ----------
    start, step : float
        The straight line through all of them: start + step * number.
    alternates : float
        How much later than the beat those of even number come, and how much earlier those of odd number.
    wanders : float
        Standard deviation of the clicks, ticks and tocks each about theirs.
    number, level : float array, shape (k,)
        The clicks that tell the beat, and their places without alternation.
    group : int array, shape (k,)
        Counts up at each jump.
    width : float
        Of WIDTHS; infinite where the beat is the straight line.
    """

    start: float
    step: float
    alternates: float
    wanders: float
    number: Floats
    level: Floats
    group: Ints
    width: float

    @classmethod
    def through(cls, number: Floats, at: Floats, rate_hz: float) -> Beat:
        """The beat through clicks of increasing numbers (at least three)."""
        alternates = _alternation(number, at)
        level = at - alternates * _parity(number)
        keep = _among_neighbours(number, level)
        number, at, level = number[keep], at[keep], level[keep]
        group = _jumps(number, level, LEAST_JUMP_S * rate_hz)
        width, wanders = WIDTHS[0], np.inf
        for wide in WIDTHS if len(number) > FEWEST_AROUND else WIDTHS[:1]:
            one = np.zeros_like(group) if wide == WIDTHS[0] else group
            off = sd_of_sizes(level - _around(number, level, one, number, wide, itself=False))
            if max(off, 0.1) * BENDS < wanders:
                width, wanders = wide, off
        step, start = (float(v) for v in np.polyfit(number, level, 1))
        return cls(start, step, alternates, wanders, number, level, group, width)

    @property
    def bends(self) -> bool:
        """Whether the beat differs from the straight line."""
        return self.width < WIDTHS[0]

    def places(self, number: Floats) -> Floats:
        """Where the beats of these numbers lie, before the first and after the last click straight on."""
        if not self.bends:
            steady: Floats = self.start + self.step * number
            return steady
        return _around(self.number, self.level, self.group, number, self.width)

    def usual(self, number: Floats) -> Floats:
        """Where the clicks of these numbers usually lie."""
        usual: Floats = self.places(number) + self.alternates * _parity(number)
        return usual

    def next(self, number: Floats) -> Floats:
        """Where clicks beyond those known are to be expected: from the last few, as soon as the beat bends."""
        nearest = replace(self, width=min(self.width, WIDTHS[-1])) if self.bends else self
        return nearest.usual(number)


def _parity(number: Floats) -> Floats:
    return np.where(number % 2 == 0, 1.0, -1.0)


def _alternation(number: Floats, at: Floats) -> float:
    """How much later than their neighbours' middle even clicks lie: half of it is their own."""
    middle = np.arange(1, len(number) - 1)
    middle = middle[(np.diff(number)[:-1] == 1) & (np.diff(number)[1:] == 1)]
    if len(middle) < 2 * NEAR:
        return 0.0
    later = at[middle] - (at[middle - 1] + at[middle + 1]) / 2
    return float(np.median(_parity(number[middle]) * later)) / 2


def _neighbours(count: int, reach: int) -> Ints:
    """Index of each and of its neighbours within reach, shape (count, 2 reach + 1); at the ends the last ones again."""
    near: Ints = np.clip(np.arange(count)[:, None] + np.arange(-reach, reach + 1), 0, count - 1)
    return near


def _among_neighbours(number: Floats, level: Floats) -> Bools:
    """Which clicks lie where those beside them put them; all of them where that leaves too few."""
    apart = np.diff(level) / np.diff(number)
    step = np.median(apart[np.clip(_neighbours(len(number), WIDE), 0, len(apart) - 1)], axis=1)
    near = _neighbours(len(number), NEAR)
    foretold = level[near] + step[:, None] * (number[:, None] - number[near])
    sides = foretold[:, :NEAR].mean(axis=1), foretold[:, NEAR + 1 :].mean(axis=1)  # on either side of a jump one holds
    off = np.minimum(np.abs(level - sides[0]), np.abs(level - sides[1]))
    off[[0, -1]] = np.abs(level - sides[1])[0], np.abs(level - sides[0])[-1]
    keep = off <= max(FAR * float(np.median(np.abs(off))), 1.0)
    return np.asarray(keep if np.count_nonzero(keep) >= FEWEST_AROUND else np.ones_like(keep))


def _jumps(number: Floats, level: Floats, least: float) -> Ints:
    """Counts up where the beat jumps: where the lines through some clicks before and some after do not meet."""
    group = np.zeros(len(number), dtype=np.int_)
    edge = np.arange(WIDE, len(number) - WIDE + 1)
    if len(edge) == 0:
        return group
    middle = (number[edge - 1] + number[edge]) / 2
    some = np.arange(WIDE)
    before, after = (_line_at(number[i], level[i], middle) for i in (edge[:, None] - 1 - some, edge[:, None] + some))
    apart = np.abs(after - before)
    bar = max(JUMP_TIMES * sd_of_sizes(apart), least)
    while float(apart.max()) > bar:
        widest = int(np.argmax(apart))
        group[edge[widest] :] += 1
        apart[max(widest - WIDE + 1, 0) : widest + WIDE] = 0.0
    return group


def _line_at(number: Floats, level: Floats, at: Floats) -> Floats:
    """The straight line through each row of clicks, at a place for each row."""
    mean_x, mean_y = number.mean(axis=1), level.mean(axis=1)
    away = number - mean_x[:, None]
    line: Floats = mean_y + (away * level).sum(axis=1) / (away * away).sum(axis=1) * (at - mean_x)
    return line


def _around(number: Floats, level: Floats, group: Ints, at: Floats, width: float, *, itself: bool = True) -> Floats:
    """The line through the clicks around each place (tricube weights), on its side of a jump; of the click at the
    place only where `itself`."""
    own = group[np.clip(np.searchsorted(number, at, side="right") - 1, 0, len(number) - 1)]
    away = number[None] - np.clip(at, number[0], number[-1])[:, None]
    far = np.where(own[:, None] == group[None], np.abs(away), np.inf)
    some = min(FEWEST_AROUND, len(number)) - 1
    sixth = np.partition(far, some, axis=1)[:, some]
    reach = np.maximum(width, np.where(np.isfinite(sixth), 1.01 * sixth, 0.0))[:, None]
    weight = np.where(far < reach, (1 - np.minimum(far / reach, 1.0) ** 3) ** 3, 0.0)
    if not itself:
        weight[far == 0] = 0.0
    weight[np.arange(len(at)), np.argmin(far, axis=1)] += 1e-6  # where no other is near, the nearest one
    total = weight.sum(axis=1)
    away = number[None] - at[:, None]
    mean_x, mean_y = (weight * away).sum(axis=1) / total, weight @ level / total
    dx = away - mean_x[:, None]
    spread = (weight * dx * dx).sum(axis=1) / total
    slope = (weight * dx * level[None]).sum(axis=1) / total / np.maximum(spread, 1e-9)
    usual = float(np.median(np.diff(level) / np.diff(number)))
    line: Floats = mean_y - np.where(spread > 0.1, slope, usual) * mean_x
    return line
