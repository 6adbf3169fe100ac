"""What stands in the way, week by week: does the cause get better, also where the tempo stays the same?

Of every take that was measured the size of each possible cause is known, whether it was large enough to be named in
that take or not: scatter, late chord changes (all, and each pair), drift, a beat or part that lies apart, strums left
out. Over weeks a size may shrink (that is progress, at one tempo too), grow, or stay: eight weeks of the same lateness
is a finding. One good take is none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from strumclock.weeks.curves import Curve, weigh
from strumclock.weeks.week import JITTER_SD, Point, Span, audible_ms, by_week, luck

LOOK_BACK_WEEKS = 26
MIN_WEEKS, SAME_WEEKS = 6, 8
"""Weeks with takes before a change is told, and before it is told that there is none."""

SURE = 0.75
"""Probability from which a size is called smaller or larger. Calibrated with ``tests/benchmarks/causes_over_weeks.py``:
at most one in twenty that do not change is called so, with luck that lasts from week to week (AR(1)) up to .8."""

CHANGING = 0.4
"""How likely a size changes over half a year, before anything is seen; half of it along a line, half of it early on."""

EARLY_RATE = 0.25
"""A week: what is learned early is learned at about this rate (the middle of `goal.RATES` and faster)."""

RATIO_SD, SHARE_SD = 0.5, 0.6
"""How much it changes then: scatter by a factor of about exp 0.5, the others by about this share of their size."""

TAKE_SD = {"ms": 10.0, "ms/min": 40.0, "share": 0.03}
"""Luck of one take, before a player's own takes tell: lateness at one place, drift over half a minute, and strums left
out of some 48 (common practice, no source)."""

SMALLEST_MS = 0.1  # by hand: below what is measured, so that a logarithm is defined

FEW_OMITTED = 0.05
"""Strums left out are a cause from half of what the standard lets pass."""

_Z = 1.959964  # derived: the normal quantile of .975


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """One thing that may stand in the way, over weeks.

    Attributes
    ----------
    kind : str
        ``"scatter"``, ``"changes"``, ``"pair"``, ``"drift"``, ``"beat"``, ``"part"`` or ``"omitted"``.
    where : str
        The pair as ``"A>D"``, the number of the beat or part; else empty.
    unit : str
        ``"ms"``, ``"ms/min"`` or ``"share"`` (of the slots).
    weeks : tuple of (date, float)
        Mondays and the mean size of the week's takes; positive = late, falling behind.
    first, now : Span
        The size in the first of these weeks and in the last, as all of them together tell, with 95 % intervals.
    state : str
        ``"smaller"``, ``"larger"``, ``"same"`` (eight weeks or more, and nothing says that it changes) or ``"early"``.
    stands : bool
        Whether it is sure to be there now, and large enough to be heard.
    """

    kind: str
    where: str
    unit: str
    weeks: tuple[tuple[date, float], ...]
    first: Span
    now: Span
    state: str
    stands: bool


def causes(points: Sequence[Point]) -> tuple[Cause, ...]:
    """Every cause that stands or has changed, the largest in its unit first: those in ms before the others.

    Parameters
    ----------
    points : sequence of Point
        Takes that count.
    """
    names = {name for point in points for name in point.sizes}
    found = [cause for name in sorted(names) if (cause := _cause(name, points)) is not None]
    told = [cause for cause in found if cause.stands or cause.state in ("smaller", "larger")]
    order = list(TAKE_SD)
    return tuple(sorted(told, key=lambda c: (order.index(c.unit), -abs(c.now.value))))


def _cause(name: str, points: Sequence[Point]) -> Cause | None:
    kind, _, where = name.partition(".")
    unit = {"drift": "ms/min", "omitted": "share"}.get(kind, "ms")
    logarithm = kind == "scatter"
    weeks = [
        (monday, np.log(np.maximum(sizes, SMALLEST_MS)) if logarithm else np.array(sizes))
        for monday, group in by_week(points).items()
        if (sizes := [p.sizes[name] for p in group if name in p.sizes])
    ][-LOOK_BACK_WEEKS:]
    if len(weeks) < 2:
        return None
    y = np.array([sizes.mean() for _, sizes in weeks])
    x = np.array([(monday - weeks[0][0]).days / 7 for monday, _ in weeks])
    middle = float(np.median(y))
    sd = RATIO_SD if logarithm else max(SHARE_SD * abs(middle), 2 * TAKE_SD[unit])
    of_takes = luck((sizes.tolist() for _, sizes in weeks), JITTER_SD if logarithm else TAKE_SD[unit])
    early = 1 - np.exp(-EARLY_RATE * x)
    curves = [Curve(name="change", seen=seen / seen[-1], prior=CHANGING / 2, sd=sd) for seen in (x, early)]
    weighed = weigh(x, y, curves, n=[sizes.size for _, sizes in weeks], take_sd=of_takes.sd)
    first, now = (_span(weighed.at(np.full(1 + len(curves), end))) for end in (0.0, 1.0))
    if logarithm:
        first, now = (Span(**{k: math.exp(getattr(s, k)) for k in ("value", "low", "high")}) for s in (first, now))
    sign = 1 if now.value + first.value >= 0 else -1
    state = "early"
    if len(weeks) >= MIN_WEEKS:
        up, down = (weighed.chance("change", sign * way) for way in (1, -1))
        state = "larger" if up >= SURE else "smaller" if down >= SURE else state
        if state == "early" and len(weeks) >= SAME_WEEKS:
            state = "same"
    return Cause(
        kind=kind,
        where=where,
        unit=unit,
        weeks=tuple(
            (monday, math.exp(mean) if logarithm else mean) for (monday, _), mean in zip(weeks, y.tolist(), strict=True)
        ),
        first=first,
        now=now,
        state=state,
        stands=_stands(kind, now, points[-1]),
    )


def _span(mixture: tuple[np.ndarray, np.ndarray, np.ndarray]) -> Span:
    p, mean, sd = mixture
    value = float(p @ mean)
    spread = math.sqrt(float(p @ (sd**2 + (mean - value) ** 2)))
    return Span(value=value, low=value - _Z * spread, high=value + _Z * spread)


def _stands(kind: str, now: Span, last: Point) -> bool:
    """Whether a cause is there: surely, and large enough to be heard. (Some scatter always is.)"""
    surely = now.low > 0 or now.high < 0
    if kind == "scatter":
        return False
    if kind == "omitted":
        return surely and now.value > FEW_OMITTED
    return surely and abs(now.value) > audible_ms(last.bpm)


def sizes_of(
    jitter_ms: float | None, findings: Mapping[str, float], slots: int | None, played: int | None
) -> dict[str, float]:
    """The sizes of a take's possible causes by name: ``"scatter"``, ``"changes"``, ``"pair.A>D"``, ``"omitted"`` …

    Parameters
    ----------
    jitter_ms : float or None
        Standard deviation of the strums without what findings explain, ms.
    findings : mapping of str to float
        What the take was asked about: ``"changes"`` and, apart from it, ``"pair.A>D"``, against the other changes.
    slots, played : int or None
        Places of the grid, and how many have a strum.

    Examples
    --------
    Two pairs that differ by 20 ms, 10 above and below what all changes have:

    >>> sizes_of(12.0, {"changes": 80.0, "pair.A>D": 20.0, "pair.D>A": -20.0, "step.9": 2.0}, 32, 30)
    {'scatter': 12.0, 'changes': 80.0, 'pair.A>D': 90.0, 'pair.D>A': 70.0, 'omitted': 0.0625}
    """
    sizes = {} if jitter_ms is None else {"scatter": jitter_ms}
    pairs = [name for name in findings if name.startswith("pair.")]
    for name, value in findings.items():
        kind = name.partition(".")[0]
        if kind in ("changes", "drift", "beat", "part"):
            sizes[name] = value
        elif kind == "pair" and "changes" in findings:
            sizes[name] = findings["changes"] + value * (len(pairs) - 1) / len(pairs)
    if slots and played is not None:
        sizes["omitted"] = 1 - played / slots
    return sizes
