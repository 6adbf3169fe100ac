"""Small decisions of the pipeline and of the decoders, each by itself: at their edges, against arithmetic done here."""

from __future__ import annotations

import math
import struct
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from strumclock.alignment import Part as TakePart
from strumclock.audio.decoded import Decoded, Part, check_channels, truncated
from strumclock.audio.headers import Mp3Tag, is_mpeg_audio, read_mp3_tag, sound_head
from strumclock.errors import RecordingError, UsageError
from strumclock.examples import example_take
from strumclock.grid import Exercise
from strumclock.pipeline import MeasureOptions
from strumclock.pipeline.comparison import TakeToTake, compare, take_to_take
from strumclock.pipeline.components import chord_names
from strumclock.pipeline.frames import strum_table, take_table
from strumclock.pipeline.in_step import InStep, told_by_file
from strumclock.pipeline.listening import _only_click
from strumclock.pipeline.parts import part_at

FILE = Path("take.wav")


# --- what a file's first bytes say ------------------------------------------------------------------------------------


def id3(size: int) -> bytes:
    """An ID3v2 tag of so many bytes after its header (id3.org, ID3v2.4 structure, 3.1: four groups of seven bits)."""
    groups = bytes(size >> shift & 0x7F for shift in (21, 14, 7, 0))
    return b"ID3\x04\x00\x00" + groups + b"\0" * size


@pytest.mark.parametrize("sizes", [(), (5,), (300,), (20_000, 130), (1, 1, 1)])
def test_the_sound_begins_after_every_tag(tmp_path, sizes):
    """Each tag is as long as its four groups of seven bits say, and its header of ten bytes (ID3v2.4, 3.1)."""
    file = tmp_path / "a.mp3"
    file.write_bytes(b"".join(id3(size) for size in sizes) + b"\xff\xfbsound" + b"." * 100)
    head, at = sound_head(file)
    assert at == sum(10 + size for size in sizes)
    assert head[:7] == b"\xff\xfbsound"
    assert len(head) == 64


def test_a_tag_that_is_cut_off_is_no_sound(tmp_path):
    """Nine bytes of a header that needs ten: it stays what it is; a tag longer than the file leaves nothing."""
    file = tmp_path / "a.mp3"
    file.write_bytes(id3(50)[:9])
    assert sound_head(file) == (id3(50)[:9], 0)
    file.write_bytes(id3(50)[:30])
    assert sound_head(file) == (b"", 60)


@pytest.mark.parametrize(
    ("head", "mpeg"),
    [
        (b"\xff\xfb", True),  # MPEG 1 layer III
        (b"\xff\xf3", True),  # MPEG 2 layer III
        (b"\xff\xfd", True),  # MPEG 1 layer II
        (b"\xff\xe2", True),  # MPEG 2.5 layer III
        (b"\xff\xf1", False),  # AAC in ADTS: layer 0
        (b"\xff\xf9", False),
        (b"\xff\xdb", False),  # ten bits of sync
        (b"\xfe\xfb", False),
        (b"\xff", False),
    ],
)
def test_an_mpeg_frame_by_its_sync_and_layer(head, mpeg):
    """ISO/IEC 11172-3, 2.4.1.3: eleven bits of sync; layer 0 is reserved there and AAC's in ISO/IEC 13818-7."""
    assert is_mpeg_audio(head) is mpeg


def xing(name: bytes, flags: int, frames: int = 0, size: int = 0, *, delays: bytes = b"", before: int = 36) -> bytes:
    """An MP3's first frame with a Xing or Info tag (LAME's tag specification: the fields by their flags)."""
    tag = name + struct.pack(">I", flags)
    tag += struct.pack(">I", frames) if flags & 1 else b""
    tag += struct.pack(">I", size) if flags & 2 else b""
    tag += b"c" * 100 if flags & 4 else b""
    tag += b"q" * 4 if flags & 8 else b""
    tag += b"LAME3.100" + b"x" * 12 + delays if delays else b""
    return b"\xff\xfb".ljust(before, b"\0") + tag


