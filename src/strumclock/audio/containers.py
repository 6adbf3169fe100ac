"""Decoding through FFmpeg's libraries (PyAV): M4A and AAC, Opus, WebM, 3GP, the sound of a video."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from strumclock.audio.decoded import Decoded, Part, check_channels
from strumclock.audio.recording import Samples
from strumclock.errors import AudioFileError


def decode_container(file: Path, part: Part) -> Decoded:
    """Decode a part of the first sound track."""
    import av

    try:
        container = av.open(str(file), metadata_errors="replace")
    except (av.error.FFmpegError, ValueError):
        raise AudioFileError(f"an audio file was required, but {str(file)!r} is none that can be read; export it as WAV or M4A") from None
    with container:
        if not container.streams.audio:
            raise AudioFileError(f"a file with sound was required, but {str(file)!r} has no sound track; choose another")
        pieces: list[Samples] = []
        rate = 0
        for frame in container.decode(container.streams.audio[0]):
            rate = int(frame.sample_rate)
            pieces.append(_frame_samples(frame))
    if not pieces:
        raise AudioFileError(f"an audio file was required, but {str(file)!r} holds no sound that can be decoded; record again")
    samples = np.concatenate(pieces)
    check_channels(samples.shape[1], file)
    first, stop = part.frames(rate, len(samples), file)
    return Decoded(samples=samples[first:stop], sample_rate_hz=rate, first_frame=first)


_SCALE = {"u1": 2.0**7, "i2": 2.0**15, "i4": 2.0**31}


def _frame_samples(frame: Any) -> Samples:
    """One frame as (n, channels) float32."""
    raw = frame.to_ndarray()
    channels = len(frame.layout.channels)
    data = raw.T if frame.format.is_planar else raw.reshape(-1, channels)
    scale = _SCALE.get(data.dtype.str[1:])
    values = np.array(data, dtype=np.float32, order="C")
    if scale is not None:
        values = (values - np.float32(scale if data.dtype.kind == "u" else 0)) / np.float32(scale)
    return values
