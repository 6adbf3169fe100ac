"""Where a player left the click.  Truth: simulated players who keep another tempo between two known strums."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from alignment_players import Player, clicks_of, deviations, play

from strumclock.alignment import LEFT_CLICK, Alignment, align
from strumclock.alignment.departures import find_left
from strumclock.grid import BeatGrid, Exercise, build_grid


def leaver(
    bpm: float, own_bpm: float, *, per_beat: int = 1, bars: tuple[int, int, int] = (8, 10, 8), seed: int = 0
) -> tuple[Exercise, BeatGrid, np.ndarray, np.ndarray]:
    """Somebody who plays with the click, at a tempo of their own, with the click: strums, and which were away."""
    rng = np.random.default_rng(seed)
    exercise = Exercise(bpm=bpm, meter="4/4", per_beat=per_beat, count_in=1)
    part_s, start_s = 60.0 / bpm / per_beat, 0.5 + 240.0 / bpm
    before, away, after = (4 * per_beat * b for b in bars)
    first = start_s + np.arange(before) * part_s
    leave_s = first[-1] + part_s if before else start_s
    own = leave_s + np.arange(away) * 60.0 / own_bpm / per_beat
    back_s = start_s + np.ceil((own[-1] + 0.6 * part_s - start_s) / part_s) * part_s
    last = back_s + np.arange(after) * part_s
    strum_s = np.concatenate([first, own, last])
    was_away = np.repeat([False, True, False], [before, away, after])
    strum_s = strum_s + rng.normal(0.0, min(0.012, 0.06 * part_s), len(strum_s)) - 0.01
    grid = build_grid(exercise, bars=int((strum_s[-1] + 0.1 - start_s) / (240.0 / bpm)) + 1).placed(start_s)
    return exercise, grid, strum_s, was_away


def codes(found: Alignment) -> list[str]:
    return [n.code for n in found.notices]


@pytest.mark.parametrize(
    ("bpm", "own_bpm", "per_beat"),
    [(96, 84, 1), (96, 84, 2), (60, 63, 1), (100, 107, 2), (120, 100, 1), (70, 74, 4), (90, 112.5, 1), (80, 64, 1)],
)
@pytest.mark.parametrize("bars", [(8, 10, 8), (0, 16, 0), (6, 12, 0), (0, 12, 6)])
def test_a_stretch_at_another_tempo_is_found_with_its_tempo(
    bpm: float, own_bpm: float, per_beat: int, bars: tuple[int, int, int]
) -> None:
    """Its ends within a bar, its tempo within 0.3 %, nothing in it on a slot, every other strum on its own."""
    exercise, grid, strum_s, away = leaver(bpm, own_bpm, per_beat=per_beat, bars=bars)
    found = align(strum_s, exercise, clicks=clicks_of(grid))
    assert len(found.left_click) == 1
    start_s, end_s, played_bpm, _ = found.left_click[0]
    bar_s = 240.0 / bpm
    assert played_bpm == pytest.approx(own_bpm, rel=0.003)
    assert start_s == pytest.approx(strum_s[away][0], abs=bar_s)
    assert end_s == pytest.approx(strum_s[away][-1], abs=bar_s)
    marked = found.slot == LEFT_CLICK
    assert marked[away].mean() > 0.85
    assert (found.slot[~away & ~marked] >= 0).all()
    assert "left-click" in codes(found)


OWN_SHARES = (0.75, 0.84, 0.9, 1.07, 1.2, 1.4)


def away_throughout(exercise: Exercise, share: float, seed: int) -> tuple[BeatGrid, np.ndarray]:
    """A minute at `share` of the click's tempo: the click's grid, and the strums by the same exercise at their own."""
    bars = int(float(exercise.bpm) / 4)
    grid = build_grid(exercise, bars=bars).placed(2.9)
    own = build_grid(replace(exercise, bpm=share * float(exercise.bpm), count_in=0), bars=int(share * bars) - 1)
    rng = np.random.default_rng(seed)
    return grid, np.sort(own.placed(2.9).slot_s + deviations(len(own), 0.012, rng))


EXERCISES = [
    Exercise(bpm=100, meter="4/4", per_beat=1, count_in=1),
    Exercise(bpm=72, meter="4/4", per_beat=1, pattern="D.", count_in=1),
    Exercise(bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1),
    Exercise(bpm=84, meter="4/4", per_beat=2, swing=2 / 3, count_in=1),
    Exercise(bpm=100, meter="4/4", per_beat=2, pattern="D.DU", swing=0.6, count_in=1),
    Exercise(bpm=72, meter="4/4", per_beat=3, count_in=1),
]


@pytest.mark.parametrize("told", ["all", "half", "tempo", "nothing"])
@pytest.mark.parametrize("exercise", EXERCISES, ids=lambda e: f"{e.per_beat}-{e.pattern}-{e.swing}")
def test_a_tempo_kept_throughout_is_stated_as_it_was_played(exercise: Exercise, told: str) -> None:
    """Truth: the tempo that the strums were laid at, three quarters to 1.4 times the click's.

    With the exercise told, at its beat or at half of it, the tempo stated is right wherever one is. With less told,
    in all but the triplets and the tempi far from the click's it or the other one named is; those may also be
    sixteenths or eighths at a tempo nearer to the click's.
    """
    tell = {
        "all": exercise,
        "half": replace(exercise, bpm=float(exercise.bpm) / 2),
        "tempo": Exercise(bpm=exercise.bpm),
        "nothing": Exercise(),
    }[told]
    stated = 0
    for share in OWN_SHARES:
        if told in ("tempo", "nothing") and (exercise.per_beat == 3 or not 0.8 <= share <= 1.3):
            continue
        grid, strum_s = away_throughout(exercise, share, seed=int(100 * share))
        found = align(strum_s, tell, clicks=clicks_of(grid))
        for left in found.left_click:
            of_told = [bpm / float(found.exercise.bpm) for bpm in (left.played_bpm, left.other_bpm) if bpm is not None]
            right = [abs(bpm / share - 1.0) < 0.01 for bpm in of_told]
            assert right[0] if told in ("all", "half") else any(right), (share, left)
            stated += 1
    assert stated or exercise.per_beat == 3


def test_quarters_at_90_against_a_click_at_100_are_said_to_be_at_90() -> None:
    """Truth: the tempo that the strums were laid at; it was read against halves of the click, and 67 bpm was stated."""
    grid, strum_s = away_throughout(EXERCISES[0], 0.9, seed=3)
    (left,) = align(strum_s, Exercise(), clicks=clicks_of(grid)).left_click
    assert left.played_bpm == pytest.approx(90, rel=0.003)
    assert left.other_bpm is None


def test_slots_in_a_stretch_that_left_the_click_are_not_omitted() -> None:
    """Nobody can say which slots those strums were meant for, so none of them is missing."""
    exercise, grid, strum_s, _ = leaver(96, 84)
    found = align(strum_s, exercise, clicks=clicks_of(grid))
    start_s, end_s, *_ = found.left_click[0]
    omitted_s = found.grid.slot_s[found.omitted]
    assert not ((omitted_s > start_s) & (omitted_s < end_s)).any()
    assert (omitted_s < strum_s[-1]).sum() <= 1


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(
    "player",
    [
        Player(drift_s_per_min=-0.12),
        Player(drift_s_per_min=0.12),
        Player(offset_s=-0.04, jitter_s=0.045, miss=0.12, extra=0.06, change_late_s=0.12),
    ],
)
@pytest.mark.parametrize("swing", [None, 0.62, 0.68])
def test_drift_slips_and_swing_are_not_taken_for_leaving(player: Player, seed: int, swing: float | None) -> None:
    """Players who stay with the click, however unsteady, have not left it: a minute and a half at 76 bpm."""
    exercise = Exercise(bpm=76, meter="4/4", per_beat=1 if swing is None else 2, swing=swing, count_in=1)
    take = play(exercise, player, seed=seed, bars=28)
    assert align(take.strum_s, exercise, clicks=clicks_of(take.grid)).left_click == ()


@pytest.mark.parametrize("every", [0.5, 2 / 3, 0.75, 1.5])
def test_other_divisions_of_the_click_are_not_leaving(every: float) -> None:
    """Eighths, quarter-note triplets and dotted rhythms against the click keep step with it."""
    rng = np.random.default_rng(1)
    beat = np.arange(0, 60, every) + rng.normal(0, 0.02, len(np.arange(0, 60, every)))
    assert find_left(beat, 1) == []


def test_random_strums_leave_nothing() -> None:
    """Strums that keep no tempo keep no tempo of their own: at most 2 of 100 random takes seem to."""
    alarms = 0
    for seed in range(100):
        beat = np.sort(np.random.default_rng(seed).uniform(0, 64, 64))
        alarms += bool(find_left(beat, 1 + seed % 4))
    assert alarms <= 2


def test_a_take_that_ends_beside_the_click_does_not_stop_early() -> None:
    """Ten bars with the click, then a tempo of the player's own to the end: no slot after it is omitted, none said."""
    steady = play(Exercise(bpm=96, meter="4/4", per_beat=1, pattern="D", count_in=1), Player(), seed=1, bars=30)
    own_s = steady.strum_s[39] + np.arange(1, 70) * 60 / 84
    strum_s = np.concatenate([steady.strum_s[:40], own_s])
    heard = 4 + int(np.searchsorted(steady.grid.line_s, own_s[-1]))
    found = align(strum_s, steady.exercise, clicks=clicks_of(steady.grid, heard=heard))
    assert len(found.left_click) == 1
    assert len(found.omitted) <= 1
    assert not {"stops-early", "starts-late"} & {notice.code for notice in found.notices}


@pytest.mark.parametrize(("share", "said"), [(0.8, True), (0.75, True), (1.0, False)])
def test_even_strums_in_step_with_the_click_by_odd_parts_are_said_to_be_perhaps_a_tempo(
    share: float, said: bool
) -> None:
    """Truth: quarters at 80 or 75 against 100, on every fifth quarter or fourth third of its beat; quarters at 100."""
    grid, strum_s = away_throughout(EXERCISES[0], share, seed=3)
    notices = align(strum_s, Exercise(), clicks=clicks_of(grid)).notices
    told = [n.message for n in notices if n.code == "even-beside-click"]
    assert bool(told) is said
    assert all(f"that is {100 * share:.0f} a minute against its 100" in message for message in told)
