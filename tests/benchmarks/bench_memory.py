"""How memory grows with the length of a take: `python tests/benchmarks/bench_memory.py [--minutes 10,28]`.

Synthesised takes (100 bpm, eighths, click audible, 44.1 kHz, WAV of 16 bits), mono and stereo, each measured by a fresh
process; prints peak memory and what a further minute costs. Nothing here is an assertion.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile
from bench_speed import make_take

MEASURE = """
import sys
from strumclock.grid import Exercise
from strumclock.pipeline import measure
measure(sys.argv[1], Exercise(bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU"))
# of this program's own memory: the resources that the system counts for a process begin with its parent's size
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", default="10,28")
    minutes = [int(m) for m in parser.parse_args().minutes.split(",")]
    with tempfile.TemporaryDirectory() as folder:
        peaks: dict[int, list[float]] = {1: [], 2: []}
        for length in minutes:
            samples, rate = make_take(length)
            for channels, found in peaks.items():
                file = Path(folder) / "take.wav"
                both = samples if channels == 1 else np.column_stack([samples, 0.9 * samples])
                soundfile.write(file, both[: length * 60 * rate], rate, subtype="PCM_16")
                done = subprocess.run(
                    [sys.executable, "-c", MEASURE, str(file)], capture_output=True, text=True, check=True
                )
                found.append(int(done.stdout.split()[-1]) * 1024 / 1e6)
                print(f"{length} min, {channels} channel(s): peak {found[-1]:.0f} MB", flush=True)
    for channels, found in peaks.items():
        grown = (found[-1] - found[0]) / max(minutes[-1] - minutes[0], 1)
        print(f"{channels} channel(s): {grown:.1f} MB a minute")


if __name__ == "__main__":
    main()
