"""Simulated learners who follow the next tempo: takes held, tempi against ability, what is said of the weeks.

usage: python -m tests.benchmarks.next_tempo [--players 200] [--learners NAME,…] [--slopes 1.5,4,6] [--takes 1,2,5]
       python -m tests.benchmarks.next_tempo --yardstick ../shared/bench/learners.py [--players 200]

A learner has an ability by week: the tempo at which three takes of four hold. At another tempo what stands in the way
(scatter, late chord changes, strums left out) is larger by the ratio of tempi to the power of the slope, times the luck
of the week (AR(1), of the ability) and of the take. The margin is judged as `steady` would: the largest of found over
asked for. The player plays what `strumclock.weeks.tendency` says next, that is all that it is told.

A row is a learner at one slope and one number of takes a week. Shares in %: takes `held` and `tempo`, the mean of tempo
over ability, in weeks 13 to 24; `back`, takes until within 6 % of the ability after the start or the layoff (median);
`holds`, how many of the weekly intervals of the tempo in reach hold the ability; what is said in the 20th week (rising,
falling, level); `by`: said to rise or to fall in any week until the 20th; `any`: in any of the 24.
"""

from __future__ import annotations

import argparse
import importlib.util
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Any

import numpy as np

from strumclock.weeks.tendency import Reach, Tendency
from strumclock.weeks.week import Point

MONDAY = date(2024, 1, 1)
TOLERANCE = 1 / 12  # of the interval: `steady`
EVEN_SHARE = 0.9
WEEKS = 24
STRUMS = 48
Rng = np.random.Generator


@dataclass(frozen=True, kw_only=True)
class Learner:
    """Who practises: the ability over the weeks, and what is luck."""

    ability: Callable[[int], float]
    obstacle: str = "scatter"
    start: float = 0.95
    week_sd: float = 0.03
    lasting: float = 0.6
    take_sd: float = 0.08
    stray: float = 0.0
    away: tuple[int, ...] = ()
    event: int = 0


def _always(bpm: float) -> Callable[[int], float]:
    return lambda _: bpm


def _random_walk(week: int, seed: int = 11) -> float:
    steps = np.random.default_rng(seed).normal(0, 0.012, WEEKS + 1)
    return 85 * math.exp(float(np.cumsum(steps)[week]))


LEARNERS = {
    "flat": Learner(ability=_always(80)),
    "+1 a week": Learner(ability=lambda w: 80 + w),
    "+2 a week": Learner(ability=lambda w: 80 + 2 * w),
    "-2 a week": Learner(ability=lambda w: 110 - 2 * w),
    "layoff -20 % at 8": Learner(ability=lambda w: 80 if w < 8 else 64, event=8),
    "starts 25 % below": Learner(ability=_always(80), start=0.75),
    "saturating": Learner(ability=lambda w: 80 + 25 * (1 - math.exp(-w / 6))),
    # other shapes
    "+1 percent a week": Learner(ability=lambda w: 60 * 1.01**w),
    "power": Learner(ability=lambda w: 55 * (1 + w) ** 0.18),
    "breakthrough at 10": Learner(ability=lambda w: 70 if w < 10 else 82, event=10),
    "climbs, then flat": Learner(ability=lambda w: 70 + 2 * min(w, 12)),
    "away 5 weeks, loses a tenth": Learner(
        ability=lambda w: 80 + w if w < 8 else 79 + 0.6 * (w - 12), away=(8, 9, 10, 11, 12), event=13
    ),
    "wanders": Learner(ability=_random_walk),
    "starts 20 % above": Learner(ability=_always(90), start=1.2),
    # other luck
    "flat, luck lasts .8": Learner(ability=_always(80), lasting=0.8),
    "flat, luck 5 % lasts .8": Learner(ability=_always(80), week_sd=0.05, lasting=0.8),
    "flat, takes vary 25 %": Learner(ability=_always(80), take_sd=0.25),
    "+1, a take in eight strays": Learner(ability=lambda w: 80 + w, stray=0.125),
    "+1, luck lasts .8": Learner(ability=lambda w: 80 + w, lasting=0.8),
    # other obstacles
    "flat, late changes": Learner(ability=_always(72), obstacle="changes"),
    "+1, late changes": Learner(ability=lambda w: 72 + w, obstacle="changes"),
    "-2, late changes": Learner(ability=lambda w: 110 - 2 * w, obstacle="changes"),
    "+1, strums left out": Learner(ability=lambda w: 72 + w, obstacle="omitted"),
    "flat, a wall": Learner(ability=_always(80), obstacle="wall"),
    "layoff, strums left out": Learner(ability=lambda w: 80 if w < 8 else 64, obstacle="omitted", event=8),
}


