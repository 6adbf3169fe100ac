"""What stands in the way of a take: each obstacle with its size, its place, and what the take would be without it.

The effects that are shown (a late place, late chord changes, a drift, a step, a lean) are fitted to the offsets
together, by least squares. One obstacle taken out is its fitted effect subtracted; what is left is judged again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from strumclock.arrays import Floats
from strumclock.timing import Estimate
from strumclock.timing.estimate import COVERAGE_FACTOR
from strumclock.verdict.holding import Contrast, Held, evenness_ms, judge_take
from strumclock.verdict.played import Played, bars_of
from strumclock.verdict.standard import Standard

WORST_PLACES = 3
"""Places of an obstacle that are named: as many as somebody will listen to."""

FEW_SHARE = 0.5
"""Strums left out or added are no obstacle before there are two and they come to this share of what the standard lets
pass, unless the take fails by them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Where an obstacle lies. What does not apply, or is everywhere, is None or empty.

    Attributes
    ----------
    bars : tuple of int
        The bars in which it is worst, at most three, in the order of the take.
    beat, part : int or None
        Of the bar and of the beat, from 1.
    from_chord, to_chord : str or None
    times_s : tuple of float
        Where to listen, s in the file, in the order of the take.
    """

    bars: tuple[int, ...] = ()
    beat: int | None = None
    part: int | None = None
    from_chord: str | None = None
    to_chord: str | None = None
    times_s: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Obstacle:
    """One thing that stands in the way.

    Attributes
    ----------
    kind : str
        ``"stopped"``, ``"own-tempo"``, ``"omitted"``, ``"added"``, ``"changes"``, ``"drift"``, ``"step"``,
        ``"placement"``, ``"place"`` (a beat or part of the beat) or ``"scatter"``.
    size : Estimate
        In `unit`; positive = late or falling behind. Beside what else is shown: a drift beside late changes may be
        another than the take's drift figure, which is about the line alone.
    unit : str
        ``"ms"``, ``"ms/min"``, ``"bpm"``, or ``"share"`` of the slots.
    where : Where
    ratio : float or None
        Its size against what the standard lets pass; None for what it never lets pass.
    share : float or None
        Share of the mean squared distance from the grid that would go without it; None where it moves no strum.
    held_without : bool or None
        Whether the take would hold if just this were taken out; None where the take cannot be judged.
    n : int
        Strums that it rests on: at the place, left out, added; all of them for a drift or a scatter.
    compared_with : str
        What its size is measured against: ``"click"``, ``"other strums"``, ``"neighbours"``, ``"other changes"`` or
        ``"strums before"``; empty where that is no question.
    """

    kind: str
    size: Estimate
    unit: str
    where: Where
    ratio: float | None
    share: float | None
    held_without: bool | None
    n: int
    compared_with: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Effect:
    """Something shown of a take, and how it moves the strums.

    Attributes
    ----------
    kind : str
        As `Obstacle.kind`.
    size : Estimate
        As stated by the timing: ms, or ms a minute for a drift.
    columns : (n, k) array
        How it moves the strums: what the fit may take out. One column; for chord changes one more for each pair of
        chords that differs from the others.
    where : Where
        Without bars and times, which the fit tells.
    compared_with : str
        As `Obstacle.compared_with`.
    """

    kind: str
    size: Estimate
    columns: Floats
    where: Where = field(default_factory=Where)
    compared_with: str = ""


def find_obstacles(
    played: Played, standard: Standard, effects: Sequence[Effect], jitter_ms: Estimate | None
) -> tuple[Held, tuple[Obstacle, ...]]:
    """Judge a take, and find what stands in its way, largest first.

    Parameters
    ----------
    played : Played
    standard : Standard
    effects : sequence of Effect
        What is shown of the take beyond chance and can be heard.
    jitter_ms : Estimate or None
        Scatter without what places and changes explain.

    Returns
    -------
    Held
        The take's judgement.
    tuple of Obstacle
    """
    held = _judged(played, standard, effects)
    found = [*_stretches(played), *_missing(played, standard, held)]
    fits = _fitted(played, effects)
    around = played.offset_ms if not played.fitted else played.deviation_ms
    whole = float(np.mean(around**2)) if played.n else 0.0
    tolerance_ms = 1e3 * standard.tolerance_s(played.part_s)
    for effect, fit in zip(effects, fits, strict=True):
        size = _lean(effect.size, float(fit[0])) if effect.kind == "placement" else effect.size
        ratio = _ratio(effect.kind, size, played, standard, tolerance_ms)
        if effect.kind == "placement" and ratio <= 1:
            continue  # late and early can be meant: it stands in nobody's way before the standard asks
        moved = fit if effect.kind == "placement" or played.fitted is False else fit - fit.mean()
        others = [other for other in effects if other is not effect]
        without = _judged(replace(played, offset_ms=played.offset_ms - fit), standard, others)
        found.append(
            Obstacle(
                kind=effect.kind,
                size=size,
                unit="ms/min" if effect.kind == "drift" else "ms",
                where=_worst(effect, fit, played),
                ratio=ratio,
                share=_share_gone(around, moved, whole),
                held_without=without.held,
                n=int(np.count_nonzero(effect.columns.any(axis=1))),
                compared_with=effect.compared_with,
            )
        )
    scatter = _scatter(played, standard, fits, jitter_ms, tolerance_ms, whole, held, alone=not found)
    found += [scatter] if scatter is not None else []
    return held, tuple(sorted(found, key=lambda obstacle: -math.inf if obstacle.ratio is None else -obstacle.ratio))


def _judged(played: Played, standard: Standard, effects: Sequence[Effect]) -> Held:
    """The take by the standard, with these effects shown in it."""
    drift = next((effect.size.value for effect in effects if effect.kind == "drift"), 0.0)
    contrasts = [
        Contrast(code=effect.kind, at_least_ms=_nearer(effect.size))
        for effect in effects
        if effect.kind in ("place", "changes")
    ]
    return judge_take(played, standard, drift_ms_per_min=drift, contrasts=contrasts)


def _nearer(size: Estimate) -> float:
    """The end of an interval that is nearer to zero, without its sign; 0 for one that holds zero."""
    return 0.0 if not size.excludes(0.0) else min(abs(size.low), abs(size.high))


def _fitted(played: Played, effects: Sequence[Effect]) -> list[Floats]:
    """What each effect does to each strum, ms, by a least-squares fit of all of them together.

    Of a placement the fit is what is left of the mean when the others are taken out: the mean offset of a take whose
    lateness sits at one place is not late on average.
    """
    if not played.n:
        return [np.zeros(0) for _ in effects]
    ones = np.ones((played.n, 1))
    columns = [ones if effect.kind == "placement" else effect.columns for effect in effects]
    moving = [column for effect, column in zip(effects, columns, strict=True) if effect.kind != "placement"]
    weights, *_ = np.linalg.lstsq(np.hstack([ones, *moving]), played.offset_ms, rcond=None)
    fits, used = [], 1
    for effect, column in zip(effects, columns, strict=True):
        if effect.kind == "placement":
            fits.append(weights[0] * ones[:, 0])
        else:
            fits.append(column @ weights[used : used + column.shape[1]])
            used += column.shape[1]
    return fits


def _lean(mean: Estimate, value: float) -> Estimate:
    """The mean offset with the other effects taken out: the same interval about another value."""
    shift = value - mean.value
    return Estimate(value=value, low=mean.low + shift, high=mean.high + shift, u=mean.u)


def _ratio(kind: str, size: Estimate, played: Played, standard: Standard, tolerance_ms: float) -> float:
    """An effect's size against what the standard lets pass; 0 for a placement that it does not ask for."""
    if kind == "placement":
        return abs(size.value) / (1e3 * standard.mean_offset_max_s) if standard.mean_offset_max_s else 0.0
    over = max(1.0, played.duration_s / 60) if kind == "drift" else 1.0
    return abs(size.value) * over / tolerance_ms


