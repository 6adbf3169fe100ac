"""Alignment of takes.  Truth: simulated players, whose slots, slips and clocks are known (alignment_players.py)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from alignment_players import Player, Take, clicks_of, play
from hypothesis import example, given, settings, strategies as st

from strumclock.alignment import ADDED, LEFT_CLICK, OTHER_PART, OUTSIDE, Alignment, align
from strumclock.errors import RecordingError, UsageError
from strumclock.grid import Exercise, build_grid

QUARTERS = Exercise(bpm=90, meter="4/4", per_beat=1, count_in=1)
EIGHTHS = Exercise(bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1)
EXERCISES = {
    "quarters": QUARTERS,
    "eighths": EIGHTHS,
    "sixteenths": Exercise(bpm=70, meter="4/4", per_beat=4, pattern="D..UD.DUD..U.UDU", count_in=2),
    "swing": Exercise(bpm=110, meter="4/4", per_beat=2, pattern="DU", swing=0.65, count_in=1),
    "waltz": Exercise(bpm=84, meter="3/4", per_beat=1, count_in=1),
    "six-eight": Exercise(bpm=56, meter="6/8", per_beat=3, pattern="D.DDDD", count_in=2),
    "five": Exercise(bpm=120, meter="5/4", per_beat=2, pattern="D.DUD.DU.U", count_in=1),
    "off-beats": Exercise(bpm=96, meter="4/4", per_beat=2, pattern=".U", count_in=1),
}
PLAYERS = {
    "steady": Player(),
    "beginner": Player(offset_s=-0.03, jitter_s=0.025, miss=0.08, extra=0.04, change_late_s=0.05),
    "rushing": Player(drift_s_per_min=-0.12),
}
CODES = ("start-differs", "tempo-differs", "tempo-ratio", "poor-fit", "left-click")


def codes(found: Alignment) -> list[str]:
    return [n.code for n in found.notices]


def wrong_slots(found: Alignment, take: Take, within_s: float = 1e-3) -> int:
    """Strums whose slot's time is not their true slot's."""
    meant = take.slot >= 0
    slot = found.slot[meant]
    off = np.abs(found.grid.slot_s[slot] - take.grid.slot_s[take.slot[meant]]) > within_s
    return int(((slot < 0) | off).sum())


@pytest.mark.parametrize("exercise", EXERCISES.values(), ids=EXERCISES)
@pytest.mark.parametrize("player", PLAYERS.values(), ids=PLAYERS)
def test_told_takes_pair_every_strum_with_its_slot(exercise: Exercise, player: Player) -> None:
    """All told, a click throughout: each strum, omission and addition is where the simulation put it (±1 for slips)."""
    take = play(exercise, player, seed=3)
    found = align(take.strum_s, exercise, clicks=clicks_of(take.grid))
    slips = 1 if player.miss else 0
    assert found.anchor == "recorded-click"
    assert wrong_slots(found, take) <= slips
    assert abs(len(found.omitted) - take.n_omitted) <= slips
    assert abs(int((found.slot == ADDED).sum()) - take.n_added) <= slips
    assert len(found.grid) == len(take.grid)
    assert found.first_downbeat_s == pytest.approx(take.grid.line_s[0], abs=5e-4)
    assert not set(codes(found)) & set(CODES)


@pytest.mark.parametrize("name", EXERCISES)
def test_untold_takes_are_completed(name: str) -> None:
    """Nothing told but an accented click: tempo, meter, parts, pattern, count-in and bars come out as played."""
    asked = EXERCISES[name]
    take = play(asked, Player(), seed=5, bars=16)
    told = Exercise(meter="6/8") if name == "six-eight" else Exercise()  # accents cannot tell 6/8 from 2/4
    found = align(take.strum_s, told, clicks=clicks_of(take.grid, accents=True))
    done = found.exercise
    assert wrong_slots(found, take, within_s=0.02) == 0
    assert (done.bpm, done.meter, done.count_in, done.bars) == (asked.bpm, asked.meter, asked.count_in, 16)
    assert done.per_beat == asked.per_beat
    if asked.swing:
        assert done.swing == pytest.approx(asked.swing, abs=0.02)
    assert {"bpm", "per_beat", "pattern", "count_in", "bars"} <= set(found.inferred)
    assert len(found.omitted) == 0
    assert "pattern-inferred" in codes(found)
    assert 0.5 < found.confidence["pattern"] <= 1.0
    assert set(found.grid.stroke) == {"?"}


def test_an_inferred_pattern_counts_no_omissions() -> None:
    """Strums are missing, but nobody said that they were meant."""
    take = play(QUARTERS, Player(miss=0.12), seed=2, bars=20)
    assert take.n_omitted > 3
    found = align(take.strum_s, Exercise(bpm=90), clicks=clicks_of(take.grid))
    assert len(found.omitted) == 0
    assert len(align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid)).omitted) == take.n_omitted


def test_parts_told_without_a_pattern_mean_a_strum_on_each_unless_one_stays_silent() -> None:
    """per_beat 2 and no pattern: all eighths played count omissions, eighths left silent make a pattern."""
    full = play(replace(EIGHTHS, pattern=None), Player(miss=0.08), seed=4)
    found = align(full.strum_s, replace(EIGHTHS, pattern=None), clicks=clicks_of(full.grid))
    assert found.inferred == ("bars",)
    assert abs(len(found.omitted) - full.n_omitted) <= 1
    partly = play(EIGHTHS, Player(), seed=4)
    found = align(partly.strum_s, replace(EIGHTHS, pattern=None), clicks=clicks_of(partly.grid))
    assert "pattern" in found.inferred
    assert [c != "." for c in found.exercise.pattern or ""] == [c != "." for c in EIGHTHS.pattern or ""]
    assert len(found.omitted) == 0


def test_a_player_who_stops_half_way_shows_no_pattern() -> None:
    """Quarters told, only the first third of the bars played: the rest is omitted, not a pattern of silence."""
    take = play(QUARTERS, Player(), seed=4)
    found = align(take.strum_s[:16], QUARTERS, clicks=clicks_of(take.grid))
    assert "pattern" not in found.inferred
    assert len(found.omitted) == 32


def test_clock_skew_is_the_ratio_of_tempi_with_its_uncertainty() -> None:
    """Truth: the simulated recorder runs 80 ppm fast, so the clicks are heard 80 ppm fast of 90 bpm."""
    take = play(QUARTERS, Player(), seed=1, bars=24, skew_ppm=80.0)
    found = align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid))
    assert found.clock_skew_ppm is not None
    assert found.clock_skew_u_ppm is not None
    assert abs(found.clock_skew_ppm - 80.0) < 3 * found.clock_skew_u_ppm
    assert found.clock_skew_u_ppm < 5.0
    assert found.bpm_heard == pytest.approx(90 * (1 + 80e-6), abs=1e-3)
    assert np.abs(found.grid.slot_s - take.grid.slot_s).max() < 3e-4


def test_skew_is_absent_where_no_tempo_was_told() -> None:
    """Without a tempo told there is nothing to hold the clicks against."""
    take = play(QUARTERS, Player(), seed=1)
    found = align(take.strum_s, Exercise(), clicks=clicks_of(take.grid))
    assert found.clock_skew_ppm is None
    assert found.bpm_heard == pytest.approx(90.0, abs=0.01)
    assert "bpm" in found.inferred


def test_a_wrong_tempo_told_gives_way_to_the_clicks() -> None:
    """Told 103.5, clicks at 90: the clicks win, with a warning, and every strum is paired as if 90 had been told."""
    take = play(QUARTERS, Player(), seed=6)
    found = align(take.strum_s, replace(QUARTERS, bpm=103.5), clicks=clicks_of(take.grid))
    assert "tempo-differs" in codes(found)
    assert found.exercise.bpm == 90
    assert wrong_slots(found, take) == 0


@pytest.mark.parametrize("told_bpm", [None, 103.5])
@pytest.mark.parametrize(("bpm", "skew_ppm", "every"), [(57.0, 0.0, 4), (400.0, 125_000.0, 1)])
def test_clicks_too_slow_or_fast_for_a_tempo_are_bars_or_parts_of_one(
    bpm: float, skew_ppm: float, every: int, told_bpm: float | None
) -> None:
    """14.25 or 450 clicks a minute, whatever tempo is told: no tempo from 20 to 400; every strum keeps its own line."""
    take = play(replace(QUARTERS, bpm=bpm), Player(), seed=6, skew_ppm=skew_ppm)
    found = align(take.strum_s, Exercise(bpm=told_bpm), clicks=clicks_of(take.grid, every=every))
    assert 20 <= (found.exercise.bpm or 0) <= 400
    on = found.slot >= 0
    assert on.all()
    np.testing.assert_allclose(found.grid.slot_s[found.slot], take.grid.slot_s[take.slot], atol=1e-3)


@pytest.mark.parametrize("told_bpm", [45.0, 30.0, 22.5])
def test_half_the_tempo_told_keeps_the_told_beat(told_bpm: float) -> None:
    """The told beat stays, in a small whole ratio to the clicks; this is said, and that each click is read as the beat
    that the parts were told for. No strum is folded onto a slot that it was not played for."""
    take = play(QUARTERS, Player(), seed=6, bars=12)
    found = align(take.strum_s, replace(QUARTERS, bpm=told_bpm), clicks=clicks_of(take.grid))
    assert {"tempo-ratio", "pattern-read"} <= set(codes(found))
    assert found.exercise.bpm == told_bpm
    assert found.bpm_heard == pytest.approx(told_bpm, abs=0.01)
    assert found.clock_skew_ppm == pytest.approx(0.0, abs=20.0)
    assert float(np.median(found.grid.beat_s)) == pytest.approx(60 / told_bpm, abs=1e-3)
    assert found.exercise.per_beat == round(90 / told_bpm)
    assert wrong_slots(found, take) == 0


def test_a_click_on_every_other_beat_keeps_the_told_beat() -> None:
    """Told 90, clicks at 45: half-time clicks, every strum keeps its slot."""
    take = play(QUARTERS, Player(), seed=6)
    found = align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid, every=2))
    assert "tempo-ratio" in codes(found)
    assert wrong_slots(found, take) == 0
    assert len(found.grid) == len(take.grid)


def test_a_count_in_heard_from_its_second_click_is_put_right_by_the_accents() -> None:
    """The first click was not heard: the accents move the first downbeat to where it is, with a notice."""
    take = play(QUARTERS, Player(), seed=8)
    found = align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid, skipped=1, accents=True))
    assert "start-differs" in codes(found)
    assert found.first_downbeat_s == pytest.approx(take.grid.line_s[0], abs=1e-3)
    assert len(found.omitted) == 0


def test_a_count_in_heard_from_its_second_click_is_put_right_by_a_pattern() -> None:
    """Without accents the told pattern shows where the bar begins."""
    take = play(EIGHTHS, Player(), seed=8)
    found = align(take.strum_s, EIGHTHS, clicks=clicks_of(take.grid, skipped=1))
    assert "start-differs" in codes(found)
    assert wrong_slots(found, take) == 0


@pytest.mark.parametrize("count_in", [0, 1, None])
def test_a_click_that_starts_after_the_strums_does_not_cut_them_off(count_in: int | None) -> None:
    """The click is heard from bar 4 on: the first bar begins with the first strum, carried back from the clicks."""
    take = play(replace(QUARTERS, count_in=0), Player(), seed=8)
    found = align(take.strum_s, replace(QUARTERS, count_in=count_in), clicks=clicks_of(take.grid, skipped=12))
    assert found.first_downbeat_s == pytest.approx(take.grid.line_s[0], abs=2e-3)
    assert wrong_slots(found, take, within_s=2e-3) == 0
    assert found.anchor_u_s[0] > found.anchor_u_s[24]
    assert ("start-differs" in codes(found)) == (count_in is not None)


@pytest.mark.parametrize("count_in", [0, 1, 2])
def test_the_count_in_is_found_from_the_first_strum(count_in: int) -> None:
    """Not told: the bars before the first strum."""
    take = play(replace(QUARTERS, count_in=count_in), Player(), seed=9)
    found = align(take.strum_s, replace(QUARTERS, count_in=None), clicks=clicks_of(take.grid))
    assert found.exercise.count_in == count_in
    assert "count_in" in found.inferred
    assert wrong_slots(found, take) == 0


def test_a_first_beat_left_out_does_not_move_the_bar() -> None:
    """The count-in is not told and the first strum comes on beat 2: the bar begins with the click's bar."""
    take = play(QUARTERS, Player(), seed=9)
    found = align(take.strum_s[1:], replace(QUARTERS, count_in=None), clicks=clicks_of(take.grid))
    assert found.first_downbeat_s == pytest.approx(take.grid.line_s[0], abs=1e-3)
    assert found.omitted.tolist() == [0]


