"""How much later is what was played heard?  Test sounds are played several times and looked for in what was recorded.

The sound is a chirp: a tone that rises through the range that every small loudspeaker has. Held against the recording
(a matched filter) it becomes one short peak, whatever its loudness, far above noise. The intervals between the chirps
differ, so that only one delay makes all of them fit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft

from strumclock.arrays import Floats
from strumclock.errors import RecordingError
from strumclock.recording.card import Block

CHIRP_HZ = (900.0, 6000.0)  # physical: small loudspeakers and telephones' microphones have it
CHIRP_S = 0.08  # by hand: long enough to rise out of a room's noise, too short to bore
CHIRP_PEAK = 0.25  # −12 dB re full scale, as loud as the click that follows: who finds it too loud turns that down too
INTERVALS_S = (0.31, 0.37, 0.29, 0.41, 0.34, 0.43)  # no two alike: a delay by one of them does not fit
LEAD_S = 0.5  # devices swallow the first tenths of a second
LATEST_S = 2.5  # a long buffer holds 1.2 s (PulseAudio, measured), a wireless loudspeaker lags by 0.3 s
DIRECT_S = 0.01  # 3.4 m of detour: the loudest way may be a reflection, the first one is the straight way …
DIRECT_SHARE = 0.5  # … if it is at least half as strong
LEAST_RATIO = (
    8.0  # a chirp over the root mean square of a window; noise alone reaches 3.7 (tests/benchmarks/loop_noise.py)
)
LEAST_HEARD = 4  # by hand: of fewer, one that is disturbed moves the median
MOST_APART_S = 0.001  # chirps further than this from their median are disturbed, by a cough or a string
LEAST_U_S = 0.0002  # physical: a loudspeaker and a microphone delay their lows and highs by so much differently


@dataclass(frozen=True, slots=True, kw_only=True)
class Latency:
    """The delay from playing to hearing.

    Attributes
    ----------
    value_s : float
        Median of the chirps' delays [s].
    spread_s : float
        Their standard deviation [s].
    u_s : float
        Standard uncertainty [s]: the spread, which a single sound later may have too, and `LEAST_U_S`.
    heard, played : int
        How many chirps were heard, of how many.
    """

    value_s: float
    spread_s: float
    u_s: float
    heard: int
    played: int

    def __str__(self) -> str:
        return (
            f"{1000 * self.value_s:.2f} ms, spread {1000 * self.spread_s:.2f} ms "
            f"({self.heard} of {self.played} test sounds heard)"
        )


def loop_sounds(sample_rate_hz: int) -> tuple[Block, Floats]:
    """What is played, and when each chirp begins in it [s].

    Examples
    --------
    >>> sound, begin_s = loop_sounds(44_100)
    >>> len(begin_s), round(len(sound) / 44_100, 2)
    (7, 5.23)
    """
    begin_s = LEAD_S + np.concatenate([[0.0], np.cumsum(INTERVALS_S)])
    chirp = _chirp(sample_rate_hz)
    sound = np.zeros(round((begin_s[-1] + CHIRP_S + LATEST_S) * sample_rate_hz), np.float32)
    for at in _places(begin_s, sample_rate_hz):
        sound[at : at + len(chirp)] += chirp
    return sound, begin_s


def measure_latency(recorded: Block, begin_s: Floats, sample_rate_hz: int) -> Latency:
    """Find the test sounds in what was recorded while they were played.

    Parameters
    ----------
    recorded : (n,) float32
        Sample by sample what was recorded while `loop_sounds` was played.
    begin_s : (k,) float
        When each chirp began in what was played [s].
    sample_rate_hz : int

    Returns
    -------
    Latency

    Raises
    ------
    RecordingError
        If fewer than `LEAST_HEARD` were heard, or these do not agree.

    Examples
    --------
    >>> sound, begin_s = loop_sounds(44_100)
    >>> late = np.concatenate([np.zeros(4410, np.float32), sound])[: len(sound)]
    >>> print(measure_latency(late, begin_s, 44_100))
    100.00 ms, spread 0.00 ms (7 of 7 test sounds heard)
    """
    match = _matched(recorded, _chirp(sample_rate_hz))
    places = _places(begin_s, sample_rate_hz)
    reach = round(LATEST_S * sample_rate_hz)
    windows = [match[at : at + reach] for at in places]
    together = np.sum([_whole(w / max(_rms(w), 1e-12), reach) for w in windows], axis=0)
    about = int(np.argmax(together))
    near = round(MOST_APART_S * sample_rate_hz) + 1
    around = round(DIRECT_S * sample_rate_hz)
    delays = [d for w in windows if (d := _delay(w, about, around + near)) is not None]
    middle = float(np.median(delays)) if delays else 0.0
    kept = np.array([d for d in delays if abs(d - middle) <= near]) / sample_rate_hz
    if len(kept) < LEAST_HEARD:
        raise RecordingError(
            f"at least {LEAST_HEARD} of {len(places)} test sounds must come back to the microphone, but {len(kept)} "
            "did; turn the sound up a little, bring the microphone nearer, and turn off noise suppression"
        )
    spread_s = float(np.std(kept, ddof=1))
    return Latency(
        value_s=float(np.median(kept)),
        spread_s=spread_s,
        u_s=float(np.hypot(spread_s, LEAST_U_S)),
        heard=len(kept),
        played=len(places),
    )


def _places(begin_s: Floats, sample_rate_hz: int) -> list[int]:
    """Whole samples at which the chirps begin."""
    return [round(float(s) * sample_rate_hz) for s in begin_s]


def _chirp(sample_rate_hz: int) -> Block:
    """The chirp: its frequency rises evenly, its loudness swells and fades (Hann)."""
    n = round(CHIRP_S * sample_rate_hz)
    t = np.arange(n) / sample_rate_hz
    low, high = CHIRP_HZ
    phase = 2 * np.pi * (low * t + (high - low) * t**2 / (2 * CHIRP_S))
    chirp: Block = (CHIRP_PEAK * np.hanning(n) * np.sin(phase)).astype(np.float32)
    return chirp


def _matched(recorded: Block, chirp: Block) -> Floats:
    """How alike recording and chirp are at each delay, whatever the phase: envelope of their correlation."""
    size = scipy.fft.next_fast_len(len(recorded) + len(chirp))
    spectrum = scipy.fft.fft(recorded, size) * np.conj(scipy.fft.fft(chirp, size))
    spectrum[size // 2 + 1 :] = 0.0  # the analytic signal
    alike: Floats = np.abs(scipy.fft.ifft(2 * spectrum))[: len(recorded)]
    return alike


def _delay(window: Floats, about: int, near: int) -> float | None:
    """The delay of one chirp in samples, between samples by a parabola; None where it is not heard near `about`."""
    first = max(about - near, 1)
    part = window[first : about + near]
    if len(part) < 3:
        return None
    top = float(part.max())
    if top < LEAST_RATIO * _rms(window):
        return None
    strong = np.flatnonzero((part >= DIRECT_SHARE * top) & (part >= window[first - 1 : first - 1 + len(part)]))
    following = window[first + 1 : first + 1 + len(part)]
    peaks = [int(i) for i in strong if i < len(following) and part[i] > following[i]]
    if not peaks:
        return None
    k = first + peaks[0]
    left, here, right = (float(window[k + d]) for d in (-1, 0, 1))
    return k + 0.5 * (left - right) / (left - 2 * here + right)


def _rms(x: Floats) -> float:
    return float(np.sqrt(np.mean(x**2))) if len(x) else 0.0


def _whole(x: Floats, n: int) -> Floats:
    return np.pad(x, (0, max(n - len(x), 0)))[:n]
