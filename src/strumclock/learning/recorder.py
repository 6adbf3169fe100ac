"""What a phone or a sound card makes of a sound: noise, gain that rides or pumps, clipping, its band, a codec."""

from __future__ import annotations

import io
from typing import Any

import numpy as np

from strumclock.learning.noises import excerpt
from strumclock.learning.sounds import RATE_HZ, Sounds, Wave, audio

CODECS = {  # name: encoder, container, rates [kbit/s]
    "aac": ("aac", "mp4", (32, 48, 56, 64, 80, 96, 128)),
    "opus": ("libopus", "ogg", (16, 20, 24, 32, 40, 48, 64)),
    "mp3": ("libmp3lame", "mp3", (40, 56, 64, 80, 96, 128)),
}
CODED, CODED_EASY = 0.55, 0.8  # share of hard and of easy takes that go through one; by hand
LATEST = 6000  # samples by which a codec may shift a sound …
LOOKED_AT = 6 * RATE_HZ  # … which so many samples show


def recorded(rng: np.random.Generator, y: Wave, sounds: Sounds, *, plain: bool, easy: bool) -> tuple[Wave, str]:
    """The sound as a recorder keeps it, and the codec's name: none of a plain take, AAC of most easy ones."""
    from scipy import signal

    u, chance, n = rng.uniform, rng.random, len(y)
    t = np.arange(n) / RATE_HZ
    loud = np.sqrt(np.mean(y**2)) + 1e-9
    if chance() < (0.3 if plain or easy else 0.5):
        f = np.maximum(np.fft.rfftfreq(n, 1 / RATE_HZ), 40)
        noise = np.fft.irfft(np.fft.rfft(rng.standard_normal(n)) * (f / 1000) ** -u(0, 1.0), n)
        y = y + noise / noise.std() * loud * 10 ** (-u(14, 55) / 20)
    if sounds.noises and chance() < (0.1 if plain or easy else 0.3):
        noise = excerpt(audio(sounds.noises[rng.integers(len(sounds.noises))]), n, rng)
        y = y + noise / (noise.std() + 1e-9) * loud * 10 ** (-u(12, 40) / 20)
    if chance() < 0.1:
        y = y + np.sin(2 * np.pi * 50 * t + u(0, 6)) * loud * 10 ** (-u(10, 35) / 20)
    if chance() < 0.2:  # automatic gain that swings
        y = y * 10 ** (u(1, 6) / 20 * np.sin(2 * np.pi * t / u(1.5, 9) + u(0, 6)))
    if chance() < 0.15:  # … or pumps
        pole = np.exp(-1 / (u(0.02, 0.2) * RATE_HZ))
        y = y / (signal.lfilter([1 - pole], [1, -pole], np.abs(y)) / np.abs(y).max() + u(0.05, 0.4))
    y = y / np.abs(y).max() * u(0.3, 0.95)
    if chance() < 0.08:  # a limiter, hard or soft
        y = np.clip(y * u(1, 2.5), -0.95, 0.95) if chance() < 0.5 else 0.9 * np.tanh(y * u(1, 3))
    if chance() < 0.15:
        b, a = signal.butter(3, u(3200, 8000), fs=RATE_HZ)
        y = signal.lfilter(b, a, y)
    if chance() < 0.2:  # a phone's high-pass
        b, a = signal.butter(int(rng.integers(1, 4)), u(70, 350), "high", fs=RATE_HZ)
        y = signal.lfilter(b, a, y)
    if plain or chance() > (CODED_EASY if easy else CODED):
        return y, "none"
    name = str(rng.choice(list(CODECS), p=[0.6, 0.25, 0.15]))
    rate = int(rng.choice(CODECS[name][2]))
    return through_codec(y, name, rate), f"{name}{rate}"


def through_codec(x: Wave, name: str, kbit_s: int) -> Wave:
    """Encoded and decoded by PyAV, laid where it was: encoders begin late, each by another number of samples."""
    import av
    import soxr

    encoder, container, _ = CODECS[name]
    rate = 48000 if name == "opus" else RATE_HZ
    y = np.clip(x, -1, 1)
    y = np.asarray(soxr.resample(y, RATE_HZ, rate)) if rate != RATE_HZ else y
    file = io.BytesIO()
    with av.open(file, "w", format=container) as out:
        stream: Any = out.add_stream(encoder, rate=rate, layout="mono")
        stream.bit_rate = 1000 * kbit_s
        for a in range(0, len(y), 4096):
            chunk = np.ascontiguousarray(y[None, a : a + 4096], np.float32)
            frame = av.AudioFrame.from_ndarray(chunk, format="fltp", layout="mono")
            frame.sample_rate, frame.pts = rate, a
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    file.seek(0)
    with av.open(file, "r") as read:
        resampler = av.AudioResampler(format="fltp", layout="mono")
        parts = [r.to_ndarray()[0] for frame in read.decode(audio=0) for r in resampler.resample(frame)]
    decoded = np.concatenate(parts).astype(np.float64)
    decoded = np.asarray(soxr.resample(decoded, rate, RATE_HZ)) if rate != RATE_HZ else decoded
    late = _lag(x, decoded)
    shifted = decoded[late:] if late >= 0 else np.concatenate([np.zeros(-late), decoded])
    return np.pad(shifted, (0, max(0, len(x) - len(shifted))))[: len(x)]


def _lag(x: Wave, later: Wave) -> int:
    """By how many samples the second is behind the first: their cross-correlation's largest."""
    from scipy.fft import irfft, next_fast_len, rfft

    n = min(len(x), len(later), LOOKED_AT)
    size = next_fast_len(n + LATEST, real=True)
    cross = irfft(rfft(later[:n], size) * np.conj(rfft(x[:n], size)), size)
    near = np.concatenate([cross[:LATEST], cross[-LATEST:]])
    at = int(np.argmax(near))
    return at if at < LATEST else at - 2 * LATEST
