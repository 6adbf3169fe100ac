"""A click track in a format that every phone plays."""

from __future__ import annotations

import io

import numpy as np

from strumclock.audio.encoding import encode_m4a, encode_mp3
from strumclock.clicktrack import ClickTrack

ENDINGS = ("m4a", "mp3", "wav")
BIT_RATE, MP3_BIT_RATE = 64_000, 96_000
"""Clicks are short and loud: below, a codec smears them."""


def encoded(track: ClickTrack, ending: str) -> bytes:
    """The bytes of a file.

    Parameters
    ----------
    track : ClickTrack
    ending : str
        One of `ENDINGS`.
    """
    if ending == "m4a":
        return encode_m4a(track.samples, track.sample_rate_hz, bit_rate=BIT_RATE, rate_hz=44_100)
    if ending == "mp3":
        return encode_mp3(track.samples, track.sample_rate_hz, bit_rate=MP3_BIT_RATE)
    import soundfile

    out = io.BytesIO()
    soundfile.write(out, np.asarray(track.samples), track.sample_rate_hz, format="WAV", subtype="PCM_16")
    return out.getvalue()
