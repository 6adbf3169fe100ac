"""Two takes held against each other: one player on two days or with two picks, or two players to the same click.

Differences are B minus A. What two takes can show is that *these two takes* differ: a difference whose 95 % interval
excludes zero, the intervals of the two added in quadrature, since the takes' errors are independent (GUM 5.1.2). Takes
of one person differ from day to day; whether a difference is more than that only the practice record can say, which
knows how far the takes of this player lie apart (`take_to_take`).

What both takes share is counted once: they were made in one room, with one guitar. Takes at two tempi are compared by
what does not depend on the tempo: evenness as a share of the strum interval, placement, lateness at chord changes.
Strum by strum, the difference of two players at the same place of the same exercise is what research calls their
asynchrony (Rasch 1979 states its standard deviation).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from strumclock.errors import Absent
from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.pipeline.figures import COMPARED, RELATIVE_JITTER
from strumclock.pipeline.measurement import Measurement
from strumclock.showing import Shown
from strumclock.timing import Anchoring, Estimate, PlacedStrums, measure_timing
from strumclock.timing.estimate import COVERAGE_FACTOR, t_factor

NO_OFFSETS = Absent(
    code="no-click",
    reason="in at least one take no click was heard, so who leads cannot be known, only how evenly they agree",
)
SAME_TEMPO = 0.005  # tempi further apart than half a per cent are two exercises: a bar apart after 200 bars
LEAST_TAKES = 5  # fewer takes do not say how far a player's takes lie apart


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One figure of both takes and its difference.

    Attributes
    ----------
    figure : str
        The figure's name in the JSON, such as ``"jitter_ms"``.
    a, b : Estimate
    b_minus_a : Estimate
    shown : bool
        Whether the difference is larger than its uncertainty: its interval excludes zero.
    beyond_usual : bool or None
        Whether it is also more than takes of this player differ from each other; None where that is not known.
    """

    figure: str
    a: Estimate
    b: Estimate
    b_minus_a: Estimate
    shown: bool
    beyond_usual: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TakeToTake:
    """How far the takes of one player lie apart in one figure.

    Attributes
    ----------
    sd : float
        Standard deviation from take to take, in the figure's unit.
    n : int
        Takes that it was told from.
    """

    sd: float
    n: int

    @property
    def reach(self) -> float:
        """How far apart two takes lie in 19 of 20 pairs: Student's t of the takes' number times √2 sd."""
        return t_factor(self.n - 1) * math.sqrt(2) * self.sd


def take_to_take(values: Sequence[float]) -> TakeToTake | None:
    """How far takes lie apart, from the differences of each from the one before: a trend over weeks is no scatter.

    Parameters
    ----------
    values : sequence of float
        One figure of takes of the same exercise by the same player, oldest first.

    Returns
    -------
    TakeToTake or None
        None from fewer than `LEAST_TAKES`.

    Examples
    --------
    The mean square of successive differences is twice the variance (von Neumann 1941):

    >>> take_to_take([10.0, 12.0, 10.0, 12.0, 10.0]).sd
    1.4142135623730951
    """
    if len(values) < LEAST_TAKES:
        return None
    steps = np.diff(np.asarray(values, dtype=float))
    return TakeToTake(sd=math.sqrt(float(steps @ steps) / steps.size / 2), n=len(values))


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Comparison(Shown):
    """Two takes beside each other.

    Attributes
    ----------
    path_a, path_b : str or None
    bpm_a, bpm_b : float or None
    same_exercise : bool
        Whether tempo, meter and parts agree, so that strums can be held against each other place by place.
    same_tempo : bool
        Whether the tempi agree. If not, `differences` hold what does not depend on the tempo.
    differences : tuple of Difference
        Figures that both takes have.
    n_places : int
        Places that both players played.
    apart_ms : Estimate or None
        Mean of B minus A over these places; negative: B leads.
    spread_ms : Estimate or None
        Standard deviation of B minus A about its drift line, over these places.
    leads : str or None
        ``"A"`` or ``"B"``; None where the interval of `apart_ms` holds zero, or it cannot be known.
    absent : dict of str to Absent
        Why a field is empty.
    """

    path_a: str | None
    path_b: str | None
    bpm_a: float | None
    bpm_b: float | None
    same_exercise: bool
    same_tempo: bool = True
    differences: tuple[Difference, ...] = ()
    n_places: int = 0
    apart_ms: Estimate | None = None
    spread_ms: Estimate | None = None
    leads: str | None = None
    absent: dict[str, Absent] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """The fields as plain values for JSON."""
        numbers = {
            name: estimate.as_dict() if estimate is not None else None
            for name, estimate in (("apart_ms", self.apart_ms), ("spread_ms", self.spread_ms))
        }
        return {
            "schema": "strumclock.comparison/2",
            "a": {"path": self.path_a, "bpm": self.bpm_a},
            "b": {"path": self.path_b, "bpm": self.bpm_b},
            "same_exercise": self.same_exercise,
            "same_tempo": self.same_tempo,
            "differences": [
                {
                    "figure": d.figure,
                    "a": d.a.as_dict(),
                    "b": d.b.as_dict(),
                    "b_minus_a": d.b_minus_a.as_dict(),
                    "shown": d.shown,
                    "beyond_usual": d.beyond_usual,
                }
                for d in self.differences
            ],
            "n_places": self.n_places,
            **numbers,
            "leads": self.leads,
            "absent": {name: {"code": why.code, "reason": why.reason} for name, why in self.absent.items()},
        }


