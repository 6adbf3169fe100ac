"""Speed and memory beside the peers, in one run: `python tests/benchmarks/bench_speed.py [--json F]`.

Each timing is warmed up once and the median of five. In process: processor time, which other work on the machine moves
least; a 3-minute synthesised take, 44.1 kHz mono, on one core; ours finds and removes the click, finds and times the
strums, aligns and measures; the peers (librosa's `onset_detect`, essentia's `OnsetRate` where it is installed) detect
onsets in the same samples and do no more. Cold: the whole command with JSON out against a script that loads the file
with librosa and calls its `onset_detect`.
Nothing here is an assertion.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ.setdefault(name, "1")

import numpy as np  # noqa: E402  # after the thread counts are set
import soundfile  # noqa: E402  # the same

RUNS = 5
PEER = """
import sys, librosa
y, sr = librosa.load(sys.argv[1])
print(len(librosa.onset.onset_detect(y=y, sr=sr)))
"""
# A small process of its own starts the command: a child's peak memory begins with its parent's size.
LAUNCH = """
import os, subprocess, sys, time
start = time.perf_counter()
child = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
_, status, usage = os.wait4(child.pid, 0)
print(time.perf_counter() - start, usage.ru_utime + usage.ru_stime, usage.ru_maxrss, file=sys.stderr)
sys.exit(bool(status))
"""


def make_take(minutes: float) -> tuple[np.ndarray, int]:
    """A strummed take of so many minutes at 100 bpm, eighths, click audible."""
    from strumclock.grid import Exercise
    from strumclock.synthesis import Player, Scene, synthesise

    bars = round(minutes * 100 / 4)
    exercise = Exercise(bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU", bars=bars, count_in=1, chords=("A", "D"))
    take = synthesise(exercise, Player(), Scene(noise_db=-50), seed=1)
    return np.ascontiguousarray(take.samples, np.float32), take.sample_rate_hz


def timed(works: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Median processor time of five runs of each after one warm-up [s]; in turns, so that a busy moment of the machine
    meets all alike."""
    seconds: dict[str, list[float]] = {name: [] for name in works}
    for run in range(RUNS + 1):
        for name, work in works.items():
            start = time.process_time()
            work()
            if run:
                seconds[name].append(time.process_time() - start)
    return {name: median(each) for name, each in seconds.items()}


def in_process(samples: np.ndarray, rate_hz: int, *, everything: bool) -> dict[str, float]:
    """Seconds of our analysis and of the peers on the same samples."""
    import strumclock as sc

    exercise = sc.Exercise(bpm=100, meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1)
    recording = sc.from_array(samples, rate_hz)
    works: dict[str, Callable[[], object]] = {"strumclock.pipeline": lambda: sc.measure(recording, exercise)}
    if everything:
        import librosa

        works["strumclock.pipeline, changes and tuning"] = lambda: sc.measure(
            recording, exercise, changes=True, tuning=True
        )
        works["librosa.onset.onset_detect"] = lambda: librosa.onset.onset_detect(y=samples, sr=rate_hz)
        try:
            import essentia
            import essentia.standard as es
        except ImportError:
            print("essentia is not installed here: its row is missing (pip install essentia)", file=sys.stderr)
        else:
            essentia.log.infoActive = False
            works["essentia OnsetRate"] = lambda: es.OnsetRate()(samples)
    return timed(works)


def cold(command: list[str]) -> tuple[float, float, float]:
    """Median wall and processor time [s] and largest resident memory [MB] of a command started from nothing."""
    wall, processor, peak_mb = [], [], 0.0
    # pip installs a package with its bytecode; here the run that warms up writes that of this tree
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    for run in range(RUNS + 1):
        done = subprocess.run(
            [sys.executable, "-S", "-c", LAUNCH, *command], capture_output=True, text=True, check=True, env=environment
        )
        wall_s, processor_s, peak_kb = (float(x) for x in done.stderr.splitlines()[-1].split())
        if run:
            wall.append(wall_s)
            processor.append(processor_s)
            peak_mb = max(peak_mb, peak_kb / 1024)
    return median(wall), median(processor), peak_mb


def main() -> None:
    """Print the tables."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--json", help="also write the figures here")
    told = options.parse_args()
    figures: dict[str, object] = {}
    samples, rate_hz = make_take(3)
    length_s = len(samples) / rate_hz
    rows = in_process(samples, rate_hz, everything=True)
    print(f"in process, {length_s:.0f} s at {rate_hz} Hz, processor time of one core, median of {RUNS}")
    for name, seconds in rows.items():
        print(f"  {name:42s} {seconds:7.3f} s  {length_s / seconds:6.0f} x real time")
    figures["in_process_s"] = rows
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "take.wav"
        soundfile.write(path, samples, rate_hz, subtype="PCM_16")
        ours = [str(Path(sys.executable).with_name("strumclock")), "measure", str(path), "--bpm", "100", "--json", "-"]
        commands = {
            "strumclock measure --json -": ours,
            "librosa load + onset_detect": [sys.executable, "-c", PEER, str(path)],
        }
        cold_rows = {name: cold(command) for name, command in commands.items()}
        long_samples, _ = make_take(10)
        soundfile.write(path, long_samples, rate_hz, subtype="PCM_16")
        cold_rows["strumclock measure, 10 minutes"] = cold(ours)
    imports = {what: cold([sys.executable, "-c", what])[1] for what in ("import numpy", "import strumclock")}
    print("from a cold start: wall, processor time and peak memory")
    for name, (wall_s, processor_s, peak_mb) in cold_rows.items():
        print(f"  {name:42s} {wall_s:7.3f} s  {processor_s:7.3f} s  {peak_mb:6.0f} MB")
    for name, seconds in imports.items():
        print(f"  {name:42s}            {seconds:7.3f} s")
    figures |= {"cold": cold_rows, "imports": imports}
    if told.json:
        Path(told.json).write_text(json.dumps(figures, indent=1))


if __name__ == "__main__":
    main()
