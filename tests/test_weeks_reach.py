"""The tempo in reach over weeks: what is said of simulated learners whose ability is known."""

from __future__ import annotations

import math
from datetime import date, timedelta

import numpy as np
import pytest
from tests.benchmarks.next_tempo import LEARNERS, Learner, margin_of_take, play, size_in_reach

from strumclock.weeks.following import START_SD, Follower
from strumclock.weeks.tendency import Tendency, follow
from strumclock.weeks.week import Point

MONDAY = date(2026, 1, 5)


def takes(bpm: list[float], margins: list[float | None], held: list[bool | None] | None = None) -> list[Point]:
    """One take a week."""
    return [
        Point(
            take=i,
            played_on=MONDAY + timedelta(weeks=i),
            bpm=tempo,
            margin=margin,
            held=(margin <= 1 if margin is not None else None) if held is None else held[i],
        )
        for i, (tempo, margin) in enumerate(zip(bpm, margins, strict=True))
    ]


def test_one_reading_is_a_kalman_filter():
    """statsmodels' state-space filter on the same level, slope, lasting luck and takes: likelihood and level agree."""
    from statsmodels.tsa.statespace.mlemodel import MLEModel

    from strumclock.weeks import following

    rng = np.random.default_rng(1)
    y = rng.normal(0, 0.15, 15)
    follower = Follower(math.exp(0.0), week=0)
    table = follower._t
    one = np.flatnonzero((table[following._G] == 3.0) & (table[following._STEEP] > 0) & (table[following._LASTS] > 0))[
        :1
    ]
    follower._t = table[:, one].copy()
    follower._t[following._WEIGHT] = 0.0
    g, take, luck, lasts, steep = (
        float(follower._t[row, 0])
        for row in (following._G, following._TAKE, following._LUCK, following._LASTS, following._STEEP)
    )

    class Exact(MLEModel):
        def __init__(self) -> None:
            start = {"initial_state": np.zeros(3), "initial_state_cov": np.diag([START_SD**2, steep**2, luck**2])}
            super().__init__(y, k_states=3, k_posdef=2, initialization="known", **start)
            self["design"] = np.array([[-g, 0, -g]])
            self["transition"] = np.array([[1, 1, 0], [0, 1, 0], [0, 0, lasts]], dtype=float)
            self["selection"] = np.array([[1, 0], [0, 0], [0, 1]], dtype=float)
            self["state_cov"] = np.diag([following.WANDER_SD**2, luck**2 * (1 - lasts**2)])
            self["obs_cov"] = np.array([[take**2]])

    exact = Exact().filter([])
    t = follower._t
    for week, seen in enumerate(y):
        if week:
            follower._move(1)
        expected, with_state, variance = follower._expected(1.0)
        s = variance + t[following._TAKE] ** 2
        follower._learn(with_state, (seen - expected) / s, 1 / s, np.zeros(1))
    assert t[:3, 0] == pytest.approx(exact.filtered_state[:, -1], abs=1e-10)
    assert t[following._LL, 0] == pytest.approx(exact.filtered_state_cov[0, 0, -1], abs=1e-10)
    assert t[following._BU, 0] == pytest.approx(exact.filtered_state_cov[1, 2, -1], abs=1e-10)


def test_taking_in_a_held_take_is_what_numerical_integration_gives():
    """scipy.integrate on one reading: the level after a take of which is only known that it held."""
    from scipy.integrate import quad
    from scipy.stats import norm

    from strumclock.weeks import following

    follower = Follower(80, week=0)
    follower._t = follower._t[:, :1].copy()
    g, take = follower._t[following._G, 0], follower._t[following._TAKE, 0]
    luck, start = follower._t[following._LUCK, 0], math.log(80)
    follower.see_held(90, held=True)
    sd = math.hypot(take, g * luck)

    def density(level: float) -> float:
        return norm.pdf(level, start, following.START_SD) * norm.cdf(g * (level - math.log(90)) / sd)

    whole = quad(density, start - 3, start + 3)[0]
    mean = quad(lambda x: x * density(x), start - 3, start + 3)[0] / whole
    variance = quad(lambda x: (x - mean) ** 2 * density(x), start - 3, start + 3)[0] / whole
    assert follower._t[following._L, 0] == pytest.approx(mean, abs=1e-6)
    assert follower._t[following._LL, 0] == pytest.approx(variance, abs=1e-6)


