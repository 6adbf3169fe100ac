"""Decoding through libsndfile: WAV, FLAC, Ogg Vorbis, AIFF …  What is damaged is left to the other decoder."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np

from strumclock.audio.blocks import Take
from strumclock.audio.decoded import Decoded, Part, check_channels, truncated
from strumclock.audio.lengths import is_cut_short
from strumclock.audio.limits import BLOCK_FRAMES

MOST_FRAMES_PER_BYTE = 8192  # the longest block of Vorbis (its specification, 4.2.2); FLAC's densest frames hold less
MOST_AT_ONCE = 1 << 24  # frames: six minutes
UNKNOWN_LENGTH = 2**62  # libsndfile's answer for a FLAC that was written to a pipe is 2⁶³ − 1


def decode_soundfile(file: Path, part: Part, take: Take) -> Decoded | None:
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
        if wanted > MOST_FRAMES_PER_BYTE * file.stat().st_size:
            return None
        at_once = wanted if lossy else BLOCK_FRAMES  # in pieces, libsndfile passes over what an Ogg lacks
        if at_once > MOST_AT_ONCE:
            return None
        block = np.empty((min(at_once, wanted), channels), np.float32)
        try:
            if first:
                source.seek(first)
            for at in range(0, wanted, at_once):
                room = block[: min(at_once, wanted - at)]
                if len(source.read(out=room)) < len(room):
                    return None
                take(room)
        except soundfile.LibsndfileError:
            return None
    return Decoded(
        frames=wanted,
        channels=channels,
        sample_rate_hz=rate,
        first_frame=first,
        notices=(truncated(total / rate, None),) if part.end_s is None and is_cut_short(file) else (),
        lossy=lossy,
    )
