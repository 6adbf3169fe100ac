"""Where the clicks are."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.audio.decimation import decimated, decimation_for
from strumclock.click.accents import Lattice
from strumclock.click.beat import LEAST_JUMP_S
from strumclock.click.countin import quiet_until
from strumclock.click.cycle import Cycle
from strumclock.click.matching import Matcher
from strumclock.click.placing import attack_of, fit_line
from strumclock.click.preprocessing import Float32, Float64, Front, build_front
from strumclock.click.search import PLAIN_SCORE, find_lattice, with_count_in
from strumclock.click.segments import dense, further
from strumclock.click.trains import HEARD
from strumclock.click.uneven import Uneven
from strumclock.errors import UsageError

SHORTEST_S = 0.5
"""Nothing shorter than this can hold three clicks."""

FEWEST = 3
"""Clicks heard from which there is a distance and something that confirms it."""

REST_S, REST_SHARE = 6.0, 0.15
"""Clicks that end within the longer of these (seconds, share of the recording) of its end are there throughout."""

COUNT_IN_SHARE, COUNT_IN_CLICKS = 0.5, 17
"""Clicks that end earlier are a count-in where they end before this share of the recording and are fewer than this."""

HIGH_RATE_HZ = 22_050.0
"""Clicks are looked for below 5 kHz; where none is clear there, at about this rate too: a closed hi-hat lies above."""

CLEAR_SHARE = 0.8
"""Clicks are plain where so many of those on the line are heard: short quiet ticks may have more above 5 kHz."""

ALIKE_SHARE = 0.002
"""Intervals that differ by less than this share are the same click heard at another rate."""

PAUSE = 2.0
"""So many intervals without a click are a pause: what follows is a restart."""

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
    alternates_s, wanders_s : float
        How far ticks and tocks lie on either side of their mean beat, and the standard deviation of each about that; 0
        for even clicks.
    bend_s : float array, shape (n,)
        How much later than a straight line through the clicks the mean beat is at each: a metronome runs down, a
        wireless loudspeaker's delay wanders or jumps. 0 where the beat is steady.
    lasts_s : float
        How long the click's sound lasts, with all its hits (s).
    begins : str
        How they begin: ``"first"`` of the recording; ``"gap"``: at the interval of those before, in another phase,
        without a pause (the file lost samples); ``"tempo"``: at another interval, without a pause; ``"restart"``: after
        a pause of two intervals or more.
    breaks_s : tuple of float
        File times of the first click after each jump of phase without a pause: where a segment begins with a gap, and
        where `bend_s` jumps.
    segments : tuple of Clicks
        Every stretch of clicks that keeps one tempo and phase, in time order, where the recording holds more than one;
        these are the longest of them. Those of a segment are empty.
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
    alternates_s: float = 0.0
    wanders_s: float = 0.0
    bend_s: Float64 = field(default_factory=lambda: np.zeros(0))
    lasts_s: float = 0.0
    begins: str = "first"
    breaks_s: tuple[float, ...] = ()
    segments: tuple[Clicks, ...] = ()

    def __post_init__(self) -> None:
        """Make the arrays read-only."""
        if len(self.bend_s) == 0:
            object.__setattr__(self, "bend_s", np.zeros(len(self.time_s)))
        for name in ("time_s", "u_s", "heard", "accented", "sound", "number", "bend_s"):
            array = np.array(getattr(self, name))
            array.flags.writeable = False
            object.__setattr__(self, name, array)

    def between(self, start_s: float, end_s: float) -> Clicks | None:
        """The clicks from one file time to another, as those of that part; None where no three of a segment are there.

        Places and uncertainties are those that all of the clicks give.
        """
        kept = [cut for train in self.trains if (cut := train._cut(start_s, end_s)) is not None]
        if not kept:
            return None
        kept[0] = replace(kept[0], begins="first")
        longest = max(kept, key=lambda train: int(np.count_nonzero(train.heard)))
        breaks_s = tuple(s for s in self.breaks_s if kept[0].start_s < s <= kept[-1].end_s)
        return replace(longest, segments=tuple(kept) if len(kept) > 1 else (), breaks_s=breaks_s)

    def _cut(self, start_s: float, end_s: float) -> Clicks | None:
        """The clicks of one segment from one file time to another."""
        inside = (self.time_s >= start_s) & (self.time_s < end_s)
        heard = np.flatnonzero(inside & self.heard)
        if len(heard) < FEWEST:
            return None
        part = slice(int(heard[0]), int(heard[-1]) + 1)
        each = ("time_s", "u_s", "heard", "accented", "sound", "number", "bend_s")
        cut = replace(self, **{name: getattr(self, name)[part] for name in each}, segments=())
        return replace(cut, extent=_extent(cut.time_s - start_s, end_s - start_s))

    @property
    def trains(self) -> tuple[Clicks, ...]:
        """All segments, these clicks alone where there is one."""
        return self.segments or (self,)

    @property
    def every_s(self) -> Float64:
        """Times of the clicks of all segments, file time."""
        return np.concatenate([train.time_s for train in self.trains])

    @property
    def start_s(self) -> float:
        """Time of the first click."""
        return float(self.time_s[0])

    @property
    def end_s(self) -> float:
        """Time of the last click."""
        return float(self.time_s[-1])

    @property
    def bpm(self) -> float:
        """Clicks a minute, of the interval most usual between them."""
        return 60 / float(np.median(np.diff(self.time_s)))

    @property
    def _other(self) -> Clicks | None:
        """The first segment at another tempo."""
        away = (t for t in self.segments if abs(t.interval_s / self.interval_s - 1) > ALIKE_SHARE)
        return next(away, None)

    @property
    def other_interval_s(self) -> float | None:
        """Time between the clicks of the first segment at another tempo; None where there is none."""
        return None if self._other is None else self._other.interval_s

    @property
    def other_s(self) -> tuple[float, float] | None:
        """From when to when these are heard."""
        return None if self._other is None else (self._other.start_s, self._other.end_s)


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
    take = _Take(samples=x, sample_rate_hz=sample_rate_hz, start_s=start_s, source=source, front=front, told=told)
    if told is not None or isinstance(found, Uneven):
        return take.clicks(found)[0]
    match = Matcher.of(front)
    others = further(match, found, beats_per_bar)
    if not others:
        return take.clicks(found)[0]
    return _together(take, dense(found), others)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Lead:
    """How much later than its place in the front a click's time lies, the standard uncertainty of that, and how long
    the click sounds; front samples."""

    later: float
    u: float
    lasts: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Take:
    """The recording that clicks were found in, and how they are to be told.

    Attributes
    ----------
    samples : float32 array, at sample_rate_hz; the first at start_s in the file
    source : str
    front : Front
        That in which they were found.
    told : float array or None
        Told times of the clicks (s).
    """

    samples: Float32
    sample_rate_hz: float
    start_s: float
    source: str
    front: Front
    told: Float64 | None

    def clicks(
        self,
        candidate: Lattice | Uneven,
        *,
        lead: _Lead | None = None,
        first: bool = True,
        until: float = np.inf,
    ) -> tuple[Clicks, _Lead]:
        """The clicks of a lattice where exactly they lie, and how much later than the learned sound's place that is.

        Parameters
        ----------
        lead : _Lead, optional
            Where it is known of another segment of the same sound.
        first : bool
            Whether these are the recording's first clicks: some more may stand in the quiet before.
        until : float
            Where other clicks begin, front samples.
        """
        front, told = self.front, self.told
        uneven = candidate if isinstance(candidate, Uneven) else None
        found = _lattice(candidate)
        match = Matcher.of(front)
        bend, away = (np.zeros(len(found.nominal)),) * 2 if uneven is None else (uneven.bend, uneven.away)
        heard_at = found.start + found.step * found.nominal + away
        line = fit_line(match, heard_at, found.nominal, found.sound, found.weight, bend)
        fitted = line.start + line.step * found.nominal
        away = away if uneven is None else heard_at - fitted
        interval = float(np.mean(np.diff(found.nominal)))
        quiet = quiet_until(front) if told is None and first else 0.0
        lead = lead or self._lead(match, fitted + away, found, line.step)
        begin = lead.later + line.start
        if told is None and uneven is None and first:
            found = with_count_in(front, found, begin, line.step, quiet)
            bend = away = np.zeros(len(found.nominal))
        time_s = self.start_s + (begin + found.nominal * line.step + away) / front.rate_hz
        alternates_s, wanders_s = (0.0, 0.0) if uneven is None else (v / front.rate_hz for v in uneven.off_beat)
        end_s = min(until, len(front.samples)) / front.rate_hz
        clicks = Clicks(
            time_s=time_s,
            u_s=np.sqrt(
                (line.u(found.nominal) / front.rate_hz) ** 2
                + (lead.u / front.rate_hz) ** 2
                + alternates_s**2 / 3  # a player may follow ticks, tocks or anything between: rectangular (GUM 4.3.7)
                + wanders_s**2
            ),
            heard=found.evidence > HEARD,
            accented=found.accented,
            interval_s=interval * line.step / front.rate_hz,
            interval_u_s=interval * line.step_u / front.rate_hz,
            extent=_extent(time_s - self.start_s, end_s),
            source=self.source,
            score=found.score,
            sound=found.kind,
            number=np.arange(len(time_s)) if told is None else np.searchsorted(told, found.nominal),
            alternates_s=alternates_s,
            wanders_s=wanders_s,
            bend_s=bend / front.rate_hz,
            lasts_s=lead.lasts / front.rate_hz,
            breaks_s=_jumps_s(time_s, bend / front.rate_hz),
        )
        return clicks, lead

    def _lead(self, match: Matcher, position: Float64, found: Lattice, step: float) -> _Lead:
        """Where in the learned sound a click's time lies."""
        apart = float(np.median(np.diff(found.nominal))) * step
        begin, lasts = Cycle.of(match, position, found.weight, apart).sounding()
        ratio = self.sample_rate_hz / self.front.rate_hz
        attack, attack_u = attack_of(self.samples, self.sample_rate_hz, (position + begin) * ratio, found.weight)
        return _Lead(later=begin + attack / ratio, u=attack_u / ratio, lasts=lasts)


