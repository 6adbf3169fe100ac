"""What a file's first bytes say that the decoders do not pass on: its kind, and the priming of MP3."""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

SNIFF_BYTES = 64  # the longest signature looked for (OpusHead in the first Ogg page) ends at byte 36
ID3_HEADER_BYTES = 10  # ID3v2.4, 3.1
MPEG_FRAME_BYTES = 1 << 12  # no MPEG frame is longer
TAG_TOLERANCE_BYTES = 256  # some encoders count an ID3v1 tag of 128 bytes, which may have been taken off


@dataclass(frozen=True, slots=True, kw_only=True)
class Mp3Tag:
    """What the Xing or Info frame of an MP3 says.

    Attributes
    ----------
    frames : int
        MPEG frames announced; 0 where it does not say.
    complete : bool
        Whether the file has as many bytes as announced.
    has_delay : bool
        Whether it says how many samples the encoder put before the first one.
    """

    frames: int = 0
    complete: bool = False
    has_delay: bool = False


def sound_head(file: Path) -> tuple[bytes, int]:
    """The first bytes after any ID3 tags, and where they stand in the file."""
    with file.open("rb") as f:
        at = 0
        head = f.read(SNIFF_BYTES)
        while head[:3] == b"ID3" and len(head) >= ID3_HEADER_BYTES:
            size = 0
            for byte in head[6:10]:  # four groups of seven bits
                size = size << 7 | byte & 0x7F
            at += ID3_HEADER_BYTES + size
            f.seek(at)
            head = f.read(SNIFF_BYTES)
        return head, at


def is_mpeg_audio(head: bytes) -> bool:
    """Whether this begins like an MPEG audio frame: 11 bits of sync, then a layer other than 0 (0 is AAC in ADTS)."""
    return len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0 and head[1] & 0x06 != 0


def read_mp3_tag(file: Path) -> Mp3Tag:
    """Read the Xing, Info and LAME tags of an MP3 (of none: all zero).

    Field order as written by LAME: flags, frames, bytes, 100 bytes of contents, quality, then an encoder's name of
    9 bytes, 12 bytes on other matters and 3 bytes that hold two 12-bit numbers, samples put before and after.
    """
    at = sound_head(file)[1]
    with file.open("rb") as f:
        f.seek(at)
        frame = f.read(MPEG_FRAME_BYTES)
    found = max(frame[:64].find(b"Xing"), frame[:64].find(b"Info"))  # 13 to 36 bytes in, by version and channels
    if found < 0 or len(frame) < found + 8:
        return Mp3Tag()
    (flags,) = struct.unpack(">I", frame[found + 4 : found + 8])
    place = found + 8
    frames = size = 0
    if flags & 1:
        (frames,) = struct.unpack(">I", frame[place : place + 4].ljust(4, b"\0"))
        place += 4
    if flags & 2:
        (size,) = struct.unpack(">I", frame[place : place + 4].ljust(4, b"\0"))
        place += 4
    place += 100 * bool(flags & 4) + 4 * bool(flags & 8)
    delays = frame[place + 21 : place + 24]
    has_delay = len(delays) == 3 and (delays[0] << 4 | delays[1] >> 4) > 0
    complete = frames > 0 and file.stat().st_size - at + TAG_TOLERANCE_BYTES >= size
    return Mp3Tag(frames=frames, complete=complete, has_delay=has_delay)
