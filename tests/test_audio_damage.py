"""Files that were cut, special files, samples and names of unusual kinds: said in one line, or read with a notice."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import numpy as np
import pytest
import soundfile
from audio_files import lag_samples, plucks, write_codec

import strumclock as sc
from strumclock.audio import from_array, load
from strumclock.errors import AudioFileError, RecordingError, UsageError
from strumclock.midi import read_tempo_map

RATE = 44_100

# name of the file, libsndfile's format and kind; or FFmpeg's codec and its options
BY_SOUNDFILE = {
    "a.aiff": ("AIFF", "PCM_16"),
    "a.aifc": ("AIFF", "FLOAT"),
    "a.caf": ("CAF", "PCM_16"),
    "alac.caf": ("CAF", "ALAC_16"),
    "a.w64": ("W64", "PCM_16"),
    "a.rf64": ("RF64", "PCM_16"),
    "a.au": ("AU", "PCM_16"),
    "a.wav": ("WAV", "PCM_16"),
    "a.flac": ("FLAC", "PCM_16"),
    "a.ogg": ("OGG", "VORBIS"),
    "a.mp3": ("MP3", "MPEG_LAYER_III"),
}
BY_FFMPEG: dict[str, tuple[str, dict[str, object]]] = {
    "a.wma": ("wmav2", {"bit_rate": 128_000}),
    "a.aac": ("aac", {}),
    "a.mp4": ("aac", {"options": {"movflags": "faststart"}}),
    "a.webm": ("libopus", {}),
    "a.opus": ("libopus", {}),
    "a.mka": ("flac", {}),
    "b.mp3": ("libmp3lame", {}),
    "a.ts": ("aac", {"container": "mpegts"}),
    "a.avi": ("pcm_s16le", {}),
    "b.caf": ("pcm_s16le", {}),
    "b.aiff": ("pcm_s16be", {}),
    "a.tta": ("tta", {}),
}


def _written(path: Path) -> Path:
    """Five seconds of plucks in the format that the file's name stands for."""
    rate = 48_000 if "libopus" in BY_FFMPEG.get(path.name, ("",)) else RATE
    x = plucks(rate, 5.0)
    if path.name in BY_SOUNDFILE:
        form, kind = BY_SOUNDFILE[path.name]
        soundfile.write(path, x, rate, format=form, subtype=kind)
    else:
        codec, more = BY_FFMPEG[path.name]
        write_codec(path, x, rate, codec, **more)  # type: ignore[arg-type]
    return path


@pytest.mark.parametrize("name", [*BY_SOUNDFILE, *BY_FFMPEG])
def test_a_file_that_ends_early_never_passes_without_notice(tmp_path: Path, name: str) -> None:
    """By construction: a third, and three in a hundred, of the bytes are missing; uncut, nothing is said."""
    whole = _written(tmp_path / name)
    assert load(whole).notices == ()
    for share in (2 / 3, 0.97):
        cut = tmp_path / f"cut-{name}"
        shutil.copy(whole, cut)
        os.truncate(cut, int(whole.stat().st_size * share) | 1)  # never at the end of a packet of 188 bytes
        recording = load(cut)
        assert "truncated" in [n.code for n in recording.notices]
        assert recording.duration_s < 4.95


def test_an_mp4_whose_index_is_cut_off_is_called_cut_short(tmp_path: Path) -> None:
    """By construction: FFmpeg puts the index last; "no sound track" would be untrue."""
    for share in (0.5, 0.97):
        file = write_codec(tmp_path / "a.m4a", plucks(RATE), RATE, "aac")
        os.truncate(file, int(file.stat().st_size * share))
        with pytest.raises(AudioFileError, match="is cut short"):
            load(file)


@pytest.mark.parametrize("reads", [load, read_tempo_map, sc.measure])
def test_a_pipe_or_a_device_is_refused_at_once(tmp_path: Path, reads: object) -> None:
    """By construction: nobody writes into the pipe, and /dev/zero never ends; a link to a file is followed."""
    os.mkfifo(tmp_path / "a.wav")
    for special in (tmp_path / "a.wav", "/dev/zero"):
        with pytest.raises(AudioFileError, match="is a pipe or a device; save it as a file first"):
            reads(special)  # type: ignore[operator]
    soundfile.write(tmp_path / "b.wav", plucks(RATE), RATE)
    (tmp_path / "link.wav").symlink_to("b.wav")
    assert load(tmp_path / "link.wav").duration_s == 3.0


