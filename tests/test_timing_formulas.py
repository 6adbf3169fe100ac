"""The small formulas of timing, each by itself, against tables, scipy and arithmetic written out here."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats

from strumclock.errors import Absent
from strumclock.timing import Estimate, PlacedStrums, intervals
from strumclock.timing.changes import change_contrasts, contrast_difference, mean_contrast, measuring_of_mean
from strumclock.timing.estimate import t_factor
from strumclock.timing.groups import explained
from strumclock.timing.placed import StrumErrors

RNG = np.random.default_rng(20)
START = RNG.bit_generator.state


@pytest.fixture(autouse=True)
def _same_numbers():
    """Every test draws the same numbers, whichever others run."""
    RNG.bit_generator.state = START


def values_of(estimate: Any) -> list[float]:
    """The four numbers."""
    assert isinstance(estimate, Estimate)
    return list(estimate.as_dict().values())


def model_of(n: int, **parts: Any) -> Any:
    """A stand-in for how errors hang together: n strums whose errors are independent, unless told."""
    independent: dict[str, Any] = {"dof": float(n - 2), "inflation": lambda _: 1.0}
    return SimpleNamespace(**(independent | parts))


@pytest.mark.parametrize(("freedom", "factor"), [(1, 12.706), (2, 4.303), (5, 2.571), (10, 2.228), (30, 2.042)])
def test_students_factor_against_the_table_of_the_nist_handbook(freedom, factor):
    """NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, column .975."""
    assert t_factor(freedom) == pytest.approx(factor, abs=5e-4)


# --- chord changes ----------------------------------------------------------------------------------------------------


def strums_with(at_change: list[bool]) -> PlacedStrums:
    """One strum a second."""
    n = len(at_change)
    return PlacedStrums.of(np.arange(n), np.arange(n), slot=np.arange(n), at_change=at_change)


@pytest.mark.parametrize(
    "marks", ["100100100", "001100001", "000000001", "110000011", "1000", "0001", "010", "11011", "0010110000"]
)
def test_a_change_against_its_neighbours_by_a_plain_loop(marks):
    """Two strums that are no changes before and two after; of one side where the other has none (arithmetic here)."""
    mark = [m == "1" for m in marks]
    values = RNG.normal(size=len(mark))
    expected = []
    for i in (i for i, change in enumerate(mark) if change):
        before = [values[j] for j in range(i) if not mark[j]][-2:]
        after = [values[j] for j in range(i + 1, len(mark)) if not mark[j]][:2]
        sides = [sum(side) / len(side) for side in (before, after) if side]
        expected.append(values[i] - sum(sides) / len(sides))
    np.testing.assert_allclose(change_contrasts(values, strums_with(mark)), expected, atol=1e-12, rtol=0)


def test_changes_alone_have_nothing_to_be_held_against():
    """A take of nothing but changes: each contrast is NaN, one for each."""
    found = change_contrasts(np.arange(4.0), strums_with([True] * 4))
    assert found.shape == (4,)
    assert np.isnan(found).all()


def hall(t: float, a: float) -> float:
    """Hall 1992, J. R. Stat. Soc. B 54, 221: t + a (2t² + 1)/6 + a² t³/27 with a the skewness over √n (from memory)."""
    return t + a * (2 * t * t + 1) / 6 + a * a * t**3 / 27


@pytest.mark.parametrize("contrasts", [[3.0, 1.0, 4.0, 1.0, 9.0, 30.0], [-8.0, -1.0, 0.0, 1.0], [1.0, 1.0, 90.0]])
def test_the_mean_of_contrasts_against_halls_transformation(contrasts):
    """At each end the transformed t statistic is Student's: the interval is the inverse of the probability."""
    found = mean_contrast(np.array(contrasts), 0.3)
    assert found is not None
    size, p = found
    k = len(contrasts)
    root = np.std(contrasts, ddof=1) / math.sqrt(k)
    skew = min(max(stats.skew(contrasts) * k / (k + 4), -2.0), 2.0) / math.sqrt(k)
    t = stats.t.ppf(0.975, k - 1)
    mean = float(np.mean(contrasts))
    assert (size.value, size.u) == (pytest.approx(mean), 0.3)
    assert hall((mean - size.low) / root, skew) == pytest.approx(t, abs=1e-6)
    assert hall((mean - size.high) / root, skew) == pytest.approx(-t, abs=1e-6)
    assert p == pytest.approx(2 * stats.t.sf(abs(hall(mean / root, skew)), k - 1), abs=1e-9)