def test_sounds_before_the_first_and_after_the_last_slot_are_outside() -> None:
    """A spoken count-in and a chair are neither strums nor added."""
    take = play(QUARTERS, Player(), seed=10)
    noise = np.array([0.61, 1.3, 2.15, 2.62, take.grid.slot_s[-1] + 1.0, take.grid.slot_s[-1] + 2.3])
    strum_s = np.sort(np.concatenate([take.strum_s, noise]))
    found = align(strum_s, QUARTERS, clicks=clicks_of(take.grid))
    assert (found.slot[np.isin(strum_s, noise)] == OUTSIDE).all()
    assert (found.slot[~np.isin(strum_s, noise)] == np.arange(len(take.grid))).all()


def test_an_early_first_strum_keeps_its_slot() -> None:
    """A first strum a third of a beat early is early, not outside."""
    take = play(QUARTERS, Player(), seed=10)
    strum_s = take.strum_s.copy()
    strum_s[0] = take.grid.slot_s[0] - 0.2
    assert align(strum_s, QUARTERS, clicks=clicks_of(take.grid)).slot[0] == 0


def test_clicks_heard_only_in_the_count_in_widen_with_distance() -> None:
    """Four clicks: the grid is carried on at the told tempo, its place less sure with every bar, which is said."""
    take = play(QUARTERS, Player(), seed=11)
    found = align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid, heard=4))
    assert "click-fades" in codes(found)
    assert (np.diff(found.anchor_u_s) > 0).all()
    assert found.anchor_u_s[-1] > 5 * found.anchor_u_s[0] > 0
    error_s = np.abs(found.grid.slot_s - take.grid.slot_s)
    assert (error_s <= 3 * found.anchor_u_s).all()
    assert len(found.grid) == len(take.grid)