def compare(a: Measurement, b: Measurement, *, usual: Mapping[str, TakeToTake] | None = None) -> Comparison:
    """Hold two measured takes against each other.

    Parameters
    ----------
    a, b : Measurement
        Of one exercise; at two tempi what does not depend on the tempo is compared.
    usual : mapping of str to TakeToTake, optional
        How far takes of this player lie apart, by the figure's name, from the practice record. Left out, nothing is
        said beyond these two takes.

    Returns
    -------
    Comparison

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> found = sc.compare(example_take(), example_take())
    >>> [(row.figure, row.b_minus_a.value, row.shown) for row in found.differences][0]
    ('mean_offset_ms', 0.0, False)
    """
    played = (_tempo(a), _tempo(b))
    head: dict[str, Any] = {"path_a": a.take.path, "path_b": b.take.path, "bpm_a": played[0], "bpm_b": played[1]}
    reason = _not_the_same(a, b, played)
    if reason is not None:
        nothing = dict.fromkeys(("differences", "apart_ms", "spread_ms"), reason)
        return Comparison(**head, same_exercise=False, absent=nothing)
    same_tempo = abs(played[1] / played[0] - 1) <= SAME_TEMPO  # type: ignore[operator]  # both are known here
    named = [figure.name for figure in COMPARED] if same_tempo else [RELATIVE_JITTER, "mean_offset_ms"]
    found = (_difference(name, a, b, usual or {}) for name in (*named, "at_change"))
    differences = tuple(difference for difference in found if difference is not None)
    if not same_tempo:
        why = Absent(
            code="other-tempo",
            reason=f"the takes have two tempi, {played[0]:.4g} and {played[1]:.4g} bpm, so only what does not depend "
            "on the tempo is compared, and not place by place",
        )
        absent = {"apart_ms": why, "spread_ms": why}
        return Comparison(**head, same_exercise=False, same_tempo=False, differences=differences, absent=absent)
    apart, spread, n, absent = _place_by_place(a, b)
    leads = None
    if apart is not None and apart.excludes(0.0):
        leads = "B" if apart.value < 0 else "A"
    return Comparison(
        **head,
        same_exercise=True,
        differences=differences,
        n_places=n,
        apart_ms=apart,
        spread_ms=spread,
        leads=leads,
        absent=absent,
    )


def _tempo(m: Measurement) -> float | None:
    if m.grid is not None and m.grid.bpm_heard is not None:
        return m.grid.bpm_heard.value
    return m.exercise.bpm


def _not_the_same(a: Measurement, b: Measurement, played: tuple[float | None, float | None]) -> Absent | None:
    """Why the two takes cannot be held against each other; None where they can."""
    if a.timing is None or b.timing is None:
        return Absent(code="no-grid", reason="both takes must be measured against a grid")
    if played[0] is None or played[1] is None:
        return Absent(code="no-tempo", reason="the tempo of at least one take is not known")
    for field_name in ("meter", "per_beat"):
        left, right = getattr(a.exercise, field_name), getattr(b.exercise, field_name)
        if left != right:
            reason = f"the takes differ in the {fields_of(Exercise)[field_name].word}: {left} and {right}"
            return Absent(code="two-exercises", reason=reason)
    return None


