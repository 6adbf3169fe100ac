"""Clicks of a wind-up metronome or a wandering delay: against takes whose clicks were placed so, at known times."""

from __future__ import annotations

import re

import numpy as np
import pytest
from clicktakes import RATE_HZ, Array, Take, click_sound, make_take, place

import strumclock as sc
from strumclock.click import find_clicks
from strumclock.grid import Exercise

SOUNDS = ("wood", "noise", "tock")
PLACE_S = 0.0002  # each click's place, its sound's rise included


def uneven_take(seed: int, alternates_s: float, wanders_s: float, **told: object) -> tuple[Take, float]:
    """A take with ticks and tocks that far from the mean beat, each wandering; and its tempo."""
    rng = np.random.default_rng(900 + seed)
    bpm = float(rng.uniform(60, 140))
    number = np.arange(48)
    at_s = 0.7 + 60 / bpm * number + alternates_s * (-1.0) ** number + rng.normal(0, wanders_s, len(number))
    take = make_take(click_at_s=at_s, sound=SOUNDS[seed % 3], noise_db=-45, seed=seed, **told)  # type: ignore[arg-type]
    return take, bpm


def nearest_s(time_s: Array, true_s: Array) -> Array:
    """How much later than the nearest true time each lies."""
    off = time_s[:, None] - true_s[None]
    return off[np.arange(len(off)), np.abs(off).argmin(axis=1)]


