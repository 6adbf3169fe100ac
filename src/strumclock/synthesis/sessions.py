"""Recordings that hold more than one steady take: a player who leaves the click, a click that steps, takes in a row."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from strumclock.arrays import Samples
from strumclock.errors import UsageError
from strumclock.grid import Exercise, grid_from_beats
from strumclock.synthesis.player import Player
from strumclock.synthesis.scene import Scene, clicks
from strumclock.synthesis.strings import RATE_HZ
from strumclock.synthesis.take import PEAK, Take, synthesise

CLICK_LEVEL = 0.28
"""Peak of a click against the loudest strum's of the take: −11 dB."""


def leaving(
    exercise: Exercise, *, own_bpm: float, bars: tuple[int, int, int], player: Player | None = None, seed: int = 0
) -> Samples:
    """A player who keeps to the click, then to a tempo of their own, then comes in again on a bar of the click.

    Parameters
    ----------
    exercise : Exercise
        With its tempo and meter.
    own_bpm : float
    bars : (int, int, int)
        Bars with the click, at the own tempo, and with the click again; the first or the last may be 0.
    player : Player, optional
    seed : int

    Returns
    -------
    (n,) float32
        At `RATE_HZ`, with one bar of count-in; the click goes on to the last strum.

    Raises
    ------
    UsageError
        If tempo or meter are missing.
    """
    beats, bpm = exercise.beats_per_bar, exercise.bpm
    if beats is None or bpm is None:
        raise UsageError("who leaves the click needs one to leave, but the exercise has no tempo or meter; give both")
    click_s, own_s = 60.0 / bpm, 60.0 / own_bpm
    before, away, after = (count * beats for count in bars)
    own = before * click_s + np.arange(away) * own_s
    left_s = before * click_s + away * own_s
    back = beats * click_s * np.ceil(left_s / (beats * click_s)) + np.arange(after) * click_s
    beat_s = np.concatenate([np.arange(before) * click_s, own, back])
    plain = replace(exercise, count_in=None, bars=None)
    take = synthesise(exercise, player, Scene(click_db=None), seed, grid=grid_from_beats(beat_s, plain))
    lead_s = beats * click_s
    guitar = np.concatenate([np.zeros(round(lead_s * RATE_HZ), np.float32), take.samples])
    first_s = lead_s + take.truth.first_downbeat_s
    count = np.arange(-beats, int(beat_s[-1] / click_s) + 1)
    ticks_s = np.asarray(first_s + count * click_s, dtype=np.float64)
    sound = guitar + CLICK_LEVEL * clicks(ticks_s, count % beats == 0, "tick", len(guitar))
    return np.asarray(PEAK / np.abs(sound).max() * sound, dtype=np.float32)


def stepping(
    exercise: Exercise, *, bpms: tuple[float, ...], bars: int, player: Player | None = None, seed: int = 0
) -> Take:
    """A take whose click steps to another tempo every so many bars, one bar counted in.

    Parameters
    ----------
    exercise : Exercise
        With its meter.
    bpms : tuple of float
    bars : int
        Of each step.
    player : Player, optional
    seed : int

    Raises
    ------
    UsageError
        If the meter is missing.
    """
    beats = exercise.beats_per_bar
    if beats is None:
        raise UsageError("a click that steps needs bars to step at, but the exercise has no meter; give it")
    lengths = [60.0 / bpms[0]] * beats + [60.0 / bpm for bpm in bpms for _ in range(bars * beats)]
    beat_s = np.concatenate([[0.0], np.cumsum(lengths)[:-1]])
    counted = replace(exercise, count_in=1, bars=None)
    return synthesise(exercise, player, None, seed, grid=grid_from_beats(beat_s, counted))


def in_a_row(*takes: Take, gap_s: float) -> Samples:
    """Takes of one channel one after the other, with so much silence between them, (n,) float32."""
    gap = np.zeros(round(gap_s * RATE_HZ), np.float32)
    pieces = [piece for take in takes for piece in (gap, take.samples)]
    return np.concatenate(pieces[1:])
