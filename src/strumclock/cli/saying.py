"""What the commands print: every line goes through here, and no name in it can steer the terminal."""

from __future__ import annotations

from strumclock.errors import printable


def say(text: str) -> None:
    """Print a result on standard output.

    Raises
    ------
    OutputError
        If it does not take it.
    """
    from strumclock.report.outputs import to_standard_output

    to_standard_output("".join(f"{printable(line)}\n" for line in text.split("\n")))
