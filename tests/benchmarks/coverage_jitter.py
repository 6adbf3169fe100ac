"""How often the jitter's interval holds the standard deviation that a player's takes of this length show, and how wide.

usage: python -m tests.benchmarks.coverage_jitter [--takes 400] [--jobs 1]

The players of `coverage_memory`. The truth is the root mean square about the drift line (n - 2 degrees of freedom) of
4000 takes of the same length. Printed: % held, median width over the truth.
"""

from __future__ import annotations

import argparse

import numpy as np
from tests.benchmarks.cells import run_cells
from tests.benchmarks.coverage_cells import bare_figures
from tests.benchmarks.coverage_memory import PLAYERS, errors

from strumclock.timing import Estimate

LENGTHS = (24, 48, 96, 192)
MANY = 4000


def cell(asked: tuple[str, tuple[float, ...], int, int]) -> tuple[float, float]:
    """Share held and the width of the interval."""
    kind, which, n, takes = asked
    rng = np.random.default_rng([n, len(kind), *(int(100 * x) for x in which)])
    slot = np.arange(n)
    basis, _ = np.linalg.qr(np.column_stack([np.ones(n), slot - slot.mean()]))
    many = errors(rng, kind, which, MANY, n)
    left = many - many @ basis @ basis.T
    truth = float(np.sqrt(np.mean(left**2) * n / (n - 2)))
    found = [bare_figures(row, slot)["jitter_ms"] for row in errors(rng, kind, which, takes, n)]
    known = [e for e in found if isinstance(e, Estimate)]
    held = sum(e.low <= truth <= e.high for e in known)
    return 100 * held / takes, float(np.median([e.high - e.low for e in known])) / truth


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=1)
    options = parser.parse_args()
    asked = [(kind, which, n, options.takes) for kind, which in PLAYERS for n in LENGTHS]
    found = run_cells(cell, asked, options.jobs)
    print(f"{options.takes} takes a cell; % held, width over the truth")
    print(f"{'player':28s}" + "".join(f"{f'n = {n}':>14s}" for n in LENGTHS))
    for i, (kind, which) in enumerate(PLAYERS):
        row = found[i * len(LENGTHS) : (i + 1) * len(LENGTHS)]
        name = f"{kind} {' / '.join(f'{x:g}' for x in which)}"
        print(f"{name:28s}" + "".join(f"{held:8.1f} {wide:5.2f}" for held, wide in row))


if __name__ == "__main__":
    main()
