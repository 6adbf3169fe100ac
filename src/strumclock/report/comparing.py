"""The open strings of a guitar, and two takes held against each other, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.errors import printable
from strumclock.pipeline.figures import COMPARED
from strumclock.report import words
from strumclock.report.text import render

if TYPE_CHECKING:
    from strumclock.pipeline.comparison import Comparison
    from strumclock.tuning import OpenStrings


def tuning_table(strings: OpenStrings) -> str:
    """Cents of each open string against equal temperament and the others, then what is worth saying."""
    from rich import box
    from rich.table import Table

    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("string", "Hz", f"cents (A = {strings.a4_hz:g} Hz)", "95 % interval", "against the others"):
        grid.add_column(heading, justify="left" if heading == "string" else "right", no_wrap=True)
    for row in strings.strings:
        grid.add_row(
            row.string,
            f"{row.frequency_hz:.2f}",
            words.fixed(row.cents.value, 1, sign=True),
            words.interval(row.cents),
            words.fixed(row.relative_cents, 1, sign=True),
        )
    said = [words.sentence(notice.message) for notice in strings.warnings]
    if strings.missing:
        said.append(f"Not heard: {words.listed(strings.missing)}.")
    return "\n".join([render(grid), *said])


def comparison(result: Comparison) -> str:
    """Two takes beside each other: every figure, the difference, and whether it is larger than its uncertainty."""
    from rich import box
    from rich.table import Table

    head = [f"{letter}: {printable(path) if path else 'array'}{_at(bpm)}" for letter, path, bpm in _takes(result)]
    if not result.same_exercise:
        return "\n".join([*head, *(words.sentence(why.reason) for why in dict.fromkeys(result.absent.values()))])
    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("", "A", "B", "B − A", "95 % interval", ""):
        grid.add_column(heading, justify="right" if heading else "left", no_wrap=True)
    for row in result.differences:
        figure = next(figure for figure in COMPARED if figure.name == row.figure)
        a, b = (words.fixed(e.value, 1, sign=figure.signed) for e in (row.a, row.b))
        difference = f"{words.fixed(row.b_minus_a.value, 1, sign=True)} {figure.unit}"
        grid.add_row(
            figure.label,
            a,
            b,
            difference,
            words.interval(row.b_minus_a),
            "a difference" if row.shown else "no clear difference",
        )
    said = []
    apart = result.apart_ms
    if apart is not None:
        how = f"over the {words.count(result.n_places, 'place')} that both played"
        if result.leads is None:
            fits = words.between_sides(apart, late="after A", early="before A")
            said.append(f"Neither leads clearly {how}: B may lie anywhere {fits}.")
        else:
            said.append(f"{result.leads} leads by {words.amount(apart.value)} {how}, {words.spread(apart)}.")
    if result.spread_ms is not None:
        scatter = words.amount(result.spread_ms.value)
        said.append(f"The two scatter by {scatter} against each other, {words.spread(result.spread_ms)}.")
    said += [words.sentence(why.reason) for why in dict.fromkeys(result.absent.values())]
    return "\n".join([*head, *([render(grid)] if result.differences else []), *said])


def _takes(result: Comparison) -> tuple[tuple[str, str | None, float | None], ...]:
    return ("A", result.path_a, result.bpm_a), ("B", result.path_b, result.bpm_b)


def _at(bpm: float | None) -> str:
    return f", {words.bpm(bpm)} bpm" if bpm is not None else ""
