"""A folder of recordings as one pandas table: a row a take, every figure with its interval and its uncertainty.

usage: python examples/folder_to_frame.py [FOLDER [TABLE.csv]]

Two ways. The plain one measures each file and puts the rows below each other; nothing is written but the table. The
other keeps a practice record in the folder, measures only what is new, in parallel, and gives the same figures as
frames. Without a folder it takes two of the reference takes, copied to a place of their own.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

import pandas as pd

import strumclock as sc

REFERENCE_AUDIO = Path(__file__).resolve().parents[1] / "reference_audio"
TAKES = {"steady.flac": "2026-11-20 steady @84.flac", "late_changes.flac": "2026-11-27 changes @72.flac"}
COLUMNS = ["file", "bpm", "held", "n_in_slots", "mean_offset_ms", "mean_offset_ms_u", "jitter_ms", "drift_ms_per_min"]


def main(folder: Path, csv: Path | None) -> None:
    """Measure, show, and write the table."""
    rows = []
    for file in sorted(folder.glob("*.flac")):
        try:
            rows.append(sc.measure(file).to_row())
        except sc.StrumclockError as error:  # one line: what was required, what came, what to do
            print(f"{file.name}: {error}", file=sys.stderr)
    table = pd.concat(rows, ignore_index=True)
    print(table.assign(file=[Path(f).name for f in table.file])[COLUMNS].round(1).to_string(index=False))
    if csv is not None:
        table.to_csv(csv, index=False)

    print(sc.measure_folder(folder, workers=1))  # measures what is new and keeps it; a second run measures nothing
    journal = sc.Journal(folder)
    takes = journal.takes()  # a row a take
    figures = journal.figures()  # a row a figure: take, place in the JSON, value, low, high, u, why it is absent
    print(takes[["date", "bpm", "held", "margin", "jitter_ms"]].round(2).to_string(index=False))
    print(figures[figures.place == "timing.jitter_ms"].round(2).to_string(index=False))


if __name__ == "__main__":
    told = [Path(argument) for argument in sys.argv[1:3]]
    with tempfile.TemporaryDirectory() as spare:
        if not told:
            for name, copy in TAKES.items():
                shutil.copy(REFERENCE_AUDIO / name, Path(spare) / copy)
        main(told[0] if told else Path(spare), told[1] if len(told) > 1 else None)
