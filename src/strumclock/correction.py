"""How errors travel: how much of each error the next strum corrects, and what is left of slow wander and of the hand.

The model is linear phase correction. The offset A from one slot to the next follows

    A(n + 1) = (1 − α) A(n) + T(n) + M(n + 1) − M(n)

where α is the share of an error that the next strum corrects, T scatters the player's inner clock (standard deviation
s_T) and M the hand (s_M). Its closed form: the variance is (s_T² + 2 α s_M²) / (1 − (1 − α)²), the autocorrelation at
lag 1 is (1 − α) less s_M² over the variance, and each further lag multiplies by (1 − α). α = 1 leaves nothing of an
error, α = 0 never corrects, above 1 each error is overcorrected to the other side.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from strumclock.arrays import Floats
from strumclock.errors import Absent, UsageError
from strumclock.timing import Estimate, intervals as timing_intervals
from strumclock.timing.design import independent, indicators, residual
from strumclock.timing.error_model import ErrorModel, fit_error_model
from strumclock.timing.placed import ERROR_SHARE

SHARE_GRID = (0.03, 0.07, 0.12, 0.18, 0.25, 0.33, *(round(0.42 + 0.1 * i, 2) for i in range(16)))
"""The shares corrected that are weighed, 0.03 to 1.92, closer where little is corrected and a step means most; the
model is stable between 0 and 2."""

MOTOR_SHARES = (0.0, 0.12, 0.25, 0.4, 0.55, 0.7, 0.85)
"""The hand's scatter that is weighed, as a share of the most that the model allows."""

LEFT_FREE = 3
"""Means of places are taken out where so many strums are left for each of them."""

MIN_CHANGES = 3
"""Fewer strums at changes, or beside them, have no mean that would not be mostly their own scatter."""

MIN_NEIGHBOURS, MIN_FOR_PARTS = 48, 192
"""Strums that follow another without a gap, from which the corrected share is told, and from which clock and hand are
told apart. A rule of the take's length alone, however wide the interval turns out: one that goes by the interval's own
width tells a take in eight, those by chance narrow, and these hold the truth half the time
(`tests/benchmarks/coverage_correction.py`)."""

PARTS = ("correction.clock_ms", "correction.hand_ms")
"""Where the two stand in the JSON."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What a take says about how errors are corrected.

    Attributes
    ----------
    n : int
        Strums that follow another without a gap.
    runs : int
        Unbroken runs of slots that they lie in.
    corrected_share : Estimate
        Share of an error that the next strum corrects; 1 = all, above 1 = overcorrected.
    clock_ms, hand_ms : Estimate or None
        Standard deviations of the inner clock, which wanders, and of the hand, whose scatter is gone by the next strum
        but one. None where the take cannot tell them apart.
    changes_known : bool
        Whether the mean of the strums at chord changes was taken out first. If not, late changes look like errors that
        the next strum makes up for at once.
    absent : mapping of str to Absent
        What cannot be known, by its place in the JSON.
    """

    n: int
    runs: int
    corrected_share: Estimate
    clock_ms: Estimate | None
    hand_ms: Estimate | None
    changes_known: bool = False
    absent: Mapping[str, Absent] = field(default_factory=dict)


