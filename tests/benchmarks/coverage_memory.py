"""How often the intervals of mean, median and beats hold the truth for players of short and long memory, and how wide.

usage: python -m tests.benchmarks.coverage_memory [--takes 400] [--jobs 1] [--people BENCH_DATA_FOLDER]

Players: fractional noise of H = .6 to .9; AR(2) of .5 and .3; linear phase correction (T 10, M 5 ms, α .2 to 1.5);
phase and period correction (the same with the period following the error by β); all at one strum a beat in 4/4.
Printed: % of 95 % intervals that hold the truth: mean median beats; median width of the mean's interval over that of
linear phase correction alone ("short"), and over the ideal, 2 · 1.96 true standard deviations of the mean.

With `--people`: drummers (`human_deviations.json` of the bench's data), first against last 128 strokes of a take: share
of takes whose two means differ beyond the two intervals, slots counted one by one and as eighths.
"""

from __future__ import annotations

import argparse
import json
import math
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky, toeplitz
from tests.benchmarks.cells import run_cells

from strumclock.timing import Estimate, PlacedStrums, Timing, measure_timing
from strumclock.timing.error_model import fit_error_model
from strumclock.timing.members import fgn_autocorrelation

Floats = NDArray[np.float64]
LENGTHS = (16, 32, 64, 128)
PLAYERS: list[tuple[str, tuple[float, ...]]] = [
    *(("H", (h,)) for h in (0.6, 0.7, 0.8, 0.9)),
    ("AR(2)", (0.5, 0.3)),
    *(("phase", (share,)) for share in (0.2, 0.5, 1.0, 1.5)),
    *(("phase and period", pair) for pair in ((0.3, 0.1), (0.3, 0.3), (0.5, 0.2), (0.8, 0.1))),
]
SETTLING, HALF = 400, 128


def phase_and_period(rng: np.random.Generator, takes: int, n: int, alpha: float, beta: float) -> Floats:
    """Players who correct the phase by α and the period by β, T 10 and M 5 ms, in their stationary state."""
    clock, hand = 10 * rng.standard_normal((takes, n + SETTLING)), 5 * rng.standard_normal((takes, n + SETTLING))
    error, period = np.zeros((takes, n + SETTLING)), np.zeros(takes)
    for i in range(1, n + SETTLING):
        period = period - beta * error[:, i - 1]
        error[:, i] = (1 - alpha) * error[:, i - 1] + period + clock[:, i] + hand[:, i] - hand[:, i - 1]
    return error[:, SETTLING:]


def errors(rng: np.random.Generator, kind: str, which: tuple[float, ...], takes: int, n: int) -> Floats:
    """Errors of so many players, (takes, n), ms."""
    if kind == "H":
        factor = cholesky(toeplitz(fgn_autocorrelation(which[0], n - 1)), lower=True)
        return np.asarray(10 * rng.standard_normal((takes, n)) @ factor.T)
    if kind == "AR(2)":
        drawn = 10 * rng.standard_normal((takes, n + SETTLING))
        for i in range(2, n + SETTLING):
            drawn[:, i] += which[0] * drawn[:, i - 1] + which[1] * drawn[:, i - 2]
        return drawn[:, SETTLING:]
    return phase_and_period(rng, takes, n, which[0], which[1] if len(which) > 1 else 0.0)


def timing_of(offset_ms: Floats, slot: NDArray[np.int64]) -> Timing:
    """One take, one strum a beat."""
    line_s = 0.6 * slot
    strums = PlacedStrums.of(line_s + offset_ms / 1e3, line_s, slot=slot, bar=slot // 4 + 1, beat=slot % 4 + 1)
    return measure_timing(strums)


def holds(estimate: Estimate | None) -> bool:
    """Whether the interval holds 0, the truth of every player here."""
    return estimate is not None and estimate.low <= 0 <= estimate.high


def cell(asked: tuple[str, tuple[float, ...], int, int]) -> tuple[float, float, float, float, float]:
    """Coverage of mean, median and beats, and the widths over those of short memory and the ideal."""
    kind, which, n, takes = asked
    rng = np.random.default_rng([n, len(kind), *(int(100 * x) for x in which)])
    slot = np.arange(n)
    ideal = float(np.std(errors(rng, kind, which, 4000, n).mean(axis=1)))
    design = np.column_stack([np.ones(n), slot - slot.mean()])
    held, widths, short = np.zeros(3), [], []
    for row in errors(rng, kind, which, takes, n):
        timing = timing_of(row, slot)
        beats = np.mean([holds(group.offset_ms) for group in timing.by_beat])
        held += [holds(timing.mean_offset_ms), holds(timing.median_offset_ms), float(beats)]
        assert timing.mean_offset_ms is not None
        widths.append(timing.mean_offset_ms.high - timing.mean_offset_ms.low)
        model = fit_error_model(row, slot, design, phase_only=True)
        short.append(2 * float(model.half_width(np.full(n, 1 / n))))
    mean, median, beats_held = 100 * held / takes
    wide = float(np.median(widths))
    return mean, median, beats_held, wide / float(np.median(short)), wide / (2 * 1.96 * ideal)


def people(folder: Path) -> None:
    """First against last 128 strokes of each drummer."""
    takes = [
        take for take in json.loads((folder / "human_deviations.json").read_text()) if len(take["eighth"]) >= 2 * HALF
    ]
    for player in sorted({take["player"] for take in takes}):
        for named, eighths in (("one by one", False), ("as eighths", True)):
            beyond = []
            for take in takes:
                if take["player"] != player:
                    continue
                eighth, ms = np.array(take["eighth"]), np.array(take["deviation_ms"])
                slot = eighth - eighth[0] if eighths else np.arange(ms.size)
                first, last = (
                    timing_of(ms[part], slot[part]).mean_offset_ms for part in (slice(HALF), slice(-HALF, None))
                )
                assert first is not None
                assert last is not None
                reach = math.hypot(first.high - first.value, last.high - last.value)
                beyond.append(abs(first.value - last.value) > reach)
            print(f"{player}, slots {named}: {np.mean(beyond):.1%} of {len(beyond)} takes beyond")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=400)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--people", type=Path)
    options = parser.parse_args()
    if options.people is not None:
        people(options.people)
        return
    asked = [(kind, which, n, options.takes) for kind, which in PLAYERS for n in LENGTHS]
    found = run_cells(cell, asked, options.jobs)
    print(f"{options.takes} takes a cell; % held: mean median beats, width over short memory's, over the ideal")
    print(f"{'player':28s}" + "".join(f"{f'n = {n}':>32s}" for n in LENGTHS))
    for i, (kind, which) in enumerate(PLAYERS):
        row = found[i * len(LENGTHS) : (i + 1) * len(LENGTHS)]
        cells = [f"{m:8.1f} {d:5.1f} {b:5.1f}  {s:4.2f} {o:5.2f}" for m, d, b, s, o in row]
        print(f"{kind + ' ' + ' / '.join(f'{x:g}' for x in which):28s}" + "".join(f"{c:>32s}" for c in cells))


if __name__ == "__main__":
    main()
