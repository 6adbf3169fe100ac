"""What does one plucked string sound like?  Its partials, each decaying at its own rate, through a guitar's body.

The string is a sum of damped modes (the solution of the stiff, damped wave equation), so its pitch is exact: the first
partial stands at the wanted frequency and the others where stiffness puts them, f_k = k f_1 sqrt((1 + B k²)/(1 + B))
(Fletcher & Rossing, The Physics of Musical Instruments, from memory).  What is heard is the force on the bridge,
F(t) = Σ a_k cos(2π f_k t) exp(−σ_k t) with a_k ∝ sin(kπβ)/k for a pluck at β of the string's length, rounded by the
pick's and the string's own width, through a set of body resonances.  Before t = 0 the pick draws the string: the force
rises to F(0).

A note's *attack* is where its sound above 1.5 kHz first exceeds a fifth of its peak within 30 ms; every note is cut so
that this moment is the sample `LEAD`, to a small part of a sample.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from strumclock.arrays import Floats, Samples

RATE_HZ = 44100  # a convention
A4_HZ = 440.0  # ISO 16:1975
RING_S = 3.5  # longest a string is left to ring: a rest of two bars at 140 bpm; it is faded out over the last fifth
LEAD = 2205  # samples of a note before its attack (50 ms): the pick draws the string and touches it in them
ATTACK_HIGHPASS_HZ = 1500.0  # DESIGN's definition of a strum's time
ATTACK_SHARE = 0.2  # DESIGN's definition of a strum's time
ATTACK_WINDOW_S = 0.030  # DESIGN's definition of a strum's time
HARDNESS = (0.25, 0.6, 1.0)  # strokes that are kept ready: soft, middle, hard (0 to 1)

_RADIATES_HZ = 75.0  # a body this size hardly radiates below its air resonance
_DRAW_S = 0.035  # time in which the pick draws a string aside: slow enough to be inaudible
_SILENT_DB = -72.0  # a partial is dropped once it is this far below the note's strongest
_EARLY_S = 0.45  # the partials that have died by then are computed only until then
_HIGHEST_HZ = 15000.0  # below the half of RATE_HZ by more than the steepest partial spacing


@dataclass(frozen=True, slots=True, kw_only=True)
class Guitar:
    """An instrument: how its strings decay, how bright they are, and its body.

    Attributes
    ----------
    name : str
    decay_per_s : tuple of 3 float
        Decay rate of a partial at f: σ = c0 + c1·f + c2·f² [1/s], f in kHz (air and bridge, inner friction).
    inharmonicity : tuple of 6 float
        B of each open string, low to high; B grows with the square of the stopping (shorter string).
    pick_place : float
        Where the pick meets the open string, as share of its length from the bridge.
    edge_hz : tuple of 2 float
        Where a soft and a hard stroke's partials have fallen to exp(−1): the roundness of the pick.
    body : tuple of (frequency_hz, q, gain)
        Lowest resonances.
    body_seed : int
        Of the dense resonances above them, which no one measures one by one.
    body_direct : float
        Share of the bridge's force that is radiated at once.
    """

    name: str
    decay_per_s: tuple[float, float, float]
    inharmonicity: tuple[float, float, float, float, float, float]
    pick_place: float
    edge_hz: tuple[float, float]
    body: tuple[tuple[float, float, float], ...]
    body_seed: int
    body_direct: float


STEEL = Guitar(
    name="steel",
    decay_per_s=(0.9, 0.9, 0.26),
    inharmonicity=(1.2e-4, 7e-5, 4.5e-5, 1.0e-4, 5e-5, 2.5e-5),  # plain strings are stiffer than wound
    pick_place=0.19,
    edge_hz=(2800.0, 7500.0),
    body=((101.0, 12.0, 0.35), (190.0, 14.0, 0.6), (226.0, 14.0, 0.4), (381.0, 18.0, 0.4)),
    body_seed=101,
    body_direct=0.35,
)

NYLON = Guitar(
    name="nylon",
    decay_per_s=(1.3, 1.1, 0.3),
    inharmonicity=(6e-5, 5e-5, 5e-5, 1.6e-4, 1.0e-4, 7e-5),
    pick_place=0.22,
    edge_hz=(1500.0, 3600.0),
    body=((95.0, 12.0, 0.4), (180.0, 14.0, 0.7), (240.0, 14.0, 0.4), (404.0, 18.0, 0.4)),
    body_seed=202,
    body_direct=0.3,
)


def frequency_hz(midi: float, *, a4_hz: float = A4_HZ) -> float:
    """Frequency of a MIDI pitch in equal temperament, f = a4 · 2^((m − 69)/12).

    Examples
    --------
    >>> round(frequency_hz(40), 4)
    82.4069
    """
    return float(a4_hz * 2.0 ** ((midi - 69.0) / 12.0))


@functools.lru_cache(maxsize=1024)
def note(guitar: Guitar, string: int, midi: float, hardness: float, muted: bool = False) -> Samples:
    """One plucked string, its attack at sample `LEAD`.

    Parameters
    ----------
    guitar : Guitar
    string : int
        0 (low E) to 5 (high E).
    midi : float
        Pitch; fractions are cents / 100.
    hardness : float
        0 (soft and dull) to 1 (hard and bright).
    muted : bool
        Stopped by the flat hand: dies within some tens of ms.

    Returns
    -------
    (n,) float32
        At `RATE_HZ`, read-only; loudest instant of a hard stroke near 1.
    """
    f1 = frequency_hz(midi)
    stopping = f1 / frequency_hz((40, 45, 50, 55, 59, 64)[string])  # open length ÷ sounding length
    b = guitar.inharmonicity[string] * stopping**2
    k = np.arange(1, int(_HIGHEST_HZ / f1) + 1)
    f = k * f1 * np.sqrt((1 + b * k**2) / (1 + b))
    f = f[f < _HIGHEST_HZ]
    k = k[: len(f)]
    beta = min(guitar.pick_place * stopping, 0.48)  # the pick stays, the string gets shorter
    edge = guitar.edge_hz[0] + (guitar.edge_hz[1] - guitar.edge_hz[0]) * hardness
    a = np.sin(k * np.pi * beta) / k * np.exp(-((f / edge) ** 1.2))
    c0, c1, c2 = guitar.decay_per_s
    sigma = c0 + c1 * f / 1000 + c2 * (f / 1000) ** 2 + (45.0 + 12.0 * f / 1000 if muted else 0.0)
    # The string swings in two planes; the one that drives the bridge harder dies sooner: a fast and a slow decay.
    fast, slow = a * 0.65, a * 0.35
    amplitude = np.concatenate([fast, slow])
    frequency, decay = np.tile(f, 2), np.concatenate([sigma * 1.7, sigma * 0.8])
    n = int(RING_S * RATE_HZ) if not muted else int(0.25 * RATE_HZ)
    force = _damped_cosines(amplitude, frequency, decay, n)
    draw = int(_DRAW_S * RATE_HZ)
    before = np.sum(a) * (0.5 - 0.5 * np.cos(np.pi * np.arange(draw) / draw))
    dry = np.concatenate([before, force])
    wet = _convolved(dry, body_response(guitar))
    wet[-n // 5 :] *= np.linspace(1.0, 0.0, n // 5) ** 2
    head = draw + int(0.12 * RATE_HZ)
    at = attack_index(wet[:head])
    wet = _delayed(wet, math.ceil(at) - at)
    start = round(attack_index(wet[:head])) - LEAD
    wet = wet[start:] if start >= 0 else np.concatenate([np.zeros(-start), wet])
    out = (wet * (0.35 + 0.65 * hardness) * _loudness(guitar)).astype(np.float32)
    out.flags.writeable = False
    return out


def attack_index(samples: Floats) -> float:
    """Where a note's sound above 1.5 kHz first exceeds a fifth of its peak within 30 ms, in samples, interpolated.

    Parameters
    ----------
    samples : (n,) float
        One isolated note at `RATE_HZ`, from its silence to at least 30 ms into its sound.

    Notes
    -----
    The level is the absolute value of a second-order Butterworth high-pass's output.  "Its peak within 30 ms" is read
    from the crossing itself, so the two are found together, from the loudest instant backwards.
    """
    level = _treble(samples)
    window = int(ATTACK_WINDOW_S * RATE_HZ)
    end = len(level)
    for _ in range(8):  # each round looks at the 30 ms from the last answer; it settles in two or three
        limit = ATTACK_SHARE * float(level[:end].max())
        i = int(np.argmax(level > limit))
        if end == min(i + window, len(level)):
            break
        end = min(i + window, len(level))
    if i == 0:
        return 0.0
    return float(i - 1 + (limit - level[i - 1]) / (level[i] - level[i - 1]))


@functools.lru_cache(maxsize=1024)
def attack_level(guitar: Guitar, string: int, midi: float, hardness: float, muted: bool = False) -> float:
    """Peak above 1.5 kHz within 30 ms of a note's attack (arguments as for `note`)."""
    x = note(guitar, string, midi, hardness, muted)
    return float(_treble(x[: LEAD + int(ATTACK_WINDOW_S * RATE_HZ)].astype(np.float64)).max())