def test_the_stated_place_of_the_grid_holds_for_clicks_in_the_count_in_only() -> None:
    """Truth: simulated clicks, a recorder's clock within ±100 ppm; the last slot is within 2 u in ≥ 90 of 100 takes."""
    inside = 0
    for seed in range(100):
        skew = float(np.random.default_rng(seed).uniform(-100, 100))
        take = play(QUARTERS, Player(), seed=seed, skew_ppm=skew)
        found = align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid, seed=seed + 1000, heard=4))
        inside += abs(found.grid.slot_s[-1] - take.grid.slot_s[-1]) <= 2 * found.anchor_u_s[-1]
    assert inside >= 90


def test_the_grid_ends_with_the_last_audible_click() -> None:
    """Bars not told: the click's last beat is the last one; a final strum on the next downbeat is outside."""
    take = play(QUARTERS, Player(), seed=12)
    last = take.grid.end_s
    found = align(np.append(take.strum_s, last + 0.01), QUARTERS, clicks=clicks_of(take.grid))
    assert len(found.grid) == len(take.grid)
    assert found.slot[-1] == OUTSIDE
    assert found.exercise.bars == 12
    assert found.grid.end_s == pytest.approx(last, abs=1e-3)


def test_strums_go_on_after_the_click_ends() -> None:
    """Two bars of strums after the last click: the grid goes on with them, which is said."""
    take = play(QUARTERS, Player(), seed=12)
    found = align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid, heard=4 + 40))
    assert len(found.grid) == len(take.grid)
    assert "click-fades" in codes(found)


