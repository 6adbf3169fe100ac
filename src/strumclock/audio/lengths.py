"""Whether a file holds as many bytes as its container announces.

Most decoders read what is there and say nothing of what is not. Every container that tells its length tells it in its
own way; the layouts are those of the formats' specifications, named beside each reader. What does not tell it (streams
of AC-3 or ADTS frames) ends within a frame when it was cut: where the decoder sees that, it says so.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from strumclock.audio.headers import is_mpeg_audio, read_mp3_tag, sound_head

HEAD_BYTES = 12  # RIFF, its size, WAVE; as many in AIFF
OGG_TAIL_BYTES = 1 << 16  # the longest Ogg page has 65 307 bytes, so the last one begins within this
OGG_HEADER_BYTES = 27  # RFC 3533, 6: before the table of segments, whose length is the last of them
RIFF_OPEN_SIZES = (0, 0xFFFFFFFF, 0x7FFFFFFF)  # what recorders write before they know the length
AU_OPEN_SIZE = 0xFFFFFFFF  # Sun's .au: length not known
EBML_OPEN_SIZES = tuple((1 << 7 * n) - 1 for n in range(1, 9))  # all ones: length not known (RFC 8794, section 6.2)
MOST_CHUNKS = 10_000  # a header that leads through more is noise
PAD_BYTES = 1  # chunks are padded to even lengths, and some writers count that byte, others do not
TS_PACKET_BYTES = 188  # ISO/IEC 13818-1

W64_HEAD = (
    b"riff\x2e\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00"  # GUIDs of Sony Wave64, which begin with four letters
)
W64_DATA = b"data\xf3\xac\xd3\x11\x8c\xd1\x00\xc0\x4f\x8e\xdb\x8a"
ASF_HEAD = bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c")  # ASF Header Object
ASF_FILE = bytes.fromhex("a1dcab8c47a9cf118ee400c00c205365")  # ASF File Properties Object
EBML_HEAD, MATROSKA_SEGMENT = b"\x1a\x45\xdf\xa3", b"\x18\x53\x80\x67"


def is_cut_short(file: Path) -> bool:
    """Whether a container announces more bytes than there are, or an Ogg lacks its last page.

    WAV, AVI, RF64, Wave64, AIFF, CAF, AU, WMA, MP4, Matroska and WebM, Ogg, MPEG transport streams, MP3 with an
    encoder's tag; of others: False.
    """
    if is_mpeg_audio(sound_head(file)[0]):
        tag = read_mp3_tag(file)
        return tag.frames > 0 and not tag.complete
    size = file.stat().st_size
    with file.open("rb") as f:
        head = f.read(HEAD_BYTES)
        reader = _reader(head)
        try:
            return reader is not None and reader(f, size)
        except struct.error:  # its header is not all there, or leads beyond its end
            return True


def _reader(head: bytes) -> Callable[[BinaryIO, int], bool] | None:
    """What reads the announced length of a file that begins like this."""
    kind = head[8:12]
    readers = {
        b"OggS": _ogg,
        b".snd": _au,
        b"caff": _caf,
        b"riff": _w64,
        b"RF64": _rf64,
        ASF_HEAD[:4]: _asf,
        EBML_HEAD: _matroska,
        b"RIFF": _wav if kind == b"WAVE" else _avi if kind == b"AVI " else None,
        b"FORM": _aiff if kind in (b"AIFF", b"AIFC") else None,
    }
    if head[4:8] == b"ftyp":
        return _mp4
    if head[:1] == b"\x47" and head[:4] not in readers:
        return _transport_stream
    return readers.get(head[:4])


def _ogg(f: BinaryIO, size: int) -> bool:
    """RFC 3533: bit 2 of a page's flags is the end of the stream, and a page's lacing values tell its length."""
    f.seek(max(0, size - OGG_TAIL_BYTES))
    tail = f.read()
    last = tail.rfind(b"OggS")
    if last < 0 or len(tail) < last + OGG_HEADER_BYTES or not tail[last + 5] & 4:
        return True
    count = tail[last + OGG_HEADER_BYTES - 1]
    lacing = tail[last + OGG_HEADER_BYTES : last + OGG_HEADER_BYTES + count]
    return len(lacing) < count or last + OGG_HEADER_BYTES + count + sum(lacing) > len(tail)


def _wav(f: BinaryIO, size: int) -> bool:
    """RIFF: chunks of four letters and a 32-bit length, little endian."""
    end = _chunk_end(f, size, HEAD_BYTES, b"data", "<I", padded=2)
    return end is not None and end[1] not in RIFF_OPEN_SIZES and end[0] > size + PAD_BYTES


def _avi(f: BinaryIO, size: int) -> bool:
    """RIFF: the whole file is one chunk."""
    f.seek(4)
    (length,) = struct.unpack("<I", f.read(4))
    return length not in RIFF_OPEN_SIZES and 8 + length > size + PAD_BYTES


def _rf64(f: BinaryIO, size: int) -> bool:
    """EBU Tech 3306: the chunk ds64 holds the 64-bit lengths of the file and of its data."""
    f.seek(HEAD_BYTES)
    if f.read(4) != b"ds64":
        return False
    _, _, length = struct.unpack("<IQQ", f.read(20))
    end = _chunk_end(f, size, HEAD_BYTES, b"data", "<I", padded=2)
    return end is None or end[0] - end[1] + length > size + PAD_BYTES


def _w64(f: BinaryIO, size: int) -> bool:
    """Sony Wave64: GUIDs and 64-bit lengths that include these 24 bytes, padded to 8."""
    f.seek(0)
    if f.read(len(W64_HEAD)) != W64_HEAD:
        return False
    at = 40  # the file's GUID, its length, and the GUID "wave"
    for _ in range(MOST_CHUNKS):
        _seek(f, at, size)
        head = f.read(24)
        if len(head) < 24:
            return True
        (length,) = struct.unpack("<q", head[16:])
        if head[:16] == W64_DATA:
            return bool(length > 24 and at + length > size + 8)
        at += max(24, length) + (-length) % 8
    return False


def _aiff(f: BinaryIO, size: int) -> bool:
    """EA IFF 85: chunks of four letters and a 32-bit length, big endian; the sound is in SSND."""
    end = _chunk_end(f, size, HEAD_BYTES, b"SSND", ">I", padded=2)
    return end is not None and end[1] not in RIFF_OPEN_SIZES and end[0] > size + PAD_BYTES


def _caf(f: BinaryIO, size: int) -> bool:
    """Apple's Core Audio Format: 64-bit lengths, big endian; -1: up to the end, wherever that is."""
    end = _chunk_end(f, size, 8, b"data", ">q", padded=1)
    return end is not None and end[1] >= 0 and end[0] > size