def margin_of_take(obstacle: str, size: float, rng: Rng) -> float:
    """The largest of found over asked for, of one take in which what stands in the way is `size` times its usual."""
    n = STRUMS
    if obstacle == "scatter":
        offsets, missed = 0.046 * size * rng.standard_normal(n), 0
    elif obstacle == "changes":  # every eighth strum comes late, by half as much again or less
        offsets, missed = 0.022 * rng.standard_normal(n), 0
        offsets[::8] += 0.085 * size * np.exp(0.3 * rng.standard_normal(offsets[::8].size))
    elif obstacle == "wall":  # with ease below, and a quarter of the strums left out from a little above
        offsets, missed = 0.02 * rng.standard_normal(n), int(rng.binomial(n, 0.25 if size > 1.1 else 0.01))
    else:
        offsets, missed = 0.03 * rng.standard_normal(n), int(rng.binomial(n, min(0.07 * size, 1.0)))
    about = np.sort(np.abs(offsets - offsets.mean()))
    even = about[math.ceil(EVEN_SHARE * n) - 1] / TOLERANCE
    late = 0.0
    if obstacle == "changes":
        others = np.delete(offsets, np.arange(0, n, 8))
        u = math.hypot(offsets[::8].std(ddof=1) / math.sqrt(offsets[::8].size), others.std() / math.sqrt(others.size))
        late = max(float(offsets[::8].mean() - others.mean()) - 2 * u, 0.0) / TOLERANCE
    return max(float(even), late, missed / (0.1 * n))


@lru_cache(maxsize=64)
def size_in_reach(obstacle: str, take_sd: float, stray: float) -> float:
    """The size at which three takes of four hold, luck of the take included: by bisection of a simulation."""
    rng = np.random.default_rng(3)
    luck = np.exp(take_sd * rng.standard_normal(3000)) * np.where(rng.random(3000) < stray, 2.0, 1.0)
    low, high = 0.2, 2.0
    for _ in range(12):
        middle = (low + high) / 2
        again = np.random.default_rng(4)
        held = np.mean([margin_of_take(obstacle, middle * x, again) <= 1 for x in luck])
        low, high = (middle, high) if held > 0.75 else (low, middle)
    return (low + high) / 2


@dataclass(kw_only=True)
class Played:
    """One player's record: take by take (week, bpm, ability, held), and what was said after each week."""

    takes: list[tuple[int, float, float, bool]]
    said: list[tuple[int, Reach]]