@pytest.mark.parametrize("shift_s", [0.18, -0.2])
def test_playing_after_a_short_click_that_it_does_not_keep_is_not_thrown_away(shift_s: float) -> None:
    """Twelve half-beat clicks off the strums' beats, then 13 bars of playing: all of it is held against the grid."""
    take = play(QUARTERS, Player(), seed=6, bars=14)
    clicks = clicks_of(take.grid, heard=12)
    time_s = take.grid.click_s[0] + shift_s + np.arange(12) * 30 / 90
    found = align(take.strum_s, QUARTERS, clicks=replace(clicks, time_s=time_s, interval_s=30 / 90))
    assert np.sum(found.slot == OUTSIDE) <= 2
    assert {"click-fades", "strums-between"} <= set(codes(found))


def test_a_last_click_that_strums_cover_is_no_fading_click() -> None:
    """The clicks of the last three beats are not made out: nothing is to be said of a place known to 0.1 ms."""
    take = play(QUARTERS, Player(), seed=12)
    found = align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid, heard=4 + 45))
    assert len(found.grid) == len(take.grid)
    assert "click-fades" not in codes(found)


def test_the_player_stops_before_the_click_does() -> None:
    """The slots of the click's last three bars count as omitted, and a notice says why."""
    take = play(QUARTERS, Player(), seed=12)
    found = align(take.strum_s[:-12], QUARTERS, clicks=clicks_of(take.grid))
    assert len(found.omitted) == 12
    assert "stops-early" in codes(found)


