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

    Parameters
    ----------
    measurement : Measurement

    Returns
    -------
    str

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.to_csv(example_take()).splitlines()[0])
    time_s,u_ms,p,slot,bar,beat,part,stroke,grid_s,offset_ms,deviation_ms,at_change,left_click,of,measured
    """
    return str(measurement.to_frame().to_csv(index=False, float_format=DECIMALS, lineterminator="\n"))


def write_csv(measurement: Measurement, path: str | os.PathLike[str]) -> Path:
    """Write `to_csv` to a file, whole or not at all.

    Parameters
    ----------
    measurement : Measurement
    path : path
        Replaced only when all is written.

    Returns
    -------
    Path

    Raises
    ------
    OutputError
        If the file cannot be written, or must not be: see `strumclock.report.writing`.

    Examples
    --------
    >>> import tempfile
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     len(sc.write_csv(example_take(), f"{folder}/strums.csv").read_text(encoding="utf-8").splitlines())
    55
    """
    check_outputs({"the table of strums": path}, reads=[measurement.take.path] if measurement.take.path else [])
    return write_text(path, to_csv(measurement))
