"""Was the phone moved?  A mean offset that steps from one level to another, and stays there, between two weeks.

A player's placement wanders, and a week's luck lasts into the next: a step must stand out from both. Steps in every
week are weighed against a straight line and no change (`strumclock.weeks.curves`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from strumclock.weeks.curves import Curve, weigh
from strumclock.weeks.week import audible_ms

LOOK_BACK_WEEKS = 26
MIN_WEEKS, MIN_EACH_SIDE = 6, 2
STEP_LIKELY, LINE_LIKELY = 0.1, 0.3
"""Before anything is seen: that a device was moved within half a year, and that the player's own placement moves."""
SURE = 0.8
"""Calibrated with ``tests/benchmarks/phone_moved.py``: 2 % false at most, with luck that lasts (AR(1)) up to .8."""
STEP_SD_MS = 40.0
"""Size of a step: some metres of sound path (2.9 ms each), or another device's latency (10 to 100 ms)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """The mean offset stepped: often a phone or speaker in another place.

    Attributes
    ----------
    in_week : date
        Monday of the first week after the step.
    by_ms : float
        Positive = later than before.
    p : float
        Probability of the step.
    """

    in_week: date
    by_ms: float
    p: float


def moved(weeks: Sequence[tuple[date, float, int]], *, take_sd_ms: float, bpm: float | None) -> Moved | None:
    """The step in weekly mean offsets; None where none is sure.

    Parameters
    ----------
    weeks : sequence of (Monday, mean offset in ms, takes)
    take_sd_ms : float
        Luck of one take.
    bpm : float or None
        Tempo: a step must be large enough to be heard.
    """
    latest = list(weeks)[-LOOK_BACK_WEEKS:]
    if len(latest) < MIN_WEEKS:
        return None
    x = np.array([(monday - latest[0][0]).days / 7 for monday, _, _ in latest])
    places = range(MIN_EACH_SIDE, len(latest) - MIN_EACH_SIDE + 1)
    steps = [
        Curve(
            name="step",
            seen=(np.arange(len(latest)) >= k).astype(float),
            prior=STEP_LIKELY / len(places),
            sd=STEP_SD_MS,
        )
        for k in places
    ]
    line = Curve(name="line", seen=x / x[-1], prior=LINE_LIKELY, sd=STEP_SD_MS)
    found = weigh(x, [v for _, v, _ in latest], [*steps, line], n=[n for _, _, n in latest], take_sd=take_sd_ms)
    p = found.chance("step")
    each = found.probability[:, 1 : 1 + len(steps)]
    likeliest = int(np.argmax(each.sum(axis=0)))
    by = float(np.average(found.amount[:, 1 + likeliest], weights=each[:, likeliest]))
    if p < SURE or abs(by) < audible_ms(bpm):
        return None
    return Moved(in_week=latest[places[likeliest]][0], by_ms=by, p=p)