def test_slots_after_the_recording_ends_are_not_omitted() -> None:
    """Bars told: 12, recorded: 10."""
    take = play(QUARTERS, Player(), seed=12)
    end_s = float(take.grid.line_s[40]) - 0.1
    clicks = clicks_of(take.grid, heard=44)
    found = align(take.strum_s[take.strum_s < end_s], replace(QUARTERS, bars=12), clicks=clicks, end_s=end_s)
    assert len(found.omitted) == 0
    assert len(found.grid) == 40
    assert "cut-off" in codes(found)


def test_a_click_channel_and_a_click_file_are_said_to_be_so() -> None:
    """The anchor names where the clicks came from."""
    take = play(QUARTERS, Player(), seed=13)
    for source in ("channel", "file"):
        assert align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid, source=source)).anchor == "click-channel"


def test_a_stated_first_downbeat_anchors_the_grid_with_its_uncertainty() -> None:
    """Anchor given: the stated uncertainty, growing by what two clocks may differ, unless there is only one."""
    take = play(QUARTERS, Player(), seed=14)
    start_s = float(take.grid.line_s[0])
    found = align(take.strum_s, QUARTERS, first_downbeat_s=start_s, first_downbeat_u_s=0.004)
    assert found.anchor == "given"
    assert wrong_slots(found, take) == 0
    assert found.anchor_u_s[0] == pytest.approx(0.004, abs=1e-6)
    away_s = found.grid.slot_s[-1] - start_s
    assert found.anchor_u_s[-1] == pytest.approx(np.hypot(0.004, away_s * 100e-6 / 3**0.5), abs=1e-9)
    same = align(take.strum_s, QUARTERS, first_downbeat_s=start_s, first_downbeat_u_s=0.004, same_clock=True)
    assert np.ptp(same.anchor_u_s) == 0.0


def test_a_stated_first_downbeat_says_which_click_it_is() -> None:
    """With clicks, a roughly stated first downbeat picks the click and the click gives the place."""
    take = play(QUARTERS, Player(), seed=14)
    found = align(
        take.strum_s, replace(QUARTERS, count_in=None), clicks=clicks_of(take.grid),
        first_downbeat_s=float(take.grid.line_s[0]) + 0.15,
    )  # fmt: skip
    assert found.first_downbeat_s == pytest.approx(take.grid.line_s[0], abs=1e-3)


@pytest.mark.parametrize("name", EXERCISES)
def test_without_a_click_the_phase_is_fitted_and_the_slots_are_right(name: str) -> None:
    """Anchor fitted: the told tempo, every strum on its slot, the player's offset unseen (the median becomes 0)."""
    exercise = EXERCISES[name]
    take = play(exercise, Player(offset_s=-0.03), seed=15)
    found = align(take.strum_s, exercise)
    assert found.anchor == "fitted"
    assert wrong_slots(found, take, within_s=0.05) == 0
    offset = take.strum_s - found.grid.slot_s[found.slot]
    assert np.median(offset) == pytest.approx(0.0, abs=1e-9)
    assert (found.bpm_heard, found.clock_skew_ppm) == (None, None)


def test_without_a_click_a_first_strum_left_out_does_not_shift_the_pattern() -> None:
    """The pattern tells that the first strum heard is the pattern's second."""
    take = play(EIGHTHS, Player(), seed=16)
    found = align(take.strum_s[1:], EIGHTHS)
    assert found.slot.tolist() == list(range(1, len(take.grid)))
    assert found.omitted.tolist() == [0]


