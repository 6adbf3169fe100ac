"""The best train of clicks in a recording, or the clicks of a count-in, on the lattice that they keep."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strumclock.click.accents import Lattice, complete, loudness
from strumclock.click.chains import CLOCK, Chain, find_chains, find_mapped_chains, propose_intervals
from strumclock.click.countin import LIKE, RISE_DB, CountIn, find_count_in, rise_db
from strumclock.click.matching import Matcher, average
from strumclock.click.periodicity import ALIKE, SHIFT_S, Pairs, alike_pairs, pick_pulses
from strumclock.click.preprocessing import Bools, Float32, Float64, Front, Ints
from strumclock.click.trains import HEARD, MOST_EVIDENCE, SEARCH_S, Train, follow, thickened, thinned, weigh
from strumclock.click.uneven import Uneven, again, between, find_uneven

SCAN_S = 45.0
"""The interval is looked for in so much at a time, from the beginning, until a train of clicks is found."""

LEAST_SCORE = 30.0
"""Evidence (nats) below which nothing is called a click. Strumming without a click stays below 20, clicks are above
40."""

RINGING_S = 0.3
"""Of trains whose clicks are closer together than this, so much more evidence is asked as they are closer: a ringing
chord is like itself at some short interval for as long as it rings, which is one agreement and not ten. Half or double
of it changes nothing in sweep_click.py."""

PLAIN_SCORE = 80.0
"""Evidence from which no further interval is tried."""

HITS, LOUDER_HIT = 3, 1.1
"""So many clicks to a beat told are hits of one sound, of which the first is louder than the others by this factor, or
else the first that is heard."""

FULL = 0.9
"""A train of which this share is heard leaves nothing to the multiples of its interval. From 0.7 to 0.98
nothing changes in sweep_click.py."""

PARTS_OF_BEAT = (1, 2, 3, 4)
"""Clicks at a told tempo and at parts of it are one train's, and so are several beats'."""

FEWEST = 3
"""Fewer clicks than this are none."""

SAME_SOUND = ALIKE + LIKE
"""Agreement from which a pulse beside a count-in's clicks is one more of them (as in `countin`) …"""

OFF_LATTICE = 0.25
"""… and belies them where it lies further (in their intervals) from every place that they foretell: nearer to the
middle between two clicks than to either. An echo lies nearer; a click that goes on under the playing is in place."""


def find_lattice(
    front: Front,
    *,
    hints_s: tuple[float, ...],
    told: Float64 | None,
    beats_per_bar: int | None,
    even: bool = False,
) -> Lattice | Uneven | None:
    """All clicks of a recording, or None; those of a wind-up metronome where no even ones are found.

    Parameters
    ----------
    front : Front
    hints_s : tuple of float
        Times between clicks that were told, or that follow from what was told.
    told : float array or None
        Told times of the clicks (s); None where only their regularity is known.
    beats_per_bar : int or None
        Where accents are looked for.
    even : bool
        Whether no wind-up metronome is looked for.
    """
    match = Matcher.of(front)
    n = len(front.samples)
    step = round(SCAN_S * front.rate_hz)
    best: Train | None = None
    early: tuple[Ints, Pairs] | None = None
    for begin in range(0, n, step):
        end = min(begin + step, n)
        place = pick_pulses(front, begin, end)
        if len(place) < FEWEST:
            continue
        pairs = alike_pairs(front, place)
        early = (place, pairs) if begin == 0 else early
        train = _best_train(match, place, pairs, hints_s, told, begin, end)
        if train is not None and (best is None or train.score > best.score):
            best = train
        if best is not None and best.score > _least(match, best):
            whole = _one_to_three(match, _whole(match, best, told, beats_per_bar), hints_s)
            if np.count_nonzero(whole.weight) >= FEWEST and whole.score > _least(match, whole):
                uneven = None if even or told is not None else between(match, whole) or again(match, whole)
                return uneven or whole
            best = None
    if early is None or told is not None:
        return None
    uneven = None if even else find_uneven(match, *early, hints_s)
    if uneven is not None:
        return uneven
    count_in = find_count_in(front, *early, hints_s)
    if count_in is None:
        return None
    found = _from_count_in(match, count_in)
    return None if _contradicted(match, found, early[0]) else found


def _contradicted(match: Matcher, count_in: Lattice, place: Ints) -> bool:
    """Whether the sound of a count-in is heard between its clicks, or goes on after them at other times."""
    reach = max(round(SHIFT_S * match.front.rate_hz), 3)
    alike = match.compare(place.astype(np.float64), count_in.sound, reach)[0] > SAME_SOUND
    number = (place[alike] - count_in.start) / count_in.step
    other = number[np.abs(number - np.round(number)) > OFF_LATTICE]
    last = count_in.nominal[-1]
    between_them, after = (other > 0) & (other < last), other > last
    return bool(np.any(between_them) or np.count_nonzero(after) >= FEWEST)


