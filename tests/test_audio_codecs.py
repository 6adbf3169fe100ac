"""The same take in every format has the same times: priming shifts nothing, and a part is where it is in the whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from audio_files import lag_samples, plucks, resampled, write_codec

from strumclock.audio import load

AGREE_MS = 1.0  # the demand; what is found is a twentieth of it
SHARP_MS = 0.05
PART_LAG_SAMPLES = 0.05

# codec, file, sample rate, other arguments
PRIMING_TOLD = [
    ("aac", "a.m4a", 44_100, {}),
    ("aac", "a.m4a", 48_000, {}),
    ("aac", "a.m4a", 8_000, {}),
    ("aac", "video.mp4", 44_100, {"with_video": True}),
    ("aac", "a.3gp", 44_100, {}),
    ("libmp3lame", "a.mp3", 44_100, {"bit_rate": 96_000}),
    ("libmp3lame", "a.mp3", 16_000, {}),
    ("libopus", "a.opus", 48_000, {"bit_rate": 32_000}),
    ("libopus", "a.webm", 48_000, {}),
    ("libopus", "a.webm", 16_000, {}),
    ("alac", "lossless.m4a", 44_100, {}),
    ("flac", "a.mkv", 44_100, {}),
    ("pcm_s16le", "a.mov", 44_100, {}),
    ("pcm_f32le", "b.mkv", 96_000, {}),
    ("pcm_u8", "c.mkv", 22_050, {}),
]


def _lag_ms(got: np.ndarray, rate: int, truth: np.ndarray, true_rate: int) -> float:
    """How much later than the truth a decoded sound is."""
    if rate != true_rate:
        got = resampled(got, rate, true_rate)
    return lag_samples(got, truth) / true_rate * 1000


@pytest.mark.parametrize(
    ("codec", "name", "rate", "more", "channels"),
    [(*case, 1) for case in PRIMING_TOLD] + [(*case, 2) for case in PRIMING_TOLD[::4]],
)
def test_every_format_has_the_times_of_the_samples_it_was_made_from(
    tmp_path: Path, codec: str, name: str, rate: int, more: dict[str, object], channels: int
) -> None:
    """Cross-correlation with the samples that were encoded, by PyAV's own encoders, is the truth."""
    x = plucks(rate)
    y = x if channels == 1 else np.column_stack([x, 0.5 * x])
    recording = load(write_codec(tmp_path / name, y, rate, codec, **more))
    assert recording.channels == channels
    assert recording.priming_known
    assert recording.start_s == 0.0
    assert recording.notices == ()
    assert abs(_lag_ms(recording.channel(0), recording.sample_rate_hz, x, rate)) < SHARP_MS < AGREE_MS


@pytest.mark.parametrize(
    ("ending", "kind"),
    [("wav", "PCM_16"), ("wav", "FLOAT"), ("wav", "PCM_U8"), ("flac", "PCM_24"), ("ogg", "VORBIS")],
)
@pytest.mark.parametrize("rate", [8_000, 44_100, 192_000])
def test_soundfile_formats_have_the_times_of_their_samples(tmp_path: Path, ending: str, kind: str, rate: int) -> None:
    """The truth is the samples that soundfile wrote."""
    x = plucks(rate, 2.0)
    file = tmp_path / f"a.{ending}"
    soundfile.write(file, x, rate, subtype=kind)
    recording = load(file)
    assert recording.sample_rate_hz == rate
    assert len(recording.samples) == len(x)
    assert abs(_lag_ms(recording.mono(), rate, x, rate)) < SHARP_MS


FRAGMENTED = {"options": {"movflags": "frag_keyframe+empty_moov"}}


@pytest.mark.parametrize(("name", "more"), [("a.aac", {}), ("fragments.mp4", FRAGMENTED)])
def test_unknown_priming_is_not_guessed_but_said(tmp_path: Path, name: str, more: dict[str, object]) -> None:
    """Raw AAC and some MP4 files tell no priming: FFmpeg's encoder puts 1024 samples first, and they stay."""
    x = plucks(44_100)
    recording = load(write_codec(tmp_path / name, x, 44_100, "aac", **more))
    assert not recording.priming_known
    assert lag_samples(recording.mono(), x) == pytest.approx(1024, abs=0.5)


@pytest.mark.parametrize(("name", "codec"), [("a.wma", "wmav2"), ("a.mp2", "mp2"), ("a.ac3", "ac3")])
def test_codecs_whose_files_never_tell_their_priming_are_not_trusted(tmp_path: Path, name: str, codec: str) -> None:
    """As FFmpeg encodes them, their sound comes back 5 to 46 ms from where it was."""
    x = plucks(44_100)
    recording = load(write_codec(tmp_path / name, x, 44_100, codec, bit_rate=128_000))
    assert not recording.priming_known
    assert 200 < abs(lag_samples(recording.mono(), x)) < 2100


