"""Whether the intervals keep their word on simulated players, and the fast algebra against its slow plain twin."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import toeplitz
from scipy.signal import lfilter
from scipy.stats import chi2
from tests.benchmarks.coverage_cells import FIGURES, NOISES, bare_figures, cell, whole_figures

from strumclock.timing import Estimate, PlacedStrums, StrumErrors, measure_timing, members
from strumclock.timing.error_model import fit_error_model
from strumclock.timing.likelihood import explain_by_long_memory_and_period
from strumclock.timing.parts import jitter_by_part


def player(rng, n, left=0.5, sd=10.0):
    error = np.zeros(n + 50)
    for i in range(1, n + 50):
        error[i] = left * error[i - 1] + sd * rng.standard_normal()
    return error[50:]


def dense_twin(values, slot, design, rho):
    """Restricted log likelihood and σ² with the whole covariance matrix."""
    n, p = design.shape
    covariance = toeplitz(rho)[np.ix_(slot - slot[0], slot - slot[0])]
    inverse = np.linalg.inv(covariance)
    inner = design.T @ inverse @ design
    left = values - design @ np.linalg.solve(inner, design.T @ inverse @ values)
    rss = left @ inverse @ left
    logdets = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(inner)[1]
    return -0.5 * (logdets + (n - p) * np.log(rss)), rss / (n - p)


def test_restricted_likelihood_against_its_dense_twin():
    """The restricted likelihood with the whole covariance matrix gives the same weights, also across gaps."""
    rng = np.random.default_rng(1)
    slot = np.flatnonzero(rng.random(40) > 0.2)
    values = player(rng, slot.size)
    design = np.column_stack([np.ones(slot.size), slot - slot.mean()])
    model = fit_error_model(values, slot, design, phase_only=True)
    twins = [dense_twin(values, slot, design, np.insert(rho, 0, 1.0)) for rho in model.rho]
    log_likelihood, variance = np.array(twins).T
    doubt = min(max((slot.size - members.SHORT_TAKE) / (members.LONG_TAKE - members.SHORT_TAKE), 0.0), 1.0)
    prior = np.array([members.SLOW_DOUBT.get(phi, 1.0) ** doubt for phi in model.phi])
    weight = prior * np.exp(log_likelihood - log_likelihood.max())
    np.testing.assert_allclose(model.weight, weight / weight.sum(), atol=1e-9, rtol=0)
    np.testing.assert_allclose(model.sigma2, variance, atol=1e-6, rtol=0)


def test_long_memory_and_period_correction_against_their_dense_twin():
    """Durbin and Levinson's recursion gives the products and determinants of the whole covariance matrix."""
    rng = np.random.default_rng(7)
    n = 100
    table = np.vstack([np.cumsum(rng.standard_normal(n)), np.ones(n), np.arange(n) - (n - 1) / 2])
    found = explain_by_long_memory_and_period(table)
    for i, rho in enumerate(found.rho(n - 1)):
        covariance = toeplitz(np.insert(rho, 0, 1.0))
        gram = table @ np.linalg.solve(covariance, table.T)
        np.testing.assert_allclose(found.gram[i], gram, rtol=0, atol=1e-9 * np.abs(gram).max())
        assert found.logdet[i] == pytest.approx(np.linalg.slogdet(covariance)[1], abs=1e-9)


def test_memory_beyond_its_limit_is_an_autoregression():
    """400 strums, of which the last 128 count: the logarithm of the determinant is right to 1 (of 400 strums)."""
    table = np.random.default_rng(8).standard_normal((1, 400))
    found = explain_by_long_memory_and_period(table)
    for rho, logdet in zip(found.rho(399), found.logdet, strict=True):
        assert logdet == pytest.approx(np.linalg.slogdet(toeplitz(np.insert(rho, 0, 1.0)))[1], abs=1.0)
    combined = found.innovation(3, np.ones(1))
    assert float(combined @ combined) == pytest.approx(found.gram[3, 0, 0], rel=1e-9)


@pytest.mark.parametrize("hurst", [0.6, 0.8, 0.97])
def test_mean_of_fractional_noise_against_theory(hurst):
    """Mandelbrot & Van Ness 1968: the mean of n values of fractional noise varies as σ² n^(2H − 2), exactly."""
    n = 128
    covariance = toeplitz(members.fgn_autocorrelation(hurst, n - 1))
    assert covariance.mean() == pytest.approx(n ** (2 * hurst - 2), rel=1e-9)


