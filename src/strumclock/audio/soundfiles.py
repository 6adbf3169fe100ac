"""Decoding through libsndfile: WAV, FLAC, Ogg Vorbis, MP3, AIFF …"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from strumclock.audio.decoded import Decoded, Part, check_channels, truncated
from strumclock.errors import AudioFileError


def decode_soundfile(file: Path, part: Part) -> Decoded | None:
    """Decode a part; None where libsndfile cannot read it and another decoder may."""
    import soundfile

    try:
        source = soundfile.SoundFile(str(file))
    except soundfile.LibsndfileError:
        return None
    with source:
        rate, channels, total = int(source.samplerate), int(source.channels), int(source.frames)
        if total <= 0:
            return None
        check_channels(channels, file)
        first, stop = part.frames(rate, total, file)
        stop = total if stop is None else stop
        samples = np.empty((stop - first, channels), dtype=np.float32)
        try:
            if first:
                source.seek(first)
            got = len(source.read(out=samples))
        except soundfile.LibsndfileError as e:
            raise AudioFileError(f"a readable audio file was required, but {str(file)!r} is damaged ({e})") from None
    notices = (truncated(file, (first + got) / rate, total / rate),) if got < len(samples) else ()
    return Decoded(samples=samples[:got], sample_rate_hz=rate, first_frame=first, notices=notices)