def _difference(figure: str, a: Measurement, b: Measurement, usual: Mapping[str, TakeToTake]) -> Difference | None:
    """B minus A of one figure; None where a take lacks it."""
    left, right = (_figure(figure, m) for m in (a, b))
    if left is None or right is None:
        return None
    value = right.value - left.value
    shared = max(_shared_u(a), _shared_u(b)) if figure == "mean_offset_ms" else 0.0
    ends = (right.value - right.low, left.high - left.value, right.high - right.value, left.value - left.low)
    down1, down2, up1, up2 = (_without(end, COVERAGE_FACTOR * shared) for end in ends)
    u = math.hypot(_without(left.u, shared), _without(right.u, shared))
    down, up = math.hypot(down1, down2), math.hypot(up1, up2)
    between = Estimate(value=value, low=value - down, high=value + up, u=u).widened(shared)
    known = usual.get(figure)
    return Difference(
        figure=figure,
        a=left,
        b=right,
        b_minus_a=between,
        shown=between.excludes(0.0),
        beyond_usual=None if known is None else between.excludes(0.0) and abs(value) > known.reach,
    )


def _figure(name: str, m: Measurement) -> Estimate | None:
    """A figure of the take; evenness as a share of the strum interval, per cent, is made here."""
    assert m.timing is not None
    if name != RELATIVE_JITTER:
        found: Estimate | None = getattr(m.timing, name)
        return found
    jitter, bpm = m.timing.jitter_ms, _tempo(m)
    if jitter is None or bpm is None:
        return None
    percent = 100 * bpm * (m.exercise.per_beat or 1) / 60_000
    value, low, high = (percent * x for x in (jitter.value, jitter.low, jitter.high))
    return Estimate(value=value, low=low, high=high, u=percent * jitter.u)


def _without(whole: float, part: float) -> float:
    """What is left of a root of summed squares when one of them is taken out."""
    return math.sqrt(max(whole**2 - part**2, 0.0))


def _place_by_place(a: Measurement, b: Measurement) -> tuple[Estimate | None, Estimate | None, int, dict[str, Absent]]:
    """Mean and scatter of B minus A over the places that both played."""
    offsets = all(m.timing is not None and m.timing.offset_ms is not None for m in (a, b))
    placed = [{(s.bar, s.beat, s.part): s for s in m.strums if s.slot is not None} for m in (a, b)]
    keys = sorted(set(placed[0]) & set(placed[1]), key=lambda k: placed[0][k].time_s)
    absent: dict[str, Absent] = {}
    if not offsets:
        absent["apart_ms"] = NO_OFFSETS
    if len(keys) < 2:
        why = Absent(code="too-few", reason="the two takes have no two places in common")
        return None, None, len(keys), {"apart_ms": why, "spread_ms": why}
    ours, theirs = [placed[0][k] for k in keys], [placed[1][k] for k in keys]

    def errors(strums: list[Any]) -> np.ndarray[Any, np.dtype[np.float64]]:
        return np.array([s.offset_ms if offsets else s.deviation_ms for s in strums])

    apart_ms = errors(theirs) - errors(ours)
    line_s = np.array([s.time_s for s in ours]) - errors(ours) / 1000
    bar, beat, part = np.array(keys).T
    common = PlacedStrums.of(
        line_s + apart_ms / 1000,
        line_s,
        slot=np.array([s.slot for s in ours]),
        bar=bar,
        beat=beat,
        part=part,
        u_s=np.hypot([s.u_ms for s in ours], [s.u_ms for s in theirs]) / 1000,
    )
    timing = measure_timing(common, anchoring=Anchoring(anchor="given"))
    shared_u_ms = max(_shared_u(a), _shared_u(b))  # of one room, counted once
    apart = timing.mean_offset_ms.widened(shared_u_ms) if offsets and timing.mean_offset_ms is not None else None
    if apart is None and "apart_ms" not in absent:
        absent["apart_ms"] = timing.absent["timing.mean_offset_ms"]
    if timing.jitter_ms is None:
        why = timing.absent["timing.jitter_ms"]
        absent["spread_ms"] = replace(why, reason=f"how far the two scatter against each other: {why.reason}")
    return apart, timing.jitter_ms, len(keys), absent


def _shared_u(m: Measurement) -> float:
    """The part of a mean offset's uncertainty [ms] that all strums of the take share: anchor, sound path."""
    assert m.timing is not None
    mean = m.timing.mean_offset_ms
    if mean is None:
        return 0.0
    own = math.sqrt(sum(s.u_ms**2 for s in m.strums if s.slot is not None)) / max(m.timing.n, 1)
    return _without(mean.u, own)