@pytest.mark.parametrize("name", [b"Xing", b"Info"])
@pytest.mark.parametrize("flags", range(16))
def test_an_mp3s_tag_whatever_fields_it_has(tmp_path, name, flags):
    """Frames, bytes, contents and quality are there by the four lowest bits; the delay lies 21 bytes behind them."""
    file = tmp_path / "a.mp3"
    frame = xing(name, flags, 1234, 5000, delays=b"\x24\x05\x76")
    file.write_bytes(id3(77) + frame.ljust(5000, b"\0"))
    frames = 1234 if flags & 1 else 0
    assert read_mp3_tag(file) == Mp3Tag(frames=frames, complete=frames > 0, has_delay=True)


def test_an_mp3_that_lacks_bytes_is_not_complete(tmp_path):
    """As many bytes as announced, 256 less at most for a tag at the end that was taken off; not a byte fewer."""
    file = tmp_path / "a.mp3"
    for there, complete in ((5000, True), (4744, True), (4743, False)):
        file.write_bytes(id3(30) + xing(b"Xing", 3, 7, 5000).ljust(there, b"\0"))
        assert read_mp3_tag(file).complete is complete


@pytest.mark.parametrize(
    ("delays", "told"),
    [(b"\x00\x10\x00", True), (b"\x01\x00\x00", True), (b"\x00\x0f\xff", False), (b"\x24\x05", False)],
)
def test_an_encoders_delay_is_twelve_bits(tmp_path, delays, told):
    """The first twelve of 24 bits are the samples put before (LAME's tag specification); three bytes must be there."""
    file = tmp_path / "a.mp3"
    file.write_bytes(xing(b"Info", 1, 7, delays=delays))
    assert read_mp3_tag(file) == Mp3Tag(frames=7, complete=True, has_delay=told)


def test_an_mp3_without_a_tag_says_nothing(tmp_path):
    """Neither in a frame without one, nor where it lies deeper than any version puts it, nor where it is cut off."""
    file = tmp_path / "a.mp3"
    for frame in (b"\xff\xfb" + b"\0" * 400, xing(b"Xing", 15, 7, 9, before=61), xing(b"Xing", 1, 7)[:43]):
        file.write_bytes(frame)
        assert read_mp3_tag(file) == Mp3Tag()
    file.write_bytes(xing(b"Xing", 1, 7, before=60))
    assert read_mp3_tag(file).frames == 7
    file.write_bytes(xing(b"Xing", 0)[:44])
    assert read_mp3_tag(file) == Mp3Tag()


# --- which part of a file ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("part", "total", "frames"),
    [
        (Part(), None, (0, None)),
        (Part(), 5000, (0, 5000)),
        (Part(start_s=1.0), 5000, (1000, 5000)),
        (Part(start_s=1.0, context_s=0.25), 5000, (750, 5000)),
        (Part(start_s=0.1, context_s=0.25), 5000, (0, 5000)),
        (Part(start_s=1.0, end_s=2.0, context_s=0.25), 5000, (750, 2250)),
        (Part(start_s=1.0, end_s=4.9, context_s=0.25), 5000, (750, 5000)),
        (Part(start_s=1.0, end_s=2.0, context_s=0.25), None, (750, 2250)),
        (Part(end_s=2.0004), None, (0, 2000)),
        (Part(start_s=4.999), 5000, (4999, 5000)),
        (Part(end_s=9.0), 5000, (0, 5000)),
        (Part(), 0, (0, 0)),
    ],
)
def test_a_part_in_frames(part, total, frames):
    """At 1000 Hz: seconds times a thousand, the context around it as far as the file goes (arithmetic)."""
    assert part.frames(1000, total, FILE) == frames
    assert part.whole is (part.start_s is None and part.end_s is None)


def test_a_part_behind_the_end_is_refused_with_both_times():
    """The refusal says where the file ends and where the part would begin."""
    with pytest.raises(UsageError, match=r"'take.wav' ends at 5.00 s and start is 7.25 s"):
        Part(start_s=7.25).frames(1000, 5000, FILE)
    with pytest.raises(UsageError, match=r"ends at 5.00 s and start is 5.00 s"):
        Part(start_s=5.0).frames(1000, 5000, FILE)


