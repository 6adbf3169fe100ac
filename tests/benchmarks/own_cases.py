"""Cases of kinds that recorded benches lack, made by our own synthesiser, and how the measurement stands on each.

usage: python -m tests.benchmarks.own_cases [--only PART_OF_NAME] [--seeds 11,12] [--totals FILE.json] [--strums]

A row a take: F of the strums within ±50 ms; bias, standard deviation and MAD of their times; share of these errors
within twice the stated u; errors of mean offset, jitter and drift against the take's own true strums (ms, ms/min), with
`!` where beyond twice their u; error of the grid's place; strums in a wrong slot, omitted and added ones too many;
the anchor, with `!` where it is not one that the take allows; seconds for measuring.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from dataclasses import asdict
from pathlib import Path

import numpy as np
from tests.benchmarks.own_scenes import FINGERS, NYLON_FINGERS, PALM, Case, falling, from_bar, render, suppressed
from tests.benchmarks.own_sounds import babble, clipped, fan, mains_hum, pumping, telephone_band, voice
from tests.benchmarks.scoring import FIGURES, Score, score

import strumclock as sc
from strumclock.grid import Exercise
from strumclock.synthesis import NYLON, Player

SEEDS = (11, 12)
FOLK = "D.DU.UDU"
SWING = 2 / 3


def exercise(bpm: float = 90.0, *, pattern: str | None = "D", per_beat: int = 1, meter: str = "4/4", bars: int = 10,
             count_in: int = 1, swing: float | None = None) -> Exercise:  # fmt: skip
    """An exercise of about half a minute."""
    return Exercise(bpm=bpm, meter=meter, per_beat=per_beat, pattern=pattern, bars=bars, count_in=count_in, swing=swing)


QUARTERS, EIGHTHS = exercise(), exercise(pattern=FOLK, per_beat=2)
JIG = exercise(60, meter="6/8", per_beat=3, pattern="D.UDDU", bars=14)
WIDE = Player(spread_ms=75.0)
TIGHT = Player(offset_ms=-1.0, timekeeper_ms=3.0, motor_ms=1.5)
BEGINNER = Player(
    offset_ms=-35.0, timekeeper_ms=35.0, motor_ms=12.0, miss=0.08, extra=0.04, spread_ms=45.0, change_late_ms=110.0
)
FITTED = ("fitted",)

CASES: dict[str, Case] = {
    # the stroke
    "palm-muted": Case(exercise=exercise(100, pattern="DDDDDDDD", per_beat=2), guitar=PALM),
    "palm-muted-loud-click": Case(exercise=exercise(100, pattern="DD", per_beat=2), guitar=PALM, click_db=0.0),
    "muted-strokes": Case(exercise=exercise(96, pattern="D.xUDUxU", per_beat=2)),
    "muted-only": Case(exercise=exercise(88, pattern="xxxx", per_beat=1)),
    "fingers": Case(exercise=EIGHTHS, guitar=FINGERS),
    "fingers-nylon-room": Case(exercise=QUARTERS, guitar=NYLON_FINGERS, room_s=0.35, noise_db=-40),
    "soft-strokes": Case(exercise=EIGHTHS, player=Player(hardness=0.2)),
    "arpeggiated-75ms": Case(exercise=exercise(66, bars=8), player=WIDE),
    "arpeggiated-100ms-nylon": Case(exercise=exercise(60, bars=8), player=Player(spread_ms=100.0), guitar=NYLON),
    "block-chords-4ms": Case(exercise=EIGHTHS, player=Player(spread_ms=4.0)),
    "bass-then-strum": Case(exercise=exercise(92, pattern=".D.D", per_beat=1), bass="D.D."),
    "bass-then-strum-eighths": Case(exercise=exercise(84, pattern=".D.D.D.D", per_beat=2), bass="D.D.D.D."),
    # around the guitar
    "talking": Case(exercise=EIGHTHS, layers=((voice, -12.0),)),
    "talking-loud": Case(exercise=QUARTERS, layers=((voice, -3.0),)),
    "babble": Case(exercise=EIGHTHS, layers=((babble, -15.0),)),
    "fan": Case(exercise=EIGHTHS, layers=((fan, -24.0),), room_s=0.25),
    "second-guitar-18db": Case(exercise=EIGHTHS, second_guitar_db=-18.0),
    "second-guitar-10db": Case(exercise=QUARTERS, second_guitar_db=-10.0),
    # the click
    "click-starts-late": Case(exercise=exercise(90, bars=12), click_gains=from_bar(4)),
    "click-count-in-only": Case(exercise=exercise(90, count_in=2), click_gains=from_bar(0, 2)),
    "click-count-in-only-eighths": Case(exercise=exercise(76, pattern=FOLK, per_beat=2), click_gains=from_bar(0, 1)),
    "click-fades": Case(exercise=exercise(100, bars=14), click_db=-2.0, click_gains=falling(40.0), noise_db=-45),
    "click-suppressed-by-phone": Case(exercise=exercise(90, count_in=2), click_db=-4.0, click_gains=suppressed),
    "click-stops-half-way": Case(exercise=exercise(90, bars=12), click_gains=from_bar(0, 7)),
    "click-filtered-away": Case(
        exercise=EIGHTHS,
        click_sound="hiss",
        click_db=-6.0,
        phone=(telephone_band,),
        anchors=("fitted", "recorded-click"),  # 55 dB below the strums, it may be found all the same
    ),
    "headphones": Case(exercise=EIGHTHS, click_db=None, anchors=FITTED),
    "click-20db": Case(exercise=EIGHTHS, click_db=-20.0),
    "click-20db-fan": Case(exercise=EIGHTHS, click_db=-20.0, layers=((fan, -26.0),)),
    "click+6db": Case(exercise=EIGHTHS, click_db=6.0, click_sound="wood"),
    "click+6db-beep": Case(exercise=QUARTERS, click_db=6.0, click_sound="beep"),
    "click-12db-beep": Case(exercise=EIGHTHS, click_db=-12.0, click_sound="beep"),
    "click-12db-wood-six-eight": Case(exercise=JIG, click_db=-12.0, click_sound="wood"),
    "click-12db-beep-six-eight": Case(exercise=JIG, click_db=-12.0, click_sound="beep"),
    "hissing-click": Case(exercise=EIGHTHS, click_sound="hiss"),
    "cymbal-130-swing": Case(
        exercise=exercise(130, pattern="D.DU", per_beat=2, swing=0.62, bars=14), click_sound="cymbal"
    ),
    "cymbal-200": Case(exercise=exercise(200, bars=24), player=Player(spread_ms=7.0), click_sound="cymbal"),
    "hats-in-eighths": Case(exercise=EIGHTHS, click_sound="hats"),
    "hats-in-eighths-room": Case(exercise=QUARTERS, click_sound="hats", click_db=-4.0, room_s=0.3, noise_db=-45),
    "drums": Case(exercise=exercise(100, pattern=FOLK, per_beat=2), click_sound="drums", click_db=-4.0),
    "drums-quarters-room": Case(exercise=exercise(84), click_sound="drums", room_s=0.3, noise_db=-45),
    "short-beeps": Case(exercise=EIGHTHS, click_sound="short-beep", click_db=-10.0, noise_db=-45),
    "short-beeps-hum": Case(
        exercise=EIGHTHS, click_sound="short-beep", click_db=-10.0, noise_db=-50, layers=((mains_hum, -24.0),)
    ),
    "hum": Case(exercise=QUARTERS, click_db=-12.0, noise_db=-55, layers=((mains_hum, -18.0),)),
    "hum-headphones": Case(
        exercise=QUARTERS, click_db=None, noise_db=-55, layers=((mains_hum, -20.0),), anchors=FITTED
    ),
    "cymbal-one-beat-after-the-start": Case(exercise=exercise(60000 / 700, bars=10), click_sound="cymbal"),
    "click-channel": Case(exercise=EIGHTHS, click_channel=True, anchors=("click-channel",)),
    "tight-on-the-click": Case(exercise=QUARTERS, player=TIGHT, click_db=0.0),
    # meters, parts, tempos
    "six-eight": Case(exercise=JIG),
    "five-four": Case(exercise=exercise(110, meter="5/4", bars=10)),
    "three-four-upbeats": Case(exercise=exercise(96, meter="3/4", per_beat=2, pattern="D.DUDU", bars=14)),
    "swing": Case(exercise=exercise(120, per_beat=2, pattern="DU", swing=SWING, bars=12)),
    "sixteenths": Case(
        exercise=exercise(72, per_beat=4, pattern="D.DUD.DUDUDU.UDU", bars=8), player=Player(spread_ms=8.0)
    ),
    "tempo-45": Case(exercise=exercise(45, bars=7)),
    "tempo-180": Case(exercise=exercise(180, bars=20), player=Player(timekeeper_ms=6.0, spread_ms=12.0)),
    "off-beats-only": Case(exercise=exercise(100, per_beat=2, pattern=".U", bars=10)),
    # the player
    "falling-behind": Case(exercise=EIGHTHS, player=Player(offset_ms=5.0, drift_ms_per_min=60.0)),
    "beginner": Case(exercise=exercise(66, bars=12), player=BEGINNER, room_s=0.3, noise_db=-40),
    "misses-and-extras": Case(exercise=exercise(90, bars=16), player=Player(miss=0.12, extra=0.06, timekeeper_ms=16)),
    # the clocks, the phone, the file
    "clock+100ppm": Case(exercise=exercise(90, bars=16), skew_ppm=100.0),
    "clock-100ppm-drifting": Case(
        exercise=exercise(120, bars=20), skew_ppm=-100.0, player=Player(drift_ms_per_min=-25)
    ),
    "phone-pumps": Case(exercise=EIGHTHS, click_db=-4.0, room_s=0.25, noise_db=-45, phone=(pumping,)),
    "phone-pumps-clips": Case(exercise=QUARTERS, click_db=0.0, phone=(pumping, clipped)),
    "voice-filter": Case(exercise=EIGHTHS, click_sound="wood", phone=(telephone_band,), noise_db=-45),
    "aac-64": Case(exercise=EIGHTHS, room_s=0.25, noise_db=-45, codec=("m4a", "aac", 64_000)),
    "mp3-clipped": Case(
        exercise=EIGHTHS, click_db=-6.0, phone=(clipped,), noise_db=-50, codec=("mp3", "libmp3lame", 128_000)
    ),
    "aac-32": Case(exercise=QUARTERS, room_s=0.25, noise_db=-40, codec=("m4a", "aac", 32_000)),
    "opus-24": Case(exercise=QUARTERS, noise_db=-45, codec=("opus", "libopus", 24_000), rate_hz=48000),
    "rate-8k": Case(exercise=QUARTERS, rate_hz=8000, noise_db=-45),
    "rate-48k-room": Case(exercise=EIGHTHS, rate_hz=48000, room_s=0.5, noise_db=-35),
    # what is told
    "told-nothing": Case(exercise=QUARTERS, told="nothing"),
    "told-nothing-eighths": Case(exercise=exercise(104, pattern=FOLK, per_beat=2, bars=14), told="nothing"),
    "told-nothing-six-eight": Case(exercise=JIG, told="nothing"),
    "told-nothing-headphones": Case(exercise=EIGHTHS, told="nothing", click_db=None, anchors=FITTED),
    "told-half": Case(exercise=exercise(112, pattern=FOLK, per_beat=2), told="half"),
}


def main(arguments: list[str] | None = None) -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", default="")
    parser.add_argument("--seeds", default=",".join(map(str, SEEDS)))
    parser.add_argument("--totals", type=Path)
    parser.add_argument("--strums", action="store_true", help="also each strum's error and u")
    options = parser.parse_args(arguments)
    rows: dict[str, tuple[Score, str, bool]] = {}
    print(f"{'take':30s}    F    bias     sd    mad  in2u |   mean  jitter   drift |    grid  skew slot om ad anchor")
    for name, case in CASES.items():
        if options.only not in name:
            continue
        for seed in map(int, options.seeds.split(",")):
            made = render(case, seed)
            began = time.perf_counter()
            try:
                m = sc.measure(made.recording, made.told)
            except sc.StrumclockError as error:
                print(f"{name}-{seed}: {type(error).__name__}: {error}", flush=True)
                continue
            took = time.perf_counter() - began
            assert m.grid is not None
            s = score(m, made.truth)
            right = m.grid.anchor in case.anchors
            rows[f"{name}-{seed}"] = s, m.grid.anchor, right
            print(line(f"{name}-{seed}", s, m.grid.anchor, right, took), flush=True)
            if options.strums:
                for error_ms, u_ms in zip(s.strum_error_ms, s.strum_u_ms, strict=True):
                    print(f"    {error_ms:+7.2f}  u {u_ms:.2f}{'' if abs(error_ms) <= 2 * u_ms else '  !'}")
    if rows:
        print("\n".join(totals(rows)))
    if options.totals:
        plain = {k: {**_plain(s), "anchor": anchor, "anchor_right": right} for k, (s, anchor, right) in rows.items()}
        options.totals.write_text(json.dumps(plain, indent=1))


def line(name: str, s: Score, anchor: str, right: bool, took_s: float) -> str:
    """One row of the table."""

    def error(key: str) -> str:
        value = s.error[key]
        return "      - " if value is None else f"{value:+7.2f}{' ' if s.within_2u[key] else '!'}"

    def number(value: float, spec: str) -> str:
        return "-" if math.isnan(value) else format(value, spec)

    return (
        f"{name:30s} {s.f:.3f} {s.bias_ms:+6.2f} {s.sd_ms:6.2f} {s.mad_ms:6.2f}  {100 * s.in_2u:3.0f}% |"
        f"{error(FIGURES[0])}{error(FIGURES[1])}{error(FIGURES[2])}| {number(s.grid_ms, '+.2f'):>7s} "
        f"{number(s.skew_ppm, '+.1f'):>5s} {s.wrong_slot:4d} {s.omitted:+d} {s.added:+d} "
        f"{anchor}{'' if right else '!'} {took_s:.1f}s"
    )


def totals(rows: dict[str, tuple[Score, str, bool]]) -> list[str]:
    """What all rows come to."""
    scores = [s for s, _, _ in rows.values()]
    f = np.array([s.f for s in scores])
    out = [f"\ntakes {len(rows)}; F mean {f.mean():.4f}, worst {f.min():.3f}, below .97: {np.sum(f < 0.97)}"]
    for label, values in (("|bias|", [abs(s.bias_ms) for s in scores]), ("sd", [s.sd_ms for s in scores]),
                          ("MAD", [s.mad_ms for s in scores])):  # fmt: skip
        out.append(f"strum {label} ms: median {np.nanmedian(values):.2f}, worst {np.nanmax(values):.2f}")
    errors = np.concatenate([s.strum_error_ms for s in scores])
    u = np.concatenate([s.strum_u_ms for s in scores])
    within = float(np.mean(np.abs(errors) <= 2 * u))
    out.append(f"strums {len(errors)}: within 2 u {within:.1%}; |error| median {np.median(np.abs(errors)):.2f} ms, "
               f"beyond 2 ms {np.mean(np.abs(errors) > 2):.1%}")  # fmt: skip
    for key in FIGURES:
        known = [abs(e) for s in scores if (e := s.error[key]) is not None]
        inside = [s.within_2u[key] for s in scores if key in s.within_2u]
        if known:
            out.append(f"{key}: |error| median {np.median(known):.2f}, worst {max(known):.2f} (n {len(known)}); "
                       f"within 2 u {np.mean(inside):.0%}")  # fmt: skip
    wrong = [name for name, (_, _, right) in rows.items() if not right]
    named = f"; wrong: {', '.join(wrong)}" if wrong else ""
    return [*out, f"anchor right {len(rows) - len(wrong)} of {len(rows)}{named}"]


def _plain(s: Score) -> dict[str, object]:
    plain = {k: v for k, v in asdict(s).items() if not isinstance(v, np.ndarray)}
    return {k: None if isinstance(v, float) and math.isnan(v) else v for k, v in plain.items()}


if __name__ == "__main__":
    main()
