"""What a reader of the figures must know about the click, as notices."""

from __future__ import annotations

import numpy as np

from strumclock.click import Clicks
from strumclock.errors import Notice

LEAST_MS = 0.2
"""Clicks that lie less about their beat than this are even: no strum is timed that well."""

TEMPO_SHARE, END_CLICKS = 0.002, 8
"""A change of tempo by this share, between so many clicks at the beginning and as many at the end, is said as one; what
is less, as a wandering."""

JUMP_MS = 1.0
"""Two clicks that lie further apart than their neighbours do by this jump."""


def click_notices(clicks: Clicks) -> tuple[Notice, ...]:
    """That the click is uneven, or does not keep one tempo, where that is so."""
    return (*_uneven(clicks), *_bending(clicks))


def swelling_notices(swells_s: float) -> tuple[Notice, ...]:
    """That the click's sound has no one moment, where it swells."""
    if not swells_s:
        return ()
    message = (
        f"the click is a sound that swells for {1000 * swells_s:.0f} ms, as a voice does: where in it the beat was "
        "felt cannot be told, which enters the mean offset's uncertainty; evenness and drift are not harmed; use a "
        "click or a beep"
    )
    return (Notice(code="click-swells", message=message),)


def _uneven(clicks: Clicks) -> tuple[Notice, ...]:
    alternates, wanders = 1000 * clicks.alternates_s, 1000 * clicks.wanders_s
    if max(alternates, wanders) < LEAST_MS:
        return ()
    message = (
        f"the click itself is uneven, as a wind-up metronome's: tick and tock lie {alternates:.1f} ms on either "
        f"side of its mean beat, and each wanders by {wanders:.1f} ms; the grid is the mean beat, and both enter "
        "the mean offset's uncertainty; the wandering is also in the jitter; stand the metronome level, or use an "
        "electronic one"
    )
    return (Notice(code="click-uneven", message=message),)


def _bending(clicks: Clicks) -> tuple[Notice, ...]:
    """That the beat itself is not steady: the tempo at both ends, how far it lies from a steady one, where it jumps."""
    if not np.any(clicks.bend_s):
        return ()
    bend_ms = 1000 * clicks.bend_s
    interval_ms = 1000 * clicks.interval_s
    few = min(END_CLICKS, len(bend_ms) - 1)
    first, last = (float(bend_ms[i + few] - bend_ms[i]) / few for i in (0, -1 - few))
    if abs(last - first) > TEMPO_SHARE * interval_ms:
        bpm = [60000 / (interval_ms + more) for more in (first, last)]
        what = f"{bpm[0]:.1f} bpm at the beginning and {bpm[1]:.1f} at the end"
    else:
        what = f"it wanders by up to {np.abs(bend_ms).max():.1f} ms from a steady beat"
    leap_ms = np.diff(bend_ms)
    leap_ms = leap_ms - np.median(leap_ms)
    widest = int(np.argmax(np.abs(leap_ms)))
    if abs(leap_ms[widest]) > JUMP_MS and abs(leap_ms[widest]) > 0.5 * float(np.ptp(bend_ms)):
        what += f"; at {clicks.time_s[widest + 1]:.1f} s it jumps by {leap_ms[widest]:+.1f} ms"
    message = (
        f"the click does not keep one tempo: {what}; the grid follows it; a metronome that runs down does so, and the "
        "delay of a wireless loudspeaker"
    )
    return (Notice(code="click-bends", message=message),)
