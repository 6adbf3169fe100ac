"""What a reader of the figures must know about an alignment, as notices: sentences that are true of what was found."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from strumclock.alignment.result import ADDED, OUTSIDE, Alignment, Departure, Part
from strumclock.arrays import Floats, Ints
from strumclock.errors import Notice
from strumclock.grid import BeatGrid

if TYPE_CHECKING:
    from strumclock.alignment.pulse import Pulse
    from strumclock.click import Clicks

EXTRAPOLATED_BEATS = 4.0
"""Beats of the grid without a click after which it is said: the last few of a quiet click may be covered by strums."""
POOR_FIT = 0.25
"""Share of the slots left empty, or of the strums without a slot, from which the exercise told is doubted."""
BETWEEN_STRUMS = 8
BETWEEN_SHARE = 0.6
"""Strums without a slot, and the share of them that lies at one place of the part, from which they are a regular
one."""
OUTSIDE_STRUMS, ON_BEAT = 2, 0.15
"""Strums outside the grid, this near to a beat (in beats), from which they are mentioned."""
FAR_STRUMS = 16
"""Strums from which something is said of where they lie as a whole; half of them make a beginning and an end."""
FAR_PARTS = 0.4
"""Parts of the beat from which the strums as a whole are far from their slots: with a click between the beats they lie
half a part away, on either side."""
SILENT_BARS = 1.0
"""Bars without a strum at an end of the grid from which that is said."""


def left_click(departures: tuple[Departure, ...], counts: list[int], bpm: float) -> tuple[Notice, ...]:
    """Where the player kept another tempo than the click."""
    return tuple(
        Notice(
            code="left-click",
            message=f"from {d.start_s:.1f} s to {d.end_s:.1f} s the strums keep {d.played_bpm:.1f} bpm"
            + ("" if d.other_bpm is None else f", or {d.other_bpm:.1f},")
            + f" against the {bpm:.1f} they were to be played at: these {n} strums and the slots between them are left "
            "out of every figure",
        )
        for d, n in zip(departures, counts, strict=True)
    )


def extrapolated(pulse: Pulse, grid: BeatGrid, u_s: Floats) -> tuple[Notice, ...]:
    """The click is no longer heard before the grid ends."""
    if pulse.last_click_beat is None or not len(grid):
        return ()
    last_s = pulse.time(pulse.last_click_beat)
    if grid.slot_s[-1] - last_s <= EXTRAPOLATED_BEATS * pulse.beat_s * max(1.0, 1.0 / pulse.clicks_per_beat):
        return ()
    message = (
        f"the last click heard is at {last_s:.1f} s; from there the beats are carried on to {grid.slot_s[-1]:.1f} s, "
        f"where their place is known to ±{2000 * u_s[-1]:.2g} ms if the click kept its tempo"
    )
    return (Notice(code="click-fades", message=message),)


def ends(grid: BeatGrid, slot: Ints, unasked: NDArray[np.bool_], counted: bool) -> tuple[Notice, ...]:
    """Bars at the beginning or the end of the grid in which nothing was played, at a tempo of the player's own (the
    slots `unasked`) neither."""
    taken = np.concatenate([slot[slot >= 0], np.flatnonzero(unasked)])
    if not (slot >= 0).any() or not counted:
        return ()
    notices: tuple[Notice, ...] = ()
    bar_s = float(np.median(grid.beat_s)) * grid.beats_per_bar
    first, last = int(taken.min()), int(taken.max())
    if grid.slot_s[first] - grid.slot_s[0] >= SILENT_BARS * bar_s:
        message = (
            f"the first strum comes in bar {grid.bar[first]}; the {first} slots before it count as omitted "
            "(tell the count-in if the playing was to begin later)"
        )
        notices += (Notice(code="starts-late", message=message),)
    if grid.slot_s[-1] - grid.slot_s[last] >= SILENT_BARS * bar_s:
        message = (
            f"the last strum comes in bar {grid.bar[last]} of {grid.bar[-1]}; the {len(grid) - 1 - last} slots "
            "after it count as omitted (tell the bars, or where the take ends, if the playing was over)"
        )
        notices += (Notice(code="stops-early", message=message),)
    return notices


def outside(grid: BeatGrid, strum_s: Floats, slot: Ints, bars_told: bool) -> tuple[Notice, ...]:
    """Strums on the beats before the first or after the last bar: the count-in or the bars told may be wrong."""
    notices: tuple[Notice, ...] = ()
    ignored = strum_s[slot == OUTSIDE]
    if not len(grid) or not len(ignored):
        return ()
    before = _on_beats(ignored[ignored < grid.line_s[0]], float(grid.line_s[0]), float(grid.beat_s[0]))
    if before >= OUTSIDE_STRUMS:
        message = (
            f"{before} strums lie on beats before the first played bar and are left out; tell the count-in if they are "
            "part of the take"
        )
        notices += (Notice(code="strums-before-start", message=message),)
    after = _on_beats(ignored[ignored > grid.end_s], float(grid.end_s), float(grid.beat_s[-1]))
    if bars_told and after >= OUTSIDE_STRUMS:
        message = (
            f"{after} strums lie on beats after the last of the {grid.line_bar[-1]} bars told and are left out; tell "
            "more bars if they are part of the take"
        )
        notices += (Notice(code="strums-after-end", message=message),)
    return notices


def _on_beats(strum_s: Floats, line_s: float, beat_s: float) -> int:
    """How many strums lie near a beat line, the lines being a beat apart."""
    phase = (strum_s - line_s) / beat_s
    return int((np.abs(phase - np.rint(phase)) < ON_BEAT).sum())


def far_off(grid: BeatGrid, strum_s: Floats, slot: Ints, fitted: bool) -> tuple[Notice, ...]:
    """The strums lie nearer to other places of the beat than to those they were paired with."""
    kept = slot >= 0
    if kept.sum() < FAR_STRUMS:
        return ()
    offset_s = strum_s[kept] - grid.slot_s[slot[kept]]
    part_s = float(np.median(grid.part_s))
    n = FAR_STRUMS // 2
    slid_s = float(np.median(offset_s[-n:]) - np.median(offset_s[:n]))
    if abs(slid_s) > 0.5 * part_s:
        message = (
            f"the strums slide by {1000 * abs(slid_s):.0f} ms from the beginning to the end, more than half a part of "
            "the beat: each is measured against the slot it was played for, not against the nearest one"
        )
        return (Notice(code="slides-far", message=message),)
    middle_s = float(np.median(offset_s))
    if not fitted and abs(middle_s) > FAR_PARTS * part_s:
        side = "after" if middle_s > 0 else "before"
        message = (
            f"the strums lie {1000 * abs(middle_s):.0f} ms {side} their slots in the median, "
            f"{abs(middle_s) / part_s:.2f} of a part of the beat: the pattern pairs them so; a click on the off-beats "
            "lies so, and wireless headphones can delay a click that much"
        )
        return (Notice(code="far-from-slots", message=message),)
    return ()


def fit(grid: BeatGrid, strum_s: Floats, slot: Ints, n_omitted: int) -> tuple[Notice, ...]:
    """The strums do not look like the exercise that was told."""
    added = strum_s[slot == ADDED]
    n = int((slot >= 0).sum()) + len(added)
    regular = _regular_place(grid, added)
    if regular is not None:
        share, count = regular
        message = (
            f"{count} strums without a slot lie regularly {share:.2f} of the way from one place of the pattern to "
            "the next: check the tempo, the parts of a beat and the pattern"
        )
        return (Notice(code="strums-between", message=message),)
    if n_omitted > POOR_FIT * max(len(grid), 1) or len(added) > POOR_FIT * max(n, 1):
        message = (
            f"{n_omitted} of {len(grid)} slots have no strum and {len(added)} of {n} strums no slot: either much was "
            "left out and added, or the tempo, pattern or start told is not what was played"
        )
        return (Notice(code="poor-fit", message=message),)
    return ()


def _regular_place(grid: BeatGrid, added: Floats) -> tuple[float, int] | None:
    """Share of the way between two slots at which most added strums lie, and how many; None where they lie anywhere."""
    if len(added) < max(BETWEEN_STRUMS, POOR_FIT * len(grid)) or len(grid) < 2:
        return None
    left = np.clip(np.searchsorted(grid.slot_s, added, side="right") - 1, 0, len(grid) - 2)
    way = (added - grid.slot_s[left]) / (grid.slot_s[left + 1] - grid.slot_s[left])
    middle = float(np.median(way))
    near = np.abs(way - middle) < 0.1
    return (middle, int(near.sum())) if near.mean() >= BETWEEN_SHARE else None


def gaps(take: Alignment) -> tuple[Notice, ...]:
    """Where the clicks jump."""
    return tuple(
        Notice(
            code="gap",
            message=f"at {gap_s:.1f} s the clicks jump: sound is missing there or was put in; from there on the beats "
            "are taken from the clicks after it",
        )
        for gap_s in take.gaps_s
    )


def unused(used_s: float, clicks: Clicks | None) -> tuple[Notice, ...]:
    """That clicks go on, in a row of their own, after all that was aligned."""
    rows = [] if clicks is None else [train for train in clicks.trains if train.start_s > used_s]
    if not rows:
        return ()
    message = (
        f"clicks are heard from {rows[0].start_s:.1f} to {rows[-1].end_s:.1f} s, but nothing that was played to them "
        "was found: no figure is of what lies there"
    )
    return (Notice(code="clicks-unused", message=message),)


def steps(take: Alignment) -> tuple[Notice, ...]:
    """That the click changes its tempo on the way."""
    if len(take.steps_s) < 2:
        return ()
    tempi = [f"{bpm:g} bpm from {step_s:.0f} s" for step_s, bpm in zip(take.steps_s, take.steps_bpm, strict=True)]
    message = (
        f"the click changes its tempo: {', '.join(tempi)}; each strum is held against its own "
        "step's click, and each step has figures of its own"
    )
    return (Notice(code="click-changes-tempo", message=message),)


def parts(listed: tuple[Part, ...]) -> tuple[Notice, ...]:
    """That more was played than what is measured."""
    others = [i for i, p in enumerate(listed, 1) if not p.measured and p.kind not in ("stopped", "own-tempo")]
    mine = [p for p in listed if p.measured]
    if not others or not mine:
        return ()
    message = (
        f"this recording holds more than one stretch of playing: the figures are of what was played from "
        f"{mine[0].start_s:.1f} to {mine[-1].end_s:.1f} s; tell --part {' or '.join(map(str, others))} for "
        f"{'another' if len(others) > 1 else 'the other'}"
    )
    return (Notice(code="parts", message=message),)


def tempo_differs(told_bpm: float, heard_bpm: float) -> Notice:
    """The clicks keep another tempo than the one told."""
    message = (
        f"the tempo told is {told_bpm:g} bpm, but the clicks beat {heard_bpm:.2f}; the clicks are believed, and "
        "everything is measured against them"
    )
    return Notice(code="tempo-differs", message=message)


def tempo_kept_differs(told_bpm: float, kept_bpm: float) -> Notice:
    """The strums keep another tempo than the one told, and no click is heard."""
    message = (
        f"the tempo told is {told_bpm:g} bpm, but the strums keep {kept_bpm:.1f} and no click is heard to decide: they "
        "are measured at their own tempo, so how far it slid from a click is not known"
    )
    return Notice(code="tempo-differs", message=message)


def tempo_estimated(bpm: float) -> Notice:
    """The tempo was found in the strums."""
    message = (
        f"no click is heard and no tempo was told: {bpm:.1f} bpm is the tempo that the strums keep (half or double of "
        "it cannot be told apart), so how far it slid from a click is not known"
    )
    return Notice(code="tempo-estimated", message=message)


def tempo_ratio(bpm: float, heard_bpm: float, ratio: float) -> Notice:
    """The clicks beat a simple multiple of the tempo told."""
    each = f"{ratio:.0f} clicks to a beat" if ratio > 1 else f"a click every {1 / ratio:.0f} beats"
    message = (
        f"the clicks beat {heard_bpm:.2f} a minute and the tempo told is {bpm:g} bpm: the told beat is kept, with "
        f"{each}; tell {heard_bpm:.0f} bpm instead if each click is meant to be a beat"
    )
    return Notice(code="tempo-ratio", message=message)


def tempo_fast(heard_bpm: float) -> Notice:
    """The clicks are fast for a beat."""
    message = (
        f"the clicks beat {heard_bpm:.0f} a minute and no tempo was told: each is taken for a beat; tell "
        f"{heard_bpm / 2:.0f} bpm if every other one is"
    )
    return Notice(code="tempo-fast", message=message)