def _least(match: Matcher, found: Train | Lattice) -> float:
    """Evidence that is asked of clicks so close together."""
    apart_s = found.step * float(np.median(np.diff(found.nominal))) / match.front.rate_hz
    return LEAST_SCORE * max(RINGING_S / apart_s, 1.0)


def regular(start: float, step: float, begin: int, end: int) -> Float64:
    """Whole numbers k with begin <= start + k * step < end."""
    return np.arange(np.ceil((begin - start) / step), np.floor((end - 1 - start) / step) + 1.0)


def _best_train(
    match: Matcher,
    place: Ints,
    pairs: Pairs,
    hints_s: tuple[float, ...],
    told: Float64 | None,
    begin: int,
    end: int,
) -> Train | None:
    """The train with the most evidence between two samples."""
    rate = match.front.rate_hz
    best: Train | None = None
    if told is not None:
        for chain in find_mapped_chains(place, pairs, told, rate):
            at = chain.start + chain.step * told
            best = _better(best, attempt(match, chain, told[(at >= begin) & (at < end)]))
        return best
    for tried, interval in enumerate(propose_intervals(pairs, hints_s)):
        if best is not None and _explained(best, interval * rate):
            continue
        if tried > 1 and best is not None and best.score > PLAIN_SCORE:
            break
        for chain in find_chains(place, pairs, interval, rate):
            best = _better(best, attempt(match, chain, regular(chain.start, chain.step, begin, end)))
            if best is not None and _explained(best, interval * rate):
                break
    return _at_told_tempo(match, best, place, pairs, hints_s, begin, end) or best


def _at_told_tempo(
    match: Matcher, best: Train | None, place: Ints, pairs: Pairs, hints_s: tuple[float, ...], begin: int, end: int
) -> Train | None:
    """Clicks at a told tempo beside the best train of another one, as a clock on the wall ticks too; or where no train
    is found, if they are heard nearly throughout, as what mains hum or a steady player repeats is not."""
    rate = match.front.rate_hz
    found = best is not None and best.score > _least(match, best)
    if best is not None and found and any(_simple(hint / best.step * rate) for hint in hints_s):
        return None
    told: Train | None = None
    for hint in hints_s:
        for chain in find_chains(place, pairs, hint, rate):
            train = attempt(match, chain, regular(chain.start, chain.step, begin, end))
            if train is None or train.score <= _least(match, train) or abs(train.step / rate / hint - 1) >= CLOCK:
                continue
            if found or np.mean(train.heard) >= FULL:
                told = _better(told, train)
    return told


def _simple(ratio: float) -> bool:
    """Whether a ratio of intervals is one of small whole numbers: parts of the same beat."""
    return any(abs(ratio * part - round(ratio * part)) < 1e-3 * part for part in PARTS_OF_BEAT if ratio * part > 0.5)


def _explained(train: Train, step: float) -> bool:
    """Whether clicks at this step would be some of those of the train, which is heard nearly throughout."""
    if train.score < PLAIN_SCORE or np.mean(train.heard) < FULL:
        return False
    times = step / train.step
    return round(times) >= 1 and abs(times - round(times)) < CLOCK * times


def _better(a: Train | None, b: Train | None) -> Train | None:
    return b if a is None or (b is not None and b.score > a.score) else a


def attempt(match: Matcher, chain: Chain, nominal: Float64, known: Float32 | None = None) -> Train | None:
    if len(nominal) < FEWEST:
        return None
    fitted = follow(match, chain, nominal, known)
    return None if fitted is None else weigh(match, nominal, *fitted)


def _whole(match: Matcher, train: Train, told: Float64 | None, beats_per_bar: int | None) -> Lattice:
    """Follow the train through the whole recording, and find its other sounds."""
    n = len(match.front.samples)
    start, step = (train.start, train.step) if told is not None else thinned(train)
    on = (
        np.abs((train.position - start) / step - np.round((train.position - start) / step)) < 0.1
        if told is None
        else True
    )
    if step == train.step and told is None:
        step = thickened(match, start, step, train)
    lead = float(train.position[int(np.argmax(np.where(on, train.agreement, -1.0)))])
    chain = Chain(start=start, step=step, place=train.position[train.heard & on], lead=lead)
    nominal = regular(chain.start, chain.step, 0, n) if told is None else told
    whole = attempt(match, chain, nominal, train.sound) or train
    if told is None:
        nominal = regular(whole.start, whole.step, 0, n)
    else:
        at = whole.start + whole.step * told
        nominal = told[(at >= 0) & (at < n)]
    return complete(match, whole, nominal, beats_per_bar, divide=told is None)