def test_a_skewness_beyond_an_exponentials_is_not_believed():
    """One of forty far off: its sample skewness is 6, and 2 is corrected for (arithmetic here)."""
    contrasts = np.array([0.0] * 39 + [40.0])
    found = mean_contrast(contrasts, 0.0)
    assert found is not None
    root, skew = contrasts.std(ddof=1) / math.sqrt(40), 2 / math.sqrt(40)
    assert hall((1.0 - found[0].low) / root, skew) == pytest.approx(stats.t.ppf(0.975, 39), abs=1e-6)
    turned = mean_contrast(-contrasts, 0.0)
    assert turned is not None
    assert turned[0].high == pytest.approx(-found[0].low)


@pytest.mark.parametrize(("all_of", "p"), [(0.0, 1.0), (5.0, 0.0)])
def test_contrasts_that_are_all_the_same_have_no_interval(all_of, p):
    """Without scatter the mean is what it is: chance explains it only where it is 0."""
    size = Estimate(value=all_of, low=all_of, high=all_of, u=0.2)
    assert mean_contrast(np.full(3, all_of), 0.2) == (size, p)
    assert contrast_difference(np.full(3, all_of), np.zeros(4), 0.2) == (size, p)


def test_fewer_than_three_contrasts_tell_nothing():
    """Two have a scatter with one degree of freedom; nothing is said of them."""
    assert mean_contrast(np.array([1.0, 2.0]), 0.0) is None
    assert contrast_difference(np.array([1.0, 2.0]), np.arange(9.0), 0.0) is None
    assert contrast_difference(np.arange(9.0), np.array([1.0, 2.0]), 0.0) is None
    assert contrast_difference(np.arange(3.0), np.array([1.0, 2.0, 5.0]), 0.0) is not None


@pytest.mark.parametrize("sizes", [(3, 5), (12, 4), (7, 7)])
def test_the_difference_of_contrasts_against_scipys_welch(sizes):
    """scipy.stats.ttest_ind with unequal variances gives the same p and interval."""
    some, others = RNG.normal(4, 9, sizes[0]), RNG.normal(0, 2, sizes[1])
    found = contrast_difference(some, others, 0.7)
    assert found is not None
    welch = stats.ttest_ind(some, others, equal_var=False)
    ends = welch.confidence_interval(0.95)
    assert values_of(found[0]) == pytest.approx([some.mean() - others.mean(), ends.low, ends.high, 0.7], abs=1e-9)
    assert found[1] == pytest.approx(welch.pvalue, abs=1e-9)


def test_measuring_of_a_mean_is_the_root_of_the_squares_over_the_number():
    """GUM 5.1.2 for a mean of independent values; of none it is 0."""
    assert measuring_of_mean(np.array([3.0, 4.0])) == 2.5
    assert measuring_of_mean(np.array([2.0])) == 2.0
    assert measuring_of_mean(np.empty(0)) == 0.0


# --- intervals --------------------------------------------------------------------------------------------------------


def test_a_weighted_sum_has_its_half_width_and_its_measuring():
    """GUM 5.1.2: u² is the sum of (weight · u)²; the interval is the error model's."""
    weights, u = np.array([0.5, -1.0, 2.0]), np.array([1.0, 2.0, 0.25])
    found = intervals.combination(7.0, weights, model_of(3, half_width=lambda w: 2 * w.sum()), u)
    assert values_of(found) == pytest.approx([7.0, 4.0, 10.0, math.sqrt(0.25 + 4 + 0.25)])


@pytest.mark.parametrize("inflation", [1.0, 2.5])
def test_the_medians_interval_lies_at_ranks(inflation):
    """The share below the median varies as √(1/4n); Student's t, of the values themselves (arithmetic here)."""
    values, u = RNG.normal(5, 9, 40), np.full(40, 0.4)
    asked = []

    def inflated(correlation: Any) -> float:
        asked.append(correlation(np.array([0.0, 0.5, 1.0])))
        return inflation

    found = intervals.median(values, model_of(40, inflation=inflated), u)
    reach = stats.t.ppf(0.975, 38) * math.sqrt(inflation / 160)
    low, high = np.quantile(values, [0.5 - reach, 0.5 + reach])
    measuring = math.sqrt(math.pi / 2) * 0.4 / math.sqrt(40)
    assert values_of(found) == pytest.approx([np.median(values), low, high, measuring])
    # Signs of normal values with correlation 1/2 agree in 2 of 3 cases: their correlation is 1/3.
    np.testing.assert_allclose(asked[0], [0.0, 1 / 3, 1.0], atol=1e-12)


