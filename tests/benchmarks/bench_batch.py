"""A year of takes: ``python tests/benchmarks/bench_batch.py [--takes 52] [--minutes 3] [--workers N] [--everything]``.

Synthesises a folder of takes, then times `strumclock batch` on it: from nothing, and again when nothing changed, each
as a command in a process of its own; and the memory of the batch itself for few and for many (pretended) takes. Prints;
asserts nothing. Takes are made from a few performances with different beginnings, so that each file's sound is its own.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np
import soundfile

PERFORMANCES = 4
MEMORY = """
import sys
sys.path.insert(0, {tests!r})
from practice import pretend_to_measure
from strumclock.batch import measure_folder
if __name__ == "__main__":
    report = measure_folder({folder!r}, measure=pretend_to_measure, workers=2)
    (peak,) = [line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")]
    print(f"{{report.measured}} takes: {{report.elapsed_s:.1f}} s, peak {{int(peak) / 1024:.0f}} MB")
"""


def fill(folder: Path, takes: int, minutes: float) -> None:
    """Write the recordings and the settings."""
    from strumclock.grid import Exercise
    from strumclock.synthesis import Player, Scene, synthesise

    bpm = 84
    bars = round(minutes * bpm / 4)
    told = {"meter": "4/4", "per_beat": 2, "pattern": "D.DU.UDU", "chords": ("A", "D"), "beats_per_change": 4}
    exercise = Exercise(bpm=bpm, bars=bars, count_in=1, **told)
    sounds = []
    for seed in range(PERFORMANCES):
        player = Player(timekeeper_ms=9 + seed, offset_ms=-5.0 * seed)
        sounds.append(synthesise(exercise, player, Scene(noise_db=-50, reverberation_s=0.2), seed=seed))
    rng = np.random.default_rng(1)
    for k in range(takes):
        sound = sounds[k % PERFORMANCES]
        lead = rng.normal(0, 1e-4, int((0.2 + 0.02 * k) * sound.sample_rate_hz)).astype(np.float32)
        day = date(2025, 1, 6) + timedelta(weeks=k)
        path = folder / f"{day.isoformat()} two chords @{bpm}.flac"
        soundfile.write(path, np.concatenate((lead, sound.samples)), sound.sample_rate_hz, subtype="PCM_16")
    (folder / "practice.toml").write_text(
        'student = "Ines"\n[exercises."two chords"]\nmeter = "4/4"\nper_beat = 2\npattern = "D.DU.UDU"\n'
        f'chords = "A D"\nbeats_per_change = 4\ncount_in = 1\nbars = {bars}\n'
    )


def command(*arguments: str) -> str:
    """Seconds of one `strumclock` command, start to end, and of processor time: on a busy machine only that tells."""
    environment = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    began, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [Path(sys.executable).parent / "strumclock", *arguments],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    elapsed, after = time.perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN)
    print("   ", (done.stdout or done.stderr).split("\n")[0])
    worked = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return f"{elapsed:.2f} s (processor {worked:.2f} s)"


def main() -> None:
    """Fill, run, run again, measure memory."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=52)
    parser.add_argument("--minutes", type=float, default=3.0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--everything", action="store_true", help="Changes and tuning too.")
    parser.add_argument("--memory", type=int, nargs="*", default=[50, 1000])
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "takes"
        folder.mkdir()
        fill(folder, asked.takes, asked.minutes)
        extra = ["--changes", "--tuning"] if asked.everything else []
        told = ["batch", str(folder), "--workers", str(asked.workers), *extra]
        print(f"load {os.getloadavg()[0]:.1f}")
        print(f"{asked.takes} takes of {asked.minutes:g} min from nothing: {command(*told)}")
        print("nothing changed:", *(f"\n    {command(*told)}" for _ in range(3)))
        from practice import recording

        for n in asked.memory:
            many = Path(place) / f"many{n}"
            for k in range(n):
                recording(many, f"2026-03-{k % 28 + 1:02d} x @80 take {k}.wav", seed=k)
            script = Path(place) / "memory.py"
            script.write_text(MEMORY.format(tests=str(Path(__file__).parents[1]), folder=str(many)))
            print(
                "pretended,",
                subprocess.run([sys.executable, script], capture_output=True, text=True, check=True).stdout.strip(),
            )


if __name__ == "__main__":
    main()
