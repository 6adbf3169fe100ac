"""Trend, variation and breaks against published examples and independent programs."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from strumclock.weeks.breaks import broken_line, flattening_p, jump
from strumclock.weeks.trend import mann_kendall, theil_sen
from strumclock.weeks.variation import variation

SEN_X, SEN_Y = [1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]
EPA = [10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15]
# Bacon & Watts (1971), height of a stagnant band of water against flow, as in R's segmented::stagnant
STAGNANT_X = (
    "-.80 .01 -.25 -.25 -.12 -.12 -.94 .11 .11 -.63 -.63 -1.39 -1.39 .70 .70 .34 1.19 .59 .85 .85 .99 .99 "
    ".25 -1.08 -1.08 .44 .34 .25"
)
STAGNANT_Y = (
    ".90 .51 .65 .67 .60 .59 .92 .43 .43 .81 .83 1.12 1.12 -.13 -.14 .25 -.65 -.01 -.30 -.33 -.46 -.43 .33 .99 1.03 "
    ".13 .24 .30"
)
GUM_H5_MEANS_UV = [172, 116, 13, 144, 106, 31, 60, 125, 163, 41]  # above 10 V
GUM_H5_SDS_UV = [60, 77, 111, 101, 67, 93, 80, 73, 88, 86]


def test_theil_sen_gives_the_example_of_sen_1968():
    """Sen (1968): slope 4, interval 3.71 to 4.38 at 93 %."""
    slope = theil_sen(SEN_X, SEN_Y, confidence=0.93)
    assert slope.per_unit == 4.0
    assert slope.low == pytest.approx(26 / 7, abs=1e-12)
    assert slope.high == pytest.approx(4.375, abs=1e-12)


def test_theil_sen_agrees_with_scipy():
    """scipy.stats.theilslopes; ours rounds ranks outwards, so that its interval holds scipy's."""
    from scipy.stats import theilslopes

    rng = np.random.default_rng(4)
    for n in (8, 15, 30, 60):
        x, y = np.arange(n) * 1.5, rng.normal(size=n)
        ours, theirs = theil_sen(x, y), theilslopes(y, x)
        assert ours.per_unit == pytest.approx(theirs.slope, abs=1e-12)
        assert ours.low <= theirs.low_slope + 1e-12
        assert ours.high >= theirs.high_slope - 1e-12


def test_theil_sen_interval_holds_the_slope_as_often_as_it_says():
    """By simulation: at least 93 % of 95 % intervals over 6 to 30 weeks hold the true slope."""
    rng = np.random.default_rng(9)
    for n in (6, 10, 30):
        found = [theil_sen(np.arange(n), 0.5 * np.arange(n) + rng.normal(size=n)) for _ in range(400)]
        assert np.mean([s.low <= 0.5 <= s.high for s in found]) > 0.93


def test_too_few_weeks_have_no_interval():
    """With five values not even the extreme slopes reach 95 %: 2/120 for each end, doubled by rounding outwards."""
    slope = theil_sen([0, 1, 2, 3, 4], [1, 2, 3, 4, 6])
    assert slope.low is None
    assert slope.high is None


def test_mann_kendall_gives_the_epa_example():
    """EPA QA/G-9S, page 109: S = 22, Var(S) = 155.33, Z = 1.685."""
    test = mann_kendall(EPA)
    assert test.s == 22
    assert test.var_s == pytest.approx(155.333, abs=1e-3)
    assert test.z == pytest.approx(1.685, abs=5e-4)


def test_mann_kendall_agrees_with_pymannkendall():
    """pymannkendall 1.4 on the EPA series and random ones with ties; its normal p is within 0.01 of the exact."""
    import pymannkendall

    rng = np.random.default_rng(2)
    for series in (EPA, *(rng.integers(0, 12, size=n).tolist() for n in (12, 25, 60, 90))):
        ours, theirs = mann_kendall(series), pymannkendall.original_test(series)
        assert ours.s == theirs.s
        assert ours.var_s == pytest.approx(theirs.var_s, abs=1e-9)
        assert ours.z == pytest.approx(theirs.z, abs=1e-9)
        assert ours.p == pytest.approx(theirs.p, abs=0.01)


def test_exact_p_counts_every_order_of_a_series_with_ties():
    """Against itself, the slow way: all 720 orders of six values with two pairs of ties."""
    series = [1, 1, 2, 3, 3, 5]
    s = mann_kendall(series).s
    every = [abs(mann_kendall(order).s) for order in itertools.permutations(series)]
    assert mann_kendall(series).p == pytest.approx(np.mean(np.array(every) >= s), abs=1e-12)