def test_the_medians_interval_ends_where_the_values_end():
    """Few strums that hang together much leave the whole range."""
    found = intervals.median(np.array([1.0, 2.0, 9.0]), model_of(3, dof=1.0), np.zeros(3))
    assert values_of(found) == [2.0, 1.0, 9.0, 0.0]


@pytest.mark.parametrize("within", [0, 1, 17, 40])
def test_a_share_against_scipys_wilson_interval(within):
    """scipy.stats.binomtest(…).proportion_ci(method="wilson"): for independent strums the same."""
    deviation = np.where(np.arange(40) < within, -3.0, 50.0)
    found = intervals.share(deviation, np.full(40, 20.0), model_of(40), np.full(40, 1e-3))
    wilson = stats.binomtest(within, 40).proportion_ci(0.95, method="wilson")
    assert values_of(found) == pytest.approx([within / 40, wilson.low, wilson.high, 0.0], abs=1e-5)


def test_a_share_of_strums_that_hang_together_counts_fewer():
    """A band about 0 hangs together with the square of the correlation; 40 strums count as 10 (scipy's Wilson)."""
    asked = []

    def inflated(correlation: Any) -> float:
        asked.append(correlation(np.array([-0.5, 0.3])))
        return 4.0

    deviation = np.where(np.arange(40) < 28, 20.0, -21.0)
    found = intervals.share(deviation, np.full(40, 20.0), model_of(40, inflation=inflated), np.full(40, 0.5))
    wilson = stats.binomtest(7, 10).proportion_ci(0.95, method="wilson")
    assert values_of(found)[:3] == pytest.approx([0.7, wilson.low, wilson.high], abs=1e-5)
    np.testing.assert_allclose(asked[0], [0.25, 0.09])
    # On the edge a strum lies on either side: ½ · ½; 1 ms off, by half a millisecond known, with ½ e^(−½ · 2²).
    other = 0.5 * math.exp(-2)
    assert found.u == pytest.approx(math.sqrt(28 * 0.25 + 12 * other * (1 - other)) / 40)


def scatter_twin(residual, dof, ends, u, share, slip):
    """The player's standard deviation, strum by strum."""
    n, doubt = len(residual), 0.7
    spread = math.sqrt(sum(r * r for r in residual) / dof)
    typical = max(1.4826 * float(np.median([abs(r) for r in residual])), 0.1 * spread)
    trust = [1 / (1 + share * (x / typical) ** 2) ** 2 for x in u]
    trust = [x / sum(trust) for x in trust]
    square = sum(w * r * r for w, r in zip(trust, residual, strict=True)) * n / dof
    stated = sum(w * x * x for w, x in zip(trust, u, strict=True))
    value = math.sqrt(square - share * stated)
    counted = 1 / sum(w * w for w in trust)
    error2 = sum((w * r) ** 2 * (x * x + slip * slip) for w, r, x in zip(trust, residual, u, strict=True)) / value**2
    doubted = math.sqrt((doubt * stated) ** 2 + slip**4) / (2 * value)
    uncounted2 = value**2 * (1 / counted - 1 / n) / 2
    wider = math.sqrt(n / counted)
    low = value - math.hypot(value * (1 - (ends[0] / spread) ** wider), 1.96 * doubted)
    high = value + math.hypot(value * ((ends[1] / spread) ** wider - 1), 1.96 * doubted)
    return [value, low, high, math.sqrt(error2 + doubted**2 + uncounted2)]


@pytest.mark.parametrize("slip", [0.0, 1.5])
def test_the_scatter_against_its_formula_strum_by_strum(slip):
    """Badly known strums count less, what measuring adds is taken off, the doubts add as squares (loops here)."""
    residual_ms, u = RNG.normal(0, 10, 30), RNG.uniform(0.5, 4, 30)
    u[3] = 25.0
    ends = (7.0, 15.0)
    found = intervals.scatter(
        residual_ms, 27.0, model_of(30, scatter_interval=lambda: ends), u, error_share=0.6, slip=slip
    )
    assert values_of(found) == pytest.approx(scatter_twin(residual_ms, 27.0, ends, u, 0.6, slip), abs=1e-9)


def test_equal_uncertainties_are_taken_off_as_squares():
    """√(s² − u²) for u known to be the errors' own standard deviation (GUM 5.1.2)."""
    found = intervals.scatter(
        np.array([5.0, -5.0] * 8),
        15.0,
        model_of(16, scatter_interval=lambda: (4.0, 7.0)),
        np.full(16, 2.0),
        error_share=1,
    )
    assert values_of(found)[0] == pytest.approx(math.sqrt(25 * 16 / 15 - 4))


