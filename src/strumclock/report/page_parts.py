"""A recording of several parts on the page: a strip of the whole recording, and the bars of what is not measured.

Another take has bars of its own grid. A stretch at a tempo of its own has bars of that tempo, as the player would count
it, with the click's beats as they fall between.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from strumclock.pipeline.own_tempo import OwnTempo, own_tempo
from strumclock.report import words
from strumclock.report.page_bars import MIDDLE, Bar, Chart, Mark, across, chart, height_of, reach_ms
from strumclock.report.part_words import part_lines, several_parts

if TYPE_CHECKING:
    from strumclock.alignment import Part
    from strumclock.pipeline import Measurement


@dataclass(frozen=True, slots=True, kw_only=True)
class PartDrawn:
    """One part of the recording.

    Attributes
    ----------
    number : int
        From 1, as ``--part`` counts.
    kind : str
        See `strumclock.alignment.Part`.
    said : str
        From when to when, and what was done.
    start_s, end_s : float
    left, width : float
        Where it lies in the strip, per cent of the recording.
    ticks : tuple of float
        Its strums in the strip, per cent.
    measured : bool
    chart : Chart or None
        The bars of a part that is not measured.
    """

    number: int
    kind: str
    said: str
    start_s: float
    end_s: float
    left: float
    width: float
    ticks: tuple[float, ...]
    measured: bool
    chart: Chart | None


def drawn_parts(m: Measurement) -> tuple[PartDrawn, ...]:
    """The parts of a recording that has several; none of any other."""
    if not several_parts(m):
        return ()
    whole_s = max([m.take.duration_s, *(part.end_s for part in m.parts)])
    lines = [line.split(maxsplit=1)[1] for line in part_lines(m)]
    strums = (*m.strums, *m.elsewhere)
    return tuple(
        PartDrawn(
            number=number,
            kind=part.kind,
            said=said,
            start_s=part.start_s,
            end_s=part.end_s,
            left=100 * part.start_s / whole_s,
            width=100 * (part.end_s - part.start_s) / whole_s,
            ticks=tuple(100 * s.time_s / whole_s for s in strums if s.of == number and part.kind != "stopped"),
            measured=part.measured,
            chart=None if part.measured else _chart(m, part, number),
        )
        for number, (part, said) in enumerate(zip(m.parts, lines, strict=True), 1)
    )


def _chart(m: Measurement, part: Part, number: int) -> Chart | None:
    """The bars of a part that is not measured: in its own grid, or at its own tempo."""
    if part.kind == "own-tempo":
        left = [one for one in m.left_click if part.start_s <= one.start_s and one.end_s <= part.end_s]
        return _own_chart(m, own_tempo(m, left[0])) if left else None
    there = tuple(s for s in m.elsewhere if s.of == number)
    return chart(replace(m, strums=there, omitted=(), verdict=None, held=None, steps=()))


def _own_chart(m: Measurement, own: OwnTempo) -> Chart | None:
    """Bars of the player's own tempo, counted from the first strum; no bar numbers, which only the click has."""
    beats = m.exercise.beats_per_bar or 4
    bar_s, reach = beats * own.beat_s, reach_ms(own.deviation_ms.tolist())
    pairs = list(zip(own.time_s.tolist(), own.deviation_ms.tolist(), strict=True))
    bars = []
    start_s, number = own.first_s, 1
    while start_s < own.end_s:
        inside = [(t, off) for t, off in pairs if start_s - bar_s / 64 <= t < start_s + bar_s * (1 - 1 / 64)]
        if inside:
            values = [off for _, off in inside]
            bars.append(
                Bar(
                    number=number,
                    name=f"at {words.clock(start_s)}",
                    start_s=start_s,
                    end_s=start_s + bar_s,
                    marks=tuple(
                        Mark(
                            kind="strum", x=across((t - start_s) / bar_s), y=height_of(off, reach), time_s=t,
                            said=f"{words.side(off)} in the tempo of its own",
                        )
                        for t, off in inside
                    ),
                    strums=len(inside),
                    mean=words.side(sum(values) / len(values)),
                    furthest=words.side(max(values, key=abs)),
                    clicks=tuple(
                        across((t - start_s) / bar_s) for t in own.click_s.tolist() if start_s <= t < start_s + bar_s
                    ),
                )
            )  # fmt: skip
        start_s, number = start_s + bar_s, number + 1
    reached = f"{words.number(reach)} ms"
    return Chart(bars=tuple(bars), middle=MIDDLE, tolerance_said="", reach_said=reached, about_click=False)
