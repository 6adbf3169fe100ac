"""Lines, clocks, columns, questions and error models of timing, against scipy, dense twins and arithmetic done here."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats
from scipy.linalg import toeplitz

from strumclock.errors import Absent, UsageError
from strumclock.timing import (
    Anchoring,
    Estimate,
    Group,
    PlacedStrums,
    StrumErrors,
    fit_line,
    lag1,
    questions as asking_all,
    sound_path,
)
from strumclock.timing.aligned import errors_of
from strumclock.timing.asking import Asked, Question, questions
from strumclock.timing.clocks import played_bpm, with_clock
from strumclock.timing.design import beside, independent, indicators, residual
from strumclock.timing.error_model import fit_error_model
from strumclock.timing.groups import swing_place

RNG = np.random.default_rng(21)
START = RNG.bit_generator.state


@pytest.fixture(autouse=True)
def _same_numbers():
    """Every test draws the same numbers, whichever others run."""
    RNG.bit_generator.state = START


def estimate(value: float, low: float, high: float, u: float = 0.0) -> Estimate:
    """The four numbers in a row."""
    return Estimate(value=value, low=low, high=high, u=u)


# --- the straight line and the autocorrelation ------------------------------------------------------------------------


@pytest.mark.parametrize("n", [3, 4, 30])
def test_a_line_against_scipys_linregress(n):
    """scipy.stats.linregress: slope, its standard error, the height anywhere."""
    x, y = RNG.uniform(10, 20, n), RNG.normal(100, 9, n)
    line, known = fit_line(x, y), stats.linregress(x, y)
    height = known.intercept + known.slope * 12.5
    assert [line.slope, line.slope_u, line.at(12.5)] == pytest.approx([known.slope, known.stderr, height], abs=1e-9)
    assert (line.middle_x, line.middle_y) == (pytest.approx(x.mean()), pytest.approx(y.mean()))
    left = y - known.intercept - known.slope * x
    np.testing.assert_allclose(line.residual, left, atol=1e-9, rtol=0)
    assert line.scatter == pytest.approx(math.sqrt(left @ left / (n - 2)))


def test_what_has_no_line_or_no_autocorrelation_is_refused_with_its_number():
    """Two points have a line but no scatter; three at one place have none; equal values have no autocorrelation."""
    with pytest.raises(UsageError, match="3 points at 2 places or more; got 2"):
        fit_line([0, 1], [0, 1])
    with pytest.raises(UsageError, match="got 4"):
        fit_line([1, 1, 1, 1], [0, 1, 2, 5])
    with pytest.raises(UsageError, match="3 values or more that differ; got 2"):
        lag1([0, 1])
    with pytest.raises(UsageError, match="got 3"):
        lag1([2, 2, 2])
    with pytest.raises(UsageError, match="no two are"):
        lag1([1, 2, 4], slot=[0, 2, 4])
    assert lag1([0, 1, 5]) == pytest.approx((2 * 1 - 1 * 3) / (4 + 1 + 9))


def test_neighbours_across_gaps_are_none():
    """The mean product of the pairs in neighbouring slots, times n − 1, over the squares (arithmetic here)."""
    values, slot = RNG.normal(size=9), np.array([2, 3, 5, 6, 7, 11, 13, 14, 20])
    about = values - values.mean()
    pairs = [about[i] * about[i + 1] for i in range(8) if slot[i + 1] - slot[i] == 1]
    assert lag1(values, slot) == pytest.approx(sum(pairs) / len(pairs) * 8 / sum(about**2))


# --- clocks and the air -----------------------------------------------------------------------------------------------


def test_a_known_clock_widens_a_drift_by_its_rates_uncertainty():
    """1 ppm is 0.06 ms a minute; independent parts add as squares (GUM 5.1.2), 1.96 standard uncertainties each."""
    found = with_clock(estimate(10, 7, 13, 0.8), anchoring=Anchoring(rate_u_ppm=20))
    half = math.hypot(3, 1.96 * 1.2)
    assert list(found.as_dict().values()) == pytest.approx([10, 10 - half, 10 + half, math.hypot(0.8, 1.2)])


def test_clocks_that_nothing_compares_differ_by_100_ppm_at_most():
    """A rectangular distribution ends at ±6 ms a minute and has a standard deviation of 6/√3 (GUM 4.3.7)."""
    for rate_u_ppm in (0.0, 50.0, 100 / math.sqrt(3)):
        found = with_clock(estimate(10, 7, 13, 0.8), anchoring=Anchoring(clock_known=False, rate_u_ppm=rate_u_ppm))
        half = math.hypot(3, 6)
        assert list(found.as_dict().values()) == pytest.approx(
            [10, 10 - half, 10 + half, math.hypot(0.8, 6 / math.sqrt(3))]
        )
    worse = with_clock(estimate(10, 7, 13, 0.8), anchoring=Anchoring(clock_known=False, rate_u_ppm=80.0))
    half = math.hypot(3, 1.96 * 4.8)
    assert list(worse.as_dict().values()) == pytest.approx([10, 10 - half, 10 + half, math.hypot(0.8, 4.8)])


def test_the_tempo_that_a_drift_amounts_to():
    """Who loses 60 ms a minute needs 60.06 s for what the grid has in 60: 100 bpm become 100/1.001 (arithmetic)."""
    found = played_bpm(estimate(60, 30, 120, 6), np.full(5, 0.6))
    assert isinstance(found, Estimate)
    value = 100 / 1.001
    assert [found.value, found.low, found.high] == pytest.approx([value, 100 / 1.002, 100 / 1.0005], abs=1e-9)
    assert found.u == pytest.approx(value * 6 / 60_000)


def test_a_tempo_map_and_a_drift_too_wide_have_no_tempo():
    """Beats that differ by half a percent are still one tempo; a drift of half the tempo leaves none."""
    drift = estimate(0, -1, 1)
    assert isinstance(played_bpm(drift, [0.5, 0.5024]), Estimate)
    changing = played_bpm(drift, [0.5, 0.5026])
    assert isinstance(changing, Absent)
    assert changing.code == "tempo-changes"
    assert isinstance(played_bpm(estimate(0, -30_000, 30_000), [0.5]), Estimate)
    for low, high in ((-30_001, 10), (-10, 30_001)):
        wide = played_bpm(estimate(0, low, high), [0.5])
        assert isinstance(wide, Absent)
        assert wide.code == "scatter-too-large"


@pytest.mark.parametrize("told", list(itertools.product([None, 0.7], repeat=4)))
def test_the_airs_bias_and_what_is_not_told_of_it(told):
    """(guitar→mic − click→mic) − (guitar→ear − click→ear) over 343 m/s; 0 to 2 m where not told: 1 m ± 2/√12."""
    names = ("guitar_to_mic_m", "click_to_mic_m", "guitar_to_ear_m", "click_to_ear_m")
    found = sound_path(**dict(zip(names, told, strict=True)))
    metres = [1.0 if x is None else x for x in told]
    bias_m = metres[0] - metres[1] - metres[2] + metres[3]
    assert found.bias_s == pytest.approx(bias_m / 343, abs=1e-12)
    assert found.u_s == pytest.approx(math.sqrt(told.count(None) * 4 / 12) / 343)


@pytest.mark.parametrize("metres", [-0.01, math.inf, math.nan])
def test_a_distance_is_none_below_nothing(metres):
    """The refusal names the distance, what came and what to do."""
    with pytest.raises(UsageError, match=f"guitar to ear must be 0 m or more; got {metres!r}; leave it out"):
        sound_path(guitar_to_ear_m=metres)


# --- columns ----------------------------------------------------------------------------------------------------------


def test_a_columns_part_beside_others_against_least_squares():
    """numpy's lstsq of all columns together gives the same size, and the same residual."""
    mark, values = (np.arange(20) % 3 == 0).astype(float), RNG.normal(size=20)
    others = np.column_stack([np.ones(20), np.arange(20) ** 2])
    weights = beside(mark, others)
    assert weights is not None
    every = np.column_stack([others, mark])
    fit = np.linalg.lstsq(every, values, rcond=None)[0]
    assert weights @ values == pytest.approx(fit[2])
    np.testing.assert_allclose(residual(values, every), values - every @ fit, atol=1e-12)


