"""Where do the beats lie in the recording?  Clicks, a stated downbeat, or the strums themselves give a `Pulse`.

A pulse counts beats from its own beat 0 (the first click heard, the stated downbeat, the first strum); which of its
beats is the first *played* downbeat is asked later.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from strumclock.alignment.notices import tempo_differs, tempo_estimated, tempo_fast, tempo_kept_differs, tempo_ratio
from strumclock.alignment.result import Anchor
from strumclock.alignment.tempo import STRUMS_MIN, played_tempo
from strumclock.arrays import Floats
from strumclock.errors import Notice, RecordingError
from strumclock.grid import BPM_RANGE, BeatGrid

if TYPE_CHECKING:
    from strumclock.click import Clicks

CLOCK_PPM = 100.0
"""How far two clocks may differ: crystals of sound cards and phones are quoted within ±100 ppm (opinions, no
standard)."""
CLOCK_U = CLOCK_PPM * 1e-6 / 3**0.5
"""Standard uncertainty of a told tempo by the recorder's clock: ±`CLOCK_PPM`, rectangular (GUM 4.3.7)."""
TEMPO_TOLERANCE = 1e-3
"""Tempi told and heard that differ by more than this differ in more than their clocks."""
RATIOS = (1.0, 2.0, 3.0, 4.0, 1 / 2, 1 / 3, 1 / 4)
"""Clicks a told beat that count as the same tempo told otherwise: a click on each part, every other beat, once a
bar."""
MAP_FIT_S = 5e-3
"""How far clicks may lie from a tempo map's lines, root mean square: MIDI files round tempi by far less, and the lines
of a wrong map are off by tens of milliseconds within a few beats."""
MAP_BPM_DIGITS = 3  # a MIDI file's whole microseconds make 97 bpm 96.99995
STEADY = 1e-6
"""A map whose beats differ by less than this (relatively) keeps one tempo."""
SOUNDS_ON_BEATS, SOUNDS_AGREE, SLOWEST_DIVIDED_BPM = 2, 0.8, 40.0
"""The first sounds of a click are the beat's and the accent's; which share of them must come at one distance, and how
many a minute at least (a metronome's scale begins at 40; common practice, no source)."""
BEYOND = 4
"""Clicks for which a bending beat is carried on beyond the first and the last heard."""
FAST_CLICKS_BPM = 160.0
"""Clicks that come faster than this, with no tempo told, may mark parts of the beat: metronomes go to 208, but few play
to a beat above 160 (common practice, no source)."""
WHOLE_BPM_TOLERANCE = 2 * CLOCK_PPM * 1e-6
"""A tempo heard this near a whole number is that number: metronomes are set in whole beats a minute (common
practice)."""


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """How a beat that is not steady departs from a steady one: times of clicks, and how much later than a steady
    beat's each is [s]. Before the first and after the last it goes on as between the two next to them."""

    time_s: Floats
    later_s: Floats

    @classmethod
    def of(cls, clicks: Clicks) -> Bend | None:
        """The bend of the clicks' mean beat; None where it is steady."""
        later_s = np.asarray(clicks.bend_s)
        if not np.any(later_s):
            return None
        index, at_s = _heard(clicks)
        number = np.arange(len(later_s))
        steady_s = float(np.mean(at_s - later_s[index])) + float(clicks.interval_s) * (number - float(index.mean()))
        reach = np.array([-BEYOND, BEYOND])
        ends_s = steady_s[[0, -1]] + reach * float(clicks.interval_s)
        further_s = later_s[[0, -1]] + reach * np.array([later_s[1] - later_s[0], later_s[-1] - later_s[-2]])
        later_s = np.concatenate([further_s[:1], later_s, further_s[1:]])
        return cls(np.concatenate([ends_s[:1], steady_s, ends_s[1:]]) + later_s, later_s)

    def straight(self, time_s: Floats) -> Floats:
        """Times as they would be if the beat were steady."""
        straight: Floats = time_s - np.interp(time_s, self.time_s, self.later_s)
        return straight

    def bent(self, steady_s: Floats) -> Floats:
        """Times of a steady beat as they are."""
        bent: Floats = steady_s + np.interp(steady_s, self.time_s - self.later_s, self.later_s)
        return bent


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Pulse:
    """The beats' times, constant or by a tempo map.

    Attributes
    ----------
    anchor : str
    bpm : float
        Nominal tempo [beats/min]; of the first beat where a map gives it.
    beat_s : float
        Length of a beat by the recorder's clock [s]; of the first beat where a map gives it.
    zero_s : float
        Time of beat 0 [s].
    pivot_s, pivot_u_s : float
        Where the pulse's place is known best, and its standard uncertainty there [s].
    rate_u : float
        Relative standard uncertainty of the rate; infinite where it was estimated from the strums.
    line_s : (m,) float
        Times of beats 0, 1, 2 … where a map gives them; else empty.
    map_start, map_rate, map_beats_per_bar : int, float, int or None
        With a map: the beat that is its first played downbeat, seconds of the recording for one of the map's, and the
        beats of its first bar.
    clicks_per_beat : float
        1 where clicks and beats coincide or there are no clicks.
    last_click_beat : float or None
        Beat of the last click heard.
    bpm_heard, bpm_heard_u, skew_ppm, skew_u_ppm : float or None
        See `strumclock.alignment.Alignment`.
    bend : Bend or None
        How the clicks' beat departs from the steady one of `beat_s` and `zero_s`.
    tempo_found : bool
        Whether `bpm` was not told, or told otherwise than heard.
    notices : tuple of Notice
    """

    anchor: Anchor
    bpm: float
    beat_s: float
    zero_s: float
    pivot_s: float
    pivot_u_s: float
    rate_u: float
    line_s: Floats
    map_start: int = 0
    map_rate: float = 1.0
    map_beats_per_bar: int | None = None
    clicks_per_beat: float = 1.0
    last_click_beat: float | None = None
    bpm_heard: float | None = None
    bpm_heard_u: float | None = None
    skew_ppm: float | None = None
    skew_u_ppm: float | None = None
    bend: Bend | None = None
    tempo_found: bool = False
    notices: tuple[Notice, ...] = ()

    @property
    def mapped(self) -> bool:
        """Whether a tempo map gives the beats."""
        return len(self.line_s) > 0

    def beats(self, time_s: Floats) -> Floats:
        """Times [s] as beats since beat 0."""
        if not self.mapped:
            even_s = time_s if self.bend is None else self.bend.straight(time_s)
            steady: Floats = (even_s - self.zero_s) / self.beat_s
            return steady
        inside: Floats = np.interp(time_s, self.line_s, np.arange(len(self.line_s), dtype=np.float64))
        before: Floats = np.minimum(time_s - self.line_s[0], 0) / (self.line_s[1] - self.line_s[0])
        after: Floats = np.maximum(time_s - self.line_s[-1], 0) / (self.line_s[-1] - self.line_s[-2])
        mapped: Floats = inside + before + after
        return mapped

    def time(self, beat: float) -> float:
        """Time of a beat, fractions included [s]."""
        if not self.mapped:
            steady_s = self.zero_s + beat * self.beat_s
            return steady_s if self.bend is None else float(self.bend.bent(np.array([steady_s]))[0])
        last = len(self.line_s) - 1
        at = float(np.interp(beat, np.arange(last + 1, dtype=np.float64), self.line_s))
        beyond = max(beat - last, 0.0) * float(self.line_s[-1] - self.line_s[-2])
        return at + beyond + min(beat, 0.0) * float(self.line_s[1] - self.line_s[0])

    def u_at(self, time_s: Floats) -> Floats:
        """Standard uncertainty of the pulse's place at the given times [s]."""
        if not np.isfinite(self.rate_u):
            return np.full(len(time_s), self.pivot_u_s)
        u_s: Floats = np.hypot(self.pivot_u_s, (time_s - self.pivot_s) * self.rate_u)
        return u_s


