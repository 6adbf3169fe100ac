"""What the timing is made of: chords, tuning, the stroke, how errors travel; or why it cannot be told."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment import OUTSIDE, Alignment
from strumclock.errors import Absent
from strumclock.grid import BeatGrid
from strumclock.onsets import Strums

if TYPE_CHECKING:
    from strumclock.chords import Changes, Harmony
    from strumclock.stroke import Spreads, Stroke
    from strumclock.timing import Timing
    from strumclock.tuning import Tuning

NOT_ASKED = Absent(code="not-asked", reason="it was not asked for")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Low:
    """The guitar at about 11 kHz, what strokes, chords and pitch are read from, and the picture of each strum."""

    samples: NDArray[np.float32]
    rate_hz: float
    start_s: float
    picture: NDArray[np.float32]


def pictured(samples: NDArray[np.float32], rate_hz: float, start_s: float, strums: Strums) -> Low:
    """The guitar's channel at about 11 kHz with the picture of each strum."""
    from strumclock.stroke import pictures

    picture = pictures(samples, rate_hz, strums.time_s - start_s)
    return Low(samples=samples, rate_hz=rate_hz, start_s=start_s, picture=picture)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Heard:
    """What was heard of the chords and the pitch before any timing.

    Attributes
    ----------
    at_change : (n_strums,) array of bool
        The first strum of each new chord, told or heard.
    harmony : Harmony or None
        The chord under each strum, where it was listened for.
    tuning : Tuning or None
    absent : dict
        Reasons, by place in the JSON.
    """

    at_change: NDArray[np.bool_]
    harmony: Harmony | None = None
    tuning: Tuning | None = None
    absent: dict[str, Absent] = field(default_factory=dict)


def hear(
    low: Low,
    strums: Strums,
    alignment: Alignment | None,
    *,
    changes: bool,
    tuning: bool,
) -> Heard:
    """Listen for the pitch and the chords where that was asked for; take told chords from the grid."""
    time_s = strums.time_s - low.start_s
    at_change = np.zeros(len(strums), bool)
    told = alignment is not None and bool(alignment.grid.at_change.any())
    if alignment is not None and told:
        on = alignment.slot >= 0
        at_change[on] = alignment.grid.at_change[alignment.slot[on]]
    absent: dict[str, Absent] = {}
    pitch = harmony = None
    if changes or tuning:
        from strumclock.tuning import take_pitch

        found = take_pitch(low.samples, low.rate_hz, time_s)
        if isinstance(found, Absent):
            absent["tuning"] = found
        else:
            pitch = found
    if changes and not told:
        from strumclock.chords import hear_chords

        harmony = hear_chords(
            low.samples, low.rate_hz, time_s, tuning_cents=pitch.cents.value if pitch is not None else 0.0
        )
        at_change = harmony.changes.copy()
    if not tuning:
        pitch, absent = None, {"tuning": NOT_ASKED}
    return Heard(at_change=at_change, harmony=harmony, tuning=pitch, absent=absent)


def take_changes(
    heard: Heard, strums: Strums, alignment: Alignment | None, timing: Timing | None, *, asked: bool
) -> Changes | Absent:
    """The chord changes' figures, or the reason why there are none."""
    from strumclock.chords import measure_changes

    told = alignment is not None and bool(alignment.grid.at_change.any())
    if not (asked or told):
        return NOT_ASKED
    n = len(strums)
    if alignment is None or timing is None:
        assert heard.harmony is not None
        return measure_changes(
            strums.time_s,
            heard.at_change,
            u_s=strums.u_s,
            chord=heard.harmony.chord,
            confidence=heard.harmony.confidence,
            source="heard",
        )
    on = np.flatnonzero(alignment.slot >= 0)
    at = alignment.slot[on]
    grid = alignment.grid
    deviation_ms, line_s = np.full(n, np.nan), np.full(n, np.nan)
    deviation_ms[on], line_s[on] = timing.deviation_ms, grid.slot_s[at]
    if len(on) > 2:  # the drift is not the chord's doing
        slope = np.polyfit(line_s[on] - line_s[on].mean(), deviation_ms[on], 1)
        deviation_ms[on] -= np.polyval(slope, line_s[on] - line_s[on].mean())
    number = None
    if told:
        number = np.zeros(n, np.int64)
        number[on] = np.cumsum(grid.at_change)[at]
        chord = _told_chords(alignment)
    else:
        assert heard.harmony is not None
        chord = heard.harmony.chord
    return measure_changes(
        strums.time_s,
        heard.at_change,
        u_s=strums.u_s,
        chord=chord,
        confidence=None if told else heard.harmony.confidence,  # type: ignore[union-attr]  # not told: it was heard
        deviation_ms=deviation_ms,
        line_s=line_s,
        omitted_s=grid.slot_s[alignment.omitted],
        beat_s=float(np.median(grid.beat_s)),
        lateness_ms=timing.at_change,
        number=number,
        source="told" if told else "heard",
    )


