"""The timing figures of one take: each with its uncertainty, or absent with the reason."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from strumclock.timing import intervals
from strumclock.timing.clocks import played_bpm, with_clock
from strumclock.timing.error_model import MIN_STRUMS, Wander, fit_wander
from strumclock.timing.estimate import COVERAGE_FACTOR, Estimate
from strumclock.timing.groups import measure_groups
from strumclock.timing.held import STANDARDS, Standard
from strumclock.timing.regression import fit_line
from strumclock.timing.significance import Finding, Group, audible_s
from strumclock.timing.sound_path import SoundPath
from strumclock.timing.taking import checked_take

Floats = NDArray[np.float64]

SAME_MS = 1e-9
"""Offsets that scatter less than this about a line are a computer's."""

SPREADS_KNOWN = 0.5
"""A body offset is given when the spread of this share of the strums is known."""

WITHOUT_CLICK = (
    "no click was heard, so the grid was fitted to the strums and only their evenness is known; next time let the "
    "click sound in the room, or record it on its own channel"
)

TEMPO_FROM_STRUMS = (
    "no click was heard and the tempo was estimated from the strums, so there is nothing to drift against; next time "
    "let the click be heard, or tell the tempo that it has"
)

FIGURES = (
    "mean_offset_ms", "median_offset_ms", "body_offset_ms", "jitter_ms", "jitter_within_ms", "explained_share",
    "drift_ms_per_min", "played_bpm", "within_tolerance", "lag1", "swing",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class WithinTolerance:
    """Share of the strums within the tolerance about the take's own mean."""

    tolerance_ms: float
    share: Estimate


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Timing:
    """How a take was timed. Positive is late; ms; a figure that cannot be known is None, with its reason in `absent`.

    Attributes
    ----------
    n : int
        Strums that were meant for a slot.
    mean_offset_ms, median_offset_ms : Estimate or None
        Of strum time minus grid line.
    body_offset_ms : Estimate or None
        Mean offset of the middle of the strums' spread.
    jitter_ms : Estimate or None
        Standard deviation about the drift line (n − 2 degrees of freedom), less what measuring adds;
        strums whose times are badly known count less.
    jitter_within_ms : Estimate or None
        The same after the means of each part of the beat and of chord changes are taken out too.
    explained_share : Estimate or None
        Share of the variance about the drift line that these means explain, corrected for their number.
    drift_ms_per_min : Estimate or None
        Slope of the offsets over the grid's time; positive = falling behind.
    played_bpm : Estimate or None
        Beats a minute that the drift line amounts to.
    within_tolerance : WithinTolerance or None
    lag1 : Estimate or None
        Autocorrelation of the errors about the drift line from one slot to the next (definition of `plain.lag1`).
    swing : Estimate or None
        Place in the beat at which the second of two parts was played; 0.5 is straight.
    by_beat, by_part, by_bar : tuple of Group
        Mean offset at each beat of the bar, part of the beat, and bar; with a fitted anchor contrasts that sum to zero.
    at_change : Estimate or None
        How much later the strums at chord changes are than the others.
    named : tuple of Finding
        What may be named as the problem: beyond chance (Holm) and beyond what can be heard.
    audible_ms : float
        The smallest displacement that can be heard at this take's strum interval.
    offset_ms : (n,) array or None
        Each strum's offset, None with a fitted anchor.
    deviation_ms : (n,) array
        Each strum's offset minus the take's mean.
    absent : dict of str to str
        JSON path → why that figure is absent.
    """

    n: int
    mean_offset_ms: Estimate | None
    median_offset_ms: Estimate | None
    body_offset_ms: Estimate | None
    jitter_ms: Estimate | None
    jitter_within_ms: Estimate | None
    explained_share: Estimate | None
    drift_ms_per_min: Estimate | None
    played_bpm: Estimate | None
    within_tolerance: WithinTolerance | None
    lag1: Estimate | None
    swing: Estimate | None
    by_beat: tuple[Group, ...]
    by_part: tuple[Group, ...]
    by_bar: tuple[Group, ...]
    at_change: Estimate | None
    named: tuple[Finding, ...]
    audible_ms: float
    offset_ms: Floats | None
    deviation_ms: Floats
    absent: dict[str, str] = field(default_factory=dict)

    def __str__(self) -> str:
        said = [f"{self.n} strums in slots"]
        for name, unit, figure in (
            ("mean offset", "+.1f ms", self.mean_offset_ms),
            ("jitter", ".1f ms", self.jitter_ms),
            ("drift", "+.1f ms/min", self.drift_ms_per_min),
        ):
            said.append(f"{name} {'not known' if figure is None else format(figure, unit)}")
        return "; ".join(said)


def measure_timing(
    strum_s: ArrayLike,
    line_s: ArrayLike,
    *,
    slot: ArrayLike,
    bar: ArrayLike,
    beat: ArrayLike,
    part: ArrayLike,
    at_change: ArrayLike | None = None,
    u_s: ArrayLike = 0.0,
    error_share: float = intervals.ERROR_SHARE,
    slip_s: float = 0.0,
    bias_u_s: float = 0.0,
    anchor: str = "recorded-click",
    anchor_u_s: ArrayLike = 0.0,
    rate_u_ppm: float = 0.0,
    clock_known: bool = True,
    tempo_estimated: bool = False,
    path: SoundPath | None = None,
    spread_s: ArrayLike | None = None,
    spread_u_s: float = 0.0,
    part_s: ArrayLike | None = None,
    beat_s: ArrayLike | None = None,
    second_at: float | None = None,
    standard: Standard | None = None,
) -> Timing:
    """Measure how the strums of one take lie against their grid lines.

    Parameters
    ----------
    strum_s, line_s : (n,) array_like
        Strum times and the grid lines that they were meant for, s, both increasing.
    slot, bar, beat, part : (n,) array_like of int
        Slot index of each strum (increasing; omitted slots are gaps), and its bar, beat of the bar and part of the
        beat, from 1.
    at_change : (n,) array_like of bool, optional
        Strums that are the first of a new chord.
    u_s : (n,) array_like or float
        Standard uncertainty of each strum's time, s, independent from strum to strum.
    error_share : float
        Share of the variance `u_s`² that the errors of the strum times really have; that much is taken off the jitter's
        variance. 1 where `u_s` is the errors' standard deviation.
    slip_s : float
        Root mean square of further errors of strum times that nothing about the strum shows (a pick's touch taken for
        the release), s. They widen every `u`; they are not taken off the jitter.
    bias_u_s : float
        Standard uncertainty that all strum times share, s: how far they may lie from the first string's release on
        average.
    anchor : {'recorded-click', 'click-channel', 'given', 'fitted'}
        How the grid got its place.
    anchor_u_s : (n,) array_like or float
        Standard uncertainty of each grid line's place that the lines share, s.
    rate_u_ppm : float
        Standard uncertainty of the grid's rate, parts per million.
    clock_known : bool
        Whether the grid's rate comes from clicks in the recording or one clock made click and recording.
    tempo_estimated : bool
        Whether the tempo was estimated from the strums themselves.
    path : SoundPath, optional
        What the air does to the offsets. Left out: nothing.
    spread_s : (n,) array_like, optional
        First to last string of each strum, s; NaN where unknown.
    spread_u_s : float
        Standard uncertainty of the spreads that all strums share, s.
    part_s, beat_s : (n,) array_like, optional
        Time between neighbouring places of the pattern's finest part, and length of the beat, at each strum, s.
        Left out: taken from the grid lines, as the smallest step.
    second_at : float, optional
        Place in the beat at which the grid has the second of two parts; left out where a beat has not two.
    standard : Standard, optional
        Sets the tolerance; left out, ``STANDARDS["steady"]``.

    Returns
    -------
    Timing

    Raises
    ------
    UsageError
        If the arrays disagree in length, are not finite or not increasing, or the anchor is unknown.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> slots = np.arange(64)
    >>> lines = 0.6 * slots
    >>> strums = lines + 0.012 + 0.009 * rng.standard_normal(64)
    >>> timing = measure_timing(strums, lines, slot=slots, bar=slots // 4 + 1, beat=slots % 4 + 1,
    ...                         part=np.ones(64, int), u_s=0.0005, beat_s=0.6, part_s=0.6)
    >>> print(f"mean {timing.mean_offset_ms:+.0f ms}; jitter {timing.jitter_ms.value:.1f} ms")
    mean +11 ms (+9 to +14); jitter 7.7 ms
    """
    take = checked_take(strum_s, line_s, slot, bar, beat, part, at_change, u_s, anchor)
    path = path or SoundPath(bias_s=0.0, u_s=0.0)
    standard = standard or STANDARDS["steady"]
    n, fitted = take.n, anchor == "fitted"
    anchor_mean_u_s = float(np.mean(np.asarray(anchor_u_s, dtype=float))) if n else 0.0
    shared_u_ms = 1e3 * math.hypot(anchor_mean_u_s, path.u_s, bias_u_s)
    slip_ms = 1e3 * slip_s
    u_ms = np.hypot(take.u_ms, slip_ms)
    offset_ms = 1e3 * (take.strum_s - take.line_s - path.bias_s)
    deviation_ms = offset_ms - offset_ms.mean() if n else offset_ms
    minutes = take.line_s / 60
    absent: dict[str, str] = {}
    figures: dict[str, Any] = dict.fromkeys(FIGURES)

    def give(key: str, figure: Estimate | WithinTolerance | str) -> None:
        """Keep a figure, or why it is absent."""
        if isinstance(figure, str):
            absent[f"timing.{key}"] = figure
        else:
            figures[key] = figure

    audible_ms = 1e3 * audible_s(float(np.median(np.diff(take.line_s))) if n > 1 else 0.0)
    line = fit_line(minutes, offset_ms) if n >= MIN_STRUMS else None
    wander = None
    if line is None or line.scatter <= SAME_MS:
        why = f"it needs {MIN_STRUMS} strums or more in slots, whose offsets differ; the take has {n}"
        for key in FIGURES:
            give(key, why)
    else:
        from_middle = minutes - minutes.mean()
        wander = fit_wander(offset_ms, take.slot, np.column_stack([np.ones(n), from_middle]))
        for key, figure in _offsets(offset_ms, spread_s, wander, u_ms).items():
            shared = math.hypot(shared_u_ms, 500 * spread_u_s) if key == "body_offset_ms" else shared_u_ms
            known = figure if isinstance(figure, str) else figure.widened(shared)
            give(key, WITHOUT_CLICK if fitted else known)
        slope = from_middle / float(from_middle @ from_middle)
        own = intervals.combination(line.slope, slope, wander, u_ms)
        clocked = with_clock(own, rate_u_ppm=rate_u_ppm, clock_known=clock_known)
        give("drift_ms_per_min", TEMPO_FROM_STRUMS if tempo_estimated else clocked)
        give("played_bpm", played_bpm(clocked, take.smallest_step_s if beat_s is None else beat_s))
        jitter = intervals.scatter(line.residual, n - 2, wander, take.u_ms, error_share=error_share, slip=slip_ms)
        give("jitter_ms", jitter)
        give("lag1", intervals.correlation(line.residual, take.slot, wander, u_ms))
        parts_s = np.broadcast_to(np.asarray(take.smallest_step_s if part_s is None else part_s, dtype=float), (n,))
        tolerance_ms = 1e3 * np.array([standard.tolerance_s(float(x)) for x in parts_s])
        share = intervals.share(deviation_ms, tolerance_ms, wander, u_ms)
        give("within_tolerance", WithinTolerance(tolerance_ms=float(np.median(tolerance_ms)), share=share))
    groups = measure_groups(
        offset_ms,
        minutes,
        slot=take.slot,
        places={"bar": take.bar, "beat": take.beat, "part": take.part},
        at_change=take.at_change,
        u_ms=take.u_ms,
        slip_ms=slip_ms,
        error_share=error_share,
        shared_u_ms=shared_u_ms,
        contrasts=fitted,
        audible_ms=audible_ms,
        enough=wander is not None,
        drift=figures["drift_ms_per_min"],
        second_at=second_at,
        beat_ms=1e3 * float(np.median(take.smallest_step_s if beat_s is None else np.asarray(beat_s))) if n else 0.0,
    )
    if wander is not None:
        give("jitter_within_ms", groups.jitter_within or figures["jitter_ms"] or absent["timing.jitter_ms"])
        give("explained_share", groups.explained_share)
        give("swing", groups.swing)
    return Timing(
        n=n,
        **figures,
        by_beat=groups.by["beat"],
        by_part=groups.by["part"],
        by_bar=groups.by["bar"],
        at_change=groups.at_change,
        named=groups.named,
        audible_ms=audible_ms,
        offset_ms=None if fitted else _read_only(offset_ms),
        deviation_ms=_read_only(deviation_ms),
        absent=absent | groups.absent,
    )


def _offsets(offset_ms: Floats, spread_s: ArrayLike | None, wander: Wander, u_ms: Floats) -> dict[str, Estimate | str]:
    """Mean, median and body offset, without what the whole take shares."""
    n = offset_ms.size
    mean = intervals.combination(float(offset_ms.mean()), np.full(n, 1 / n), wander, u_ms)
    found: dict[str, Estimate | str] = {
        "mean_offset_ms": mean,
        "median_offset_ms": intervals.median(offset_ms, wander, u_ms),
    }
    half_ms = 500 * np.broadcast_to(np.asarray(np.nan if spread_s is None else spread_s, dtype=float), (n,))
    half_ms = half_ms[np.isfinite(half_ms)]
    if spread_s is None:
        found["body_offset_ms"] = "it needs the spread of the strums, first to last string, which was not measured"
    elif half_ms.size < max(MIN_STRUMS, SPREADS_KNOWN * n):
        found["body_offset_ms"] = (
            f"it needs the spread of {SPREADS_KNOWN:.0%} of the strums and of {MIN_STRUMS} or more; "
            f"{half_ms.size} of {n} are known"
        )
    else:
        # The middle of a strum lies half its spread after its start; the halves' sampling is taken as independent.
        middle = mean.value + float(half_ms.mean())
        sampling = COVERAGE_FACTOR * float(half_ms.std(ddof=1)) / math.sqrt(half_ms.size)
        reach = math.hypot(mean.high - mean.value, sampling)
        found["body_offset_ms"] = Estimate(value=middle, low=middle - reach, high=middle + reach, u=mean.u)
    return found


def _read_only(array: Floats) -> Floats:
    """A copy that cannot be written."""
    copy = np.array(array, dtype=float)
    copy.setflags(write=False)
    return copy
