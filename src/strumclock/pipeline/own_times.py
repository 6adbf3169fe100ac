"""A take without a recording: strum times and a grid that the caller has, through every stage that needs no sound."""

from __future__ import annotations

from dataclasses import fields, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from strumclock.alignment import align
from strumclock.errors import Absent
from strumclock.grid import BeatGrid, Exercise
from strumclock.pipeline.analysing import Analysis, take_correction
from strumclock.pipeline.assembling import assemble
from strumclock.pipeline.components import Heard, take_changes
from strumclock.pipeline.judging import take_conclusion
from strumclock.pipeline.measurement import Measurement, TakeInfo
from strumclock.pipeline.options import MeasureOptions
from strumclock.stroke import Spreads
from strumclock.timing import measure_timing, strums_of

if TYPE_CHECKING:
    from strumclock.onsets import Strums
    from strumclock.verdict import Standard

NO_SOUND = Absent(code="no-sound", reason="only strum times were given, and no recording")


def measure_strums(
    strums: Strums | ArrayLike,
    grid: BeatGrid,
    *,
    exercise: Exercise | None = None,
    grid_u_s: float = 0.0,
    standard: str | Standard | None = None,
) -> Measurement:
    """Measure strum times of your own against a grid of your own: figures, verdict, pictures, tables, JSON.

    Parameters
    ----------
    strums : Strums or (n,) array_like
        The strums, or their times [s], increasing. Times alone are taken as exact; `Strums.of` says how well they are
        known.
    grid : BeatGrid
        In the times' own seconds, by one clock: see `align`.
    exercise : Exercise, optional
        What was asked for, as far as the grid does not say it: name, meter, pattern, chords.
    grid_u_s : float
        Standard uncertainty of the grid's place [s].
    standard : str or Standard, optional
        What counts as held; ``steady`` if left out.

    Returns
    -------
    Measurement
        As of a recording whose first downbeat was stated. What needs sound is absent: pitch, stroke, spread.

    Raises
    ------
    RecordingError
        If there are no strums.
    UsageError
        If times, grid or standard make no sense.

    Examples
    --------
    >>> import numpy as np
    >>> import strumclock as sc
    >>> exercise = sc.Exercise(bpm=80, meter="4/4", per_beat=1, chords="G C")
    >>> grid = sc.build_grid(exercise, bars=8)
    >>> late_s = 0.01 * np.random.default_rng(4).standard_normal(32) + 0.12 * grid.at_change
    >>> take = sc.measure_strums(grid.slot_s + late_s, grid, exercise=exercise)
    >>> take.verdict.state, [obstacle.kind for obstacle in take.verdict.obstacles], take.held.next_bpm
    ('not-yet', ['changes'], 72.0)
    """
    options = MeasureOptions(standard=standard)
    alignment = align(strums, grid, first_downbeat_u_s=grid_u_s)
    if exercise is not None:
        alignment = replace(alignment, exercise=_completed(exercise, alignment.exercise))
    known, on = strums_of(alignment), alignment.slot >= 0
    at_change = np.zeros(len(known), np.bool_)
    at_change[on] = grid.at_change[alignment.slot[on]]
    heard = Heard(at_change=at_change, absent={"tuning": NO_SOUND})
    unknown = np.full(len(known), np.nan)
    spreads = Spreads(spread_s=unknown, u_s=unknown, shared_u_s=0.0)
    tolerance_s = list(map(options.judged_by.tolerance_s, grid.part_s[alignment.slot[on]].tolist()))
    timing = measure_timing(alignment, tolerance_s=tolerance_s)  # no microphone, so nothing of the sound's way
    found = Analysis(
        heard=heard,
        spreads=spreads,
        timing=timing,
        changes=take_changes(heard, known, alignment, timing, asked=False),
        stroke=NO_SOUND,
        correction=take_correction(known, alignment, timing, heard),
        conclusion=take_conclusion(known, alignment, timing, heard, options),
    )
    ends_s = max(float(known.time_s[-1]), grid.end_s)
    take = TakeInfo(path=None, sha256=None, duration_s=ends_s, sample_rate_hz=None, channels=None)
    measured = assemble(take, known, alignment, found)
    nothing_heard = dict.fromkeys(("grid.bpm_heard", "grid.clock_skew_ppm", "timing.body_offset_ms"), NO_SOUND)
    return replace(
        measured,
        strums=tuple(replace(strum, of=1) for strum in measured.strums),
        parts=alignment.parts,
        settings=options.told(),
        absent=MappingProxyType({**measured.absent, **nothing_heard}),
    )


def _completed(told: Exercise, of_grid: Exercise) -> Exercise:
    """What was told, with what the grid says where nothing was told; of tempo and parts the grid's word counts."""
    own = {field.name: getattr(of_grid, field.name) for field in fields(of_grid)}
    return replace(told, **{name: value for name, value in own.items() if value is not None})
