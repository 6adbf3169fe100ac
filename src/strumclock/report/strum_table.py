"""The strums of a take as CSV: for a spreadsheet, or a statistics program that reads no JSON."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from strumclock.report.writing import check_outputs
from strumclock.saving import write_text

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement

DECIMALS = "%.6f"
"""A microsecond in seconds, a nanosecond in milliseconds: far below what is measured."""


def to_csv(measurement: Measurement) -> str:
    """The table of `Measurement.to_frame` as CSV text: a header, a line for each strum; what is not known is empty.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.synthesis import synthesise
    >>> take = synthesise(sc.Exercise(bpm=120, meter="4/4", bars=6, count_in=1), seed=1)
    >>> m = sc.measure(sc.from_array(take.samples, take.sample_rate_hz), sc.Exercise(bpm=120))
    >>> print(sc.to_csv(m).split(",time")[0][:37])
    time_s,u_ms,p,slot,bar,beat,part,stro
    """
    return str(measurement.to_frame().to_csv(index=False, float_format=DECIMALS, lineterminator="\n"))


def write_csv(measurement: Measurement, path: str | os.PathLike[str]) -> Path:
    """Write `to_csv` to a file, whole or not at all.

    Raises
    ------
    OutputError
        If the file cannot be written, or must not be: see `strumclock.report.writing`.
    """
    check_outputs({"the table of strums": path}, reads=[measurement.take.path] if measurement.take.path else [])
    return write_text(path, to_csv(measurement))
