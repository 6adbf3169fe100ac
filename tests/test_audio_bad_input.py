"""Files that are missing, damaged, silent, clipped or too long: one clear line, or a result with a notice."""

from __future__ import annotations

import os
import re
import struct
from itertools import groupby
from pathlib import Path

import numpy as np
import pytest
import soundfile
from audio_files import lag_samples, plucks, write_codec

from strumclock.audio import load
from strumclock.errors import AudioFileError, RecordingError, StrumclockError, UsageError

RATE = 44_100


def _wav(path: Path, x: np.ndarray, rate: int = RATE) -> Path:
    soundfile.write(path, x, rate, subtype="PCM_16")
    return path


def _one_line(error: BaseException) -> str:
    """The message, which must be one line that says what to do after the last semicolon (or in brackets)."""
    text = str(error)
    assert "\n" not in text
    assert "required" in text or "must" in text or "at most" in text
    assert ";" in text
    return text


def test_missing_file_says_so(tmp_path: Path) -> None:
    """By construction: there is none."""
    with pytest.raises(AudioFileError, match=r"there is none at .*nowhere\.wav") as e:
        load(tmp_path / "nowhere.wav")
    _one_line(e.value)
    assert isinstance(e.value, OSError)


def test_folder_says_so(tmp_path: Path) -> None:
    """By construction: a folder."""
    with pytest.raises(AudioFileError, match="is a folder") as e:
        load(tmp_path)
    _one_line(e.value)


def test_null_byte_in_the_path_is_an_error_of_ours() -> None:
    """Python refuses such paths with a ValueError of its own."""
    with pytest.raises(AudioFileError) as e:
        load("a\0b.wav")
    _one_line(e.value)


@pytest.mark.parametrize("name", ["a.wav", "a.m4a", "a.mp3", "a.flac"])
def test_empty_file_says_so(tmp_path: Path, name: str) -> None:
    """By construction: no bytes."""
    (tmp_path / name).touch()
    with pytest.raises(AudioFileError, match="is empty") as e:
        load(tmp_path / name)
    _one_line(e.value)


NOT_AUDIO = {
    "text.wav": b"this is a text, not a recording\n" * 100,
    "noise.m4a": np.random.default_rng(3).integers(0, 256, 20_000, dtype=np.uint8).tobytes(),
    "one-byte.mp3": b"\xff",
    "only-a-riff.wav": b"RIFF\x24\x00\x00\x00WAVE",
    "riff-without-data.wav": b"RIFF\x24\x00\x00\x00WAVEfmt " + struct.pack("<IHHIIHH", 16, 1, 1, RATE, 88_200, 2, 16),
    "tag-only.mp3": b"ID3\x04\x00\x00\x00\x00\x00\x0a" + bytes(10),
    "endless-tag.mp3": b"ID3\x04\x00\x00\x7f\x7f\x7f\x7f" + bytes(100),
    "ogg-magic.ogg": b"OggS" + bytes(200),
    "flac-magic.flac": b"fLaC" + bytes(200),
    "picture.png": b"\x89PNG\r\n\x1a\n" + bytes(300),
    "subtitles.srt": b"1\n00:00:00,000 --> 00:00:02,000\nHello\n\n" * 3,
}


@pytest.mark.parametrize("name", NOT_AUDIO)
def test_what_is_no_audio_says_so(tmp_path: Path, name: str) -> None:
    """By construction: bytes that are no recording, some with a recording's first bytes."""
    (tmp_path / name).write_bytes(NOT_AUDIO[name])
    with pytest.raises(AudioFileError) as e:
        load(tmp_path / name)
    assert name in _one_line(e.value)


def test_video_without_sound_says_so(tmp_path: Path) -> None:
    """By construction: a video with pictures only, written with PyAV."""
    import av

    with av.open(str(tmp_path / "mute.mp4"), "w") as out:
        stream = out.add_stream("mpeg4", rate=10)
        stream.width = stream.height = 32
        stream.pix_fmt = "yuv420p"
        for _ in range(20):
            out.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")))
        out.mux(stream.encode(None))
    with pytest.raises(AudioFileError, match="no sound track") as e:
        load(tmp_path / "mute.mp4")
    _one_line(e.value)