def test_mp3_without_encoder_tag_says_that_its_priming_is_unknown(tmp_path: Path) -> None:
    """LAME puts 576 samples first and a decoder's filter bank 529 (LAME's technical FAQ): 1105 stay without a tag."""
    x = plucks(44_100)
    recording = load(write_codec(tmp_path / "a.mp3", x, 44_100, "libmp3lame", options={"write_xing": "0"}))
    assert not recording.priming_known
    assert lag_samples(recording.mono(), x) == pytest.approx(1105, abs=0.5)
    assert recording.notices == ()


def test_a_track_that_starts_later_than_zero_counts_from_its_first_sample(tmp_path: Path) -> None:
    """A transport stream's stamps begin at 1.4 s; time zero is the first sample all the same."""
    x = plucks(48_000)
    recording = load(write_codec(tmp_path / "a.ts", x, 48_000, "aac", container="mpegts"))
    assert recording.duration_s == pytest.approx(3.0, abs=0.05)
    assert lag_samples(recording.mono(), x) == pytest.approx(1024, abs=0.5)


PARTS = [
    ("aac", "a.m4a", {}),
    ("aac", "a.aac", {}),
    ("aac", "video.mp4", {"with_video": True}),
    ("aac", "a.mkv", {}),
    ("libmp3lame", "a.mp3", {}),
    ("libmp3lame", "untagged.mp3", {"options": {"write_xing": "0"}}),
    ("libopus", "a.opus", {}),
    ("libopus", "a.webm", {}),
    ("alac", "lossless.m4a", {}),
    ("flac", "a.mkv", {}),
    ("pcm_s16le", "a.wav", {}),
]


@pytest.mark.parametrize(("codec", "name", "more"), PARTS)
def test_a_part_has_the_sample_times_of_the_whole(
    tmp_path: Path, codec: str, name: str, more: dict[str, object]
) -> None:
    """Held against the full decode of the same file; the times are exact, the lags zero."""
    file = write_codec(tmp_path / name, plucks(48_000, 5.0), 48_000, codec, **more)
    whole = load(file)
    rate = whole.sample_rate_hz
    for start_s, end_s in ((2.50371, 4.2), (3.5, None), (None, 1.2)):
        part = load(file, start_s=start_s, end_s=end_s)
        first = round(part.start_s * rate)
        assert part.start_s == pytest.approx(start_s or 0.0, abs=0.5 / rate)
        assert part.start_s * rate == pytest.approx(first, abs=1e-6)
        until = len(whole.samples) if end_s is None else round(end_s * rate)
        assert len(part.samples) == until - first
        assert part.sha256 == whole.sha256
        assert abs(lag_samples(part.mono(), whole.mono()[first:until])) < PART_LAG_SAMPLES


def test_a_part_is_decoded_without_the_rest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counts the packets that are decoded: those of the part and its context, and half a second before that."""
    from strumclock.audio import containers, reading

    counts: list[int] = []
    decode = containers._Track._decode

    def counting(self: containers._Track, packet: object, size: int | None) -> int:
        n = decode(self, packet, size)
        counts.append(n)
        return n

    monkeypatch.setattr(containers._Track, "_decode", counting)
    monkeypatch.setattr(reading, "CONTEXT_S", 3.0)
    file = write_codec(tmp_path / "a.m4a", plucks(16_000, 30.0), 16_000, "aac")
    load(file, start_s=18.0, end_s=20.0)
    assert sum(counts) / 16_000 < 3.0 + 2.0 + 3.0 + 0.5 + 0.2


def test_opus_packet_lengths_follow_rfc_6716() -> None:
    """Table 2 of RFC 6716 (sizes by configuration) and its section 3.1 (frames by code)."""
    from strumclock.audio.packets import opus_samples

    silk, hybrid, celt = ((10, 20, 40, 60), (10, 20), (2.5, 5, 10, 20))
    table = [*silk * 3, *hybrid * 2, *celt * 4]
    assert len(table) == 32
    for config, ms in enumerate(table):
        assert opus_samples(bytes([config << 3])) == 48 * ms
        assert opus_samples(bytes([config << 3 | 1])) == 2 * 48 * ms
        assert opus_samples(bytes([config << 3 | 3, 0x80 | 5])) == 5 * 48 * ms


def test_channels_stay_apart(tmp_path: Path) -> None:
    """Stereo kept apart: what lies on the right stays on the right, in FLAC and AAC alike."""
    left, right = plucks(44_100, 3.0, seed=2), plucks(44_100, 3.0, seed=3)
    both = np.column_stack([left, right])
    soundfile.write(tmp_path / "a.flac", both, 44_100)
    write_codec(tmp_path / "a.m4a", both, 44_100, "aac", bit_rate=192_000)
    for name in ("a.flac", "a.m4a"):
        recording = load(tmp_path / name)
        for i, truth in enumerate((left, right)):
            assert abs(lag_samples(recording.channel(i), truth)) < 0.5
