"""How alignment moves with each of its tuned numbers: simulated takes, every number at half to twice its value.

usage: python tests/benchmarks/sweep_alignment.py [--takes 120] [--only NAME]

The takes are drawn from exercises of several meters, parts and swings, and from players between steady and beginner
(offset ±60 ms, jitter up to 45 ms, drift up to ±120 ms/min, 12 % left out, 6 % added, late changes), with 0.5 % of the
strums undetected. Per mille: strums on a wrong slot with everything told, with nothing told but the meter of every
other take, and with half the tempo told; of strums at another tempo those found, of the others those wrongly taken for
such; strums on a wrong slot in recordings of several parts (a stop, a stepped tempo, a gap, two takes).
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

from strumclock.alignment import (
    LEFT_CLICK,
    align,
    departures,
    hypotheses,
    inference,
    meanings,
    pairing,
    parts,
    runs,
    score,
)
from strumclock.click import Clicks
from strumclock.grid import Exercise, build_grid

PATTERNS: list[tuple[str, int, float | None, tuple[str, ...]]] = [
    ("4/4", 1, None, ("D", "D.DD", "DDD.")), ("4/4", 2, None, ("DU", "D.DU.UDU", "D.DUD.DU", ".U", "D..D..D.")),
    ("4/4", 4, None, ("D..UD.DUD..U.UDU", "D.DU")), ("4/4", 3, None, ("DDD", "D.D")), ("3/4", 1, None, ("D", "D..")),
    ("3/4", 2, None, ("D.DUDU", "DU")), ("6/8", 3, None, ("D..", "D.DDDD")), ("5/4", 2, None, ("D.DUD.DU.U",)),
    ("4/4", 2, 0.66, ("DU", "D.DU")),
]  # fmt: skip
NUMBERS: list[tuple[ModuleType, tuple[str, ...]]] = [
    (
        pairing,
        ("WINDOW_PARTS", "WINDOW_SPREADS", "GAP_SPREADS", "FOLLOW_GAIN", "FOLLOW_START", "SMOOTH_STRUMS", "PASSES"),
    ),
    (score, ("OMITTED_COST", "OUTSIDE_COST", "APART_COST")),
    (
        hypotheses,
        ("OFF_BAR_COST", "ACCENT_COST", "LATE_ACCENT_COST", "GIVEN_COUNT_COST", "PATTERN_COST", "PATTERN_SHARE"),
    ),
    (hypotheses, ("LATE_CLICK_COST", "OWN_TEMPO_SHARE", "FEW_EXPLAINED")),
    (meanings, ("BY_CLICK_SHARE", "FOUND_SHARE", "CLEAR_PARTS", "SAME_PARTS", "ON_CLICK_PARTS", "FITS", "CLEARER")),
    (runs, ("LEAD_BEATS", "GAP_COST", "COUNTED_COST", "GAP_BEATS")),
    (parts, ("STOP_BARS", "STOP_SLOTS")),
    (inference, ("SPREAD_FLOOR_BEATS", "STRAY_SHARE", "LATE_SHARE", "LATE_BEATS", "OFFSET_BEATS", "LATE_PARTS")),
    (inference, ("COARSER_LOSS", "PLACE_COST", "EARLY_PARTS")),
    (departures, ("EVIDENCE", "TRAVEL_PARTS", "LOST", "OUT_OF_STEP", "SLOWEST", "CAP_PARTS")),
]
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


def halved(takes: list[Take]) -> tuple[int, int]:
    """Strums on a wrong slot, and all, where half the tempo is told with the parts and the pattern of each click:
    at most two parts each, since the told beat can have four."""
    bad, n = 0, 0
    for i, take in enumerate(takes):
        bpm = float(take.exercise.bpm or 0.0) / 2
        if bpm < 30 or take.exercise.meter != "4/4" or (take.exercise.per_beat or 1) > 2:
            continue
        bad += wrong(take, replace(take.exercise, bpm=bpm), i, 0.35)
        n += len(take.strum_s)
    return bad, n


def sessions(count: int) -> tuple[int, int]:
    """Strums on a wrong slot, and all, in recordings of several parts."""
    bad, n = 0, 0
    for seed in range(count):
        rng = np.random.default_rng(20_000 + seed)
        exercise = Exercise(bpm=float(rng.integers(60, 110)), meter="4/4", per_beat=2, pattern="D.DU.UDU", count_in=1)
        player = Player(jitter_s=float(rng.choice([0.008, 0.015, 0.025])), miss=float(rng.choice([0.0, 0.08])))
        first = play(exercise, player, seed, bars=int(rng.integers(5, 9)))
        kind = ("restart", "tempo", "gap", "stop")[seed % 4]
        bpm = float(exercise.bpm or 0.0) + 4.0 * (kind == "tempo")
        counted = 0 if kind in ("tempo", "gap") else 1
        second = play(replace(exercise, bpm=bpm, count_in=counted), player, 500 + seed, bars=8, lead_s=0.0)
        beat_s = 60.0 / bpm
        later_s = float(first.grid.end_s)
        later_s += {"restart": rng.uniform(3, 9), "gap": -rng.uniform(0.2, 0.8) * beat_s}.get(kind, 0.0)
        if kind == "stop":
            later_s += float(rng.integers(2, 4)) * 4 * beat_s - 4 * beat_s
        moved = replace(second, grid=second.grid.placed(later_s), strum_s=second.strum_s + later_s)
        early = first.strum_s < later_s - 0.1 if kind == "gap" else np.ones(len(first.strum_s), bool)
        strum_s = np.concatenate([first.strum_s[early], moved.strum_s])
        if not (np.diff(strum_s) > 0).all():
            continue
        if kind == "stop":
            bars = round((float(moved.grid.end_s) - float(first.grid.line_s[0])) / (4 * beat_s))
            whole = build_grid(exercise, bars=bars)
            clicks = clicks_of(whole.placed(float(first.grid.line_s[0])))
        else:
            at = [first.grid.click_s, moved.grid.click_s]
            at[0] = at[0][at[0] < at[1][0] - 0.05]
            rows = [_row(at[0], "first"), _row(at[1], kind)]
            clicks = replace(max(rows, key=lambda row: len(row.time_s)), segments=tuple(rows))
        found = align(strum_s, exercise, clicks=clicks)
        true_s = np.concatenate(
            [
                np.where(t.slot >= 0, t.grid.slot_s[t.slot], np.nan)[kept]
                for t, kept in ((first, early), (moved, slice(None)))
            ]
        )
        on_s = np.full(len(strum_s), np.inf)
        for part in (found, *found.others):
            on_s[part.slot >= 0] = part.grid.slot_s[part.slot[part.slot >= 0]]
        meant = np.isfinite(true_s)
        bad += int((np.abs(on_s - true_s)[meant] > 0.02).sum())
        n += int(meant.sum())
    return bad, n


def _row(time_s: np.ndarray, begins: str) -> Clicks:
    """A row of clicks as a click finder would report it."""
    n = len(time_s)
    slope, start = np.polyfit(np.arange(n), time_s, 1)
    return Clicks(
        time_s=start + slope * np.arange(n), u_s=np.full(n, 1e-4), heard=np.ones(n, bool), accented=np.zeros(n, bool),
        interval_s=float(slope), interval_u_s=1e-4 / np.sqrt(n * (n * n - 1) / 12), extent="throughout",
        source="recording", score=100.0, sound=np.zeros(n, int), number=np.arange(n), begins=begins,
    )  # fmt: skip


def figures(takes: list[Take]) -> tuple[float, ...]:
    """Per mille of the strums: wrong with all told, with nothing told, with half the tempo told; leavers found, wrongly
    found; wrong in recordings of several parts."""
    n = sum(len(t.strum_s) for t in takes)
    told = sum(wrong(t, t.exercise, i, 0.02) for i, t in enumerate(takes))
    untold: Callable[[int, Take], Exercise] = lambda i, t: Exercise(meter=None if i % 2 else t.exercise.meter)  # noqa: E731
    nothing = sum(wrong(t, untold(i, t), i, 0.35) for i, t in enumerate(takes))
    half, of_half = halved(takes)
    found, alarms = leavers(max(len(takes) // 3, 1))
    several, of_several = sessions(len(takes))
    return (
        1000 * told / n,
        1000 * nothing / n,
        1000 * half / of_half,
        1000 * found,
        1000 * alarms,
        1000 * several / of_several,
    )


def put(name: str, value: float) -> None:
    """Set a number in every module of alignment that knows it."""
    for module in list(sys.modules.values()):
        if getattr(module, "__name__", "").startswith("strumclock.alignment.") and hasattr(module, name):
            setattr(module, name, value)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--takes", type=int, default=120)
    parser.add_argument("--only")
    options = parser.parse_args()
    takes = [draw(seed) for seed in range(options.takes)]
    print(f"{'':34s}" + "".join(f"{'×' + format(f, 'g'):>33s}" for f in FACTORS))
    print("per mille: wrong told / untold / half told / leavers found / wrongly found / wrong in several parts")
    base = figures(takes)
    for module, name in ((module, name) for module, names in NUMBERS for name in names):
        if options.only and options.only not in name:
            continue
        value = getattr(module, name)
        row = ""
        for factor in FACTORS:
            changed = value * factor if isinstance(value, float) else max(round(value * factor), 1)
            put(name, changed)
            got = base if changed == value else figures(takes)
            row += f"{got[0]:7.1f}{got[1]:6.1f}{got[2]:6.1f}{got[3]:5.0f}{got[4]:4.1f}{got[5]:5.1f}"
        put(name, value)
        print(f"{module.__name__.rsplit('.', 1)[1]:10s} {name:20s} {value:<6g}" + row, flush=True)


if __name__ == "__main__":
    main()
