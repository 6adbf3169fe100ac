"""Measure one take from Python: print what it came to, hold it against the truth, and draw it.

usage: python examples/measure_a_take.py [PICTURE]      (default: out/late_changes.png)

The take is Tomasz's reference take: he is with the click, except on the first strum of every new chord.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

import strumclock as sc

REFERENCE_AUDIO = Path(__file__).resolve().parents[1] / "reference_audio"
TAKE = REFERENCE_AUDIO / "late_changes.flac"


def main(picture: Path) -> None:
    """Measure, print, compare, draw."""
    exercise = sc.Exercise(
        name="changes G C D", bpm=72, meter="4/4", pattern="DDDD", count_in=1, chords=("G", "C", "D", "C")
    )
    take = sc.measure(TAKE, exercise, changes=True)

    print(sc.summary(take))  # what a student reads
    print()
    print(sc.table(take))  # what a teacher or a researcher reads

    # Every figure is an Estimate: a value, its 95 % interval, and how well it was measured.
    mean = take.timing.mean_offset_ms if take.timing else None
    if mean is not None:
        print(f"\nmean offset {mean.value:+.1f} ms, 95 % interval {mean.low:+.1f} to {mean.high:+.1f}, u {mean.u:.2f}")

    # This take was synthesised, so its true times are known.
    truth = json.loads(TAKE.with_suffix(".json").read_text(encoding="utf-8"))
    true_s = np.array([strum["time_s"] for strum in truth["strums"]])
    found_s = np.array([strum.time_s for strum in take.strums])
    nearest = np.abs(found_s[:, None] - true_s).argmin(axis=1)
    errors_ms = 1000 * (found_s - true_s[nearest])
    print(f"{len(found_s)} strums found, {len(true_s)} played; errors: median {np.median(errors_ms):+.2f} ms, "
          f"median absolute deviation {np.median(np.abs(errors_ms - np.median(errors_ms))):.2f} ms")  # fmt: skip

    picture.parent.mkdir(parents=True, exist_ok=True)
    sc.plot_take(take).savefig(picture, dpi=120)
    print(f"picture: {picture}")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path("out") / "late_changes.png")
