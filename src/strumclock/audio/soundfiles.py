"""Decoding through libsndfile: WAV, FLAC, Ogg Vorbis, MP3, AIFF …  What is damaged is left to the other decoder."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from strumclock.audio.decoded import Decoded, Part, check_channels, truncated
from strumclock.audio.headers import is_mpeg_audio, read_mp3_tag, sound_head
from strumclock.audio.lengths import is_cut_short

LOSSY_FORMATS = ("OGG", "MP3")
UNKNOWN_LENGTH = 2**62  # libsndfile's answer for a FLAC that was written to a pipe is 2⁶³ − 1


def decode_soundfile(file: Path, part: Part) -> Decoded | None:
    """Decode a part; None where libsndfile cannot read all of it and the other decoder may do better."""
    import soundfile

    tag = read_mp3_tag(file) if is_mpeg_audio(sound_head(file)[0]) else None
    if tag is not None and not tag.complete:
        return None  # libmpg123 guesses the length of these, and complains on standard error
    try:
        source = soundfile.SoundFile(os.fsencode(file))
    except soundfile.LibsndfileError:
        return None
    with source:
        rate, channels, total = int(source.samplerate), int(source.channels), int(source.frames)
        if not 0 < total < UNKNOWN_LENGTH:
            return None
        check_channels(channels, file)
        lossy = source.format in LOSSY_FORMATS
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
        priming_known=tag is None or tag.has_delay,
        lossy=lossy,
    )