def _together(take: _Take, own: Lattice, others: list[tuple[Lattice, bool]]) -> Clicks:
    """All stretches of clicks, the longest first of all."""
    place = [found.start + found.step * float(found.nominal[0]) for found in (own, *(f for f, _ in others))]
    order = np.argsort(place)
    begins = [*np.array(place)[order][1:], np.inf]
    lead: _Lead | None = None
    sounds = 0
    made: dict[int, Clicks] = {}
    for i in sorted(range(len(order)), key=lambda i: order[i]):  # the one whose sound is known first
        which = int(order[i])
        found, known = (own, True) if which == 0 else others[which - 1]
        clicks, own_lead = take.clicks(found, lead=lead if known else None, first=i == 0, until=begins[i])
        lead = lead or own_lead
        if not known:  # a sound of its own is learned from itself
            clicks = replace(clicks, sound=clicks.sound + sounds)
        sounds = max(sounds, int(clicks.sound.max()) + 1)
        made[i] = clicks
    train = [made[i] for i in range(len(order))]
    train[1:] = [replace(after, begins=_begins(before, after)) for before, after in pairwise(train)]
    breaks_s = tuple(s for t in train for s in ((t.start_s,) if t.begins == "gap" else ()) + t.breaks_s)
    longest = max(train, key=lambda t: int(np.count_nonzero(t.heard)))
    return replace(longest, segments=tuple(train), breaks_s=breaks_s)


