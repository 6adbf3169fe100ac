"""The summary that a student reads, and the table of figures for a teacher."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from strumclock.report import words
from strumclock.report.places import place_name
from strumclock.report.schema import absences
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


def figures(measurement: Measurement) -> list[Row]:
    """Every figure of the take as text: name, value with unit, 95 % interval, standard uncertainty, remark.

    What is absent has a dash and its reason.
    """
    m, timing = measurement, measurement.timing
    absent = absences(m)
    rows: list[Row] = []

    def add(name: str, estimate: Estimate | None, unit: str, path: str, remark: str = "") -> None:
        if estimate is None:
            if path in absent:
                rows.append((name, ABSENT, "", "", absent[path]))
            return
        signed, decimals = name not in _UNSIGNED, _DECIMALS.get(unit, 2)
        value = f"{words.fixed(estimate.value, decimals, sign=signed)} {unit}".rstrip()
        least = 10**-decimals
        u = words.fixed(estimate.u, decimals) if estimate.u >= least / 2 else f"< {words.fixed(least, decimals)}"
        rows.append((name, value, words.interval(estimate, signed=signed, decimals=decimals), u, remark))

    if m.grid is not None:
        add("Click heard", m.grid.bpm_heard, "bpm", "grid.bpm_heard", f"{m.grid.clicks_heard} clicks")
        add("Clocks' difference", m.grid.clock_skew_ppm, "ppm", "grid.clock_skew_ppm", "heard against told")
    if timing is not None:
        add("Mean offset", timing.mean_offset_ms, "ms", "timing.mean_offset_ms", "+ late, − early")
        add("Median offset", timing.median_offset_ms, "ms", "timing.median_offset_ms")
        add("Offset of the strum's middle", timing.body_offset_ms, "ms", "timing.body_offset_ms")
        add("Jitter", timing.jitter_ms, "ms", "timing.jitter_ms", "about the drift line")
        add("Jitter within", timing.jitter_within_ms, "ms", "timing.jitter_within_ms", "parts, changes taken out")
        explained = timing.explained_share
        if explained is not None:
            rows.append(_share_row("Explained by these", explained, "of the variance"))
        add("Drift", timing.drift_ms_per_min, "ms/min", "timing.drift_ms_per_min", "+ behind, − ahead")
        add("Tempo played", timing.played_bpm, "bpm", "timing.played_bpm")
        add("Lag-1 autocorrelation", timing.lag1, "", "timing.lag1")
        if timing.swing is not None:
            add("Swing", timing.swing, "", "timing.swing", "place of the “&” in the beat; straight 0.50")
        within = timing.within_tolerance
        if within is not None:
            name = f"Within ± {words.tolerance(within.tolerance_ms)} of own mean"
            rows.append(_share_row(name, within.share, f"{timing.n} strums"))
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
        add("Chord changes", m.changes.changes_per_minute, "a minute", "changes.changes_per_minute")
    if m.stroke is not None:
        add("Spread of a strum", m.stroke.spread_ms, "ms", "stroke.spread_ms", "first to last string")
        add("Loudness varies by", m.stroke.evenness_db, "dB", "stroke.evenness_db", "standard deviation")
        add("Hardness of attack", m.stroke.attack_db, "dB", "stroke.attack_db", "same guitar and room only")
        sides = m.stroke.up_against_down
        if sides is not None:
            n = f"{sides.up.n} up, {sides.down.n} down, {sides.source}"
            add("Up-strokes later by", sides.offset_ms, "ms", "stroke.up_against_down.offset_ms", n)
            add("Up-strokes louder by", sides.level_db, "dB", "stroke.up_against_down.level_db", n)
    if m.correction is not None:
        share = m.correction.corrected_share
        rows.append(_share_row("Of an error corrected", share, "by the next strum"))
    if m.tuning is not None:
        add("Pitch", m.tuning.cents, "cents", "tuning", f"at A = {m.tuning.a4_hz:g} Hz")
    return rows


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


def _share_row(name: str, share: Estimate, remark: str) -> Row:
    ends = f"{words.percent(share.low)} to {words.percent(share.high)}"
    return name, words.percent(share.value), ends, words.percent(share.u), remark


_UNSIGNED = (
    *("Click heard", "Tempo played", "Jitter", "Jitter within", "Swing"),
    *("Chord changes", "Spread of a strum", "Loudness varies by"),
)
_DECIMALS = {
    "bpm": 3,
    "ms": 1,
    "ms/min": 1,
    "ppm": 1,
    "cents": 1,
    "dB": 1,
    "a minute": 1,
}  # what is finer than the best take's u


def table(measurement: Measurement, *, width: int = WIDTH) -> str:
    """All that is known of the take, for teachers: subject by subject in words, then every figure with its interval.

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
    rows, notes = noted(figures(measurement))
    for row in rows:
        grid.add_row(*row)
    wrapped = [piece for note in notes for piece in textwrap.wrap(note, width, subsequent_indent="  ")]
    said = _in_columns([(line.topic, line.text) for line in details(measurement)], width)
    return "\n".join([*said, "", render(grid, width=width), *wrapped])


def render(renderable: object, *, width: int = WIDTH) -> str:
    """Anything of rich's as plain text of `width` characters a line, no blanks at line ends."""
    import io

    from rich.console import Console

    out = io.StringIO()
    Console(file=out, width=width, color_system=None, markup=False, highlight=False, emoji=False).print(renderable)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines()).strip("\n")
