"""Decimation: against sines, whose samples at the lower rate are known."""

from __future__ import annotations

import numpy as np
import pytest

from strumclock.audio.decimation import decimated


@pytest.mark.parametrize(("rate_hz", "step"), [(44_100, 4), (48_000, 4), (96_000, 9)])
def test_decimation_keeps_what_fits_and_nothing_else_against_theory(rate_hz: int, step: int) -> None:
    t = np.arange(300_000) / rate_hz
    kept, low_hz = decimated(np.sin(2 * np.pi * 3000 * t), rate_hz)
    assert low_hz == rate_hz / step
    np.testing.assert_allclose(kept[100:-100], np.sin(2 * np.pi * 3000 * t[::step])[100:-100], rtol=0, atol=2e-4)
    gone, _ = decimated(np.sin(2 * np.pi * 8500 * t), rate_hz)
    assert np.abs(gone[100:-100]).max() < 2e-4


@pytest.mark.parametrize("length", [1, 3, 4, 127, 129, 40_001])
def test_every_length_gives_its_share_of_samples_in_phase_against_theory(length: int) -> None:
    impulse = np.zeros(length)
    impulse[length // 8 * 4] = 1.0
    low, _ = decimated(impulse, 44_100, centred=False)
    assert len(low) == -(-length // 4)
    assert np.argmax(low) == length // 8


def test_a_rate_that_is_low_enough_is_left_as_it_is() -> None:
    x = np.sin(np.arange(100, dtype=np.float32) * np.float32(np.pi / 5))
    low, rate_hz = decimated(x, 8000)
    assert low is x
    assert rate_hz == 8000


@pytest.mark.parametrize("rate_hz", [8_000, 44_100])
def test_a_constant_offset_changes_nothing_against_itself(rate_hz: int) -> None:
    x = np.sin(2 * np.pi * 300 * np.arange(4 * rate_hz) / rate_hz).astype(np.float32)
    plain, _ = decimated(x, rate_hz)
    shifted, _ = decimated(x + np.float32(0.25), rate_hz)
    np.testing.assert_allclose(shifted, plain, rtol=0, atol=1e-6)
    kept, _ = decimated(x + np.float32(0.25), rate_hz, centred=False)
    assert np.mean(kept[100:-100]) == pytest.approx(0.25, abs=1e-3)