@pytest.mark.parametrize("name", ["a.wav", "a.mka"])
def test_whole_numbers_of_64_bits_are_read(tmp_path: Path, name: str) -> None:
    """Against the samples that FFmpeg wrote, in a format that neither libsndfile nor PyAV's arrays know."""
    x = plucks(RATE)
    recording = load(write_codec(tmp_path / name, x, RATE, "pcm_s64le"))
    np.testing.assert_allclose(recording.channel(0), x, rtol=0, atol=1e-6)


@pytest.mark.parametrize("huge", [1e10, 1e30, 1e300])
def test_samples_far_beyond_full_scale_are_refused(tmp_path: Path, huge: float) -> None:
    """By construction; what somebody forgot to scale from whole numbers (up to 2³¹) is taken."""
    x = plucks(RATE).astype(float)
    soundfile.write(tmp_path / "a.wav", huge * x, RATE, subtype="DOUBLE")
    with pytest.raises(RecordingError, match=r"must (lie near full scale|be finite)"):
        load(tmp_path / "a.wav")
    with pytest.raises(RecordingError, match=r"must (lie near full scale|be finite)"):
        load(write_codec(tmp_path / "a.mka", huge * x, RATE, "pcm_f64le", form="dbl"))
    with pytest.raises(RecordingError, match=r"must (lie near full scale|be finite)"):
        from_array(huge * x, RATE)
    soundfile.write(tmp_path / "a.wav", 2.0**31 * x, RATE, subtype="DOUBLE")
    assert load(tmp_path / "a.wav").duration_s == 3.0


@pytest.mark.parametrize(("name", "codec"), [(b"caf\xe9.wav", "pcm_s16le"), (b"caf\xe9.m4a", "aac")])
def test_a_name_that_is_no_utf_8_is_a_name(tmp_path: Path, name: bytes, codec: str) -> None:
    """By construction: a Latin-1 é, as old archives have it; the checksum says that the file was read."""
    plain = write_codec(tmp_path / f"plain{os.fsdecode(name)[-4:]}", plucks(RATE), RATE, codec)
    named = Path(os.fsdecode(os.fsencode(tmp_path) + b"/" + name))
    shutil.copy(plain, named)
    recording = load(named)
    assert abs(lag_samples(recording.mono(), plucks(RATE))) < 1.0
    assert recording.sha256 == load(plain).sha256


@pytest.mark.parametrize("start_s", [1e308, 1e9, np.inf, -1e-9])
def test_a_start_beyond_any_recording_is_wrong_usage(tmp_path: Path, start_s: float) -> None:
    """By construction: no recorder runs for more than a week."""
    soundfile.write(tmp_path / "a.wav", plucks(RATE), RATE)
    with pytest.raises(UsageError, match="give a number from 0 to 604800"):
        load(tmp_path / "a.wav", start_s=start_s)


@pytest.mark.parametrize("said", ["0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "1904-01-01T00:00:00Z", "nonsense"])
def test_a_container_date_that_cannot_be_is_no_date(tmp_path: Path, said: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By construction: the first and the last year there is, the zero of QuickTime's clock, in zones far from UTC."""
    import time

    import av

    from strumclock.batch.files import container_time

    file = tmp_path / "a.mka"
    with av.open(str(file), "w") as out:
        out.metadata["date"] = said
        stream = out.add_stream("flac", rate=RATE, layout="mono")
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 4096), np.int16), format="s16", layout="mono")
        frame.sample_rate = RATE
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    for zone in ("Pacific/Kiritimati", "Pacific/Pago_Pago"):
        monkeypatch.setenv("TZ", zone)
        time.tzset()
        assert container_time(str(file)) is None
    monkeypatch.delenv("TZ")
    time.tzset()