def _share_gone(around: Floats, fit: Floats, whole: float) -> float:
    """Share of the mean squared distance from the grid that goes when a fitted effect is subtracted."""
    return max(0.0, 1 - float(np.mean((around - fit) ** 2)) / whole) if whole > 0 else 0.0


def _worst(effect: Effect, fit: Floats, played: Played) -> Where:
    """The bars in which an effect is worst: where strums lie furthest to its side."""
    if effect.kind == "placement":
        return effect.where
    if effect.kind in ("drift", "step"):
        at = int(np.argmax(np.abs(np.diff(fit)))) + 1 if effect.kind == "step" and played.n > 1 else played.n - 1
        return replace(effect.where, bars=(int(played.bar[at]),), times_s=(float(played.line_s[at]),))
    moved = np.flatnonzero(effect.columns.any(axis=1))
    late = np.sign(effect.size.value) * played.deviation_ms[moved]
    order = moved[np.argsort(-late, kind="stable")][:WORST_PLACES]
    return replace(effect.where, bars=bars_of(played.bar[order]), times_s=_times(played.line_s[order]))


def _times(times_s: Floats) -> tuple[float, ...]:
    return tuple(float(t) for t in np.sort(times_s))


def _stretches(played: Played) -> list[Obstacle]:
    """Where the player stopped or kept a tempo of their own."""
    found = []
    for kind, stretches in (("stopped", played.stopped), ("own-tempo", played.own_tempo)):
        if not stretches:
            continue
        longest = max(stretches, key=lambda stretch: stretch.end_s - stretch.start_s)
        size = longest.bpm if longest.bpm is not None else longest.end_s - longest.start_s
        throughout = kind == "own-tempo" and played.never_with_click
        found.append(
            Obstacle(
                kind=kind,
                size=Estimate(value=size, low=size, high=size, u=0.0),
                unit="s" if longest.bpm is None else "bpm",
                where=Where(times_s=() if throughout else tuple(stretch.start_s for stretch in stretches)),
                ratio=None,
                share=None,
                held_without=None,
                n=sum(stretch.slots for stretch in stretches),
            )
        )
    return found


