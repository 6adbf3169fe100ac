"""Where the clicks are."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.audio.decimation import decimated, decimation_for
from strumclock.click.accents import Lattice
from strumclock.click.countin import quiet_until
from strumclock.click.matching import Matcher
from strumclock.click.placing import attack_of, beginning, beginning_in_quiet, fit_line
from strumclock.click.preprocessing import Float32, Float64, Front, build_front
from strumclock.click.search import PLAIN_SCORE, find_lattice, with_count_in
from strumclock.click.trains import HEARD
from strumclock.click.uneven import Uneven
from strumclock.errors import UsageError

SHORTEST_S = 0.5
"""Nothing shorter than this can hold three clicks."""

REST_S, REST_SHARE = 6.0, 0.15
"""Clicks that end within the longer of these (seconds, share of the recording) of its end are there throughout."""

COUNT_IN_SHARE, COUNT_IN_CLICKS = 0.5, 17
"""Clicks that end earlier are a count-in where they end before this share of the recording and are fewer than this."""

HIGH_RATE_HZ = 22_050.0
"""Clicks are looked for below 5 kHz; where none is clear there, at about this rate too: a closed hi-hat lies above."""

CLEAR_SHARE = 0.8
"""Clicks are plain where so many of those on the line are heard: short quiet ticks may have more above 5 kHz."""

OTHER_S, OTHER = 6.0, 0.002
"""Clicks of another tempo are looked for where at least so much (s) lies outside of those found; it is another where
the intervals are no multiples of each other to this share."""

DENSE_PLACES, DENSE, FEWEST_OWN = 9, 0.5, 8
"""The clicks of one tempo are those around which so much of so many places is heard: some of another tempo's clicks
fall on its places too, every fourth after a change from 80 to 100 a minute. Fewer than the third make no tempo. In
sweep_click.py a share of 0.3 lets such places in (95 % of all are then within 113 ms, not 0.4), 0.7 loses nothing."""

SKEW_HINTS = (0.5, 1.0, 2.0)
"""A told tempo may mean clicks on the halves of the beat, on the beat, or on every other one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Clicks:
    """The clicks of a recording.

    Attributes
    ----------
    time_s : float64 array, shape (n,)
        Place of every click from the first to the last heard, file time; clicks between them that nothing is heard of
        are included. Fitted to one line, but for uneven ones, which stand where each is heard. A click's time
        is where its sound above 1.5 kHz first exceeds a fifth of its early peak.
    u_s : float64 array, shape (n,)
        Standard uncertainty of each as the place that a player was to meet: where the clicks are uneven it holds how
        far they lie from their mean beat.
    heard : bool array, shape (n,)
        Whether each can be heard for itself.
    accented : bool array, shape (n,)
        Whether each is an accent: of another sound than the commonest, coming back after the same number of clicks,
        or louder.
    interval_s, interval_u_s : float
        Mean time between clicks on the recorder's clock (s), and its standard uncertainty.
    extent : str
        ``"throughout"``; ``"count-in"``: heard only before the playing, or so early and few that they must be;
        ``"fading"``: heard in part.
    source : str
        ``"recording"``, ``"channel"`` or ``"file"``.
    score : float
        Evidence that these are clicks, nats. Below 30 (of a count-in below 9) nothing is reported.
    sound : int array, shape (n,)
        Which of the click's sounds each has: 0 the commonest, 1 the accent's, from 2 on those between the beats.
    number : int array, shape (n,)
        Index of each in the told `nominal_s`; without that 0, 1, 2, …
    other_interval_s : float, optional
        Time between clicks (s) of another tempo that is clicked before the first or after the last of these; such
        clicks are not in the arrays.
    other_s : tuple of float, optional
        From when to when these are heard, file time.
    alternates_s, wanders_s : float
        How far ticks and tocks lie on either side of their mean beat, and the standard deviation of each about that; 0
        for even clicks.
    bend_s : float array, shape (n,)
        How much later than a straight line through the clicks the mean beat is at each: a metronome runs down, a
        wireless loudspeaker's delay wanders or jumps. 0 where the beat is steady.
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
    number: NDArray[np.int_]
    other_interval_s: float | None = None
    other_s: tuple[float, float] | None = None
    alternates_s: float = 0.0
    wanders_s: float = 0.0
    bend_s: Float64 = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        if len(self.bend_s) == 0:
            object.__setattr__(self, "bend_s", np.zeros(len(self.time_s)))
        for name in ("time_s", "u_s", "heard", "accented", "sound", "number", "bend_s"):
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
    low: Float32 | None = None,
) -> Clicks | None:
    """Find the clicks of a metronome in a recording, whatever they sound like.

    What makes a click is that the same waveform comes back at the same distance to a fraction of a millisecond;
    loudness is not needed, a tempo need not be told.

    Parameters
    ----------
    samples : float array, shape (n,)
        One channel.
    sample_rate_hz : float
    start_s : float
        File time of samples[0].
    bpm : float, optional
        The tempo told. It may be wrong, half or double: it only helps where clicks are few.
    beats_per_bar : int, optional
        After how many clicks accents are looked for; without it they are looked for after 2 to 12.
    nominal_s : float array, shape (m,), optional
        Told times of the clicks (a tempo map), increasing, of which only the start and the clocks' ratio are unknown.
    source : str
        Passed on into the result.
    low : float32 array, optional
        ``audio.decimation.decimated(samples, sample_rate_hz)[0]`` where the caller has it already.

    Returns
    -------
    Clicks or None
        None where there is no click.

    Raises
    ------
    UsageError
        Where the samples are not one channel of finite numbers, or the told times do not increase.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> tick = rng.standard_normal(200) * np.exp(-np.arange(200) / 40)
    >>> take = 0.01 * rng.standard_normal(8 * 16000)
    >>> for start in range(4000, 120000, 8000):
    ...     take[start : start + 200] += tick
    >>> clicks = find_clicks(take, 16000)
    >>> len(clicks.time_s), round(clicks.interval_s, 5), clicks.extent
    (15, 0.5, 'throughout')
    """
    x = np.ascontiguousarray(samples, dtype=np.float32)
    if x.ndim != 1:
        raise UsageError(f"clicks are looked for in one channel, not in an array of shape {x.shape}: choose a channel")
    if not sample_rate_hz > 0:
        raise UsageError(f"a sample rate above 0 Hz is required, not {sample_rate_hz}")
    told = None if nominal_s is None else np.asarray(nominal_s, dtype=np.float64)
    if told is not None and (told.ndim != 1 or len(told) < 3 or not np.all(np.diff(told) > 0)):
        raise UsageError("told click times must be at least 3 and increase")
    if len(x) < SHORTEST_S * sample_rate_hz:
        return None
    if low is None:
        low, _ = decimated(x, sample_rate_hz)
    if not np.any(low):
        return None
    if not np.isfinite(np.sum(low)):  # a sample that is not finite leaves none of those around it so
        raise UsageError("the samples hold a number that is not finite: repair or leave out that part")
    hints_s = () if bpm is None else tuple(60 / bpm * m for m in SKEW_HINTS)
    front = build_front(low, sample_rate_hz / decimation_for(sample_rate_hz))
    found = find_lattice(front, hints_s=hints_s, told=told, beats_per_bar=beats_per_bar)
    if not _clear(found, front) and decimation_for(sample_rate_hz) > decimation_for(sample_rate_hz, HIGH_RATE_HZ):
        high = build_front(*decimated(x, sample_rate_hz, target_rate_hz=HIGH_RATE_HZ))
        # what is heard of a wind-up metronome lies below 5 kHz
        there = find_lattice(high, hints_s=hints_s, told=told, beats_per_bar=beats_per_bar, even=True)
        if there is not None and (found is None or _better(there, high, found, front)):
            front, found = high, there
    if found is None:
        return None
    uneven = found if isinstance(found, Uneven) else None
    found = _lattice(found)
    found, other = _parted(front, found) if told is None and uneven is None else (found, None)
    match = Matcher.of(front)
    bend, away = (np.zeros(len(found.nominal)),) * 2 if uneven is None else (uneven.bend, uneven.away)
    heard_at = found.start + found.step * found.nominal + away
    line = fit_line(match, heard_at, found.nominal, found.sound, found.weight, bend)
    fitted = line.start + line.step * found.nominal
    away = away if uneven is None else heard_at - fitted
    position = fitted + away
    interval = float(np.mean(np.diff(found.nominal)))
    apart = float(np.median(np.diff(found.nominal))) * line.step
    begin = beginning(match, position, found.weight, apart)
    quiet = quiet_until(front) if told is None else 0.0
    if told is None:
        begin += beginning_in_quiet(front, position + begin, apart, quiet)
    position = (position + begin) * (sample_rate_hz / front.rate_hz)
    attack, attack_u = attack_of(x, sample_rate_hz, position, found.weight)
    lead_s = (begin + attack * front.rate_hz / sample_rate_hz + line.start) / front.rate_hz
    if told is None and uneven is None:
        found = with_count_in(front, found, lead_s * front.rate_hz, line.step, quiet)
        bend = away = np.zeros(len(found.nominal))
    time_s = start_s + lead_s + (found.nominal * line.step + away) / front.rate_hz
    alternates_s, wanders_s = (0.0, 0.0) if uneven is None else (v / front.rate_hz for v in uneven.off_beat)
    return Clicks(
        time_s=time_s,
        u_s=np.sqrt(
            (line.u(found.nominal) / front.rate_hz) ** 2
            + (attack_u / sample_rate_hz) ** 2
            + alternates_s**2 / 3  # the player may follow ticks, tocks or anything between: rectangular (GUM 4.3.7)
            + wanders_s**2
        ),
        heard=found.evidence > HEARD,
        accented=found.accented,
        interval_s=interval * line.step / front.rate_hz,
        interval_u_s=interval * line.step_u / front.rate_hz,
        extent=_extent(time_s - start_s, len(x) / sample_rate_hz),
        source=source,
        score=found.score,
        sound=found.kind,
        number=np.arange(len(time_s)) if told is None else np.searchsorted(told, found.nominal),
        other_interval_s=None if other is None else other.interval_s,
        other_s=None if other is None else (start_s + other.begin_s, start_s + other.end_s),
        alternates_s=alternates_s,
        wanders_s=wanders_s,
        bend_s=bend / front.rate_hz,
    )


@dataclass(frozen=True, slots=True)
class _Other:
    """Clicks of another tempo: time between them, first and last (s from the first sample)."""

    interval_s: float
    begin_s: float
    end_s: float


def _parted(front: Front, found: Lattice) -> tuple[Lattice, _Other | None]:
    """The lattice as far as it is heard densely, and the tempo clicked beyond that; all of it where there is none."""
    heard = found.evidence > HEARD
    window = np.ones(min(DENSE_PLACES, len(heard)))
    dense = np.convolve(heard, window, mode="same") / np.convolve(np.ones(len(heard)), window, mode="same") >= DENSE
    own = np.flatnonzero(dense & heard)
    if len(own) < FEWEST_OWN:
        return found, None
    core = slice(int(own[0]), int(own[-1]) + 1)
    apart = found.step * float(np.median(np.diff(found.nominal)))
    first, last = (found.start + found.step * float(found.nominal[i]) for i in (own[0], own[-1]))
    for begin, end in ((0, round(first - apart / 2)), (round(last + apart / 2), len(front.samples))):
        if end - begin < OTHER_S * front.rate_hz:
            continue
        part = Front(samples=front.samples[begin:end], plain=front.plain[begin:end], rate_hz=front.rate_hz)
        there = find_lattice(part, hints_s=(), told=None, beats_per_bar=None, even=True)
        if not isinstance(there, Lattice) or there.score < PLAIN_SCORE:
            continue
        interval = there.step * float(np.median(np.diff(there.nominal)))
        times = max(interval / apart, apart / interval)
        if abs(times - round(times)) > OTHER * times:
            ends = (begin + there.start + there.step * there.nominal[[0, -1]]) / front.rate_hz
            kept = {name: getattr(found, name)[core] for name in ("nominal", "evidence", "weight", "kind", "accented")}
            return replace(found, **kept), _Other(interval / front.rate_hz, float(ends[0]), float(ends[1]))
    return found, None


def _score(found: Lattice | Uneven) -> float:
    return _lattice(found).score


def _better(there: Lattice | Uneven, high: Front, found: Lattice | Uneven, front: Front) -> bool:
    """Whether more is heard there; what was heard plainly keeps its tempo."""
    apart_s = [
        lattice.step * float(np.median(np.diff(lattice.nominal))) / seen.rate_hz
        for lattice, seen in ((_lattice(there), high), (_lattice(found), front))
    ]
    alike = abs(apart_s[0] / apart_s[1] - 1) < OTHER
    return _score(there) > _score(found) and (alike or _score(found) < PLAIN_SCORE)


def _lattice(found: Lattice | Uneven) -> Lattice:
    return found.lattice if isinstance(found, Uneven) else found


def _clear(found: Lattice | Uneven | None, front: Front) -> bool:
    """Whether clicks are heard plainly, nearly all of them, and to the end."""
    if found is None or _score(found) < PLAIN_SCORE:
        return False
    lattice = _lattice(found)
    if np.mean(lattice.evidence > HEARD) < CLEAR_SHARE:
        return False
    last = lattice.start + lattice.step * float(lattice.nominal[-1])
    return _to_the_end(last / front.rate_hz, len(front.samples) / front.rate_hz)


def _to_the_end(last_s: float, duration_s: float) -> bool:
    return duration_s - last_s < max(REST_S, REST_SHARE * duration_s)


def _extent(time_s: Float64, duration_s: float) -> str:
    """Whether the clicks are there throughout, in the count-in only, or in part."""
    if _to_the_end(float(time_s[-1]), duration_s):
        return "throughout"
    early = time_s[-1] < COUNT_IN_SHARE * duration_s and len(time_s) < COUNT_IN_CLICKS
    return "count-in" if early else "fading"
