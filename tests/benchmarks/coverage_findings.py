"""How often something is said of even players, and what a one-off step and a steady drift are called.

usage: python -m tests.benchmarks.coverage_findings [--takes 200] [--jobs 1]

Players follow linear phase correction (T 8 ms, M 4 ms) in 4/4 at 100 bpm, with one or two strums a beat and a chord
change every other bar; `memory` is fractional noise of H = .8 with a standard deviation of 10 ms. "Said": anything
shown, and named (shown and to be heard). A step of 20 ms comes at the middle or after a third; a drift moves as far
over the whole take. Rows of steps and drifts: % called a step, a drift, both; and a step found at most 3 strums beside
its place.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, toeplitz
from tests.benchmarks.cells import run_cells
from tests.benchmarks.coverage_cells import players

from strumclock.timing import PlacedStrums, Timing, measure_timing
from strumclock.timing.members import fgn_autocorrelation

LENGTHS = (32, 64, 128)
SIZE_MS = 20.0


def errors(rng: np.random.Generator, kind: str, takes: int, n: int) -> NDArray[np.float64]:
    """Errors of even players, ms."""
    if kind == "memory":
        factor = cholesky(toeplitz(fgn_autocorrelation(0.8, n - 1)), lower=True)
        return np.asarray(10 * rng.standard_normal((takes, n)) @ factor.T)
    return 0.8 * players(rng, takes, n, float(kind), "normal", 5.0)


def take(offset_ms: NDArray[np.float64], per_beat: int) -> Timing:
    """One take with chord changes every other bar."""
    slot = np.arange(offset_ms.size)
    every = 8 * per_beat
    chord = tuple("ADAE"[i // every % 4] for i in slot)
    strums = PlacedStrums.of(
        0.6 / per_beat * slot + offset_ms / 1e3,
        0.6 / per_beat * slot,
        slot=slot,
        bar=slot // (4 * per_beat) + 1,
        beat=slot // per_beat % 4 + 1,
        part=slot % per_beat + 1,
        at_change=(slot % every == 0) & (slot > 0),
        chord=chord,
    )
    return measure_timing(strums)


KINDS = ("0.2", "0.5", "1.0", "1.5", "memory")


def even(asked: tuple[int, int, str, int]) -> str:
    """How often anything is shown of even players, a trend alone, and anything named."""
    n, per_beat, kind, takes = asked
    rng = np.random.default_rng([n, per_beat, len(kind)])
    found = [take(row, per_beat).findings for row in errors(rng, kind, takes, n)]
    shown = np.mean([any(f.shown for f in fs) for fs in found])
    trend = np.mean([any(f.shown and f.kind in ("drift", "step") for f in fs) for fs in found])
    named = np.mean([any(f.named for f in fs) for fs in found])
    return f"{100 * shown:6.1f} ({100 * trend:4.1f}) {100 * named:4.1f}"


def moved(asked: tuple[int, str, str, int]) -> str:
    """What a step or a drift is called."""
    n, truth, kind, takes = asked
    at = n // 2 if truth == "step 1/2" else n // 3
    shift = SIZE_MS * ((np.arange(n) >= at) if truth != "drift" else np.arange(n) / (n - 1))
    rng = np.random.default_rng([n, len(truth), len(kind)])
    called = {"step": 0, "drift": 0, "both": 0, "placed": 0}
    for row in errors(rng, kind, takes, n):
        shown = {f.kind: f for f in take(row + shift, 1).findings if f.shown}
        step = shown.get("step")
        if step is not None and "drift" in shown:
            called["both"] += 1
        elif step is not None or "drift" in shown:
            called["step" if step is not None else "drift"] += 1
        called["placed"] += step is not None and isinstance(step.where, int) and abs(step.where - at) <= 3
    only, drifts, both, placed = (100 * count / takes for count in called.values())
    return f"{only:8.0f}/{drifts:4.0f}/{both:4.0f} ({placed:3.0f})"


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    print(f"{options.takes} takes a cell; even players: % shown (of trends alone) named")
    print("   n  parts" + "".join(f"{kind:>18s}" for kind in KINDS))
    rows = [(n, per_beat) for n in LENGTHS for per_beat in (1, 2)]
    found = run_cells(even, [(*row, kind, options.takes) for row in rows for kind in KINDS], options.jobs)
    for i, (n, per_beat) in enumerate(rows):
        print(f"{n:4d} {per_beat:6d}" + "".join(f"{text:>18s}" for text in found[5 * i : 5 * i + 5]))
    print("\n% called a step / a drift / both (step in place)")
    print("   n  truth       " + "".join(f"{kind:>24s}" for kind in KINDS))
    trends = [(n, truth) for n in LENGTHS for truth in ("step 1/2", "step 1/3", "drift")]
    found = run_cells(moved, [(*row, kind, options.takes) for row in trends for kind in KINDS], options.jobs)
    for i, (n, truth) in enumerate(trends):
        print(f"{n:4d}  {truth:10s}" + "".join(f"{text:>24s}" for text in found[5 * i : 5 * i + 5]))


if __name__ == "__main__":
    main()