def test_without_a_click_a_noise_before_the_start_is_outside() -> None:
    """A knock a second before the first strum, off the beat, is no slot."""
    take = play(EIGHTHS, Player(), seed=16)
    found = align(np.insert(take.strum_s, 0, take.strum_s[0] - 1.05), EIGHTHS)
    assert found.slot[0] == OUTSIDE
    assert found.slot[1:].tolist() == list(range(len(take.grid)))


def test_without_click_and_tempo_the_strums_give_the_tempo() -> None:
    """The tempo is estimated and said to be; how far it slid is not known (infinite rate uncertainty)."""
    take = play(QUARTERS, Player(), seed=17, bars=16)
    found = align(take.strum_s, Exercise())
    assert found.exercise.bpm == pytest.approx(90.0, abs=0.1)
    assert "tempo-estimated" in codes(found)
    assert np.isinf(found.rate_u)
    assert np.isfinite(found.anchor_u_s).all()
    assert wrong_slots(found, take, within_s=0.05) == 0


def test_without_a_click_a_told_tempo_that_nobody_played_gives_way() -> None:
    """Told 103.5, played at 90, no click to decide: the strums' own tempo is taken, and this is said."""
    take = play(QUARTERS, Player(), seed=17, bars=16)
    found = align(take.strum_s, replace(QUARTERS, bpm=103.5))
    assert "tempo-differs" in codes(found)
    assert found.exercise.bpm == pytest.approx(90.0, abs=0.1)
    assert wrong_slots(found, take, within_s=0.05) == 0


def test_the_meter_comes_from_the_accents_else_four_four_is_assumed_and_said() -> None:
    """Every third click accented: 3/4; no accents: 4/4 with a notice."""
    take = play(EXERCISES["waltz"], Player(), seed=18)
    found = align(take.strum_s, Exercise(), clicks=clicks_of(take.grid, accents=True))
    assert found.exercise.meter == "3/4"
    assert "meter-assumed" not in codes(found)
    found = align(take.strum_s, Exercise(), clicks=clicks_of(take.grid))
    assert found.exercise.meter == "4/4"
    assert "meter-assumed" in codes(found)


def test_an_offset_of_more_than_half_a_part_is_found_by_the_pattern() -> None:
    """Wireless headphones: everything 0.22 s late at eighths of 0.3 s; the pattern shows which slots were meant."""
    take = play(EIGHTHS, Player(offset_s=0.22), seed=19)
    found = align(take.strum_s, EIGHTHS, clicks=clicks_of(take.grid))
    assert wrong_slots(found, take) <= 1
    assert "far-from-slots" in codes(found)


def test_strums_half_a_part_from_a_click_between_the_beats_are_said_to_be_far() -> None:
    """A click on the off-beats of quarters at 90: which side the beat is on cannot be known, that they lie so can."""
    beat_s = 2.0 + 60 / 90 * np.arange(40)
    for offset_s in (-0.01, 0.0, 0.01):
        strum_s = beat_s + 30 / 90 + offset_s
        found = align(strum_s, Exercise(bpm=90, meter="4/4", per_beat=1, pattern="D"), first_downbeat_s=2.0)
        assert "far-from-slots" in codes(found)


def test_a_long_slide_is_followed_and_said() -> None:
    """120 ms/min for three minutes are 0.37 s, more than an eighth at 100 bpm: no strum leaves its slot; it is said."""
    take = play(EIGHTHS, Player(drift_s_per_min=-0.12), seed=19, bars=77)
    found = align(take.strum_s, EIGHTHS, clicks=clicks_of(take.grid))
    assert wrong_slots(found, take) == 0
    assert "slides-far" in codes(found)


def test_strums_after_the_bars_told_are_left_out_and_said() -> None:
    """Ten bars told, twelve played."""
    take = play(QUARTERS, Player(), seed=19)
    found = align(take.strum_s, replace(QUARTERS, bars=10), clicks=clicks_of(take.grid))
    assert (found.slot[-8:] == OUTSIDE).all()
    assert "strums-after-end" in codes(found)


def test_one_sound_in_the_count_in_is_not_the_first_strum() -> None:
    """The count-in is not told and something sounds on its first beat: the bars begin where the strums do."""
    take = play(QUARTERS, Player(), seed=19)
    strum_s = np.insert(take.strum_s, 0, take.grid.count_in_s[0] + 0.01)
    found = align(strum_s, replace(QUARTERS, count_in=None), clicks=clicks_of(take.grid))
    assert found.exercise.count_in == 1
    assert found.slot[0] == OUTSIDE


