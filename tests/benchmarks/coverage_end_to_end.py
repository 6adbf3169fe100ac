"""From sound to figures: how often the intervals hold the player, and the stated u the error of measuring.

usage: python -m tests.benchmarks.coverage_end_to_end [--takes 100] [--first 0] [--keep FILE.jsonl]

Take k is made from seed k: a random player (linear phase correction, α from 0.2 to 1.5, offset, drift, spread), a
random exercise and a mostly ordinary scene (audible click, mild room and noise, some phones), synthesised and measured
end to end.  The sound's way through the air, which adds milliseconds to the uncertainty of a mean offset and would hide
all else, is taken out of it.  Two questions, each a share with its 95 % interval:

* player: does the 95 % interval hold what was asked of the player?  The line's height at the mean of the strums'
  places, its slope, and the stationary standard deviation √((s_T² + 2 α s_M²) / (1 − (1 − α)²)).
* measuring: does the figure lie within 2 u of that of the take's own true strums?

`--keep` adds each take to a file and prints what all of its takes come to, so that runs can be short.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import tempfile
import time
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from tests.benchmarks.scoring import FIGURES, score, true_figures, wilson

import strumclock as sc
from strumclock.grid import Exercise
from strumclock.pipeline import Measurement
from strumclock.pipeline.analysing import GUITAR_TO_EAR_M, GUITAR_TO_EAR_U_M
from strumclock.synthesis import CLICK_SOUNDS, NYLON, STEEL, Guitar, Player, Scene, Take, synthesise, write_take
from strumclock.timing import Estimate
from strumclock.timing.estimate import COVERAGE_FACTOR
from strumclock.timing.sound_path import SPEED_OF_SOUND_M_PER_S

SHARES = (0.2, 1.5)  # of an error that the next strum corrects
LENGTH_S = (22.0, 45.0)
FEWEST_SLOTS = 24  # below it the figures are said to be rough
# Nothing passes the air in a synthetic take. `measure` takes the guitar as an arm from the ear; a click as far from it
# cancels that, and `without_air` takes the uncertainty out again.
WAYS = {"guitar_to_mic_m": 0.0, "click_to_mic_m": 0.0, "click_to_ear_m": GUITAR_TO_EAR_M}
PATTERNS: tuple[tuple[str, int, str], ...] = (
    ("4/4", 1, "D"), ("4/4", 2, "DU"), ("4/4", 2, "D.DU.UDU"), ("4/4", 2, "D.DUD.DU"), ("3/4", 1, "D"),
    ("3/4", 2, "D.DUDU"), ("6/8", 3, "D.UD.U"), ("4/4", 4, "D.DUD.DUDUDU.UDU"),
)  # fmt: skip
CHORDS = (("A", "D", "E", "D"), ("G", "C", "D", "C"), ("Am", "F", "C", "G"), ("Em", "G", "D", "A"))

Row = dict[str, Any]


def make(seed: int) -> tuple[Take, Player, str]:
    """A random take, its player, and the suffix of the file that it goes through (empty: none)."""
    rng = np.random.default_rng([seed, 2026])
    meter, per_beat, pattern = PATTERNS[rng.integers(len(PATTERNS))]
    part_rate = rng.uniform(1.4, 5.5)  # parts a second: strumming from slow quarters to quick eighths
    bpm = round(float(np.clip(60 * part_rate / per_beat, 45, 170)))
    beats = Exercise(meter=meter).beats_per_bar or 4
    slots_a_bar = sum(c != "." for c in pattern) * beats * per_beat / len(pattern)
    bars = math.ceil(max(rng.uniform(*LENGTH_S) * bpm / 60 / beats, FEWEST_SLOTS / slots_a_bar))
    exercise = Exercise(bpm=bpm, meter=meter, per_beat=per_beat, pattern=pattern, bars=bars, count_in=1,
                        chords=CHORDS[rng.integers(len(CHORDS))])  # fmt: skip
    player = Player(
        offset_ms=float(rng.normal(-5, 18)),
        timekeeper_ms=float(rng.uniform(5, 15)),
        motor_ms=float(rng.uniform(2, 6)),
        correction=float(rng.uniform(*SHARES)),
        drift_ms_per_min=float(rng.normal(0, 20)),
        spread_ms=float(rng.uniform(8, 35)),
        hardness=float(rng.uniform(0.4, 0.8)),
        miss=float(rng.choice([0.0, 0.03])),
    )
    phone = rng.random() < 0.3
    scene = Scene(
        click_db=None if rng.random() < 0.1 else float(rng.uniform(-14, 0)),
        click_sound=CLICK_SOUNDS[rng.integers(len(CLICK_SOUNDS))],
        reverberation_s=float(rng.choice([0.0, rng.uniform(0.15, 0.35)])),
        noise_db=float(rng.uniform(-60, -38)),
        phone=bool(phone),
        skew_ppm=float(rng.normal(0, 30)),
    )
    guitar: Guitar = NYLON if rng.random() < 0.2 else STEEL
    suffix = str(rng.choice([".m4a", ".opus"])) if phone and rng.random() < 0.6 else ""
    return synthesise(exercise, player, scene, seed, guitar=guitar), player, suffix


def measured(take: Take, suffix: str) -> Measurement:
    """The take measured as a teacher would: the exercise told, its length not."""
    asked = replace(take.truth.exercise, bars=None, chords=None)
    if not suffix:
        return sc.measure(sc.from_array(take.samples, take.sample_rate_hz), asked, **WAYS)
    with tempfile.TemporaryDirectory() as folder:
        return sc.measure(write_take(take, Path(folder) / f"take{suffix}", bit_rate=64_000), asked, **WAYS)


def asked_of(player: Player, take: Take) -> dict[str, float]:
    """What was asked of the player: mean over the places played, stationary jitter, drift."""
    truth = take.truth
    line_s = truth.slot_s[truth.strum_slot[truth.strum_slot >= 0]]
    mean = player.offset_ms + player.drift_ms_per_min * float(np.mean(line_s - truth.slot_s[0])) / 60
    return dict(zip(FIGURES, (mean, player.jitter_ms, player.drift_ms_per_min), strict=True))


def without_air(estimate: Estimate) -> Estimate:
    """A mean offset without what the unknown ways through the air add: `Estimate.widened`, undone."""
    u_ms = 1000 * GUITAR_TO_EAR_U_M / SPEED_OF_SOUND_M_PER_S
    reach = COVERAGE_FACTOR * u_ms

    def less(a: float, b: float) -> float:
        return math.sqrt(max(a * a - b * b, 0.0))

    return Estimate(
        value=estimate.value,
        low=estimate.value - less(estimate.value - estimate.low, reach),
        high=estimate.value + less(estimate.high - estimate.value, reach),
        u=less(estimate.u, u_ms),
    )


def one(seed: int) -> Row:
    """One take through everything."""
    take, player, suffix = make(seed)
    row: Row = {"seed": seed, "suffix": suffix, "alpha": player.correction, "n": len(take.truth.strum_s)}
    try:
        m = measured(take, suffix)
    except sc.StrumclockError as error:
        return {**row, "failed": str(error)}
    assert m.grid is not None
    s = score(m, take.truth)
    asked, true = asked_of(player, take), true_figures(take.truth)
    row.update(
        anchor=m.grid.anchor, click=len(take.truth.click_s) > 0, f=s.f, bias_ms=s.bias_ms, sd_ms=s.sd_ms,
        strums_in_2u=s.in_2u, wrong_slot=s.wrong_slot,
    )  # fmt: skip
    for key in FIGURES:
        figure = getattr(m.timing, key)
        if figure is not None:
            figure = without_air(figure) if key == "mean_offset_ms" else figure
            row[key] = {
                **figure.as_dict(),
                "asked": asked[key],
                "true": true[key],
                "player": figure.low <= asked[key] <= figure.high,
                "measuring": bool(abs(figure.value - true[key]) <= 2 * figure.u),
            }
    return row


def summary(rows: Iterable[Row]) -> list[str]:
    """The shares, each with its binomial interval."""
    rows = list(rows)
    done = [r for r in rows if "failed" not in r]
    out = [f"takes {len(rows)}, measured {len(done)}; anchor as recorded: "
           f"{sum((r['anchor'] == 'recorded-click') == r['click'] for r in done)}; "
           f"F mean {np.mean([r['f'] for r in done]):.4f}, worst {min(r['f'] for r in done):.3f}; "
           f"strums within 2 u: {np.mean([r['strums_in_2u'] for r in done]):.1%} a take on average"]  # fmt: skip
    for r in rows:
        if "failed" in r:
            out.append(f"seed {r['seed']} failed: {r['failed']}")
    for key in FIGURES:
        known = [r[key] for r in done if key in r]
        error = np.abs([e["value"] - e["true"] for e in known])
        out.append(f"{key}: given in {len(known)}; |error of measuring| median {np.median(error):.2f}, "
                   f"95 % below {np.quantile(error, 0.95):.2f}, worst {error.max():.2f}")  # fmt: skip
        plain = [r[key] for r in done if key in r and not r["suffix"]]
        slow = [r[key] for r in done if key in r and r["alpha"] < 0.5]
        for label, of, which in (("player", known, "player"), ("  corrects < 1/2", slow, "player"),
                                 ("measuring", known, "measuring"), ("  no codec", plain, "measuring")):  # fmt: skip
            k, n = sum(e[which] for e in of), len(of)
            low, high = wilson(k, n)
            out.append(f"    {label:16s} {k}/{n} = {k / max(n, 1):.1%} ({low:.1%} to {high:.1%})")
    return out


def misses(rows: Iterable[Row]) -> list[str]:
    """The takes whose figures lie beyond 2 u, worst first: where to look."""
    found = []
    for r in rows:
        for key in FIGURES:
            e = r.get(key)
            if e and not e["measuring"]:
                error = e["value"] - e["true"]
                found.append((abs(error) / max(e["u"], 1e-9), f"    seed {r['seed']} {key} error {error:+.2f}, "
                              f"u {e['u']:.2f}; F {r['f']:.3f}, strum bias {r['bias_ms']:+.2f} sd {r['sd_ms']:.2f}, "
                              f"{r['anchor']}{r['suffix']}"))  # fmt: skip
    return [text for _, text in sorted(found, reverse=True)]


def main(arguments: list[str] | None = None) -> None:
    """Measure the takes and print the shares."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--takes", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args(arguments)
    began, rows = time.perf_counter(), []
    for seed in range(options.first, options.first + options.takes):
        rows.append(one(seed))
        if options.keep:
            with options.keep.open("a") as kept:
                kept.write(json.dumps(rows[-1]) + "\n")
    if options.keep:
        rows = [json.loads(text) for text in options.keep.read_text().splitlines()]
    print("\n".join(summary(rows)))
    print("beyond 2 u, worst first:")
    print("\n".join(misses(rows)[:25]) or "    none")
    print(f"{time.perf_counter() - began:.0f} s", file=sys.stderr)


if __name__ == "__main__":
    main()
