"""What the clocks of click and recorder do to a drift, and the tempo that a drift amounts to."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from strumclock.errors import Absent
from strumclock.timing.estimate import COVERAGE_FACTOR, Estimate
from strumclock.timing.placed import Anchoring

UNKNOWN_CLOCK_PPM = 100.0
"""What the clocks of a click and a recorder may differ by, when nothing compares them: ±100 ppm = ±6 ms a minute."""

MS_PER_MIN_PER_PPM = 0.06  # derived: a millionth of a minute
MS_PER_MIN = 60_000.0  # derived: a minute

TEMPO_MAP_SPREAD = 0.005
"""Beat lengths that differ by more than this share are a tempo map, which no single tempo describes."""

TEMPO_KNOWN = 0.5
"""A drift that may be as large as this share of the tempo leaves no tempo to tell."""

SAME_PPM = 1e-6  # a computer's


def with_clock(own: Estimate, *, anchoring: Anchoring) -> Estimate:
    """A slope in ms a minute with what is not known of the clocks.

    That is the rate's own uncertainty or, where nothing compares the clocks, ±100 ppm, whichever is more: a caller who
    put the unknown clocks into the rate's already does not pay twice.
    """
    u = MS_PER_MIN_PER_PPM * anchoring.rate_u_ppm
    reach = COVERAGE_FACTOR * u
    if not anchoring.clock_known:
        unknown = MS_PER_MIN_PER_PPM * UNKNOWN_CLOCK_PPM
        u = max(u, unknown / math.sqrt(3))
        # A rectangular distribution ends at its limits, before 1.96 standard uncertainties.
        reach = unknown if anchoring.rate_u_ppm <= UNKNOWN_CLOCK_PPM / math.sqrt(3) + SAME_PPM else COVERAGE_FACTOR * u
    half = math.hypot(own.high - own.value, reach)
    return Estimate(value=own.value, low=own.value - half, high=own.value + half, u=math.hypot(own.u, u))


def played_bpm(slope: Estimate, beat_s: ArrayLike) -> Estimate | Absent:
    """The drift line's tempo: who falls behind the grid by 60 ms a minute plays 0.1 % slower."""
    lengths = np.asarray(beat_s, dtype=float)
    if np.ptp(lengths) > TEMPO_MAP_SPREAD * lengths.mean():
        return Absent(code="tempo-changes", reason="the tempo changes within the take, so no single tempo describes it")
    if max(-slope.low, slope.high) > TEMPO_KNOWN * MS_PER_MIN:
        return Absent(code="scatter-too-large", reason="the strums scatter so much that their own tempo cannot be told")
    bpm = 60 / float(lengths.mean())

    def played(ms_per_min: float) -> float:
        return bpm / (1 + ms_per_min / MS_PER_MIN)

    value = played(slope.value)
    return Estimate(value=value, low=played(slope.high), high=played(slope.low), u=value * slope.u / MS_PER_MIN)
