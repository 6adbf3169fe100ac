"""From a file to a `Recording`: which decoder, which part, and what is wrong with the file."""

from __future__ import annotations

import hashlib
import math
import os
from numbers import Real
from pathlib import Path

from strumclock.audio.decoded import Decoded, Part
from strumclock.audio.recording import Recording, check_rate, examine
from strumclock.errors import AudioFileError, RecordingError, UsageError

SNIFF_BYTES = 64  # the longest signature looked for (OpusHead in the first Ogg page) ends at byte 36
ID3_HEADER_BYTES = 10


def load(path: str | os.PathLike[str], *, start_s: float | None = None, end_s: float | None = None) -> Recording:
    """Read a recording, or a part of it.

    WAV, FLAC, Ogg Vorbis, MP3, AIFF and others that libsndfile knows are read by it; M4A and AAC, Opus, WebM, 3GP and the sound
    of MP4 and other videos by FFmpeg's libraries.  The bytes decide, not the file's ending.  What the codec put before the first
    sample (its priming) is removed where the file says how much that is; where it does not (raw AAC, MP3 without an encoder's tag)
    nothing is removed and the notice ``priming-unknown`` says so: every time is then late by the same few hundredths of a second.

    Parameters
    ----------
    path : path
    start_s, end_s : float, optional
        Read only the part between these file times [s].  Sample times are those of the whole file.

    Returns
    -------
    Recording
        With the checksum of the whole file.

    Raises
    ------
    AudioFileError
        If the file is missing, empty, a folder or no audio.
    RecordingError
        If it was read but cannot be measured: silent, too short, not finite, longer than 30 minutes.
    UsageError
        If start and end make no sense.
    """
    part = _part(start_s, end_s)
    file = Path(path)
    head = _head(file)
    decoded = _decode(file, head, part)
    rate = check_rate(decoded.sample_rate_hz, RecordingError)
    what = f"{str(file)!r}" if part.whole else f"the part read of {str(file)!r}"
    decoded.samples.flags.writeable = False
    weak = examine(decoded.samples, rate, what=what)
    return Recording(
        samples=decoded.samples,
        sample_rate_hz=rate,
        start_s=decoded.first_frame / rate,
        path=str(file),
        sha256=_sha256(file),
        notices=decoded.notices + weak,
    )


def _decode(file: Path, head: bytes, part: Part) -> Decoded:
    """Decode with the library that is right for these bytes."""
    if _is_for_soundfile(head):
        from strumclock.audio.soundfiles import decode_soundfile

        decoded = decode_soundfile(file, part)
        if decoded is not None:
            return decoded
    from strumclock.audio.containers import decode_container

    return decode_container(file, part)


def _is_for_soundfile(head: bytes) -> bool:
    """Whether libsndfile reads what begins like this (Opus and AAC go elsewhere)."""
    if head[:4] in (b"RIFF", b"RIFX", b"RF64", b"fLaC", b"FORM", b"caff", b"riff", b".snd"):
        return True
    if head[:4] == b"OggS":
        return b"OpusHead" not in head and b"Speex" not in head
    # an MPEG frame: 11 bits of sync, then a layer that is not 0 (0 is AAC in ADTS)
    return len(head) > 1 and head[0] == 0xFF and head[1] & 0xE0 == 0xE0 and head[1] & 0x06 != 0


def _head(file: Path) -> bytes:
    """The first bytes after any ID3 tag, once the file is known to be there and not empty."""
    try:
        with file.open("rb") as f:
            head = f.read(SNIFF_BYTES)
            if head[:3] == b"ID3" and len(head) >= ID3_HEADER_BYTES:
                size = 0
                for byte in head[6:10]:  # four groups of seven bits
                    size = size << 7 | byte & 0x7F
                f.seek(ID3_HEADER_BYTES + size)
                head = f.read(SNIFF_BYTES)
                if not head:
                    raise AudioFileError(f"an audio file was required, but {str(file)!r} holds a tag and no sound; record it again")
    except FileNotFoundError:
        raise AudioFileError(f"an audio file was required, but there is none at {str(file)!r}; check the path") from None
    except IsADirectoryError:
        raise AudioFileError(f"an audio file was required, but {str(file)!r} is a folder; name a file in it") from None
    except AudioFileError:
        raise
    except (OSError, ValueError) as e:
        reason = getattr(e, "strerror", None) or str(e)
        raise AudioFileError(f"an audio file was required, but {str(file)!r} cannot be opened ({reason}); check it") from None
    if not head:
        raise AudioFileError(f"an audio file was required, but {str(file)!r} is empty; copy or record it again")
    return head


def _part(start_s: float | None, end_s: float | None) -> Part:
    """Start and end, checked."""
    for key, value in (("start", start_s), ("end", end_s)):
        if value is not None and not (
            isinstance(value, Real) and not isinstance(value, bool) and math.isfinite(value) and value >= 0
        ):
            raise UsageError(f"{key} must be seconds from the file's start, but {value!r} came; give a number from 0")
    if end_s is not None and end_s <= (start_s or 0.0):
        raise UsageError(f"end must come after start, but start {start_s or 0.0:g} s and end {end_s:g} s came; exchange them")
    return Part(start_s=None if start_s is None else float(start_s), end_s=None if end_s is None else float(end_s))


def _sha256(file: Path) -> str:
    """Checksum of the file's bytes, read in pieces."""
    with file.open("rb") as f:
        return hashlib.file_digest(f, "sha256").hexdigest()
