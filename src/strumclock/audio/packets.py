"""What FFmpeg's packets and frames hold: how many samples, and which."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Samples

_KINDS = {"u8": "u1", "s16": "i2", "s32": "i4", "s64": "i8", "flt": "f4", "dbl": "f8"}  # FFmpeg's name, numpy's
_FULL_SCALE = {"u1": 2.0**7, "i2": 2.0**15, "i4": 2.0**31, "i8": 2.0**63}


def opus_samples(head: bytes) -> int | None:
    """Samples at 48 kHz in an Opus packet, from its first two bytes (RFC 6716, section 3.1).

    Examples
    --------
    >>> opus_samples(bytes([0b11111000, 0])), opus_samples(bytes([0b00001011, 3]))  # one of 20 ms; three of 20 ms
    (960, 2880)
    """
    if not head:
        return None
    config, code = head[0] >> 3, head[0] & 3
    if config < 12:
        size = (480, 960, 1920, 2880)[config & 3]
    elif config < 16:
        size = (480, 960)[config & 1]
    else:
        size = (120, 240, 480, 960)[config & 3]
    if code < 3:
        return size * (1, 2, 2)[code]
    return size * (head[1] & 63) if len(head) > 1 else None


def is_trimmed(packet: Any) -> bool:
    """Whether the container says that some of a packet's samples are no part of the recording."""
    return bool(packet.is_discard or packet.has_sidedata("skip_samples"))


def frame_samples(frame: Any) -> NDArray[Any]:
    """A frame's samples, shape (channels, n), as many as it says that it has.

    Not `to_ndarray`, which counts the planes by what stands behind them in memory and knows no 64-bit numbers.
    """
    kind, n = np.dtype(_KINDS[frame.format.name.removesuffix("p")]), int(frame.samples)
    channels = len(frame.layout.channels)
    if frame.format.is_planar:
        return np.stack([np.frombuffer(plane, kind, n) for plane in frame.planes[:channels]])
    return np.frombuffer(frame.planes[0], kind, n * channels).reshape(n, channels).T


def copy_samples(values: NDArray[Any], target: Samples) -> None:
    """Put (channels, n) samples of any kind into (n, channels) float32; of changing channels the first ones count."""
    channels = target.shape[1]
    if len(values) < channels:
        values = values[np.arange(channels) % len(values)]
    with np.errstate(over="ignore", invalid="ignore"):  # what is no finite number is refused when examined
        target[...] = values[:channels].T
    scale = _FULL_SCALE.get(values.dtype.str[1:])
    if scale is not None:
        if values.dtype.kind == "u":
            target -= np.float32(scale)
        target /= np.float32(scale)
