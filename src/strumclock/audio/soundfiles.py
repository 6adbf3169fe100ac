"""Decoding through libsndfile: WAV, FLAC, Ogg Vorbis, AIFF …  What is damaged is left to the other decoder."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from strumclock.audio.decoded import Decoded, Part, check_channels, truncated
from strumclock.audio.lengths import is_cut_short

UNKNOWN_LENGTH = 2**62  # libsndfile's answer for a FLAC that was written to a pipe is 2⁶³ − 1


def decode_soundfile(file: Path, part: Part) -> Decoded | None:
    """Decode a part; None where libsndfile cannot read all of it and the other decoder may do better."""
    import soundfile

    try:
        source = soundfile.SoundFile(os.fsencode(file))
    except soundfile.LibsndfileError:
        return None
    with source:
        rate, channels, total = int(source.samplerate), int(source.channels), int(source.frames)
        if not 0 < total < UNKNOWN_LENGTH or source.subtype.startswith("MPEG"):
            return None  # libmpg123 speaks of damage on standard error
        check_channels(channels, file)
        lossy = source.format == "OGG"
        first, stop = part.frames(rate, total, file)
        wanted = (total if stop is None else stop) - first
        samples = np.empty((wanted, channels), dtype=np.float32)
        try:
            if first:
                source.seek(first)
            if len(source.read(out=samples)) < wanted:
                return None
        except soundfile.LibsndfileError:
            return None
    return Decoded(
        samples=samples,
        sample_rate_hz=rate,
        first_frame=first,
        notices=(truncated(total / rate, None),) if part.end_s is None and is_cut_short(file) else (),
        lossy=lossy,
    )
