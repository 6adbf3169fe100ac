"""What the commands print: every line goes through here, and no name in it can steer the terminal."""

from __future__ import annotations

import shutil

from strumclock.errors import printable

USUAL_COLUMNS, NARROWEST, WIDEST = 100, 60, 140  # longer lines are not read with ease


def say(text: str) -> None:
    """Print a result on standard output.

    Raises
    ------
    OutputError
        If it does not take it.
    """
    from strumclock.report.outputs import to_standard_output

    to_standard_output("".join(f"{printable(line)}\n" for line in text.split("\n")))


def columns() -> int:
    """Characters a line of the terminal, or of a file's usual reader."""
    return min(max(shutil.get_terminal_size((USUAL_COLUMNS, 40)).columns, NARROWEST), WIDEST)