def _one_to_three(match: Matcher, found: Lattice, hints_s: tuple[float, ...]) -> Lattice:
    """Every third of the clicks where that is the beat told: a sound of several hits is one click.

    Which third: the one of another sound or louder, or else that of the first click heard.
    """
    apart = found.step * float(np.median(np.diff(found.nominal)))
    if not any(abs(hint * match.front.rate_hz / (HITS * apart) - 1) < CLOCK for hint in hints_s):
        return found
    number = np.arange(len(found.nominal))
    heard = found.evidence > HEARD
    loud = loudness(match, found.start + found.step * found.nominal, heard)
    level = np.array([np.median(loud[heard & (number % HITS == k)]) if k < len(number) else 0.0 for k in range(HITS)])
    first = int(np.argmax(level))
    if level[first] < LOUDER_HIT * float(np.median(level)):
        first = int(np.flatnonzero(heard)[0]) % HITS
    mine = number % HITS == first
    kept = {name: getattr(found, name)[mine] for name in ("nominal", "evidence", "weight", "accented")}
    weight = kept["weight"] if np.count_nonzero(kept["weight"]) >= FEWEST else kept["evidence"] * heard[mine]
    return replace(found, **{**kept, "weight": weight}, kind=np.zeros(int(mine.sum()), dtype=np.int_))


def with_count_in(front: Front, found: Lattice, start: float, step: float, quiet: float) -> Lattice:
    """The lattice with the clicks before its first that stand in the quiet before the playing.

    A click may sound so different there (a beep is hardly whitened in quiet) that the learned sound does not
    recognise it. Where every place back from the first click holds a sudden sound in the quiet, it is a click.

    Parameters
    ----------
    start, step : float, front samples
        Time of a click = start + step * nominal.
    quiet : float, front samples
        When the playing begins (`countin.quiet_until`).
    """
    apart = float(np.median(np.diff(found.nominal)))
    if start + step * (found.nominal[0] - apart) < 0:
        return found
    before: list[float] = []
    nominal = float(found.nominal[0]) - apart
    while 0 <= start + step * nominal < quiet:
        place = np.array([round(start + step * nominal)])
        if rise_db(front, place)[0] < RISE_DB:
            break
        before.append(nominal)
        nominal -= apart
    if not before:
        return found
    n = len(before)
    number = np.round((np.array(before[::-1]) - found.nominal[0]) / apart).astype(np.int_)
    accents = np.flatnonzero(found.accented)
    bar = int(accents[1] - accents[0]) if len(accents) > 1 else 0
    accented = (number - accents[0]) % bar == 0 if bar else np.zeros(n, dtype=bool)
    own = bool(np.any(found.kind == 1))
    parts = 1 + len(np.unique(found.kind[found.kind > 1]))
    first = [next((int(k) for k in found.kind[i::parts] if k != 1), 0) for i in range(parts)]
    return replace(
        found,
        nominal=np.concatenate([before[::-1], found.nominal]),
        evidence=np.concatenate([np.full(n, MOST_EVIDENCE), found.evidence]),
        weight=np.concatenate([np.zeros(n), found.weight]),
        kind=np.concatenate([np.where(accented & own, 1, np.array(first)[number % parts]), found.kind]),
        accented=np.concatenate([accented, found.accented]),
    )


def _bars(other: Bools) -> Bools:
    """The clicks of another sound, where they can be first beats: the first click, and every so manieth from it."""
    at = np.flatnonzero(other)
    regular = len(at) > 0 and at[0] == 0 and (len(at) == 1 or (at[1] > 1 and len(set(np.diff(at))) == 1))
    return other if regular else np.zeros_like(other)


def _from_count_in(match: Matcher, found: CountIn) -> Lattice:
    """The lattice of a count-in, its interval from the clicks of its main sound."""
    number = np.round((found.place - found.place[0]) / found.step)
    start, step = float(found.place[0]), found.step
    x, at = number[found.main], found.place[found.main]
    sound = match.rows(at[:1])[0]
    for _ in range(3):
        if len(x) > 1:
            step = float(np.polyfit(x, at, 1)[0])
        start = float(np.mean(at - step * x))
        line = start + step * x
        sound = average(match.rows(line), np.ones(len(x)))
        at = line + match.compare(line, sound, max(round(SEARCH_S * match.front.rate_hz), 3))[1]
    lattice = np.arange(number[-1] + 1)
    index = number.astype(np.int_)
    evidence = np.zeros(len(lattice))
    evidence[index] = found.score / len(index)
    kind = np.zeros(len(lattice), dtype=np.int_)
    kind[index[~found.main]] = 1
    weight = np.zeros(len(lattice))
    weight[index[found.main]] = 1.0
    return Lattice(
        nominal=lattice,
        start=start,
        step=step,
        sound=sound,
        evidence=evidence,
        weight=weight,
        kind=kind,
        accented=_bars(kind == 1),
        score=found.score,
    )
