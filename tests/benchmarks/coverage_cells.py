"""How often the players' 95 % intervals hold the truth, cell by cell.

usage: python -m tests.benchmarks.coverage_cells [--takes 2000] [--motor 5] [--omit 0] [--whole] [--noise normal,..]

Players follow linear phase correction, A(n+1) = (1 − α) A(n) + T(n) + M(n+1) − M(n), with T of 10 ms and M of
`--motor` ms standard deviation, in their stationary state, about a mean of 12 ms and a drift line of 20 ms a minute
at 100 bpm. The truths are those of the player, not of the take: the line's height at the middle of the take, its
slope, and the standard deviation about the line that takes of this length show (root mean square, from the covariance
of the errors: the stationary one less what the line takes out of slow wander).
"""

from __future__ import annotations

import argparse
import math
import sys
import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from strumclock.errors import Absent
from strumclock.timing import Estimate, PlacedStrums, fit_line, intervals, measure_timing
from strumclock.timing.error_model import fit_error_model

SHARES = (0.2, 0.5, 1.0, 1.5)
LENGTHS = (16, 24, 48, 96, 192)
NOISES = ("normal", "skewed", "t5")
FIGURES = ("mean_offset_ms", "jitter_ms", "drift_ms_per_min")
CLOCK_MS, BEAT_S, MEAN_MS, DRIFT_MS_PER_MIN, SETTLING = 10.0, 0.6, 12.0, 20.0, 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Coverage of one cell, shares of 1; `given` is the share of takes in which the figure was not absent."""

    share: float
    n: int
    noise: str
    covered: dict[str, float]
    given: dict[str, float]


def noise(rng: np.random.Generator, kind: str, size: tuple[int, ...]) -> NDArray[np.float64]:
    """Independent errors of mean 0 and standard deviation 1; `skewed` is a gamma distribution of shape 2."""
    if kind == "normal":
        return rng.standard_normal(size)
    if kind == "t5":
        return np.asarray(rng.standard_t(5, size) / math.sqrt(5 / 3))
    if kind == "exponential":
        return rng.exponential(1.0, size) - 1
    if kind == "skewed":
        return np.asarray((rng.gamma(2.0, 1.0, size) - 2) / math.sqrt(2))
    raise ValueError(f"no such noise: {kind}")


def players(
    rng: np.random.Generator, takes: int, n: int, share: float, kind: str, motor_ms: float
) -> NDArray[np.float64]:
    """Errors of `takes` players in their stationary state, (takes, n), ms."""
    clock = CLOCK_MS * noise(rng, kind, (takes, n + SETTLING))
    hand = motor_ms * noise(rng, kind, (takes, n + SETTLING))
    error = np.zeros((takes, n + SETTLING))
    for i in range(1, n + SETTLING):
        error[:, i] = (1 - share) * error[:, i - 1] + clock[:, i] + hand[:, i] - hand[:, i - 1]
    return error[:, SETTLING:]


def whole_figures(offset_ms: NDArray[np.float64], slot: NDArray[np.int64]) -> dict[str, Estimate | None]:
    """Mean, jitter and drift as `measure_timing` gives them."""
    line_s = BEAT_S * slot
    strums = PlacedStrums.of(line_s + offset_ms / 1e3, line_s, slot=slot, bar=slot // 4 + 1, beat=slot % 4 + 1)
    timing = measure_timing(strums)
    return {key: getattr(timing, key) for key in FIGURES}


def bare_figures(offset_ms: NDArray[np.float64], slot: NDArray[np.int64]) -> dict[str, Estimate | Absent]:
    """The same three without all the others, five times as fast; a test pins them to `whole_figures`."""
    n, minutes = slot.size, BEAT_S * slot / 60
    line, from_middle, none = fit_line(minutes, offset_ms), minutes - minutes.mean(), np.zeros(slot.size)
    model = fit_error_model(offset_ms, slot, np.column_stack([np.ones(n), from_middle]))
    slope = from_middle / (from_middle @ from_middle)
    return {
        "mean_offset_ms": intervals.combination(float(offset_ms.mean()), np.full(n, 1 / n), model, none),
        "jitter_ms": intervals.scatter(line.residual, n - 2, model, none),
        "drift_ms_per_min": intervals.combination(line.slope, slope, model, none),
    }


def shown_sd(share: float, motor_ms: float, slot: NDArray[np.int64]) -> float:
    """Standard deviation that takes with these slots show about their line, ms.

    γ(0) = (s_T² + 2 α s_M²) / (1 − (1 − α)²), γ(1) = (1 − α) γ(0) − s_M², γ(k) = (1 − α)^(k − 1) γ(1).
    """
    left = 1 - share
    gamma = np.empty(int(slot[-1] - slot[0]) + 1)
    gamma[0] = (CLOCK_MS**2 + 2 * share * motor_ms**2) / (1 - left**2)
    gamma[1:] = (left * gamma[0] - motor_ms**2) * left ** np.arange(gamma.size - 1)
    basis, _ = np.linalg.qr(np.column_stack([np.ones(slot.size), slot - slot.mean()]))
    taken = np.einsum("ip,ij,jp->", basis, gamma[np.abs(slot[:, None] - slot)], basis)
    return math.sqrt((slot.size * gamma[0] - float(taken)) / (slot.size - 2))


def cell(*, share: float, n: int, kind: str, takes: int, motor_ms: float, omit: float, whole: bool) -> Cell:
    """Measure `takes` simulated takes and count the intervals that hold the truth."""
    rng = np.random.default_rng([1, int(10 * share), n, len(kind)])
    slots = np.arange(n)
    minutes = BEAT_S * slots / 60
    errors = players(rng, takes, n, share, kind, motor_ms) + MEAN_MS + DRIFT_MS_PER_MIN * minutes
    held, given = dict.fromkeys(FIGURES, 0), dict.fromkeys(FIGURES, 0)
    for row in errors:
        kept = np.flatnonzero(rng.random(n) >= omit)
        truth = {
            "mean_offset_ms": MEAN_MS + DRIFT_MS_PER_MIN * minutes[kept].mean(),
            "jitter_ms": shown_sd(share, motor_ms, kept),
            "drift_ms_per_min": DRIFT_MS_PER_MIN,
        }
        for key, figure in (whole_figures if whole else bare_figures)(row[kept], kept).items():
            if isinstance(figure, Estimate):
                given[key] += 1
                held[key] += figure.low <= truth[key] <= figure.high
    return Cell(
        share=share,
        n=n,
        noise=kind,
        covered={key: held[key] / max(given[key], 1) for key in FIGURES},
        given={key: given[key] / takes for key in FIGURES},
    )


def main(arguments: list[str] | None = None) -> None:
    """Print the table of cells and what is pooled."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=2000)
    parser.add_argument("--motor", type=float, default=5.0)
    parser.add_argument("--omit", type=float, default=0.0)
    parser.add_argument("--whole", action="store_true", help="through measure_timing, five times slower")
    parser.add_argument("--noise", default=",".join(NOISES))
    options = parser.parse_args(arguments)
    kinds, began = options.noise.split(","), time.perf_counter()
    print(f"{options.takes} takes a cell, M {options.motor:g} ms, {options.omit:.0%} omitted")
    print("% covered: mean jitter drift")
    print("alpha    n  " + "".join(f"{kind:>21s}" for kind in kinds))
    cells = []
    for share in SHARES:
        for n in LENGTHS:
            row = [
                cell(
                    share=share,
                    n=n,
                    kind=kind,
                    takes=options.takes,
                    motor_ms=options.motor,
                    omit=options.omit,
                    whole=options.whole,
                )
                for kind in kinds
            ]
            cells += row
            figures = ["  ".join(f"{100 * c.covered[key]:5.1f}" for key in FIGURES) for c in row]
            print(f"{share:5.1f} {n:4d}  " + "".join(f"{text:>21s}" for text in figures), flush=True)
    for key in FIGURES:
        every = np.array([c.covered[key] for c in cells])
        strict = np.array([c.covered[key] for c in cells if c.share >= 0.5 and c.n >= 24])
        absent = 1 - np.mean([c.given[key] for c in cells])
        print(
            f"{key:17s} pooled {every.mean():.1%}, least with alpha >= 0.5 and n >= 24 {strict.min():.1%}, "
            f"most {every.max():.1%}, absent {absent:.1%}"
        )
    print(f"{time.perf_counter() - began:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