def test_a_scatter_no_larger_than_the_measurings_is_absent():
    """With the share and its doubt at 0.5 + 0.7 the border lies at s = √1.2 u, and the reason has the numbers."""
    model = model_of(16, scatter_interval=lambda: (4.0, 7.04))
    residual_ms = np.array([5.0, -5.0] * 8)
    known = 5 / math.sqrt(1.2)
    found = intervals.scatter(residual_ms, 16.0, model, np.full(16, known * 1.0001))
    assert isinstance(found, Absent)
    assert "scatter by 5.0 ms" in found.reason
    assert "(4.6 ms)" in found.reason
    assert "less than 7.0 ms" in found.reason
    assert isinstance(intervals.scatter(residual_ms, 16.0, model, np.full(16, known * 0.9999)), Estimate)


@pytest.mark.parametrize("slots", [np.arange(12), np.array([0, 1, 2, 3, 5, 6, 7, 8, 9, 11, 12, 13])])
def test_the_correlations_measuring_against_numerical_derivatives(slots):
    """GUM 5.1.2: each strum moved by a little, how far does the autocorrelation go (differences here)."""
    residual_ms, u = RNG.normal(0, 10, 12), RNG.uniform(0.2, 2, 12)
    residual_ms -= residual_ms.mean()
    near = np.diff(slots) == 1

    def of(r: np.ndarray) -> float:
        return float((r[:-1] * r[1:])[near].mean() * 11 / (r @ r))

    step = 1e-5
    moves = [(of(residual_ms + step * e) - of(residual_ms - step * e)) / (2 * step) for e in np.eye(12)]
    model = model_of(12, rho1_interval=lambda: (-0.9, 0.95))
    found = intervals.correlation(residual_ms, slots, model, u)
    assert values_of(found) == pytest.approx([of(residual_ms), -0.9, 0.95, np.linalg.norm(moves * u)], abs=1e-6)


def test_the_correlation_needs_neighbours_for_half_of_the_strums():
    """Four pairs of eight strums are enough, three are not."""
    residual_ms, model = RNG.normal(0, 10, 8), model_of(8, rho1_interval=lambda: (-1.0, 1.0))
    enough = intervals.correlation(residual_ms, np.array([0, 1, 5, 6, 10, 11, 15, 16]), model, np.ones(8))
    assert isinstance(enough, Estimate)
    few = intervals.correlation(residual_ms, np.array([0, 1, 5, 6, 10, 11, 15, 17]), model, np.ones(8))
    assert isinstance(few, Absent)
    assert "only 3 of 8" in few.reason


# --- what parts of the beat explain -----------------------------------------------------------------------------------


def test_the_explained_share_has_the_interval_of_a_non_central_f_ratio():
    """Forty strums, the second parts later: the ends solve P(F' ≤ f) = .975 and .025 (scipy's ncf), share λ / (λ + n);
    f is the mean square that the parts explain over the one that is left (Steiger 2004, for independent errors)."""
    n = 40
    line = np.column_stack([np.ones(n), np.linspace(-1, 1, n)])
    design = np.column_stack([line, np.arange(n) % 2 - 0.5])
    offset_ms = 12.0 * (np.arange(n) % 2) + RNG.normal(0, 8, n)
    independent = SimpleNamespace(
        variance_of=lambda rows: np.ones((len(rows), 1)),
        sigma2=np.ones(1),
        weight=np.ones(1),
        scatter_interval=lambda: (7.0, 9.0),
    )
    models: Any = SimpleNamespace(line=line, within_design=design, within=independent)
    _, share = explained(offset_ms, models, np.zeros(n), StrumErrors())
    assert isinstance(share, Estimate)

    def left(columns):
        return float(np.linalg.lstsq(columns, offset_ms, rcond=None)[1][0])

    f = (left(line) - left(design)) / (left(design) / (n - 3))
    ends = [optimize.brentq(lambda x, p=p: stats.ncf.cdf(f, 1, n - 3, x) - p, 1e-9, 200) for p in (0.975, 0.025)]
    assert (share.low, share.high) == pytest.approx([x / (x + n) for x in ends], rel=1e-3)
    assert share.value == pytest.approx(1 - (n - 2) / (n - 3) * left(design) / left(line))


def test_what_is_not_told_of_a_strum_is_the_first_of_all():
    """Bar, beat and part are 1 and its time is exact where nothing is told (the docstring)."""
    strums = PlacedStrums.of(np.arange(4), np.arange(4), slot=np.arange(4))
    assert [set(getattr(strums, name)) for name in ("bar", "beat", "part", "u_s")] == [{1}, {1}, {1}, {0.0}]