def from_clicks(clicks: Clicks, bpm: float | None) -> Pulse:
    """The pulse that the clicks beat.

    The rate is the clicks' own. Where they agree with the tempo told within what clocks do, the two are combined by
    their uncertainties: a long row of clicks decides alone, four clicks of a count-in hardly count beside the told
    tempo.
    """
    heard_bpm = 60.0 / float(clicks.interval_s)
    heard_u = float(clicks.interval_u_s / clicks.interval_s)
    ratio = _sounding_ratio(clicks, heard_bpm) if bpm is None else _ratio(heard_bpm, heard_u, bpm)
    heard = heard_bpm / (ratio or _playable_ratio(heard_bpm))
    beat_s, rate_u, skew = 60.0 / heard, heard_u, None
    notices: tuple[Notice, ...] = ()
    if bpm is not None and ratio is not None:
        skew = heard / bpm - 1.0
        if abs(skew) <= 3.0 * np.hypot(heard_u, CLOCK_U) and not np.any(clicks.bend_s):
            weight = CLOCK_U**2 / (CLOCK_U**2 + heard_u**2)
            beat_s, rate_u = 60.0 / (bpm * (1.0 + weight * skew)), heard_u * weight**0.5
        if ratio != 1.0:
            notices = (tempo_ratio(bpm, heard_bpm, ratio),)
    elif bpm is not None:
        notices = (tempo_differs(bpm, heard_bpm),)
    if bpm is None and heard == heard_bpm > FAST_CLICKS_BPM:
        notices = (tempo_fast(heard_bpm),)
    if bpm is None or ratio is None:
        bpm = plain_bpm(heard)
    bend = Bend.of(clicks)
    index, at_s = _heard(clicks)
    pivot, ratio = float(index.mean()), ratio or _playable_ratio(heard_bpm)
    pivot_s = float(np.mean(at_s - clicks.bend_s[index]))
    return Pulse(
        anchor=_anchor(clicks), bpm=bpm, beat_s=beat_s, zero_s=pivot_s - pivot / ratio * beat_s, pivot_s=pivot_s,
        pivot_u_s=float(np.min(clicks.u_s)), rate_u=rate_u, line_s=np.zeros(0), clicks_per_beat=ratio,
        last_click_beat=float(index[-1]) / ratio, bpm_heard=heard, bpm_heard_u=heard * heard_u,
        skew_ppm=None if skew is None else skew * 1e6, skew_u_ppm=None if skew is None else heard_u * 1e6,
        bend=bend, tempo_found=skew is None, notices=notices,
    )  # fmt: skip


