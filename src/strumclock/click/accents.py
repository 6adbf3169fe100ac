"""Clicks of more than one sound: accents, and the parts of a beat.

The train that was followed holds the clicks of one sound. Others lie on the same lattice: at its places where the
sound is not heard (accents), or halfway and the like between them (parts of the beat). They are learned from
themselves, so they may sound like anything; what they must do is come back.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strumclock.arrays import Bools, Floats, Ints
from strumclock.click.candidate import HEARD, Candidate
from strumclock.click.cycle import Cycle
from strumclock.click.following import PART_SHARE
from strumclock.click.matching import Matcher, cut
from strumclock.click.scoring import Chance, Train, chance_at, loudness, promise, stretch
from strumclock.robust import sd_of_sizes

PARTS = (2, 3, 4)
"""Into how many parts the interval may be divided by further clicks."""


BARS = (2, 3, 4, 5, 6, 7, 8, 9, 12)
"""After how many clicks an accent may come back."""


ENOUGH = 12.0
"""Evidence (nats) that a further sound must add."""


ENOUGH_ACCENT, DISTINCT = 10.0, 0.05
"""Evidence (nats) that an accent's own sound must add, and by how much its clicks must agree better with each other
than with the others: the places of a sampled sound between the recorder's samples repeat too, but only in the third
decimal."""


INDEPENDENT = 60.0
"""Independent samples in what is compared: turns agreement into likelihood."""


SURE, UNDER_STRUM, AS_LOUD = 2.5, 0.5, 0.5
"""Evidence (nats) that the first and the last click must have; where something as loud sounds as usual at a click
(power, this share of the median), the second: with the first alone the last click under a strum was lost, and with
it the strums of its beat. By chance a place reaches it in one of forty."""


LOUDER, LOUDER_ERRORS, FEWEST_LOUDER = 1.2, 6.0, 4
"""An accent of the same sound is louder by this factor at least, by so many standard errors, in so many bars."""


class _Rows:
    """Agreement of the rows at given places with sounds learned from subsets of them."""

    def __init__(self, match: Matcher, position: Floats) -> None:
        self.rows = match.rows(position)
        self.gram = (self.rows @ self.rows.T).astype(np.float64)

    def agreement(self, weight: Floats) -> Floats:
        """Of each row with the weighted mean of the others."""
        use = weight > 0
        along = self.gram[:, use] @ weight[use]
        own = np.diag(self.gram)
        rest = np.maximum(float(weight @ along) - 2 * weight * along + weight**2 * own, 0.0)
        return np.where(rest > 1e-8, (along - weight * own) / np.sqrt(np.maximum(rest, 1e-8)), 0.0)

    def voice(self, member: Bools, chance: Chance) -> tuple[Floats, Floats]:
        """Agreement of all rows with what the members have in common, and its evidence."""
        weight = member.astype(np.float64)
        agreement = self.agreement(weight)
        for _ in range(2):
            weight = np.where(member, np.maximum(agreement, 0.0) ** 2, 0.0)
            if np.count_nonzero(weight) < 2:
                break
            agreement = self.agreement(weight)
        return agreement, chance.evidence(agreement)


def complete(match: Matcher, train: Train, nominal: Floats, beats_per_bar: int | None, *, divide: bool) -> Candidate:
    """Find the other sounds of a train's lattice, and the stretch of it that is heard.

    Parameters
    ----------
    nominal : float array
        All places of the lattice in the recording, before, between and after the train's.
    divide : bool
        Whether clicks between the train's are looked for.
    """
    position = train.start + train.step * nominal
    interval = train.step * float(np.median(np.diff(nominal)))
    known = np.array_equal(nominal, train.places)
    chance = train.chance if known else chance_at(match, position, train.sound, interval)
    rows = _Rows(match, position)
    mine = np.isin(nominal, train.nominal[train.heard])
    agreement, evidence = rows.voice(mine, chance)
    inside = (nominal >= train.nominal[0]) & (nominal <= train.nominal[-1])
    kind = np.zeros(len(nominal), dtype=np.int_)
    number = np.arange(len(nominal))
    accent = _accent(match, rows, position, number, inside, agreement, evidence, chance, beats_per_bar)
    accented = np.zeros(len(nominal), dtype=bool)
    if accent is not None:
        bar, beat, own = accent
        accented = number % bar == beat
        if own is not None:
            kind[accented] = 1
            evidence = np.where(accented, own, evidence)
    begin, end = stretch(evidence)
    loud = np.where(_as_loud(match, position, evidence > HEARD), UNDER_STRUM, SURE)
    sure = begin + np.flatnonzero(evidence[begin:end] > loud[begin:end])
    if len(sure):
        begin, end = int(sure[0]), int(sure[-1]) + 1
    part = slice(begin, end)
    heard = evidence > HEARD
    weight = np.where(heard & (kind == 0), np.maximum(agreement, 0.0) ** 2, 0.0)
    found = Candidate(
        nominal=nominal[part],
        start=train.start,
        step=train.step,
        sound=train.sound,
        evidence=evidence[part],
        weight=weight[part],
        kind=kind[part],
        accented=accented[part],
        score=train.score,
    )
    return (
        _divided(match, found, interval, Chance(deviation=chance.deviation[part], before=chance.before[part]))
        if divide
        else found
    )


def _as_loud(match: Matcher, position: Floats, heard: Bools) -> Bools:
    """Where as much sounds as usual at a click that is heard."""
    power = np.sum(np.diff(cut(match.signal.plain, position, match.before, match.after), axis=1) ** 2, axis=1)
    return np.asarray(power >= AS_LOUD * (np.median(power[heard]) if np.any(heard) else np.inf))


def _accent(
    match: Matcher,
    rows: _Rows,
    position: Floats,
    number: Ints,
    inside: Bools,
    agreement: Floats,
    evidence: Floats,
    chance: Chance,
    beats_per_bar: int | None,
) -> tuple[int, int, Floats | None] | None:
    """After how many clicks an accent comes back, at which, and its evidence where it has a sound of its own."""
    best: tuple[float, int, int, Floats | None] | None = None
    count = int(inside.sum())
    usual = _likelihood(agreement, chance.deviation)
    heard = inside & (evidence > HEARD)
    for bar in (beats_per_bar,) if beats_per_bar and beats_per_bar > 1 else BARS:
        if count < 2 * bar:
            continue
        for beat in range(bar):
            mine = inside & (number % bar == beat)
            if mine.sum() < 2:
                continue
            own, own_evidence = rows.voice(mine, chance)
            gain = np.where(mine, _likelihood(own, chance.deviation) - usual, 0.0)
            strong = float(gain.sum() - max(gain.max(), 0.0))  # one agreement of two clicks is worth one, not two
            distinct = float(np.mean(own[mine]) - np.mean(agreement[mine])) > DISTINCT
            if distinct and strong > ENOUGH_ACCENT and (best is None or strong > 1.02 * best[0]):
                best = (strong, bar, beat, own_evidence)
    if best is not None:
        return best[1], best[2], best[3]
    return _louder(loudness(match, position, heard), heard, number, beats_per_bar)


def _likelihood(agreement: Floats, chance: Floats) -> Floats:
    """Log likelihood (nats) of rows given a sound, gain free: what agrees with it is explained."""
    explained = np.clip(np.maximum(agreement, 0.0), 0.0, 0.98) ** 2
    likelihood: Floats = -0.5 * np.minimum(INDEPENDENT, 1 / chance**2) * np.log1p(-explained)
    return likelihood


def _louder(loud: Floats, heard: Bools, number: Ints, beats_per_bar: int | None) -> tuple[int, int, None] | None:
    """An accent that is the same sound, louder."""
    best: tuple[float, int, int] | None = None
    for bar in (beats_per_bar,) if beats_per_bar and beats_per_bar > 1 else BARS:
        groups = [loud[heard & (number % bar == beat)] for beat in range(bar)]
        if min(len(g) for g in groups) < FEWEST_LOUDER:
            continue
        middle = np.array([np.median(g) for g in groups])
        beat = int(np.argmax(middle))
        others = np.concatenate([g for b, g in enumerate(groups) if b != beat])
        rest = float(np.median(others))
        apart = np.concatenate([np.abs(g - m) for g, m in zip(groups, middle, strict=True)])
        # a median's error is 1.2533 times a mean's
        error = 1.2533 * sd_of_sizes(apart) * np.sqrt(1 / len(groups[beat]) + 1 / len(others))
        clear = middle[beat] - max(float(np.sort(middle)[-2]), rest) if bar > 2 else middle[beat] - rest
        if (
            rest > 0
            and middle[beat] > LOUDER * rest
            and middle[beat] - rest > LOUDER_ERRORS * error
            and clear > 2 * error
        ):
            strength = (middle[beat] - rest) ** 2 / (1 / len(groups[beat]) + 1 / len(others))  # explained variance
            if best is None or strength > best[0]:
                best = (strength, bar, beat)
    return None if best is None else (best[1], best[2], None)


def _divided(match: Matcher, found: Candidate, interval: float, chance: Chance) -> Candidate:
    """The lattice with the clicks between, where there are any."""
    position = found.position
    if np.count_nonzero(found.weight) < 2:
        return found
    cycle = Cycle.of(match, position, found.weight, interval)
    best = 1
    voices: list[Floats] = []
    for parts in PARTS:
        if interval / parts < 0.1 * match.signal.rate_hz or (parts == 4 and best != 2):
            continue
        evidence = []
        for part in range(1, parts):
            shift = part * interval / parts
            if not cycle.hits(shift):
                break
            rows = _Rows(match, position + shift)
            evidence.append(rows.voice(np.ones(len(position), dtype=bool), chance)[1])
            share = float(np.mean(evidence[-1] > HEARD))
            if promise(evidence[-1]) < ENOUGH or share < PART_SHARE * float(np.mean(found.heard)):
                evidence.pop()
                break
        if len(evidence) == parts - 1:
            best, voices = parts, evidence
    if best == 1:
        return found
    n = len(found.nominal)
    nominal = np.arange(best * (n - 1) + 1) / best + found.nominal[0]
    table = np.stack([found.evidence, *voices], axis=1).reshape(-1)[: len(nominal)]
    kinds = np.tile(np.arange(best) + 1, n)[: len(nominal)]
    kinds[::best] = found.kind
    weight = np.zeros(len(nominal))
    weight[::best] = found.weight
    accented = np.zeros(len(nominal), dtype=bool)
    accented[::best] = found.accented
    return replace(found, nominal=nominal, evidence=table, weight=weight, kind=kinds, accented=accented)
