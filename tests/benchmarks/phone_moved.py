"""How often is a phone said to have been moved that was not, and how often one that was (`strumclock.weeks.placement`)?

usage: python -m tests.benchmarks.phone_moved [--series 400] [--sure 0.5,0.7,0.8,0.9,0.95]

Weekly mean offsets of players whose luck lasts from week to week (AR(1)) by 0, .5 and .8, with a standard deviation of
6, 12 and 25 ms, over 8, 16 and 26 weeks with one or three takes each; and the same with a step of 20, 40 and 60 ms in a
week of the middle half. Shares in % of series in which a step is told, by the probability from which it is.
"""

from __future__ import annotations

import argparse
import math
from datetime import date, timedelta

import numpy as np

from strumclock.weeks import placement

MONDAY = date(2024, 1, 1)
TAKE_SD_MS = 8.0


def series(rng: np.random.Generator, n: int, sd: float, lasts: float, takes: int, step: float) -> list[float]:
    """One player's weekly means, ms."""
    x = rng.normal(0, sd)
    at = int(rng.integers(n // 4, n - n // 4)) if step else n
    out = []
    for week in range(n):
        x = lasts * x + rng.normal(0, sd * math.sqrt(1 - lasts**2)) if week else x
        out.append(x + rng.normal(0, TAKE_SD_MS / math.sqrt(takes)) + (step if week >= at else 0.0))
    return out


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--series", type=int, default=400)
    parser.add_argument("--sure", default=f"0.5,0.7,0.8,0.9,{placement.SURE:g}")
    told = parser.parse_args()
    sure = [float(s) for s in told.sure.split(",")]
    placement.SURE = 0.0  # everything is told, with its probability
    print("told from a probability of", *(f"{s:5g}" for s in sure))
    for step in (0.0, 20.0, 40.0, 60.0):
        for lasts in (0.0, 0.5, 0.8):
            for sd in (6.0, 12.0, 25.0):
                rng, found = np.random.default_rng(7), []
                for k in range(told.series):
                    n, takes = (8, 16, 26)[k % 3], (1, 3)[k % 2]
                    values = series(rng, n, sd, lasts, takes, step)
                    weeks = [(MONDAY + timedelta(weeks=i), v, takes) for i, v in enumerate(values)]
                    one = placement.moved(weeks, take_sd_ms=TAKE_SD_MS, bpm=90)
                    found.append(one.p if one else 0.0)
                shares = " ".join(f"{100 * np.mean(np.array(found) >= s):5.1f}" for s in sure)
                print(f"step {step:2g} ms, luck {sd:2g} ms lasting {lasts:.1f}: {shares}", flush=True)


if __name__ == "__main__":
    main()
