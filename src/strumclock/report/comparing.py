"""The open strings of a guitar, and two takes held against each other, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from strumclock.report import words
from strumclock.report.text import render

if TYPE_CHECKING:
    from strumclock.tuning import OpenStrings


def tuning_table(strings: OpenStrings) -> str:
    """Cents of each open string against equal temperament and against the others, then what is worth saying."""
    from rich import box
    from rich.table import Table

    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("string", "Hz", f"cents (A = {strings.a4_hz:g} Hz)", "95 % interval", "against the others"):
        grid.add_column(heading, justify="left" if heading == "string" else "right", no_wrap=True)
    for row in strings.strings:
        grid.add_row(
            row.string,
            f"{row.frequency_hz:.2f}",
            words.number(row.cents.value, like=0, sign=True),
            words.interval(row.cents),
            words.number(row.relative_cents, like=0, sign=True),
        )
    said = [words.sentence(notice.message) for notice in strings.warnings]
    if strings.missing:
        said.append(f"Not heard: {words.listed(strings.missing)}.")
    return "\n".join([render(grid), *said])


def comparison(result: Any) -> str:
    """Two takes beside each other: every figure, its difference, and whether the difference is larger than its uncertainty."""
    return str(result)
