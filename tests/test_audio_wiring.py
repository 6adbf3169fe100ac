"""What a decoder needs before a part, and what a container says of priming: from the file to the time of a sample."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from audio_files import lag_samples, plucks, write_codec

from strumclock.audio import load, reading

RATE_HZ = 48_000
LEANING = [("libmp3lame", "a.mp3"), ("libopus", "a.opus"), ("aac", "a.m4a")]


@pytest.mark.parametrize(("codec", "name"), LEANING)
def test_a_part_begins_with_the_samples_of_the_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, codec: str, name: str
) -> None:
    """Truth: the full decode of the same file; frames lean on those before them, which must be decoded and thrown away.

    Kills: the decoder's pre-roll dropped (the first frames of the part are then not those of the whole).
    """
    monkeypatch.setattr(reading, "CONTEXT_S", 0.0)
    file = write_codec(tmp_path / name, plucks(RATE_HZ, 5.0), RATE_HZ, codec)
    whole, part = load(file).mono(), load(file, start_s=2.6, end_s=4.0)
    first = round(part.start_s * RATE_HZ)
    begins = slice(0, RATE_HZ // 20)
    assert np.abs(part.mono()[begins] - whole[first:][begins]).max() < 1e-4


@pytest.mark.parametrize(("codec", "name"), LEANING)
def test_time_zero_is_the_first_sample_that_was_recorded(tmp_path: Path, codec: str, name: str) -> None:
    """Truth: the samples that were encoded: the codec's priming (1,024 samples and more) is taken off, once.

    Kills: the priming kept, or taken off twice.
    """
    sound = plucks(RATE_HZ, 3.0)
    recording = load(write_codec(tmp_path / name, sound, RATE_HZ, codec))
    assert recording.priming_known
    assert recording.start_s == 0.0
    assert abs(lag_samples(recording.mono(), sound)) < 0.5
