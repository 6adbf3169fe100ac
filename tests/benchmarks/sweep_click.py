"""How finding and removing clicks move with each tuned constant of `strumclock.click`.

usage: python tests/benchmarks/sweep_click.py [--only NAME] [--takes N]

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
import importlib
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from clicktakes import RATE_HZ, Take, click_sound, make_take, place

from strumclock.click import Clicks, find_clicks, remove_clicks, search

MODULES = (
    "beat",
    "front",
    "pulses",
    "chains",
    "matching",
    "trains",
    "kinds",
    "countin",
    "search",
    "placing",
    "attack",
    "sounds",
    "uneven",
    "finding",
)

SWEEPS: dict[str, tuple[Any, ...]] = {
    "front.WHITEN_S": (0.07, 0.14, 0.28),
    "front.SMOOTH_BINS": (4, 8, 16),
    "front.LEVEL_S": (0.015, 0.03, 0.06),
    "front.USUAL_SHARE": (0.01, 0.05, 0.2),
    "front.STEADY": (0.0, 1.0, 3.0, 10.0, 30.0),
    "front.ECHO": (3e-5, 3e-4, 3e-3),
    "pulses.PULSE_S": (0.001, 0.002, 0.004),
    "pulses.PULSES_PER_S": (6, 10, 16),
    "pulses.ALIKE": (0.2, 0.25, 0.35, 0.45),
    "pulses.SHIFT_S": (0.0008, 0.0015, 0.003),
    "pulses.SPAN_S": (2.5, 4.6, 7.0),
    "chains.LAG_TOLERANCE_S": (0.00006, 0.00012, 0.00024),
    "chains.LONGEST_SHARE": (0.7, 0.85, 0.95),
    "chains.PROPOSALS": (5, 10, 20),
    "trains.CHAIN_TOLERANCE_S": (0.00012, 0.00025, 0.0005),
    "trains.SEARCH_S": (0.0002, 0.0004, 0.0008),
    "trains.MASKED": (0.15, 0.3, 0.5),
    "trains.MOST_EVIDENCE": (5.0, 8.0, 12.0),
    "trains.LEAST_CHANCE": (0.04, 0.07, 0.1),
    "trains.MOST_DISPLACED": (0.05, 0.15, 0.4),
    "trains.HUM": (0.35, 0.5, 0.7),
    "trains.SPARSE": ((0.15, 0.6), (0.3, 0.6), (0.45, 0.6), (0.3, 0.8)),
    "trains.PART": (6.0, 12.0, 24.0),
    "search.RINGING_S": (0.15, 0.3, 0.6),
    "search.FULL": (0.7, 0.9, 0.98),
    "finding.DENSE": (0.3, 0.5, 0.7),
    "uneven.ALIKE": (0.28, 0.35, 0.45),
    "uneven.REACH_S": (0.004, 0.006, 0.009),
    "uneven.MOST_WANDER_S": (0.0015, 0.002, 0.0025, 0.004),
    "uneven.LEAST_SCORE": (30.0, 45.0, 60.0, 100.0),
    "uneven.MOST_LOUDER_DB": (1.0, 2.0, 4.0, 99.0),
    "uneven.ITSELF": (0.45, 0.6, 0.8),
    "uneven.ELSEWHERE": (0.15, 0.3, 0.6),
    "uneven.JUMPED": (0.15, 0.25, 0.4),
    "beat.BENDS": (1.1, 1.25, 1.6),
    "beat.JUMP_TIMES": (4.0, 6.0, 9.0),
    "matching.BODY_S": ((0.002, 0.006), (0.002, 0.012), (0.002, 0.024)),
    "countin.QUIET_DB": (10.0, 15.0, 25.0),
    "countin.RISE_DB": (6.0, 10.0, 15.0),
    "countin.ENOUGH": (6.0, 9.0, 14.0),
    "sounds.BLOCK_S": ((0.006, 0.002, 0.0012), (0.012, 0.004, 0.0025), (0.024, 0.008, 0.005)),
    "sounds.PASSES": (1, 2, 4, 8),
    "sounds.CAUTION": (1.0, 2.0, 4.0),
    "sounds.QUIETEST": (0.001, 0.01, 0.1),
    "sounds.GAIN_REACH": (3, 6, 12),
    "sounds.MOST_LEVERAGE": (0.5, 0.7, 0.9),
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
    bar, search.LEAST_SCORE = search.LEAST_SCORE, 0.0
    trains = [c.score for t in quiet if (c := find_clicks(t.samples, RATE_HZ)) is not None and c.extent != "count-in"]
    search.LEAST_SCORE = bar
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


def main() -> None:
    """Sweep one constant after the other."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="", help="part of a constant's name")
    parser.add_argument("--takes", type=int, default=1, help="seeds of each take")
    options = parser.parse_args()
    takes, quiet = takes_with(options.takes), takes_without(options.takes)
    print(f"{'constant':26s} {'value':>24s}   found  least  false   most  place_ms  left_db  cpu_s")
    for name, values in SWEEPS.items():
        if options.only not in name:
            continue
        module_name, constant = name.split(".")
        holders = [
            module
            for other in MODULES
            if hasattr(module := importlib.import_module(f"strumclock.click.{other}"), constant)
        ]
        own = importlib.import_module(f"strumclock.click.{module_name}")
        before = getattr(own, constant)
        same = [h for h in holders if getattr(h, constant) is before or h is own]
        for value in values:
            for holder in same:
                setattr(holder, constant, value)
            r = run(takes, quiet)
            mark = "*" if value == before else " "
            shown = f"{r['found']:5.2f} {r['least']:6.1f} {r['false']:6.2f} {r['most']:6.1f} {r['place_ms']:9.3f}"
            print(f"{name:26s} {value!s:>24s} {mark} {shown} {r['left_db']:8.1f} {r['cpu_s']:6.3f}", flush=True)
        for holder in same:
            setattr(holder, constant, before)


if __name__ == "__main__":
    main()