def _told_chords(alignment: Alignment) -> tuple[str, ...] | None:
    """The chord told for each strum; that of the strum before for one without a slot; None where no names were told."""
    names = [""] * len(alignment.slot)
    for i, slot in enumerate(alignment.slot):
        names[i] = str(alignment.grid.chord[slot]) if slot >= 0 else (names[i - 1] if i else "")
    return tuple(names) if any(names) else None


def chord_names(heard: Heard, alignment: Alignment, on: NDArray[np.int64]) -> tuple[str, ...] | None:
    """The chord under each of those strums, told or heard; None where neither."""
    if alignment.grid.at_change.any():
        names = _told_chords(alignment)
    else:
        names = heard.harmony.chord if heard.harmony is not None else None
    return None if names is None else tuple(names[i] for i in on)


def take_spreads(low: Low, strums: Strums) -> Spreads:
    """First to last string of each strum."""
    from strumclock.stroke import measure_spreads

    return measure_spreads(low.picture, strums.time_s)


def swings(grid: BeatGrid) -> NDArray[np.float64]:
    """Ways in which the hand may swing through the grid's slots, counted in single swings, one a row."""
    if not len(grid):
        return np.empty((1, 0))
    parts = np.rint((grid.slot_s - grid.slot_s[0]) / float(np.median(grid.part_s)))
    rows = [parts, 2 * parts]  # one swing for each part; or down on every part, and up unheard in between
    if grid.per_beat == 3:  # a shuffle: down on the beat and up on the third part
        beats = np.rint((grid.slot_s - grid.slot_s[0]) / float(np.median(grid.beat_s)) - (grid.part - grid.part[0]) / 3)
        rows.append(2 * beats + (grid.part >= 2))
    return np.array(rows)


def take_stroke(
    low: Low, strums: Strums, spreads: Spreads, alignment: Alignment | None, timing: Timing | None
) -> Stroke | Absent:
    """The strokes' figures, or the reason why there are none."""
    from strumclock.stroke import Spreads, Timed, chromas, measure_levels, measure_stroke, tell_directions

    kept = np.ones(len(strums), bool) if alignment is None else alignment.slot != OUTSIDE
    time_s = strums.time_s[kept]
    if not len(time_s):
        return Absent(code="none-on-grid", reason="no strum lies on the grid")
    here_s = time_s - low.start_s
    timed = place = bar_place = None
    if alignment is not None and timing is not None:
        grid, slot = alignment.grid, alignment.slot[kept]
        on = slot >= 0
        at = np.where(on, slot, 0)
        deviation_ms = np.full(len(slot), np.nan)
        deviation_ms[on] = timing.deviation_ms
        timed = Timed(
            slot=np.where(on, slot, -1),
            beat=grid.beat[at],
            part=grid.part[at],
            letter=np.where(on, grid.stroke[at], ""),
            line_s=grid.slot_s[at],
            deviation_ms=deviation_ms,
            u_ms=1000 * strums.u_s[kept],
        )
        place = np.where(on, swings(grid)[:, at], np.nan)
        bar_place = np.where(on, 16 * grid.beat[at] + grid.part[at], -1)
    rings = np.ones(len(time_s), bool) if timed is None else timed.letter != "x"  # muted strokes have no direction
    found = tell_directions(
        low.picture[kept][rings],
        chromas(low.samples, low.rate_hz, here_s)[rings],
        here_s[rings],
        place=place[:, rings] if place is not None else None,
        bar_place=bar_place[rings] if bar_place is not None else None,
    )
    return measure_stroke(
        time_s,
        measure_levels(low.samples, low.rate_hz, here_s, u_s=strums.u_s[kept]),
        Spreads(spread_s=spreads.spread_s[kept], u_s=spreads.u_s[kept], shared_u_s=spreads.shared_u_s),
        found if isinstance(found, Absent) else found.placed(rings),
        timed=timed,
    )
