"""Sound as compressed bytes that every phone and browser plays, made in memory: AAC in an MP4 container, or MP3."""

from __future__ import annotations

import io
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.errors import UsageError

RATES_HZ = (48_000, 44_100, 32_000, 24_000, 22_050)  # of AAC-LC, from which browsers decode without a second thought
MP3_RATE_HZ = 44_100  # a convention: every player has it
BIT_RATE_RANGE = (16_000, 320_000)  # MP3's highest (ISO/IEC 11172-3); below the lower one music is none
AAC_OPTIONS = {"aac_coder": "fast"}
"""FFmpeg's quick search: half the processor time of its own choice, and nearer to the samples (strummed guitar at 40
kbit/s: 24 dB below it against 18 dB; at 64 kbit/s 30 against 24)."""
BLOCK = 1 << 16  # samples handed over at once


def encode_m4a(samples: NDArray[np.float32], sample_rate_hz: int, *, bit_rate: int, rate_hz: int = 32_000) -> bytes:
    """Encode sound as AAC-LC in an MP4 file.

    Parameters
    ----------
    samples : (n,) or (n, channels) array of float32
        Between -1 and 1; one or two channels.
    sample_rate_hz : int
    bit_rate : int
        Bits a second, of all channels together.
    rate_hz : int
        Sample rate of the result: 32 kHz keeps what a strum sounds like.

    Returns
    -------
    bytes

    Raises
    ------
    UsageError
        If there are no samples, more than two channels, or a rate is not one of AAC's.

    Examples
    --------
    >>> beep = np.sin(np.arange(8_000) / 8).astype(np.float32)
    >>> encode_m4a(beep, 8_000, bit_rate=32_000)[4:8]
    b'ftyp'
    """
    if rate_hz not in RATES_HZ:
        raise UsageError(f"the rate of encoded sound must be one of {RATES_HZ}; got {rate_hz!r}")
    return _encoded(samples, sample_rate_hz, "mp4", "aac", bit_rate, rate_hz)


def encode_mp3(samples: NDArray[np.float32], sample_rate_hz: int, *, bit_rate: int) -> bytes:
    """Encode sound as MP3, with a header that tells what the encoder put before it.

    Parameters
    ----------
    samples : (n,) or (n, channels) array of float32
        Between -1 and 1; one or two channels.
    sample_rate_hz : int
    bit_rate : int
        Bits a second, of all channels together.

    Returns
    -------
    bytes

    Raises
    ------
    UsageError
        If there are no samples, more than two channels, or the bit rate is none of MP3's.

    Examples
    --------
    >>> beep = np.sin(np.arange(8_000) / 8).astype(np.float32)
    >>> encode_mp3(beep, 8_000, bit_rate=64_000)[:3]
    b'ID3'
    """
    return _encoded(samples, sample_rate_hz, "mp3", "libmp3lame", bit_rate, MP3_RATE_HZ)


def _encoded(
    samples: NDArray[np.float32], sample_rate_hz: int, container_name: str, codec: str, bit_rate: int, rate_hz: int
) -> bytes:
    sound = np.atleast_2d(np.asarray(samples, np.float32).T)
    if not sound.size or len(sound) > 2:
        raise UsageError(f"sound to encode needs one or two channels of samples; got shape {np.shape(samples)}")
    if not BIT_RATE_RANGE[0] <= bit_rate <= BIT_RATE_RANGE[1]:
        raise UsageError(f"a bit rate from {BIT_RATE_RANGE[0]} to {BIT_RATE_RANGE[1]} is needed; got {bit_rate!r}")
    import av

    layout, out = ("mono", "stereo")[len(sound) - 1], io.BytesIO()
    with av.open(out, "w", format=container_name) as container:
        options = AAC_OPTIONS if codec == "aac" else None
        stream: Any = container.add_stream(codec, rate=rate_hz, layout=layout, options=options)
        stream.bit_rate = bit_rate
        resampler = av.AudioResampler(format="fltp", layout=layout, rate=rate_hz, frame_size=stream.frame_size or 1024)
        for first in range(0, sound.shape[1], BLOCK):
            frame = av.AudioFrame.from_ndarray(
                np.ascontiguousarray(sound[:, first : first + BLOCK]), format="fltp", layout=layout
            )
            frame.sample_rate, frame.pts = sample_rate_hz, first
            frame.time_base = Fraction(1, sample_rate_hz)
            _mux(container, stream, resampler.resample(frame))
        _mux(container, stream, [*resampler.resample(None), None])
    return out.getvalue()


def _mux(container: Any, stream: Any, frames: Any) -> None:
    """Encode frames; their places in time tell the container how much the encoder put before the sound."""
    for frame in frames:
        container.mux(stream.encode(frame))
