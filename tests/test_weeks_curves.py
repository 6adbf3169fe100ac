"""Curves weighed against each other: the algebra against independent programs, the verdicts against known truth."""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from strumclock.weeks.causes import causes, sizes_of
from strumclock.weeks.curves import KINDS_OF_LUCK, SCALES, Curve, weigh
from strumclock.weeks.goal import EARLY, HORIZON_WEEKS, LATE, NARROWEST_WEEKS, chances, outlook, told_weeks
from strumclock.weeks.placement import moved
from strumclock.weeks.week import Point, luck

MONDAY = date(2026, 1, 5)


def lasting_luck(rng: np.random.Generator, n: int, sd: float, lasts: float) -> np.ndarray:
    """AR(1), stationary from the start."""
    x = np.empty(n)
    x[0] = rng.normal(0, sd)
    for i in range(1, n):
        x[i] = lasts * x[i - 1] + rng.normal(0, sd * math.sqrt(1 - lasts**2))
    return x


def weekly(values: np.ndarray, n: int = 1) -> list[tuple[date, float, int]]:
    return [(MONDAY + timedelta(weeks=i), float(v), n) for i, v in enumerate(values)]


def test_a_curve_without_a_prior_is_fitted_as_generalised_least_squares_fits_it():
    """statsmodels' GLS on Norris-like data: amount, its error and the value ahead, for each kind and size of luck."""
    import statsmodels.api as sm

    rng = np.random.default_rng(3)
    x = np.array([0, 1, 2, 4, 5, 6, 9, 10, 11, 12], dtype=float)
    n = np.array([1, 2, 1, 3, 1, 1, 2, 2, 1, 4], dtype=float)
    y = 70 + 1.3 * x + rng.normal(size=x.size)
    line = Curve(name="line", seen=x / x[-1], prior=0.5, sd=1e6)
    found = weigh(x, y, [line], n=n, take_sd=1.1)
    trial = 0
    for scale in SCALES:
        for of_week, lasts, _ in KINDS_OF_LUCK:
            noise = (scale * 1.1) ** 2 * (np.diag(1 / n) + of_week**2 * lasts ** np.abs(x[:, None] - x[None, :]))
            gls = sm.GLS(y, sm.add_constant(x / x[-1]), sigma=noise)
            exact = np.linalg.inv(gls.exog.T @ np.linalg.inv(noise) @ gls.exog)
            assert found.amount[trial, 1] == pytest.approx(gls.fit().params[1], rel=1e-6)
            assert found.amount_sd[trial, 1] == pytest.approx(math.sqrt(exact[1, 1]), rel=1e-6)
            _, mean, sd = found.at(np.array([0.0, 2.0]))
            ahead = np.array([1.0, 2.0])
            assert mean.reshape(found.amount.shape)[trial, 1] == pytest.approx(gls.fit().params @ ahead, rel=1e-6)
            assert sd.reshape(found.amount.shape)[trial, 1] == pytest.approx(math.sqrt(ahead @ exact @ ahead), rel=1e-6)
            trial += 1


def test_curves_are_weighed_by_the_probability_of_the_data():
    """scipy's multivariate normal: with a wide level, the odds of two curves are the ratio of their densities."""
    rng = np.random.default_rng(5)
    x = np.arange(9.0)
    y = 20 + 3 * x / 8 + rng.normal(size=9)
    curves = [
        Curve(name="line", seen=x / 8, prior=0.3, sd=2.0),
        Curve(name="step", seen=(x >= 5).astype(float), prior=0.3, sd=4.0),
    ]
    found = weigh(x, y, curves, n=np.ones(9), take_sd=1.1)
    odds = np.zeros(3)
    for scale in SCALES:
        for of_week, lasts, likely in KINDS_OF_LUCK:
            noise = (scale * 1.1) ** 2 * (np.eye(9) + of_week**2 * lasts ** np.abs(x[:, None] - x[None, :]))
            for i, (shape, sd, prior) in enumerate([(0 * x, 0.0, 0.4), *((c.seen, c.sd, c.prior) for c in curves)]):
                whole = noise + 1e5 + sd**2 * np.outer(shape, shape)
                odds[i] += prior * likely * multivariate_normal(np.full(9, 20.0), whole, allow_singular=True).pdf(y)
    assert [found.chance(name) for name in ("flat", "line", "step")] == pytest.approx(odds / odds.sum(), rel=2e-3)


