"""Decoding through FFmpeg's libraries (PyAV): M4A and AAC, Opus, WebM, 3GP, the sound of a video; and damaged files.

A sample's index is counted, never computed from a container's time stamps, which are rounded (to 1 ms in WebM) or
guessed (in raw AAC).  To read a part, the packets before it are counted without decoding them, so that its samples have
exactly the indices that they have when the whole file is decoded.  Time stamps only tell where something is missing.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from strumclock.audio.blocks import Outlet, Take
from strumclock.audio.decoded import Decoded, Part, check_channels, truncated
from strumclock.audio.headers import read_mp3_tag
from strumclock.audio.lengths import is_cut_short
from strumclock.audio.limits import check_rate
from strumclock.audio.packets import copy_samples, frame_samples, is_trimmed, opus_samples
from strumclock.errors import AudioFileError, Notice, RecordingError

PREROLL_S = 0.5  # decoded before a part and thrown away: MP3 leans on 0.26 s before, Opus needs 80 ms (RFC 7845)
GAP_S = 0.1  # a jump of the time stamps beyond this is missing sound; recorders' stamps jitter by tens of ms …
FLAC_GAP_S = 0.001  # … but those of FLAC are sample numbers
SHORT_S = 0.25  # a file that ends this much before its announced end is cut short; padding and rounding stay far below
EQUAL_PACKETS = frozenset({"aac", "aac_latm", "mp3", "mp3float", "amrnb", "amrwb", "amr_nb", "amr_wb"})
PRIMED = frozenset({"aac", "aac_latm", "mp3", "mp3float", "mp2", "opus", "ac3", "eac3", "speex", "wmav1", "wmav2"})
"""Codecs that put samples before the first one, or (Windows Media) lose some of it."""
RELIABLE_LENGTH = ("mov", "matroska", "ogg", "wav", "flac")  # whose header knows the length (raw AAC guesses it)
LOSSLESS = ("pcm", "flac", "alac", "wavpack", "ape", "tta")
UNSTAMPED = ("aac", "mp3")


def decode_container(file: Path, part: Part, take: Take) -> Decoded:
    """Decode a part of a file's first sound track.

    Raises
    ------
    AudioFileError
        If it is no audio, has no sound track, or nothing in it can be decoded.
    """
    with _opened(file) as container:
        stream = next((s for s in container.streams.audio if s.codec_context is not None), None)
        if stream is None:
            raise _useless(file, "has no sound track; choose another file")
        length = _announced_s(container, stream, file)
        if length is not None and part.end_s is None:
            part.check_length(round((length - (part.start_s or 0.0)) * 1000), 1000, file)
        kind = container.format.name
        gap_s = FLAC_GAP_S if kind == "flac" else GAP_S
        if stream.codec_context.name == "flac":
            stream.codec_context.options = {"err_detect": "crccheck+explode"}  # else damaged frames pass as noise
        track = _Track(
            file=file, part=part, handed_to=take, announced_s=length, stamped=kind not in UNSTAMPED, gap_s=gap_s
        )
        for packet in _packets(container, stream, track):
            track.take(packet)
            if track.complete:
                break
    return track.result()


@contextlib.contextmanager
def _opened(file: Path) -> Iterator[Any]:
    """The container, by its name or, where that is no UTF-8, by the open file."""
    import av

    with contextlib.ExitStack() as stack:
        try:
            name: str | BinaryIO = str(file)
            try:
                str(file).encode()
            except UnicodeEncodeError:
                name = stack.enter_context(file.open("rb"))
            container = stack.enter_context(av.open(name, metadata_errors="replace"))
        except (av.error.FFmpegError, ValueError):
            raise _useless(file, "is none that can be read; export it as WAV or M4A") from None
        yield container


def _useless(file: Path, what: str) -> AudioFileError:
    """The error of a file of which nothing can be read."""
    if is_cut_short(file):
        what = "is cut short, and what is there cannot be read without the rest; copy or send it again"
    return AudioFileError(f"an audio file was required, but {str(file)!r} {what}")


def _packets(container: Any, stream: Any, track: _Track) -> Iterator[Any]:
    """A stream's packets; a container that breaks off ends there."""
    import av

    try:
        yield from container.demux(stream)
    except (av.error.FFmpegError, IndexError):  # IndexError: damage made up another stream, which PyAV does not know
        track.broken = True


