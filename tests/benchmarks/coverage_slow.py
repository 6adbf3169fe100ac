"""How the intervals of mean and drift move with what is expected of slow wander (`timing.error_model.SLOW_DOUBT`).

usage: python -m tests.benchmarks.coverage_slow [--takes 600] [--motor 5]

Each take is fitted once and its weights are turned by each prior. % of takes whose 95 % intervals hold mean and slope.
"""

from __future__ import annotations

import argparse

import numpy as np
from scipy.special import stdtr
from tests.benchmarks.coverage_cells import players

from strumclock.timing import error_model

PRIORS: dict[str, dict[float, float]] = {
    "flat": {},
    "in use": error_model.SLOW_DOUBT,
    "half": {0.8: 0.8, 0.88: 0.5, 0.94: 0.25},
    "none past .88": {0.88: 0.5, 0.94: 0.0},
}


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=600)
    parser.add_argument("--motor", type=float, default=5.0)
    options = parser.parse_args()
    in_use = error_model.SLOW_DOUBT
    error_model.SLOW_DOUBT, error_model.NEGLIGIBLE = {}, 0.0
    print(f"{options.takes} takes a cell, normal noise, M {options.motor:g} ms; % covered: mean drift")
    print("alpha    n" + "".join(f"{name:>16s}" for name in PRIORS))
    for share in (0.2, 0.5, 1.0):
        for n in (16, 24, 48, 96):
            rng = np.random.default_rng([n, int(10 * share)])
            design = np.column_stack([np.ones(n), np.arange(n) - (n - 1) / 2])
            inverse = np.linalg.pinv(design)
            held = {name: np.zeros(2) for name in PRIORS}
            for row in players(rng, options.takes, n, share, "normal", options.motor):
                found = error_model.fit_error_model(row, np.arange(n), design)
                below = stdtr(found.dof, np.abs(inverse @ row)[:, None] / np.sqrt(found.variance_of(inverse)))
                for name, prior in PRIORS.items():
                    weight = found.weight * np.array([prior.get(phi, 1.0) for phi in found.phi])
                    held[name] += below @ weight / weight.sum() <= 0.975
            cells = [f"{mean:9.1f} {slope:6.1f}" for mean, slope in (100 * h / options.takes for h in held.values())]
            print(f"{share:5.1f} {n:4d}" + "".join(cells), flush=True)
    error_model.SLOW_DOUBT = in_use


if __name__ == "__main__":
    main()
