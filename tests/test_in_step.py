"""What a file that was recorded in step says of itself: kept by copies, not believed once the sound is another."""

from __future__ import annotations

import io
import shutil
import struct
import wave
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings, strategies as st

from strumclock.audio import load
from strumclock.audio.in_step import CHANGED, CHUNK_ID, UNREADABLE, InStep, add_in_step, read_in_step
from strumclock.errors import UsageError
from strumclock.grid import Exercise
from strumclock.pipeline import measure
from strumclock.pipeline.in_step import told_by_file
from strumclock.pipeline.options import MeasureOptions
from strumclock.synthesis import Scene, synthesise

EXERCISE = {"bpm": 96.0, "meter": "4/4", "count_in": 1, "bars": 8, "chords": ["A", "D"]}
SAID = InStep(exercise=EXERCISE, first_downbeat_s=3.0, latency_s=0.05, latency_u_s=0.0002, same_clock=True)


def wav_of(samples, rate: int = 44_100, subtype: str = "PCM_24") -> bytes:
    file = io.BytesIO()
    soundfile.write(file, samples, rate, subtype=subtype, format="WAV")
    return file.getvalue()


def noise(n: int = 88_201):
    return np.random.default_rng(1).normal(0, 0.05, n)


@pytest.fixture
def take(tmp_path: Path) -> Path:
    path = tmp_path / "take.wav"
    path.write_bytes(add_in_step(wav_of(noise()), SAID))
    return path


@pytest.mark.parametrize("n", [88_201, 88_200])
def test_the_sound_is_the_same_for_every_reader(tmp_path, n):
    """libsndfile and Python's own wave module read the samples of the file without the chunk; the sizes add up."""
    plain, marked = tmp_path / "plain.wav", tmp_path / "marked.wav"
    plain.write_bytes(wav_of(noise(n)))
    marked.write_bytes(add_in_step(plain.read_bytes(), SAID))
    np.testing.assert_array_equal(soundfile.read(plain)[0], soundfile.read(marked)[0])
    frames = []
    for path in (plain, marked):
        with wave.open(str(path)) as file:
            frames.append(file.readframes(file.getnframes()))
    assert frames[0] == frames[1]
    assert struct.unpack("<I", marked.read_bytes()[4:8])[0] == marked.stat().st_size - 8
    assert load(marked).notices == load(plain).notices


def test_a_copy_under_another_name_says_the_same(take, tmp_path):
    """Nothing of it depends on the name or the place."""
    copy = tmp_path / "elsewhere" / "Ines 3.WAV"
    copy.parent.mkdir()
    shutil.copy(take, copy)
    assert read_in_step(copy) == read_in_step(take) == SAID
    assert load(copy).in_step == SAID


def test_a_changed_sound_is_not_believed(take):
    """One sample; the rate in the header; the first tenth cut off by a tool that keeps foreign chunks."""
    whole = take.read_bytes()
    at = whole.index(b"data") + 8
    rate_at = whole.index(b"fmt ") + 12
    sample = whole[: at + 999] + bytes([whole[at + 999] ^ 1]) + whole[at + 1000 :]
    rate = whole[:rate_at] + struct.pack("<I", 48_000) + whole[rate_at + 4 :]
    cut = whole[: at - 4] + struct.pack("<I", len(whole) - at - 30_000) + whole[at + 30_000 :]
    for other in (sample, rate, cut):
        take.write_bytes(other)
        assert read_in_step(take) is CHANGED
        found = load(take)
        assert found.in_step is None
        assert "in-step-changed" in [notice.code for notice in found.notices]


def test_a_converted_file_says_nothing(take, tmp_path):
    """FLAC, and WAV written anew: the chunk is gone, so that the take is measured as any other."""
    samples, rate = soundfile.read(take)
    for name in ("take.flac", "again.wav"):
        soundfile.write(tmp_path / name, samples, rate)
        assert read_in_step(tmp_path / name) is None
        assert load(tmp_path / name).in_step is None


@pytest.mark.parametrize(
    "other",
    [b"{}", b"[]", b"\xff\xfe", b"[" * 5000, b'{"schema": "strumclock.in-step/1"}', b"null", b'{"sound_sha256": 1}'],
)
def test_a_chunk_that_says_something_else_is_said_and_not_used(tmp_path, other):
    """What JSON can hold instead, and what is none."""
    path = tmp_path / "odd.wav"
    wav = wav_of(noise())
    at = wav.index(b"data")
    other += b" " * (len(other) % 2)
    path.write_bytes(wav[:at] + CHUNK_ID + struct.pack("<I", len(other)) + other + wav[at:])
    assert read_in_step(path) is UNREADABLE


