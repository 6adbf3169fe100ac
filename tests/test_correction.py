"""How errors travel: the fit against linear phase correction's closed form, absent where a take cannot tell."""

from __future__ import annotations

import numpy as np
import pytest
from tests.benchmarks.coverage_cells import players

from strumclock.correction import Correction, measure_correction, phase_correction_variance
from strumclock.errors import Absent, UsageError
from strumclock.timing.error_model import fit_error_model


def test_variance_against_the_closed_form():
    """Linear phase correction, derived by hand and simulated before (α .5, s_T 15, s_M 8 → 385.333)."""
    assert phase_correction_variance(0.5, 15.0, 8.0) == pytest.approx(385.3333, abs=1e-4)


@pytest.mark.parametrize("share", [0.2, 0.5, 1.0, 1.5])
def test_simulated_players_follow_the_closed_form(share):
    """The simulator of the coverage cells has the closed form's variance and lag-1 (100,000 strums)."""
    error = players(np.random.default_rng(1), 50, 2000, share, "normal", 8.0)
    variance = phase_correction_variance(share, 10.0, 8.0)
    assert np.mean(error**2) == pytest.approx(variance, rel=0.05)
    lag1 = np.mean(error[:, 1:] * error[:, :-1]) / np.mean(error**2)
    assert lag1 == pytest.approx((1 - share) - 64 / variance, abs=0.02)


@pytest.mark.parametrize("share", [0.2, 0.5, 1.5])
def test_the_share_corrected_is_recovered(share):
    """Simulated players with a known share, 400 strums: within the interval in most takes, close in the middle."""
    found = [
        measure_correction(row, np.arange(400))
        for row in players(np.random.default_rng(2), 30, 400, share, "normal", 3.0)
    ]
    shares = [result.corrected_share for result in found if isinstance(result, Correction)]
    assert len(shares) >= 25
    assert np.mean([estimate.low <= share <= estimate.high for estimate in shares]) >= 0.8
    assert np.median([estimate.value for estimate in shares]) == pytest.approx(share, abs=0.1)


def test_clock_and_hand_are_told_apart_where_that_can_be():
    """Overcorrecting players (α 1.5), s_T 10 and s_M 8 ms: both within their intervals in most takes."""
    rows = players(np.random.default_rng(3), 30, 400, 1.5, "normal", 8.0)
    found = [measure_correction(row, np.arange(400)) for row in rows]
    told = [r for r in found if isinstance(r, Correction) and r.clock_ms is not None and r.hand_ms is not None]
    assert len(told) >= 20
    assert np.mean([r.clock_ms.low <= 10 <= r.clock_ms.high for r in told]) >= 0.8
    assert np.mean([r.hand_ms.low <= 8 <= r.hand_ms.high for r in told]) >= 0.8
    assert all(r.corrected_share.low > 1 for r in told)


def test_only_unbroken_runs_count():
    """Errors that travel within runs only, drawn anew after each gap: the share is that within runs (simulation)."""
    rng = np.random.default_rng(4)
    offsets, slots = [], []
    for run in range(60):
        row = players(rng, 1, 8, 0.3, "normal", 0.0)[0]
        offsets += row.tolist()
        slots += (np.arange(8) + 10 * run).tolist()
    result = measure_correction(offsets, slots)
    assert isinstance(result, Correction)
    assert (result.n, result.runs) == (60 * 7, 60)
    assert result.corrected_share.low < 0.3 < result.corrected_share.high


def test_a_lone_strum_between_gaps_is_left_out():
    """A strum with no neighbour says nothing of what follows what: with or without it, the same result."""
    row = players(np.random.default_rng(5), 1, 200, 0.4, "normal", 0.0)[0]
    alone = measure_correction(row, np.arange(200))
    with_lone = measure_correction(np.append(row, 500.0), np.append(np.arange(200), 210))
    assert alone == with_lone


def test_independent_scatter_leaves_the_share_wide_open():
    """White noise fits full correction as well as much less that the hand hides: told, with an interval to match."""
    found = [measure_correction(np.random.default_rng(seed).standard_normal(64), np.arange(64)) for seed in range(10)]
    shares = [result.corrected_share for result in found if isinstance(result, Correction)]
    assert len(shares) == 10
    assert np.mean([share.low <= 1.0 <= share.high for share in shares]) >= 0.7
    assert np.median([share.high - share.low for share in shares]) > 0.8


