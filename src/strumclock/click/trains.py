"""A regular train of clicks: followed from a chain of pulses to where it ends, and weighed against chance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.audio.quantiles import quantiles
from strumclock.click.chains import MULTIPLES, Chain
from strumclock.click.cycle import Cycle
from strumclock.click.matching import Matcher, average, leave_one_out
from strumclock.click.preprocessing import Bools, Float32, Float64

CHAIN_TOLERANCE_S = 0.00025
"""How far a click may lie from the line through its chain: strums scatter by 3 ms and more."""

SEARCH_S = 0.0004
"""How far a click may lie from where the clicks so far put it."""

ALIKE, ALIKE_SHARE = (0.2, 0.4), 0.6
"""Agreement above which a place helps to fit the train: between these, this share of what is usual in its chain.
Among noise a chain agrees by 0.3; in 0.4 ms chance reaches 0.15."""

MASKED = 0.3
"""Share of clicks that a strum or noise may hide."""

MOST_EVIDENCE = 8.0
"""No single click counts more than this (nats): chance has longer tails than the normal law."""

LEAST_CHANCE = 0.07
"""Agreement that chance always reaches (standard deviation): what 150 independent samples give."""

DISPLACED_S, DISPLACED_ALIKE, DISPLACED_MORE = (0.0005, 0.010), 0.5, 0.15
"""A place is displaced where between these distances something is so much like the sound, and by so much more than
what is there."""

MOST_DISPLACED = 0.15
"""Displaced places for each click heard that speak for strums: with a player's scatter seven in ten are displaced and
one or two are in place by chance, with clicks seven are in place and one in a hundred is displaced; the odds are even
at 0.4, and no recording with a click came to 0.1."""

PROMISING = 8.0
"""Evidence (nats) that a train must have even by the smallest chance there is, for the chance around it to be looked
at."""

SPARSE = 0.3, 0.6
"""A train of which less than the first share is heard is thinned to one of which the second is, where there is one: not
even MASKED hides so many. In sweep_click.py 0.15 with 0.6, and 0.3 with 0.8, lose one take
in twelve."""

THIN = 5.0
"""Evidence (nats) by which a thinner train must be the better one."""

PART = 12.0
"""Evidence (nats) that the train's own sound must have between its places: an accent or a strum may have hidden the
others there, and made the longer interval the likelier one. From 6 to 24 nothing changes in
sweep_click.py."""

HUM, HUM_TIMES = 0.5, 1.3
"""Where something as much like the sound as this is heard before the place, the place must be this much more like it:
a hum, a buzz or a ringing string comes back at any distance that is a multiple of its period."""

MOST_ROWS = 128
"""The surroundings of so many places are looked at, those of the others are taken to be as their neighbours' are."""

EVERY = 5
"""Of the surroundings' agreement every so manieth sample is looked at: neighbours are alike."""

HEARD = 1.0
"""Evidence (nats) above which a click counts as heard."""


@dataclass(frozen=True, slots=True, eq=False)
class Chance:
    """What a sound agrees with around each place by chance.

    Attributes
    ----------
    deviation : float array, shape (n,)
        Standard deviation of the agreement.
    before : float array, shape (n,)
        Greatest agreement before the place.
    """

    deviation: Float64
    before: Float64

    def evidence(self, agreement: Float64) -> Float64:
        """Log likelihood ratio (nats) of a click heard at each place against chance, with MASKED clicks allowed for."""
        null = np.exp(-0.5 * (agreement / self.deviation) ** 2) / (self.deviation * np.sqrt(2 * np.pi))
        heard = np.where(agreement > 0, 1.0, 0.05)
        ratio = np.minimum(np.log(MASKED + (1 - MASKED) * heard / np.maximum(null, 1e-12)), MOST_EVIDENCE)
        humming = (self.before > HUM) & (agreement < HUM_TIMES * self.before)
        evidence: Float64 = np.where(humming, np.minimum(ratio, np.log(MASKED)), ratio)
        return evidence


@dataclass(frozen=True, slots=True, eq=False)
class Train:
    """Clicks at start + step * nominal (front samples), first heard to last heard.

    Attributes
    ----------
    nominal : float array, shape (n,)
        0, 1, 2, … (or the told times) of each click.
    start, step : float
        Position = start + step * nominal.
    sound : float32 array
        What was learned, in the front.
    agreement, evidence : float array, shape (n,)
        Correlation of each click with the sound learned from the others; log likelihood ratio of heard against not
        (nats).
    score : float
        Sum of the evidence, less that of the two clicks that any two sounds would give.
    places : float array, shape (m,)
        All nominal places that were looked at, those before the first click heard and after the last too.
    chance : Chance
        What the sound agrees with around each of these places by chance.
    """

    nominal: Float64
    start: float
    step: float
    sound: Float32
    agreement: Float64
    evidence: Float64
    score: float
    places: Float64
    chance: Chance

    @property
    def position(self) -> Float64:
        """Place of each click, front samples."""
        return self.start + self.step * self.nominal

    @property
    def heard(self) -> Bools:
        """Which clicks are heard."""
        return self.evidence > HEARD


