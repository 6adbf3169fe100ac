"""A wind-up metronome's clicks: against takes whose clicks were placed unevenly, each at a known time."""

from __future__ import annotations

import numpy as np
import pytest
from clicktakes import RATE_HZ, Array, Take, make_take

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
    alternates_s, wanders_s = (0.005, 0.010, 0.015)[seed // 2], (0.001, 0.002)[seed % 2]
    take, bpm = uneven_take(seed, alternates_s, wanders_s)
    clicks = find_clicks(take.samples, RATE_HZ)
    assert clicks is not None
    assert clicks.extent == "throughout"
    assert clicks.interval_s == pytest.approx(60 / bpm, abs=4 * clicks.interval_u_s, rel=0)
    assert clicks.heard.sum() >= 0.9 * len(take.click_s)
    error_s = np.abs(nearest_s(clicks.time_s[clicks.heard], take.click_s))
    assert np.quantile(error_s, 0.95) < PLACE_S  # one may be taken for the strum that covers it
    assert error_s.max() < 0.006
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


def test_even_clicks_are_called_even() -> None:
    clicks = find_clicks(make_take(seed=3).samples, RATE_HZ)
    assert clicks is not None
    assert (clicks.alternates_s, clicks.wanders_s) == (0.0, 0.0)


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
