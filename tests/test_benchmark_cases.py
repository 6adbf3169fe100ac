"""The benchmark's own cases: their truth is consistent, and what is laid over a take is where it should be."""

from __future__ import annotations

import numpy as np
import pytest
from synthesis_truth import check_truth
from tests.benchmarks.own_cases import CASES
from tests.benchmarks.own_clicks import SOUNDS
from tests.benchmarks.own_scenes import falling, from_bar, render, suppressed
from tests.benchmarks.own_sounds import babble, hissing_clicks, pumping, telephone_band, voice
from tests.benchmarks.scoring import wilson

from strumclock.click import find_clicks

RATE_HZ = 44100


def test_bass_notes_and_strums_share_one_consistent_truth() -> None:
    """Two parts laid over each other have one grid: offset = strum − slot, played and omitted slots make it up."""
    made = render(CASES["bass-then-strum"], 1)
    check_truth(made.truth.to_dict(), duration_s=made.recording.duration_s)
    assert len(made.truth.slot_s) == 40
    assert np.ptp(np.diff(made.truth.slot_s)) < 1e-9
    assert made.told.pattern == "DDDD"


def test_the_truth_lists_only_clicks_that_sound() -> None:
    """In bars 0 and 1 of four-click bars the gains let eight clicks through, a suppressor some more (arithmetic)."""
    made = render(CASES["click-count-in-only"], 1)
    np.testing.assert_allclose(made.truth.click_s, 0.7 + np.arange(8) / 1.5, rtol=0, atol=1e-9)
    assert from_bar(4)(20, 4).tolist() == [0.0] * 16 + [1.0] * 4
    assert falling(40.0)(3, 4).tolist() == pytest.approx([1.0, 0.1, 0.01])
    assert suppressed(7, 4)[:5].tolist() == [1.0] * 5
    assert suppressed(7, 4)[5] == pytest.approx(10**-0.5)


def test_hissing_clicks_start_at_their_times_and_a_voice_filter_takes_them_away() -> None:
    """Nothing sounds 1 ms before a click; below 3.4 kHz less than a hundredth of it is left."""
    clicks = hissing_clicks(np.array([0.25, 0.6]), RATE_HZ, RATE_HZ)
    first = round(0.25 * RATE_HZ)
    assert np.abs(clicks[: first - 1]).max() == 0.0
    assert np.abs(clicks[first : first + 200]).max() > 0.3
    assert np.abs(telephone_band(clicks, RATE_HZ)).max() < 0.01


@pytest.mark.parametrize("name", SOUNDS)
def test_every_click_sound_starts_at_its_beats_and_not_before(name: str) -> None:
    """Silent up to the first beat; at each beat louder within 2 ms than in the 2 ms before; peak 1 (arithmetic)."""
    beat_s = 0.3 + 0.4 * np.arange(4)
    sound = np.abs(SOUNDS[name](beat_s, 2 * RATE_HZ, RATE_HZ))
    assert sound.max() == pytest.approx(1.0)
    assert not sound[: round(0.3 * RATE_HZ)].any()
    for i in np.round(beat_s * RATE_HZ).astype(int):
        assert sound[i : i + 88].max() > 3 * sound[i - 88 : i].max()


def test_voices_come_in_syllables_from_their_seed() -> None:
    """The same chance gives the same voice, with pauses in it; five voices leave hardly any."""
    made = [voice(4 * RATE_HZ, RATE_HZ, np.random.default_rng(3)) for _ in range(2)]
    np.testing.assert_array_equal(made[0], made[1])

    def silent(x: np.ndarray) -> float:
        return float(np.mean(np.abs(x).reshape(-1, RATE_HZ // 50).max(axis=1) < 0.01))

    assert silent(made[0]) > 0.1
    assert silent(babble(4 * RATE_HZ, RATE_HZ, np.random.default_rng(3))) < silent(made[0])


def test_a_compressor_turns_down_after_the_loud_and_lets_go() -> None:
    """A steady tone 20 dB below a burst is turned down after it by what the ratio says, and comes back (arithmetic)."""
    tone = 0.05 * np.sin(2 * np.pi * 500 * np.arange(3 * RATE_HZ) / RATE_HZ)
    loud = tone.copy()
    loud[RATE_HZ : RATE_HZ + 2205] *= 20.0
    gain = np.abs(pumping(loud, RATE_HZ)).reshape(-1, 441).max(axis=1) / np.abs(loud).reshape(-1, 441).max(axis=1)
    assert 20 * np.log10(gain[110]) < -12.0
    assert gain[90] > 0.99
    assert gain[-1] > 0.9


def test_the_interval_of_a_share_against_arithmetic() -> None:
    """Wilson's interval for 45 of 50 by hand: (0.9 + 0.0384) / 1.0768 ± 0.0854."""
    assert wilson(45, 50) == pytest.approx((0.7864, 0.9565), abs=1e-4)


def test_a_faint_beep_is_found_at_the_tempo_told_where_the_strums_propose_other_intervals() -> None:
    """12 dB below the strums of a jig, which lie on thirds of its beat. Truth: the scene's clicks."""
    made = render(CASES["click-12db-beep-six-eight"], 12)
    clicks = find_clicks(made.recording.mono(), made.recording.sample_rate_hz, bpm=60)
    assert clicks is not None
    assert clicks.interval_s == pytest.approx(1.0, rel=1e-4, abs=0)
    assert clicks.extent == "throughout"


@pytest.mark.parametrize("seed", [12, 13])
def test_hum_that_returns_with_the_tempo_told_is_no_click(seed: int) -> None:
    """Forty periods of 60 Hz are a beat of the tempo told, 90 bpm; the click was in headphones. Truth: the scene."""
    made = render(CASES["hum-headphones"], seed)
    assert find_clicks(made.recording.mono(), made.recording.sample_rate_hz, bpm=90) is None