def play(learner: Learner, slope: float, takes_a_week: int, rng: Rng, weeks: int = WEEKS) -> Played:
    """Practise, always at the tempo that was said next."""
    usual = size_in_reach(learner.obstacle, learner.take_sd, learner.stray)
    luck, bpm = learner.week_sd * rng.standard_normal(), float(round(learner.start * learner.ability(0)))
    tendency: Tendency | None = None
    played = Played(takes=[], said=[])
    for week in range(weeks):
        luck = learner.lasting * luck + learner.week_sd * math.sqrt(1 - learner.lasting**2) * rng.standard_normal()
        if week in learner.away:
            continue
        ability = learner.ability(week)
        for k in range(takes_a_week):
            size = usual * (bpm / (ability * (1 + luck))) ** slope * math.exp(learner.take_sd * rng.standard_normal())
            size *= 2.0 if rng.random() < learner.stray else 1.0
            margin = margin_of_take(learner.obstacle, size, rng)
            day = MONDAY + timedelta(weeks=week, days=k * 7 // takes_a_week)
            point = Point(take=len(played.takes), played_on=day, bpm=bpm, held=margin <= 1, margin=margin)
            if tendency is None:
                tendency = Tendency(point)
            else:
                tendency.take(point)
            played.takes.append((week, bpm, ability, margin <= 1))
            now = tendency.reach()
            bpm = now.next_bpm
        played.said.append((week, now))
    return played


def row(learner: Learner, slope: float, takes_a_week: int, players: int) -> str:
    """The figures of one kind of learner."""
    rng, records = np.random.default_rng(5), []
    for _ in range(players):
        records.append(play(learner, slope, takes_a_week, rng))
    late = [[t for t in r.takes if t[0] >= 12] for r in records]
    held = np.mean([t[3] for takes in late for t in takes])
    tempo = np.mean([t[1] / t[2] for takes in late for t in takes])
    back = []
    for r in records:
        after = [t for t in r.takes if t[0] >= learner.event]
        back.append(next((i for i, t in enumerate(after) if abs(t[1] / t[2] - 1) < 0.06), 99))
    holds = [s.now.low <= learner.ability(w) <= s.now.high for r in records for w, s in r.said]
    at_20 = [next(s.state for w, s in r.said if w >= 19) for r in records]
    shares = " ".join(f"{100 * np.mean([s == name for s in at_20]):3.0f}" for name in ("rising", "falling", "level"))

    def ever(name: str, until: int) -> float:
        return 100 * float(np.mean([any(s.state == name for w, s in r.said if w < until) for r in records]))

    return (
        f"held {100 * held:3.0f}  tempo {tempo:.2f}  back {np.median(back):2.0f}  holds {100 * np.mean(holds):3.0f}"
        f"  20th {shares}  by {ever('rising', 20):3.0f} {ever('falling', 20):3.0f}"
        f"  any {ever('rising', 99):3.0f} {ever('falling', 99):3.0f}"
    )


def yardstick(path: str, players: int) -> None:
    """The table of another script's own learners (`table(rule, players)`), for the rule as its generator wants it."""
    spec = importlib.util.spec_from_file_location("yardstick", path)
    assert spec is not None
    assert spec.loader is not None
    module: Any = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)

    def tempo_in_reach(start: float) -> Iterator[float]:
        bpm, tendency = start, None
        number = 0
        while True:
            week, held, scatter = yield bpm
            margin = 1.6449 * scatter / module.TAU  # nine tenths of a normal distribution lie within 1.6449 sd
            day = MONDAY + timedelta(weeks=week)
            point = Point(take=number, played_on=day, bpm=bpm, held=bool(held), margin=margin)
            if tendency is None:
                tendency = Tendency(point)
            else:
                tendency.take(point)
            number, bpm = number + 1, tendency.reach().next_bpm

    module.table(tempo_in_reach, players)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--players", type=int, default=200)
    parser.add_argument("--learners", help="names or beginnings of names, by commas")
    parser.add_argument("--slopes", default="1.5,4,6")
    parser.add_argument("--takes", default="1,2,5")
    parser.add_argument("--yardstick", metavar="FILE")
    told = parser.parse_args()
    if told.yardstick:
        yardstick(told.yardstick, told.players)
        return
    for name, learner in LEARNERS.items():
        if told.learners and not any(name.startswith(n) for n in told.learners.split(",")):
            continue
        for slope in map(float, told.slopes.split(",")):
            for takes in map(int, told.takes.split(",")):
                print(f"{name:27s} g {slope:g} {takes}/week  {row(learner, slope, takes, told.players)}", flush=True)


if __name__ == "__main__":
    main()
