"""A part of a take, an offset, a gain, a polarity, another rate and silence before it leave the strums where they are.

The truth is the whole file of a reference take as it is: the click is heard alone only in its count-in, which no part
below contains.
"""

from __future__ import annotations

from math import gcd

import numpy as np
import pytest
import scipy.signal
import soundfile
from support import REFERENCE_AUDIO

import strumclock as sc

STEADY = REFERENCE_AUDIO / "steady.flac"
AGREE_S = 0.0003
EXERCISE = sc.Exercise(bpm=84)


@pytest.fixture(scope="module")
def samples() -> tuple[np.ndarray, int]:
    """The reference take's samples and their rate."""
    x, rate = soundfile.read(STEADY, dtype="float32")
    return x, rate


@pytest.fixture(scope="module")
def whole() -> sc.Measurement:
    """The reference take, measured as it is."""
    return sc.measure(STEADY, EXERCISE)


def _same(whole: sc.Measurement, other: sc.Measurement, later_s: float = 0.0) -> None:
    """Every strum of the other is one of the whole's, within AGREE_S and its own uncertainty; none lacks."""
    time_s = np.array([s.time_s for s in whole.strums])
    moved = np.array([s.time_s - later_s for s in other.strums])
    nearest = np.abs(time_s[None, :] - moved[:, None]).min(axis=1)
    assert nearest.max() < AGREE_S
    assert (nearest <= np.array([s.u_ms for s in other.strums]) / 1000).all()
    inside = (time_s > moved[0] - 0.01) & (time_s < moved[-1] + 0.01)
    assert len(moved) == inside.sum()


@pytest.mark.parametrize(
    ("start_s", "end_s", "n"),
    [(5.0, 28.0, 29), (2.001, None, 32), (10.3, 20.7, 14), (None, 17.0, 19), (8.0, 14.0, 8), (20.0, None, 8)],
)
def test_a_part_has_the_strums_of_the_whole(
    whole: sc.Measurement, start_s: float | None, end_s: float | None, n: int
) -> None:
    """The file says how many of its 32 strums lie in each part; none near its ends is reported from beyond them."""
    part = sc.measure(STEADY, EXERCISE, start_s=start_s, end_s=end_s)
    assert len(part.strums) == n
    assert all((start_s or 0.0) <= s.time_s < (end_s or 30.0) for s in (*part.strums, *part.ignored))
    assert part.omitted == ()
    assert part.grid is not None
    assert part.grid.anchor == "recorded-click"
    _same(whole, part)


@pytest.mark.parametrize("offset", [0.1, -0.3])
@pytest.mark.parametrize("told", [EXERCISE, None])
def test_a_constant_offset_moves_nothing(
    samples: tuple[np.ndarray, int], offset: float, told: sc.Exercise | None
) -> None:
    """As cheap sound cards add it."""
    x, rate = samples
    _same(sc.measure(sc.from_array(x, rate), told), sc.measure(sc.from_array(x + np.float32(offset), rate), told))


@pytest.mark.parametrize("gain", [1e-4, 0.05, -1.0, 20.0, 1e8])
def test_gain_and_polarity_move_nothing(whole: sc.Measurement, samples: tuple[np.ndarray, int], gain: float) -> None:
    """Down to -80 dB and up to samples that somebody forgot to scale."""
    x, rate = samples
    _same(whole, sc.measure(sc.from_array(np.float32(gain) * x, rate), EXERCISE))


@pytest.mark.parametrize("rate", [16_000, 22_050, 48_000, 96_000])
def test_another_sample_rate_moves_nothing(whole: sc.Measurement, samples: tuple[np.ndarray, int], rate: int) -> None:
    """Resampled by SciPy's polyphase filter."""
    x, given = samples
    g = gcd(rate, given)
    other = scipy.signal.resample_poly(x.astype(np.float64), rate // g, given // g)
    _same(whole, sc.measure(sc.from_array(other, rate), EXERCISE))


@pytest.mark.parametrize("lead_s", [0.0137, 1.0, 3.7])
def test_silence_before_the_take_moves_nothing(
    whole: sc.Measurement, samples: tuple[np.ndarray, int], lead_s: float
) -> None:
    """Zeros put before the first sample."""
    x, rate = samples
    n = round(lead_s * rate)
    _same(whole, sc.measure(sc.from_array(np.concatenate([np.zeros(n), x]), rate), EXERCISE), n / rate)


def test_a_part_at_another_tempo_than_its_surroundings_keeps_its_own_click(
    samples: tuple[np.ndarray, int], tmp_path: object
) -> None:
    """By construction: the take, and after two seconds the same at five fourths of its speed: 84 and 105 a minute."""
    x, rate = samples
    fast = scipy.signal.resample_poly(x.astype(np.float64), 4, 5)
    both = np.concatenate([x, np.zeros(2 * rate), fast])
    begin_s = len(x) / rate + 2
    soundfile.write(f"{tmp_path}/both.wav", both, rate, subtype="FLOAT")
    for start_s, end_s, bpm in ((4.0, len(x) / rate, 84), (begin_s + 3.5, None, 105)):
        part = sc.measure(f"{tmp_path}/both.wav", sc.Exercise(bpm=bpm), start_s=start_s, end_s=end_s)
        assert part.grid is not None
        assert part.grid.bpm_heard is not None
        assert part.grid.bpm_heard.value == pytest.approx(bpm, abs=0.05)
        assert part.timing is not None
        assert part.timing.n >= 28
