"""What becomes of packets, one by one: made-up packets whose every sample is its own index, counted in the test.

A sample says where it belongs, so that what a part holds can be read off it. No codec is between: the packets are
stand-ins with what PyAV's have (``pts``, ``time_base``, ``is_discard``, ``decode`` …).
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import av
import numpy as np
import pytest

from strumclock.audio import containers
from strumclock.audio.containers import _announced_s, _Track
from strumclock.audio.decoded import Decoded, Part
from strumclock.errors import AudioFileError, RecordingError, UsageError

RATE, SIZE = 8000, 1000  # packets of an eighth of a second


class Codec:
    """What decodes: its name, and how often its buffers were flushed."""

    def __init__(self, name: str) -> None:
        self.name, self.flushed = name, 0

    def flush_buffers(self) -> None:
        """Count."""
        self.flushed += 1


class Packet:
    """Samples `first` … `first` + `n`; damaged ones cannot be decoded."""

    def __init__(self, codec: Codec, first: int, n: int = SIZE, **told: Any) -> None:
        self.stream = SimpleNamespace(codec_context=codec)
        self.first, self.n, self.decoded = first, n, False
        self.damaged, self.rate, self.channels = told.get("damaged", False), told.get("rate", RATE), 1
        self.pts = None if told.get("stamp_s") is None else round(told["stamp_s"] * RATE)
        self.time_base, self.size = Fraction(1, RATE), told.get("size", 99)
        self.is_discard, self.skips = told.get("discard", False), told.get("skips", False)

    def has_sidedata(self, kind: str) -> bool:
        """Whether the container says that some samples are to be skipped."""
        return kind == "skip_samples" and self.skips

    def __bytes__(self) -> bytes:
        return bytes([0b11111000, 0])  # Opus: one frame of 20 ms

    def decode(self) -> list[Any]:
        """One frame; its samples are their own indices."""
        self.decoded = True
        if self.damaged:
            raise av.error.InvalidDataError(1, "damaged")
        if not self.n:
            return []
        values = np.arange(self.first, self.first + self.n, dtype=np.float32)[None]
        return [SimpleNamespace(sample_rate=self.rate, samples=self.n, values=values)]


@pytest.fixture
def gather(monkeypatch):
    """Takes packets through a track; gives the samples handed on, what is said of them, and the track."""
    monkeypatch.setattr(containers, "frame_samples", lambda frame: frame.values)
    monkeypatch.setattr(containers, "is_cut_short", lambda _: False)

    def run(packets: list[Packet], part: Part | None = None, **told: Any) -> tuple[np.ndarray, Decoded, Any]:
        blocks: list[np.ndarray] = []
        fields = {"announced_s": None, "stamped": True, "gap_s": 0.1, **told}
        track = _Track(file=Path("a.m4a"), part=part or Part(), handed_to=lambda b: blocks.append(b.copy()), **fields)
        for packet in packets:
            track.take(packet)
            if track.complete:
                break
        found = track.result()
        return np.concatenate(blocks)[:, 0], found, track

    return run


def row(codec: Codec, n: int, *, stamped: bool = True, **told: Any) -> list[Packet]:
    """So many packets one after the other, with their stamps."""
    return [Packet(codec, i * SIZE, stamp_s=i * SIZE / RATE if stamped else None, **told) for i in range(n)]


def test_packets_are_laid_end_to_end(gather):
    """Forty packets: every sample stands at its index; rate, channels, and that AAC is lossy and primed, are told."""
    samples, found, _ = gather(row(Codec("aac"), 40))
    np.testing.assert_array_equal(samples, np.arange(40 * SIZE))
    assert (found.frames, found.sample_rate_hz, found.channels, found.first_frame) == (40 * SIZE, RATE, 1, 0)
    assert (found.notices, found.priming_known, found.lossy) == ((), False, True)


@pytest.mark.parametrize(
    ("name", "primed", "lossy"),
    [("flac", True, False), ("pcm_s16le", True, False), ("vorbis", True, True), ("mp3", False, True)],
)
def test_what_a_codec_does_to_samples(gather, name, primed, lossy):
    """PCM and FLAC keep the values; AAC and MP3 put samples before the first one (of each its specification)."""
    _, found, _ = gather(row(Codec(name), 3))
    assert (found.priming_known, found.lossy) == (primed, lossy)


def test_priming_that_the_container_takes_off_is_known(gather):
    """The first packet says that samples of it are to be skipped; a later one says nothing of the priming."""
    codec = Codec("aac")
    _, found, _ = gather([Packet(codec, 0, skips=True), *row(codec, 5)[1:]])
    assert found.priming_known
    _, found, _ = gather([*row(codec, 4), Packet(codec, 4 * SIZE, 500, skips=True, stamp_s=0.5)])
    assert not found.priming_known


@pytest.mark.parametrize(("start_s", "decoded_from"), [(3.0, 20), (3.1, 20), (3.126, 21), (0.4, 0)])
def test_packets_well_before_a_part_are_counted_and_not_decoded(gather, start_s, decoded_from):
    """Half a second before the part is decoded and thrown away; before it only the first packet, for its size."""
    codec = Codec("aac")
    packets = row(codec, 40)
    samples, found, _ = gather(packets, Part(start_s=start_s, end_s=4.0))
    first = round(start_s * RATE)
    np.testing.assert_array_equal(samples, np.arange(first, 4 * RATE))
    assert (found.first_frame, found.frames) == (first, 4 * RATE - first)
    expected = [0, *range(decoded_from, 32)] if decoded_from else list(range(32))
    assert [i for i, packet in enumerate(packets) if packet.decoded] == expected
    assert codec.flushed == (1 if decoded_from else 0)


def test_opus_packets_are_counted_by_their_first_bytes(gather):
    """RFC 6716, 3.1: 0xF8 is one frame of 20 ms, 960 samples at 48 kHz; only the half second before is decoded."""
    codec = Codec("opus")
    packets = [Packet(codec, i * 960, 960, rate=48000) for i in range(200)]
    for packet in packets:
        packet.pts = None
    samples, _, _ = gather(packets, Part(start_s=3.0, end_s=3.2))
    np.testing.assert_array_equal(samples, np.arange(144_000, 153_600))
    assert [i for i, p in enumerate(packets) if p.decoded] == [0, *range(125, 160)]


def test_packets_of_a_codec_whose_sizes_differ_are_all_decoded(gather):
    """Of Vorbis nobody can tell how many samples a packet gives before it is decoded."""
    packets = row(Codec("vorbis"), 40)
    gather(packets, Part(start_s=3.0, end_s=4.0))
    assert [i for i, p in enumerate(packets) if p.decoded] == list(range(32))


def test_once_a_size_was_not_as_foretold_nothing_is_foretold(gather):
    """The third packet is shorter than the others: from there on every packet is decoded."""
    codec = Codec("aac")
    packets = [Packet(codec, 0), Packet(codec, SIZE), Packet(codec, 2 * SIZE, 400)]
    packets += [Packet(codec, 2400 + i * SIZE) for i in range(40)]
    samples, _, _ = gather(packets, Part(start_s=0.6, end_s=4.0))
    np.testing.assert_array_equal(samples, np.arange(4800, 4 * RATE))
    late = [Packet(codec, i * SIZE) for i in range(60)]
    late[45] = Packet(codec, 45 * SIZE, 400)
    for i, packet in enumerate(late[46:]):
        packet.first = 45 * SIZE + 400 + i * SIZE
    samples, _, track = gather(late, Part(start_s=6.0))
    np.testing.assert_array_equal(samples, np.arange(6 * RATE, 59 * SIZE + 400))
    assert track.regular is False


@pytest.mark.parametrize(("jump_s", "filled"), [(0.09, 0), (0.11, 880), (0.5, 4000)])
def test_where_the_stamps_jump_there_is_silence(gather, jump_s, filled):
    """A tenth of a second is a gap in what a recorder stamps; what follows stands as much later, and it is said."""
    codec = Codec("aac")
    packets = row(codec, 20)
    for packet in packets[8:]:
        packet.pts += round(jump_s * RATE)
    samples, found, _ = gather(packets)
    whole = np.arange(20 * SIZE)
    expected = np.concatenate([whole[: 8 * SIZE], np.zeros(filled), whole[8 * SIZE :]])
    np.testing.assert_array_equal(samples, expected)
    assert [n.code for n in found.notices] == (["gaps"] if filled else [])
    if filled:
        assert f"one stretch is missing ({filled / RATE:.2f} s in all" in found.notices[0].message
        assert "misplaced" not in found.notices[0].message


def test_a_stamp_beyond_the_announced_end_is_itself_damaged(gather):
    """A jump that would not fit before the end is not believed; one that just fits is."""
    codec = Codec("aac")
    for jump_s, filled in ((0.5, 4000), (0.51, 0)):
        packets = row(codec, 20)
        packets[19].pts += round(jump_s * RATE)
        samples, _, _ = gather(packets, announced_s=19 * SIZE / RATE + 0.5)
        assert len(samples) == 20 * SIZE + filled


def test_packets_that_cannot_be_decoded_leave_silence(gather):
    """Two in the middle: as long as the packets around; what follows stays in its place, and both are said as one."""
    codec = Codec("aac")
    packets = row(codec, 20)
    for i in (5, 9):
        packets[i].damaged = True
    samples, found, _ = gather(packets)
    expected = np.arange(20 * SIZE)
    for i in (5, 9):
        expected[i * SIZE : (i + 1) * SIZE] = 0
    np.testing.assert_array_equal(samples, expected)
    assert [n.code for n in found.notices] == ["gaps"]
    assert "2 stretches are missing (0.25 s in all" in found.notices[0].message
    for packet in packets:
        packet.pts = None
    _, found, _ = gather(packets, stamped=False)
    assert "may be misplaced" in found.notices[0].message


def test_damage_outside_a_part_is_not_said(gather):
    """Packet 5 lies from 0.625 to 0.75 s: a part from 0.75 s on, or up to 0.625 s, has no gap."""
    for part, told in ((Part(start_s=0.75), 0), (Part(start_s=0.74), 1), (Part(end_s=0.625), 0), (Part(end_s=0.63), 1)):
        packets = row(Codec("vorbis"), 20)
        packets[5].damaged = True
        _, found, _ = gather(packets, part)
        assert len(found.notices) == told


def test_what_cannot_be_decoded_at_the_end_was_cut_off(gather):
    """The last two packets are damaged: the file ends before them, and is said to be cut short."""
    packets = row(Codec("aac"), 20)
    for i in (4, 18, 19):
        packets[i].damaged = True
    samples, found, _ = gather(packets)
    assert len(samples) == 18 * SIZE
    assert [n.code for n in found.notices] == ["truncated", "gaps"]
    assert found.notices[0].message == "the file is cut short: 2.25 s could be read; what came later is missing"


@pytest.mark.parametrize(("announced_s", "told"), [(2.74, False), (2.76, True), (None, False)])
def test_a_file_that_ends_a_quarter_of_a_second_early_is_cut_short(gather, announced_s, told):
    """2.5 s came; of 2.74 announced that is all but padding, of 2.76 it is not."""
    _, found, _ = gather(row(Codec("aac"), 20), announced_s=announced_s)
    assert [n.code for n in found.notices] == (["truncated"] if told else [])
    if told:
        assert "2.50 s of the 2.76 s that it announces" in found.notices[0].message
    _, found, _ = gather(row(Codec("aac"), 20), Part(end_s=2.0), announced_s=announced_s)
    assert found.notices == ()


def test_a_part_is_what_was_asked_for_and_nothing_after_it_is_read(gather):
    """From 0.3 to 0.9 s with a tenth around it: samples 1600 to 8000; the packet after them is not decoded."""
    packets = row(Codec("vorbis"), 20)
    samples, found, _ = gather(packets, Part(start_s=0.3, end_s=0.9, context_s=0.1))
    np.testing.assert_array_equal(samples, np.arange(1600, 8000))
    assert found.first_frame == 1600
    assert [i for i, p in enumerate(packets) if p.decoded] == list(range(8))
    with pytest.raises(UsageError, match=r"ends at 2.50 s and start is 3.00 s"):
        gather(row(Codec("vorbis"), 20), Part(start_s=3.0))


def test_what_is_no_sound_or_changes_is_refused(gather):
    """No packet that decodes; a rate that changes on the way; more than half an hour."""
    with pytest.raises(AudioFileError, match="holds no sound that can be decoded; record again"):
        gather([Packet(Codec("aac"), 0, damaged=True)])
    with pytest.raises(AudioFileError, match="changes from 8000 to 16000 Hz"):
        gather([Packet(Codec("aac"), 0), Packet(Codec("aac"), SIZE, rate=16000)])
    long = [Packet(Codec("vorbis"), 0, 200_000) for _ in range(73)]
    with pytest.raises(RecordingError, match=r"more than 30.* min of sound came"):
        gather(long)
    assert gather(long[:72])[1].frames == 1800 * RATE


@pytest.mark.parametrize(
    ("kind", "duration", "whole_us", "streams", "told"),
    [
        ("mov,mp4", 16_000, None, 1, 2.0),
        ("matroska,webm", None, 3_500_000, 1, 3.5),
        ("matroska,webm", None, 3_500_000, 2, None),
        ("ogg", None, None, 1, None),
        ("aac", 16_000, 2_000_000, 1, None),
    ],
)
def test_the_length_that_a_header_knows(kind, duration, whole_us, streams, told):
    """The track's own, else the container's where it has no other track; raw AAC only guesses (FFmpeg's units)."""
    container = SimpleNamespace(format=SimpleNamespace(name=kind), duration=whole_us, streams=[None] * streams)
    stream = SimpleNamespace(duration=duration, time_base=Fraction(1, RATE))
    assert _announced_s(container, stream, Path("a")) == told
