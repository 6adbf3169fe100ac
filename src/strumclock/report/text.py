"""The summary that a student reads, and the table of figures for a teacher."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from strumclock.fields import fields_of
from strumclock.grid import Exercise
from strumclock.pipeline.figures import DECIMALS, FIGURES, Figure, Found, find
from strumclock.report import words
from strumclock.report.places import place_name
from strumclock.report.sentences import details, lines, title

if TYPE_CHECKING:
    from strumclock.pipeline import Measurement
    from strumclock.timing import Estimate

Row = tuple[str, str, str, str, str]  # name, value with unit, 95 % interval, standard uncertainty, remark
ABSENT = "–"
WIDTH = 100  # characters: fits a terminal and a mail


def summary(measurement: Measurement, *, width: int = WIDTH) -> str:
    """The take in a few lines of plain words: held or not, what stands in the way, what to do, what next.

    Parameters
    ----------
    measurement : Measurement
    width : int
        Characters a line.

    Returns
    -------
    str
        Without a newline at the end.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> print(sc.summary(example_take()).splitlines()[-1])
    Next        Take it down to 87 bpm (21.8 chord changes a minute). Stop at any pain or tension.
    """
    rows = [(line.topic, line.text) for line in lines(measurement)]
    rows += [("Told by", sentence) for sentence in told_by(measurement)]
    return "\n".join([*words.wrap(title(measurement), width), *_in_columns(rows, width)])


def told_by(measurement: Measurement) -> list[str]:
    """Which of the exercise's fields were told by which file, where not by the caller."""
    about = fields_of(Exercise)
    found: dict[str, list[str]] = {}
    for name, source in measurement.sources.items():
        found.setdefault(source, []).append(about[name].word)
    return [f"{source}: {', '.join(words)}." for source, words in found.items()]


def _in_columns(rows: Iterable[tuple[str, str]], width: int) -> Iterator[str]:
    rows = list(rows)
    left = max((len(topic) for topic, _ in rows), default=0) + 2
    previous = ""
    for topic, text in rows:
        head = "" if topic == previous else topic
        previous = topic
        for i, piece in enumerate(words.wrap(text, max(width - left, 20)) or [""]):
            yield f"{(head if i == 0 else ''):<{left}}{piece}".rstrip()


def figures(measurement: Measurement, chosen: Iterable[Figure] = FIGURES) -> list[Row]:
    """Figures of the take as text: name, value with unit, 95 % interval, standard uncertainty, remark.

    What is absent has a dash and its reason.
    """
    rows = []
    for figure in chosen:
        found = list(find(measurement, figure)) if figure.in_table else []
        if figure.when == "several" and len(found) < 2:
            continue
        for one in found:
            if one.estimate is not None:
                rows.append(_row(measurement, one, one.estimate))
            elif figure.when != "known" and one.path in measurement.absent:
                name = _filled(figure.label, measurement, one)
                rows.append((name, ABSENT, "", "", measurement.absent[one.path].reason))
    return rows


def _row(measurement: Measurement, found: Found, estimate: Estimate) -> Row:
    """A figure that is known."""
    figure = found.figure
    name, remark = (_filled(text, measurement, found) for text in (figure.label, figure.remark))
    if figure.unit == "share":
        ends = f"{words.percent(estimate.low)} to {words.percent(estimate.high)}"
        return name, words.percent(estimate.value), ends, words.percent(estimate.u), remark
    decimals = DECIMALS[figure.unit]
    value = f"{words.fixed(estimate.value, decimals, sign=figure.signed)} {figure.unit}".rstrip()
    least = 10**-decimals
    u = words.fixed(estimate.u, decimals) if estimate.u >= least / 2 else f"< {words.fixed(least, decimals)}"
    return name, value, words.interval(estimate, signed=figure.signed, decimals=decimals), u, remark


def _filled(text: str, measurement: Measurement, found: Found) -> str:
    """A label or remark with its names filled in."""
    if "{" not in text:
        return text
    of_holder = {field.name: getattr(found.holder, field.name) for field in dataclasses.fields(found.holder)}
    place = of_holder.get("place")
    name = place_name(place, measurement.exercise.per_beat or 1) if place is not None else ""
    return text.format(**of_holder, m=measurement, name=name)


def noted(rows: list[Row]) -> tuple[list[Row], list[str]]:
    """The rows with each reason for an absence replaced by the number of a note, and the notes."""
    notes: list[str] = []
    short = []
    for name, value, interval, u, remark in rows:
        if value == ABSENT:
            if remark not in notes:
                notes.append(remark)
            remark = f"note {notes.index(remark) + 1}"
        short.append((name, value, interval, u, remark))
    return short, [f"Note {i}: {note.rstrip('.')}." for i, note in enumerate(notes, 1)]


def table(measurement: Measurement, *, width: int = WIDTH) -> str:
    """All that is known of the take, for teachers: subject by subject in words, then every figure with its interval.

    Parameters
    ----------
    measurement : Measurement
    width : int
        Characters a line.

    Returns
    -------
    str
        Without a newline at the end.

    Examples
    --------
    >>> import strumclock as sc
    >>> from strumclock.examples import example_take
    >>> jitter = next(line for line in sc.table(example_take()).splitlines() if "Jitter" in line)
    >>> jitter.split()[:3]
    ['Jitter', '34.8', 'ms']
    """
    from rich import box
    from rich.table import Table

    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading, right in (("", False), ("value", True), ("95 % interval", True), ("u", True), ("", False)):
        grid.add_column(heading, justify="right" if right else "left", no_wrap=right)
    rows, notes = noted(figures(measurement))
    for row in rows:
        grid.add_row(*row)
    wrapped = [piece for note in notes for piece in words.wrap(note, width, indent="  ")]
    said = _in_columns([(line.topic, line.text) for line in details(measurement)], width)
    return "\n".join([*said, "", render(grid, width=width), *wrapped])


def render(renderable: object, *, width: int = WIDTH) -> str:
    """Anything of rich's as plain text of `width` characters a line, no blanks at line ends."""
    import io

    from rich.console import Console

    out = io.StringIO()
    Console(file=out, width=width, color_system=None, markup=False, highlight=False, emoji=False).print(renderable)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()).strip("\n")
