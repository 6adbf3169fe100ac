"""How often the jitter's interval holds the truth where a few strums are strays.

usage: python -m tests.benchmarks.coverage_strays [--takes 200]

Players correct half of each error (T 8, M 4 ms); 2 % of their strums lie 80 ms off, to either side. "All": % of
intervals that hold the standard deviation of endless takes, strays included; "as they came": the same with as many
strays as the take had, which is what the interval is said to be of; in brackets the median width over the player's own
standard deviation.
"""

from __future__ import annotations

import argparse

import numpy as np
from tests.benchmarks.coverage_cells import players
from tests.benchmarks.coverage_memory import timing_of

STRAYS, STRAY_MS, SHARE = 0.02, 80.0, 0.5


def main() -> None:
    """Print a row a length."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=200)
    takes = parser.parse_args().takes
    own = 0.8 * float(players(np.random.default_rng(0), 200, 500, SHARE, "normal", 5.0).std())
    whole = float(np.hypot(own, STRAY_MS * np.sqrt(STRAYS)))
    print(f"{takes} takes; own sd {own:.1f} ms, with strays {whole:.1f} ms")
    for n in (48, 96, 192):
        rng = np.random.default_rng(n)
        found, came = [], []
        for row in players(rng, takes, n, SHARE, "normal", 5.0):
            stray = np.where(rng.random(n) < STRAYS, STRAY_MS * rng.choice([-1, 1], n), 0.0)
            came.append(float(np.hypot(own, STRAY_MS * np.sqrt(np.mean(stray != 0)))))
            found.append(timing_of(0.8 * row + stray, np.arange(n)).jitter_ms)
        held = [
            np.mean([e is not None and e.low <= sd <= e.high for e, sd in zip(found, truth, strict=True)])
            for truth in ([whole] * takes, came)
        ]
        wide = np.median([e.high - e.low for e in found if e is not None]) / own
        print(f"n {n:4d}: all {held[0]:.1%}, as they came {held[1]:.1%} ({wide:.2f})", flush=True)


if __name__ == "__main__":
    main()
