"""How evenly each part of the beat is played: the scatter of its own strums about the drift line and their own mean."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from strumclock.arrays import Floats
from strumclock.errors import Absent
from strumclock.timing import intervals
from strumclock.timing.design import indicators
from strumclock.timing.error_model import MIN_STRUMS, fit_error_model
from strumclock.timing.estimate import Estimate
from strumclock.timing.placed import PlacedStrums, StrumErrors
from strumclock.timing.values import Group, PartGroup

LEAST_IN_PART = MIN_STRUMS + 2
"""Strums of a part below which its scatter has no interval worth printing, its mean and the drift line taken out."""


def jitter_by_part(strums: PlacedStrums, offset_ms: Floats, errors: StrumErrors) -> dict[int, Estimate | Absent]:
    """Standard deviation of the strums of each part of the beat, about the take's drift line and the part's own mean.

    The residual sum of squares of a part is divided by its strums less their leverages, which is what it comes to on
    average where the errors are independent and of one size (Cook & Weisberg 1982, chapter 2).

    Parameters
    ----------
    strums : PlacedStrums
    offset_ms : (n,) array
        Their offsets, ms.
    errors : StrumErrors
        What is known of the errors of their times.

    Returns
    -------
    dict of int to Estimate or Absent
        By the part's number, from 1; ms.

    Examples
    --------
    >>> slot = np.arange(64)
    >>> apart = np.where(slot % 2 == 0, 4.0, 12.0) * np.where(slot // 2 % 2 == 0, 1, -1)
    >>> strums = PlacedStrums.of(0.3 * slot + apart / 1e3, 0.3 * slot, slot=slot, bar=slot // 8 + 1,
    ...                          beat=slot // 2 % 4 + 1, part=slot % 2 + 1)
    >>> {part: round(jitter.value) for part, jitter in jitter_by_part(strums, apart, StrumErrors()).items()}
    {1: 4, 2: 12}
    """
    minutes = strums.line_s / 60
    line = np.column_stack([np.ones(len(strums)), minutes - minutes.mean()])
    basis, _ = np.linalg.qr(np.column_stack([line, indicators(strums.part)]))
    about_ms, leverage = offset_ms - basis @ (basis.T @ offset_ms), np.sum(basis**2, axis=1)
    found: dict[int, Estimate | Absent] = {}
    for part in np.unique(strums.part).tolist():
        on = strums.part == part
        n = int(on.sum())
        if n < LEAST_IN_PART:
            reason = f"it needs {LEAST_IN_PART} strums or more on this part of the beat; the take has {n}"
            found[part] = Absent(code="too-few", reason=reason)
            continue
        found[part] = intervals.scatter(
            about_ms[on],
            n - float(leverage[on].sum()),
            fit_error_model(about_ms[on], strums.slot[on], np.ones((n, 1))),
            1e3 * strums.u_s[on],
            error_share=errors.error_share,
            slip=1e3 * errors.slip_s,
        )
    return found


def with_jitters(groups: tuple[Group, ...], jitters: Mapping[int, Estimate | Absent]) -> tuple[PartGroup, ...]:
    """The parts of the beat, each with its jitter where that is known."""
    known = {part: jitter for part, jitter in jitters.items() if isinstance(jitter, Estimate)}
    return tuple(
        PartGroup(place=group.place, n=group.n, offset_ms=group.offset_ms, jitter_ms=known.get(group.place))
        for group in groups
    )
