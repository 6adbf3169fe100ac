"""How long the statistics of one take last.

usage: python -m tests.benchmarks.statistics_speed

Processor time of `measure_timing` and `measure_correction` for 360 strums of 180 s (eighths at 60 bpm)
and for 400 sixteenths with chord changes, median of 11 after one to warm up.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np

from strumclock.correction import measure_correction
from strumclock.timing import PlacedStrums, measure_timing


def milliseconds(call: Callable[[], object]) -> float:
    """Median processor time of a call, ms."""
    call()
    lasted = []
    for _ in range(11):
        began = time.process_time()
        call()
        lasted.append(time.process_time() - began)
    return 1e3 * float(np.median(lasted))


def main() -> None:
    """Print a row a take."""
    rng = np.random.default_rng(0)
    for n, per_beat, part_s in ((360, 2, 0.5), (400, 4, 0.15)):
        slots = np.arange(n)
        lines = part_s * slots
        strums = lines + 0.012 * rng.standard_normal(n)
        place = {"bar": slots // (4 * per_beat) + 1, "beat": slots // per_beat % 4 + 1, "part": slots % per_beat + 1}

        def measure(strums=strums, lines=lines, slots=slots, place=place, part_s=part_s, per_beat=per_beat):  # type: ignore[no-untyped-def]
            change = slots % (8 * per_beat) == 0
            lengths = {"part_s": part_s, "beat_s": part_s * per_beat}
            placed = PlacedStrums.of(strums, lines, slot=slots, **place, at_change=change, u_s=0.001, **lengths)
            return measure_timing(placed, tolerance_s=part_s / 8)

        timing = measure()
        print(
            f"{n} strums: measure_timing {milliseconds(measure):.1f} ms, "
            f"measure_correction {milliseconds(lambda t=timing, s=slots: measure_correction(t.deviation_ms, s)):.1f} ms"
        )


if __name__ == "__main__":
    main()