@settings(max_examples=60, deadline=None)
@given(st.binary(max_size=200), st.integers(0, 400))
def test_no_bytes_make_it_fail(tmp_path_factory, junk, at):
    """Property: whatever bytes are overwritten, the answer is one of four, and never an error."""
    path = tmp_path_factory.mktemp("junk") / "take.wav"
    whole = add_in_step(wav_of(noise(500)), SAID)
    path.write_bytes(whole[:at] + junk + whole[at + len(junk) :])
    found = read_in_step(path)
    assert found is None or found in (CHANGED, UNREADABLE, SAID) or isinstance(found, InStep)


def test_only_wav_can_be_marked_and_only_with_times_that_can_be():
    """One line each."""
    with pytest.raises(UsageError, match="WAV file was required"):
        add_in_step(b"fLaC" + bytes(100), SAID)
    for wrong in ({"first_downbeat_s": float("nan")}, {"latency_u_s": -1.0}, {"exercise": {}}, {"lost_at_s": -1.0}):
        with pytest.raises(UsageError):
            replace(SAID, **wrong)


def test_what_the_caller_tells_wins_but_for_the_tempo_of_the_click():
    """The chords told stay; the click that was played was one of 96 bpm, whatever is told; and that is said."""
    take = replace(load_noise(), in_step=SAID)
    told = told_by_file(take, Exercise(chords=("E",), bpm=84), MeasureOptions())
    assert told.exercise.chords == ("E",)
    assert told.exercise.bpm == 96
    assert [notice.code for notice in told.notices] == ["tempo-differs"]
    assert told.sources == {"bpm": "the recording", "meter": "the recording", "count_in": "the recording",
                            "bars": "the recording"}  # fmt: skip
    assert told.options.first_downbeat_s == 3.0
    assert told.options.latency_u_ms == pytest.approx(0.2)
    assert told.options.same_clock


@pytest.mark.parametrize("own", [{"first_downbeat_s": 1.0}, {"click": "left"}, {"click": "click.wav"}, {"midi": "x"}])
def test_who_says_where_the_beat_is_is_believed(own):
    """An explicit place of the beat: nothing is taken from the file."""
    options = MeasureOptions(**own)
    told = told_by_file(replace(load_noise(), in_step=SAID), Exercise(bpm=84), options)
    assert told.options is options
    assert told.exercise == Exercise(bpm=84)


def test_an_exercise_that_cannot_be_is_not_used():
    """A file of another's making may tell 9000 bpm: said, not obeyed."""
    said = replace(SAID, exercise={"bpm": 9000, "no_such_field": 1})
    told = told_by_file(replace(load_noise(), in_step=said), Exercise(bpm=84), MeasureOptions())
    assert told.exercise.bpm == 84
    assert told.notices == (UNREADABLE,)


def test_headphones_have_no_way_through_the_air():
    """With the guitar's distance told, nothing of the sound's way is unknown but its way to the ear."""
    told = told_by_file(replace(load_noise(), in_step=replace(SAID, headphones=True)), Exercise(), MeasureOptions())
    assert (told.options.click_to_mic_m, told.options.click_to_ear_m) == (0.0, 0.0)


def load_noise():
    import strumclock as sc

    return sc.from_array(noise(), 44_100)


def test_measure_and_batch_understand_the_file_alike(tmp_path):
    """A take with headphones, recorded in step: both know its offsets, though no click is heard in it."""
    from strumclock.batch import measure_folder
    from strumclock.journal import Journal

    exercise = Exercise(bpm=96, meter="4/4", per_beat=1, bars=10, count_in=1)
    take = synthesise(exercise, scene=Scene(click_db=None, lead_s=0.5), seed=5)
    fields = {"bpm": 96, "meter": "4/4", "per_beat": 1, "bars": 10, "count_in": 1}
    said = replace(SAID, exercise=fields, first_downbeat_s=take.truth.first_downbeat_s)
    folder = tmp_path / "Ines"
    folder.mkdir()
    path = folder / "2026-03-03 quarters.wav"
    path.write_bytes(add_in_step(wav_of(take.samples, take.sample_rate_hz), said))
    alone = measure(path)
    assert alone.grid.anchor == "given"
    done = measure_folder(folder, workers=1)
    assert done.ok
    (row,) = Journal(folder).takes().to_dict("records")
    assert row["bpm"] == 96
    assert row["mean_offset_ms"] == pytest.approx(alone.timing.mean_offset_ms.value, abs=0.001)  # the record rounds
