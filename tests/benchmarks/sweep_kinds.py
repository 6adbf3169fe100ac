"""Whether clicks of every kind are found, and how near to their own time: `python -m tests.benchmarks.sweep_kinds`.

usage: python -m tests.benchmarks.sweep_kinds [--set made|recorded] [--only NAME] [--levels=-10,0,6] [--takes N]
                                              [--told] [--clickless N [--from SEED]]

Synthesised guitars at several tempi, each with a click of every kind at several levels against the strums (peak against
the median strum's), in a little noise, nothing told (`--told`: the tempo). A click is found where its interval is right
to 100 ppm and nine tenths of the clicks are there; its phase is the mean distance from where the click's own rule puts
it. `--clickless N`: also N takes without a click (`--from`: the first one's seed), and in how many one is found;
`--only=none` leaves the others out.
"""

from __future__ import annotations

import argparse
import functools
import sys
import time

import numpy as np
from tests.benchmarks.click_kinds import KINDS, RATE_HZ, FloatArray, attack_spread_s, place

from strumclock.click import find_clicks
from strumclock.grid import Exercise
from strumclock.synthesis import NYLON, STEEL, Player, Scene, Take, synthesise

PHASE_MS = 0.3  # what is asked for
ONE_MOMENT_MS = 1.0  # sounds whose time moves by more between a tenth and three tenths have none
TEMPI = (100.0, 72.0, 129.0, 88.0, 144.0, 63.0)
MOVED = 0.0001


@functools.cache
def guitar(seed: int) -> Take:
    """A take without a click: 10 bars of a player who is neither good nor bad."""
    rng = np.random.default_rng(seed)
    bpm = TEMPI[seed] if seed < len(TEMPI) else float(rng.uniform(55, 150))
    per_beat = int(rng.integers(1, 3))
    exercise = Exercise(
        bpm=bpm, meter="4/4", per_beat=per_beat, bars=int(rng.integers(9, 12)), count_in=int(seed % 3 > 0),
        pattern=(None if per_beat == 1 else ("DUDUDUDU", "D.DU.UDU")[seed % 2]),
    )  # fmt: skip
    player = Player(
        offset_ms=rng.uniform(-15, 5),
        timekeeper_ms=rng.uniform(3, 14),
        motor_ms=rng.uniform(2, 6),
        spread_ms=rng.uniform(6, 30),
    )
    scene = Scene(click_channel=True, noise_db=-50, reverberation_s=(0.0, 0.25)[seed % 2])
    return synthesise(exercise, player, scene, seed=seed, guitar=(STEEL, NYLON)[seed % 4 == 3])


def guitar_alone(take: Take) -> FloatArray:
    """The take's left channel, which holds no click."""
    return np.asarray(take.samples[:, 0], np.float64).copy()


def with_click(sound: FloatArray, level_db: float, seed: int) -> tuple[FloatArray, FloatArray, float]:
    """Samples, the clicks' times and the bpm of a take with this click."""
    take = guitar(seed)
    samples = guitar_alone(take)
    strums = [np.abs(samples[int(t * RATE_HZ) :][: RATE_HZ // 20]).max() for t in take.truth.strum_s]
    gain = float(np.median(strums)) * 10 ** (level_db / 20)
    for t in take.truth.click_s:
        place(samples, sound, float(t), gain)
    return samples, np.asarray(take.truth.click_s), 60 / float(np.median(np.diff(take.truth.click_s)))


def main() -> None:
    """Print a row for each kind, and the totals."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--set", default="made,recorded")
    parser.add_argument("--only", default="")
    parser.add_argument("--levels", default="-10,0,6")
    parser.add_argument("--takes", type=int, default=2, help="guitars for each kind and level")
    parser.add_argument("--told", action="store_true")
    parser.add_argument("--clickless", type=int, default=0)
    parser.add_argument("--from", dest="first", type=int, default=100, help="seed of the first clickless take")
    options = parser.parse_args()
    kinds = {n: x for part in options.set.split(",") for n, x in KINDS[part]().items() if options.only in n}
    found_all, phase_all, missed = [], [], []
    begin = time.process_time()
    for k, (name, sound) in enumerate(kinds.items()):
        spread_ms = 1000 * attack_spread_s(sound)
        row = []
        for j, level in enumerate(float(v) for v in options.levels.split(",")):
            for i in range(options.takes):
                seed = (k + 2 * j + 3 * i) % len(TEMPI)
                samples, click_s, bpm = with_click(sound, level, seed)
                clicks = find_clicks(samples, RATE_HZ, bpm=bpm if options.told else None)
                heard = (
                    0.0
                    if clicks is None
                    else float(np.mean(np.abs(click_s[:, None] - clicks.every_s).min(axis=1) < 0.1))
                )
                ratio = 0.0 if clicks is None else clicks.interval_s * bpm / 60
                found = abs(ratio - 1) < MOVED and heard > 0.9
                found_all.append(found)
                if not found:
                    missed.append(name)
                    row.append("none" if clicks is None else f"x{ratio:.4f} {heard:.2f}")
                    continue
                assert clicks is not None
                off_s = clicks.every_s - click_s[np.abs(clicks.every_s[:, None] - click_s).argmin(axis=1)]
                off_ms = 1000 * float(np.median(off_s))
                if spread_ms < ONE_MOMENT_MS:
                    phase_all.append(abs(off_ms))
                row.append(f"{off_ms:+.2f}")
        print(f"{name:24s} spread {spread_ms:6.2f} | " + "  ".join(f"{r:>12s}" for r in row), flush=True)
    if found_all:
        phase = np.array(phase_all)
        print(
            f"{len(kinds)} kinds, {len(found_all)} takes: found {np.mean(found_all):.3f}; of sounds with one moment "
            f"{np.mean(phase <= PHASE_MS):.3f} within {PHASE_MS} ms (n {len(phase)}), worst {phase.max():.2f}"
        )
        print(f"{(time.process_time() - begin) / len(found_all):.2f} s a take; missed: {missed}")
    if options.clickless:
        false = []
        for seed in range(options.first, options.first + options.clickless):
            take = guitar(seed)
            guitar.cache_clear()
            clicks = find_clicks(guitar_alone(take), RATE_HZ, bpm=take_bpm(take) if options.told else None)
            if clicks is not None:
                false.append(seed)
                print(f"seed {seed}: {clicks.extent} {clicks.bpm:.2f} score {clicks.score:.1f}", file=sys.stderr)
        print(f"clickless takes {options.clickless}: a click found in {len(false)} {false}")


def take_bpm(take: Take) -> float:
    """Beats a minute of a take."""
    return 60 / float(np.median(np.diff(take.truth.click_s)))


if __name__ == "__main__":
    main()