def test_accents_that_contradict_the_count_in_and_the_pattern_are_not_believed() -> None:
    """The click sounds alone in the pattern's rest on beat 3 and passes for accented there: the told start stays."""
    take = play(EIGHTHS, Player(), seed=19)
    clicks = replace(clicks_of(take.grid), accented=np.arange(len(take.grid.click_s)) % 4 == 2)
    found = align(take.strum_s, EIGHTHS, clicks=clicks)
    assert wrong_slots(found, take) == 0
    assert "start-differs" not in codes(found)


def test_clicks_between_the_beats_do_not_double_an_untold_tempo() -> None:
    """A click with a softer sound on the half of each beat: the beats are those of the first sounds."""
    take = play(QUARTERS, Player(), seed=19)
    halves = build_grid(replace(QUARTERS, bpm=180, meter="8/4"), bars=12).placed(take.grid.line_s[0])
    n = len(halves.click_s)
    clicks = replace(clicks_of(halves), sound=np.where(np.arange(n) % 2, 2, np.where(np.arange(n) % 8, 0, 1)))
    found = align(take.strum_s, Exercise(), clicks=clicks)
    assert found.exercise.bpm == 90
    assert (found.slot == np.arange(len(take.grid))).all()


@pytest.mark.parametrize("covered", [1, 2, 3])
def test_strums_that_cover_the_last_clicks_of_a_bar_keep_their_slots(covered: int) -> None:
    """The last clicks of the last bar are not recognised: all 96 eighths of 12 bars have slots."""
    take = play(replace(EIGHTHS, pattern="DU"), Player(jitter_s=0.008), seed=6)
    clicks = replace(clicks_of(take.grid, heard=len(take.grid.click_s) - covered), extent="throughout")
    found = align(take.strum_s, replace(EIGHTHS, pattern="DU"), clicks=clicks)
    assert (found.slot == np.arange(len(take.grid))).all()
    if covered == 1:  # one more chord, on the next downbeat, is no part of the bar
        rung = align(np.append(take.strum_s, take.grid.end_s), replace(EIGHTHS, pattern="DU"), clicks=clicks)
        assert (rung.slot == [*range(len(take.grid)), OUTSIDE]).all()


def test_slow_clicks_do_not_divide_a_slower_beat() -> None:
    """Every other click at 55 sounds otherwise: no beat is at 27.5 (metronomes begin at 40; common practice)."""
    asked = replace(QUARTERS, bpm=55)
    take = play(asked, Player(), seed=19)
    clicks = clicks_of(take.grid)
    found = align(take.strum_s, Exercise(), clicks=replace(clicks, sound=2 * (np.arange(len(clicks.time_s)) % 2)))
    assert found.exercise.bpm == 55


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (replace(EIGHTHS, pattern="DU", swing=2 / 3), True),
        (replace(EIGHTHS, per_beat=3, pattern="DDU"), True),
        (replace(EIGHTHS, pattern="DU", swing=0.6), False),
        (replace(EIGHTHS, pattern="DU"), False),
    ],
)
def test_a_shuffle_and_dotted_beats_are_said_to_fit_alike(asked: Exercise, said: bool) -> None:
    """Swung 2:1 or in triplets, nothing told: 12/8 has its strums at the same times (thirds of a beat); swung 3:2 not.
    Where the meter is told nothing is left to say."""
    take = play(asked, Player(jitter_s=0.008), seed=3, bars=16)
    clicks = clicks_of(take.grid, accents=True)
    assert ("two-readings" in codes(align(take.strum_s, Exercise(), clicks=clicks))) is said
    assert "two-readings" not in codes(align(take.strum_s, Exercise(meter="4/4"), clicks=clicks))


def test_double_time_is_said_not_folded() -> None:
    """Told quarters, played eighths: the strums between are added, and the notice says that they are regular."""
    take = play(replace(QUARTERS, per_beat=2), Player(jitter_s=0.008), seed=20)
    found = align(take.strum_s, QUARTERS, clicks=clicks_of(take.grid))
    assert "strums-between" in codes(found)
    assert int((found.slot == ADDED).sum()) in (46, 47, 48)
    assert len(found.left_click) == 0


