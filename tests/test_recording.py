"""Recording in step, driven by a simulated sound card whose delay, clocks, losses are known (tests/sound_card.py)."""

from __future__ import annotations

import functools
import json
import math

import numpy as np
import pytest
from sound_card import SimulatedCard

from strumclock.errors import RecordingError
from strumclock.grid import Exercise
from strumclock.pipeline import measure
from strumclock.recording import Moment, record_take, write_take
from strumclock.recording.desk import STALLED_S, Desk
from strumclock.recording.latency import LEAST_HEARD, loop_sounds, measure_latency
from strumclock.recording.taking import AHEAD_S
from strumclock.synthesis import Player, Scene, synthesise

BARS = 12
EXERCISE = Exercise(bpm=96, meter="4/4", per_beat=1, pattern="DDDD", count_in=1, bars=BARS)


def looped(card: SimulatedCard):
    """The latency that is found through a card."""
    desk = Desk(card.sample_rate_hz)
    sound, begin_s = loop_sounds(card.sample_rate_hz)
    desk.play(sound, 5000)
    with card.opened(desk.exchange) as stream:
        while desk.frames < 5000 + len(sound):
            desk.step(stream)
    return measure_latency(desk.recorded(5000, 5000 + len(sound)), begin_s, card.sample_rate_hz)


@functools.cache
def strummed(offset_ms: float = -8.0, seed: int = 3, exercise: Exercise = EXERCISE):
    """An invented player with headphones, from the moment at which the click track begins."""
    scene = Scene(click_db=None, lead_s=0.5)
    return synthesise(exercise, Player(offset_ms=offset_ms), scene, seed=seed)


def in_step(card: SimulatedCard, tmp_path, *, headphones: bool = True, exercise: Exercise = EXERCISE, **told):
    """A take through a card, written: its path, itself, and the truth."""
    truth = strummed()

    def between(latency) -> None:
        card.strum_along(truth.samples, latency)
        if headphones:
            card.gain = 0.0

    take = record_take(card, exercise, headphones=headphones, between=between, **told)
    write_take(take, tmp_path / "take.wav")
    return tmp_path / "take.wav", take, truth.truth


def true_offsets_ms(truth, before_s: float = math.inf):
    played = truth.strum_slot >= 0
    return 1000 * (truth.strum_s - truth.slot_s[truth.strum_slot])[played & (truth.strum_s < before_s)]


@pytest.mark.parametrize("rate", [44_100, 48_000])
@pytest.mark.parametrize("latency_s", [0.0123, 0.04321, 0.1874, 0.4126])
def test_the_latency_found_is_that_of_the_simulation(rate, latency_s):
    """The simulation's own delay, between samples, behind noise and two echoes like a table's; within 0.1 ms."""
    card = SimulatedCard(latency_s, rate=rate, gain=0.2, echoes=((0.6, 0.0031), (0.5, 0.0093)), noise=0.003)
    found = looped(card)
    assert abs(found.value_s - latency_s) < 1e-4
    assert found.heard == found.played
    assert abs(found.value_s - latency_s) < 2 * found.u_s


def test_a_reflection_louder_than_the_straight_way_is_not_taken_for_it():
    """Arithmetic: the straight way is the shortest, here at three quarters of what comes 4 ms later."""
    card = SimulatedCard(0.05, gain=0.15, echoes=((1 / 0.75, 0.004),), noise=0.001)
    assert abs(looped(card).value_s - 0.05) < 1e-4


def test_a_delay_that_swings_is_in_the_spread():
    """A sine of 0.4 ms has a standard deviation of 0.28 ms (0.4 / √2); seven chirps see about that, and u holds it."""
    found = looped(SimulatedCard(0.05, wander_s=0.0004, period_s=0.9))
    assert 0.00012 < found.spread_s < 0.0005
    assert found.u_s >= found.spread_s
    assert abs(found.value_s - 0.05) < 2 * found.u_s


def test_test_sounds_that_do_not_come_back_are_an_error_that_says_what_to_do():
    """Nothing but noise: no latency is made up, at five seeds."""
    for seed in range(5):
        with pytest.raises(RecordingError, match=f"at least {LEAST_HEARD} of 7 .* turn the sound up"):
            looped(SimulatedCard(gain=0.0, noise=0.01, seed=seed))


