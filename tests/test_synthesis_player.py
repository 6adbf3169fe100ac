"""The synthetic player: linear phase correction held against its closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from strumclock.errors import UsageError
from strumclock.grid import Exercise
from strumclock.synthesis import Player, Scene, deviations_ms, synthesise
from strumclock.synthesis.take import _strum_times  # the times alone: thousands of strums without their sound

LONG = Exercise(bpm=120, bars=1500, meter="4/4", per_beat=1, chords=("A", "D"))


def times(player: Player, exercise: Exercise = LONG, seed: int = 1) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Deviations [ms] of the meant strums, their slots, and how many were added."""
    from strumclock.grid import build_grid

    grid = build_grid(exercise, bars=exercise.bars or 1)
    when, slot, own = _strum_times(grid, player, np.random.default_rng(seed))
    return 1000 * (when[own] - grid.slot_s[slot[own]]), slot[own], grid.at_change[slot[own]]


def test_variance_against_the_closed_form() -> None:
    """a = .5, s_T = 15, s_M = 8 ms: var = (s_T² + 2a s_M²)/(1 − (1 − a)²) = 385.333 ms² (own derivation, simulated)."""
    player = Player(timekeeper_ms=15, motor_ms=8, correction=0.5)
    assert player.jitter_ms**2 == pytest.approx(385.3333333, abs=1e-6)
    x = deviations_ms(player, 400_000, np.random.default_rng(2))
    assert np.var(x) == pytest.approx(385.33, abs=4.0)  # 4 standard errors of a variance of 400 000 correlated values


def test_lag_one_against_the_closed_form() -> None:
    """cov(A_n, A_{n+1}) = (1 − a) var − s_M²: the hand's noise is taken back from the next error (own derivation)."""
    player = Player(timekeeper_ms=15, motor_ms=8, correction=0.5)
    x = deviations_ms(player, 400_000, np.random.default_rng(3))
    lag = float(np.mean((x[1:] - x.mean()) * (x[:-1] - x.mean())))
    assert lag == pytest.approx(0.5 * 385.333 - 64, abs=3.0)


def test_offset_and_drift_are_what_was_asked_for() -> None:
    """Over 6000 strums, a least-squares line has the slope and the start that were asked for."""
    dev, slot, _ = times(Player(offset_ms=-12, drift_ms_per_min=3))
    minutes = slot * 0.5 / 60
    slope, start = np.polyfit(minutes, dev, 1)
    assert slope == pytest.approx(3, abs=0.08)
    assert start == pytest.approx(-12, abs=1.5)


def test_only_new_chords_are_late() -> None:
    """Strums at changes are later by change_late_ms than the others, and only into the chords asked for."""
    dev, _, change = times(Player(offset_ms=0, change_late_ms=80))
    assert dev[change].mean() - dev[~change].mean() == pytest.approx(80, abs=2.5)
    dev, slot, change = times(Player(offset_ms=0, change_late_ms=80, late_into=("D",)))
    into_d = change & ((slot // 4) % 2 == 1)
    assert dev[into_d].mean() == pytest.approx(80, abs=3)
    assert dev[change & ~into_d].mean() == pytest.approx(0, abs=3)


def test_omissions_and_additions_come_at_their_rate() -> None:
    """Shares of omitted and added strums match the probabilities (binomial: 4 standard errors of 6000)."""
    exercise = Exercise(bpm=60, bars=1500, meter="4/4", per_beat=1)
    from strumclock.grid import build_grid

    when, _, own = _strum_times(build_grid(exercise, bars=1500), Player(miss=0.1, extra=0.05), np.random.default_rng(4))
    assert 1 - own.sum() / 6000 == pytest.approx(0.1, abs=0.016)
    assert (~own).sum() / own.sum() == pytest.approx(0.05, abs=0.012)
    assert (np.diff(when) > 0.05).all()


def test_truth_holds_the_same_slips_as_the_sound() -> None:
    """Omitted and added strums in the truth are those that the take lacks and has."""
    exercise = Exercise(bpm=100, bars=8, meter="4/4", count_in=1)
    truth = synthesise(exercise, Player(miss=0.2, extra=0.2), Scene(), 7).truth
    played = truth.strum_slot >= 0
    assert len(truth.omitted) + played.sum() == 32
    assert len(truth.omitted) > 0
    assert (~played).sum() > 0
    assert np.isnan(truth.offset_ms).sum() == (~played).sum()


@pytest.mark.parametrize("wrong", [{"correction": 0.0}, {"miss": 1.5}, {"offset_ms": float("nan")}, {"spread_ms": -1}])
def test_nonsense_is_refused(wrong: dict[str, float]) -> None:
    """A value outside its range is a UsageError that names it."""
    with pytest.raises(UsageError, match=next(iter(wrong))):
        Player(**wrong)  # type: ignore[arg-type]
