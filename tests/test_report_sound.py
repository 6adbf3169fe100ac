"""The sound with marks: tones where strums belong, a bounded level, the recording left as it was."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from report_takes import free_take, take

from strumclock import report
from strumclock.audio import Recording, from_array
from strumclock.errors import UsageError
from strumclock.report import sound

RATE_HZ = 22050


def recording(length_s: float, level: float) -> Recording:
    """Noise at a level."""
    rng = np.random.default_rng(3)
    return from_array((level * rng.uniform(-1, 1, round(length_s * RATE_HZ))).astype(np.float32), RATE_HZ)


def starts(tones: np.ndarray) -> np.ndarray:
    """First sample of each tone on a channel that is silent between them, s."""
    loud = np.abs(tones) > 1e-4
    quiet_before = np.array([loud[i] and not loud[max(0, i - 200) : i].any() for i in np.flatnonzero(loud)])
    return np.flatnonzero(loud)[quiet_before] / RATE_HZ


@pytest.mark.parametrize("anchor", ["recorded-click", "fitted"])
def test_tones_stand_where_strums_belong_also_where_one_was_left_out(anchor: str) -> None:
    """Truth: the grid that the take was made on: 12 bars from 2.4 s at 100 bpm, its own average where fitted."""
    m = take(bars=4, omit=(5,), mean_ms=12.0, anchor=anchor)
    out = report.marked(m, recording(13.0, 0.1))
    pattern = [0, 2, 3, 5, 6, 7]  # D.DU.UDU
    expected = np.array([2.4 + 0.3 * (8 * bar + part) for bar in range(4) for part in pattern])
    shift = 0.0
    if anchor == "fitted":
        shift = np.mean([s.time_s for s in m.strums]) - np.mean(np.delete(expected, 5))
        expected = np.where(np.arange(len(expected)) == 5, expected, expected + shift)
    found = starts(out[:, 1])
    np.testing.assert_allclose(found, expected, atol=2e-3, rtol=0)


@pytest.mark.parametrize("level", [0.05, 0.4, 1.0, 3.0])
def test_the_level_is_bounded_and_quiet_takes_are_left_alone(level: float) -> None:
    """Truth: never above half of full scale; below that the recording comes out sample by sample."""
    take_recording = recording(13.0, level)
    out = report.marked(take(bars=4), take_recording)
    assert np.max(np.abs(out)) <= sound.PEAK + 1e-6
    assert np.max(np.abs(out[:, 1])) <= sound.TONE_PEAK + 1e-6
    if level <= sound.PEAK:
        np.testing.assert_array_equal(out[:, 0], take_recording.mono())


def test_tones_at_and_beyond_the_ends_do_not_break() -> None:
    """Truth: a recording that covers only a part of the grid."""
    out = report.marked(take(bars=4), recording(2.41, 0.1))
    assert len(out) == round(2.41 * RATE_HZ)
    assert np.any(out[-round(0.01 * RATE_HZ) :, 1])


def test_a_take_without_a_grid_says_so() -> None:
    """Truth: only strums were asked for."""
    with pytest.raises(UsageError, match="grid"):
        report.marked(free_take(), recording(2.0, 0.1))


def test_an_array_needs_its_recording() -> None:
    """Truth: there is no file to read again."""
    with pytest.raises(UsageError, match="array"):
        report.write_sound(take(path=None), "take.wav")


def test_the_file_reads_back_as_stereo(tmp_path: Path) -> None:
    """Truth: soundfile's own reading, to 16 bits."""
    written = report.write_sound(take(bars=4), tmp_path / "marked.wav", recording=recording(13.0, 0.3))
    samples, rate_hz = soundfile.read(written, dtype="float32")
    assert (samples.shape, rate_hz) == ((13 * RATE_HZ, 2), RATE_HZ)
    assert np.max(np.abs(samples)) <= sound.PEAK + 2**-14


def test_a_file_is_read_again_around_its_places(tmp_path: Path) -> None:
    """Truth: the take's own file, cut half a second after the last place."""
    path = tmp_path / "take.wav"
    soundfile.write(path, np.random.default_rng(5).uniform(-0.1, 0.1, 20 * RATE_HZ), RATE_HZ)
    m = take(bars=4, path=str(path))
    samples, rate_hz = soundfile.read(report.write_sound(m, tmp_path / "marked.wav"))
    last_s = max(time_s for time_s, _ in sound.expected_places(m))
    assert len(samples) / rate_hz == pytest.approx(last_s + 0.5, abs=0.01)
    assert starts(samples[:, 1])[0] == pytest.approx(2.4, abs=2e-3)
