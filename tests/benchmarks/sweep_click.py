"""How finding and removing clicks move with each tuned constant of `strumclock.click`.

usage: python tests/benchmarks/sweep_click.py [--only NAME] [--takes N] [--each]

`--each`: every number of the package is halved and doubled instead, and it is said what that moves.

Every constant is set to some values about its own, one at a time, and the same seeded takes are run: hard ones
with a click (20 dB below the strums, in noise, a count-in only, beeps, ringing, on eighths, with silent bars, changing
its tempo, a wind-up metronome's) and ones without. Printed for each value:

found      share of the takes with a click whose interval is right to 100 ppm (an uneven click's to 0.1 %)
least      least evidence among those that are heard throughout, nats
false      share of the takes without a click in which one was found
most       most evidence among the trains in those, nats (what is below LEAST_SCORE is not reported)
place_ms   95th percentile of the error of a click's place, ms
left_db    median power of what is left of a click, against the click, dB
cpu_s      processor time of one take
"""

from __future__ import annotations

import argparse
import ast
import importlib
import pkgutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from clicktakes import RATE_HZ, Take, click_sound, make_take, place

import strumclock.click
from strumclock.click import Clicks, even, find_clicks, remove_clicks

MODULES = {
    found.name: importlib.import_module(f"strumclock.click.{found.name}")
    for found in pkgutil.iter_modules(strumclock.click.__path__)
}
MOVES = {"found": 0.0, "false": 0.0, "least": 3.0, "most": 3.0, "place_ms": 0.02, "left_db": 0.5}
"""A figure that changes by more than this is moved."""

SWEEPS: dict[str, tuple[Any, ...]] = {
    "preprocessing.WHITEN_S": (0.07, 0.14, 0.28),
    "preprocessing.SMOOTH_BINS": (4, 8, 16),
    "preprocessing.LEVEL_S": (0.015, 0.03, 0.06),
    "preprocessing.USUAL_SHARE": (0.01, 0.05, 0.2),
    "preprocessing.STEADY": (0.0, 1.0, 3.0, 10.0, 30.0),
    "preprocessing.ECHO": (3e-5, 3e-4, 3e-3),
    "periodicity.PULSE_S": (0.001, 0.002, 0.004),
    "periodicity.PULSES_PER_S": (6, 10, 16),
    "periodicity.ALIKE": (0.2, 0.25, 0.35, 0.45),
    "periodicity.SHIFT_S": (0.0008, 0.0015, 0.003),
    "periodicity.SPAN_S": (2.5, 4.6, 7.0),
    "periodicity.LAG_TOLERANCE_S": (0.00006, 0.00012, 0.00024),
    "periodicity.LONGEST_SHARE": (0.7, 0.85, 0.95),
    "periodicity.PROPOSALS": (5, 10, 20),
    "following.CHAIN_TOLERANCE_S": (0.00012, 0.00025, 0.0005),
    "following.SEARCH_S": (0.0002, 0.0004, 0.0008),
    "scoring.MASKED": (0.15, 0.3, 0.5),
    "scoring.MOST_EVIDENCE": (5.0, 8.0, 12.0),
    "scoring.LEAST_CHANCE": (0.04, 0.07, 0.1),
    "scoring.MOST_DISPLACED": (0.05, 0.15, 0.4),
    "scoring.HUM": (0.35, 0.5, 0.7),
    "following.SPARSE": ((0.15, 0.6), (0.3, 0.6), (0.45, 0.6), (0.3, 0.8)),
    "following.PART": (6.0, 12.0, 24.0),
    "even.RINGING_S": (0.15, 0.3, 0.6),
    "even.FULL": (0.7, 0.9, 0.98),
    "segments.DENSE": (0.3, 0.5, 0.7),
    "uneven.ALIKE": (0.28, 0.35, 0.45),
    "uneven.REACH_S": (0.004, 0.006, 0.009),
    "uneven.MOST_WANDER_S": (0.0015, 0.002, 0.0025, 0.004),
    "uneven.LEAST_SCORE": (30.0, 45.0, 60.0, 100.0),
    "uneven.MOST_LOUDER_DB": (1.0, 2.0, 4.0, 99.0),
    "scoring.ITSELF": (0.45, 0.6, 0.8),
    "uneven.ELSEWHERE": (0.15, 0.3, 0.6),
    "uneven.JUMPED": (0.15, 0.25, 0.4),
    "beat.BENDS": (1.1, 1.25, 1.6),
    "beat.JUMP_TIMES": (4.0, 6.0, 9.0),
    "segments.LEAST_SCORE": (8.0, 16.0, 32.0),
    "segments.ALIKE": (0.25, 0.35, 0.45),
    "cycle.QUIET_SHARE": (0.03, 0.05, 0.1, 0.2),
    "cycle.HIT_RISES": (1.5, 2.0, 3.0),
    "matching.BODY_S": ((0.002, 0.006), (0.002, 0.012), (0.002, 0.024)),
    "countin.QUIET_DB": (10.0, 15.0, 25.0),
    "countin.RISE_DB": (6.0, 10.0, 15.0),
    "countin.ENOUGH": (6.0, 9.0, 14.0),
    "templates.BLOCK_S": ((0.006, 0.002, 0.0012), (0.012, 0.004, 0.0025), (0.024, 0.008, 0.005)),
    "templates.PASSES": (1, 2, 4, 8),
    "templates.CAUTION": (1.0, 2.0, 4.0),
    "templates.QUIETEST": (0.001, 0.01, 0.1),
    "templates.GAIN_REACH": (3, 6, 12),
    "templates.MOST_LEVERAGE": (0.5, 0.7, 0.9),
}


