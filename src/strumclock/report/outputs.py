"""Everything that one take's options ask to be written, each file whole or not at all."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from strumclock.report.page import write_page
from strumclock.report.picture import write_plot
from strumclock.report.schema import dumps, to_dict
from strumclock.report.sound import write_sound
from strumclock.report.writing import write_text

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement

STANDARD_OUTPUT = "-"


def write_outputs(
    measurement: Measurement,
    *,
    json: str | None = None,
    plot: str | None = None,
    page: str | None = None,
    sound: str | None = None,
) -> None:
    """Write what was asked for.

    Parameters
    ----------
    measurement : Measurement
    json : str, optional
        A file for the JSON, or ``"-"`` for standard output.
    plot : str, optional
        A file for the picture, by its ending: png, svg or pdf.
    page : str, optional
        A file for the page.
    sound : str, optional
        A WAV file for the take with a tick on every grid line.

    Raises
    ------
    OutputError
        If one of them cannot be written.
    """
    if plot is not None:
        write_plot(measurement, plot)
    if page is not None:
        write_page(measurement, page)
    if sound is not None:
        write_sound(measurement, sound)
    write_json(to_dict(measurement) if json is not None else {}, json)


def write_json(document: Mapping[str, Any], to: str | None) -> None:
    """Write a document as JSON to a file, to standard output (``"-"``), or nowhere (None)."""
    if to == STANDARD_OUTPUT:
        sys.stdout.write(dumps(document))
    elif to is not None:
        write_text(to, dumps(document))
