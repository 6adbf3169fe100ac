"""Recordings from arrays, their channels, and what reading costs."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from audio_files import plucks
from hypothesis import given, settings, strategies as st

from strumclock.audio import from_array, load
from strumclock.errors import RecordingError, UsageError

RATE = 8_000


def test_an_array_is_copied_and_read_only() -> None:
    """By construction: what is changed afterwards in the caller's array does not change the recording."""
    x = plucks(RATE).copy()
    recording = from_array(x, RATE)
    x[:] = 0
    assert np.array_equal(recording.mono(), plucks(RATE))
    for view in (recording.samples, recording.mono(), recording.channel(0)):
        assert view.dtype == np.float32
        with pytest.raises(ValueError, match="read-only"):
            view[0] = 1
    assert (recording.path, recording.sha256, recording.start_s) == (None, None, 0.0)
    assert recording.duration_s == 3.0


@given(channels=st.integers(1, 5), seed=st.integers(0, 99))
@settings(max_examples=20, deadline=None)
def test_mono_is_the_mean_of_the_channels(channels: int, seed: int) -> None:
    """Against numpy's mean, for any number of channels."""
    x = np.random.default_rng(seed).uniform(-1, 1, (RATE, channels))
    recording = from_array(x, RATE)
    assert recording.channels == channels
    np.testing.assert_allclose(recording.mono(), x.mean(axis=1), rtol=0, atol=1e-6)
    for i in range(channels):
        np.testing.assert_array_equal(recording.channel(i), x[:, i].astype(np.float32))


def test_an_inverted_channel_does_not_silence_the_take() -> None:
    """By construction: right = −left (a wrongly wired cable); a mean would be silence."""
    x = plucks(RATE)
    mono = from_array(np.column_stack([x, -0.99 * x]), RATE).mono()
    np.testing.assert_array_equal(mono, x)


def test_a_silent_channel_only_halves_the_level() -> None:
    """By construction: a phone that fills one of two channels."""
    x = plucks(RATE)
    np.testing.assert_allclose(from_array(np.column_stack([x, 0 * x]), RATE).mono(), x / 2, rtol=0, atol=1e-7)


@pytest.mark.parametrize("channel", [-1, 2])
def test_a_channel_that_is_not_there_is_wrong_usage(channel: int) -> None:
    """By construction: two channels."""
    with pytest.raises(UsageError, match="from 0 to 1"):
        from_array(np.column_stack([plucks(RATE)] * 2), RATE).channel(channel)


@pytest.mark.parametrize(("kind", "full", "zero"), [(np.int16, 2**15, 0), (np.int32, 2**31, 0), (np.uint8, 2**7, 128)])
def test_integers_are_scaled_as_wav_files_hold_them(kind: type, full: int, zero: int) -> None:
    """Against soundfile's own scaling of the same WAV samples: full scale is ±1."""
    x = plucks(RATE)
    whole = (np.round(x.astype(float) * (full - 1)) + zero).astype(kind)
    np.testing.assert_allclose(from_array(whole, RATE).mono(), x, rtol=0, atol=1.5 / full)


@pytest.mark.parametrize(
    ("samples", "match"),
    [
        (np.zeros(0), "shape"),
        (np.zeros((2, 2, 2)), "shape"),
        (np.zeros((2, 20_000)), "transpose"),
        (np.zeros((20_000, 65)), "transpose"),
        (np.zeros(20_000, np.int64), "floating point"),
        (np.zeros(20_000, np.complex128), "floating point"),
        (np.zeros(20_000, np.bool_), "floating point"),
        (["a"] * 20_000, "floating point"),
        (None, "shape"),
        (3.0, "shape"),
    ],
)
def test_arrays_of_a_wrong_kind_are_wrong_usage(samples: object, match: str) -> None:
    """By construction."""
    with pytest.raises(UsageError, match=match) as e:
        from_array(samples, RATE)  # type: ignore[arg-type]
    assert "\n" not in str(e.value)


@pytest.mark.parametrize("rate", [0, -44_100, 7_999, 192_001, 44_100.5, np.nan, np.inf, "44100", None, True])
def test_rates_that_make_no_sense_are_wrong_usage(rate: object) -> None:
    """By construction."""
    with pytest.raises(UsageError, match="8000 to 192000"):
        from_array(plucks(RATE), rate)  # type: ignore[arg-type]


@pytest.mark.parametrize("rate", [44_100, 44_100.0, np.int64(44_100), np.float32(44_100)])
def test_whole_rates_of_any_kind_are_taken(rate: object) -> None:
    """By construction."""
    assert from_array(plucks(44_100), rate).sample_rate_hz == 44_100  # type: ignore[arg-type]


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_samples_that_are_no_numbers_cannot_be_measured(bad: float) -> None:
    """By construction: one bad sample, wherever it is."""
    for at in (0, 12_345, -1):
        x = plucks(RATE).copy()
        x[at] = bad
        with pytest.raises(RecordingError, match="NaN or infinity"):
            from_array(x, RATE)


def test_a_quiet_array_is_no_silence() -> None:
    """An array's scale is the caller's business: a level of −120 dB is kept, zeros are refused."""
    assert from_array(1e-6 * plucks(RATE), RATE).duration_s == 3.0
    with pytest.raises(RecordingError, match="silent"):
        from_array(np.zeros(2 * RATE), RATE)


def test_the_checksum_is_that_of_the_file(tmp_path: Path) -> None:
    """Against hashlib over the whole file at once."""
    soundfile.write(tmp_path / "a.wav", plucks(RATE), RATE)
    recording = load(str(tmp_path / "a.wav"))
    assert recording.sha256 == hashlib.sha256((tmp_path / "a.wav").read_bytes()).hexdigest()
    assert recording.path == str(tmp_path / "a.wav")


def test_reading_wav_and_flac_loads_no_other_decoder(tmp_path: Path) -> None:
    """In a fresh process: av stays out, and so do scipy and librosa."""
    for name in ("a.wav", "a.flac", "a.ogg"):
        soundfile.write(tmp_path / name, plucks(RATE), RATE)
    code = (
        "import sys; from strumclock.audio import load\n"
        f"for n in ('a.wav', 'a.flac', 'a.ogg'): load({str(tmp_path)!r} + '/' + n)\n"
        "print([m for m in ('av', 'scipy', 'librosa', 'matplotlib') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.m4a"])
def test_ten_minutes_of_stereo_need_the_samples_and_little_more(tmp_path: Path, name: str) -> None:
    """Peak memory of a fresh process against the size of the samples: 231 MB as float32, no second copy."""
    from audio_files import write_codec

    x = np.tile(plucks(48_000), 40 if name == "a.m4a" else 200)  # encoding ten takes a minute
    stereo = np.column_stack([x, x])
    if name == "a.m4a":
        write_codec(tmp_path / name, stereo, 48_000, "aac")
    else:
        soundfile.write(tmp_path / name, stereo, 48_000)
    code = (
        "import resource; from strumclock.audio import from_array, load; import soundfile, av\n"
        "before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        f"r = load({str(tmp_path / name)!r})\n"
        "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before, r.samples.nbytes)"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    grown_kib, size = map(int, out.stdout.split())
    assert grown_kib * 1024 < 1.25 * size