def test_phase_and_period_autocorrelation_against_the_impulse_response():
    """ARMA: autocovariance is the sum of products of the impulse response (Box & Jenkins, from memory)."""
    response = lfilter([1.0, -1.0], [1.0, -1.3, 0.5], np.eye(1, 400)[0])
    product = np.correlate(response, response, "full")[399:]
    found = members.arma21_autocorrelation(1.3, -0.5, -1.0, 30)
    np.testing.assert_allclose(found, product[:31] / product[0], atol=1e-9, rtol=0)


def test_variance_of_a_mean_against_its_dense_twin():
    """c'Rc by Fourier transform equals the double sum over all pairs of strums."""
    rng = np.random.default_rng(2)
    slot = np.flatnonzero(rng.random(50) > 0.2)
    model = fit_error_model(player(rng, slot.size), slot, np.ones((slot.size, 1)))
    weights = rng.standard_normal(slot.size)
    distance = np.abs(slot[:, None] - slot[None, :])
    for i, found in enumerate(model.variance_of(weights)):
        rho = np.insert(model.rho[i], 0, 1.0)[distance]
        assert found == pytest.approx(model.sigma2[i] * (weights @ rho @ weights), rel=1e-9)


def test_expected_squares_about_the_line_against_their_dense_twin():
    """The residual squares that each way of hanging together expects are the trace of the residual's covariance; a
    model of one member has the interval of that alone (chi-square with no excess kurtosis)."""
    rng = np.random.default_rng(12)
    slot = np.flatnonzero(rng.random(50) > 0.2)
    n = slot.size
    design = np.column_stack([np.ones(n), slot - slot.mean()])
    model = fit_error_model(player(rng, n, left=0.9), slot, design)
    out = np.eye(n) - design @ np.linalg.pinv(design)
    distance = np.abs(slot[:, None] - slot[None, :])
    for i in range(0, len(model.rho), 7):
        rho = np.insert(model.rho[i], 0, 1.0)[distance]
        expected = np.sqrt(model.sigma2[i] * np.trace(out @ rho @ out) / (n - 2))
        alone = replace(model, weight=np.eye(len(model.rho))[i], excess_low=0.0, excess_high=0.0)
        ends = expected * np.sqrt((n - 2) / chi2.ppf([0.975, 0.025], n - 2))
        np.testing.assert_allclose(alone.scatter_interval(), ends, rtol=1e-6)


def test_the_jitter_of_slow_wander_is_that_of_takes_of_this_length():
    """Fractional noise of H = .9 about its line: the interval holds the standard deviation that such takes show (by
    simulation of 4000) in nine of ten, and is narrower than the value itself, which one of σ is not."""
    n, takes = 96, 60
    factor = np.linalg.cholesky(toeplitz(members.fgn_autocorrelation(0.9, n - 1)))
    rng = np.random.default_rng(13)
    minutes = np.arange(n) - (n - 1) / 2
    basis, _ = np.linalg.qr(np.column_stack([np.ones(n), minutes]))
    many = 10 * rng.standard_normal((4000, n)) @ factor.T
    left = many - many @ basis @ basis.T
    truth = float(np.sqrt(np.mean(left**2) * n / (n - 2)))
    found = [bare_figures(row, np.arange(n))["jitter_ms"] for row in many[:takes]]
    assert np.mean([e.low <= truth <= e.high for e in found]) >= 0.85  # of 60 at 95 %: fewer in 1 of 1000 runs
    assert np.median([(e.high - e.low) / e.value for e in found]) < 0.7


def test_interval_of_independent_strums_is_near_students_t():
    """For independent errors the mean's half width is Student's t, at most twice as wide for the doubt (theory)."""
    rng = np.random.default_rng(3)
    ratios = []
    for _ in range(60):
        values = 10 * rng.standard_normal(96)
        model = fit_error_model(values, np.arange(96), np.ones((96, 1)))
        ratios.append(float(model.half_width(np.full(96, 1 / 96))) / (1.985 * values.std(ddof=1) / np.sqrt(96)))
    assert 0.95 < np.median(ratios) < 2.0


