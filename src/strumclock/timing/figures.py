"""The timing figures of one take: each with its uncertainty, or absent with the reason."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from strumclock.arrays import Floats
from strumclock.errors import Absent
from strumclock.timing import intervals
from strumclock.timing.aligned import aligned_strums, anchoring_of, errors_of, strums_of
from strumclock.timing.asking import Asked
from strumclock.timing.clocks import played_bpm, with_clock
from strumclock.timing.error_model import MIN_STRUMS, ErrorModel
from strumclock.timing.estimate import COVERAGE_FACTOR, Estimate
from strumclock.timing.groups import by_place, explained, fit_places, lateness_at_changes, swing_place, unknown_groups
from strumclock.timing.parts import jitter_by_part, with_jitters
from strumclock.timing.placed import Anchoring, PlacedStrums, StrumErrors
from strumclock.timing.questions import answer_all
from strumclock.timing.regression import Line, fit_line
from strumclock.timing.sound_path import SoundPath
from strumclock.timing.values import Finding, Step, Timing, WithinTolerance, audible_s

if TYPE_CHECKING:
    from strumclock.alignment import Alignment

Figure = Estimate | WithinTolerance | Step | Absent

SAME_MS = 1e-9
"""Offsets that scatter less than this about a line are a computer's."""

SPREADS_KNOWN = 0.5
"""A body offset is given when the spread of this share of the strums is known."""

WITHOUT_CLICK = Absent(
    code="no-click",
    reason="no click was heard, so the grid was fitted to the strums and only their evenness is known",
)

TEMPO_FROM_STRUMS = Absent(
    code="no-tempo",
    reason="no click was heard and the tempo was estimated from the strums, so there is nothing to drift against",
)

NO_TOLERANCE = Absent(code="no-tolerance", reason="no tolerance was given to hold the strums against")
NO_STEP = Absent(code="no-step", reason="no shift beyond chance was found inside the take")
NO_SPREADS = Absent(
    code="no-spreads", reason="it needs the spread of the strums, first to last string, which was not measured"
)