def measure_correction(
    offset_ms: ArrayLike,
    slot: ArrayLike,
    *,
    u_ms: ArrayLike = 0.0,
    at_change: ArrayLike | None = None,
    place: ArrayLike | None = None,
    error_share: float = ERROR_SHARE,
) -> Correction | Absent:
    """Fit linear phase correction to the offsets of one take, about its drift line, within unbroken runs of slots.

    The means of chord changes, where they are known, and of each place of the bar are taken out together with the line:
    a chord or a beat that always comes late is no error that the hand's time made, and the strum after it is on time
    without any correcting.

    Parameters
    ----------
    offset_ms : (n,) array_like
        Offsets or deviations of the strums in slots, ms.
    slot : (n,) array_like of int
        Their slots, increasing.
    u_ms : (n,) array_like or float
        Measuring uncertainty of each strum, ms.
    at_change : (n,) array_like of bool, optional
        The first strum of each new chord; all False or left out where none is known.
    place : (n,) array_like of int, optional
        Place of the bar that each strum was meant for; left out, one place.
    error_share : float
        Share of its square that the errors of measuring really have (see `measure_timing`).

    Returns
    -------
    Correction, or Absent
        The reason, where the take cannot tell.

    Raises
    ------
    UsageError
        If the arrays disagree in length or the slots do not increase.

    Examples
    --------
    >>> rng = np.random.default_rng(5)
    >>> error, offsets = 0.0, []
    >>> for _ in range(300):
    ...     error = 0.6 * error + 10 * rng.standard_normal()
    ...     offsets.append(error)
    >>> f"{measure_correction(offsets, range(300)).corrected_share:.2f}"
    '0.36 (0.19 to 0.51)'
    """
    offset, slots = np.asarray(offset_ms, dtype=float), np.asarray(slot, dtype=np.int64)
    n = offset.size
    if slots.shape != offset.shape or offset.ndim != 1:
        raise UsageError(f"each strum needs an offset and a slot; got {offset.shape} and {slots.shape}")
    if np.any(np.diff(slots) <= 0):
        raise UsageError("the slots must increase: one strum a slot, in the order of time")
    u = np.broadcast_to(np.asarray(u_ms, dtype=float), (n,))
    change = np.broadcast_to(np.asarray(False if at_change is None else at_change, dtype=bool), (n,))
    follows = np.diff(slots) == 1
    if follows.sum() < MIN_NEIGHBOURS or np.ptp(offset) == 0:
        return Absent(
            code="too-few",
            reason=f"it needs {MIN_NEIGHBOURS} strums that follow another without a gap; the take has "
            f"{int(follows.sum())}",
        )
    kept = np.append(follows, False) | np.insert(follows, 0, False)
    places = np.broadcast_to(np.asarray(0 if place is None else place, dtype=np.int64), (n,))[kept]
    offset, slots, u, change = offset[kept], slots[kept], u[kept], change[kept]
    design = np.column_stack([np.ones(offset.size), slots - slots.mean()])
    changes_known = MIN_CHANGES <= int(change.sum()) <= offset.size - MIN_CHANGES
    if changes_known:
        design = np.column_stack([design, change])
    with_places = independent(design, indicators(places))
    if offset.size - with_places.shape[1] >= LEFT_FREE * with_places.shape[1]:
        design = with_places
    model = fit_error_model(
        offset,
        slots,
        design,
        phi_grid=tuple(1 - share for share in SHARE_GRID),
        motor_grid=MOTOR_SHARES,
        phase_only=True,
        slow_doubt=False,
        across_gaps=False,
    )
    low, middle, high = model.quantiles(1 - model.phi, (0.025, 0.5, 0.975))
    along = timing_intervals.correlation(residual(offset, design), slots, model, u)
    share = Estimate(value=middle, low=low, high=high, u=along.u if isinstance(along, Estimate) else 0.0)
    parts = _parts(model, u, error_share, n=int(follows.sum()))
    clock, hand = (None, None) if isinstance(parts, Absent) else parts
    return Correction(
        n=int(follows.sum()),
        runs=int((np.diff(slots) > 1).sum()) + 1,
        corrected_share=share,
        clock_ms=clock,
        hand_ms=hand,
        changes_known=changes_known,
        absent=dict.fromkeys(PARTS, parts) if isinstance(parts, Absent) else {},
    )


def phase_correction_variance(share: float, clock: float, hand: float) -> float:
    """Variance of the offsets under linear phase correction.

    Examples
    --------
    >>> round(phase_correction_variance(0.5, 15.0, 8.0), 3)
    385.333
    """
    return (clock**2 + 2 * share * hand**2) / (1 - (1 - share) ** 2)


def _parts(model: ErrorModel, u: Floats, error_share: float, *, n: int) -> tuple[Estimate, Estimate] | Absent:
    """Scatter of the inner clock and of the hand, less what measuring adds to each."""
    if n < MIN_FOR_PARTS:
        reason = f"it needs {MIN_FOR_PARTS} strums that follow another without a gap; the take has {n}"
        return Absent(code="too-few", reason=reason)
    share = 1 - model.phi
    # Of the variance: M's part is motor (1 + φ) / 2, and T's is what the closed form leaves.
    hand_part = model.motor * (1 + model.phi) / 2
    clock_part = np.maximum(1 - model.phi**2 - 2 * share * hand_part, 0.0)
    # Independent measuring errors u enter T with α² u² and M with (1 − α) u².
    added = error_share * float(u @ u) / u.size
    clock = _root(model, np.maximum(clock_part * model.sigma2 - share**2 * added, 0.0), added)
    hand = _root(model, np.maximum(hand_part * model.sigma2 - model.phi * added, 0.0), added)
    return clock, hand


def _root(model: ErrorModel, variance: Floats, added: float) -> Estimate:
    """A standard deviation from its variance under each pair, with the uncertainty of the whole scatter."""
    low, middle, high = (math.sqrt(x) for x in model.quantiles(variance, (0.025, 0.5, 0.975)))
    dof = model.dof / (1 + model.excess_high / 2)
    spread = [math.sqrt(dof / float(chdtri(dof, p))) for p in (0.025, 0.975)]
    # The two uncertainties are independent to first order, so their logarithms add in quadrature.
    down = math.hypot(_log_ratio(low, middle), math.log(spread[0]))
    up = math.hypot(_log_ratio(high, middle), math.log(spread[1]))
    return Estimate(
        value=middle,
        low=middle * math.exp(-down) if low > 0 else 0.0,
        high=middle * math.exp(up) if middle > 0 else high,
        u=added / (2 * middle) if middle > 0 else math.sqrt(added),
    )


def _log_ratio(end: float, middle: float) -> float:
    return abs(math.log(end / middle)) if end > 0 and middle > 0 else 0.0