def follow(
    match: Matcher, chain: Chain, nominal: Float64, known: Float32 | None = None
) -> tuple[float, float, Float32] | None:
    """Start, step and sound of the train that a chain belongs to, followed over all nominal places.

    The first fit is made where the chain's pulses lie; then twice the stretch, and so on, so that the next places are
    always known to a fraction of the sound's own wave.
    """
    start, step = chain.start, chain.step
    position = start + step * nominal
    core = np.unique(np.argmin(np.abs(position[:, None] - chain.place[None]), axis=0))
    low, high = float(nominal[core].min()), float(nominal[core].max())
    reach = max(round(SEARCH_S * match.front.rate_hz), 3)
    usual = float(np.median(np.diff(nominal)))
    sound = match.rows(np.array([chain.lead]))[0] if known is None else known
    start = chain.lead - step * float(nominal[int(np.argmin(np.abs(position - chain.lead)))])
    rounds = 3
    first, _ = match.compare(chain.place if known is None else start + step * nominal[core], sound, reach)
    alike = float(np.clip(ALIKE_SHARE * np.median(first), *ALIKE))
    while True:
        use = (nominal >= low) & (nominal <= high)
        x = nominal[use]
        for _ in range(rounds):
            at = start + step * x
            found, delay = match.compare(at, sound, reach)
            weight = np.maximum(found - 0.75 * alike, 0.0) * (found > alike)
            if np.count_nonzero(weight) < 2:
                return None
            start, step, weight = _line(x, at + delay, weight, start, step, CHAIN_TOLERANCE_S * match.front.rate_hz)
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
    x: Float64, at: Float64, weight: Float64, start: float, step: float, tolerance: float
) -> tuple[float, float, Float64]:
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


def _weighted_median(values: Float64, weight: Float64) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][int(np.searchsorted(total, total[-1] / 2))])


def chance_at(match: Matcher, position: Float64, sound: Float32, interval: float) -> Chance:
    """How a sound agrees with the surroundings of each place.

    The deviation is the larger of there and everywhere, read from the 97th percentile (2.17 standard deviations of a
    normal law), since the tails are what matters.
    """
    some = np.unique(np.linspace(0, len(position) - 1, MOST_ROWS).astype(np.int_))
    around = np.abs(match.surroundings(position[some], sound, interval))
    before = around[:, : around.shape[1] // 2].max(axis=1).astype(np.float64)
    thin = around[:, ::EVERY]
    there, everywhere = quantiles(thin, 0.97)[0], quantiles(thin.ravel(), 0.97)[0]
    deviation = np.maximum(np.maximum(there, everywhere).astype(np.float64) / 2.17, LEAST_CHANCE)
    nearest = np.searchsorted((some[1:] + some[:-1]) / 2, np.arange(len(position)))
    return Chance(deviation=deviation[nearest], before=before[nearest])


def weigh(match: Matcher, nominal: Float64, start: float, step: float, sound: Float32) -> Train | None:
    """Evidence of every place of a train, and the stretch of it that is heard; None where that is fewer than 3
    clicks."""
    position = start + step * nominal
    interval = step * float(np.median(np.diff(nominal)))
    agreement, _ = match.compare(position, sound, 1)
    some = Chance(deviation=np.full(len(position), LEAST_CHANCE), before=np.zeros(len(position)))
    if promise(some.evidence(agreement)) < PROMISING:
        return None
    chance = chance_at(match, position, sound, interval)
    evidence = chance.evidence(agreement)
    rows = match.rows(position)
    for _ in range(2):
        heard = evidence > HEARD
        if np.count_nonzero(heard) < 2:
            return None
        agreement = leave_one_out(rows, np.maximum(agreement, 0.0) * heard)
        evidence = chance.evidence(agreement)
    begin, end = stretch(evidence)
    if end - begin < 3:
        return None
    part = slice(begin, end)
    score = promise(evidence)
    elsewhere = displaced(match, position[part], sound, agreement[part])
    if np.count_nonzero(elsewhere) > MOST_DISPLACED * np.count_nonzero(evidence[part] > HEARD):
        score = min(score, 0.0)
    return Train(
        nominal=nominal[part],
        start=start,
        step=step,
        sound=sound,
        agreement=agreement[part],
        evidence=evidence[part],
        score=score,
        places=nominal,
        chance=chance,
    )


def displaced(match: Matcher, position: Float64, sound: Float32, agreement: Float64) -> Bools:
    """Which places hold the sound a few milliseconds away rather than there: so does a player's strum, but no click."""
    near, far = round(DISPLACED_S[0] * match.front.rate_hz), round(DISPLACED_S[1] * match.front.rate_hz)
    curve = match.curve(position, sound, far)
    curve[:, far - near : far + near + 1] = 0.0
    other = curve.max(axis=1)
    return np.asarray((other > DISPLACED_ALIKE) & (other > agreement + DISPLACED_MORE))


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
    clear = np.where(train.heard, np.maximum(train.agreement, 0.0), 0.0)
    cycle = Cycle.of(match, train.position, clear, step)
    whole = np.arange(np.floor((train.position[0] - start) / step), np.ceil((train.position[-1] - start) / step))
    for parts in (2, 3):
        if not all(cycle.hits(part * step / parts) for part in range(1, parts)):
            continue
        number = np.arange(whole[0] * parts, (whole[-1] + 1) * parts)
        position = start + step / parts * number[number % parts > 0]
        agreement, _ = match.compare(position, train.sound, 1)
        if promise(chance_at(match, position, train.sound, step / parts).evidence(agreement)) > PART:
            return step / parts
    return step


def promise(evidence: Float64) -> float:
    """Evidence of the best run of clicks, less that of the two which any two sounds would give."""
    begin, end = stretch(evidence)
    run = evidence[begin:end]
    return float(run.sum() - np.sort(run)[-2:].sum()) if len(run) > 2 else 0.0


def stretch(evidence: Float64) -> tuple[int, int]:
    """First and one past the last of the run with the greatest sum."""
    total = np.concatenate([[0.0], np.cumsum(evidence)])
    end = int(np.argmax(total - np.minimum.accumulate(total)))
    return int(np.argmin(total[: end + 1])), end