def test_silence_says_so(tmp_path: Path) -> None:
    """By construction: zeros, and a constant."""
    for level in (0.0, 0.25):
        with pytest.raises(RecordingError, match="is silent") as e:
            load(_wav(tmp_path / "a.wav", np.full(2 * RATE, level)))
        _one_line(e.value)


def test_too_short_says_so(tmp_path: Path) -> None:
    """By construction: half a second, and a part of half a second of a longer file."""
    with pytest.raises(RecordingError, match=r"at least 1 s, but .* lasts 0\.5 s") as e:
        load(_wav(tmp_path / "a.wav", plucks(RATE)[: RATE // 2]))
    _one_line(e.value)
    with pytest.raises(RecordingError, match=r"part .* lasts 0\.5 s"):
        load(_wav(tmp_path / "a.wav", plucks(RATE)), start_s=1.0, end_s=1.5)


def test_nan_in_a_floating_point_file_says_so(tmp_path: Path) -> None:
    """By construction: one sample is not a number."""
    x = plucks(RATE).copy()
    x[1000] = np.nan
    soundfile.write(tmp_path / "a.wav", x, RATE, subtype="FLOAT")
    with pytest.raises(RecordingError, match="NaN or infinity") as e:
        load(tmp_path / "a.wav")
    _one_line(e.value)


def test_a_rate_out_of_range_says_so(tmp_path: Path) -> None:
    """By construction: 4 kHz."""
    with pytest.raises(RecordingError, match=r"8000 to 192000 Hz, but 4000") as e:
        load(_wav(tmp_path / "a.wav", plucks(8_000), 4_000))
    _one_line(e.value)


@pytest.mark.parametrize(
    ("start_s", "end_s"),
    [(-1.0, None), (np.nan, None), (None, np.inf), (2.0, 1.0), (1.0, 1.0), (None, 0.0), (99.0, None)],
)
@pytest.mark.parametrize("name", ["a.wav", "a.m4a"])
def test_a_part_that_makes_no_sense_is_wrong_usage(
    tmp_path: Path, name: str, start_s: float | None, end_s: float | None
) -> None:
    """By construction: negative, not a number, reversed, empty, or after the end."""
    x = plucks(RATE)
    file = _wav(tmp_path / name, x) if name == "a.wav" else write_codec(tmp_path / name, x, RATE, "aac")
    with pytest.raises(UsageError) as e:
        load(file, start_s=start_s, end_s=end_s)
    _one_line(e.value)


def _sparse_wav(path: Path, minutes: float, rate: int = 8_000) -> Path:
    """A WAV of so many minutes that takes no room: header, then a hole."""
    size = int(minutes * 60 * rate * 2)
    kind = struct.pack("<IHHIIHH", 16, 1, 1, rate, 2 * rate, 2, 16)
    path.write_bytes(b"RIFF" + struct.pack("<I", 36 + size) + b"WAVEfmt " + kind + b"data" + struct.pack("<I", size))
    os.truncate(path, 44 + size)
    return path


def test_an_hour_needs_a_part(tmp_path: Path) -> None:
    """By construction: 60 minutes; refused by the header, before decoding, naming the options that help."""
    file = _sparse_wav(tmp_path / "hour.wav", 60)
    with pytest.raises(RecordingError, match=r"at most 30 minutes .* 60 min .*--start, --end") as e:
        load(file)
    _one_line(e.value)
    with pytest.raises(RecordingError, match=r"60 min|50 min"):
        load(file, start_s=600.0)
    with pytest.raises(RecordingError, match="is silent"):  # that part is read
        load(file, start_s=600.0, end_s=610.0)


def test_an_hour_of_aac_needs_a_part_and_is_refused_before_decoding(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the limit lowered to 2 s, a file of 3 s is refused by its header; raw AAC, which has none, while reading."""
    from strumclock.audio import containers, decoded

    monkeypatch.setattr(decoded, "MAX_DURATION_S", 2.0)
    x = plucks(RATE)
    raw = write_codec(tmp_path / "a.aac", x, RATE, "aac")
    with pytest.raises(RecordingError, match=r"at most .* more than"):
        load(raw)
    assert load(raw, start_s=1.0, end_s=2.5).duration_s == pytest.approx(1.5, abs=1e-4)
    monkeypatch.setattr(containers._Track, "take", lambda *_: pytest.fail("a packet was taken"))
    with pytest.raises(RecordingError, match="at most"):
        load(write_codec(tmp_path / "a.m4a", x, RATE, "aac"))


CUT = [
    ("a.wav", None),
    ("a.flac", None),
    ("a.ogg", None),
    ("a.mp3", "libmp3lame"),
    ("a.opus", "libopus"),
    ("fast.mp4", "aac"),
]


@pytest.mark.parametrize(("name", "codec"), CUT)
def test_a_file_that_was_cut_short_is_read_as_far_as_it_goes(tmp_path: Path, name: str, codec: str | None) -> None:
    """By construction: the last third of the bytes is missing; what is there keeps its times."""
    rate = 48_000
    x = plucks(rate, 5.0)
    file = tmp_path / name
    if codec is None:
        soundfile.write(file, x, rate)
    else:
        write_codec(file, x, rate, codec, options={"movflags": "faststart"} if name == "fast.mp4" else None)
    os.truncate(file, file.stat().st_size * 2 // 3)
    recording = load(file)
    assert "truncated" in [n.code for n in recording.notices]
    assert 1.5 < recording.duration_s < 4.5
    n = round(1.5 * rate)
    assert abs(lag_samples(recording.mono()[:n], x[:n])) < 2.0
    assert "\n" not in recording.notices[0].message


def test_an_m4a_without_its_index_cannot_be_read(tmp_path: Path) -> None:
    """An M4A keeps its index at the end; without it no packet can be found."""
    file = write_codec(tmp_path / "a.m4a", plucks(RATE), RATE, "aac")
    os.truncate(file, file.stat().st_size * 2 // 3)
    with pytest.raises(AudioFileError) as e:
        load(file)
    _one_line(e.value)


@pytest.mark.parametrize(
    ("name", "codec"), [("a.flac", None), ("a.ogg", None), ("a.m4a", "aac"), ("a.opus", "libopus")]
)
def test_damage_in_the_middle_moves_nothing_after_it(tmp_path: Path, name: str, codec: str | None) -> None:
    """By construction: bytes in the middle are overwritten; what comes after has the times it had."""
    rate = 48_000
    x = plucks(rate, 8.0)
    file = tmp_path / name
    if codec is None:
        soundfile.write(file, x, rate)
    else:
        write_codec(file, x, rate, codec)
    data = bytearray(file.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 800] = np.random.default_rng(5).integers(0, 256, 800, dtype=np.uint8).tobytes()
    file.write_bytes(data)
    recording = load(file)
    assert "gaps" in [n.code for n in recording.notices]
    tail = slice(round(6.5 * rate), round(7.9 * rate))
    assert abs(lag_samples(recording.mono()[tail], x[tail])) < 2.0


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF])
def test_a_wav_whose_recorder_never_wrote_its_length_is_read(tmp_path: Path, size: int) -> None:
    """Recorders that stop suddenly leave 0, streams write 2³² − 1; the samples are all there."""
    x = plucks(RATE)
    data = bytearray(_wav(tmp_path / "a.wav", x).read_bytes())
    at = data.find(b"data")
    data[at + 4 : at + 8] = struct.pack("<I", size)
    (tmp_path / "a.wav").write_bytes(data)
    recording = load(tmp_path / "a.wav")
    assert len(recording.samples) == len(x)
    assert recording.notices == ()


def _codes(file: Path) -> list[str]:
    return [n.code for n in load(file).notices]


def test_clipping_is_noticed_with_its_share(tmp_path: Path) -> None:
    """By construction: 18 dB above full scale; the share is that of the runs of four or more, counted one by one."""
    x = np.clip(8.0 * plucks(RATE), -1, 1)
    (notice,) = load(_wav(tmp_path / "a.wav", x)).notices
    assert notice.code == "clipped"
    said = float(re.match(r"([\d.]+) %", notice.message)[1]) / 100  # type: ignore[index]
    runs = [len(list(run)) for sign, run in groupby(np.trunc(x).tolist()) if sign]
    assert said == pytest.approx(sum(n for n in runs if n >= 4) / len(x), abs=0.0006)


def test_clipping_below_full_scale_is_noticed(tmp_path: Path) -> None:
    """By construction: cut by an input stage, then recorded at half the level."""
    assert _codes(_wav(tmp_path / "a.wav", 0.4 * np.clip(8.0 * plucks(RATE), -1, 1))) == ["clipped"]


@pytest.mark.parametrize(("codec", "name"), [("aac", "a.m4a"), ("libmp3lame", "a.mp3"), ("libopus", "a.opus")])
def test_clipping_is_noticed_through_lossy_codecs(tmp_path: Path, codec: str, name: str) -> None:
    """By construction: 18 dB above full scale, then encoded, which bends the flat tops; unclipped, no notice."""
    x = plucks(48_000)
    assert _codes(write_codec(tmp_path / name, np.clip(8.0 * x, -1, 1), 48_000, codec)) == ["clipped"]
    assert _codes(write_codec(tmp_path / name, x, 48_000, codec)) == []


def test_a_full_scale_take_that_is_not_clipped_raises_no_notice(tmp_path: Path) -> None:
    """By construction: the highest sample just reaches full scale; a slow sine has flat-looking tops but is not cut."""
    x = plucks(RATE)
    assert _codes(_wav(tmp_path / "a.wav", x / np.abs(x).max())) == []
    sine = np.sin(2 * np.pi * 82.4069 * np.arange(3 * RATE) / RATE)
    assert _codes(_wav(tmp_path / "b.wav", sine)) == []


def test_every_error_of_reading_is_ours(tmp_path: Path) -> None:
    """A hundred files with random damage: a recording or an error of the tree, never another exception."""
    rng = np.random.default_rng(11)
    x = plucks(8_000, 1.5)
    sources = []
    for name, codec in (("a.wav", None), ("a.flac", None), ("a.ogg", None), ("a.m4a", "aac"), ("a.mp3", "libmp3lame")):
        file = tmp_path / name
        if codec is None:
            soundfile.write(file, x, 8_000)
        else:
            write_codec(file, x, 8_000, codec)
        sources.append(file)
    outcomes = set()
    for i in range(100):
        source = sources[i % len(sources)]
        data = bytearray(source.read_bytes())
        for _ in range(rng.integers(1, 6)):
            at = int(rng.integers(0, len(data)))
            data[at : at + 8] = rng.integers(0, 256, min(8, len(data) - at), dtype=np.uint8).tobytes()
        damaged = tmp_path / f"damaged{source.suffix}"
        damaged.write_bytes(data[: int(rng.integers(20, len(data) + 1))])
        try:
            outcomes.add(type(load(damaged)).__name__)
        except StrumclockError as e:
            _one_line(e)
            outcomes.add(type(e).__name__)
    assert "Recording" in outcomes
    assert outcomes <= {"Recording", "AudioFileError", "RecordingError"}


def test_a_file_of_which_next_to_nothing_is_left_is_called_cut_short(tmp_path: Path) -> None:
    """Truth: 30 s of FLAC of which next to nothing is there; "record some bars" would be of no use."""
    whole = tmp_path / "whole.flac"
    soundfile.write(whole, 0.1 * np.random.default_rng(0).standard_normal(30 * RATE), RATE)
    cut = tmp_path / "cut.flac"
    cut.write_bytes(whole.read_bytes()[:30000] + bytes(30000))
    with pytest.raises(StrumclockError, match=r"cut.flac.* is cut short: .*; copy or send it again") as e:
        load(cut)
    _one_line(e.value)