def takes_with(count: int) -> list[Take]:
    """Hard takes with a click."""
    made = []
    for seed in range(count):
        made += [
            make_take(sound="noise", click_db=-20, noise_db=-45, seed=seed, bpm=83),
            make_take(sound="wood", click_db=-16, noise_db=-28, seed=seed, bpm=117),
            make_take(sound="noise", click_db=-20, noise_db=-30, seed=seed, bpm=71),
            make_take(sound="beep", click_db=-14, noise_db=-45, seed=seed, bpm=96),
            make_take(sound="noise", click_db=-12, noise_db=-40, heard=slice(0, 4), seed=seed, bpm=104),
            make_take(sound="wood", click_db=0, jitter_ms=3.0, count_in=0, seed=seed, bpm=90),
            make_take(sound="noise", accent="tock", click_db=-12, fade_db=12, noise_db=-45, seed=seed, bpm=132),
            make_take(sound="ringing", click_db=-10, bpm=160, noise_db=-40, seed=seed),
            make_take(sound="wood", click_db=-8, bpm=200, noise_db=-45, seed=seed),
            make_take(sound="noise", click_db=-6, heard=slice(None, None, 2), bpm=120, noise_db=-45, seed=seed),
            make_take(
                click_at_s=0.7 + np.cumsum(np.r_[0, np.full(31, 0.75), np.full(32, 0.6)]), click_db=-6, seed=seed
            ),
            _uneven_take(seed),
            _uneven_take(seed, alternates_s=0.0, click_db=-16),
            _uneven_take(seed, slows=0.03),
            _uneven_take(seed, jumps_s=0.02),
        ]
    return made


def _uneven_take(
    seed: int, *, alternates_s: float = 0.008, click_db: float = -12, slows: float = 0.0, jumps_s: float = 0.0
) -> Take:
    """A wind-up metronome: tick and tock on either side of the beat, each wandering by 1.5 ms (none of it where it is a
    loudspeaker whose delay jumps)."""
    number = np.arange(40)
    wander_s = np.random.default_rng(seed).normal(0, 0.0015, len(number)) + alternates_s * (-1.0) ** number
    beat_s = 60 / 92 * (number + slows * number**2 / 80) + np.where(number > 22, jumps_s, 0.0)
    return make_take(
        click_at_s=0.7 + beat_s + (0.0 if jumps_s else wander_s),
        sound="wood",
        click_db=click_db,
        noise_db=-45,
        seed=seed,
    )


def takes_without(count: int) -> list[Take]:
    """Accurate players without a click, and muted strings: the same sound in time, of a hand's loudness."""
    chords = [
        make_take(click_db=None, jitter_ms=3.0 + seed % 3 * 3, bpm=70 + 11 * seed, seed=100 + seed, noise_db=-50)
        for seed in range(3 * count)
    ]
    return chords + [_muted_take(200 + seed) for seed in range(2 * count)]


def _muted_take(seed: int) -> Take:
    rng = np.random.default_rng(seed)
    at_s = 0.7 + 60 / rng.uniform(70, 130) * np.arange(40) + rng.normal(0, 0.0015, 40)
    take = make_take(click_db=None, click_at_s=at_s, count_in=0, noise_db=-45, seed=seed)
    for at, gain_db in zip(at_s, rng.normal(0, 3.0, len(at_s)), strict=True):
        place(take.guitar, click_sound("tock"), float(at), 0.1 * 10 ** (gain_db / 20))
    return take


def _right(clicks: Clicks, take: Take) -> bool:
    """Whether the interval is right: that of the clicks heard (of either part where the tempo changes)."""
    heard = take.click_s[[bool(np.any(take.clicks[int(t * RATE_HZ) : int(t * RATE_HZ) + 200])) for t in take.click_s]]
    apart = np.diff(heard)
    uneven = 1e-9 < np.ptp(apart) < 0.1
    parts = [np.mean(apart)] if uneven else [np.median(apart[:8]), np.median(apart[-8:])]
    return any(abs(clicks.interval_s / true - 1) < (1e-3 if uneven else 1e-4) for true in parts)