def from_map(grid: BeatGrid, clicks: Clicks) -> Pulse | None:
    """The pulse of a tempo map, placed by the clicks; None where the clicks do not follow the map.

    The clicks are laid on the map's beat lines (count-in included) from each line on in turn; where several fit as well
    as the best, as on a constant tempo, the first one is taken.
    """
    line_s = grid.click_s
    index, at_s = _heard(clicks)
    fits: list[tuple[float, int, float, float]] = []
    for first in range(max(len(line_s) - int(index[-1]), 0)):
        nominal = line_s[first + index]
        if len(index) < 2:
            break
        centre = nominal.mean()
        rate = float(np.dot(nominal - centre, at_s) / np.dot(nominal - centre, nominal - centre))
        zero = float(at_s.mean() - rate * centre)
        fits.append((float(np.sqrt(np.mean((at_s - zero - rate * nominal) ** 2))), first, rate, zero))
    allowed = MAP_FIT_S + 3.0 * float(np.max(clicks.u_s))
    fits = [f for f in fits if abs(f[2] - 1.0) <= TEMPO_TOLERANCE + 3.0 * MAP_FIT_S / max(float(np.ptp(at_s)), 1e-9)]
    fits = [f for f in fits if f[0] <= allowed]
    if not fits:
        return None
    best = min(f[0] for f in fits)
    gaps = np.diff(line_s)
    steady = bool(np.ptp(gaps) <= STEADY * gaps.mean())
    residual, first, rate, zero = next(f for f in fits if f[0] <= best + MAP_FIT_S / 10)
    spread = float(np.sqrt(np.sum((line_s[first + index] - line_s[first + index].mean()) ** 2)))
    rate_u = max(residual, float(np.min(clicks.u_s))) / spread if spread else CLOCK_U
    return replace(
        _mapped(grid, anchor=_anchor(clicks), zero_s=zero, rate=rate),
        pivot_s=float(at_s.mean()), pivot_u_s=float(np.min(clicks.u_s)), rate_u=rate_u,
        bpm_heard=60.0 / (float(gaps.mean()) * rate) if steady else None,
        bpm_heard_u=60.0 / (float(gaps.mean()) * rate) * rate_u if steady else None,
        last_click_beat=float(first + index[-1]), skew_ppm=(1.0 / rate - 1.0) * 1e6, skew_u_ppm=rate_u * 1e6,
    )  # fmt: skip


def told_map(grid: BeatGrid, *, anchor: Anchor, zero_s: float, u_s: float, same_clock: bool) -> Pulse:
    """The pulse of a tempo map whose first played downbeat is stated or fitted."""
    pulse = _mapped(grid, anchor=anchor, zero_s=zero_s, rate=1.0)
    return replace(pulse, pivot_s=zero_s, pivot_u_s=u_s, rate_u=0.0 if same_clock else CLOCK_U)


def _mapped(grid: BeatGrid, *, anchor: Anchor, zero_s: float, rate: float) -> Pulse:
    line_s = zero_s + rate * np.append(grid.click_s, grid.end_s)
    first = float(line_s[1] - line_s[0])
    return Pulse(
        anchor=anchor, bpm=round(60.0 * rate / first, MAP_BPM_DIGITS), beat_s=first, zero_s=float(line_s[0]),
        pivot_s=zero_s, pivot_u_s=0.0, rate_u=0.0, line_s=line_s, map_start=len(grid.count_in_s), map_rate=rate,
        map_beats_per_bar=grid.beats_per_bar,
    )  # fmt: skip