def test_a_column_is_hidden_where_a_tenth_of_it_is_left():
    """A column that others explain to more than nine tenths of its squares is not told apart from them."""
    n, ones = 400, np.ones((400, 1))
    base, noise = np.repeat([1.0, -1.0], 200), np.tile([1.0, -1.0], 200)  # at right angles, mean 0, variance 1
    for share, told in ((0.08, False), (0.12, True)):
        column = math.sqrt(1 - share) * base + math.sqrt(share) * noise
        others = np.column_stack([ones, base])
        assert (beside(column, others) is not None) is told
        assert independent(others, column[:, None]).shape == (n, 3 if told else 2)
    # Beside nothing a column of ones is the mean.
    alone = beside(np.ones(n), np.empty((n, 0)))
    assert alone is not None
    np.testing.assert_allclose(alone, 1 / n)


def test_indicators_and_what_is_already_spanned():
    """One column a level but the first; a column twice is kept once."""
    marks = indicators(np.array([3, 1, 1, 2]))
    assert marks.tolist() == [[0, 1], [0, 0], [0, 0], [1, 0]]
    design = np.ones((4, 1))
    twice = independent(design, np.column_stack([marks, marks[:, :1]]))
    np.testing.assert_array_equal(twice, np.column_stack([design, marks]))


