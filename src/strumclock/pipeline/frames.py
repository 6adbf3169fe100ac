"""A take as pandas tables: its strums, a row each, and the whole take in one row, to be put below others.

The columns' names carry their units. Seconds are of the recording, milliseconds are offsets, positive = late. What
cannot be known is missing in its cell (NaN, or pandas' NA), and the column ``absent`` of the take's row says why.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any

from strumclock.grid import Exercise
from strumclock.pipeline.figures import EACH, FIGURES, Figure, find
from strumclock.pipeline.measurement import Strum

if TYPE_CHECKING:
    import pandas as pd

    from strumclock.pipeline.measurement import Measurement

NUMPY_KINDS = {"int": "Int64", "float": "float64", "bool": "bool", "str": "object"}
"""pandas' kind of column for each kind of value; whole numbers in the kind that may be missing."""

EXERCISE_COLUMNS = tuple(field.name for field in dataclasses.fields(Exercise) if field.name != "name")


def strum_table(measurement: Measurement) -> pd.DataFrame:
    """The strums of the part that is measured, a row each, in the order of time.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    DataFrame
        The fields of `strumclock.pipeline.Strum` as columns: ``time_s`` (release of the first string), ``u_ms``, ``p``,
        its place ``slot, bar, beat, part``, the pattern's letter ``stroke``, the grid line ``grid_s``, ``offset_ms``
        (strum minus grid line), ``deviation_ms`` (the same less the take's mean), ``at_change``, ``left_click``, ``of``
        and ``measured``. A strum that was added has no place.

    Examples
    --------
    >>> from strumclock.pipeline.measurement import Measurement, TakeInfo
    >>> take = TakeInfo(path=None, sha256=None, duration_s=2.0, sample_rate_hz=44100, channels=1)
    >>> strums = (Strum(time_s=0.51, u_ms=0.4, slot=0, bar=1, grid_s=0.5, offset_ms=10.0), Strum(time_s=0.7, u_ms=0.4))
    >>> strum_table(Measurement(take=take, exercise=Exercise(), strums=strums))[["time_s", "bar", "offset_ms"]]
       time_s   bar  offset_ms
    0    0.51     1       10.0
    1    0.70  <NA>        NaN
    """
    import pandas as pd

    columns = {}
    for field in dataclasses.fields(Strum):
        kind = NUMPY_KINDS[str(field.type).partition(" ")[0]]
        columns[field.name] = pd.Series([getattr(s, field.name) for s in measurement.strums], dtype=kind)
    return pd.DataFrame(columns)


def take_table(measurement: Measurement) -> pd.DataFrame:
    """The take in one row; ``pandas.concat`` puts the rows of many takes below each other.

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    DataFrame
        File, exercise, what was played and the judgement; then each figure of the take with its ends and its standard
        uncertainty: ``jitter_ms``, ``jitter_ms_low``, ``jitter_ms_high``, ``jitter_ms_u``, … Figures that stand once
        for each beat, part or bar are not in it. ``absent`` holds ``figure: code`` of all that is not known.

    Examples
    --------
    >>> from strumclock.pipeline.measurement import Measurement, TakeInfo
    >>> take = TakeInfo(path="take.wav", sha256=None, duration_s=2.0, sample_rate_hz=44100, channels=1)
    >>> row = take_table(Measurement(take=take, exercise=Exercise(bpm=80)))
    >>> f"{row.file[0]}: {row.bpm[0]:g} bpm, jitter {row.jitter_ms[0]}"
    'take.wav: 80 bpm, jitter nan'
    """
    import pandas as pd

    m, e = measurement, measurement.exercise
    cells: dict[str, Any] = {"file": m.take.path, "sha256": m.take.sha256, "duration_s": m.take.duration_s}
    cells |= {"exercise": e.name, **{name: getattr(e, name) for name in EXERCISE_COLUMNS}}
    cells |= {
        "chords": None if e.chords is None else " ".join(e.chords),
        "changes_per_minute": e.changes_per_minute,
        "inferred": " ".join(m.inferred),
        "anchor": None if m.grid is None else m.grid.anchor,
        "n_strums": len(m.strums),
        "n_in_slots": None if m.timing is None else m.timing.n,
        "n_omitted": len(m.omitted),
        "n_added": sum(strum.added for strum in m.strums) if m.timing is not None else None,
    }
    held = m.held
    cells |= {
        "standard": held.standard.name if held else None,
        "held": held.held if held else None,
        "failed": " ".join(criterion.code for criterion in held.failed) if held else None,
        "margin": held.margin if held else None,
        "next_bpm": held.next_bpm if held else None,
        "obstacles": " ".join(o.kind for o in m.verdict.obstacles) if m.verdict else None,
    }
    for figure in FIGURES:
        if EACH not in figure.path:
            cells |= _figure_cells(m, figure)
    cells["warnings"] = " ".join(notice.code for notice in m.warnings)
    cells["absent"] = "; ".join(f"{path}: {why.code}" for path, why in m.absent.items())
    columns = {name: pd.Series([value], dtype=_column_kind(name)) for name, value in cells.items()}
    return pd.DataFrame(columns)


def column_of(figure: Figure) -> str:
    """The column of a figure: the practice record's name for it, else its place in the JSON.

    Examples
    --------
    >>> from strumclock.pipeline.figures import named
    >>> column_of(named("timing.within_tolerance.share")), column_of(named("stroke.up_against_down.up.spread_ms"))
    ('within_share', 'stroke_up_against_down_up_spread_ms')
    """
    return figure.column or figure.path.removeprefix("timing.").replace(".", "_")


def _figure_cells(m: Measurement, figure: Figure) -> dict[str, float | None]:
    """A figure's value, ends and uncertainty."""
    estimate = next((found.estimate for found in find(m, figure)), None)
    name = column_of(figure)
    parts = {"": "value", "_low": "low", "_high": "high", "_u": "u"}
    return {f"{name}{ending}": getattr(estimate, part, None) for ending, part in parts.items()}


_TEXTS = {
    "file", "sha256", "exercise", "meter", "pattern", "chords", "inferred", "anchor", "standard", "failed", "obstacles",
    "warnings", "absent",
}  # fmt: skip
_WHOLE = {"per_beat", "count_in", "bars", "beats_per_change", "n_strums", "n_in_slots", "n_omitted", "n_added"}


def _column_kind(name: str) -> str:
    """One kind of column whatever this take has in it, so that the rows of many takes fit together."""
    return "object" if name in _TEXTS else "Int64" if name in _WHOLE else "boolean" if name == "held" else "float64"
