"""Where in the bar the offsets lie: means by beat, part and bar, at chord changes; swing; what these explain."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.special import ncfdtrinc

from strumclock.arrays import Floats
from strumclock.errors import Absent
from strumclock.timing import intervals
from strumclock.timing.asking import MIN_IN_PLACE, Asked
from strumclock.timing.changes import change_contrasts, mean_contrast, measuring_of_mean
from strumclock.timing.design import beside, independent, indicators, residual
from strumclock.timing.error_model import MIN_STRUMS, ErrorModel, fit_error_models
from strumclock.timing.estimate import Estimate
from strumclock.timing.placed import PlacedStrums, StrumErrors
from strumclock.timing.values import Group


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlaceModels:
    """The player's errors about the drift line and the means of places.

    Attributes
    ----------
    line : (n, 2) array
        Mean and drift line.
    within_design : (n, p) array
        These and the means of each part of the beat and of chord changes.
    full_design : (n, q) array
        These and the means of each beat.
    whole, within, full : ErrorModel
        How the errors hang together about the three.
    """

    line: Floats
    within_design: Floats
    full_design: Floats
    whole: ErrorModel
    within: ErrorModel
    full: ErrorModel


def fit_places(strums: PlacedStrums, offset_ms: Floats) -> PlaceModels:
    """Take the means of places out, as far as strums are left to tell the errors about them."""
    n = len(strums)
    minutes = strums.line_s / 60
    line = np.column_stack([np.ones(n), minutes - minutes.mean()])
    change = strums.at_change[:, None].astype(float) if 0 < strums.at_change.sum() < n else np.empty((n, 0))
    within_design = independent(line, np.column_stack([indicators(strums.part), change]))
    full_design = independent(within_design, indicators(strums.beat))
    if n - full_design.shape[1] < MIN_STRUMS:
        full_design = within_design if n - within_design.shape[1] >= MIN_STRUMS else line
    widest = max(full_design, within_design, key=lambda design: design.shape[1])  # each begins with the other's columns
    columns = (line.shape[1], within_design.shape[1], full_design.shape[1])
    whole, within, full = fit_error_models(offset_ms, strums.slot, widest, columns=columns)
    return PlaceModels(
        line=line, within_design=within_design, full_design=full_design, whole=whole, within=within, full=full
    )


def unknown_groups(strums: PlacedStrums) -> dict[str, tuple[Group, ...]]:
    """How many strums each place has, where there are too few for means."""
    return {
        kind: tuple(Group(place=int(p), n=int((at == p).sum()), offset_ms=None) for p in np.unique(at))
        for kind, at in _places(strums).items()
    }


def by_place(asked: Asked) -> dict[str, tuple[Group, ...]]:
    """Mean offset at each bar, beat and part; with a fitted anchor contrasts that sum to zero."""
    contrasts, u_ms = asked.anchoring.fitted, asked.u_ms
    by = {}
    for kind, at in _places(asked.strums).items():
        levels = np.unique(at)
        weights = (at == levels[:, None]) / (at == levels[:, None]).sum(axis=1, keepdims=True)
        if contrasts:
            weights = weights - weights.mean(axis=0)
        half = asked.model.half_width(weights)
        groups = []
        for level, w, h in zip(levels, weights, half.tolist(), strict=True):
            value, own = float(w @ asked.offset_ms), math.sqrt(float((w * u_ms) @ (w * u_ms)))
            mean = Estimate(value=value, low=value - h, high=value + h, u=own)
            offset_ms = mean.widened(0.0 if contrasts else asked.shared_u_ms)
            groups.append(Group(place=int(level), n=int((at == level).sum()), offset_ms=offset_ms))
        by[kind] = tuple(groups)
    return by


def _places(strums: PlacedStrums) -> dict[str, np.ndarray[tuple[int, ...], np.dtype[np.int64]]]:
    return {"bar": strums.bar, "beat": strums.beat, "part": strums.part}


def lateness_at_changes(asked: Asked) -> Estimate | None:
    """How much later the strums at chord changes are than their neighbours; None from too few changes."""
    contrasts, u_ms = change_contrasts(asked.offset_ms, asked.strums), asked.u_ms[asked.strums.at_change]
    known = np.isfinite(contrasts)
    found = mean_contrast(contrasts[known], measuring_of_mean(u_ms[known]))
    return None if found is None else found[0]


def swing_place(asked: Asked, line: Floats) -> Estimate | Absent:
    """Where in the beat the second of two parts was played: where the grid has it, and how much later it came."""
    strums = asked.strums
    second = strums.part == 2
    n, n_second = second.size, int(second.sum())
    weights = beside(second.astype(float), line) if MIN_IN_PLACE <= n_second <= n - MIN_IN_PLACE else None
    if strums.second_at is None or weights is None:
        reason = f"it needs {MIN_IN_PLACE} strums or more on each of two parts of the beat"
        return Absent(code="no-second-part", reason=reason)
    later = intervals.combination(float(weights @ asked.offset_ms), weights, asked.model, asked.u_ms)
    beat_ms = 1e3 * float(np.median(strums.beat_s))
    value, low, high = (strums.second_at + ms / beat_ms for ms in (later.value, later.low, later.high))
    return Estimate(value=value, low=low, high=high, u=later.u / beat_ms)


def explained(
    offset_ms: Floats, models: PlaceModels, u_ms: Floats, errors: StrumErrors
) -> tuple[Estimate | Absent | None, Estimate | Absent]:
    """Jitter with the means of parts and changes taken out, and the share of the variance that they explain.

    The jitter is None where there are no such means: it is the jitter about the drift line then.
    """
    line, design = models.line, models.within_design
    n, p = design.shape
    extra, dof = p - line.shape[1], n - p
    if extra == 0:
        reason = "the strums lie on one part of the beat and no chord changes are known: nothing to explain"
        return None, Absent(code="one-place", reason=reason)
    if dof < MIN_STRUMS:
        reason = f"it needs {MIN_STRUMS} strums more than the {p} means taken out; the take has {n}"
        return None, Absent(code="too-few", reason=reason)
    about_line, about_means = residual(offset_ms, line), residual(offset_ms, design)
    slip_ms = 1e3 * errors.slip_s
    jitter = intervals.scatter(about_means, dof, models.within, u_ms, error_share=errors.error_share, slip=slip_ms)
    whole, left = float(about_line @ about_line), float(about_means @ about_means)
    corrected = (n - line.shape[1]) / dof
    value = max(0.0, 1 - corrected * left / whole)
    # Non-central F; errors that take turns scatter these means `inflation` times as much as independent ones.
    basis, _ = np.linalg.qr(design)
    spread = models.within.variance_of(basis[:, line.shape[1] :].T).mean(axis=0) / models.within.sigma2
    inflation = max(1.0, float(spread @ models.within.weight))
    f = (whole - left) / extra / (left / dof) / inflation
    ends = [inflation * float(ncfdtrinc(extra, dof, share, f)) for share in (0.975, 0.025)]
    low, high = (x / (x + n) if math.isfinite(x) else 0.0 for x in ends)
    change = 2 * corrected / whole * (about_means - left / whole * about_line)
    measuring = math.sqrt(float(change**2 @ (u_ms**2 + slip_ms**2)))
    return jitter, Estimate(value=value, low=min(low, value), high=max(high, value), u=measuring)
