"""A take played to a click that changes its tempo: the grid comes from a Standard MIDI File's tempo map.

usage: python examples/tempo_map.py [MAP.mid TAKE.wav]

Without files it writes such a map (a bar counted in and four played at 84 bpm, then four that climb to 100), lets an
invented player, Ylva, play 6 ms late to it, and measures that.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import numpy as np

import strumclock as sc
from strumclock.midi import write_midi
from strumclock.synthesis import Player, Scene, synthesise

EXERCISE = sc.Exercise(name="climbing", meter="4/4", per_beat=2, pattern="D.DU.UDU", chords=("Em", "C"), count_in=1)
LATE_MS = 6.0


def invented(folder: Path) -> tuple[Path, sc.Recording]:
    """A tempo map as a MIDI file, and Ylva's take to its click."""
    bpm = np.concatenate([np.full(20, 84.0), np.linspace(84.0, 100.0, 16)])
    beat_s = np.cumsum(60 / bpm)
    grid = sc.grid_from_beats(beat_s - beat_s[4], EXERCISE)  # the first played downbeat at 0, as a nominal grid has it
    path = folder / "climbing.mid"
    write_midi(path, grid, meter="4/4")
    take = synthesise(EXERCISE, Player(offset_ms=LATE_MS, timekeeper_ms=5.0), Scene(), seed=7, grid=grid)
    return path, sc.from_array(take.samples, take.sample_rate_hz)


def main(midi: str | None = None, take: str | None = None) -> None:
    """Read the map, measure, print."""
    with tempfile.TemporaryDirectory() as folder:
        path, recording = (Path(midi), sc.load(take)) if midi and take else invented(Path(folder))
        grid = sc.grid_from_midi(path, EXERCISE)
        tempi = 60 / grid.beat_s
        print(f"{len(grid)} places in {grid.bar[-1]} bars, from {tempi[0]:.0f} to {tempi[-1]:.0f} bpm")
        measured = sc.measure(recording, EXERCISE, midi=str(path))
    print(sc.summary(measured))
    mean = measured.timing.mean_offset_ms if measured.timing else None
    if mean is not None:
        print(f"mean offset {mean:+.1f ms}, u {mean.u:.1f} ms" + ("" if take else f"; played {LATE_MS:+.1f} ms"))


if __name__ == "__main__":
    main(*sys.argv[1:3])