# --- how errors hang together -----------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def fitted() -> tuple[np.ndarray, Any]:
    """A take of 24 strums with gaps, and its error model."""
    slot = np.array([0, 1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12, 14, 15, 16, 17, 18, 19, 20, 21, 22, 24, 25, 26])
    values = np.cumsum(RNG.normal(size=24)) + RNG.normal(0, 3, 24)
    return values, fit_error_model(values, slot, np.ones((24, 1)))


def test_intervals_and_probabilities_against_scipys_t_mixture(fitted):
    """Each member's Student t by scipy.stats, its variance from the whole matrix; the mixture solved by brentq."""
    _, model = fitted
    apart = np.abs(np.subtract.outer(model.slot, model.slot))
    for weights in (np.full(24, 1 / 24), RNG.normal(size=24)):
        rho = np.insert(model.rho, 0, 1.0, axis=1)
        variance = np.array([s2 * weights @ r[apart] @ weights for s2, r in zip(model.sigma2, rho, strict=True)])
        np.testing.assert_allclose(model.variance_of(weights), variance, atol=1e-9)
        scale = np.sqrt(variance)
        for level in (0.95, 0.8):

            def missing(x: float, level: float = level, scale: np.ndarray = scale) -> float:
                return float(model.weight @ stats.t.cdf(x / scale, model.dof)) - (0.5 + level / 2)

            assert float(model.half_width(weights, level)) == pytest.approx(optimize.brentq(missing, 0, 1e3), rel=1e-4)
        p = 2 * model.weight @ stats.t.sf(1.3 / np.sqrt(variance + 0.25), model.dof)
        assert model.p_value(weights, -1.3, extra_u=0.5) == pytest.approx(min(1, p))


def test_the_interval_of_the_scatter_against_scipys_chi_square(fitted):
    """At each end the mixture of scaled χ² distributions has its share, by scipy.stats.

    A take's residual squares over their freedom come to σ² (n − Σ R/n) / (n − 1) on average when its mean is taken out
    (the whole matrix R, here); heavy tails lower the freedom.
    """
    _, model = fitted
    apart = np.abs(np.subtract.outer(model.slot, model.slot))
    rho = np.insert(model.rho, 0, 1.0, axis=1)
    square = np.array([s2 * (24 - r[apart].sum() / 24) / 23 for s2, r in zip(model.sigma2, rho, strict=True)])
    for level in (0.95, 0.5):
        ends = model.scatter_interval(level)
        shares, excesses = ((1 - level) / 2, (1 + level) / 2), (model.excess_low, model.excess_high)
        for end, share, excess in zip(ends, shares, excesses, strict=True):
            dof = model.dof / (1 + excess / 2)
            below = model.weight @ stats.chi2.sf(dof * square / end**2, dof)
            assert below == pytest.approx(share, abs=1e-6)


