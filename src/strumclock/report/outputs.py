"""Everything that one command's options ask to be written: checked before anything is measured, each file whole."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

from strumclock.errors import OutputError
from strumclock.report.drawing import check_picture_name
from strumclock.report.schema import dumps, to_dict
from strumclock.report.writing import STANDARD_OUTPUT, check_outputs
from strumclock.saving import write_text

if TYPE_CHECKING:
    import pandas as pd

    from strumclock.pipeline import Measurement


@dataclass(frozen=True, slots=True, kw_only=True)
class Outputs:
    """Where the results of one command shall go. Made before anything is measured, since making it checks it.

    Parameters
    ----------
    reads : tuple of path
        What the command reads; what is no file (None, ``"-"``, a URL) is passed over.
    json : str, optional
        A file for the JSON, or ``"-"`` for standard output.
    plot : str, optional
        A file for the picture, by its ending: png, svg or pdf.
    page : str, optional
        A file for the page.
    csv : str, optional
        A file for a table.
    sound : str, optional
        A WAV file for the take with a tick on every grid line.
    out : str, optional
        A WAV or MIDI file for a click track.
    force : bool
        `sound` and `out` may replace a file that is there.
    everything : bool
        The picture has all its panels.

    Raises
    ------
    OutputError
        If one would write over what is read, a journal, settings, a recording, or another of them; or cannot be
        written where it shall be.
    """

    reads: tuple[Any, ...] = ()
    json: str | None = None
    plot: str | None = None
    page: str | None = None
    csv: str | None = None
    sound: str | None = None
    out: str | None = None
    force: bool = False
    everything: bool = False

    def __post_init__(self) -> None:
        """Refuse what would destroy something."""
        writes = {f.name: getattr(self, f.name) for f in fields(self) if f.name not in ("reads", "force", "everything")}
        named = {"OUT" if kind == "out" else f"--{kind}": path for kind, path in writes.items() if path is not None}
        if self.plot is not None:
            check_picture_name(self.plot)
        if self.sound is not None:
            from strumclock.report.sound import check_sound_name

            check_sound_name(self.sound)
        for option, path in named.items():
            if path == STANDARD_OUTPUT and option != "--json":
                raise OutputError(f"{option} needs the name of a file, but {path!r} came; name one")
        check_outputs(named, reads=_files(self.reads), sounds=("--sound", "OUT"), force=self.force)

    def write(self, measurement: Measurement) -> None:
        """Write what was asked for of a take.

        Raises
        ------
        OutputError
            If one of them cannot be written.
        """
        # each writer is loaded where it is asked for: together they cost as much as a tenth of measuring
        if self.plot is not None:
            from strumclock.report.picture import write_plot

            write_plot(measurement, self.plot, everything=self.everything)
        if self.page is not None:
            from strumclock.report.page_take import write_page

            write_page(measurement, self.page)
        if self.sound is not None:
            from strumclock.report.sound import write_sound

            write_sound(measurement, self.sound, force=self.force)
        if self.json is not None:
            self.write_json(to_dict(measurement))

    def write_json(self, document: Mapping[str, Any]) -> None:
        """Write a document to where the JSON shall go, if anywhere."""
        if self.json == STANDARD_OUTPUT:
            to_standard_output(dumps(document))
        elif self.json is not None:
            write_text(self.json, dumps(document))

    def write_table(self, table: pd.DataFrame) -> None:
        """Write a table to where it shall go, if anywhere; no cell of it is a formula, what is not known is empty."""
        if self.csv is not None:
            rows = table.to_dict("records")
            known = ({str(name): None if value != value else value for name, value in row.items()} for row in rows)
            from strumclock.journal.csvfile import write_csv  # the package loads the database

            write_csv(Path(self.csv), [str(name) for name in table.columns], known)


def to_standard_output(text: str) -> None:
    """Print a text to the end; names in it are printable already.

    Raises
    ------
    OutputError
        If standard output does not take it: a full disk behind it, for example. A reader that has gone away is a
        `BrokenPipeError` as ever.
    """
    try:
        sys.stdout.write(text)
        sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(
            f"standard output must take the results, but the system said: {error.strerror or error}; redirect them"
        ) from error


def write_outputs(
    measurement: Measurement,
    *,
    json: str | None = None,
    plot: str | None = None,
    page: str | None = None,
    sound: str | None = None,
    force: bool = False,
) -> None:
    """Write what was asked for of a take that is measured already: see `Outputs`."""
    reads = (measurement.take.path,)
    Outputs(reads=reads, json=json, plot=plot, page=page, sound=sound, force=force).write(measurement)


def _files(reads: Iterable[Any]) -> Sequence[Any]:
    return [read for read in reads if read is not None and read != STANDARD_OUTPUT and os.path.lexists(read)]
