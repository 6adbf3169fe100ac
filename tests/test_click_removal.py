"""Removing clicks: the takes' guitar and clicks are known apart, so what is left and damaged can be measured."""

from __future__ import annotations

import numpy as np
import pytest
from clicktakes import RATE_HZ, WORD_S, Array, Take, click_sound, make_take, place

import strumclock as sc
from strumclock.click import Clicks, Removal, find_clicks, remove_clicks
from strumclock.grid import Exercise

ATTACK_S = 0.02


def removed_from(take: Take) -> tuple[Clicks, Removal]:
    """Find and remove."""
    clicks = find_clicks(take.samples, RATE_HZ)
    assert clicks is not None
    return clicks, remove_clicks(take.samples, RATE_HZ, clicks)


def left_db(removal: Removal, take: Take, at_s: Array) -> Array:
    """Power of (removed less true click) against the true click, in the 20 ms from each click, dB."""
    wrong = removal.removed - take.clicks
    result = []
    for t in at_s:
        i = int(t * RATE_HZ) - 20
        part = slice(i, i + int(ATTACK_S * RATE_HZ))
        result.append(10 * np.log10(np.sum(wrong[part] ** 2) / np.sum(take.clicks[part] ** 2)))
    return np.array(result)


def test_what_was_removed_and_what_is_left_are_the_recording() -> None:
    take = make_take(bars=4)
    _, removal = removed_from(take)
    np.testing.assert_allclose(removal.samples + removal.removed, take.samples, rtol=0, atol=1e-6)


@pytest.mark.parametrize(
    ("sound", "click_db", "demand_db"), [("noise", 0.0, -25), ("noise", -12.0, -20), ("wood", -6.0, -18)]
)
def test_dry_clicks_are_removed_against_the_true_clicks(sound: str, click_db: float, demand_db: float) -> None:
    take = make_take(sound=sound, click_db=click_db)
    _, removal = removed_from(take)
    assert np.median(left_db(removal, take, take.click_s)) < demand_db


def test_an_accent_of_another_sound_is_removed_too() -> None:
    take = make_take(accent="tock", click_db=-3)
    clicks, removal = removed_from(take)
    assert len(removal.sounds) == 2
    assert np.median(left_db(removal, take, take.click_s[clicks.accented])) < -15


def test_loudness_that_rides_is_followed() -> None:
    take = make_take(fade_db=20, click_db=0, bars=12, noise_db=-50)
    clicks, removal = removed_from(take)
    assert np.median(left_db(removal, take, take.click_s[: len(clicks.time_s)])) < -18


def test_clicks_not_heard_are_not_subtracted() -> None:
    take = make_take(heard=slice(0, 4), bars=8)
    clicks, removal = removed_from(take)
    after = int((clicks.time_s[-1] + 0.3) * RATE_HZ)
    assert not np.any(removal.removed[after:])


def test_a_strum_5_ms_after_a_click_is_left_as_it_was() -> None:
    """The strum's own samples, known from the guitar without clicks, survive to a tenth of their energy or better."""
    take = make_take(click_db=0, jitter_ms=0.0)  # every strum 5 ms before its click …
    late = np.zeros_like(take.clicks)
    for t in take.click_s:  # … so the clicks are moved 10 ms ahead: every strum comes 5 ms after its click
        place(late, click_sound("noise"), float(t) - 0.010, 0.5)
    mixed = Take(guitar=take.guitar, clicks=late, click_s=take.click_s - 0.010, strum_s=take.strum_s)
    _, removal = removed_from(mixed)
    for t in mixed.strum_s[1:]:
        part = slice(int(t * RATE_HZ), int((t + 0.01) * RATE_HZ))
        wrong = removal.samples[part] - mixed.guitar[part]
        assert np.sum(wrong**2) < 0.1 * np.sum(mixed.guitar[part] ** 2)


def test_the_expected_rest_is_of_the_size_of_the_true_rest() -> None:
    for click_db, noise_db in ((-3.0, -60.0), (-10.0, -30.0)):
        take = make_take(click_db=click_db, noise_db=noise_db)
        clicks, removal = removed_from(take)
        true = np.median(left_db(removal, take, clicks.time_s))
        assert true - 10 < removal.left_db < true + 12
        assert removal.left_share.shape == clicks.time_s.shape


def test_removal_does_nothing_to_a_guitar_far_from_clicks() -> None:
    take = make_take(bpm=60, bars=4)
    clicks, removal = removed_from(take)
    far = np.ones(len(take.samples), dtype=bool)
    for t in clicks.time_s:
        far[max(int((t - 0.02) * RATE_HZ), 0) : int((t + 0.25) * RATE_HZ)] = False
    assert not np.any(removal.removed[far])


@pytest.mark.parametrize("sound", ["noise", "wood", "beep", "ringing"])
def test_a_click_that_has_its_strength_at_once_does_not_swell(sound: str) -> None:
    _, removal = removed_from(make_take(sound=sound))
    assert removal.swells_s == 0.0


def test_a_word_swells_for_as_long_as_it_was_made_to() -> None:
    _, removal = removed_from(make_take(sound="word", bpm=80, click_db=-3))
    assert removal.swells_s == pytest.approx(0.8 * WORD_S, abs=0.01, rel=0)


def test_the_mean_offset_against_a_word_is_unsure_by_how_long_it_swells_and_says_so() -> None:
    take = make_take(sound="word", bpm=80, click_db=-3)
    m = sc.measure(sc.from_array(take.samples, RATE_HZ), Exercise(bpm=80, meter="4/4", count_in=1, per_beat=1))
    assert m.timing.mean_offset_ms is not None
    assert m.timing.mean_offset_ms.u > 1000 * 0.7 * WORD_S / np.sqrt(3)
    assert [n.code for n in m.warnings].count("click-swells") == 1