def test_exact_p_agrees_with_kendalls_table():
    """Hollander & Wolfe (1973), page 185: tau 0.4444, one-sided p 0.05972 (R's cor.test gives the same)."""
    x = [44.4, 45.9, 41.9, 53.3, 44.7, 44.1, 50.7, 45.2, 60.1]
    y = [2.6, 3.1, 2.5, 5.0, 3.6, 4.0, 5.2, 2.8, 3.8]
    ordered = [y[i] for i in np.argsort(x)]
    test = mann_kendall(ordered)
    assert test.s / 36 == pytest.approx(0.4444, abs=5e-5)
    assert test.p / 2 == pytest.approx(0.05972, abs=5e-6)


def test_variation_gives_gum_h5():
    """GUM H.5: s of the daily means 57 µV, pooled 85 µV, F = 2.25, s_B = 43 µV, u = 18 and 13 µV."""
    shape = np.array([-2, -1, 0, 1, 2]) / math.sqrt(2.5)  # mean 0, sd 1: any five values with the published mean and sd
    days = [mean + sd * shape for mean, sd in zip(GUM_H5_MEANS_UV, GUM_H5_SDS_UV, strict=True)]
    found = variation(days)
    assert found is not None
    assert (found.n_weeks, found.n_takes, found.within_dof) == (10, 50, 40)
    assert found.mean == pytest.approx(97, abs=0.5)
    assert found.means_sd == pytest.approx(57, abs=0.5)
    assert found.within_sd == pytest.approx(85, abs=0.5)
    assert found.f == pytest.approx(2.25, abs=0.02)
    assert found.between_sd == pytest.approx(43, abs=0.5)
    assert found.u_mean == pytest.approx(18, abs=0.5)
    assert found.u_pooled == pytest.approx(13, abs=0.5)


def test_variation_agrees_with_scipys_analysis_of_variance_for_unequal_weeks():
    """scipy.stats.f_oneway on weeks of one to five takes."""
    from scipy.stats import f_oneway

    rng = np.random.default_rng(7)
    weeks = [rng.normal(k / 3, 1, size=n) for k, n in enumerate((3, 1, 5, 2, 4))]
    theirs = f_oneway(*weeks)
    ours = variation(weeks)
    assert ours is not None
    assert ours.f == pytest.approx(theirs.statistic, abs=1e-10)
    assert ours.p == pytest.approx(theirs.pvalue, abs=1e-10)


def test_variation_needs_two_weeks_and_a_repeated_take():
    """What cannot be told is absent, not zero."""
    assert variation([[1.0, 2.0]]) is None
    assert variation([[1.0], [2.0], [3.0]]) is None


def test_broken_line_gives_the_stagnant_band():
    """R's segmented on `stagnant`: break 0.04111, slopes −0.42208 and −1.02060, residual sum of squares 0.0091402."""
    line = broken_line([float(v) for v in STAGNANT_X.split()], [float(v) for v in STAGNANT_Y.split()])
    assert line is not None
    assert line.at == pytest.approx(0.04111, abs=1e-5)
    assert line.before == pytest.approx(-0.42208, abs=1e-5)
    assert line.after == pytest.approx(-1.02060, abs=5e-5)
    assert line.rss == pytest.approx(0.0091402, abs=1e-7)


def test_jump_gives_the_nile():
    """R's strucchange on Nile: 28 years before, means 1097.75 and 849.97; least squares by trying all: 1597457.19."""
    import statsmodels.api as sm

    found = jump(sm.datasets.nile.load_pandas().data["volume"].to_numpy())
    assert found is not None
    assert found.n_before == 28
    assert found.before == pytest.approx(1097.75, abs=0.005)
    assert found.after == pytest.approx(849.97, abs=0.005)
    assert found.rss == pytest.approx(1597457.19, abs=0.01)
    assert found.u == 1617  # Pettitt's |U|
    assert found.p == 0.0005  # none of 1999 random orders comes near: Pettitt's own approximation is 3.6e-7


def test_jumps_are_seen_in_series_without_one_as_often_as_p_says():
    """By simulation: of 300 series of ten values without a jump about 5 % have p below 0.05."""
    rng = np.random.default_rng(6)
    p = [found.p for _ in range(300) if (found := jump(rng.normal(size=10))) is not None]
    assert 0.02 < np.mean(np.array(p) < 0.05) < 0.08


def test_flattening_is_seen_in_straight_lines_as_often_as_p_says():
    """By simulation: of straight lines with normal noise about 5 % have p below 0.05, whatever slope and noise are."""
    rng = np.random.default_rng(1)
    x = np.array([0, 1, 2, 4, 5, 6, 9, 10, 11, 12], float)
    p = np.array(
        [
            flattening_p(x, slope * x + scale * rng.normal(size=x.size))
            for slope, scale in ((0, 1), (3, 0.2))
            for _ in range(300)
        ]
    )
    assert 0.03 < np.mean(p < 0.05) < 0.075


def test_a_line_that_steepens_is_not_flattening():
    """Only breaks that lower the slope count."""
    x = np.arange(12.0)
    assert flattening_p(x, np.maximum(x - 6, 0)) == 1.0
    assert flattening_p(x, np.minimum(x, 6)) == 0.0005
