"""How often the interval of the lateness at chord changes holds the truth, and how often they are shown in vain.

usage: python -m tests.benchmarks.coverage_changes [--takes 400] [--jobs 1]

Players correct half of each error (T 8, M 5 ms), in 4/4 at 100 bpm, with a change on beat 1 of every bar or every other
bar. Changes are late by 40 ms on average, scattering as other strums do, twice or three times as much; by an
exponential time of 60 ms; by 90 ms in a third of them. "Shown": the same with a mean of 0: share of takes in which the
changes, a pair of chords or a beat are shown all the same. The chords are A D A E, so that there are four pairs.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray
from tests.benchmarks.cells import run_cells
from tests.benchmarks.coverage_cells import players

from strumclock.timing import PlacedStrums, Timing, measure_timing

LENGTHS = ((32, 4), (64, 4), (64, 8), (128, 4), (128, 8))
OTHER_SD_MS = 10.0
CHORDS = ("A", "D", "A", "E")


def late_ms(rng: np.random.Generator, kind: str, n: int) -> tuple[NDArray[np.float64], float]:
    """How late the changes are beyond the player's other errors, and its expectation."""
    if kind == "exponential":
        return rng.exponential(60.0, n), 60.0
    if kind == "a third":
        return 90.0 * (rng.random(n) < 1 / 3), 30.0
    times = float(kind.removeprefix("sd x"))
    return 40 + OTHER_SD_MS * np.sqrt(times**2 - 1) * rng.standard_normal(n), 40.0


def take(offset_ms: NDArray[np.float64], every: int) -> Timing:
    """One take with a change every so many beats."""
    slot = np.arange(offset_ms.size)
    change = (slot % every == 0) & (slot > 0)
    chord = tuple(CHORDS[i // every % len(CHORDS)] for i in slot)
    line_s = 0.6 * slot
    strums = PlacedStrums.of(
        line_s + offset_ms / 1e3, line_s, slot=slot, bar=slot // 4 + 1, beat=slot % 4 + 1, at_change=change, chord=chord
    )
    return measure_timing(strums)


KINDS = ("sd x1", "sd x2", "sd x3", "exponential", "a third")


def cell(asked: tuple[int, int, str, int]) -> tuple[float, float]:
    """% of intervals that hold the truth, and % of takes in which something is shown that is not there."""
    n, every, kind, takes = asked
    rng = np.random.default_rng([n, every, len(kind)])
    change = (np.arange(n) % every == 0) & (np.arange(n) > 0)
    held = named = 0
    for row in players(rng, takes, n, 0.5, "normal", 5.0):
        late, expected = late_ms(rng, kind, int(change.sum()))
        offset_ms = 0.8 * row
        offset_ms[change] += late
        found = take(offset_ms, every).at_change
        assert found is not None
        held += found.low <= expected <= found.high
        offset_ms[change] -= expected
        named += any(f.shown and f.kind in ("changes", "pair", "beat") for f in take(offset_ms, every).findings)
    return 100 * held / takes, 100 * named / takes


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    asked = [(n, every, kind, options.takes) for n, every in LENGTHS for kind in KINDS]
    found = dict(zip(asked, run_cells(cell, asked, options.jobs), strict=True))
    print(
        f"{options.takes} takes a cell; % of intervals that hold the truth; in brackets % shown where nothing is late"
    )
    print("   n  every" + "".join(f"{kind:>16s}" for kind in KINDS))
    for n, every in LENGTHS:
        cells = [found[n, every, kind, options.takes] for kind in KINDS]
        print(f"{n:4d} {every:6d}" + "".join(f"{held:9.1f} ({named:4.1f})" for held, named in cells))


if __name__ == "__main__":
    main()