def test_falling_scatter_at_one_tempo_is_progress():
    """By construction: 80 bpm throughout, margins from 1.3 to 0.6: what is in reach rises though the tempo does not."""
    found = follow(takes([80.0] * 16, np.geomspace(1.3, 0.6, 16).tolist()))
    assert found is not None
    assert found.state == "rising"
    assert found.now.value > 85
    assert found.next_bpm > 80


def test_one_take_a_week_is_enough():
    """One take a week that just holds 80: after ten weeks it is level, and about 80 is in reach."""
    margins = (0.93 * np.exp(0.1 * np.random.default_rng(2).normal(size=12))).tolist()
    found = follow(takes([80.0] * 12, margins))
    assert found is not None
    assert found.state == "level"
    assert found.now.low < 80 < found.now.high
    assert 76 <= found.next_bpm <= 82


def test_a_wall_that_is_met_again_and_again_is_where_the_tempo_in_reach_ends():
    """Arithmetic on the teacher's side: two easy takes at 76 and a clear miss at 79 a week, so between these two."""
    points = [
        Point(take=3 * week + k, played_on=MONDAY + timedelta(weeks=week), bpm=bpm, held=margin <= 1, margin=margin)
        for week in range(6)
        for k, (bpm, margin) in enumerate([(76.0, 0.25), (76.0, 0.3), (79.0, 2.5)])
    ]
    found = follow(points)
    assert found is not None
    assert 74 <= found.now.value <= 79
    assert found.now.high < 84
    assert found.next_bpm is not None
    assert found.next_bpm <= 79


def test_takes_held_with_ease_do_not_say_how_much_more_is_in_reach():
    """At a quarter or an eighth of the margin the player is the same: only that the tempo is easy is known."""
    quarter, eighth = (
        follow(
            [Point(take=w, played_on=MONDAY + timedelta(weeks=w), bpm=70.0, held=True, margin=margin) for w in range(6)]
        )
        for margin in (0.25, 0.125)
    )
    assert quarter is not None
    assert quarter == eighth
    assert quarter.now.low > 70


def test_paper_takes_count_by_whether_they_held():
    """Held at 70, 75, 80, not at 85 and 90: the end of it lies between; no trend from one week."""
    bpm, held = [70.0, 75, 80, 85, 90] * 2, [True, True, True, False, False] * 2
    points = [
        Point(take=i, played_on=MONDAY + timedelta(days=i % 5), bpm=b, held=h, paper=True)
        for i, (b, h) in enumerate(zip(bpm, held, strict=True))
    ]
    found = follow(points)
    assert found is not None
    assert 70 < found.now.value < 88
    assert found.state == "early"
    assert follow([Point(take=0, played_on=MONDAY, bpm=80, held=None)]) is None


def test_a_layoff_is_told_as_a_drop_at_once():
    """By construction: ten takes at 80 that just hold, five weeks away, then takes at 64 that just hold."""
    rng = np.random.default_rng(4)
    days = [MONDAY + timedelta(weeks=i) for i in (*range(10), *range(15, 20))]
    bpm = [80.0] * 10 + [64.0] * 5
    points = [
        Point(take=i, played_on=d, bpm=b, held=True, margin=0.9 * math.exp(0.1 * rng.normal()))
        for i, (d, b) in enumerate(zip(days, bpm, strict=True))
    ]
    found = follow(points)
    assert found is not None
    assert found.leap is not None
    assert found.leap.in_week == MONDAY + timedelta(weeks=15)
    assert found.leap.ratio == pytest.approx(0.8, abs=0.06)


def test_a_plateau_after_a_climb_is_told_with_the_climb():
    """By construction: three takes a week, 2 bpm more each week for ten weeks, then 80 for seventeen."""
    rng = np.random.default_rng(5)
    points = [
        Point(
            take=3 * week + k,
            played_on=MONDAY + timedelta(weeks=week, days=k),
            bpm=60.0 + 2 * min(week, 10),
            held=True,
            margin=0.9 * math.exp(0.08 * rng.normal()),
        )
        for week in range(28)
        for k in range(3)
    ]
    found = follow(points)
    assert found is not None
    assert found.state == "level"
    assert found.rose_by_bpm == pytest.approx(2.0, abs=0.6)
    assert abs((found.since - MONDAY).days / 7 - 10) <= 3