def test_how_much_more_a_mean_of_marks_varies(fitted):
    """Σ over all pairs of the marks' correlation, over n (the whole matrix, here)."""
    _, model = fitted
    apart = np.abs(np.subtract.outer(model.slot, model.slot))
    rho = np.insert(model.rho, 0, 1.0, axis=1)
    of_squares = [float((r[apart] ** 2).sum()) / 24 for r in rho]
    assert model.inflation(np.square) == pytest.approx(model.weight @ of_squares)


def test_quantiles_of_a_figure_lie_between_the_grids_values(fitted):
    """Equal weights at 1, 2, 3: the middle is 2, and a third lies half a step below it (arithmetic)."""
    _, model = fitted
    like = SimpleNamespace(weight=np.array([0.25, 0.25, 0.25, 0.25]))
    found = type(model).quantiles(like, np.array([1.0, 3.0, 1.0, 5.0]), (0.25, 0.5, 0.625, 0.99))
    assert found == pytest.approx([1.0, 2 + 1 / 3, 3.0, 5.0])


def test_the_members_are_weighed_by_their_whole_matrices(fitted):
    """σ² of every member against generalised least squares with its dense correlation matrix (gaps counted)."""
    values, model = fitted
    apart = model.slot - model.slot[0]
    phase = np.isfinite(model.phi)
    for rho, sigma2 in zip(model.rho[phase], model.sigma2[phase], strict=True):
        inverse = np.linalg.inv(toeplitz(np.insert(rho, 0, 1.0))[np.ix_(apart, apart)])
        ones = np.ones(24)
        left = values - (ones @ inverse @ values) / (ones @ inverse @ ones)
        assert sigma2 == pytest.approx(left @ inverse @ left / 23)


# --- what is asked ----------------------------------------------------------------------------------------------------


def asked_of(offset_ms: np.ndarray, *, anchor: str = "recorded-click", **places: Any) -> Asked:
    """A take of strums every half second, as the questions are put to it."""
    n = len(offset_ms)
    lines = 0.5 * np.arange(n)
    strums = PlacedStrums.of(lines + offset_ms / 1e3, lines, slot=np.arange(n), beat_s=1.0, **places)
    minutes = (lines - lines.mean()) / 60
    design = np.column_stack([np.ones(n), minutes])
    return Asked(
        strums=strums,
        anchoring=Anchoring(anchor=anchor),
        offset_ms=offset_ms,
        u_ms=np.full(n, 0.5),
        shared_u_ms=1.5,
        model=fit_error_model(offset_ms, strums.slot, design),
        design=design,
        audible_ms=6.0,
    )


def test_a_place_is_asked_about_from_three_strums_on_and_while_three_lie_elsewhere():
    """Of two parts one question; of three beats one each; a beat with two strums none."""
    beat, part = np.array([1] * 10 + [2] * 7 + [3] * 3), np.array([1, 2] * 10)
    kinds = [(q.kind, q.where, q.other) for q in questions(asked_of(RNG.normal(0, 9, 20), beat=beat, part=part))]
    assert kinds[0] == ("placement", None, None)
    assert kinds[1] == ("drift", None, None)
    assert [k for k in kinds if k[0] == "beat"] == [("beat", 1, None), ("beat", 2, None), ("beat", 3, None)]
    assert [k for k in kinds if k[0] == "part"] == [("part", 1, 2)]
    beat = np.array([1] * 10 + [2] * 8 + [3] * 2)
    kinds = [(q.kind, q.where, q.other) for q in questions(asked_of(RNG.normal(0, 9, 20), beat=beat))]
    assert [k for k in kinds if k[0] == "beat"] == [("beat", 1, None), ("beat", 2, None)]