@given(shift_s=st.floats(-3.0, 600.0), seed=st.integers(0, 20))
@settings(max_examples=25, deadline=None)
def test_shifting_everything_shifts_the_grid_and_nothing_else(shift_s: float, seed: int) -> None:
    """A take cut from a longer recording is aligned the same."""
    take = play(EIGHTHS, Player(jitter_s=0.02, miss=0.05, extra=0.03), seed=seed, lead_s=4.0)
    moved_grid = take.grid.placed(shift_s)
    first = align(take.strum_s, EIGHTHS, clicks=clicks_of(take.grid))
    moved = align(take.strum_s + shift_s, EIGHTHS, clicks=clicks_of(moved_grid))
    assert (first.slot == moved.slot).all()
    assert np.allclose(moved.grid.slot_s - first.grid.slot_s, shift_s, rtol=0, atol=1e-6)


@given(seed=st.integers(0, 10_000), n=st.integers(1, 80), told=st.booleans())
@example(seed=3009, n=11, told=True)  # the last strum before a stop was taken for a place in the part before it
@settings(max_examples=60, deadline=None)
def test_random_strums_never_break_an_invariant(seed: int, n: int, told: bool) -> None:
    """Whatever is played: slots increase, each strum is one of the kinds, slots are taken, omitted or unasked."""
    rng = np.random.default_rng(seed)
    strum_s = np.unique(rng.uniform(0.5, 30.0, n))
    take = play(QUARTERS, Player(), seed=1)
    found = align(strum_s, QUARTERS if told else Exercise(), clicks=clicks_of(take.grid, accents=bool(seed % 2)))
    taken = found.slot[found.slot >= 0]
    assert (np.diff(taken) > 0).all()
    assert set(found.slot[found.slot < 0].tolist()) <= {ADDED, OUTSIDE, LEFT_CLICK, OTHER_PART}
    assert not set(taken.tolist()) & set(found.omitted.tolist())
    assert (found.anchor_u_s > 0).all()
    assert len(found.anchor_u_s) == len(found.grid)
    if told and not found.left_click and "pattern" not in found.inferred:
        assert len(taken) + len(found.omitted) == len(found.grid)


def test_random_strums_do_not_pass_for_played_ones() -> None:
    """Truth: windows leave a fifth of the time free, and two strums in one window share a slot."""
    rng = np.random.default_rng(3)
    take = play(QUARTERS, Player(), seed=1, bars=40)
    share = []
    for _ in range(20):
        strum_s = np.sort(rng.uniform(take.grid.line_s[0], take.grid.end_s, len(take.grid)))
        found = align(strum_s, QUARTERS, clicks=clicks_of(take.grid))
        share.append((found.slot >= 0).mean())
    assert np.mean(share) < 0.7


def test_bad_input_is_refused_in_one_line() -> None:
    """Nothing to align, times that are not times, no tempo at all."""
    with pytest.raises(RecordingError, match="at least one strum"):
        align([], QUARTERS)
    for times in ([1.0, np.nan], [2.0, 1.0], [[1.0, 2.0]], [1.0, 1.0]):
        with pytest.raises(UsageError, match="increasing seconds"):
            align(times, QUARTERS)
    with pytest.raises(RecordingError, match="tempo must be told"):
        align([1.0, 2.0, 2.9], Exercise())


def test_strums_may_come_as_an_object_with_times() -> None:
    """What `find_strums` returns is taken as it is."""

    class Found:
        time_s = np.arange(8) * 0.5

    assert align(Found(), Exercise(bpm=120, per_beat=1)).slot.tolist() == list(range(8))


@pytest.mark.parametrize(("bpm", "said"), [(200, True), (100, False)])
def test_fast_clicks_without_a_tempo_told_may_be_parts_of_the_beat(bpm: float, said: bool) -> None:
    """Clicks at 200 are taken for beats, and it is said that they may be halves of beats at 100; not where told."""
    exercise = Exercise(bpm=bpm, meter="4/4", per_beat=1, count_in=1)
    take = play(exercise, Player(), seed=1)
    for told, expected in ((Exercise(), said), (exercise, False)):
        notices = align(take.strum_s, told, clicks=clicks_of(take.grid)).notices
        assert any(n.code == "tempo-fast" and "tell 100 bpm" in n.message for n in notices) is expected
