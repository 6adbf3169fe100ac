"""How the strum finder's results move with each constant that was chosen by hand.

usage: python tests/benchmarks/sweep_onsets.py [--cases N] [--seed S] [NAME …]

Renders N of the shared bench's cases without their click (so that only the strum finder is judged), then finds the
strums with each constant at several values, the others as shipped. Constants marked * shape what the network was
taught on: they are moved without teaching it again, so their rows show how far the finder stands from a cliff, not
what another choice could reach. Prints the mean and worst F, median and worst sd, median MAD (ms), and how many errors
are within 2 u; then the figures of the real recordings.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import soundfile as sf

from strumclock.onsets import Strums, comparison, find_strums, finding, levels, places, residual, shipped_detector

BENCH = Path(__file__).resolve().parents[3] / "shared" / "bench"
SWEEPS: dict[str, tuple[Any, tuple[float, ...]]] = {  # None: a number of the detector's own calibration
    "least_probability": (None, (0.3, 0.4, 0.5, 0.6, 0.7, 0.8)),
    "least_rise_db": (None, (0.4, 0.6, 0.8, 1.2)),
    "earlier": (None, (0.35, 0.5, 0.7, 1.0)),
    "sharpen": (None, (0.8, 1.0, 1.3, 1.6)),
    "temper": (None, (0.0, 0.005, 0.01, 0.02, 0.04, 0.08)),  # at 0 no strum is compared
    "floor": (None, (0.15, 0.3, 0.6)),
    "LEAST_GAP_S": (finding, (0.05, 0.065, 0.08, 0.09)),
    "NEAR_MODE": (places, (2, 3, 4, 8)),
    "SECOND_LOOK_S": (finding, (0.005, 0.015, 0.025)),
    "BEFORE": (comparison, (10, 20, 30, 50)),
    "AFTER": (comparison, (30, 50, 70, 120)),
    "HOP": (comparison, (1, 2, 3)),
    "TURNS": (comparison, (1, 2, 4)),
    "PEAK_HALF_S": (levels, (0.02, 0.03, 0.045)),
    "LOUD": (levels, (0.9, 0.97, 0.99)),  # *
    "FLOOR_DB": (levels, (-70.0, -60.0, -45.0)),  # *
    "ORDER": (residual, (64, 96, 128, 160)),  # *
    "LEARN_S": (residual, (0.07, 0.085, 0.1)),  # *
    "LEARN_UNTIL_S": (residual, (0.005, 0.015, 0.025, 0.04)),  # *
}


@contextmanager
def set_to(module: Any, name: str, value: float) -> Iterator[None]:
    """The constant at another value, in its module and where it was imported by name, or in the calibration."""
    if module is None:
        shipped = shipped_detector()
        other = dataclasses.replace(shipped, calibration=dataclasses.replace(shipped.calibration, **{name: value}))
        finding.shipped_detector = lambda: other
        try:
            yield
        finally:
            finding.shipped_detector = shipped_detector
        return
    homes = [m for m in (finding, comparison, levels, places, residual) if hasattr(m, name)]
    before = getattr(module, name)
    for m in homes:
        setattr(m, name, type(before)(value))
    try:
        yield
    finally:
        for m in homes:
            setattr(m, name, before)


def main() -> None:
    a = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    a.add_argument("--cases", type=int, default=29)
    a.add_argument("--seed", type=int, default=1)
    a.add_argument("names", nargs="*")
    a = a.parse_args()
    if not BENCH.is_dir():
        sys.exit("the shared bench is not beside this checkout")
    sys.path.insert(0, str(BENCH))
    import cases
    import match
    import real
    import render

    takes = []
    for part, scene, *_ in list(cases.CASES.values())[: a.cases]:
        quiet = dataclasses.replace(scene, click_db=None, click_channel=False, codec=None)
        takes.append(render.render(part, quiet, a.seed))
    recordings = {p: sf.read(p, dtype="float32") for p in sorted((BENCH / "data" / "strumming_real").glob("*.flac"))}

    def show(label: str) -> None:
        rows, covered = [], []
        for y, truth in takes:
            found = find_strums(y, render.SR)
            rows.append(match.summary(found.time_s, truth["strums"]))
            covered.extend(_within(found, np.array(truth["strums"])))
        f, sd, mad = (np.array([r[k] for r in rows]) for k in ("f", "sd", "mad"))
        r = real.report(lambda p: find_strums(*recordings[p]).time_s, BENCH / "data" / "strumming_real", range(5))
        print(
            f"{label:26s} F {f.mean():.4f} worst {f.min():.3f} | sd {np.median(sd):.2f} worst {sd.max():.2f} | "
            f"MAD {np.median(mad):.2f} | in 2u {np.mean(covered):.3f} | real F {r['F_line']:.3f} {r['F_phone']:.3f} "
            f"agree {r['agree_share']:.3f} MAD {r['mad_ms']:.2f} p95 {r['p95_ms']:.1f}",
            flush=True,
        )

    show("as shipped")
    for name, (module, values) in SWEEPS.items():
        if a.names and name not in a.names:
            continue
        for value in values:
            with set_to(module, name, value):
                mark = " (shipped)" if value == SHIPPED[name] else ""
                show(f"{name} {value:g}{mark}")


SHIPPED = {name: getattr(module or shipped_detector().calibration, name) for name, (module, _) in SWEEPS.items()}


def _within(found: Strums, true_s: np.ndarray) -> list[bool]:
    """Whether each found strum that has a true one within 50 ms is within 2 u of it."""
    if len(found) == 0:
        return []
    nearest = np.abs(found.time_s[:, None] - true_s).min(axis=1)
    near = nearest < 0.05
    return list(nearest[near] <= 2 * found.u_s[near])


if __name__ == "__main__":
    main()