def test_with_headphones_the_take_is_measured_against_the_click_in_the_ears(tmp_path):
    """The player's own times (truth of the synthesis); no click is in the recording, and nobody tells anything."""
    path, take, truth = in_step(SimulatedCard(0.0573), tmp_path)
    m = measure(path)
    assert take.whole
    assert m.grid.anchor == "given"
    assert abs(take.in_step.first_downbeat_s - (truth.first_downbeat_s + 0.0573)) < 1e-4
    offsets = true_offsets_ms(truth)
    mean = m.timing.mean_offset_ms
    assert abs(mean.value - offsets.mean()) < 2 * mean.u
    errors = [s.time_s - 0.0573 for s in m.strums]
    assert len(errors) == len(truth.strum_s)
    assert abs(np.mean(1000 * (np.array(errors) - truth.strum_s))) < 1.0  # the strums are where they were played
    assert m.exercise.bpm == 96
    assert m.exercise.bars == BARS
    assert m.sources["bpm"] == "the recording"


def test_a_wrong_latency_would_be_seen(tmp_path):
    """The same take, its click told 30 ms later: the mean offset moves by −30 ms, so that the test above can fail."""
    path, take, _ = in_step(SimulatedCard(0.0573), tmp_path)
    told = {"first_downbeat_s": take.in_step.first_downbeat_s, "same_clock": True}
    means = [measure(path, EXERCISE, latency_ms=ms, **told).timing.mean_offset_ms.value for ms in (0, 30)]
    assert means[1] - means[0] == pytest.approx(-30, abs=0.01)


def test_with_a_loudspeaker_the_click_that_is_heard_is_the_anchor(tmp_path):
    """The same player; click and loop go through the air, and both say the same of where beat 1 is."""
    path, take, truth = in_step(SimulatedCard(0.0573, gain=0.3), tmp_path, headphones=False)
    m = measure(path)
    assert m.grid.anchor == "recorded-click"
    assert abs(m.grid.first_downbeat_s - take.in_step.first_downbeat_s) < 1e-3
    assert abs(m.timing.mean_offset_ms.value - true_offsets_ms(truth).mean()) < 2 * m.timing.mean_offset_ms.u


def test_two_clocks_are_in_the_uncertainty(tmp_path):
    """The microphone's clock is 90 ppm slow: drift seems 5.4 ms a minute less, which its interval must hold."""
    path, take, truth = in_step(SimulatedCard(skew_ppm=90.0), tmp_path)
    assert not take.in_step.same_clock
    m = measure(path)
    slope = np.polyfit(truth.slot_s[truth.strum_slot] / 60, true_offsets_ms(truth), 1)[0]
    drift = m.timing.drift_ms_per_min
    assert drift.low < slope < drift.high
    assert drift.high - drift.low > 12  # ±100 ppm alone
    assert abs(m.timing.mean_offset_ms.value - true_offsets_ms(truth).mean()) < 2 * m.timing.mean_offset_ms.u


def test_samples_lost_end_what_is_measured(tmp_path):
    """The card drops 40 ms in the middle and says so: what was played before is measured, and right."""
    card = SimulatedCard(0.0573)
    lost_frame = round(25.0 * 44_100)
    card.lost = {lost_frame: 1764}
    path, take, truth = in_step(card, tmp_path)
    at_s = take.in_step.lost_at_s
    assert 15 < at_s < 21
    m = measure(path)
    assert "samples-lost" in [notice.code for notice in m.warnings]
    assert max(s.time_s for s in m.strums) < at_s
    assert not m.omitted
    offsets = true_offsets_ms(truth, at_s - 0.0573)
    assert abs(m.timing.mean_offset_ms.value - offsets.mean()) < 2 * m.timing.mean_offset_ms.u
    # by hand: against the whole file the strums after the loss come 40 ms early, which the above would have blamed
    told = {"first_downbeat_s": take.in_step.first_downbeat_s, "same_clock": True}
    after = [s for s in measure(path, EXERCISE, **told).strums if s.time_s > at_s and s.offset_ms is not None]
    assert np.median([s.offset_ms for s in after]) < np.median(offsets) - 25


def test_samples_lost_while_the_loop_is_measured_are_measured_again():
    """Once: the loop is measured a second time, and right. Each time: refused."""
    lost_once = SimulatedCard(0.0573, lost={40_000: 1764}, ctrl_c_at=None)
    take = record_take(lost_once, Exercise(bpm=240, bars=1, count_in=0))
    assert abs(take.latency.value_s - 0.0573 + 1764 / 44_100) < 1e-4  # 40 ms less are left of the delay
    with pytest.raises(RecordingError, match="lose nothing while the loop"):
        record_take(SimulatedCard(lost={i * 50_000: 8 for i in range(1, 40)}), EXERCISE)


