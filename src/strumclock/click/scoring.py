"""How a sound's places are weighed against chance: the one scorer of even and uneven clicks.

Evidence is the log likelihood ratio (nats) of a click heard at a place against what the sound agrees with around there
by chance. The score of clicks is the evidence of their best run, less that of the two which any two sounds would give.
What repeats but is no click is told by what else it does: strums are heard a few milliseconds beside their place, a
voice is like itself wherever it is looked for, a hum comes back at any distance, a hand's loudness scatters.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Bools, Floats, Samples
from strumclock.audio.quantiles import quantiles
from strumclock.click.candidate import HEARD
from strumclock.click.matching import Matcher, aligned, average, leave_one_out, unit
from strumclock.robust import robust_sd

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


HUM, HUM_TIMES = 0.5, 1.3
"""Where something as much like the sound as this is heard before the place, the place must be this much more like it:
a hum, a buzz or a ringing string comes back at any distance that is a multiple of its period."""


BUZZ_TIMES, BUZZ_SHARE, BUZZ_GAP_S, BUZZ_ROWS = 2, 0.35, 0.004, 32
"""What comes back so many times before and after the places too, by this share in the mean of all and so far apart, is
a buzz: a pickup's hum with its overtones. A click's later hits come on one side of it, those of the click before beyond
NEAR_S on the other; a long tone ends where it began. So many places are enough for a mean."""

MOST_ROWS = 128
"""The surroundings of so many places are looked at, those of the others are taken to be as their neighbours' are."""


EVERY = 5
"""Of the surroundings' agreement every so manieth sample is looked at: neighbours are alike."""


LOOKS = 4.0
"""Evidence (nats) that looking so far costs: 12 ms hold about 60 independent places."""


ITSELF_S, ITSELF = (0.002, 0.012), 0.6
"""Clicks are unlike themselves between these times before and after, by this share of their agreement: a voice's vowel
comes back with every period, and so does a long beep; where in it a place is cannot be told."""


RIDE = 8
"""Loudness is compared with so many clicks on either side."""


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

    deviation: Floats
    before: Floats

    def evidence(self, agreement: Floats) -> Floats:
        """Log likelihood ratio (nats) of a click heard at each place against chance, with MASKED clicks allowed for."""
        null = np.exp(-0.5 * (agreement / self.deviation) ** 2) / (self.deviation * np.sqrt(2 * np.pi))
        heard = np.where(agreement > 0, 1.0, 0.05)
        ratio = np.minimum(np.log(MASKED + (1 - MASKED) * heard / np.maximum(null, 1e-12)), MOST_EVIDENCE)
        humming = (self.before > HUM) & (agreement < HUM_TIMES * self.before)
        evidence: Floats = np.where(humming, np.minimum(ratio, np.log(MASKED)), ratio)
        return evidence


@dataclass(frozen=True, slots=True, eq=False)
class Train:
    """Clicks at start + step * nominal (samples), first heard to last heard.

    Attributes
    ----------
    nominal : float array, shape (n,)
        0, 1, 2, … (or the given times) of each click.
    start, step : float
        Position = start + step * nominal.
    sound : float32 array
        What was learned, in the signal.
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

    nominal: Floats
    start: float
    step: float
    sound: Samples
    agreement: Floats
    evidence: Floats
    score: float
    places: Floats
    chance: Chance

    @property
    def position(self) -> Floats:
        """Place of each click, samples."""
        return self.start + self.step * self.nominal

    @property
    def interval(self) -> float:
        """Samples between neighbours."""
        return self.step * float(np.median(np.diff(self.nominal)))

    @property
    def heard(self) -> Bools:
        """Which clicks are heard."""
        return self.evidence > HEARD


def chance_at(match: Matcher, position: Floats, sound: Samples, interval: float) -> Chance:
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


def weigh(match: Matcher, nominal: Floats, start: float, step: float, sound: Samples) -> Train | None:
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
    if score > 0 and buzzes(match, position[part][evidence[part] > HEARD], sound, interval):
        score = 0.0
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


def buzzes(match: Matcher, position: Floats, sound: Samples, interval: float) -> bool:
    """Whether what is heard at the places comes back several times on either side of them too, as a buzz does."""
    if len(position) == 0:
        return False
    some = position[:: max(len(position) // BUZZ_ROWS, 1)]
    usual = float(match.compare(some, sound, 1)[0].mean())
    around = np.abs(match.surroundings(some, sound, interval).mean(axis=0)) > BUZZ_SHARE * usual
    gap = round(BUZZ_GAP_S * match.signal.rate_hz)
    sides = (np.flatnonzero(side) for side in np.split(around, 2))
    return all(len(side) and 1 + np.count_nonzero(np.diff(side) > gap) >= BUZZ_TIMES for side in sides)


def displaced(match: Matcher, position: Floats, sound: Samples, agreement: Floats) -> Bools:
    """Which places hold the sound a few milliseconds away rather than there: so does a player's strum, but no click."""
    near, far = round(DISPLACED_S[0] * match.signal.rate_hz), round(DISPLACED_S[1] * match.signal.rate_hz)
    curve = match.curve(position, sound, far)
    curve[:, far - near : far + near + 1] = 0.0
    other = curve.max(axis=1)
    return np.asarray((other > DISPLACED_ALIKE) & (other > agreement + DISPLACED_MORE))