@pytest.mark.parametrize("seed", range(6))
def test_every_click_of_a_wind_up_metronome_is_followed_against_its_placing(seed: int) -> None:
    alternates_s, wanders_s = (0.005, 0.010, 0.015)[seed // 2], (0.001, 0.0015)[seed % 2]
    take, bpm = uneven_take(seed, alternates_s, wanders_s)
    clicks = find_clicks(take.samples, RATE_HZ)
    assert clicks is not None
    assert clicks.extent == "throughout"
    assert clicks.interval_s == pytest.approx(60 / bpm, abs=4 * clicks.interval_u_s, rel=0)
    assert clicks.heard.sum() >= 0.9 * len(take.click_s)
    error_s = np.abs(nearest_s(clicks.time_s[clicks.heard], take.click_s))
    assert np.quantile(error_s, 0.95) < PLACE_S  # one may be taken for the strum that covers it
    assert error_s.max() < 0.008
    assert clicks.alternates_s == pytest.approx(alternates_s, abs=0.001, rel=0)
    assert clicks.wanders_s == pytest.approx(wanders_s, rel=0.5, abs=0)
    assert clicks.u_s.min() > np.hypot(alternates_s / 2, wanders_s / 2)


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_a_tick_tock_that_does_not_wander_is_not_taken_for_every_other_beat_against_its_placing(seed: int) -> None:
    take, bpm = uneven_take(seed, 0.010, 0.00002)
    clicks = find_clicks(take.samples, RATE_HZ)
    assert clicks is not None
    assert clicks.interval_s == pytest.approx(60 / bpm, rel=2e-4, abs=0)
    assert clicks.alternates_s == pytest.approx(0.010, abs=0.0002, rel=0)


NUMBER = np.arange(52)
STEADY_S = 0.7 + 60 / 90 * NUMBER
RUNNING_DOWN_S = 0.7 + np.cumsum(60 / np.linspace(92, 90, 52))
BEATS = {
    "runs-down": RUNNING_DOWN_S,
    "delay-wanders": STEADY_S + 0.006 * np.sin(2 * np.pi * NUMBER / 30),
    "delay-jumps": STEADY_S + np.where(NUMBER > 25, 0.025, 0.0) - np.where(NUMBER > 40, 0.04, 0.0),
}


@pytest.mark.parametrize("name", BEATS)
def test_a_beat_that_is_not_steady_is_followed_and_so_is_the_grid_against_the_placing(name: str) -> None:
    take = make_take(click_at_s=BEATS[name], sound="wood", click_db=-8, noise_db=-45, count_in=1, seed=4)
    clicks = find_clicks(take.samples, RATE_HZ)
    assert clicks is not None
    assert clicks.extent == "throughout"
    assert clicks.heard.sum() >= 0.9 * len(take.click_s)
    error_s = np.abs(nearest_s(clicks.time_s[clicks.heard], take.click_s))
    assert np.quantile(error_s, 0.95) < PLACE_S
    assert np.ptp(clicks.bend_s) > 0.01
    m = sc.measure(sc.from_array(take.samples, RATE_HZ), Exercise(meter="4/4", per_beat=1, count_in=1))
    assert m.grid is not None
    lines_s = np.array([s.time_s - s.offset_ms / 1000 for s in m.strums if s.offset_ms is not None])
    assert len(lines_s) >= 0.95 * len(take.strum_s)
    assert np.abs(nearest_s(lines_s, take.click_s)).max() < 0.001
    assert [n.code for n in m.warnings].count("click-bends") == 1


def test_a_jump_and_a_tempo_that_sinks_are_told_in_the_notice() -> None:
    told = {}
    for name, at_s in BEATS.items():
        take = make_take(click_at_s=at_s, sound="wood", click_db=-8, noise_db=-45, count_in=1, seed=4)
        m = sc.measure(sc.from_array(take.samples, RATE_HZ), Exercise(meter="4/4", per_beat=1, count_in=1))
        (told[name],) = (n.message for n in m.warnings if n.code == "click-bends")
    begin_bpm, end_bpm = re.findall(r"([\d.]+) bpm at the beginning and ([\d.]+) at the end", told["runs-down"])[0]
    gaps_s = np.diff(RUNNING_DOWN_S)
    assert float(begin_bpm) == pytest.approx(60 / gaps_s[:8].mean(), abs=0.1, rel=0)
    assert float(end_bpm) == pytest.approx(60 / gaps_s[-8:].mean(), abs=0.1, rel=0)
    assert f"at {BEATS['delay-jumps'][41]:.1f} s it jumps by -40.0 ms" in told["delay-jumps"]
    assert "jumps" not in told["delay-wanders"]


@pytest.mark.parametrize("loud_db", [0.0, 6.0])
def test_a_sound_that_comes_louder_and_softer_than_a_metronome_strikes_is_none(loud_db: float) -> None:
    """Strums on muted strings are alike and, of the best players, even in time; but not in loudness."""
    rng = np.random.default_rng(8)
    number = np.arange(48)
    at_s = 0.7 + 0.62 * number + rng.normal(0, 0.0015, len(number))
    take = make_take(click_db=None, click_at_s=at_s, count_in=0, noise_db=-45, seed=9)
    muted = np.zeros(len(take.guitar))
    for at, gain_db in zip(at_s, rng.uniform(-loud_db, loud_db, len(number)), strict=True):
        place(muted, click_sound("tock"), float(at), 0.1 * 10 ** (gain_db / 20))
    clicks = find_clicks(take.guitar + muted, RATE_HZ)
    assert (clicks is None) == (loud_db > 0)


def test_even_clicks_are_called_even() -> None:
    clicks = find_clicks(make_take(seed=3).samples, RATE_HZ)
    assert clicks is not None
    assert (clicks.alternates_s, clicks.wanders_s) == (0.0, 0.0)
    assert not np.any(clicks.bend_s)


@pytest.mark.parametrize("seed", [1, 5, 10])
def test_a_count_in_at_another_interval_is_never_read_out_of_uneven_clicks(seed: int) -> None:
    """Too few clicks to be followed, and too uneven for a count-in: nothing is said, or the true tempo."""
    take, bpm = uneven_take(seed, 0.012, 0.0015, heard=slice(0, 7))
    for told in (None, float(round(bpm))):
        clicks = find_clicks(take.samples, RATE_HZ, bpm=told)
        assert clicks is None or clicks.interval_s == pytest.approx(60 / bpm, rel=0.01, abs=0)


def test_the_measurement_says_how_uneven_the_click_is_and_is_less_sure_of_the_mean() -> None:
    take, bpm = uneven_take(0, 0.010, 0.001)
    even, _ = uneven_take(0, 0.0, 0.0)
    m, plain = (
        sc.measure(sc.from_array(t.samples, RATE_HZ), Exercise(bpm=bpm, meter="4/4", count_in=1)) for t in (take, even)
    )
    (notice,) = [n for n in m.warnings if n.code == "click-uneven"]
    assert "10." in notice.message or "9." in notice.message
    assert not [n for n in plain.warnings if n.code == "click-uneven"]
    assert m.timing.mean_offset_ms is not None
    assert plain.timing.mean_offset_ms is not None
    true_ms = 1000 * float(np.mean(take.strum_s - (0.7 + 60 / bpm * np.arange(4, 48))))
    assert abs(m.timing.mean_offset_ms.value - true_ms) < 2 * m.timing.mean_offset_ms.u
    assert m.timing.mean_offset_ms.u > np.hypot(plain.timing.mean_offset_ms.u, 5.0)