def test_weeks_without_takes_are_gaps():
    """The same takes with three weeks missing: what is said carries no week that was not played."""
    points = takes([70.0 + w for w in range(12)], [0.9] * 12)
    found = follow([p for p in points if not MONDAY + timedelta(weeks=4) <= p.played_on < MONDAY + timedelta(weeks=7)])
    assert found is not None
    assert [(m - MONDAY).days // 7 for m, _ in found.weeks] == [0, 1, 2, 3, 7, 8, 9, 10, 11]


def test_a_learner_of_the_benchmark_holds_three_takes_of_four_at_its_ability():
    """The benchmark's own truth: at the size in reach 75 % of the takes have a margin of at most 1."""
    rng = np.random.default_rng(6)
    for obstacle in ("scatter", "changes", "omitted"):
        size = size_in_reach(obstacle, 0.08, 0.0)
        held = [margin_of_take(obstacle, size * math.exp(0.08 * rng.normal()), rng) <= 1 for _ in range(1500)]
        assert np.mean(held) == pytest.approx(0.75, abs=0.05)


def states(learner: Learner, slope: float, players: int, seed: int, takes_a_week: int = 2) -> list[list[str]]:
    """What is said after each week, player by player."""
    rng = np.random.default_rng(seed)
    return [[s.state for _, s in play(learner, slope, takes_a_week, rng).said] for _ in range(players)]


def test_learners_are_led_near_their_ability():
    """By simulation, 10 players each: 55 to 95 % of the takes hold and tempi lie within -10 … +4 % (weeks 13 to 24)."""
    for name in ("flat", "+2 a week", "layoff -20 % at 8", "+1, late changes"):
        rng = np.random.default_rng(7)
        late = [t for _ in range(10) for t in play(LEARNERS[name], 4.0, 2, rng).takes if t[0] >= 12]
        assert 0.55 <= np.mean([held for *_, held in late]) <= 0.95, name
        assert -0.10 <= np.mean([bpm / ability for _, bpm, ability, _ in late]) - 1 <= 0.04, name


@pytest.mark.slow
def test_trends_are_said_where_they_are_and_seldom_where_not():
    """By simulation: +1 a week by the 20th week in 75 %, +2 in 95 %, falling in 80 %; flat with luck of .8 in 10 %."""
    for slope in (1.5, 4.0):
        up = states(LEARNERS["+1 a week"], slope, 40, 1)
        assert np.mean(["rising" in said[:20] for said in up]) >= 0.75 - 0.07
        steep = states(LEARNERS["+2 a week"], slope, 40, 2)
        assert np.mean([said[19] == "rising" for said in steep]) >= 0.95 - 0.04
        down = states(LEARNERS["-2 a week"], slope, 40, 3)
        assert np.mean([said[19] == "falling" for said in down]) >= 0.8
        flat = states(LEARNERS["flat, luck lasts .8"], slope, 60, 4)
        assert np.mean(["rising" in said or "falling" in said for said in flat]) <= 0.10 + 0.08


@pytest.mark.slow
def test_steady_climbers_are_said_to_be_on_a_plateau_at_most_one_time_in_twenty():
    """By simulation: 1 and 2 bpm a week for 24 weeks, 40 players each, after their last take."""
    called = []
    for rate in (1.0, 2.0):
        rng = np.random.default_rng(int(rate))
        for _ in range(40):
            last = play(Learner(ability=lambda w, rate=rate: 70 + rate * w), 3.0, 2, rng).said[-1][1]
            called.append(last.rose_by_bpm is not None)
    assert np.mean(called) <= 0.05 + 0.05


def test_the_same_takes_say_the_same():
    """Nothing is drawn at random; taking in take by take is the same as all at once."""
    points = takes(
        [70.0 + w for w in range(8)], [0.9, 1.1, 0.8, None, 0.95, 1.3, 0.7, 0.9], [True, False, True, None] + [True] * 4
    )
    tendency = Tendency(points[0])
    for point in points[1:3] + points[4:]:
        tendency.take(point)
    assert tendency.reach() == follow(points) == follow(points)
