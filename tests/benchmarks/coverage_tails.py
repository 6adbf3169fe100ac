"""How the jitter's interval moves with the prior on heavy tails (`timing.error_model.TAIL_PRIOR`, `TAIL_PRIOR_STRUMS`).

usage: python -m tests.benchmarks.coverage_tails [--takes 4000]

Independent errors about a line, so that only the tails are tried; % of takes whose 95 % interval holds the true
standard deviation, and in brackets the share of takes whose interval lies below it. `none` takes the errors for normal.
"""

from __future__ import annotations

import argparse

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri
from tests.benchmarks.coverage_cells import noise

from strumclock.timing import error_model

LENGTHS = (16, 24, 48, 96, 192)
NOISES = ("normal", "skewed", "exponential", "t5")
PRIORS = {
    "none": None,
    "0, 0 worth 1": ((0.0, 0.0), 1),
    "2, 2 worth 30": ((2.0, 2.0), 30),
    "1, 3 worth 30": ((1.0, 3.0), 30),
    "in use": (error_model.TAIL_PRIOR, error_model.TAIL_PRIOR_STRUMS),
    "1, 4 worth 60": ((1.0, 4.0), 60),
}


def covered(errors: NDArray[np.float64], prior: tuple[tuple[float, float], int] | None) -> tuple[float, float]:
    """Shares of takes whose interval holds 1, and whose interval lies below 1."""
    n = errors.shape[1]
    dof, held, below = n - 2, 0, 0
    if prior is not None:
        error_model.TAIL_PRIOR, error_model.TAIL_PRIOR_STRUMS = prior
    for row in errors:
        low_excess, high_excess = (0.0, 0.0) if prior is None else error_model._excess(row)
        square = float(row @ row)
        low, high = (
            square / dof * (k := dof / (1 + excess / 2)) / float(chdtri(k, share))
            for excess, share in ((low_excess, 0.025), (high_excess, 0.975))
        )
        held += low <= 1 <= high
        below += high < 1
    return held / len(errors), below / len(errors)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=4000)
    takes = parser.parse_args().takes
    in_use = error_model.TAIL_PRIOR, error_model.TAIL_PRIOR_STRUMS
    print(f"{takes} takes a cell; % covered (% too low)")
    print(f"{'prior':15s}   n" + "".join(f"{kind:>15s}" for kind in NOISES))
    for name, prior in PRIORS.items():
        for n in LENGTHS:
            rng = np.random.default_rng(n)
            design, _ = np.linalg.qr(np.column_stack([np.ones(n), np.arange(n)]))
            cells = []
            for kind in NOISES:
                errors = noise(rng, kind, (takes, n))
                held, below = covered(errors - errors @ design @ design.T, prior)
                cells.append(f"{100 * held:8.1f} ({100 * below:4.1f})")
            print(f"{name:15s} {n:3d}" + "".join(cells), flush=True)
    error_model.TAIL_PRIOR, error_model.TAIL_PRIOR_STRUMS = in_use


if __name__ == "__main__":
    main()
