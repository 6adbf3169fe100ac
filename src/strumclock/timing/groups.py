"""Where in the bar the offsets lie: by beat, part of the beat, bar and chord change; what may be named a problem."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ncfdtrinc

from strumclock.timing import intervals
from strumclock.timing.estimate import Estimate
from strumclock.timing.wander import MIN_STRUMS, Wander, fit_wander

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

AUDIBLE_FLOOR_S, AUDIBLE_SHARE = 0.006, 0.025
"""Smallest shift of one tone that is heard: 6 ms; above 240 ms 2.5 % of the interval (Friberg & Sundberg 1995)."""

NAMED_BELOW_P = 0.04
"""Largest p at which a place is named, after Holm's correction over all that was asked of the take (Holm 1979). In
simulation this names something with 3 to 6 % of even players (those at 6 % correct little and play short takes)."""

AS_CLEAR = 0.7
"""Places this close to the clearest may as well be what is wrong: two late beats of four look like two early ones."""

MIN_IN_PLACE = 3
"""A beat or part with fewer strums is not named."""

SEPARABLE = 0.1
"""Least share of a place's indicator that must be left beside the others for the two to be told apart."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Mean offset of the strums at one place.

    Attributes
    ----------
    place : int
        Number of the beat, part or bar, from 1.
    n : int
        Strums.
    offset_ms : Estimate or None
        Their mean offset; with a fitted anchor the difference from the mean of all places.
    """

    place: int
    n: int
    offset_ms: Estimate | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Something that may be named, since it exceeds both chance and what can be heard.

    Attributes
    ----------
    kind : {'beat', 'part', 'change', 'drift'}
    place : int or None
        Number of the beat or part; for a change the one beat at which all changes fall, if there is one.
    contrast : Estimate
        How much later these strums are than all others, ms; for a drift its slope, ms a minute.
    direction : {'late', 'early', 'falling behind', 'pulling ahead'}
    p : float
        Probability of a contrast as large by chance, after Holm's correction; for a drift, without correction.
    """

    kind: str
    place: int | None
    contrast: Estimate
    direction: str
    p: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Groups:
    """What `measure_groups` found; see `Timing` for the fields."""

    by: Mapping[str, tuple[Group, ...]]
    at_change: Estimate | None
    named: tuple[Finding, ...]
    jitter_within: Estimate | None
    explained_share: Estimate | str
    absent: dict[str, str]


def audible_s(interval_s: float) -> float:
    """Smallest displacement that is heard in a run of tones `interval_s` apart, s (Friberg & Sundberg 1995).

    Examples
    --------
    >>> audible_s(0.2), audible_s(0.6)
    (0.006, 0.015)
    """
    return max(AUDIBLE_FLOOR_S, AUDIBLE_SHARE * interval_s)


def measure_groups(
    offset_ms: Floats,
    minutes: Floats,
    *,
    slot: Whole,
    places: Mapping[str, Whole],
    at_change: NDArray[np.bool_],
    u_ms: Floats,
    slip_ms: float,
    shared_u_ms: float,
    contrasts: bool,
    audible_ms: float,
    enough: bool,
    drift: Estimate | None,
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
            absent={f"timing.by_{kind}": why for kind in by},
        )
    centred = minutes - minutes.mean()
    line = np.column_stack([np.ones(n), centred])
    parts = _indicators(places["part"])
    change = at_change[:, None].astype(float) if 0 < at_change.sum() < n else np.empty((n, 0))
    beats = _indicators(places["beat"])
    within_design = _independent(line, np.column_stack([parts, change]))
    full_design = _independent(within_design, beats)
    if n - full_design.shape[1] < MIN_STRUMS:
        full_design = within_design if n - within_design.shape[1] >= MIN_STRUMS else line
    full = fit_wander(offset_ms, slot, full_design)
    jitter_within, explained = _explained(offset_ms, line, within_design, slot, u_ms, slip_ms)
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

    questions = _questions(line, places, at_change)
    named = _name(questions, full, line, offset_ms, u_ms, by, audible_ms, contrasts=contrasts)
    at_change_ms = None
    if change.size:
        weights = _beside(change[:, 0], line)
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
        absent={},
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Question:
    """Are the marked strums later than the rest? Of two places only the first is asked for; `other` is the second."""

    kind: str
    place: int | None
    marked: Floats
    other: int | None = None


def _questions(line: Floats, places: Mapping[str, Whole], at_change: NDArray[np.bool_]) -> list[_Question]:
    """What may be asked of the take: the chord changes, and each beat and part against the others."""
    questions = []
    if MIN_IN_PLACE <= at_change.sum() <= at_change.size - MIN_IN_PLACE:
        beats = np.unique(places["beat"][at_change])
        place = int(beats[0]) if beats.size == 1 else None
        questions.append(_Question(kind="change", place=place, marked=at_change.astype(float)))
    for kind in ("beat", "part"):
        levels, counts = np.unique(places[kind], return_counts=True)
        if levels.size < 2:
            continue
        other = int(levels[1]) if levels.size == 2 else None
        for level, count in zip(levels[:1] if levels.size == 2 else levels, counts, strict=False):
            if MIN_IN_PLACE <= count <= at_change.size - MIN_IN_PLACE:
                marked = (places[kind] == level).astype(float)
                questions.append(_Question(kind=kind, place=int(level), marked=marked, other=other))
    return [question for question in questions if _beside(question.marked, line) is not None]