FIGURES = (
    "mean_offset_ms", "median_offset_ms", "body_offset_ms", "jitter_ms", "jitter_within_ms", "explained_share",
    "drift_ms_per_min", "step", "played_bpm", "within_tolerance", "lag1", "swing",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Take:
    """What every figure is computed from; ms, and the grid's time in minutes about its middle."""

    strums: PlacedStrums
    anchoring: Anchoring
    errors: StrumErrors
    offset_ms: Floats
    shared_u_ms: float

    @property
    def minutes(self) -> Floats:
        minutes = self.strums.line_s / 60
        return np.asarray(minutes - minutes.mean())

    @property
    def own_u_ms(self) -> Floats:
        """What each strum's evidence says of its error."""
        return 1e3 * self.strums.u_s

    @property
    def slip_ms(self) -> float:
        return 1e3 * self.errors.slip_s

    @property
    def u_ms(self) -> Floats:
        """All that is known of each strum's error."""
        return np.hypot(self.own_u_ms, self.slip_ms)


def measure_timing(
    strums: PlacedStrums | Alignment,
    *,
    anchoring: Anchoring | None = None,
    errors: StrumErrors | None = None,
    path: SoundPath | None = None,
    tolerance_s: ArrayLike | None = None,
) -> Timing:
    """Measure how the strums of one take lie against their grid lines.

    Parameters
    ----------
    strums : PlacedStrums or Alignment
        The strums that were meant for a slot; or what `align` gave.
    anchoring : Anchoring, optional
        How the grid got its place. Left out: as the alignment says; without one from clicks heard in the recording,
        exactly.
    errors : StrumErrors, optional
        What is known of the errors of strum times beyond each strum's own. Left out: as the alignment's strums say.
    path : SoundPath, optional
        What the air does to the offsets. Left out: nothing.
    tolerance_s : (n,) array_like or float, optional
        Distance from the take's own mean within which a strum counts as even, s. Left out, that share is absent.

    Returns
    -------
    Timing

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> slots = np.arange(64)
    >>> lines = 0.6 * slots
    >>> played = lines + 0.012 + 0.009 * rng.standard_normal(64)
    >>> strums = PlacedStrums.of(played, lines, slot=slots, bar=slots // 4 + 1, beat=slots % 4 + 1, u_s=0.0005)
    >>> timing = measure_timing(strums)
    >>> print(f"mean {timing.mean_offset_ms:+.0f ms}; jitter {timing.jitter_ms.value:.1f} ms")
    mean +11 ms (+8 to +15); jitter 7.7 ms

    Own times against an own grid, without a word about slots:

    >>> import strumclock as sc
    >>> grid = sc.build_grid(sc.Exercise(bpm=100, meter="4/4"), bars=16)
    >>> timing = sc.measure_timing(sc.align(played, grid))
    >>> print(f"{timing.n} strums in slots; mean offset {timing.mean_offset_ms:+.0f ms}")
    64 strums in slots; mean offset +11 ms (+8 to +15)
    """
    if not isinstance(strums, PlacedStrums):
        anchoring = anchoring or anchoring_of(strums)
        errors = errors or errors_of(strums_of(strums))
        strums = aligned_strums(strums)
    anchoring, errors = anchoring or Anchoring(), errors or StrumErrors()
    path = path or SoundPath(bias_s=0.0, u_s=0.0)
    n = len(strums)
    anchor_u_s = float(np.mean(np.asarray(anchoring.u_s, dtype=float))) if n else 0.0
    offset_ms = 1e3 * (strums.time_s - strums.line_s - path.bias_s)
    take = _Take(
        strums=strums,
        anchoring=anchoring,
        errors=errors,
        offset_ms=offset_ms,
        shared_u_ms=1e3 * math.hypot(anchor_u_s, path.u_s, errors.bias_u_s),
    )
    audible_ms = 1e3 * audible_s(float(np.median(np.diff(strums.line_s))) if n > 1 else 0.0)
    line = fit_line(take.minutes, offset_ms) if n >= MIN_STRUMS else None
    figures: dict[str, Figure]
    by, at_change = unknown_groups(strums), None
    findings: tuple[Finding, ...] = ()
    jitters: dict[int, Estimate | Absent] = {}
    if line is None or line.scatter <= SAME_MS:
        reason = f"it needs {MIN_STRUMS} strums or more in slots, whose offsets differ; the take has {n}"
        why = Absent(code="too-few" if n < MIN_STRUMS else "no-scatter", reason=reason)
        figures = dict.fromkeys((*FIGURES, "by_bar", "by_beat", "by_part"), why)
    else:
        models = fit_places(strums, offset_ms)
        figures = _whole_take(take, line, models.whole, tolerance_s)
        asked = Asked(
            strums=strums,
            anchoring=anchoring,
            offset_ms=offset_ms,
            u_ms=take.u_ms,
            shared_u_ms=take.shared_u_ms,
            model=models.full,
            design=models.full_design,
            audible_ms=audible_ms,
        )
        by = by_place(asked)
        findings = answer_all(asked, by)
        at_change = lateness_at_changes(asked)
        within, share = explained(offset_ms, models, take.own_u_ms, errors)
        figures["jitter_within_ms"] = figures["jitter_ms"] if within is None else within
        jitters = jitter_by_part(strums, offset_ms, errors)
        figures |= {f"by_part.{part}.jitter_ms": jitter for part, jitter in jitters.items()}
        figures |= {"explained_share": share, "swing": swing_place(asked, models.line), "step": _step(findings, strums)}
    known = {name: None if isinstance(figure, Absent) else figure for name, figure in figures.items()}
    return Timing(
        n=n,
        **{name: known[name] for name in FIGURES},  # type: ignore[arg-type]  # each name's figure is of its own kind
        by_beat=by["beat"],
        by_part=with_jitters(by["part"], jitters),
        by_bar=by["bar"],
        at_change=at_change,
        findings=findings,
        audible_ms=audible_ms,
        offset_ms=None if anchoring.fitted else _read_only(offset_ms),
        deviation_ms=_read_only(offset_ms - offset_ms.mean() if n else offset_ms),
        absent={f"timing.{name}": figure for name, figure in figures.items() if isinstance(figure, Absent)},
    )


def _whole_take(take: _Take, line: Line, model: ErrorModel, tolerance_s: ArrayLike | None) -> dict[str, Figure]:
    """The figures that ask for no place in the bar."""
    n, minutes = len(take.strums), take.minutes
    mean = intervals.combination(float(take.offset_ms.mean()), np.full(n, 1 / n), model, take.u_ms)
    placed: dict[str, Figure] = {
        "mean_offset_ms": mean.widened(take.shared_u_ms),
        "median_offset_ms": intervals.median(take.offset_ms, model, take.u_ms).widened(take.shared_u_ms),
        "body_offset_ms": _body(mean, take),
    }
    if take.anchoring.fitted:
        placed = dict.fromkeys(placed, WITHOUT_CLICK)
    slope = minutes / float(minutes @ minutes)
    own = intervals.combination(line.slope, slope, model, take.u_ms)
    drift = with_clock(own, anchoring=take.anchoring)
    jitter = intervals.scatter(
        line.residual, n - 2, model, take.own_u_ms, error_share=take.errors.error_share, slip=take.slip_ms
    )
    return placed | {
        "drift_ms_per_min": TEMPO_FROM_STRUMS if take.anchoring.tempo_estimated else drift,
        "played_bpm": played_bpm(drift, take.strums.beat_s),
        "jitter_ms": jitter,
        "lag1": intervals.correlation(line.residual, take.strums.slot, model, take.u_ms),
        "within_tolerance": _within(take, model, tolerance_s),
    }


def _within(take: _Take, model: ErrorModel, tolerance_s: ArrayLike | None) -> WithinTolerance | Absent:
    """Share of the strums within the tolerance about the take's own mean."""
    if tolerance_s is None:
        return NO_TOLERANCE
    tolerance_ms = np.broadcast_to(1e3 * np.asarray(tolerance_s, dtype=float), take.offset_ms.shape)
    share = intervals.share(take.offset_ms - take.offset_ms.mean(), tolerance_ms, model, take.u_ms)
    return WithinTolerance(tolerance_ms=float(np.median(tolerance_ms)), share=share)


def _body(mean: Estimate, take: _Take) -> Estimate | Absent:
    """Mean offset of the middle of the strums' spread; `mean` is that of their beginnings, of this take alone."""
    n = len(take.strums)
    if take.strums.spread_s is None:
        return NO_SPREADS
    half_ms = 500 * take.strums.spread_s
    half_ms = half_ms[np.isfinite(half_ms)]
    if half_ms.size < max(MIN_STRUMS, SPREADS_KNOWN * n):
        return Absent(
            code="few-spreads",
            reason=f"it needs the spread of {SPREADS_KNOWN:.0%} of the strums and of {MIN_STRUMS} or more; "
            f"{half_ms.size} of {n} are known",
        )
    # The middle of a strum lies half its spread after its start; the halves' sampling is taken as independent.
    middle = mean.value + float(half_ms.mean())
    sampling = COVERAGE_FACTOR * float(half_ms.std(ddof=1)) / math.sqrt(half_ms.size)
    reach = math.hypot(mean.high - mean.value, sampling)
    body = Estimate(value=middle, low=middle - reach, high=middle + reach, u=mean.u)
    return body.widened(math.hypot(take.shared_u_ms, 500 * take.errors.spread_u_s))


def _step(findings: tuple[Finding, ...], strums: PlacedStrums) -> Step | Absent:
    """The one-off shift, where one is shown."""
    for finding in findings:
        if finding.kind == "step" and finding.shown:
            first = int(np.flatnonzero(strums.slot == finding.where)[0])
            return Step(
                slot=int(strums.slot[first]),
                bar=int(strums.bar[first]),
                time_s=float(strums.line_s[first]),
                size_ms=finding.size,
            )
    return NO_STEP


def _read_only(array: Floats) -> Floats:
    """A copy that cannot be written."""
    copy = np.array(array, dtype=float)
    copy.setflags(write=False)
    return copy
