"""Where and how is a synthetic take recorded?  The metronome's sound, the room, the noise, the phone.

Everything linear happens in one spectrum: guitar and metronome each through its own way to the microphone, then noise,
then the phone's band.  The direct sound arrives undelayed, so the times of strums and clicks stay what they are; the
phone's band-limits delay what lies above 1.5 kHz by less than 0.05 ms, the click and the strums alike.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from strumclock.arrays import Floats, Samples, Spectra
from strumclock.errors import UsageError
from strumclock.synthesis.strings import LEAD, RATE_HZ, attack_index

CLICK_SOUNDS = ("tick", "wood", "beep")

_CLICK_S = 0.08  # by hand: a short click
_REVERB_SHARE = 0.25  # reverberant against direct sound (amplitude) at half a metre to a metre in a furnished room
_REFLECTIONS = 7  # early ones, from walls and table, before the dense tail
_PHONE_LOW_HZ, _PHONE_HIGH_HZ = 110.0, 9000.0  # what a phone's voice recorder keeps, roughly
_RIDE_PERIOD_S = 9.0  # a phone's automatic gain swings over some seconds


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """How a take is recorded.

    Attributes
    ----------
    click_db : float, optional
        Peak of the clicks against the median strum's [dB]; None: the player hears them in headphones.
    click_sound : str
        ``"tick"``, ``"wood"`` or ``"beep"``; beat 1 is accented by pitch.
    click_bars : int, optional
        Bars, the count-in included, after which the click is silent; None: throughout.
    click_channel : bool
        Stereo: guitar left, clicks right.
    reverberation_s : float
        Time in which the room's sound falls by 60 dB; 0: none.
    noise_db : float, optional
        Noise (1/f) against the guitar's mean level [dB]; None: none.
    phone : bool
        Band-limited, with a gain that swings by `ride_db`.
    ride_db : float
        From the lowest to the highest gain of the phone [dB].
    skew_ppm : float
        How much too high a tempo the recorder's clock shows [parts per million].
    lead_s, tail_s : float
        Before the first beat line and after the last bar [s].
    """

    click_db: float | None = -8.0
    click_sound: str = "tick"
    click_bars: int | None = None
    click_channel: bool = False
    reverberation_s: float = 0.0
    noise_db: float | None = -60.0
    phone: bool = False
    ride_db: float = 5.0
    skew_ppm: float = 0.0
    lead_s: float = 0.7
    tail_s: float = 2.0

    def __post_init__(self) -> None:
        if self.click_sound not in CLICK_SOUNDS:
            raise UsageError(f"a click's sound must be one of {', '.join(CLICK_SOUNDS)}, but {self.click_sound!r} came")
        ranges = {
            "click_db": (-60.0, 30.0), "click_bars": (0, 100_000), "reverberation_s": (0.0, 5.0),
            "noise_db": (-120.0, 20.0), "ride_db": (0.0, 30.0), "skew_ppm": (-1000.0, 1000.0),
            "lead_s": (0.1, 60.0), "tail_s": (0.1, 60.0),
        }  # fmt: skip
        for field in fields(self):
            low, high = ranges.get(field.name, (-math.inf, math.inf))
            value = getattr(self, field.name)
            if value is None and field.name in ("click_db", "click_bars", "noise_db"):
                continue
            if field.name in ranges and not (isinstance(value, (int, float)) and low <= value <= high):
                raise UsageError(
                    f"a scene's {field.name} must lie from {low:g} to {high:g}, but {value!r} came; correct it"
                )


def clicks(click_s: Floats, accented: NDArray[np.bool_], sound: str, n: int) -> Samples:
    """A track of clicks with their attacks at the given times [s], to a small part of a sample; loudest near 1."""
    from scipy.fft import irfft, rfft, rfftfreq

    out = np.zeros(n, np.float32)
    for accent in (False, True):
        x = _click_sound(sound, accent)
        spectrum, ramp = rfft(x), -2j * np.pi * rfftfreq(len(x))
        for t in click_s[accented == accent]:
            start = t * RATE_HZ - LEAD
            first = math.floor(start)
            y = irfft(spectrum * np.exp(ramp * (start - first)), len(x)).astype(np.float32)
            a, b = max(first, 0), min(first + len(x), n)
            if b > a:
                out[a:b] += y[a - first : b - first]
    return out


def recorded(guitar: Samples, click: Samples | None, scene: Scene, rng: np.random.Generator) -> Samples:
    """The guitar and the clicks as the microphone and the phone give them; (n,), or (n, 2) on two channels."""
    from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

    n = len(guitar)
    size = next_fast_len(n + int(scene.reverberation_s * RATE_HZ), real=True)
    f = rfftfreq(size, 1 / RATE_HZ).astype(np.float32)
    rooms = _room(scene.reverberation_s, rng), _room(scene.reverberation_s, rng)  # the click stands elsewhere

    def through(x: Samples, room: Samples | None) -> Spectra:
        spectrum: Spectra = rfft(x, size)
        return spectrum if room is None else spectrum * rfft(room, size)

    mixed = through(guitar, rooms[0])
    if click is not None and not scene.click_channel:
        mixed += through(click, rooms[1])
    if scene.noise_db is not None:
        level = math.sqrt(float(np.mean(guitar[np.abs(guitar) > 1e-4] ** 2))) * 10 ** (scene.noise_db / 20)
        mixed += _noise_spectrum(f, size, level, rng)
    if scene.phone:
        mixed *= _phone_band(f)
    y: Samples = irfft(mixed, size)[:n]
    if scene.phone and scene.ride_db:
        swing = np.sin(2 * np.pi * np.arange(0, n + 441, 441) / RATE_HZ / _RIDE_PERIOD_S + rng.uniform(0, 2 * np.pi))
        gain = 10 ** (scene.ride_db / 40 * swing)
        y *= np.interp(np.arange(n), np.arange(0, n + 441, 441), gain).astype(np.float32)
    if scene.click_channel:
        silent = np.zeros(n, np.float32) if click is None else click
        return np.stack([y, silent], axis=1)
    return y


@functools.lru_cache(maxsize=8)
def _click_sound(name: str, accent: bool) -> Floats:
    """One click, its attack at sample `LEAD` and room for a delay at the end."""
    t = np.arange(int(_CLICK_S * RATE_HZ)) / RATE_HZ
    up = 1.25 if accent else 1.0
    if name == "beep":
        x = np.sin(2 * np.pi * 1000 * (2.0 if accent else 1.0) * t) * np.minimum(1, t / 0.001) * (t < 0.04)
        x *= np.clip((0.04 - t) / 0.004, 0, 1)
    elif name == "wood":
        x = _ring(820 * up, 0.011, t) + 0.6 * _ring(2130 * up, 0.004, t)
    else:
        noise = np.random.default_rng(17).standard_normal(len(t)) * np.exp(-t / 0.0012)
        x = _ring(2600 * up, 0.006, t) + 0.5 * _ring(5300 * up, 0.003, t) + 0.25 * noise
    x = np.concatenate([np.zeros(LEAD), x / np.abs(x).max(), np.zeros(1024)])
    from scipy.fft import irfft, rfft, rfftfreq

    shift = LEAD - attack_index(x)
    out: Floats = irfft(rfft(x) * np.exp(-2j * np.pi * rfftfreq(len(x)) * shift), len(x))
    return out


def _ring(hz: float, decay_s: float, t: Floats) -> Floats:
    """A damped sine."""
    return np.sin(2 * np.pi * hz * t) * np.exp(-t / decay_s)


def _room(reverberation_s: float, rng: np.random.Generator) -> Samples | None:
    """An impulse response: the direct sound at 0, some reflections, a tail whose treble dies sooner; None: no room."""
    if reverberation_s == 0:
        return None
    n = int(reverberation_s * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    tail = rng.standard_normal(n) * 10 ** (-3 * t / reverberation_s)
    dull = np.convolve(rng.standard_normal(n), np.hanning(9) / 2, mode="same") * 10 ** (-3 * t / reverberation_s)
    fade = np.exp(-t / (0.25 * reverberation_s))
    ir = (tail * fade + dull * (1 - fade)) * np.minimum(1, t / 0.012)
    at = rng.uniform(0.0025, 0.03, _REFLECTIONS)
    ir[(at * RATE_HZ).astype(int)] += rng.choice([-1, 1], _REFLECTIONS) * 0.002 / at * np.abs(ir).max() * 6
    ir *= _REVERB_SHARE * math.sqrt(max(reverberation_s, 0.05) / 0.3) / math.sqrt(float(np.sum(ir**2)))
    ir[0] = 1.0
    out: Samples = ir.astype(np.float32)
    return out


def _noise_spectrum(f: Samples, size: int, level: float, rng: np.random.Generator) -> Spectra:
    """Spectra of 1/f noise (flat below 30 Hz) of the given r.m.s. level."""
    shape = 1 / np.sqrt(np.maximum(f, 30.0))
    white = rng.standard_normal((len(f), 2), dtype=np.float32).view(np.complex64)[:, 0]
    spectrum: Spectra = (white * shape).astype(np.complex64)
    power = 2 * float(np.sum(np.abs(spectrum) ** 2)) / size**2
    return spectrum * np.float32(level / math.sqrt(power))


def _phone_band(f: Samples) -> Spectra:
    """Second-order Butterworth high-pass and low-pass, as analogue filters: causal, so nothing sounds too early."""
    s_high, s_low = 1j * f / _PHONE_LOW_HZ, 1j * f / _PHONE_HIGH_HZ
    high = s_high**2 / (s_high**2 + math.sqrt(2) * s_high + 1)
    band: Spectra = (high / (s_low**2 + math.sqrt(2) * s_low + 1)).astype(np.complex64)
    return band