def test_half_an_hour_is_measured_at_once_and_no_more():
    """1800 s at 10 Hz are 18,000 frames; one more is refused, and the line says how long it was."""
    Part().check_length(18_000, 10, FILE)
    with pytest.raises(RecordingError, match=r"at most 30 minutes .* but 30 min of sound came \('take.wav'\)"):
        Part().check_length(18_001, 10, FILE)
    with pytest.raises(RecordingError, match="but more than 45 min between start and end came"):
        Part(start_s=1.0).check_length(27_000, 10, FILE, at_least=True)
    with pytest.raises(RecordingError, match="31 min"):
        Part(start_s=60.0).frames(10, 60 * 10 * 32, FILE)


def test_channels_that_no_recording_has():
    """One to 64 are read; none and 65 are refused with the number and the file."""
    check_channels(1, FILE)
    check_channels(64, FILE)
    for wrong in (0, 65):
        with pytest.raises(RecordingError, match=f"1 to 64 channels were required, but 'take.wav' has {wrong}"):
            check_channels(wrong, FILE)


def test_what_was_decoded_is_whole_unless_told():
    """Nothing to notice, the priming known, the values kept; a file cut short says how much there was."""
    bare = Decoded(frames=1, channels=1, sample_rate_hz=8000, first_frame=0)
    assert (bare.notices, bare.priming_known, bare.lossy) == ((), True, False)
    assert truncated(2.5, None).message.startswith("the file is cut short: 2.50 s could be read")
    assert "2.50 s of the 9.00 s that it announces could" in truncated(2.5, 9.0).message
    assert truncated(2.5, None).code == "truncated"


# --- options, parts, sources ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("told", "part"), [("all", "all"), (1, 1), (999, 999), ("7", 7), ("00012", 12), (None, None)])
def test_a_part_is_told_by_its_number(told, part):
    """From 1 to 999, in digits too."""
    assert MeasureOptions(part=told).part == part


@pytest.mark.parametrize("told", [0, 1000, True, "000012", "-1", "1.5", "²", "every", 1.0])
def test_what_is_no_part_is_refused(told):
    """The refusal says what is a part and what came."""
    with pytest.raises(UsageError, match=f"part must be a whole number from 1 to 999, or all, but {told!r} came"):
        MeasureOptions(part=told)


def test_options_that_contradict_each_other_are_refused_with_both():
    """An end at the start is none; a latency alone belongs to nothing."""
    with pytest.raises(UsageError, match="end_s must lie after start_s, but 5 and 5 came"):
        MeasureOptions(start_s=5, end_s=5)
    with pytest.raises(UsageError, match="latency_ms needs first_downbeat_s"):
        MeasureOptions(latency_ms=5)
    assert MeasureOptions(start_s=5, end_s=5.1).end_s == 5.1


def test_a_stated_downbeat_lies_later_by_the_latency():
    """2 s and 30 ms are 2.03 s; stated without saying how well, to 2 ms."""
    told = MeasureOptions(first_downbeat_s=2, latency_ms=30, latency_u_ms=1.5)
    assert (told.downbeat_s, told.stated_u_s) == (pytest.approx(2.03), 0.0015)
    bare = MeasureOptions(first_downbeat_s=2)
    assert (bare.downbeat_s, bare.stated_u_s, MeasureOptions().downbeat_s) == (2, 0.002, None)


def parts_of(*told: tuple[float, str]) -> tuple[TakePart, ...]:
    """Parts of a recording by where they begin and what they are."""
    return tuple(
        TakePart(start_s=start, end_s=start + 5, kind=kind, bpm=90, n=9, slots=9, measured=True)
        for start, kind in told  # type: ignore[arg-type]
    )


