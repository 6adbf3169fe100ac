"""A climber is not called stuck; a plateau is found where the weeks support it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta

import numpy as np
import pytest

from strumclock.timing.held import next_tempo
from strumclock.weeks import Point, exercise_progress
from strumclock.weeks.plateau import plateau

START_BPM = 60.0
MONDAY = date(2024, 1, 1)
CLIMBERS = {
    f"{rate} bpm a week over {weeks} weeks, {how}": (rate, weeks, how)
    for rate in (0.7, 1.0, 2.0, 3.0)
    for weeks in (8, 10, 15, 26)
    for how in ("by the standard", "in steps of five")
}


def weeks_of_practice(
    rng: np.random.Generator,
    ability: Callable[[int], float],
    weeks: int,
    how: str,
    *,
    week_sd: float = 1.5,
    take_sd: float = 2.0,
    gap: float = 0.1,
) -> list[Point]:
    """A player whose takes hold when their form that day is above the tempo: every take.

    The next tempo follows the standard, or goes up by five when two takes of a week held and down when far off.
    """
    tempo, best, below = START_BPM, START_BPM, 0
    takes: list[Point] = []
    for week in range(weeks):
        if week and rng.random() < gap:
            continue
        form = ability(week) + week_sd * rng.normal()
        held: list[float] = []
        for _ in range(rng.integers(2, 5)):
            margin = form - tempo + take_sd * rng.normal()
            even = min(max(0.9 + 0.02 * margin, 0.0), 1.0)
            day = MONDAY + timedelta(weeks=week)
            takes.append(Point(take=len(takes), played_on=day, bpm=tempo, held=bool(margin > 0), even_share=even))
            if margin > 0:
                held.append(tempo)
            if how == "by the standard":
                now = next_tempo(tempo, held=margin > 0, even_share=even, last_held_bpm=best, takes_below=below)[0]
            else:
                now = tempo + 5 if margin > 0 and len(held) >= 2 else tempo - 5 if even < 0.75 else tempo
            below = below + 1 if even < 0.75 and now == tempo else 0
            best = max(held, default=best)
            tempo = float(now)
    return takes


def reached(takes: list[Point]) -> tuple[list[float], list[float]]:
    """Weeks, and the tempo reached in each."""
    weeks = exercise_progress("x", takes).weeks
    return [(w.monday - MONDAY).days / 7 for w in weeks], [w.reached_bpm for w in weeks]


def share_called_stuck(
    ability: Callable[[int], float], weeks: int, how: str, n: int, seed: int, **luck: float
) -> float:
    """How many of n simulated players are called stuck."""
    rng = np.random.default_rng(seed)
    return float(
        np.mean([plateau(*reached(weeks_of_practice(rng, ability, weeks, how, **luck))) is not None for _ in range(n)])
    )


def test_a_textbook_plateau_is_found():
    """By construction: five weeks of climbing by five, then six at 80."""
    found = plateau(range(10), [60, 65, 70, 75, 80, 80, 80, 80, 80, 80])
    assert found is not None
    assert found.bpm == 80
    assert found.since_week == pytest.approx(4.0, abs=1e-6)
    assert found.before_per_week == pytest.approx(5.0, abs=1e-6)


def test_no_plateau_is_named_with_fewer_than_eight_weeks():
    """Issue: a plateau is named only with eight weeks or more."""
    assert plateau(range(7), [60, 65, 70, 75, 75, 75, 75]) is None


def test_missing_weeks_are_gaps_not_zeros():
    """The same plateau with two weeks missing lies at the same place."""
    weeks, bpm = [0, 1, 2, 3, 4, 6, 7, 9, 10, 11], [60, 65, 70, 75, 80, 80, 80, 80, 80, 80]
    found = plateau(weeks, bpm)
    assert found is not None
    assert found.since_week == pytest.approx(4.0, abs=1e-6)


def test_straight_climbers_are_not_called_stuck():
    """By simulation: at most 5 % of straight climbers with noise, 8 to 30 weeks, 0.3 to 3 bpm a week."""
    rng = np.random.default_rng(3)
    called = [
        plateau(np.arange(n), np.round(70 + rate * np.arange(n) + 1.5 * rng.normal(size=n))) is not None
        for n in (8, 10, 15, 30)
        for rate in (0.3, 0.7, 1.0, 3.0)
        for _ in range(60)
    ]
    assert np.mean(called) <= 0.05


def test_a_climber_who_slows_but_climbs_is_not_stuck():
    """A climb that loses half of its rate still rises."""
    weeks = np.arange(14.0)
    assert plateau(weeks, 60 + 2 * np.minimum(weeks, 7) + 1 * np.maximum(weeks - 7, 0)) is None


@pytest.mark.slow
@pytest.mark.parametrize("climber", CLIMBERS)
def test_steady_climbers_are_called_stuck_at_most_one_time_in_twenty(climber):
    """By simulation of practising, not of a formula: catching up first, gaps, luck by week and by take, whole bpm.

    400 players each; the bound allows for three standard errors of a true 5 %.
    """
    rate, weeks, how = CLIMBERS[climber]
    called = share_called_stuck(lambda week: 66 + rate * week, weeks, how, 400, seed=weeks)
    assert called <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 400)


@pytest.mark.slow
def test_over_all_climbers_at_most_one_in_twenty_is_called_stuck():
    """The same players together, so that no kind hides behind the allowance for chance."""
    called = [
        share_called_stuck(lambda week, rate=rate: 66 + rate * week, weeks, how, 100, seed=100 + weeks)
        for rate, weeks, how in CLIMBERS.values()
    ]
    assert np.mean(called) <= 0.05


@pytest.mark.slow
def test_plateaus_are_found_as_often_as_the_module_says():
    """By simulation: with that much luck a plateau is seldom sure after ten weeks, in about half after twenty."""

    def stuck_after(b: int) -> Callable[[int], float]:
        return lambda week: 66 + 3.0 * min(week, b)

    luck = {"week_sd": 1.0, "take_sd": 1.5}
    ten = share_called_stuck(stuck_after(4), 10, "by the standard", 300, seed=1, **luck)
    twenty = share_called_stuck(stuck_after(8), 20, "by the standard", 300, seed=2, **luck)
    assert ten > 0.04
    assert twenty > 0.4


ROADS = {
    "linear": lambda week: 60 + 2 * week,
    "catching up first": lambda week: 68 + 2 * week,
    "slowing": lambda week: 60 + 60 * (1 - np.exp(-week / 30)),
    "catching up, then slowing": lambda week: 68 + 60 * (1 - np.exp(-week / 30)),
}


@pytest.mark.slow
def test_nine_in_ten_of_the_ranges_to_a_goal_hold_the_week_that_came():
    """By simulation of practising: the week is the first in which two takes really hold the goal or more."""
    inside = []
    for number, ability in enumerate(ROADS.values()):
        for how in ("by the standard", "in steps of five"):
            rng = np.random.default_rng(number)
            for _ in range(120):
                seen = int(rng.integers(8, 24))
                takes = weeks_of_practice(rng, ability, 70, how)
                goal = round(ability(seen + int(rng.integers(2, 9))))
                later = exercise_progress("x", takes, goal_bpm=goal).goal
                now = exercise_progress(
                    "x", [p for p in takes if p.played_on < MONDAY + timedelta(weeks=seen)], goal_bpm=goal
                )
                assert now.goal is not None
                assert later is not None
                if now.goal.earliest and now.goal.latest and later.reached_in:
                    inside.append(now.goal.earliest <= later.reached_in <= now.goal.latest)
    assert len(inside) > 60
    assert np.mean(inside) >= 0.9
