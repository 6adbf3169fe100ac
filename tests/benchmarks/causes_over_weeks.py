"""How often is a cause said to change that does not, and how often one that does (`strumclock.weeks.causes`)?

usage: python -m tests.benchmarks.causes_over_weeks [--series 200] [--sure 0.8,0.85,0.9,0.95]

Scatter, and lateness at chord changes, of takes at one tempo; luck of the week lasts (AR(1)) by 0, .5 or .8. Changing:
scatter to 0.6 of what it was, lateness by half, along a line or mostly in the first weeks. Shares in % of series that
are said to be smaller or larger (`false` where nothing changes), in the last week and, where `looks`, in any of twenty
weekly looks; and how many of the intervals of the size now hold it.
"""

from __future__ import annotations

import argparse
import math
from datetime import date, timedelta

import numpy as np

from strumclock.weeks import causes
from strumclock.weeks.week import Point

MONDAY = date(2024, 1, 1)
TAKE_SD, WEEK_SD = 0.15, 0.1  # of the size, as a share of it


def takes(rng: np.random.Generator, kind: str, true: np.ndarray, a_week: int, lasts: float) -> list[Point]:
    """One player's takes."""
    points, luck = [], rng.normal()
    for week, size in enumerate(true):
        luck = lasts * luck + math.sqrt(1 - lasts**2) * rng.normal()
        for k in range(a_week):
            off = WEEK_SD * luck + TAKE_SD * rng.normal()
            seen = size * math.exp(off) if kind == "scatter" else size + true[0] * off
            day = MONDAY + timedelta(weeks=week, days=k)
            points.append(Point(take=len(points), played_on=day, bpm=80, held=True, sizes={kind: float(seen)}))
    return points


def judged(points: list[Point]) -> tuple[str, bool, float, float]:
    """State and interval of the only cause."""
    found = causes.causes(points)
    if not found:
        return "none", False, 0.0, 0.0
    return found[0].state, True, found[0].now.low, found[0].now.high


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--series", type=int, default=200)
    parser.add_argument("--sure", default=f"0.8,0.85,{causes.SURE:g},0.95")
    told = parser.parse_args()
    for sure in map(float, told.sure.split(",")):
        causes.SURE = sure
        for kind, size, left in (("scatter", 20.0, 0.6), ("changes", 80.0, 0.5)):
            for lasts in (0.0, 0.5, 0.8):
                rng, row = np.random.default_rng(3), []
                flat = [
                    judged(takes(rng, kind, np.full((8, 14, 24)[k % 3], size), 1 + k % 3, lasts))
                    for k in range(told.series)
                ]
                row.append(f"false {100 * np.mean([s in ('smaller', 'larger') for s, *_ in flat]):5.1f}")
                ever = []
                for k in range(told.series // 4):
                    points = takes(rng, kind, np.full(25, size), 1 + k % 3, lasts)
                    upto = [[p for p in points if p.played_on < MONDAY + timedelta(weeks=w)] for w in range(6, 26)]
                    ever.append(any(judged(seen)[0] in ("smaller", "larger") for seen in upto))
                row.append(f"in 20 looks {100 * np.mean(ever):5.1f}")
                for shape in ("line", "early"):
                    said, holds = [], []
                    for k in range(told.series):
                        time = np.arange((8, 14, 24)[k % 3], dtype=float)
                        gone = time / time[-1] if shape == "line" else 1 - np.exp(-0.3 * time)
                        true = size * (1 - (1 - left) * gone)
                        state, known, low, high = judged(takes(rng, kind, true, 1 + k % 3, lasts))
                        said.append(state == "smaller")
                        holds += [low <= true[-1] <= high] if known else []
                    row.append(f"{shape} seen {100 * np.mean(said):4.0f} holds {100 * np.mean(holds):4.0f}")
                print(f"sure {sure:g} {kind:8s} luck lasts {lasts:g}: {'  '.join(row)}", flush=True)


if __name__ == "__main__":
    main()