def test_without_a_click_nothing_is_asked_of_the_placement():
    """A fitted grid knows no placement; a tempo taken from the strums no drift and no step."""
    take = asked_of(RNG.normal(0, 9, 30), anchor="fitted")
    assert {q.kind for q in questions(take)} == {"drift", "step"}
    free = Anchoring(anchor="fitted", tempo_estimated=True)
    strums = take.strums
    assert questions(SimpleNamespace(strums=strums, anchoring=free, minutes=take.minutes)) == []  # type: ignore[arg-type]


def test_a_step_is_looked_for_with_eight_strums_on_either_side():
    """Sixteen strums have one place for a step, searched once; fifteen none."""
    jump = np.where(np.arange(16) < 8, 0.0, 40.0) + RNG.normal(0, 2, 16)
    step = next(q for q in questions(asked_of(jump)) if q.kind == "step")
    assert (step.where, step.looks) == (8, 1.0)
    assert step.column.tolist() == [0.0] * 8 + [1.0] * 8
    assert "step" not in {q.kind for q in questions(asked_of(jump[1:]))}


def test_places_searched_for_a_step_count_by_their_correlations():
    """Galwey's number: (Σ√λ)² over Σλ of the correlations of the contrasts (numpy's corrcoef, here)."""
    offset = np.where(np.arange(30) < 11, 0.0, 25.0) + RNG.normal(0, 4, 30)
    step = next(q for q in questions(asked_of(offset)) if q.kind == "step")
    rows = [np.where(np.arange(30) >= c, 1 / (30 - c), -1 / c) for c in range(8, 23)]
    root = np.sqrt(np.maximum(np.linalg.eigvalsh(np.corrcoef(rows)), 0))
    assert step.where == 11
    assert step.looks == pytest.approx(root.sum() ** 2 / (root**2).sum())


def test_pairs_of_chords_are_asked_about_beside_the_other_changes():
    """Three changes A→D and three E→D: each pair, and all into D are all changes, so not asked (arithmetic here)."""
    chord = ("A", "D", "E", "D") * 4
    take = asked_of(RNG.normal(0, 9, 16), at_change=[False, *[True] * 3] * 4, chord=chord)
    pairs = [(q.where, q.column.sum()) for q in questions(take) if q.kind == "pair"]
    assert pairs == [(("A", "D"), 4.0), (("D", "E"), 4.0), (("E", "D"), 4.0), (("", "D"), 8.0)]


def test_marked_strums_that_scatter_more_widen_their_contrast():
    """The further variance times the marks' squared weights, by Student's factor over 1.96 (arithmetic here)."""
    mark = np.tile([1.0, 0, 0, 0], 6)
    offset = np.where(mark > 0, np.tile([1.0, 0, 0, 0, -1, 0, 0, 0], 3) * 30, np.tile([0, 1.0, -1, 0], 6) * 2)
    take = asked_of(offset, beat=np.where(mark > 0, 1, 2))
    held = np.ones((24, 1))
    question = Question(kind="beat", where=1, column=mark, beside=held)
    weights = beside(mark, held)
    assert weights is not None
    more = offset[mark > 0].var() - offset[mark == 0].var()
    u = stats.t.ppf(0.975, 5) / 1.96 * math.sqrt(more * 6 * (1 / 6) ** 2)
    assert asking_all._marked_vary_more(question, take, held, weights) == pytest.approx(u)
    assert (
        asking_all._marked_vary_more(
            question, asked_of(offset[::-1] * 0 + 1 - mark + RNG.normal(0, 1, 24) * (1 - mark)), held, weights
        )
        == 0.0
    )


@pytest.mark.parametrize(
    ("means", "contrasts", "told"), [((12.0, 4.0), False, 1), ((-3.0, -20.0), False, 2), ((9.0, -2.0), True, 1)]
)
def test_of_two_places_the_one_further_from_the_click_is_told(means, contrasts, told):
    """Where the click is not known, the later one; of the second place the size has the other sign (arithmetic)."""
    question = Question(kind="part", where=1, column=np.ones(4), beside=np.ones((4, 1)), other=2)
    groups = tuple(Group(place=i + 1, n=9, offset_ms=estimate(m, m - 1, m + 1)) for i, m in enumerate(means))
    size = estimate(means[0] - means[1], means[0] - means[1] - 3, means[0] - means[1] + 2, 0.5)
    where, found = asking_all._which_of_two(question, size, groups, contrasts=contrasts)
    assert where == told
    sign = 1 if told == 1 else -1
    assert found.value == sign * size.value
    assert {found.low, found.high} == {sign * size.low, sign * size.high}
    assert found.u == 0.5