def _treble(samples: Floats) -> Floats:
    """Absolute value of what lies above 1.5 kHz."""
    from scipy.signal import butter, sosfilt

    out: Floats = np.abs(sosfilt(butter(2, ATTACK_HIGHPASS_HZ, "high", fs=RATE_HZ, output="sos"), samples))
    return out


@functools.lru_cache(maxsize=8)
def body_response(guitar: Guitar) -> Floats:
    """The sound at a metre from a unit impulse of force on the bridge: told low resonances and a dense seeded rest."""
    rng = np.random.default_rng(guitar.body_seed)
    n = int(0.09 * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    dense_hz = np.cumsum(rng.uniform(35.0, 110.0, 110)) + 420.0  # a plate's are evenly spaced: one in some 70 Hz
    q = 18.0 + 14.0 * rng.random(len(dense_hz))
    gain = rng.standard_normal(len(dense_hz)) * 0.28 * (1.0 + (dense_hz / 3500.0) ** 2) ** -0.25
    low = np.array(guitar.body)
    f, q, g = (np.concatenate(pair) for pair in ((low[:, 0], dense_hz), (low[:, 1], q), (low[:, 2], gain)))
    modes = np.sin(2 * np.pi * f[:, None] * t) * np.exp(-np.pi * (f / q)[:, None] * t)
    response = (g * np.pi * f / q) @ modes / 4000.0  # the gain is that at resonance, whatever the width
    response[0] += guitar.body_direct
    response *= np.minimum(1.0, (n - np.arange(n)) / 600.0)
    from scipy.signal import butter, sosfilt

    out: Floats = sosfilt(butter(2, _RADIATES_HZ, "high", fs=RATE_HZ, output="sos"), response)
    out.flags.writeable = False
    return out


@functools.lru_cache(maxsize=8)
def _loudness(guitar: Guitar) -> float:
    """Scales the open A string, plucked hard, to a peak of 1."""
    k = np.arange(1.0, 80.0)
    f = frequency_hz(45) * k
    a = np.sin(k * np.pi * guitar.pick_place) / k * np.exp(-((f / guitar.edge_hz[1]) ** 1.2))
    x = _convolved(_damped_cosines(a, f, np.full(79, 4.0), 4410), body_response(guitar))
    return float(1.0 / np.abs(x[441:]).max())


def _damped_cosines(amplitude: Floats, frequency: Floats, decay: Floats, n: int) -> Floats:
    """Σ a cos(2πft) exp(−σt) at n samples; partials that die early are summed only while they can be heard."""
    floor = np.abs(amplitude).max() * 10 ** (_SILENT_DB / 20)
    lives_s = np.log(np.maximum(np.abs(amplitude) / floor, 1.0)) / decay
    out = np.zeros(n)
    early = min(int(_EARLY_S * RATE_HZ), n)
    for chosen, length in ((lives_s > _EARLY_S, n), ((lives_s > 0) & (lives_s <= _EARLY_S), early)):
        if chosen.any():
            out[:length] += _modal_sum(amplitude[chosen], frequency[chosen], decay[chosen], length)
    return out


def _modal_sum(amplitude: Floats, frequency: Floats, decay: Floats, n: int) -> Floats:
    """The same for one set of partials: exp(λ(iM + j)) = exp(λiM)·exp(λj), so the sum is one matrix product."""
    step = max(int(math.sqrt(n)), 1)
    rows = -(-n // step)
    pole = (-decay + 2j * np.pi * frequency) / RATE_HZ
    outer = amplitude * np.exp(pole * (np.arange(rows) * step)[:, None])
    inner = np.exp(pole[:, None] * np.arange(step))
    left = np.concatenate([outer.real, -outer.imag], axis=1).astype(np.float32)
    right = np.concatenate([inner.real, inner.imag], axis=0).astype(np.float32)
    out: Floats = (left @ right).ravel()[:n].astype(np.float64)
    return out


def _convolved(x: Floats, h: Floats) -> Floats:
    """x * h, as long as x."""
    from scipy.fft import irfft, next_fast_len, rfft

    size = next_fast_len(len(x) + len(h) - 1, real=True)
    out: Floats = irfft(rfft(x, size) * rfft(h, size), size)[: len(x)]
    return out


def _delayed(x: Floats, fraction: float) -> Floats:
    """x later by a fraction of a sample (0 to 1), by a phase ramp."""
    from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

    size = next_fast_len(len(x) + 64, real=True)
    out: Floats = irfft(rfft(x, size) * np.exp(-2j * np.pi * rfftfreq(size) * fraction), size)[: len(x)]
    return out
