"""Where the clicks are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.click.chains import Chain, find_chains, find_mapped_chains, propose_intervals
from strumclock.click.countin import CountIn, find_count_in
from strumclock.click.front import Float32, Float64, Front, build_front
from strumclock.click.kinds import complete
from strumclock.click.matching import Matcher, average
from strumclock.click.placing import attack_of, beginning, fit_line
from strumclock.click.pulses import Pairs, alike_pairs, pick_pulses
from strumclock.click.trains import HEARD, SEARCH_S, Train, follow, weigh

SCAN_S = 45.0
"""The interval is looked for in so much at a time, from the beginning, until a train of clicks is found."""

LEAST_SCORE = 25.0
"""Evidence (nats) below which nothing is called a click. Strumming without a click stays below 15, clicks are above 40."""

PLAIN_SCORE = 80.0
"""Evidence from which no other interval is tried."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clicks:
    """The clicks of a recording.

    Attributes
    ----------
    time_s : float array, shape (n,)
        Fitted place of every click from the first to the last heard, file time; inaudible ones between included.
    u_s : float array, shape (n,)
        Standard uncertainty of each.
    heard, accented : bool array, shape (n,)
    interval_s, interval_u_s : float
        Mean time between clicks on the recorder's clock, and its standard uncertainty.
    extent : str
        ``"throughout"``, ``"count-in"`` or ``"fading"``.
    source : str
        ``"recording"``, ``"channel"`` or ``"file"``.
    score : float
        Evidence that these are clicks, nats.
    sound : int array, shape (n,)
        Which of the click's sounds each has; 0 the commonest.
    """

    time_s: Float64
    u_s: Float64
    heard: NDArray[np.bool_]
    accented: NDArray[np.bool_]
    interval_s: float
    interval_u_s: float
    extent: str
    source: str
    score: float
    sound: NDArray[np.int_]

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        for name in ("time_s", "u_s", "heard", "accented", "sound"):
            array = np.array(getattr(self, name))
            array.flags.writeable = False
            object.__setattr__(self, name, array)


def find_clicks(
    samples: ArrayLike,
    sample_rate_hz: float,
    *,
    start_s: float = 0.0,
    bpm: float | None = None,
    beats_per_bar: int | None = None,
    nominal_s: ArrayLike | None = None,
    source: str = "recording",
) -> Clicks | None:
    """Find the clicks of a metronome in a recording, whatever they sound like.

    Parameters
    ----------
    samples : float array, shape (n,)
        One channel.
    sample_rate_hz : float
    start_s : float
        File time of samples[0].
    bpm : float, optional
        The tempo told; may be wrong, half or double.
    beats_per_bar : int, optional
        Where accents are looked for.
    nominal_s : float array, optional
        Told times of the clicks, of which only start and rate are unknown.
    source : str
        Passed on.

    Returns
    -------
    Clicks or None
        None where there is no click.
    """
    x = np.ascontiguousarray(samples, dtype=np.float32)
    front = build_front(x, sample_rate_hz)
    hints = () if bpm is None else tuple(60 / bpm / m for m in (0.5, 1.0, 2.0))
    told = None if nominal_s is None else np.asarray(nominal_s, dtype=np.float64)
    found = _find(front, hints, told, beats_per_bar)
    if found is None:
        return None
    return _place(x, sample_rate_hz, start_s, front, found, source)


@dataclass(frozen=True, slots=True, eq=False)
class _Found:
    """The clicks on the front: nominal places, line, and for each its sound, whether heard, whether accented."""

    nominal: Float64
    start: float
    step: float
    sound: Float32
    weight: Float64
    kind: NDArray[np.int_]
    heard: NDArray[np.bool_]
    accented: NDArray[np.bool_]
    score: float
    count_in: bool


def _find(front: Front, hints_s: tuple[float, ...], told: Float64 | None, beats_per_bar: int | None) -> _Found | None:
    match = Matcher.of(front)
    n = len(front.samples)
    step = round(SCAN_S * front.rate_hz)
    best: Train | None = None
    early: tuple[np.ndarray, Pairs] | None = None
    for begin in range(0, n, step):
        end = min(begin + step, n)
        place = pick_pulses(front, begin, end)
        if len(place) < 3:
            continue
        pairs = alike_pairs(front, place)
        if begin == 0:
            early = place, pairs
        train = _best_train(match, place, pairs, hints_s, told, begin, end)
        if train is not None and (best is None or train.score > best.score):
            best = train
        if best is not None and best.score > LEAST_SCORE:
            break
    if best is not None and best.score > LEAST_SCORE:
        return _complete(match, best, told, beats_per_bar)
    if early is not None and (found := find_count_in(front, *early, hints_s)) is not None:
        return _from_count_in(match, found)
    return None