def test_whether_it_is_told_goes_by_the_length_alone():
    """48 strums that follow another: told of every player; 47: of none, whatever the interval would be (the rule)."""
    for share in (0.2, 1.0):
        rows = players(np.random.default_rng(9), 5, 49, share, "normal", 5.0)
        assert all(isinstance(measure_correction(row, np.arange(49)), Correction) for row in rows)
        assert all(isinstance(measure_correction(row[:48], np.arange(48)), Absent) for row in rows)


def test_each_share_of_the_grid_is_expected_alike():
    """1 − .12 is .88, a value of another grid with a doubt of its own, none of this grid's (its definition)."""
    row = players(np.random.default_rng(10), 1, 96, 0.3, "normal", 5.0)[0]
    grid = {"phi_grid": (0.88, 0.8801), "motor_grid": (0.0,), "phase_only": True}
    model = fit_error_model(row, np.arange(96), np.ones((96, 1)), slow_doubt=False, **grid)
    assert model.weight[0] == pytest.approx(model.weight[1], rel=0.01)


def test_too_few_neighbours_is_absent_with_the_count():
    """Forty-eight strums that follow another are asked for; gaps everywhere leave none."""
    assert "has 15" in measure_correction(np.arange(16.0) ** 2, np.arange(16)).reason
    assert "has 0" in measure_correction(np.arange(40.0) ** 2, 2 * np.arange(40)).reason


def test_measuring_noise_is_not_the_hands():
    """Known measuring errors of 6 ms are taken off the hand's scatter (simulation, α 1.5, s_M 8 ms)."""
    rng = np.random.default_rng(6)
    rows = players(rng, 20, 400, 1.5, "normal", 8.0)
    noisy = rows + 6 * rng.standard_normal(rows.shape)
    hands = []
    for row in noisy:
        result = measure_correction(row, np.arange(400), u_ms=6.0, error_share=1.0)
        if isinstance(result, Correction) and result.hand_ms is not None:
            hands.append(result.hand_ms.value)
    assert np.median(hands) == pytest.approx(8.0, abs=1.5)


def test_a_drift_is_not_a_slow_wander():
    """A straight line added to the offsets changes nothing."""
    row = players(np.random.default_rng(7), 1, 200, 0.5, "normal", 0.0)[0]
    plain, tilted = (measure_correction(row + k * np.arange(200), np.arange(200)) for k in (0.0, 0.8))
    assert isinstance(plain, Correction)
    assert isinstance(tilted, Correction)
    assert tilted.corrected_share.value == pytest.approx(plain.corrected_share.value, abs=1e-6)


def test_bad_input_is_one_clear_line():
    """Unequal lengths and slots that fall are refused."""
    with pytest.raises(UsageError, match="offset and a slot"):
        measure_correction(np.zeros(5), np.arange(4))
    with pytest.raises(UsageError, match="must increase"):
        measure_correction(np.zeros(5), [0, 1, 1, 2, 3])


@pytest.mark.parametrize("told", ["changes", "places"])
def test_late_changes_are_no_errors_that_the_next_strum_corrects(told):
    """Simulated players who correct 30 %, every fourth strum 90 ms late, by a quarter either way: with changes or
    places known the intervals hold 30 %, without either the share reads above 80 %."""
    n, share = 192, 0.3
    rng = np.random.default_rng(1)
    change = np.arange(n) % 4 == 0
    late = [
        row + 90 * change * (1 + 0.25 * rng.standard_normal(n))
        for row in players(np.random.default_rng(5), 30, n, share, "normal", 4.0)
    ]
    known = {"at_change": change} if told == "changes" else {"place": np.arange(n) % 4}
    found = [measure_correction(row, np.arange(n), **known) for row in late]
    shares = [r.corrected_share for r in found if isinstance(r, Correction)]
    assert len(shares) >= 25
    assert np.mean([e.low <= share <= e.high for e in shares]) >= 0.85
    assert all(r.changes_known == (told == "changes") for r in found if isinstance(r, Correction))
    unknown = [r for r in (measure_correction(row, np.arange(n)) for row in late) if isinstance(r, Correction)]
    assert np.median([r.corrected_share.value for r in unknown]) > 0.8


def test_means_are_not_taken_out_of_too_few_strums():
    """Fifty strums on sixteen places: the fit is that without places (itself)."""
    row = players(np.random.default_rng(6), 1, 50, 0.5, "normal", 3.0)[0]
    assert measure_correction(row, np.arange(50), place=np.arange(50) % 16) == measure_correction(row, np.arange(50))
