"""Where in the bar the offsets lie: by beat, part of the beat, bar and chord change; what may be named a problem."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ncfdtrinc

from strumclock.timing import intervals
from strumclock.timing.design import Floats, Whole, beside, independent, indicators, residual
from strumclock.timing.error_model import MIN_STRUMS, Wander, fit_wanders
from strumclock.timing.estimate import Estimate
from strumclock.timing.significance import MIN_IN_PLACE, Finding, Group, name_places, questions


@dataclass(frozen=True, slots=True, kw_only=True)
class Groups:
    """What `measure_groups` found; see `Timing` for the fields."""

    by: Mapping[str, tuple[Group, ...]]
    at_change: Estimate | None
    named: tuple[Finding, ...]
    jitter_within: Estimate | None
    explained_share: Estimate | str
    swing: Estimate | str
    absent: dict[str, str]


def measure_groups(
    offset_ms: Floats,
    minutes: Floats,
    *,
    slot: Whole,
    places: Mapping[str, Whole],
    at_change: NDArray[np.bool_],
    u_ms: Floats,
    slip_ms: float,
    error_share: float,
    shared_u_ms: float,
    contrasts: bool,
    audible_ms: float,
    enough: bool,
    drift: Estimate | None,
    second_at: float | None,
    beat_ms: float,
) -> Groups:
    """Compare the places of the bar, each about the drift line.

    Parameters
    ----------
    offset_ms, minutes : (n,) array
        Offsets and the time of their grid lines.
    slot : (n,) int array
    places : mapping of str to (n,) int array
        ``"bar"``, ``"beat"`` and ``"part"`` of each strum, from 1.
    at_change : (n,) bool array
    u_ms : (n,) array
        Measuring uncertainty of each strum.
    slip_ms : float
        Root mean square of errors that the strums' evidence does not show.
    error_share : float
        Share of `u_ms` squared that the errors really have.
    shared_u_ms : float
        Uncertainty that all offsets share.
    contrasts : bool
        Whether only differences between places are known.
    audible_ms : float
        Smallest difference worth naming.
    enough : bool
        Whether there are strums enough for any figure.
    drift : Estimate or None
        The slope, ms a minute.
    second_at : float or None
        Place in the beat at which the grid has the second of two parts.
    beat_ms : float
        Length of the beat.
    """
    n = offset_ms.size
    if not enough:
        why = f"it needs {MIN_STRUMS} strums or more in slots, whose offsets differ; the take has {n}"
        by = {kind: tuple(Group(place=int(p), n=int((at == p).sum()), offset_ms=None) for p in np.unique(at))
              for kind, at in places.items()}  # fmt: skip
        return Groups(
            by=by,
            at_change=None,
            named=(),
            jitter_within=None,
            explained_share=why,
            swing=why,
            absent={f"timing.by_{kind}": why for kind in by},
        )
    centred = minutes - minutes.mean()
    line = np.column_stack([np.ones(n), centred])
    parts = indicators(places["part"])
    change = at_change[:, None].astype(float) if 0 < at_change.sum() < n else np.empty((n, 0))
    beats = indicators(places["beat"])
    within_design = independent(line, np.column_stack([parts, change]))
    full_design = independent(within_design, beats)
    if n - full_design.shape[1] < MIN_STRUMS:
        full_design = within_design if n - within_design.shape[1] >= MIN_STRUMS else line
    widest = max(full_design, within_design, key=lambda design: design.shape[1])  # each begins with the other's columns
    full, within = fit_wanders(offset_ms, slot, widest, columns=(full_design.shape[1], within_design.shape[1]))
    jitter_within, explained = _explained(
        offset_ms, line, within_design, within, u_ms, slip_ms=slip_ms, error_share=error_share
    )
    u_ms = np.hypot(u_ms, slip_ms)

    by = {}
    for kind, at in places.items():
        levels = np.unique(at)
        weights = (at == levels[:, None]) / (at == levels[:, None]).sum(axis=1, keepdims=True)
        if contrasts:
            weights = weights - weights.mean(axis=0)
        half = full.half_width(weights)
        by[kind] = tuple(
            Group(
                place=int(level),
                n=int((at == level).sum()),
                offset_ms=_estimate(float(w @ offset_ms), float(h), w, u_ms, 0.0 if contrasts else shared_u_ms),
            )
            for level, w, h in zip(levels, weights, half, strict=True)
        )

    asked = questions(line, places, at_change)
    named = name_places(asked, full, line, offset_ms, u_ms, by, audible_ms, contrasts=contrasts)
    at_change_ms = None
    if change.size:
        weights = beside(change[:, 0], line)
        if weights is not None:
            at_change_ms = intervals.combination(float(weights @ offset_ms), weights, full, u_ms)
    if drift is not None and drift.excludes(0.0) and abs(drift.value) * float(np.ptp(minutes)) > audible_ms:
        p = full.p_value(centred / float(centred @ centred), drift.value)
        direction = "falling behind" if drift.value > 0 else "pulling ahead"
        named.append(Finding(kind="drift", place=None, contrast=drift, direction=direction, p=p))
    return Groups(
        by=by,
        at_change=at_change_ms,
        named=tuple(named),
        jitter_within=jitter_within,
        explained_share=explained,
        swing=_swing(offset_ms, places["part"], line, full, u_ms, second_at=second_at, beat_ms=beat_ms),
        absent={},
    )


def _swing(
    offset_ms: Floats,
    part: Whole,
    line: Floats,
    wander: Wander,
    u_ms: Floats,
    *,
    second_at: float | None,
    beat_ms: float,
) -> Estimate | str:
    """Where in the beat the second of two parts was played: where the grid has it, and how much later it came."""
    second = part == 2
    n, n_second = part.size, int(second.sum())
    weights = beside(second.astype(float), line) if MIN_IN_PLACE <= n_second <= n - MIN_IN_PLACE else None
    if second_at is None or weights is None:
        return f"it needs {MIN_IN_PLACE} strums or more on each of two parts of the beat"
    later = intervals.combination(float(weights @ offset_ms), weights, wander, u_ms)
    value, low, high = (second_at + ms / beat_ms for ms in (later.value, later.low, later.high))
    return Estimate(value=value, low=low, high=high, u=later.u / beat_ms)


def _explained(
    offset_ms: Floats,
    line: Floats,
    design: Floats,
    wander: Wander,
    u_ms: Floats,
    *,
    slip_ms: float,
    error_share: float,
) -> tuple[Estimate | None, Estimate | str]:
    """Jitter with the design's means taken out, and the share of the variance about the line that they explain."""
    n, p = design.shape
    extra, dof = p - line.shape[1], n - p
    if extra == 0:
        return None, "the strums lie on one part of the beat and no chord changes are known: nothing to explain"
    if dof < MIN_STRUMS:
        return None, f"it needs {MIN_STRUMS} strums more than the {p} means taken out; the take has {n}"
    about_line, about_means = residual(offset_ms, line), residual(offset_ms, design)
    jitter = intervals.scatter(about_means, dof, wander, u_ms, error_share=error_share, slip=slip_ms)
    whole, left = float(about_line @ about_line), float(about_means @ about_means)
    corrected = (n - line.shape[1]) / dof
    value = max(0.0, 1 - corrected * left / whole)
    # Non-central F; errors that take turns scatter these means `inflation` times as much as independent ones.
    basis, _ = np.linalg.qr(design)
    spread = wander.variance_of(basis[:, line.shape[1] :].T).mean(axis=0) / wander.sigma2
    inflation = max(1.0, float(spread @ wander.weight))
    f = (whole - left) / extra / (left / dof) / inflation
    ends = [inflation * float(ncfdtrinc(extra, dof, share, f)) for share in (0.975, 0.025)]
    low, high = (x / (x + n) if math.isfinite(x) else 0.0 for x in ends)
    change = 2 * corrected / whole * (about_means - left / whole * about_line)
    measuring = math.sqrt(float(change**2 @ (u_ms**2 + slip_ms**2)))
    share = Estimate(value=value, low=min(low, value), high=max(high, value), u=measuring)
    return (None if isinstance(jitter, str) else jitter), share


def _estimate(value: float, half: float, weights: Floats, u_ms: Floats, shared_u_ms: float) -> Estimate:
    """A group's mean with what all offsets share."""
    own = math.sqrt(float((weights * u_ms) @ (weights * u_ms)))
    return Estimate(value=value, low=value - half, high=value + half, u=own).widened(shared_u_ms)
