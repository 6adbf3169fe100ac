"""Whose takes pass each preset of the standard: ordinary people's, trained drummers', and players who only guess.

usage: python -m tests.benchmarks.standard_calibration [--players 2000]

People: Bååth & Madison 2012 (taps with a metronome of 100 bpm and slower) and the Groove MIDI Dataset (Gillick et al.
2019; two drummers' strokes near eighth places), as the shared bench holds them. Only evenness is asked of them, since
their takes were no strumming exercises: "even" in the tables is the share of takes with enough strokes within the
tolerance about the take's own mean; "all" the share that passes evenness, placement and drift together (taps only: the
drummers' means were removed). Chance: players whose strums fall anywhere between their neighbours' middles ("random"),
and players whose strums scatter by a fifth of the part ("irregular"), judged with everything the standard asks.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections import defaultdict
from pathlib import Path

import numpy as np

from strumclock.verdict import STANDARDS, Held, Played, Standard, judge_take

DATA = Path(__file__).resolve().parents[3] / "shared" / "bench" / "data"
STROKES = 48  # of a drummer's take, as FACTS.md counts them
LEAST_TAPS = 16
TEMPI, PARTS = (40, 60, 80, 100, 120, 160, 200), (1, 2, 3, 4)
IRREGULAR = 1 / 5  # of the part


def played(offset_ms: np.ndarray, part_s: float, *, per_beat: int = 1, at: np.ndarray | None = None) -> Played:
    """A take with a strum at each of its places, or at those that `at` counts."""
    slot = np.arange(offset_ms.size) if at is None else at
    return Played(
        offset_ms=offset_ms,
        line_s=part_s * slot,
        slot=slot,
        bar=slot // (4 * per_beat) + 1,
        beat=slot // per_beat % 4 + 1,
        part=slot % per_beat + 1,
        at_change=np.zeros(offset_ms.size, dtype=bool),
        part_s=part_s,
        duration_s=float(part_s * (slot[-1] - slot[0])),
        bpm=60 / part_s / per_beat,
        per_beat=per_beat,
    )


def even(held: Held) -> bool:
    """Whether a take passes the criterion of evenness, long enough or not."""
    return held.even_share is not None and held.even_share >= held.standard.even_share - 1e-9


def taps() -> dict[float, list[np.ndarray]]:
    """Trials of 16 taps or more by the metronome's interval [s]; asynchronies [ms]."""
    trials: dict[tuple[float, str, str], list[float]] = defaultdict(list)
    with (DATA / "tapping_600_3000ms.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            trials[float(row["isi"]) / 1e3, row["subject"], row["trial"]].append(float(row["asynch"]))
    found: dict[float, list[np.ndarray]] = defaultdict(list)
    for (interval_s, *_), asynchronies in sorted(trials.items()):
        if len(asynchronies) >= LEAST_TAPS:
            found[interval_s].append(np.array(asynchronies))
    return found


def drummed() -> list[tuple[float, np.ndarray, np.ndarray]]:
    """Stretches of 48 strokes: tempo [bpm], eighth places, deviations [ms]."""
    found = []
    for take in json.loads((DATA / "human_deviations.json").read_text()):
        place, deviation = np.array(take["eighth"]), np.array(take["deviation_ms"])
        for i in range(0, len(place) - STROKES + 1, STROKES):
            found.append((take["bpm"], place[i : i + STROKES], deviation[i : i + STROKES]))
    return found


def people() -> None:
    """Print the tables of people."""
    print("taps with a metronome: share of the trials that is even (and that passes evenness and placement)")
    for interval_s, trials in taps().items():
        row = []
        for standard in STANDARDS.values():
            judged = [judge_take(played(trial, interval_s), _no_length(standard)) for trial in trials]
            passes = np.mean([bool(held.held) for held in judged])
            row.append(f"{standard.name} {np.mean([even(h) for h in judged]):.2f} ({passes:.2f})")
        print(f"  {60 / interval_s:5.0f} bpm, {len(trials):3d} trials: " + "  ".join(row))
    stretches = drummed()
    print("drummers' 48 strokes near eighth places: share that is even")
    for low, high in ((60, 80), (80, 100), (100, 120), (120, 150), (150, 220)):
        of_tempo = [x for x in stretches if low <= x[0] < high]
        if not of_tempo:
            continue
        row = []
        for standard in STANDARDS.values():
            judged = [
                judge_take(played(d, 30 / bpm, per_beat=2, at=place - place[0]), _no_length(standard))
                for bpm, place, d in of_tempo
            ]
            row.append(f"{standard.name} {np.mean([even(h) for h in judged]):.2f}")
        print(f"  {low:3d}-{high:3d} bpm, {len(of_tempo):3d} stretches: " + "  ".join(row))


def _no_length(standard: Standard) -> Standard:
    """The same standard for takes of any length."""
    from dataclasses import replace

    return replace(standard, min_slots=1, min_duration_s=0.0)


def chance(players: int) -> None:
    """Print the tables of players who guess: the shortest takes that are judged, which chance passes most easily."""
    rng = np.random.default_rng(7)
    for word, draw in (
        ("random", lambda n, part_ms: rng.uniform(-part_ms / 2, part_ms / 2, n)),
        ("irregular, sd a fifth of the part", lambda n, part_ms: IRREGULAR * part_ms * rng.standard_normal(n)),
    ):
        print(f"{word}: share of {players} shortest takes that hold, in %, by parts of the beat")
        for standard in STANDARDS.values():
            worst = 0.0
            rows = []
            for bpm in TEMPI:
                cells = []
                for per_beat in PARTS:
                    part_s = 60 / bpm / per_beat
                    n = max(standard.min_slots, int(np.ceil(standard.min_duration_s / part_s)))
                    held = [
                        judge_take(played(draw(n, 1e3 * part_s), part_s, per_beat=per_beat), standard).held
                        for _ in range(players)
                    ]
                    cells.append(100 * np.mean([bool(h) for h in held]))
                worst = max(worst, *cells)
                rows.append(f"{bpm} bpm " + "/".join(f"{cell:.2f}" for cell in cells))
            print(f"  {standard.name}: worst {worst:.2f};  " + "  ".join(rows))


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--players", type=int, default=2000)
    given = parser.parse_args()
    if DATA.is_dir():
        people()
    else:
        print(f"people's data are not at {DATA}: only chance is printed")
    chance(given.players)


if __name__ == "__main__":
    main()