def test_luck_from_take_to_take_is_gum_h5_where_nothing_is_known_before():
    """GUM H.5 (JCGM 100:2008), pooled within-day s = 85 µV of ten days of five values; the prior is worth 8 of 48."""
    shape = np.array([-2, -1, 0, 1, 2]) / math.sqrt(2.5)
    days = [sd * shape for sd in (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)]
    found = luck(days, 85.0)
    assert found.sd == pytest.approx(85, abs=0.5)
    assert found.dof == 48
    assert luck([[1.0]], 0.2).half(1) == pytest.approx(2.306 * 0.2, rel=1e-3)  # t of 8 degrees of freedom: 2.306


# was the phone moved?


def test_an_offset_that_steps_is_pointed_out():
    """By construction: 45 ms later from the seventh week on, noise of 5 ms."""
    rng = np.random.default_rng(3)
    found = moved(weekly(np.where(np.arange(12) < 6, 0.0, 45.0) + 5 * rng.normal(size=12)), take_sd_ms=8, bpm=80)
    assert found is not None
    assert found.in_week == MONDAY + timedelta(weeks=6)
    assert found.by_ms == pytest.approx(45, abs=6)


def test_an_offset_that_wanders_or_steps_unheard_is_not_pointed_out():
    """A straight line to 45 ms, and a step of 8 ms at 80 bpm (18.75 can be heard): nobody is asked about the phone."""
    assert moved(weekly(np.linspace(0, 45, 12)), take_sd_ms=8, bpm=80) is None
    assert moved(weekly(np.where(np.arange(12) < 6, 0.0, 8.0)), take_sd_ms=8, bpm=80) is None
    assert moved(weekly(np.array([0.0, 60, 0, 60, 0])), take_sd_ms=8, bpm=80) is None  # five weeks are too few


def test_luck_that_lasts_is_seldom_taken_for_a_moved_phone():
    """By simulation: AR(1) luck of .8 or none, 8 to 24 weeks: false in at most 2 % (slack for 240 series)."""
    rng = np.random.default_rng(6)
    false = [
        moved(weekly(lasting_luck(rng, int(rng.integers(8, 25)), 12, lasts) + 4 * rng.normal()), take_sd_ms=8, bpm=90)
        is not None
        for lasts in (0.0, 0.8)
        for _ in range(120)
    ]
    assert np.mean(false) <= 0.02 + 2 * math.sqrt(0.02 * 0.98 / 240)


# causes


def practised(sizes: dict[str, np.ndarray]) -> list[Point]:
    """One take a week with given sizes."""
    n = len(next(iter(sizes.values())))
    return [
        Point(
            take=i,
            played_on=MONDAY + timedelta(weeks=i),
            bpm=80,
            held=True,
            sizes={name: float(values[i]) for name, values in sizes.items()},
        )
        for i in range(n)
    ]


def test_lateness_that_stays_is_a_finding_and_lateness_that_goes_is_progress():
    """By construction, at one tempo: pairs at 110 ms for 12 weeks; scatter from 30 to 15 ms; a drift that is none."""
    rng = np.random.default_rng(1)
    found = {
        c.kind: c
        for c in causes(
            practised(
                {
                    "pair.A>D": 110 + 8 * rng.normal(size=12),
                    "scatter": np.geomspace(30, 15, 12) * np.exp(0.1 * rng.normal(size=12)),
                    "drift": 8 * rng.normal(size=12),
                    "omitted": np.full(12, 0.02),
                }
            )
        )
    }
    assert set(found) == {"pair", "scatter"}
    assert (found["pair"].state, found["pair"].where, found["pair"].stands) == ("same", "A>D", True)
    assert found["pair"].now.low < 110 < found["pair"].now.high
    assert found["scatter"].state == "smaller"
    assert found["scatter"].first.value == pytest.approx(30, rel=0.15)
    assert found["scatter"].now.value == pytest.approx(15, rel=0.15)


def test_lateness_that_is_early_shrinks_towards_zero_too():
    """Signs: pulling ahead by 200, then by 40 ms a minute is smaller; 40, then 200 is larger."""
    rng = np.random.default_rng(2)
    drift = np.linspace(-200, -40, 12) + 10 * rng.normal(size=12)
    assert causes(practised({"drift": drift}))[0].state == "smaller"
    assert causes(practised({"drift": drift[::-1]}))[0].state == "larger"


