"""Long takes stay in their file: what is heard in them is what is heard in the same samples in memory."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from audio_files import plucks, write_codec
from hypothesis import given, settings, strategies as st
from support import REFERENCE_AUDIO

import strumclock as sc
from strumclock.audio import from_array, load, stored
from strumclock.audio.channel import Channel
from strumclock.audio.decimation import TARGET_RATE_HZ, Decimator, decimated
from strumclock.audio.stored import Held, InFile
from strumclock.click import find_click_channel
from strumclock.errors import AudioFileError
from strumclock.report.schema import to_dict

RATE = 44_100


@pytest.fixture
def nothing_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every file is treated as a long one."""
    monkeypatch.setattr(stored, "KEPT_BYTES", 0)


@pytest.mark.parametrize("name", ["a.wav", "a.flac", "a.m4a", "a.opus"])
@pytest.mark.usefixtures("nothing_kept")
def test_samples_left_in_their_file_are_those_of_the_file(
    tmp_path: Path, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Against the same file held in memory: samples, mono, a part, and its context."""
    rate = 48_000
    both = np.column_stack([plucks(rate, 9.0), 0.5 * plucks(rate, 9.0, seed=4)])
    codec = {"a.m4a": "aac", "a.opus": "libopus"}.get(name)
    if codec is None:
        soundfile.write(tmp_path / name, both, rate)
    else:
        write_codec(tmp_path / name, both, rate, codec)
    whole, part = load(tmp_path / name), load(tmp_path / name, start_s=2.5, end_s=4.25)
    assert isinstance(whole.store, InFile)
    assert isinstance(part.store, InFile)
    monkeypatch.undo()
    held, held_part = load(tmp_path / name), load(tmp_path / name, start_s=2.5, end_s=4.25)
    assert isinstance(held.store, Held)
    np.testing.assert_array_equal(whole.samples, held.samples)
    np.testing.assert_array_equal(whole.mono(), held.mono())
    np.testing.assert_array_equal(part.samples, held_part.samples)
    assert part.context is not None
    assert held_part.context is not None
    np.testing.assert_array_equal(part.context.samples, held_part.context.samples)
    assert (part.start_s, part.context.start_s) == (held_part.start_s, held_part.context.start_s)
    assert whole.notices == held.notices


@pytest.mark.parametrize(("name", "told"), [("steady.flac", {}), ("phone.m4a", {}), ("steady.flac", {"start_s": 5.0})])
@pytest.mark.usefixtures("nothing_kept")
def test_a_long_take_is_measured_like_any_other(
    name: str, told: dict[str, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The whole JSON of two reference takes, decoded again by every stage, is that of the samples in memory."""
    long = to_dict(sc.measure(REFERENCE_AUDIO / name, sc.Exercise(bpm=84), **told))
    monkeypatch.undo()
    assert long == to_dict(sc.measure(REFERENCE_AUDIO / name, sc.Exercise(bpm=84), **told))


@pytest.mark.usefixtures("nothing_kept")
def test_a_file_that_changes_while_it_is_measured_says_so(tmp_path: Path) -> None:
    """By construction: replaced, or gone, between two readings."""
    soundfile.write(tmp_path / "a.wav", plucks(RATE), RATE)
    recording = load(tmp_path / "a.wav")
    soundfile.write(tmp_path / "a.wav", plucks(RATE, 2.0), RATE)
    with pytest.raises(AudioFileError, match="must stay as it is"):
        recording.mono()
    os.unlink(tmp_path / "a.wav")
    with pytest.raises(AudioFileError, match="must stay as it is"):
        recording.mono()


@given(
    pieces=st.lists(st.integers(1, 300_000), min_size=1, max_size=6),
    rate=st.sampled_from([8_000, 22_050, 44_100, 96_000]),
    offset=st.sampled_from([0.0, 0.25]),
)
@settings(max_examples=30, deadline=None)
def test_decimation_in_pieces_is_decimation(pieces: list[int], rate: int, offset: float) -> None:
    """Any pieces of the same samples give the very numbers that all of them at once give."""
    n = sum(pieces)
    x = (np.random.default_rng(n).standard_normal(n) + offset).astype(np.float32)
    decimator = Decimator(
        n, rate, TARGET_RATE_HZ, offset=float(np.mean(x, dtype=np.float64)), peak=float(np.abs(x).max())
    )
    for piece in np.split(x, np.cumsum(pieces)[:-1]):
        decimator.take(piece)
    np.testing.assert_array_equal(decimator.result()[0], decimated(x, rate)[0])


@given(
    places=st.lists(st.integers(-4_000, 4_804_000).map(lambda k: k / 8), min_size=1, max_size=20).map(sorted),
    reach=st.integers(1, 5_000),
)
@settings(max_examples=50, deadline=None)
def test_what_lies_around_places_is_what_lies_there(places: list[float], reach: int) -> None:
    """Each place, with its reach on either side, against the samples padded with silence."""
    x = np.random.default_rng(1).standard_normal(600_000).astype(np.float32)
    pieces, at = Channel.of(x, RATE).around(np.array(places), reach)
    padded = np.pad(x, 6_000)
    for place, there in zip(places, at, strict=True):
        assert there - np.floor(there) == pytest.approx(place - np.floor(place), abs=1e-6)
        first, own = int(np.floor(place)) + 6_000, int(np.floor(there))
        np.testing.assert_array_equal(pieces[own - reach : own + reach + 1], padded[first - reach : first + reach + 1])


def test_a_click_channel_is_found_block_by_block() -> None:
    """By construction: a ringing tone, and ticks every half second, for longer than a block."""
    t = np.arange(20 * RATE) / RATE
    ring = np.sin(2 * np.pi * 220 * t)
    tick = np.where(t % 0.5 < 0.02, np.sin(2 * np.pi * 1500 * t), 0)
    for order in ([ring, tick], [tick, ring]):
        both = np.column_stack(order).astype(np.float32)
        assert find_click_channel(from_array(both, RATE).store, RATE) == (1 if order[0] is ring else 0)


@pytest.mark.slow
def test_memory_grows_little_with_the_length_of_a_take(tmp_path: Path) -> None:
    """Peak memory of a fresh process that loads 10 and 30 minutes of stereo: what is kept does not grow with them."""
    grown = []
    for minutes in (10, 30):
        with soundfile.SoundFile(tmp_path / "a.wav", "w", RATE, 2) as out:
            block = np.column_stack([plucks(RATE, 60.0)] * 2)
            for _ in range(minutes):
                out.write(block)
        code = (
            "import resource; from strumclock.audio import load\n"
            f"load({str(tmp_path / 'a.wav')!r})\n"
            "print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
        )
        out_text = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
        grown.append(int(out_text))
    assert grown[1] - grown[0] < 20 * 100  # KiB: a tenth of a megabyte a minute