def _name(
    questions: list[_Question],
    wander: Wander,
    line: Floats,
    offset_ms: Floats,
    u_ms: Floats,
    by: Mapping[str, tuple[Group, ...]],
    audible_ms: float,
    *,
    contrasts: bool,
) -> list[Finding]:
    """Name the clearest place, take it out, and ask again: one late beat does not make the other three early.

    Each round's probabilities are multiplied by the number of questions still open, as Holm's correction does.
    """
    named: list[Finding] = []
    beside, open_, p_before = line, list(questions), 0.0
    while open_:
        asked = [(question, weights) for question in open_ if (weights := _beside(question.marked, beside)) is not None]
        if not asked:
            break
        combined = np.array([weights for _, weights in asked])
        values = combined @ offset_ms
        clear = np.abs(values) / wander.half_width(combined)
        clearest = int(np.argmax(clear))
        p_before = max(p_before, min(1.0, len(open_) * wander.p_value(combined[clearest], float(values[clearest]))))
        if p_before >= NAMED_BELOW_P:
            break
        alike = np.flatnonzero(clear >= AS_CLEAR * clear[clearest])
        # Where the click is known, the place further from it is what is wrong; else the later one.
        own = [values[i] if contrasts else abs(float(np.mean(offset_ms[asked[i][0].marked > 0]))) for i in alike]
        best = int(alike[int(np.argmax(own))])
        question, weights = asked[best]
        open_.remove(question)
        beside = np.column_stack([beside, question.marked])
        plain = _beside(question.marked, line)
        seen = 0.0 if plain is None else float(plain @ offset_ms)
        if abs(values[best]) <= audible_ms or abs(seen) <= audible_ms or seen * values[best] < 0:
            continue
        contrast = intervals.combination(float(values[best]), weights, wander, u_ms)
        place, late = question.place, contrast.value > 0
        if question.other is not None:
            place, late, contrast = _which_of_two(question, contrast, by[question.kind], contrasts=contrasts)
        direction = "late" if late else "early"
        named.append(Finding(kind=question.kind, place=place, contrast=contrast, direction=direction, p=p_before))
    return named


def _which_of_two(
    question: _Question, contrast: Estimate, groups: tuple[Group, ...], *, contrasts: bool
) -> tuple[int | None, bool, Estimate]:
    """Of two places that differ, the one further from the click; where that is not known, the later one."""
    first, second = (group.offset_ms for group in groups)
    take_first = contrast.value > 0
    if not contrasts and first is not None and second is not None:
        take_first = abs(first.value) > abs(second.value)
    if take_first:
        return question.place, contrast.value > 0, contrast
    turned = Estimate(value=-contrast.value, low=-contrast.high, high=-contrast.low, u=contrast.u)
    return question.other, turned.value > 0, turned


def _beside(indicator: Floats, others: Floats) -> Floats | None:
    """Weights of the difference between marked values and the rest, `others` held fixed; None where they hide it."""
    basis, _ = np.linalg.qr(others)
    left = indicator - basis @ (basis.T @ indicator)
    size = float(left @ left)
    if size < SEPARABLE * indicator.size * indicator.mean() * (1 - indicator.mean()):
        return None
    return np.asarray(left / size)


def _indicators(at: Whole) -> Floats:
    """One column a level but the first."""
    return np.asarray(at[:, None] == np.unique(at)[None, 1:], dtype=np.float64)


def _independent(design: Floats, more: Floats) -> Floats:
    """The design with those further columns that it does not already span."""
    kept = design
    for column in more.T:
        basis, _ = np.linalg.qr(kept)
        left = column - basis @ (basis.T @ column)
        if float(left @ left) > SEPARABLE * column.size * column.mean() * (1 - column.mean()):
            kept = np.column_stack([kept, column])
    return kept


def _explained(
    offset_ms: Floats, line: Floats, design: Floats, slot: Whole, u_ms: Floats, slip_ms: float
) -> tuple[Estimate | None, Estimate | str]:
    """Jitter with the design's means taken out, and the share of the variance about the line that they explain."""
    n, p = design.shape
    extra, dof = p - line.shape[1], n - p
    if extra == 0:
        return None, "the strums lie on one part of the beat and no chord changes are known: nothing to explain"
    if dof < MIN_STRUMS:
        return None, f"it needs {MIN_STRUMS} strums more than the {p} means taken out; the take has {n}"
    about_line, about_means = _residual(offset_ms, line), _residual(offset_ms, design)
    wander = fit_wander(offset_ms, slot, design)
    jitter = intervals.scatter(about_means, dof, wander, u_ms, slip=slip_ms)
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


def _residual(values: Floats, design: Floats) -> Floats:
    """Values minus what the design explains."""
    basis, _ = np.linalg.qr(design)
    return np.asarray(values - basis @ (basis.T @ values))


def _estimate(value: float, half: float, weights: Floats, u_ms: Floats, shared_u_ms: float) -> Estimate:
    """A group's mean with what all offsets share."""
    own = math.sqrt(float((weights * u_ms) @ (weights * u_ms)))
    return Estimate(value=value, low=value - half, high=value + half, u=own).widened(shared_u_ms)