def run(takes: list[Take], quiet: list[Take]) -> dict[str, float]:
    """The figures of one setting."""
    evidence, places, left, right = [], [], [], 0
    begin = time.process_time()
    for take in takes:
        clicks = find_clicks(take.samples, RATE_HZ)
        if clicks is None or not _right(clicks, take):
            continue
        right += 1
        if clicks.extent != "count-in":
            evidence.append(clicks.score)
        off = clicks.time_s[:, None] - take.click_s[None]
        places.extend(np.abs(off).min(axis=1))
        removal = remove_clicks(take.samples, RATE_HZ, clicks)
        for t in clicks.time_s:
            part = slice(int(t * RATE_HZ) - 40, int((t + 0.02) * RATE_HZ))
            power = np.sum(take.clicks[part] ** 2)
            if power > 0:
                left.append(np.sum((removal.removed - take.clicks)[part] ** 2) / power)
    spent = (time.process_time() - begin) / len(takes)
    bar, even.LEAST_SCORE = even.LEAST_SCORE, 0.0
    trains = [c.score for t in quiet if (c := find_clicks(t.samples, RATE_HZ)) is not None and c.extent != "count-in"]
    even.LEAST_SCORE = bar
    found = [t for t in quiet if find_clicks(t.samples, RATE_HZ) is not None]
    return {
        "found": right / len(takes),
        "least": min(evidence, default=0.0),
        "false": len(found) / len(quiet),
        "most": max(trains, default=0.0),
        "place_ms": 1000 * float(np.percentile(places, 95)) if places else np.nan,
        "left_db": 10 * float(np.log10(np.median(left))) if left else np.nan,
        "cpu_s": spent,
    }


def setting(name: str, value: Any) -> Any:
    """Set a constant wherever a module of the package holds it; what it was."""
    module_name, constant = name.split(".")
    before = getattr(MODULES[module_name], constant)
    for module in MODULES.values():
        if getattr(module, constant, None) is before or module is MODULES[module_name]:
            setattr(module, constant, value)
    return before


def numbers() -> Iterator[tuple[str, Any]]:
    """Every number of the package, where it is defined."""
    for module_name, module in MODULES.items():
        for node in ast.parse(Path(str(module.__file__)).read_text(encoding="utf-8")).body:
            if isinstance(node, ast.Assign):
                for name in (n.id for n in ast.walk(node.targets[0]) if isinstance(n, ast.Name) and n.id.isupper()):
                    if isinstance(value := getattr(module, name), (int, float, tuple)):
                        yield f"{module_name}.{name}", value


def scaled(value: Any, factor: float) -> Any:
    """A number, or each of several, times a factor."""
    if isinstance(value, tuple):
        return tuple(scaled(v, factor) for v in value)
    return max(round(value * factor), 1) if isinstance(value, int) else value * factor


def each(takes: list[Take], quiet: list[Take], only: str) -> None:
    """What halving and doubling every number moves."""
    usual = run(takes, quiet)
    print("as it is: " + ", ".join(f"{key} {value:.3f}" for key, value in usual.items()), flush=True)
    for name, value in numbers():
        if only not in name:
            continue
        said = []
        for factor in (0.5, 2.0):
            before = setting(name, scaled(value, factor))
            try:
                other = run(takes, quiet)
            except (ValueError, IndexError) as error:
                said.append(f"x{factor:g}: {error}")
            else:
                moved = [k for k, least in MOVES.items() if not abs(other[k] - usual[k]) <= least]
                said.append(f"x{factor:g}: " + (", ".join(f"{k} {other[k]:.3f}" for k in moved) or "-"))
            finally:
                setting(name, before)
        print(f"{name:32s} {value!s:>24s}  " + "   ".join(said), flush=True)


def main() -> None:
    """Sweep one constant after the other."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="", help="part of a constant's name")
    parser.add_argument("--takes", type=int, default=1, help="seeds of each take")
    parser.add_argument("--each", action="store_true", help="halve and double every number of the package")
    options = parser.parse_args()
    takes, quiet = takes_with(options.takes), takes_without(options.takes)
    if options.each:
        each(takes, quiet, options.only)
        return
    print(f"{'constant':26s} {'value':>24s}   found  least  false   most  place_ms  left_db  cpu_s")
    for name, values in SWEEPS.items():
        if options.only not in name:
            continue
        module_name, constant = name.split(".")
        before = getattr(MODULES[module_name], constant)
        for value in values:
            setting(name, value)
            r = run(takes, quiet)
            setting(name, before)
            mark = "*" if value == before else " "
            shown = f"{r['found']:5.2f} {r['least']:6.1f} {r['false']:6.2f} {r['most']:6.1f} {r['place_ms']:9.3f}"
            print(f"{name:26s} {value!s:>24s} {mark} {shown} {r['left_db']:8.1f} {r['cpu_s']:6.3f}", flush=True)


if __name__ == "__main__":
    main()
