"""How alignment moves with each of its tuned numbers: simulated takes, every number at half to twice its value.

usage: python tests/benchmarks/sweep_alignment.py [--takes 120] [--only NAME]

The takes are drawn from exercises of several meters, parts and swings, and from players between steady and beginner
(offset ±60 ms, jitter up to 45 ms, drift up to ±120 ms/min, 12 % left out, 6 % added, late changes), with 0.5 % of the
strums undetected. Per mille: strums on a wrong slot with everything told, and with nothing told but the meter
of every other take; of strums at another tempo those found; of the others those wrongly taken for such.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from alignment_players import Player, Take, clicks_of, play

from strumclock.alignment import LEFT_CLICK, align, inference, left, pairing, start
from strumclock.grid import Exercise, build_grid

PATTERNS: list[tuple[str, int, float | None, tuple[str, ...]]] = [
    ("4/4", 1, None, ("D", "D.DD", "DDD.")), ("4/4", 2, None, ("DU", "D.DU.UDU", "D.DUD.DU", ".U", "D..D..D.")),
    ("4/4", 4, None, ("D..UD.DUD..U.UDU", "D.DU")), ("4/4", 3, None, ("DDD", "D.D")), ("3/4", 1, None, ("D", "D..")),
    ("3/4", 2, None, ("D.DUDU", "DU")), ("6/8", 3, None, ("D..", "D.DDDD")), ("5/4", 2, None, ("D.DUD.DU.U",)),
    ("4/4", 2, 0.66, ("DU", "D.DU")),
]  # fmt: skip
NUMBERS: list[tuple[ModuleType, str]] = [
    (pairing, "WINDOW_PARTS"), (pairing, "WINDOW_SPREADS"), (pairing, "GAP_SPREADS"), (pairing, "FOLLOW_GAIN"),
    (pairing, "FOLLOW_START"), (pairing, "SMOOTH_STRUMS"), (pairing, "PASSES"), (start, "OMITTED_COST"),
    (start, "OUTSIDE_COST"), (start, "OFF_BAR_COST"), (inference, "SPREAD_FLOOR_BEATS"), (inference, "STRAY_SHARE"),
    (inference, "LATE_SHARE"), (inference, "LATE_BEATS"), (inference, "OFFSET_BEATS"), (inference, "LATE_PARTS"),
    (inference, "COARSER_LOSS"), (inference, "PLACE_COST"), (left, "EVIDENCE"), (left, "TRAVEL_PARTS"), (left, "LOST"),
    (left, "OUT_OF_STEP"),
]  # fmt: skip
FACTORS = (0.5, 0.71, 1.0, 1.41, 2.0)


def draw(seed: int) -> Take:
    """A take of a random exercise by a random player."""
    rng = np.random.default_rng(seed)
    meter, per_beat, swing, patterns = PATTERNS[rng.integers(len(PATTERNS))]
    bpm = float(rng.integers(50, {1: 170, 2: 130, 3: 100, 4: 85}[per_beat]))
    part_s = 60.0 / bpm / per_beat
    exercise = Exercise(
        bpm=bpm, meter=meter, per_beat=per_beat, swing=swing, pattern=str(rng.choice(patterns)),
        count_in=int(rng.integers(0, 3)),
    )  # fmt: skip
    player = Player(
        offset_s=float(np.clip(rng.uniform(-0.06, 0.04), -0.25 * part_s, 0.25 * part_s)),
        jitter_s=min(float(rng.choice([0.008, 0.015, 0.025, 0.045])), 0.11 * part_s),
        drift_s_per_min=float(rng.choice([0.0, -0.06, 0.06, -0.12, 0.12])), miss=float(rng.choice([0.0, 0.05, 0.12])),
        extra=float(rng.choice([0.0, 0.03, 0.06])), change_late_s=min(float(rng.choice([0.0, 0.09])), 0.2 * part_s),
    )  # fmt: skip
    take = play(exercise, player, seed, bars=int(rng.integers(6, 25)), skew_ppm=float(rng.uniform(-100, 100)))
    heard = rng.random(len(take.strum_s)) > 0.005
    return replace(take, strum_s=take.strum_s[heard], slot=take.slot[heard])


def wrong(take: Take, told: Exercise, seed: int, within_parts: float) -> int:
    """Strums that are not on their slot."""
    found = align(take.strum_s, told, clicks=clicks_of(take.grid, accents=bool(seed % 2)))
    meant = take.slot >= 0
    slot = found.slot[meant]
    off_s = np.abs(found.grid.slot_s[slot] - take.grid.slot_s[take.slot[meant]])
    return int(((slot < 0) | (off_s > within_parts * float(take.grid.part_s[0]))).sum())


def leavers(takes: int) -> tuple[float, float]:
    """Strums of players who leave the click for a tempo of their own: found, and wrongly found."""
    hits, alarms, away_n, with_n = 0, 0, 0, 0
    for seed in range(takes):
        rng = np.random.default_rng(10_000 + seed)
        per_beat, bpm = int(rng.choice([1, 2])), float(rng.integers(60, 130))
        part_s, start_s = 60.0 / bpm / per_beat, 0.5 + 240.0 / bpm
        before, away, after = (4 * per_beat * int(rng.integers(*span)) for span in ((4, 9), (6, 12), (4, 9)))
        first = start_s + np.arange(before) * part_s
        own = first[-1] + part_s + np.arange(away) * part_s / float(rng.choice([0.8, 0.875, 0.93, 1.06, 1.12, 1.25]))
        back_s = start_s + np.ceil((own[-1] + 0.6 * part_s - start_s) / part_s) * part_s
        strum_s = np.concatenate([first, own, back_s + np.arange(after) * part_s])
        strum_s = strum_s - 0.015 + rng.normal(0, min(0.02, 0.08 * part_s), len(strum_s))
        exercise = Exercise(bpm=bpm, meter="4/4", per_beat=per_beat, count_in=1)
        grid = build_grid(exercise, bars=int((strum_s[-1] + 0.1 - start_s) * bpm / 240.0) + 1).placed(start_s)
        marked = align(np.sort(strum_s), exercise, clicks=clicks_of(grid)).slot == LEFT_CLICK
        was_away = np.repeat([False, True, False], [before, away, after])
        hits, away_n = hits + int(marked[was_away].sum()), away_n + away
        alarms, with_n = alarms + int(marked[~was_away].sum()), with_n + before + after
    return hits / away_n, alarms / with_n


def figures(takes: list[Take]) -> tuple[float, float, float, float]:
    """Per mille of the strums: wrong with all told, wrong with nothing told, leavers found, leavers wrongly found."""
    n = sum(len(t.strum_s) for t in takes)
    told = sum(wrong(t, t.exercise, i, 0.02) for i, t in enumerate(takes))
    untold: Callable[[int, Take], Exercise] = lambda i, t: Exercise(meter=None if i % 2 else t.exercise.meter)  # noqa: E731
    nothing = sum(wrong(t, untold(i, t), i, 0.35) for i, t in enumerate(takes))
    found, alarms = leavers(max(len(takes) // 3, 1))
    return 1000 * told / n, 1000 * nothing / n, 1000 * found, 1000 * alarms


def put(name: str, value: float) -> None:
    """Set a number in every module of alignment that knows it."""
    for module in list(sys.modules.values()):
        if module.__name__.startswith("strumclock.alignment.") and hasattr(module, name):
            setattr(module, name, value)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=120)
    parser.add_argument("--only")
    options = parser.parse_args()
    takes = [draw(seed) for seed in range(options.takes)]
    print(f"{'':34s}" + "".join(f"{'×' + format(f, 'g'):>26s}" for f in FACTORS))
    print("per mille: wrong told / wrong untold / leavers found / wrongly found")
    base = figures(takes)
    for module, name in NUMBERS:
        if options.only and options.only not in name:
            continue
        value = getattr(module, name)
        row = ""
        for factor in FACTORS:
            changed = value * factor if isinstance(value, float) else max(round(value * factor), 1)
            put(name, changed)
            got = base if changed == value else figures(takes)
            row += f"{got[0]:7.2f} {got[1]:6.2f} {got[2]:6.0f} {got[3]:4.1f}"
        put(name, value)
        print(f"{module.__name__.rsplit('.', 1)[1]:10s} {name:20s} {value:<6g}" + row, flush=True)


if __name__ == "__main__":
    main()
