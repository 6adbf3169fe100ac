"""The open strings of a guitar, and two takes held against each other, as text."""

from __future__ import annotations

from typing import TYPE_CHECKING

from strumclock.errors import printable
from strumclock.pipeline.figures import COMPARED, RELATIVE_JITTER
from strumclock.report import words
from strumclock.report.text import render

if TYPE_CHECKING:
    from strumclock.pipeline.comparison import Comparison, Difference
    from strumclock.tuning import OpenStrings


THESE_TWO = (
    "Takes of one person differ from day to day: that these two differ does not say that it stays so. "
    "Several takes of each tell more."
)
USUAL = "“Usual” is how far takes of this player lie apart in the practice record, in 19 of 20 pairs."
_OWN = {
    RELATIVE_JITTER: ("Jitter, of interval", "%", False),
    "at_change": ("Chord changes", "ms", True),
}


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
    if not result.differences and not result.same_exercise:
        return "\n".join([*head, *(words.sentence(why.reason) for why in dict.fromkeys(result.absent.values()))])
    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("", "A", "B", "B − A", "95 % interval", ""):
        grid.add_column(heading, justify="right" if heading else "left", no_wrap=True)
    for row in result.differences:
        label, unit, signed = figure_words(row.figure)
        a, b = (words.fixed(e.value, 1, sign=signed) for e in (row.a, row.b))
        difference = f"{words.fixed(row.b_minus_a.value, 1, sign=True)} {unit}"
        grid.add_row(label, a, b, difference, words.interval(row.b_minus_a), told(row))
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
    if any(row.shown and row.beyond_usual is None for row in result.differences):
        said.append(THESE_TWO)
    if any(row.beyond_usual is not None for row in result.differences):
        said.append(USUAL)
    said += [words.sentence(why.reason) for why in dict.fromkeys(result.absent.values())]
    return "\n".join([*head, *([render(grid)] if result.differences else []), *said])


def figure_words(name: str) -> tuple[str, str, bool]:
    """What a compared figure is called, its unit, and whether it has a sign."""
    if name in _OWN:
        return _OWN[name]
    figure = next(figure for figure in COMPARED if figure.name == name)
    return figure.label, figure.unit, figure.signed


def told(row: Difference) -> str:
    """What a difference says, and of what."""
    if not row.shown:
        return "no clear difference"
    if row.beyond_usual is None:
        return "these two differ"
    return "more than usual" if row.beyond_usual else "no more than usual"


def _takes(result: Comparison) -> tuple[tuple[str, str | None, float | None], ...]:
    return ("A", result.path_a, result.bpm_a), ("B", result.path_b, result.bpm_b)


def _at(bpm: float | None) -> str:
    return f", {words.bpm(bpm)} bpm" if bpm is not None else ""