def test_clocks_that_nothing_compares_make_a_drift_less_sure():
    """±6 ms a minute are worth 6/1.96 of standard uncertainty beside the errors' own scatter (scipy's t, here)."""
    take = replace(asked_of(RNG.normal(0, 9, 30)), anchoring=Anchoring(clock_known=False))
    question = next(q for q in questions(take) if q.kind == "drift")
    answer = asking_all._answer(question, take, [], take.model)
    weights = beside(take.minutes, np.ones((30, 1)))
    assert answer is not None
    assert weights is not None
    own = float(take.model.half_width(weights))
    assert answer.size.high - answer.size.value == pytest.approx(math.hypot(own, 6))
    scale = np.sqrt(take.model.variance_of(weights) + (6 / 1.96) ** 2)
    p = 2 * take.model.weight @ stats.t.sf(abs(answer.size.value) / scale, take.model.dof)
    assert answer.p == pytest.approx(p)


def test_a_trends_score_is_its_likelihood_less_the_places_searched():
    """−n ln RSS − ln looks, by plain least squares (numpy's lstsq, here)."""
    offset = RNG.normal(0, 9, 20)
    take = asked_of(offset)
    column = np.arange(20.0)
    answer = SimpleNamespace(question=Question(kind="step", where=1, column=column, beside=np.ones((20, 1)), looks=5.0))
    design = np.column_stack([np.ones(20), column])
    rss = np.linalg.lstsq(design, offset, rcond=None)[1][0]
    found = asking_all._trend_score(answer, take)  # type: ignore[arg-type]
    assert found == pytest.approx(-20 * math.log(rss) - math.log(5))


def test_swing_is_the_grids_place_and_how_much_later_the_second_part_came():
    """30 ms later in a beat of 1 s put the second of two parts at .5 + .03 (arithmetic here)."""
    part = np.tile([1, 2], 15)
    noise = np.repeat(RNG.normal(0, 3, 15), 2)
    take = asked_of(noise + 30.0 * (part == 2), part=part, second_at=0.5)
    line = take.design
    found = swing_place(take, line)
    assert isinstance(found, Estimate)
    weights = beside((part == 2).astype(float), line)
    assert weights is not None
    later, half = float(weights @ take.offset_ms), float(take.model.half_width(weights))
    measuring = 0.5 * float(np.linalg.norm(weights))
    expected = [0.5 + later / 1e3, 0.5 + (later - half) / 1e3, 0.5 + (later + half) / 1e3, measuring / 1e3]
    assert list(found.as_dict().values()) == pytest.approx(expected)
    assert found.value == pytest.approx(0.53, abs=0.001)
    few = asked_of(noise, part=np.where(np.arange(30) < 2, 2, 1), second_at=0.5)
    assert isinstance(swing_place(few, line), Absent)
    enough = asked_of(noise, part=np.where(np.isin(np.arange(30), (4, 15, 25)), 2, 1), second_at=0.5)
    assert isinstance(swing_place(enough, line), Estimate)


def test_what_strums_say_of_their_errors_is_kept():
    """A detector that states its share of error replaces the default of one half."""
    told = SimpleNamespace(error_share=0.3, bias_u_s=0.001)
    assert errors_of(told, spread_u_s=0.002) == StrumErrors(error_share=0.3, bias_u_s=0.001, spread_u_s=0.002)  # type: ignore[arg-type]
    silent = SimpleNamespace(error_share=None, bias_u_s=0.001)
    assert errors_of(silent) == StrumErrors(error_share=0.5, bias_u_s=0.001, spread_u_s=0.0)  # type: ignore[arg-type]
