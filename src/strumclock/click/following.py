"""A regular train of clicks, followed from a chain of pulses to its ends; and whether every place of it is meant."""

from __future__ import annotations

import numpy as np

from strumclock.arrays import Floats, Samples
from strumclock.click.candidate import HEARD
from strumclock.click.cycle import Cycle
from strumclock.click.matching import Matcher, average
from strumclock.click.periodicity import MULTIPLES, Chain
from strumclock.click.scoring import Train, chance_at, promise, stretch, weigh

CHAIN_TOLERANCE_S = 0.00025
"""How far a click may lie from the line through its chain: strums scatter by 3 ms and more."""


SEARCH_S = 0.0004
"""How far a click may lie from where the clicks so far put it."""


ALIKE = 0.3
"""Agreement above which a place helps to fit the train: in 0.4 ms chance reaches 0.15. A share of what is usual in the
chain instead moves nothing in sweep_click.py."""


SPARSE = 0.3, 0.6
"""A train of which less than the first share is heard is thinned to one of which the second is, where there is one: not
even MASKED hides so many. In sweep_click.py 0.15 with 0.6, and 0.3 with 0.8, lose one take
in twelve."""


THIN = 5.0
"""Evidence (nats) by which a thinner train must be the better one."""


PART_SHARE = 0.5
"""And so many of them are heard, against the train's own: in the quiet of a count-in anything comes back."""

PART = 12.0
"""Evidence (nats) that the train's own sound must have between its places: an accent or a strum may have hidden the
others there, and made the longer interval the likelier one. From 6 to 24 nothing changes in
sweep_click.py."""


FEWEST = 3
"""Fewer clicks than this are none."""


def follow(
    match: Matcher, chain: Chain, nominal: Floats, known: Samples | None = None
) -> tuple[float, float, Samples] | None:
    """Start, step and sound of the train that a chain belongs to, followed over all nominal places.

    The first fit is made where the chain's pulses lie; then twice the stretch, and so on, so that the next places are
    always known to a fraction of the sound's own wave.
    """
    start, step = chain.start, chain.step
    position = start + step * nominal
    core = np.unique(np.argmin(np.abs(position[:, None] - chain.place[None]), axis=0))
    low, high = float(nominal[core].min()), float(nominal[core].max())
    reach = max(round(SEARCH_S * match.signal.rate_hz), 3)
    usual = float(np.median(np.diff(nominal)))
    sound = match.rows(np.array([chain.lead]))[0] if known is None else known
    start = chain.lead - step * float(nominal[int(np.argmin(np.abs(position - chain.lead)))])
    rounds = 3
    while True:
        use = (nominal >= low) & (nominal <= high)
        x = nominal[use]
        for _ in range(rounds):
            at = start + step * x
            found, delay = match.compare(at, sound, reach)
            weight = np.maximum(found - 0.75 * ALIKE, 0.0) * (found > ALIKE)
            if np.count_nonzero(weight) < 2:
                return None
            start, step, weight = _line(x, at + delay, weight, start, step, CHAIN_TOLERANCE_S * match.signal.rate_hz)
            if np.count_nonzero(weight) < 2:
                return None
            good = weight > 0
            sound = average(match.rows(start + step * x[good]), weight[good])
        if low <= nominal[0] and high >= nominal[-1]:
            return start, step, sound
        width = max(high - low, 3 * usual)
        low, high = max(low - width, nominal[0]), min(high + width, nominal[-1])
        rounds = 2 if low == nominal[0] and high == nominal[-1] else 1


def _line(
    x: Floats, at: Floats, weight: Floats, start: float, step: float, tolerance: float
) -> tuple[float, float, Floats]:
    """Weighted straight line through (x, at), those far from it left out."""
    keep = weight
    for _ in range(4):
        off = at - start - step * x
        near = np.abs(off - _weighted_median(off, keep)) < max(tolerance, 1.5)
        keep = weight * near
        count, total = int(np.count_nonzero(keep)), float(keep.sum())
        if count < 2:
            break
        mean_x, mean_at = float(keep @ x) / total, float(keep @ at) / total
        away = x - mean_x
        spread = float(keep @ (away * away))
        if count >= 3 and spread > 0:
            slope = float(keep @ (away * (at - mean_at))) / spread
            step = slope if abs(slope / step - 1) < 0.01 else step
        moved, start = start, mean_at - step * mean_x
        if start == moved:
            break
    return start, step, keep


def _weighted_median(values: Floats, weight: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][int(np.searchsorted(total, total[-1] / 2))])


def attempt(match: Matcher, chain: Chain, nominal: Floats, known: Samples | None = None) -> Train | None:
    if len(nominal) < FEWEST:
        return None
    fitted = follow(match, chain, nominal, known)
    return None if fitted is None else weigh(match, nominal, *fitted)


def regular(start: float, step: float, begin: int, end: int) -> Floats:
    """Whole numbers k with begin <= start + k * step < end."""
    return np.arange(np.ceil((begin - start) / step), np.floor((end - 1 - start) / step) + 1.0)


def thinned(train: Train) -> tuple[float, float]:
    """Start and step of the train, of every second, third … of its places where the evidence lies on those alone, or
    of the best of these where so few places are heard that the step is a measure common to two tempos."""
    number = np.round(train.nominal).astype(np.int_)
    sparse = np.mean(train.heard) < SPARSE[0]
    best = (-np.inf if sparse else float(train.evidence.sum()), train.start, train.step)
    for parts in range(2, MULTIPLES + 1):
        for first in range(parts):
            mine = number % parts == first
            if np.count_nonzero(mine & train.heard) < 3:
                continue
            begin, end = stretch(train.evidence[mine])
            if sparse and np.mean(train.heard[mine][begin:end]) < SPARSE[1]:
                continue
            total = float(train.evidence[mine][begin:end].sum())
            if total > best[0] + THIN:
                best = (total, train.start + first * train.step, train.step * parts)
    return best[1], best[2]


def thickened(match: Matcher, start: float, step: float, train: Train) -> float:
    """The step, or a half or third of it where the train's own sound is heard between its places too."""
    whole = np.arange(np.floor((train.position[0] - start) / step), np.ceil((train.position[-1] - start) / step))
    for parts in (2, 3):
        number = np.arange(whole[0] * parts, (whole[-1] + 1) * parts)
        position = start + step / parts * number[number % parts > 0]
        agreement, _ = match.compare(position, train.sound, 1)
        evidence = chance_at(match, position, train.sound, step / parts).evidence(agreement)
        often = np.mean(evidence > HEARD) > PART_SHARE * np.mean(train.heard)
        if not often or promise(evidence) <= PART:
            continue
        cycle = Cycle.of(match, train.position, np.where(train.heard, np.maximum(train.agreement, 0.0), 0.0), step)
        if all(cycle.hits(part * step / parts) for part in range(1, parts)):
            return step / parts
    return step