def promise(evidence: Floats) -> float:
    """Evidence of the best run of clicks, less that of the two which any two sounds would give."""
    begin, end = stretch(evidence)
    run = evidence[begin:end]
    return float(run.sum() - np.sort(run)[-2:].sum()) if len(run) > 2 else 0.0


def stretch(evidence: Floats) -> tuple[int, int]:
    """First and one past the last of the run with the greatest sum."""
    total = np.concatenate([[0.0], np.cumsum(evidence)])
    end = int(np.argmax(total - np.minimum.accumulate(total)))
    return int(np.argmin(total[: end + 1])), end


def evidence_near(
    match: Matcher, position: Floats, sound: Samples, interval: float, reach: int
) -> tuple[Floats, Floats]:
    """Evidence of the sound within reach of each place, and how much later than it (samples)."""
    rough = match.curve(position, sound, reach).argmax(axis=1) - reach
    agreement, delay = match.compare(position + rough, sound, 1)
    chance = chance_at(match, position, sound, interval)
    return chance.evidence(agreement) - (LOOKS if reach > 1 else 0.0), rough + delay


def like_itself(match: Matcher, at: Floats, sound: Samples) -> bool:
    """Whether the sound is heard nearly as well some milliseconds beside each place as there."""
    near, far = (round(s * match.signal.rate_hz) for s in ITSELF_S)
    curve = match.curve(at, sound, far)
    there = curve[:, far - 2 : far + 3].max(axis=1)
    curve[:, far - near : far + near + 1] = 0.0
    return bool(np.median(curve.max(axis=1) / np.maximum(there, 1e-3)) > ITSELF)


def loudness(match: Matcher, position: Floats, heard: Bools) -> Floats:
    """Loudness of each click: how much of the sound that they have in common is in the plain signal there."""
    rate = match.signal.rate_hz
    rows = np.diff(aligned(match.signal.plain, position, round(0.001 * rate), round(0.006 * rate)), axis=1)
    alike = unit(rows)
    weight = heard.astype(np.float64)
    for _ in range(3):
        sound = average(alike, weight)
        weight = np.where(heard, np.maximum(alike @ sound, 0.0), 0.0) ** 2
    loud = np.where(heard, np.maximum(rows @ sound, 0.0), 0.0).astype(np.float64)
    # against its surroundings: a phone's gain rides over some seconds
    kernel = np.hanning(2 * RIDE + 3)[1:-1]
    around = np.convolve(loud, kernel)[RIDE:-RIDE] / np.maximum(np.convolve(heard, kernel)[RIDE:-RIDE], 1e-9)
    against: Floats = loud / np.maximum(around, 1e-30)
    return against


def loudness_scatters_db(match: Matcher, at: Floats, heard: Bools) -> float:
    """Standard deviation of the clicks' loudness about their neighbours', dB."""
    loud_db = 20 * np.log10(np.maximum(loudness(match, at, heard)[heard], 1e-6))
    return robust_sd(loud_db)