def test_samples_lost_between_the_loop_and_the_take_refuse_the_take():
    """The latency that was measured does not hold any more (the loop takes 4.5 s, the player puts headphones on)."""
    card = SimulatedCard()

    def between(_) -> None:
        card.lost = {card.frames + 300: 64}
        card.wait(0.2)

    with pytest.raises(RecordingError, match="between measuring the loop and the take"):
        record_take(card, EXERCISE, between=between)


def test_ctrl_c_ends_the_take_and_keeps_it(tmp_path):
    """Bars that were not reached are not told, so that nothing counts as left out; the figures are of what is there."""
    card = SimulatedCard(0.0573, ctrl_c_at=round(22.0 * 44_100))
    path, take, truth = in_step(card, tmp_path)
    assert not take.whole
    assert not take.stalled
    assert "bars" not in take.in_step.exercise
    m = measure(path)
    assert not m.omitted
    offsets = true_offsets_ms(truth, take.duration_s - 0.0573)
    assert abs(m.timing.mean_offset_ms.value - offsets.mean()) < 2 * m.timing.mean_offset_ms.u


def test_ctrl_c_before_the_first_bar_leaves_nothing(tmp_path):
    """While it is counted in, nothing has been played: one line, no file."""
    with pytest.raises(RecordingError, match="ended before the first one"):
        in_step(SimulatedCard(ctrl_c_at=round(5.6 * 44_100)), tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_card_that_is_unplugged_ends_the_take_and_keeps_it(tmp_path):
    """Nothing comes for three seconds: what came before is kept. While the loop is measured it is an error."""
    _, take, _ = in_step(SimulatedCard(stops_at=round(20.0 * 44_100)), tmp_path)
    assert take.stalled
    assert 10 < take.duration_s < 20
    with pytest.raises(RecordingError, match=f"nothing came from it for {STALLED_S:g} s"):
        record_take(SimulatedCard(stops_at=44_100), EXERCISE)


def test_what_was_cut_off_is_counted_and_seen():
    """A guitar ten times too loud: samples at full scale by numpy's own count, and the meter says so."""
    seen: list[Moment] = []
    card = SimulatedCard()
    sound = 10 * strummed().samples
    take = record_take(card, EXERCISE, between=lambda _: card.strum_along(sound), watch=seen.append)
    assert take.clipped == (np.abs(take.samples) >= 0.999).sum() > 100
    assert any(moment.too_loud for moment in seen if moment.stage == "take")
    assert not any(moment.too_loud for moment in seen if moment.stage == "loop")
    bars = [m.bar for m in seen if m.stage == "take"]
    assert bars == sorted(bars)
    assert set(bars) == set(range(BARS + 1))
    assert {m.beat for m in seen if m.bar} == {1, 2, 3, 4}


def test_what_is_played_is_the_click_track_and_nothing_else():
    """Sample by sample the click track's own samples, where the take begins; silence before and after."""
    from strumclock.clicktrack import click_track

    desk = Desk(44_100)
    track = click_track(EXERCISE)
    desk.play(track.samples, 1000)
    played = []
    while desk.frames < len(track.samples) + 3000:
        block = np.full(300, 7.0, np.float32)
        desk.exchange(np.zeros(300, np.float32), block, False)
        played.append(block)
    whole = np.concatenate(played)
    np.testing.assert_array_equal(whole[1000 : 1000 + len(track.samples)], track.samples)
    assert not whole[:1000].any()
    assert not whole[1000 + len(track.samples) :].any()


def test_the_file_begins_where_the_click_track_does():
    """The click heard back in the file lies at its place in the track plus the simulation's latency, within 0.1 ms."""
    from strumclock.click import find_clicks
    from strumclock.clicktrack import click_track

    card = SimulatedCard(0.0573, gain=0.9, noise=1e-5)
    take = record_take(card, EXERCISE)
    heard = find_clicks(take.samples, 44_100, bpm=96)
    expected = click_track(EXERCISE).click_s + 0.0573
    assert len(heard.time_s) == len(expected)
    assert np.abs(heard.time_s - expected).max() < 1e-4
    assert round(AHEAD_S * 44_100) > 4 * card.block


def test_what_is_said_of_a_latency_reads_well():
    """By reading."""
    found = looped(SimulatedCard(0.05, noise=1e-6))
    assert str(found) == "50.00 ms, spread 0.00 ms (7 of 7 test sounds heard)"
    assert json.dumps(found.value_s)