def from_strums(strum_s: Floats, bpm: float | None, *, zero_s: float | None, u_s: float, same_clock: bool) -> Pulse:
    """The pulse of a take without clicks: the told tempo from a stated downbeat, or fitted to the strums.

    Raises
    ------
    RecordingError
        If no tempo was told and the strums keep none.
    """
    if bpm is not None:
        at_s = float(strum_s[0]) if zero_s is None else zero_s
        return Pulse(
            anchor="fitted" if zero_s is None else "given", bpm=bpm, beat_s=60.0 / bpm, zero_s=at_s, pivot_s=at_s,
            pivot_u_s=u_s, rate_u=0.0 if same_clock else CLOCK_U, line_s=np.zeros(0),
        )  # fmt: skip
    played = played_tempo(strum_s)
    if played is None or not BPM_RANGE[0] <= played.bpm <= BPM_RANGE[1]:
        n = len(strum_s)
        came = f"only {n} came" if n < STRUMS_MIN else f"the {n} that came keep none"
        raise RecordingError(
            f"without a click in the recording the tempo must be told, or at least {STRUMS_MIN} strums must keep a "
            f"steady one, but {came}; give the tempo"
        )
    return at_own_tempo(strum_s, played.bpm, tempo_estimated(played.bpm))


def other_tempo(strum_s: Floats, pulse: Pulse, bpm: float) -> Pulse:
    """The pulse of a fitted take whose strums keep another tempo than the one told."""
    return at_own_tempo(strum_s, bpm, tempo_kept_differs(pulse.bpm, bpm))


def at_own_tempo(strum_s: Floats, bpm: float, notice: Notice) -> Pulse:
    """The pulse of strums at a tempo estimated from themselves."""
    first_s = float(strum_s[0])
    return Pulse(
        anchor="fitted", bpm=bpm, beat_s=60.0 / bpm, zero_s=first_s, pivot_s=first_s, pivot_u_s=0.0, rate_u=np.inf,
        line_s=np.zeros(0), tempo_found=True, notices=(notice,),
    )  # fmt: skip


def _playable_ratio(heard_bpm: float) -> float:
    """Clicks a beat that make a tempo of clicks too fast or too slow to be one: parts of the beat, or bars."""
    return next((r for r in RATIOS if BPM_RANGE[0] <= heard_bpm / r <= BPM_RANGE[1]), 1.0)


def _sounding_ratio(clicks: Clicks, heard_bpm: float) -> float:
    """Clicks a beat by their sounds, where no tempo is told: those between the beats have a sound of their own."""
    main = np.flatnonzero(np.asarray(clicks.heard) & (np.asarray(clicks.sound) < SOUNDS_ON_BEATS))
    gaps = np.diff(main)
    if not len(gaps) or main[0] != 0:
        return _playable_ratio(heard_bpm)
    usual = int(np.bincount(gaps).argmax())
    known = usual > 1 and usual in RATIOS and (gaps == usual).mean() >= SOUNDS_AGREE
    known = known and heard_bpm / usual >= SLOWEST_DIVIDED_BPM
    return float(usual) if known else _playable_ratio(heard_bpm)


def _ratio(heard_bpm: float, heard_u: float, told_bpm: float) -> float | None:
    """Clicks a told beat, where that is a small whole ratio; None where the tempi simply differ."""
    for ratio in RATIOS:
        if abs(heard_bpm / (told_bpm * ratio) - 1.0) <= TEMPO_TOLERANCE + 2.0 * heard_u:
            return ratio
    return None


def plain_bpm(heard: float) -> float:
    """A tempo heard, as it was probably set: a whole number where it is that near to one."""
    whole = round(heard)
    return float(whole) if abs(heard / whole - 1.0) <= WHOLE_BPM_TOLERANCE else round(heard, 3)


def _heard(clicks: Clicks) -> tuple[np.typing.NDArray[np.int64], Floats]:
    """Indices and times of the clicks heard; of all where none is marked."""
    index = np.flatnonzero(clicks.heard)
    if not len(index):
        index = np.arange(len(clicks.time_s))
    return index, np.asarray(clicks.time_s)[index]


def _anchor(clicks: Clicks) -> Anchor:
    return "recorded-click" if clicks.source == "recording" else "click-channel"