def _begins(before: Clicks, after: Clicks) -> str:
    """How clicks begin after others (`Clicks.begins`)."""
    apart_s = [float(np.median(np.diff(c.time_s))) for c in (before, after)]
    if after.start_s - before.end_s >= PAUSE * max(apart_s):
        return "restart"
    return "gap" if abs(apart_s[1] / apart_s[0] - 1) < ALIKE_SHARE / 2 else "tempo"


def _jumps_s(time_s: Float64, bend_s: Float64) -> tuple[float, ...]:
    """The clicks at which a beat that bends has jumped."""
    leap_s = np.diff(bend_s)
    leap_s = np.abs(leap_s - np.median(leap_s))
    return tuple(float(t) for t in time_s[1:][leap_s > max(LEAST_JUMP_S, 0.5 * float(np.ptp(bend_s)))])


def _score(found: Lattice | Uneven) -> float:
    return _lattice(found).score


def _better(there: Lattice | Uneven, high: Front, found: Lattice | Uneven, front: Front) -> bool:
    """Whether more is heard there; what was heard plainly keeps its tempo."""
    apart_s = [
        lattice.step * float(np.median(np.diff(lattice.nominal))) / seen.rate_hz
        for lattice, seen in ((_lattice(there), high), (_lattice(found), front))
    ]
    alike = abs(apart_s[0] / apart_s[1] - 1) < ALIKE_SHARE
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
