"""How often the interval of the share corrected holds the truth, and in how many takes it is told at all.

usage: python -m tests.benchmarks.coverage_correction [--takes 200] [--jobs 1]

Players of linear phase correction, T 10 ms, M 5 ms. Printed: % told, % of the told intervals that hold the truth, and
their median width in hundredths; then the same of the clock's and the hand's scatter (% told, % clock, % hand).
"""

from __future__ import annotations

import argparse

import numpy as np
from tests.benchmarks.cells import run_cells
from tests.benchmarks.coverage_cells import players

from strumclock.correction import Correction, measure_correction

SHARES, LENGTHS = (0.2, 0.5, 1.0, 1.5), (49, 64, 128, 256)
CLOCK_MS, HAND_MS = 10.0, 5.0


def cell(asked: tuple[float, int, int]) -> str:
    """One player's row at one length."""
    share, n, takes = asked
    rng = np.random.default_rng([n, int(10 * share)])
    found = [measure_correction(row, np.arange(n)) for row in players(rng, takes, n, share, "normal", HAND_MS)]
    told = [x for x in found if isinstance(x, Correction)]
    if not told:
        return "0"
    held = np.mean([x.corrected_share.low <= share <= x.corrected_share.high for x in told])
    wide = np.median([x.corrected_share.high - x.corrected_share.low for x in told])
    text = f"{100 * len(told) / takes:4.0f} {100 * held:5.1f} {100 * wide:4.0f}"
    parts = [(x.clock_ms, x.hand_ms) for x in told if x.clock_ms is not None and x.hand_ms is not None]
    if not parts:
        return f"{text}    0"
    clock = np.mean([c.low <= CLOCK_MS <= c.high for c, _ in parts])
    hand = np.mean([h.low <= HAND_MS <= h.high for _, h in parts])
    return f"{text} {100 * len(parts) / takes:4.0f} {100 * clock:5.1f} {100 * hand:5.1f}"


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    asked = [(share, n, options.takes) for share in SHARES for n in LENGTHS]
    found = run_cells(cell, asked, options.jobs)
    print(f"{options.takes} takes a cell; % told, % held, width; clock and hand: % told, % held, % held")
    print("share" + "".join(f"{f'n = {n}':>38s}" for n in LENGTHS))
    for i, share in enumerate(SHARES):
        print(f"{share:5.1f}" + "".join(f"{text:>38s}" for text in found[i * len(LENGTHS) : (i + 1) * len(LENGTHS)]))


if __name__ == "__main__":
    main()
