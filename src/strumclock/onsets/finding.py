"""From samples to `Strums`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from strumclock.onsets.attack import refine
from strumclock.onsets.detection import find_candidates
from strumclock.onsets.signals import decimated
from strumclock.onsets.strums import Ignored, Strums

if TYPE_CHECKING:
    from strumclock.click import Clicks, Removal


def find_strums(
    samples: npt.ArrayLike,
    sample_rate_hz: float,
    *,
    start_s: float = 0.0,
    clicks: Clicks | None = None,
    removal: Removal | None = None,
) -> Strums:
    """Find the strums in one channel: one time for each, the release of its first string."""
    x, rate = decimated(removal.samples if removal is not None else samples, sample_rate_hz)
    found = find_candidates(x, rate)
    keep = found.kept_db > -3.0
    time_s, u_s = refine(x, rate, found.time_s[keep])
    order = np.argsort(time_s)
    ignored = tuple(
        Ignored(time_s=float(t) + start_s, reason="the level did not rise after it") for t in found.time_s[~keep]
    )
    return Strums(
        time_s=time_s[order] + start_s, u_s=u_s[order], strength_db=found.rise_db[keep][order], ignored=ignored
    )