def test_wandering_widens_the_interval_of_a_mean():
    """Autocorrelation φ widens a mean's standard error by √((1 + φ)/(1 − φ)), here √3 (theory, large n)."""
    rng = np.random.default_rng(4)
    values = player(rng, 4000)
    half = float(fit_error_model(values, np.arange(4000), np.ones((4000, 1))).half_width(np.full(4000, 1 / 4000)))
    assert half / (1.96 * values.std() / np.sqrt(4000)) == pytest.approx(np.sqrt(3), rel=0.12)


def test_p_value_and_interval_agree():
    """A sum whose interval just reaches 0 has p 0.05 (duality)."""
    rng = np.random.default_rng(5)
    model = fit_error_model(player(rng, 48), np.arange(48), np.ones((48, 1)))
    weights = np.full(48, 1 / 48)
    assert model.p_value(weights, float(model.half_width(weights))) == pytest.approx(0.05, abs=1e-6)


def test_bare_figures_against_measure_timing():
    """The fast path of the coverage cells is `measure_timing`'s own mean, jitter and drift, gaps included."""
    rng = np.random.default_rng(6)
    slot = np.flatnonzero(rng.random(60) > 0.15)
    offset_ms = player(rng, slot.size)
    bare, whole = bare_figures(offset_ms, slot), whole_figures(offset_ms, slot)
    for key in FIGURES:
        for part in ("value", "low", "high"):
            assert getattr(bare[key], part) == pytest.approx(getattr(whole[key], part), abs=1e-6), key


@pytest.mark.slow
@pytest.mark.parametrize("noise", NOISES)
@pytest.mark.parametrize("share", [0.5, 1.0, 1.5])
@pytest.mark.parametrize("n", [24, 96])
def test_coverage_of_simulated_players(share, n, noise):
    """Simulated linear phase correction: 95 % intervals cover 90 % and more, allowing 3 sd of 600 takes."""
    found = cell(share=share, n=n, kind=noise, takes=600, motor_ms=5.0, omit=0.1, whole=False)
    for key in FIGURES:
        assert found.covered[key] > 0.90 - 3 * 0.012, key
        assert found.given[key] == 1.0


def test_the_jitter_of_a_part_of_the_beat_is_that_of_its_own_strums() -> None:
    """Truth: sd 6 ms on the beat and 14 ms on the second part, 30 ms late, with a drift of 40 ms a minute, as drawn.

    Over 60 takes each part's mean jitter is its own sd, and 95 % intervals hold it as often as stated within chance (at
    least 52 of 60: binomial, p < .01).
    """
    slot = np.arange(96)
    line_s = 0.3 * slot
    part = slot % 2 + 1
    values: dict[int, list[float]] = {1: [], 2: []}
    held = {1: 0, 2: 0}
    for seed in range(60):
        noise = np.random.default_rng(seed).standard_normal(96) * np.where(part == 1, 6.0, 14.0)
        offset_ms = noise + 30.0 * (part == 2) + 40.0 * line_s / 60
        strums = PlacedStrums.of(
            line_s + offset_ms / 1e3, line_s, slot=slot, bar=slot // 8 + 1, beat=slot // 2 % 4 + 1, part=part
        )
        for number, jitter in jitter_by_part(strums, offset_ms, StrumErrors()).items():
            assert isinstance(jitter, Estimate)
            values[number].append(jitter.value)
            held[number] += jitter.low <= {1: 6.0, 2: 14.0}[number] <= jitter.high
    assert np.mean(values[1]) == pytest.approx(6.0, abs=0.3)
    assert np.mean(values[2]) == pytest.approx(14.0, abs=0.7)
    assert min(held.values()) >= 52


def test_a_part_with_few_strums_has_no_jitter_but_a_reason() -> None:
    """Truth: nine strums of the second part are fewer than the ten asked for."""
    slot = np.sort(np.concatenate([2 * np.arange(40), 2 * np.arange(9) + 1]))
    offset_ms = np.random.default_rng(3).normal(0.0, 8.0, slot.size)
    strums = PlacedStrums.of(
        0.3 * slot + offset_ms / 1e3,
        0.3 * slot,
        slot=slot,
        bar=slot // 8 + 1,
        beat=slot // 2 % 4 + 1,
        part=slot % 2 + 1,
    )
    timing = measure_timing(strums)
    assert [group.jitter_ms is None for group in timing.by_part] == [False, True]
    assert "the take has 9" in timing.absent["timing.by_part.2.jitter_ms"].reason