@pytest.mark.parametrize("lasts", [0.0, 0.8])
def test_a_cause_that_does_not_change_is_seldom_said_to(lasts):
    """By simulation: scatter and lateness without a trend, 12 weeks: changed in at most 5 % (slack for 200)."""
    rng = np.random.default_rng(8)
    called = []
    for _ in range(100):
        sizes = {
            "scatter": 20 * np.exp(lasting_luck(rng, 12, 0.1, lasts) + 0.15 * rng.normal(size=12)),
            "changes": 80 + 8 * lasting_luck(rng, 12, 1.0, lasts) + 12 * rng.normal(size=12),
        }
        states = {c.kind: c.state for c in causes(practised(sizes))}
        called += [states.get(kind) in ("smaller", "larger") for kind in sizes]
    assert np.mean(called) <= 0.05 + 2 * math.sqrt(0.05 * 0.95 / 200)


def test_a_pair_is_as_late_as_all_changes_and_its_difference_from_the_others():
    """Arithmetic: pairs at 100, 70 and 70 ms are 80 on average; the first differs from the others by 30."""
    sizes = sizes_of(None, {"changes": 80.0, "pair.A>D": 30.0, "pair.D>E": -15.0, "pair.E>A": -15.0}, None, None)
    assert sizes == pytest.approx({"changes": 80, "pair.A>D": 100, "pair.D>E": 70, "pair.E>A": 70})
    assert sizes_of(None, {"pair.A>D": 30.0}, 40, 30) == {"omitted": 0.25}


# time to the goal


def test_a_time_to_the_goal_is_told_only_where_the_weeks_can_tell_it():
    """Too few weeks: the reason. Held already, in reach already: no date. A fall: not within a year."""
    shown = weekly(np.linspace(70, 80, 12))
    assert "too early" in outlook(90, by=None, held=[], shown=shown[:5], in_reach=False, take_sd=0.04).reason
    leapt = outlook(90, by=None, held=[], shown=shown[:5], in_reach=False, take_sd=0.04, since_leap=True)
    assert leapt.reason.endswith("weeks of measured takes after such a change")
    assert outlook(75, by=None, held=[(MONDAY, 76.0)], shown=shown, in_reach=True, take_sd=0.04).reached_in == MONDAY
    assert outlook(75, by=None, held=[], shown=shown, in_reach=True, take_sd=0.04).in_reach
    falling = weekly(np.linspace(80, 70, 12))
    assert (
        "not reached within a year"
        in outlook(100, by=None, held=[], shown=falling, in_reach=False, take_sd=0.04).reason
    )


def test_a_straight_climb_gets_a_range_that_holds_the_week():
    """Exactly 2 bpm a week for 20 weeks, 6 bpm to go: three more weeks."""
    shown = weekly(70 + 2 * np.arange(20.0))
    found = outlook(114, by=None, held=[], shown=shown, in_reach=False, take_sd=0.04)
    assert found.earliest is not None
    assert found.earliest <= shown[-1][0] + timedelta(weeks=3)
    assert found.latest is None or found.latest >= shown[-1][0] + timedelta(weeks=3)


def test_the_chance_of_being_there_never_falls_as_weeks_go_by():
    """Whoever is there once is there: a property, on noise of any kind."""
    rng = np.random.default_rng(4)
    for _ in range(5):
        there = chances(range(12), 80 + 3 * rng.normal(size=12), [1] * 12, 84, take_sd=0.04)
        assert there.size == HORIZON_WEEKS
        assert np.all(np.diff(there) >= 0)
        assert 0 <= there[0] <= there[-1] <= 1
    assert 0 < EARLY < 0.5 < LATE < 1


def test_no_range_is_told_narrower_than_a_quarter_of_a_year():
    """By the rule, on chances that rise at once, late, and too late for a year."""
    assert told_weeks(np.full(HORIZON_WEEKS, 0.99)) == (1, 1 + NARROWEST_WEEKS)
    wide = np.linspace(0, 1, HORIZON_WEEKS)
    assert told_weeks(wide) == (3, 47)  # 2 and 90 % of 51 steps
    late = np.where(np.arange(HORIZON_WEEKS) < 45, 0.0, 0.99)
    assert told_weeks(late) == (46, None)


@pytest.mark.slow
def test_who_stays_on_a_plateau_is_seldom_promised_a_week():
    """By simulation: up for eight weeks, then flat; a goal 8 % above. A range with an end is told in at most 15 %."""
    rng = np.random.default_rng(9)
    told = []
    for _ in range(60):
        weeks = int(rng.integers(12, 24))
        y = (70 + 2 * np.minimum(np.arange(weeks), 8)) * np.exp(lasting_luck(rng, weeks, 0.03, 0.7))
        told.append(outlook(93, by=None, held=[], shown=weekly(y), in_reach=False, take_sd=0.04).latest is not None)
    assert np.mean(told) <= 0.15