def _au(f: BinaryIO, size: int) -> bool:
    """Sun's .au: where the samples begin and how many bytes they have, big endian."""
    f.seek(4)
    begin, length = struct.unpack(">II", f.read(8))
    return bool(length != AU_OPEN_SIZE and begin + length > size)


def _asf(f: BinaryIO, size: int) -> bool:
    """Advanced Systems Format (WMA): the File Properties Object holds the file's size 40 bytes in, 0 in a stream."""
    f.seek(0)
    head = f.read(30)
    if head[:16] != ASF_HEAD:
        return False
    (count,) = struct.unpack("<I", head[24:28])
    at = 30
    for _ in range(min(count, MOST_CHUNKS)):
        _seek(f, at, size)
        identity, length, _, announced = struct.unpack("<16sQ16sQ", f.read(48))
        if identity == ASF_FILE:
            return bool(announced > size)
        at += max(24, length)
    return False


def _matroska(f: BinaryIO, size: int) -> bool:
    """RFC 8794: after the EBML header comes the segment, which holds everything else and tells its length."""
    f.seek(4)
    header = _ebml_size(f)
    if header is None:
        return False
    _seek(f, f.tell() + header, size)
    if f.read(4) != MATROSKA_SEGMENT:
        return False
    length = _ebml_size(f)
    return length is not None and f.tell() + length > size


def _ebml_size(f: BinaryIO) -> int | None:
    """A variable-length number at this place; None where it says that the length is not known."""
    first = f.read(1)
    if not first or not first[0]:
        return None
    extra = 8 - first[0].bit_length()
    value = int.from_bytes(bytes([first[0] & (0x7F >> extra)]) + f.read(extra), "big")
    return None if value == EBML_OPEN_SIZES[extra] else value


def _mp4(f: BinaryIO, size: int) -> bool:
    """ISO/IEC 14496-12: boxes of a 32-bit length and four letters; 1: a 64-bit length follows; 0: up to the end."""
    at = 0
    for _ in range(MOST_CHUNKS):
        _seek(f, at, size)
        head = f.read(16)
        if len(head) < 8:
            return at > size or len(head) > 0
        (length,) = struct.unpack(">I", head[:4])
        if length == 1:
            (length,) = struct.unpack(">Q", head[8:16])
        if length < 8:
            return False
        at += length
    return False


def _transport_stream(f: BinaryIO, size: int) -> bool:
    """ISO/IEC 13818-1: packets of 188 bytes that begin with 0x47."""
    f.seek(TS_PACKET_BYTES)
    return f.read(1) == b"\x47" and size % TS_PACKET_BYTES != 0


def _chunk_end(
    f: BinaryIO, size: int, at: int, wanted: bytes, size_format: str, *, padded: int
) -> tuple[int, int] | None:
    """Where the wanted chunk would end, and its length; None where there is none."""
    width = 4 + struct.calcsize(size_format)
    for _ in range(MOST_CHUNKS):
        _seek(f, at, size)
        head = f.read(width)
        if len(head) < width:
            return None
        (length,) = struct.unpack(size_format, head[4:])
        if head[:4] == wanted:
            return at + width + length, length
        at += width + max(0, length) + max(0, length) % padded
    return None


def _seek(f: BinaryIO, at: int, size: int) -> None:
    """Go to a place that must lie within the file."""
    if at > size:
        raise struct.error
    f.seek(at)