def test_a_strum_lies_in_the_last_part_that_has_begun():
    """A tenth of a second before its first strum a part has begun; the first one from the start; a stop has none."""
    parts = parts_of((10, "played"), (20, "stopped"), (30, "played"), (40, "other-take"))
    times = (0.0, 10.0, 25.0, 29.89, 29.91, 39.8, 39.95, 99.0)
    assert [part_at(parts, t) for t in times] == [1, 1, 1, 1, 3, 3, 4, 4]
    assert part_at(parts_of((1, "played"), (2, "played")), 1.9) == 2
    assert part_at((), 3.0) is None
    assert part_at(parts_of((1, "stopped")), 3.0) is None


@pytest.mark.parametrize(("left", "only"), [([0.0299, -0.01], True), ([0.01, -0.0301], False), ([0.03, 0.0], False)])
def test_a_take_of_which_the_click_leaves_next_to_nothing_has_no_guitar(left, only):
    """Three hundredths of the click's peak, of either sign, are the border."""
    removal = SimpleNamespace(samples=np.array(left), removed=np.array([0.5, -1.0]))
    assert _only_click(SimpleNamespace(removal=removal)) is only  # type: ignore[arg-type]
    assert _only_click(SimpleNamespace(removal=None)) is False  # type: ignore[arg-type]


def in_step(options: MeasureOptions, mine: Exercise, **told: Any) -> Any:
    """What a file recorded in step with a click of 80 bpm says."""
    fields = {"exercise": {"bpm": 80, "bars": 4, "chords": ["A", "D"]}, "first_downbeat_s": 3.6, "latency_s": 0.1}
    said = InStep(**{**fields, "latency_u_s": 2e-4, "same_clock": True, **told})
    return told_by_file(SimpleNamespace(in_step=said), mine, options)  # type: ignore[arg-type]


def test_what_a_file_says_completes_what_was_told():
    """Its click stays its click; what the caller told of the exercise stays too, and each field's source is said."""
    found = in_step(MeasureOptions(guitar_to_mic_m=1), Exercise(bars=8))
    assert (found.exercise.bpm, found.exercise.bars, found.exercise.chords) == (80, 8, ("A", "D"))
    assert found.sources == {"bpm": "the recording", "chords": "the recording"}
    told = found.options
    assert (told.first_downbeat_s, told.same_clock, told.latency_u_ms) == (3.6, True, pytest.approx(0.2))
    assert (told.click_to_mic_m, told.click_to_ear_m, told.guitar_to_mic_m) == (None, None, 1)
    assert (found.known_to_s, found.notices) == (None, ())
    kept = in_step(MeasureOptions(latency_u_ms=5), Exercise(), same_clock=False).options
    assert (kept.latency_u_ms, kept.same_clock) == (5, False)


def test_in_headphones_the_click_passes_no_air_unless_told():
    """0 m to ear and microphone where nobody told a distance."""
    found = in_step(MeasureOptions(click_to_ear_m=0.4), Exercise(), headphones=True).options
    assert (found.click_to_mic_m, found.click_to_ear_m) == (0, 0.4)


def test_a_tempo_told_that_is_not_the_clicks_is_said():
    """A thousandth apart is what clocks do; more is another tempo, and the click wins."""
    alike = in_step(MeasureOptions(), Exercise(bpm=80.08))
    assert (alike.exercise.bpm, alike.notices) == (80, ())
    other = in_step(MeasureOptions(), Exercise(bpm=80.09))
    assert (other.exercise.bpm, [n.code for n in other.notices]) == (80, ["tempo-differs"])
    assert "80.09 bpm" in other.notices[0].message
    assert "click of 80 bpm" in other.notices[0].message


def test_samples_that_were_lost_end_what_is_known():
    """From there on nothing was omitted: the number of bars is not kept, and the time is said."""
    found = in_step(MeasureOptions(), Exercise(), lost_at_s=12.34)
    assert (found.known_to_s, found.exercise.bars, [n.code for n in found.notices]) == (12.34, None, ["samples-lost"])
    assert "at 12.3 s" in found.notices[0].message
    assert "bars" not in found.sources


