"""First to last string of a strum."""

from __future__ import annotations

import numpy as np
import pytest

from strumclock.audio.decimation import decimated
from strumclock.grid import Exercise
from strumclock.stroke import Spreads, measure_spreads, pictures
from strumclock.stroke.spread import LEAST_GAP_S, SHARED_U
from strumclock.synthesis import NYLON, STEEL, Guitar, Player, Scene, synthesise


def measured(spread_ms: float, guitar: Guitar, *, scene: Scene | None = None) -> tuple[Spreads, np.ndarray]:
    """Spreads of eight bars of quarters, and the truth [ms]."""
    exercise = Exercise(bpm=90, bars=8, chords=("E", "G"), beats_per_change=4, count_in=1)
    take = synthesise(exercise, Player(spread_ms=spread_ms), scene or Scene(click_db=None), 3, guitar=guitar)
    x, rate_hz = decimated(take.samples, take.sample_rate_hz)
    time_s = take.truth.strum_s
    return measure_spreads(pictures(x, rate_hz, time_s), time_s), take.truth.spread_ms


@pytest.mark.parametrize("guitar", [STEEL, NYLON])
def test_mean_spread_lies_within_twice_its_stated_uncertainty_against_construction(guitar: Guitar) -> None:
    """Truth: the synthesiser's own spreads, 8 to 45 ms; and wider strokes are told as wider."""
    means = []
    for spread_ms in (8.0, 20.0, 45.0):
        found, truth_ms = measured(spread_ms, guitar)
        mean_ms = 1000 * float(np.mean(found.spread_s))
        assert abs(mean_ms - truth_ms.mean()) < 2 * 1000 * found.shared_u_s
        means.append(mean_ms)
    assert means[0] + 4 < means[1]
    assert means[1] + 8 < means[2]


def test_spread_through_a_phone_in_a_room_against_construction() -> None:
    """Truth: the synthesiser's own spreads."""
    found, truth_ms = measured(20.0, STEEL, scene=Scene(click_db=None, phone=True, reverberation_s=0.3, noise_db=-40))
    assert abs(1000 * float(np.mean(found.spread_s)) - truth_ms.mean()) < 2 * 1000 * found.shared_u_s


def test_strums_close_together_have_no_spread() -> None:
    """Truth: the next strum would lie within the picture."""
    time_s = np.array([1.0, 1.0 + LEAST_GAP_S - 0.01, 2.0])
    found = measure_spreads(np.zeros((3, 20, 6), np.float32), time_s)
    assert np.isnan(found.spread_s).tolist() == [True, False, False]
    assert np.isnan(found.u_s).tolist() == [True, False, False]
    assert found.shared_u_s > SHARED_U * 0.003


def test_no_strums_no_spreads() -> None:
    """Truth: nothing in, nothing out."""
    assert len(measure_spreads(np.zeros((0, 20, 6), np.float32), np.empty(0)).spread_s) == 0
