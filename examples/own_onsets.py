"""Strum times from anywhere, held against a grid of your own: another detector, an annotation, a MIDI file.

usage: python examples/own_onsets.py [STRUMS.csv BEATS.csv]

Each file holds one time in seconds a line, both by the same clock; the first beat is beat 1 of a bar of 4/4. Without
files it takes the annotated times of Tomasz's reference take, and the beats of the click that he played to.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

import strumclock as sc

ANNOTATED = Path(__file__).resolve().parents[1] / "reference_audio" / "late_changes.json"
U_S = 0.002
"""How well the times are known, as a standard uncertainty: of a careful annotation by eye and ear some 2 ms. Without
it the times are taken as exact, and the uncertainties of the figures are too small."""


def main(strums_csv: str | None = None, beats_csv: str | None = None) -> None:
    """Align, measure, print; then the same strums as a table, for statistics of your own."""
    exercise = sc.Exercise(meter="4/4", per_beat=1, chords=("G", "C", "D", "C"), beats_per_change=4)
    if strums_csv and beats_csv:
        strum_s, beat_s = np.loadtxt(strums_csv, ndmin=1), np.loadtxt(beats_csv, ndmin=1)
    else:
        annotated = json.loads(ANNOTATED.read_text(encoding="utf-8"))
        strum_s = np.array([strum["time_s"] for strum in annotated["strums"]])
        beat_s = np.array(annotated["slots_s"])

    grid = sc.grid_from_beats(beat_s, exercise)
    alignment = sc.align(sc.Strums.of(strum_s, u_s=U_S), grid)
    timing = sc.measure_timing(alignment)

    print(timing)
    print(f"{len(alignment.omitted)} places left out, {int((alignment.slot < 0).sum())} strums without a place")
    for finding in timing.named:  # only what is beyond chance, and can be heard
        place = "" if finding.where is None else f" {finding.where}"
        print(f"asked about {finding.kind}{place}: later by {finding.size:+.0f ms}, p = {finding.p:.1g}")

    import pandas as pd

    on = alignment.slot >= 0
    place = alignment.slot[on]
    table = pd.DataFrame({"bar": grid.bar[place], "beat": grid.beat[place], "offset_ms": timing.offset_ms})
    print(table.groupby("beat").offset_ms.agg(["count", "mean", "std"]).round(1).to_string())

    take = sc.measure_strums(sc.Strums.of(strum_s, u_s=U_S), grid, exercise=exercise)  # verdict, pictures, JSON
    print(sc.summary(take))


if __name__ == "__main__":
    main(*sys.argv[1:3])