def _missing(played: Played, standard: Standard, held: Held) -> list[Obstacle]:
    """Strums left out and strums added, where there are so many that it matters."""
    found, n = [], played.n_slots
    if played.never_with_click:
        return []  # what was missed of places that were never aimed at says nothing
    failed = {criterion.code for criterion in held.failed}
    for kind, places, allowed in (
        ("omitted", played.omitted, 1 - standard.played_share),
        ("added", played.added, standard.added_share),
    ):
        share = len(places) / n if n else 0.0
        if kind not in failed and (len(places) < 2 or share <= FEW_SHARE * allowed):
            continue
        without = replace(played, omitted=()) if kind == "omitted" else replace(played, added=())
        found.append(
            Obstacle(
                kind=kind,
                size=_wilson(len(places), n),
                unit="share",
                where=_commonest(places),
                ratio=share / allowed if allowed > 0 else None,
                share=None,
                held_without=None if held.held is None else judge_take(without, standard).held,
                n=len(places),
            )
        )
    return found


def _wilson(k: int, n: int) -> Estimate:
    """A share with Wilson's 95 % interval (Wilson 1927); strums added may be more than the slots."""
    if k > n:
        return Estimate(value=k / n, low=k / n, high=k / n, u=0.0)
    share, z2 = k / n, COVERAGE_FACTOR**2
    middle = (share + z2 / (2 * n)) / (1 + z2 / n)
    half = COVERAGE_FACTOR / (1 + z2 / n) * math.sqrt(share * (1 - share) / n + z2 / (4 * n**2))
    return Estimate(value=share, low=max(0.0, min(share, middle - half)), high=max(share, middle + half), u=0.0)


def _commonest(places: Sequence[tuple[int, int, int]]) -> Where:
    """The beat and part at which half or more of the places lie, and the bars with the most of them."""
    spots = [place[1:] for place in places]
    beat, part = max(sorted(set(spots)), key=spots.count)
    bars = [place[0] for place in places]
    worst = sorted(set(bars), key=lambda bar: (-bars.count(bar), bar))[:WORST_PLACES]
    at_one = 2 * spots.count((beat, part)) >= len(spots)
    return Where(bars=bars_of(worst), beat=beat if at_one else None, part=part if at_one else None)


def _scatter(
    played: Played,
    standard: Standard,
    fits: Sequence[Floats],
    jitter_ms: Estimate | None,
    tolerance_ms: float,
    whole: float,
    held: Held,
    *,
    alone: bool,
) -> Obstacle | None:
    """What is left uneven when all that is shown is taken out, where it alone fails the standard."""
    if not played.n or jitter_ms is None:
        return None
    rest = played.offset_ms - (np.sum(fits, axis=0) if len(fits) else 0.0)
    rest = rest - rest.mean()
    ratio = evenness_ms(rest, standard.even_share) / tolerance_ms
    uneven = any(criterion.code == "uneven" for criterion in held.failed)
    if ratio <= 1 and not (alone and uneven):
        return None
    smooth = replace(played, offset_ms=played.offset_ms - rest)
    bars = np.unique(played.bar)
    spread = [float(np.mean(rest[played.bar == bar] ** 2)) for bar in bars]
    worst = bars[np.argsort(-np.array(spread), kind="stable")[:WORST_PLACES]]
    at = _times(np.array([played.line_s[played.bar == bar][0] for bar in worst]))
    around = played.offset_ms if not played.fitted else played.deviation_ms
    without = None if held.held is None else judge_take(smooth, standard).held
    return Obstacle(
        kind="scatter", size=jitter_ms, unit="ms", where=Where(bars=bars_of(worst), times_s=at), ratio=ratio,
        share=_share_gone(around, rest, whole), held_without=without, n=played.n,
    )  # fmt: skip
