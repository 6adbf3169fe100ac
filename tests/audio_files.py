"""Sounds and files for the tests of reading: a take with sharp attacks, written in any codec by PyAV's own encoders."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

ATTACK_STEP_S = 0.377


@lru_cache(maxsize=64)
def plucks(rate: int, duration_s: float = 3.0, seed: int = 1) -> np.ndarray:
    """Decaying partials with noisy attacks at uneven places: something that a codec keeps and a correlation places."""
    rng = np.random.default_rng(seed)
    n = round(duration_s * rate)
    x = np.zeros(n)
    for start in np.arange(0.2, duration_s - 0.3, ATTACK_STEP_S):
        i = round((start + rng.uniform(0, 0.05)) * rate)
        m = min(n - i, rate)
        t = np.arange(m) / rate
        partials = sum(np.sin(2 * np.pi * f * t) / (k + 1) for k, f in enumerate(rng.uniform(110, 2200, 6)))
        x[i : i + m] += partials * np.exp(-t / 0.15) + rng.standard_normal(m) * np.exp(-t / 0.004)
    x = (0.5 * x / np.abs(x).max()).astype(np.float32)
    x.flags.writeable = False
    return x


def write_codec(
    path: Path,
    samples: np.ndarray,
    rate: int,
    codec: str,
    *,
    container: str | None = None,
    bit_rate: int | None = None,
    options: dict[str, str] | None = None,
    with_video: bool = False,
    form: str = "flt",
) -> Path:
    """Encode samples, (n,) or (n, channels), into a file; `form`: single (flt) or double precision (dbl)."""
    import av

    data = samples.reshape(len(samples), -1).T
    layout = {1: "mono", 2: "stereo"}[len(data)]
    with av.open(str(path), "w", format=container, options=options or {}) as out:
        video: Any = out.add_stream("mpeg4", rate=10) if with_video else None
        if video is not None:
            video.width = video.height = 32
            video.pix_fmt = "yuv420p"
        stream: Any = out.add_stream(codec, rate=rate, layout=layout)
        if bit_rate is not None:
            stream.bit_rate = bit_rate
        if video is not None:
            for _ in range(round(len(samples) / rate * 10)):
                picture = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")
                out.mux(video.encode(picture))
            out.mux(video.encode(None))
        for i in range(0, data.shape[1], 4096):
            piece = np.ascontiguousarray(data[:, i : i + 4096], dtype=np.float32 if form == "flt" else np.float64)
            frame = av.AudioFrame.from_ndarray(piece, format=f"{form}p", layout=layout)
            frame.sample_rate, frame.pts = rate, i
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


def lag_samples(a: np.ndarray, b: np.ndarray) -> float:
    """By how many samples `a` is later than `b`: the peak of their cross-correlation, between samples by a parabola."""
    n = 1 << int(np.ceil(np.log2(len(a) + len(b))))
    c = np.fft.irfft(np.fft.rfft(a, n) * np.conj(np.fft.rfft(b, n)), n)
    k = int(np.argmax(c))
    before, peak, after = c[k - 1], c[k], c[(k + 1) % n]
    lag = k + (before - after) / (2 * (before - 2 * peak + after))
    return float(lag if lag < n / 2 else lag - n)


def resampled(x: np.ndarray, rate: int, to: int) -> np.ndarray:
    """The same sound at another rate, by its spectrum."""
    n = round(len(x) * to / rate)
    spectrum = np.fft.rfft(x)
    padded = np.zeros(n // 2 + 1, complex)
    m = min(len(padded), len(spectrum))
    padded[:m] = spectrum[:m]
    return np.fft.irfft(padded, n) * (n / len(x))