def _announced_s(container: Any, stream: Any, file: Path) -> float | None:
    """The track's length by the header [s]; None where it does not say or only guesses."""
    known = container.format.name.startswith(RELIABLE_LENGTH)
    if not known and not (container.format.name == "mp3" and read_mp3_tag(file).frames):
        return None
    if stream.duration is not None:
        return float(stream.duration * stream.time_base)
    if container.duration is not None and len(container.streams) == 1:
        return float(container.duration) / 1e6
    return None


@dataclass(slots=True, kw_only=True, eq=False)
class _Track:
    """Counts packets, decodes those that are needed and gathers their samples."""

    file: Path
    part: Part
    handed_to: Take
    announced_s: float | None
    stamped: bool  # whether the container's time stamps are its own (raw AAC and MP3 have none)
    gap_s: float  # jumps of the time stamps beyond this are missing sound
    broken: bool = False
    rate: int = 0
    first: int = 0
    stop: int | None = None
    position: int = 0  # index of the next sample
    packet_size: int = 0  # samples in the last whole packet
    regular: bool = True  # whether the predicted sizes have always been right
    skipping: bool = False
    trimmed: bool = False  # whether the container told how much priming to remove
    codec: str = ""
    next_pts_s: float | None = None
    missing: list[tuple[int, int]] = field(default_factory=list)  # samples from, to: stretches filled with silence
    lost: int = 0  # how many of them came after the last sound that could be decoded
    channels: int = 0
    outlet: Outlet = field(init=False)

    @property
    def complete(self) -> bool:
        """Whether the part has been read to its end."""
        return self.stop is not None and self.position >= self.stop

    def take(self, packet: Any) -> None:
        """Count one packet, and decode it unless it lies well before the part."""
        context = packet.stream.codec_context
        self.codec = context.name
        size, trims = self._predicted(packet), is_trimmed(packet)
        self._fill_gap(packet)
        before = self.position
        if self.rate and size is not None and not trims and before + size <= self.first - round(PREROLL_S * self.rate):
            self.position += size
            self.skipping = True
        else:
            if self.skipping:
                context.flush_buffers()
                self.skipping = False
            decoded = self._decode(packet, size)
            self.trimmed = self.trimmed or (trims and before == 0)
            if decoded and not trims:
                self.packet_size = decoded
                self.regular = self.regular and size in (None, decoded)
        seconds = (self.position - before) / self.rate if self.rate else 0.0
        if trims:
            self.next_pts_s = None  # its stamp counts what is no part of the recording
        elif packet.pts is not None:
            self.next_pts_s = float(packet.pts * packet.time_base) + seconds
        elif self.next_pts_s is not None:
            self.next_pts_s += seconds

    def result(self) -> Decoded:
        """What was gathered.

        Raises
        ------
        AudioFileError
            If that is nothing.
        """
        self._drop_tail()
        if not self.rate or not self.position:
            raise _useless(self.file, "holds no sound that can be decoded; record again")
        self.part.check_start(self.position, self.rate, self.file)
        stop = self.position if self.stop is None else min(self.stop, self.position)
        self._check_length(stop - self.first)
        self.outlet.finish(stop - self.first)
        return Decoded(
            frames=stop - self.first,
            channels=self.channels,
            sample_rate_hz=self.rate,
            first_frame=self.first,
            notices=self._notices(),
            priming_known=self.trimmed or self.codec not in PRIMED,
            lossy=not self.codec.startswith(LOSSLESS),
        )

    def _drop_tail(self) -> None:
        """What could not be decoded at the very end is no gap: the file was cut within a packet."""
        if self.lost and not self.complete:
            self.broken = True
            self.position = self.missing[-self.lost][0]
            del self.missing[-self.lost :]

    def _notices(self) -> tuple[Notice, ...]:
        """What is missing at the end or in between."""
        end_s = self.position / self.rate
        notices = []
        if self.part.end_s is None:
            short = self.announced_s is not None and end_s < self.announced_s - SHORT_S
            if self.broken or is_cut_short(self.file) or (short and (self.stamped or not self.missing)):
                notices.append(truncated(end_s, self.announced_s if short else None))
        first, stop = self.part.asked(self.rate)
        gaps = [(a, b) for a, b in self.missing if b > first and (stop is None or a < stop)]
        if gaps:
            missing_s = sum(b - a for a, b in gaps) / self.rate
            places = "one stretch is" if len(gaps) == 1 else f"{len(gaps)} stretches are"
            after = "" if self.stamped else "; how long they were is not known, so what follows may be misplaced"
            notices.append(
                Notice(
                    code="gaps",
                    message=f"the file is damaged: {places} missing ({missing_s:.2f} s in all, taken as "
                    f"silence), and strums there are lost{after}",
                )
            )
        return tuple(notices)

    def _predicted(self, packet: Any) -> int | None:
        """Samples that a packet will give; None where that is only known after decoding."""
        if not (packet.size and self.regular):
            return None
        if packet.is_discard:
            return 0
        if self.codec == "opus":
            return opus_samples(bytes(packet)[:2])
        return self.packet_size or None if self.codec in EQUAL_PACKETS else None

    def _decode(self, packet: Any, size: int | None) -> int:
        """Decode a packet and keep what belongs to the part; returns how many samples it held, 0 if it is damaged."""
        import av

        try:
            frames = packet.decode()
        except av.error.FFmpegError:
            self._miss((size or self.packet_size) / self.rate if self.rate else 0.0)
            return 0
        for frame in frames:
            self._put(frame)
        if frames:
            self.lost = 0
        return sum(int(frame.samples) for frame in frames)

    def _fill_gap(self, packet: Any) -> None:
        """Where the time stamps jump ahead, leave silence."""
        if packet.pts is None or self.next_pts_s is None or not self.rate or packet.is_discard:
            return
        jump = float(packet.pts * packet.time_base) - self.next_pts_s
        room = math.inf if self.announced_s is None else self.announced_s - self.position / self.rate
        if self.gap_s < jump <= room:  # a stamp that points past the file's end is itself damaged
            self._miss(jump)

    def _miss(self, seconds: float) -> None:
        """Leave silence for what is missing."""
        frames = round(seconds * self.rate)
        if frames:
            self.missing.append((self.position, self.position + frames))
            self.lost += 1
        self.position += frames

    def _put(self, frame: Any) -> None:
        """Keep what a frame holds of the part."""
        values = frame_samples(frame)
        if not self.rate:
            self._begin(int(frame.sample_rate), len(values))
        if frame.sample_rate != self.rate:
            raise AudioFileError(
                f"one sample rate was required, but {str(self.file)!r} changes from {self.rate} to "
                f"{frame.sample_rate} Hz; export it again as WAV"
            )
        n = values.shape[1]
        low, high = max(self.first, self.position), self.position + n
        high = high if self.stop is None else min(high, self.stop)
        if high > low:
            self._check_length(high - self.first)
            target = self.outlet.room(low - self.first, high - self.first)
            copy_samples(values[:, low - self.position : high - self.position], target)
        self.position += n

    def _begin(self, rate: int, channels: int) -> None:
        """Rate and channels are known: lay out the part."""
        check_channels(channels, self.file)
        self.rate = check_rate(rate, RecordingError)
        self.first, self.stop = self.part.frames(rate, None, self.file)
        self.channels = channels
        self.outlet = Outlet(channels, self.handed_to)

    def _check_length(self, frames: int) -> None:
        """Refuse more than is measured at once, with what is decoded around it."""
        around = 2 * round(self.part.context_s * self.rate)
        self.part.check_length(frames - around, self.rate, self.file, at_least=True)
