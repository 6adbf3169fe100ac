"""Where the clicks are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.click.front import Float32, Float64, Front, build_front
from strumclock.click.pulses import alike_pairs, pick_pulses
from strumclock.click.sounds import attack_index, learn, windows
from strumclock.click.trains import Train, chains, follow, propose_intervals

SCAN_S = 45.0
"""The interval is looked for in so much at a time, from the beginning, until a train of clicks is found."""

LEAST_SCORE = 30.0
"""Evidence (nats) below which nothing is called a click."""


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
        Which of the click's sounds each is; -1 where it is not heard.
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
    train = _best_train(front, hints)
    if train is None or train.score < LEAST_SCORE:
        return None
    ratio = sample_rate_hz / front.rate_hz
    position = train.position * ratio
    before, after = round(0.006 * sample_rate_hz), round(0.05 * sample_rate_hz)
    rows = windows(x, position, before, after)
    heard = train.evidence > 1.0
    kinds = np.unique(train.kind[heard])
    attack = {}
    for c in kinds:
        mine = heard & (train.kind == c)
        sound, _, _ = learn(rows[mine], sample_rate_hz)
        attack[int(c)] = attack_index(sound.sum(axis=0), sample_rate_hz, round(0.003 * sample_rate_hz)) - before
    count = {c: int(np.sum(heard & (train.kind == c))) for c in attack}
    main = max(count, key=lambda c: count[c])
    time_s = start_s + (position + attack[main]) / sample_rate_hz
    accented = heard & (train.kind != main) if len(kinds) > 1 else np.zeros(len(heard), dtype=bool)
    step_s = train.step / front.rate_hz
    duration = len(x) / sample_rate_hz
    rest = start_s + duration - time_s[-1]
    extent = "throughout" if rest < max(6.0, 0.15 * duration) else ("count-in" if len(time_s) <= 16 else "fading")
    return Clicks(
        time_s=time_s, u_s=np.full(len(time_s), 2e-4), heard=heard, accented=accented, interval_s=step_s,
        interval_u_s=1e-5 / len(time_s), extent=extent, source=source, score=train.score, sound=np.where(heard, train.kind, -1),
    )  # fmt: skip


def _best_train(front: Front, hints_s: tuple[float, ...]) -> Train | None:
    """The best train from pulses of one stretch after the other."""
    best: Train | None = None
    step = round(SCAN_S * front.rate_hz)
    for begin in range(0, len(front.samples), step):
        place = pick_pulses(front, begin, min(begin + step, len(front.samples)))
        if len(place) < 3:
            continue
        pairs = alike_pairs(front, place)
        for interval in propose_intervals(pairs, hints_s):
            for start, length, member in chains(place, pairs, interval, front.rate_hz)[:2]:
                train = follow(front, start, length, place[member])
                if train is not None and (best is None or train.score > best.score):
                    best = train
            if best is not None and best.score > 3 * LEAST_SCORE:
                break
        if best is not None and best.score > LEAST_SCORE:
            break
    return best


__all__ = ["Clicks", "Float32", "find_clicks"]
