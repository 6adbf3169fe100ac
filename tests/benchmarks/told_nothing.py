"""What is found out of a take when nothing is told: tempo, meter, parts, pattern, count-in, against what was played.

usage: python -m tests.benchmarks.told_nothing [--cases cases,cases_hard] [--takes DIR] [--only NAME] [--show]

Measures every take of the shared bench's case files (rendered by `evaluate.py --keep DIR` in the folder that `--takes`
names, a sub-folder for each case file) with nothing told, and compares the exercise in the measurement with the one
that the case was rendered from. Meter and count-in are asked only where the click accents its first beat, since nothing
else tells them; the pattern is compared by where strums are, since sound does not always tell down from up.
With `--show` every take that differs is printed. Truth: what the shared bench's render.py was told to play.
"""

from __future__ import annotations

import argparse
import importlib
import sys
from collections import Counter
from pathlib import Path
from typing import Any

import strumclock as sc
from strumclock.report.schema import to_dict

BENCH = Path(__file__).resolve().parents[3] / "shared" / "bench"
ASKED = ("bpm", "meter", "per_beat", "pattern", "count_in", "swing")
NEAR_BPM = 0.01  # a tempo within this share of the played one is right
NEAR_SWING = 0.04  # a swing within this part of a beat is right


def _rhythm(pattern: str | None, slots: int) -> str:
    """Where strums are within one bar: `x` and `.`, one for each part, down and up alike."""
    told = (pattern or "D").replace(" ", "")
    return "".join("." if told[i % len(told)] in ".-" else "x" for i in range(slots))


def _places(pattern: str | None, per_beat: int, swing: float, beats: int) -> list[float]:
    """Where the strums of one bar are, in beats, to a hundredth."""
    second = {0: 0.0, 1: swing} if per_beat == 2 else {i: i / per_beat for i in range(per_beat)}
    rhythm = _rhythm(pattern, per_beat * beats)
    return [round(i // per_beat + second[i % per_beat], 1) for i, c in enumerate(rhythm) if c == "x"]


def judged(found: dict[str, Any], part: Any, accented: bool, codes: set[str]) -> dict[str, bool | None]:
    """For each of ASKED whether what was found is what was played; None where nothing tells it.

    A shuffle and a meter of dotted beats are at the same times: either is right where both are said to fit.
    """
    same = {"bpm": found["bpm"] is not None and abs(found["bpm"] / part.bpm - 1) < NEAR_BPM}
    meter = f"{part.beats_per_bar}/4"
    same["meter"] = found["meter"] == meter if accented else None
    slots = part.per_beat * part.beats_per_bar
    here = _rhythm(part.pattern, slots)
    if {here[i] for i in range(slots) if i % part.per_beat} <= {"."} and found["per_beat"] == 1:
        same["per_beat"] = True  # nothing is played between the beats: quarters all the same
        here = here[:: part.per_beat]
    else:
        same["per_beat"] = found["per_beat"] == part.per_beat
    same["pattern"] = same["per_beat"] and _rhythm(found["pattern"], len(here)) == here
    beats = part.beats_per_bar
    ours = _places(found["pattern"], found["per_beat"], found["swing"] or 0.5, beats)
    if "two-readings" in codes and ours == _places(part.pattern, part.per_beat, part.swing, beats):
        same["per_beat"] = same["pattern"] = True
    same["count_in"] = found["count_in"] == part.count_in if accented else None
    swing = found["swing"] if found["swing"] is not None else 0.5
    same["swing"] = abs(swing - part.swing) < NEAR_SWING if part.per_beat == 2 else None
    return same


def main() -> None:
    """Print the shares by case file, and with --show what differs."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", default="cases,cases_hard")
    parser.add_argument("--takes", type=Path, required=True)
    parser.add_argument("--only")
    parser.add_argument("--show", action="store_true")
    args = parser.parse_args()
    sys.path.insert(0, str(BENCH))
    for cases in args.cases.split(","):
        module = importlib.import_module(cases)
        right, asked, whole = Counter[str](), Counter[str](), []
        for name, case in module.CASES.items():
            if args.only and args.only not in name:
                continue
            part, scene = case[0], case[1]
            accented = scene.click_sounds[0] != scene.click_sounds[-1] and scene.click_db is not None
            for seed in module.SEEDS:
                files = [f for f in (args.takes / cases).glob(f"{name}-{seed}.*") if f.suffix not in (".json", ".mid")]
                if not files or scene.click_db is None:
                    continue
                taken = to_dict(sc.measure(files[0]))
                found, codes = taken["exercise"], {notice["code"] for notice in taken["warnings"]}
                same = judged(found, part, accented, codes)
                for what, good in same.items():
                    asked[what] += good is not None
                    right[what] += good is True
                whole.append(all(good is not False for good in same.values()))
                if args.show and not whole[-1]:
                    wrong = ", ".join(
                        f"{what} {found[what]} for {getattr(part, {'meter': 'beats_per_bar'}.get(what, what))}"
                        for what, good in same.items()
                        if good is False
                    )
                    print(f"  {name}-{seed}: {wrong} ({' '.join(sorted(codes))})", flush=True)
        shares = "  ".join(f"{what} {right[what]}/{asked[what]}" for what in ASKED)
        print(f"{cases}: all right in {sum(whole)} of {len(whole)} takes; {shares}", flush=True)


if __name__ == "__main__":
    main()