def _lattice(start: float, step: float, begin: int, end: int) -> Float64:
    """Whole numbers k with begin <= start + k * step < end."""
    return np.arange(np.ceil((begin - start) / step), np.floor((end - 1 - start) / step) + 1.0)


def _best_train(
    match: Matcher,
    place: np.ndarray,
    pairs: Pairs,
    hints_s: tuple[float, ...],
    told: Float64 | None,
    begin: int,
    end: int,
) -> Train | None:
    rate = match.front.rate_hz
    best: Train | None = None
    tried = 0
    intervals = [0.0] if told is not None else propose_intervals(pairs, hints_s)
    for interval in intervals:
        chains = (
            find_chains(place, pairs, interval, rate) if told is None else find_mapped_chains(place, pairs, told, rate)
        )
        for chain in chains:
            if told is None:
                nominal = _lattice(chain.start, chain.step, begin, end)
            else:
                nominal = told[(chain.start + chain.step * told >= begin) & (chain.start + chain.step * told < end)]
            train = _try(match, chain, nominal)
            if train is not None and (best is None or train.score > best.score):
                best = train
        tried += 1
        if tried >= 2 and best is not None and best.score > PLAIN_SCORE:
            break
    return best


def _try(match: Matcher, chain: Chain, nominal: Float64) -> Train | None:
    if len(nominal) < 3:
        return None
    fitted = follow(match, chain, nominal)
    return None if fitted is None else weigh(match, nominal, *fitted)


def _complete(match: Matcher, train: Train, told: Float64 | None, beats_per_bar: int | None) -> _Found:
    """Follow the train through the whole recording, and find its other sounds."""
    n = len(match.front.samples)
    lead = float(train.position[int(np.argmax(train.agreement))])
    chain = Chain(start=train.start, step=train.step, place=train.position[train.heard], lead=lead)
    nominal = _lattice(chain.start, chain.step, 0, n) if told is None else told
    whole = _try(match, chain, nominal) or train
    if told is None:
        nominal = _lattice(whole.start, whole.step, 0, n)
    found = complete(match, whole, nominal, beats_per_bar, divide=told is None)
    return _Found(
        nominal=found.nominal, start=found.start, step=found.step, sound=whole.sound, weight=found.weight, kind=found.kind,
        heard=found.evidence > HEARD, accented=found.accented, score=whole.score, count_in=False,
    )  # fmt: skip


def _from_count_in(match: Matcher, found: CountIn) -> _Found:
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
    index = number.astype(int)
    heard = np.zeros(len(lattice), dtype=bool)
    heard[index] = True
    kind = np.zeros(len(lattice), dtype=np.int_)
    kind[index[~found.main]] = 1
    weight = np.zeros(len(lattice))
    weight[index[found.main]] = 1.0
    return _Found(
        nominal=lattice, start=start, step=step, sound=sound, weight=weight, kind=kind, heard=heard,
        accented=kind == 1, score=found.score, count_in=True,
    )  # fmt: skip


def _place(x: Float32, sample_rate_hz: float, start_s: float, front: Front, found: _Found, source: str) -> Clicks:
    match = Matcher.of(front)
    position = found.start + found.step * found.nominal
    usual = float(np.median(np.diff(found.nominal))) * found.step
    line = fit_line(match, position, found.nominal, found.sound, found.weight)
    position = line.start + line.step * found.nominal
    begin = beginning(match, position, found.weight, usual)
    ratio = sample_rate_hz / front.rate_hz
    attack, attack_u = attack_of(x, sample_rate_hz, (position + begin) * ratio, found.weight)
    time_s = start_s + ((position + begin) * ratio + attack) / sample_rate_hz
    var = line.covariance[0, 0] + 2 * found.nominal * line.covariance[0, 1] + found.nominal**2 * line.covariance[1, 1]
    u_s = np.hypot(np.sqrt(np.maximum(var, 0.0)) / front.rate_hz, attack_u / sample_rate_hz)
    duration = len(x) / sample_rate_hz
    rest = start_s + duration - time_s[-1]
    early = found.count_in or (len(time_s) <= 16 and rest > max(6.0, 0.15 * duration))
    extent = "count-in" if early else "throughout" if rest < max(6.0, 0.15 * duration) else "fading"
    scale = usual / found.step
    return Clicks(
        time_s=time_s, u_s=u_s, heard=found.heard, accented=found.accented, interval_s=line.step * scale / front.rate_hz,
        interval_u_s=float(np.sqrt(line.covariance[1, 1])) * scale / front.rate_hz, extent=extent, source=source,
        score=found.score, sound=found.kind,
    )  # fmt: skip