@pytest.mark.parametrize("told", [{"first_downbeat_s": 1.0}, {"midi": "a.mid"}, {"click": "left"}, {"click": "c.wav"}])
def test_who_says_where_the_beat_is_is_believed(told):
    """Nothing is taken from the file then."""
    found = in_step(MeasureOptions(**told), Exercise(bpm=70))
    assert (found.exercise, found.options, found.sources) == (Exercise(bpm=70), MeasureOptions(**told), {})


def test_what_a_file_says_wrongly_is_not_used():
    """A field that no exercise has, or a value that none takes: a notice, and nothing else changes."""
    for wrong in ({"bpm": 80, "meter": "none"}, {"bpm": 80, "no such field": 1}):
        found = in_step(MeasureOptions(), Exercise(bpm=70), exercise=wrong)
        assert (found.exercise.bpm, len(found.notices), found.sources) == (70, 1, {})


# --- two takes, and tables --------------------------------------------------------------------------------------------


def test_how_far_takes_lie_apart_by_von_neumanns_ratio():
    """√(mean square of successive differences / 2); two takes lie within t √2 sd (von Neumann 1941; arithmetic)."""
    values = [10.0, 14.0, 11.0, 12.0, 20.0]
    found = take_to_take(values)
    assert found == TakeToTake(sd=math.sqrt((16 + 9 + 1 + 64) / 4 / 2), n=5)
    assert found is not None
    assert found.reach == pytest.approx(2.776445 * math.sqrt(2) * found.sd)
    assert take_to_take([1, 2, 3, 4]) is None


def test_a_takes_columns_keep_their_kind_whatever_is_in_it():
    """Texts are objects, whole numbers Int64, the judgement boolean, figures float64 (pandas' own names)."""
    row = take_table(example_take())
    kinds = {name: str(kind) for name, kind in row.dtypes.items()}
    assert {n for n, k in kinds.items() if k == "Int64"} == {
        *("per_beat", "count_in", "bars", "beats_per_change", "n_strums", "n_in_slots", "n_omitted", "n_added")
    }
    assert {n for n, k in kinds.items() if k == "boolean"} == {"held"}
    assert {n for n, k in kinds.items() if k == "object"} == {
        *("file", "sha256", "exercise", "meter", "pattern", "chords", "inferred", "anchor", "standard", "failed"),
        *("obstacles", "warnings", "absent"),
    }
    assert set(kinds.values()) == {"Int64", "boolean", "object", "float64"}
    m = example_take()
    assert m.timing is not None
    jitter = m.timing.jitter_ms
    assert jitter is not None
    cells = [row[f"jitter_ms{ending}"][0] for ending in ("", "_low", "_high", "_u")]
    assert cells == [jitter.value, jitter.low, jitter.high, jitter.u]
    assert row.n_in_slots[0] == m.timing.n
    assert row.n_added[0] == sum(s.slot is None for s in m.strums)
    strums = strum_table(m)
    assert strums.time_s.tolist() == [s.time_s for s in m.strums]


def test_a_take_against_itself_is_the_same_everywhere():
    """Every difference is 0 and none is shown; nothing leads."""
    found = compare(example_take(), example_take())
    assert (found.same_exercise, found.same_tempo, found.leads) == (True, True, None)
    assert {row.b_minus_a.value for row in found.differences} == {0.0}
    assert not any(row.shown for row in found.differences)
    assert all(row.beyond_usual is None for row in found.differences)
    m = example_take()
    assert m.timing is not None
    assert found.n_places == m.timing.n


def test_chords_that_are_not_told_are_those_heard():
    """No change is told: the chord under a strum is the one heard there; nothing where nothing was heard."""
    alignment: Any = SimpleNamespace(grid=SimpleNamespace(at_change=np.zeros(3, bool)))
    heard: Any = SimpleNamespace(harmony=SimpleNamespace(chord=("A", "D", "E")))
    assert chord_names(heard, alignment, np.array([0, 2])) == ("A", "E")
    assert chord_names(SimpleNamespace(harmony=None), alignment, np.array([0])) is None  # type: ignore[arg-type]
