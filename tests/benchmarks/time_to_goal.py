"""How often does the time to a goal hold the week that comes (`strumclock.weeks.goal`)?

usage: python -m tests.benchmarks.time_to_goal [--players 60]

Players along straight, slowing, saturating and stopped curves, seen for 8 to 22 weeks with one take each, luck of the
week 3 % lasting .7, of the take as told; the goal lies 3 to 20 weeks ahead, or (of those who stop, and four in ten of
the saturating) where it is never reached. Numbers of players: a range told that holds the week (`hit`) or not (`miss`;
`never`: it is not reached at all); no end told, and the beginning not too late (`open`) or too late (`late`); told that
it is not reached within a year, rightly (`no`) or not (`wrong no`). `right` is the share in % of hit, open and no.
Last, of the ranges told to players who do get there within the year, the share that holds the week.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Callable

import numpy as np

from strumclock.weeks import goal

CURVES: dict[str, Callable[[float], float]] = {
    "straight, 1 a week": lambda w: 70 + w,
    "straight, 2 a week": lambda w: 70 + 2 * w,
    "straight, 1 in two weeks": lambda w: 80 + 0.5 * w,
    "saturating in 6 weeks": lambda w: 70 + 30 * (1 - math.exp(-w / 6)),
    "saturating in 15 weeks": lambda w: 70 + 35 * (1 - math.exp(-w / 15)),
    "power": lambda w: 55 * (1 + w) ** 0.2,
    "up 8 weeks, then flat": lambda w: 70 + 2 * min(w, 8),
    "flat": lambda _: 80,
}
WEEK_SD, LASTING = 0.03, 0.7


def seen(curve: Callable[[float], float], weeks: int, take_sd: float, rng: np.random.Generator) -> list[float]:
    """The tempo in reach as each week's take shows it."""
    luck, out = WEEK_SD * rng.normal(), []
    for week in range(weeks):
        luck = LASTING * luck + WEEK_SD * math.sqrt(1 - LASTING**2) * rng.normal()
        out.append(curve(week) * math.exp(luck + take_sd * rng.normal()))
    return out


def outcome(name: str, take_sd: float, rng: np.random.Generator) -> str | None:
    """What is told of one player, and whether it is so; None where the goal is reached already."""
    curve = CURVES[name]
    weeks = int(rng.integers(8, 22))
    wanted = curve(weeks - 1 + int(rng.integers(3, 20)))
    if name in ("flat", "up 8 weeks, then flat"):
        wanted = 1.08 * curve(weeks - 1)
    elif name.startswith("saturating") and rng.random() < 0.4:
        wanted = 1.03 * curve(1000)
    if curve(weeks - 1) >= wanted:
        return None
    ahead = range(1, goal.HORIZON_WEEKS + 1)
    true = next((k for k in ahead if curve(weeks - 1 + k) >= wanted - 1e-9), None)
    there = goal.chances(range(weeks), seen(curve, weeks, take_sd, rng), [1] * weeks, wanted, take_sd=take_sd)
    weeks_told = goal.told_weeks(there)
    if weeks_told is None:
        return "no" if true is None else "wrong no"
    first, last = weeks_told
    if last is None:
        return "open" if true is None or true >= first else "late"
    return "never" if true is None else "hit" if first <= true <= last else "miss"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--players", type=int, default=60)
    told = parser.parse_args()
    every: Counter[str] = Counter()
    for name in CURVES:
        for take_sd in (0.04, 0.08):
            rng = np.random.default_rng([1, len(name), round(100 * take_sd)])
            count = Counter(o for _ in range(told.players) if (o := outcome(name, take_sd, rng)))
            every.update(count)
            right = 100 * sum(count[o] for o in ("hit", "open", "no")) / max(count.total(), 1)
            each = "  ".join(f"{o} {count[o]}" for o in ("hit", "miss", "never", "open", "late", "no", "wrong no"))
            print(f"{name:25s} take {100 * take_sd:g} %: right {right:3.0f}   {each}", flush=True)
    reached = every["hit"] + every["miss"]
    print(f"of {reached} ranges of players who get there {every['hit'] / max(reached, 1):.0%} hold the week", end="; ")
    print(f"{every['never']} told to players who do not")


if __name__ == "__main__":
    main()
