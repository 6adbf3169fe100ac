"""The summary that a student reads, and the table of figures for a teacher."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.schema import absences
from strumclock.report.sentences import lines, place_name, title

if TYPE_CHECKING:
    from strumclock.measure import Measurement
    from strumclock.timing import Estimate

WIDTH = 100  # characters: fits a terminal and a mail


def summary(measurement: Measurement, *, width: int = WIDTH) -> str:
    """The take in a dozen lines of plain words: early or late, how even, falling behind or pulling ahead, what next.

    Parameters
    ----------
    measurement : Measurement
    width : int
        Characters a line.

    Returns
    -------
    str
        Without a newline at the end.
    """
    rows = [(line.topic, line.text) for line in lines(measurement)]
    return "\n".join([*textwrap.wrap(title(measurement), width), *_in_columns(rows, width)])


def _in_columns(rows: Iterable[tuple[str, str]], width: int) -> Iterator[str]:
    rows = list(rows)
    left = max((len(topic) for topic, _ in rows), default=0) + 2
    previous = ""
    for topic, text in rows:
        head = "" if topic == previous else topic
        previous = topic
        for i, piece in enumerate(textwrap.wrap(text, max(width - left, 20)) or [""]):
            yield f"{(head if i == 0 else ''):<{left}}{piece}".rstrip()


def figures(measurement: Measurement) -> list[tuple[str, str, str, str, str]]:
    """Every figure of the take as text: name, value with unit, 95 % interval, standard uncertainty, remark.

    What is absent has a dash and its reason.
    """
    m, timing = measurement, measurement.timing
    absent = absences(m)
    rows: list[tuple[str, str, str, str, str]] = []

    def add(name: str, estimate: Estimate | None, unit: str, path: str, remark: str = "") -> None:
        if estimate is None:
            if path in absent:
                rows.append((name, "–", "", "", absent[path]))
            return
        signed = unit not in ("bpm", "%") and name not in _UNSIGNED
        rows.append(
            (
                name,
                f"{words.number(estimate.value, like=0, sign=signed)} {unit}".rstrip(),
                words.interval(estimate, signed=signed),
                words.number(estimate.u, like=0) if estimate.u >= 0.05 else "< 0.1",
                remark,
            )
        )

    if m.grid is not None:
        add("Click heard", m.grid.bpm_heard, "bpm", "grid.bpm_heard", f"{m.grid.clicks_heard} clicks")
        add("Clocks' difference", m.grid.clock_skew_ppm, "ppm", "grid.clock_skew_ppm", "heard against told")
    if timing is not None:
        add("Mean offset", timing.mean_offset_ms, "ms", "timing.mean_offset_ms", "+ late, − early")
        add("Median offset", timing.median_offset_ms, "ms", "timing.median_offset_ms")
        add("Offset of the strum's middle", timing.body_offset_ms, "ms", "timing.body_offset_ms")
        add("Jitter", timing.jitter_ms, "ms", "timing.jitter_ms", "about the drift line")
        add("Jitter within", timing.jitter_within_ms, "ms", "timing.jitter_within_ms", "parts and changes taken out")
        add("Drift", timing.drift_ms_per_min, "ms/min", "timing.drift_ms_per_min", "+ behind, − ahead")
        add("Tempo played", timing.played_bpm, "bpm", "timing.played_bpm")
        add("Lag-1 autocorrelation", timing.lag1, "", "timing.lag1")
        within = timing.within_tolerance
        if within is not None:
            share = within.share
            rows.append(
                (
                    f"Within ± {words.tolerance(within.tolerance_ms)} of own mean",
                    words.percent(share.value),
                    f"{words.percent(share.low)} to {words.percent(share.high)}",
                    words.percent(share.u),
                    f"{timing.n} strums",
                )
            )
        per_beat = m.exercise.per_beat or 1
        for group in timing.by_beat:
            add(
                f"Beat {group.place}",
                group.offset_ms,
                "ms",
                f"timing.by_beat.{group.place}.offset_ms",
                f"{group.n} strums",
            )
        if len(timing.by_part) > 1:
            for group in timing.by_part:
                name = f"Part {group.place} ({place_name(group.place, per_beat)})"
                add(name, group.offset_ms, "ms", f"timing.by_part.{group.place}.offset_ms", f"{group.n} strums")
    if m.changes is not None:
        add("At chord changes", m.changes.lateness_ms, "ms", "changes.lateness_ms", "against all other strums")
        add("Chord changes a minute", m.changes.changes_per_minute, "", "changes.changes_per_minute")
    if m.tuning is not None:
        add("Pitch", m.tuning.cents, "cents", "tuning", f"at A = {m.tuning.a4_hz:g} Hz")
    return rows


_UNSIGNED = ("Jitter", "Jitter within", "Chord changes a minute")


def table(measurement: Measurement, *, width: int = WIDTH) -> str:
    """The figures as a table for teachers: value, 95 % interval of the player, uncertainty of measuring.

    Parameters
    ----------
    measurement : Measurement
    width : int
        Characters a line.
    """
    from rich import box
    from rich.table import Table

    grid = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading, right in (("", False), ("value", True), ("95 % interval", True), ("u", True), ("", False)):
        grid.add_column(heading, justify="right" if right else "left", no_wrap=right)
    for row in figures(measurement):
        grid.add_row(*row)
    return render(grid, width=width)


def render(renderable: object, *, width: int = WIDTH) -> str:
    """Anything of rich's as plain text of `width` characters a line, no blanks at line ends."""
    import io

    from rich.console import Console

    out = io.StringIO()
    Console(file=out, width=width, color_system=None, markup=False, highlight=False, emoji=False).print(renderable)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()).strip("\n")
